"""``moonless read``: a recording, files or live links in; one JSON line a scan out."""

from __future__ import annotations

import asyncio
import contextlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from moonless.cli.parts.bar import bar
from moonless.cli.parts.figures import Bounded, check_outputs
from moonless.cli.parts.many import ManyCommand
from moonless.errors import InputError
from moonless.files import Drafts

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from typing import TextIO

    from moonless.boat.types import Boat
    from moonless.chart.library import Chart
    from moonless.chart.local_knowledge.knowledge import Knowledge
    from moonless.reading.types import Reading
    from moonless.watch.instruments.tides import TideUnderWay
    from moonless.watch.outputs.sender import OutputKind
    from moonless.watch.pipeline.chain import Chain
    from moonless.watch.pipeline.export import RunExport
    from moonless.watch.pipeline.replay import Replay
    from moonless.wire.links import LinkSpec

# The largest range on earth, in the Bay of Fundy, is about 16 m.
MOST_TIDE_M = 20.0
_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(
    cls=ManyCommand,
    epilog="\b\nExamples:\n"
    "  moonless read --chart charts/ --radar run/radar.ast --nmea run/nmea.log --boat boat.toml \\\n"
    "      --out readings.jsonl --geojson echoes.geojson\n"
    "  moonless read run.mcap --chart charts/ --boat boat.toml --tides stations.json --out readings.jsonl\n"
    "  moonless read --chart charts/ --radar udp://239.255.0.1:8600 --nmea tcp://gateway:2000 \\\n"
    "      --boat boat.toml --out readings.jsonl       (live, until Ctrl-C)",
)
@click.argument("recording", required=False, type=click.Path(path_type=Path), metavar="[RUN.mcap]")
@click.option("--chart", "charts", multiple=True, type=click.Path(path_type=Path), metavar="PATH...",
              help="Chart files or folders.  Without one, echoes are told but not explained.")  # fmt: skip
@click.option(
    "--radar", metavar="LINK", help="Radar video: category 240 by file, udp:// or tcp://; or a recorded polar set."
)
@click.option("--nmea", "nmea", multiple=True, metavar="LINK...",
              help="Instruments: files, udp://, tcp://, serial:DEVICE, can:INTERFACE, ws://HOST:PORT.")  # fmt: skip
@click.option("--boat", "boat_file", type=_FILE, help="Boat file; without one a 9 m launch with a small radome.")
@click.option("--tides", "tide_files", multiple=True, type=click.Path(path_type=Path), metavar="FILE...",
              help="Tide station files (JSON), as `moonless plan` reads them.")  # fmt: skip
@click.option(
    "--tide",
    "tide_m",
    type=Bounded(-20.0, 20.0),
    metavar="METRES",
    help="The height of tide all along, above chart datum.",
)
@click.option("--knowledge", type=_FILE, help="Local knowledge kept at the helm (GeoPackage); it is only read.")
@click.option("--out", required=True, type=_FILE, help="Where the readings go, one JSON object a line.")
@click.option("--geojson", type=_FILE, help="Also write the echoes and the boat's track as GeoJSON.")
@click.option("--gpx", type=_FILE, help="Also write the boat's track as GPX 1.1.")
@click.option("--nmea-out", type=_FILE, help="Also write targets and alerts as NMEA 0183: TTM, TLL, ALR.")
@click.option("--signalk-out", type=_FILE, help="Also write targets, calls and hidden water as Signal K deltas.")
@click.option("--until-damage", is_flag=True, help="Play a radar file that breaks off inside a block up to there.")
@click.option("--quiet", is_flag=True, help="No progress bar and no summary.")
def command(
    recording: Path | None,
    charts: tuple[Path, ...],
    radar: str | None,
    nmea: tuple[str, ...],
    boat_file: Path | None,
    tide_files: tuple[Path, ...],
    tide_m: float | None,
    knowledge: Path | None,
    out: Path,
    geojson: Path | None,
    gpx: Path | None,
    nmea_out: Path | None,
    signalk_out: Path | None,
    until_damage: bool,
    quiet: bool,
) -> None:
    """Turn a recording or a live feed into readings, one JSON line a scan.

    Files without times of receipt are merged by the times they carry themselves.  The output appears under its name
    when it is whole, or, of a live feed, when it is stopped with Ctrl-C.
    """
    from moonless.scan.read import is_polar
    from moonless.wire.links import parse_link, parse_radar_link

    if recording is not None and (radar is not None or nmea):
        raise InputError("give either a recording or links, not both: a recording holds its own radar and NMEA")
    if recording is None and radar is None and not nmea:
        raise InputError("nothing to read: give a recording (RUN.mcap), or --radar and --nmea")
    radar_spec = parse_radar_link(radar) if radar is not None else None
    nmea_specs = [parse_link(text) for text in nmea]
    radar_path = radar_spec.path if radar_spec is not None else None
    is_set = radar_path is not None and is_polar(radar_path)  # which may be a folder
    _check_there([recording, None if is_set else radar_path, *(spec.path for spec in nmea_specs)])
    boat = _boat(boat_file)
    check_outputs(
        {"--out": out, "--geojson": geojson, "--gpx": gpx, "--nmea-out": nmea_out, "--signalk-out": signalk_out}
    )
    known = _Known.read(tide_files, tide_m, knowledge)
    with Drafts() as files:
        writer = _Writer(files, out, geojson, gpx)
        writer.also("nmea", nmea_out)
        writer.also("signalk", signalk_out)
        chart = _chart(charts, quiet)
        is_live = any(s is not None and s.kind != "file" for s in (radar_spec, *nmea_specs))
        if is_live:
            notes = _live(boat, chart, known, radar_spec, nmea_specs, writer, quiet)
        else:
            from moonless.watch.pipeline.replay import Replay

            replay = Replay(
                radar=(radar_path,) if radar_path is not None else (),
                nmea=tuple(s.path for s in nmea_specs if s.path is not None),
                recording=recording,
                angle_from=boat.radar.angle_from,
                until_damage=until_damage,
            )
            notes = _replayed(boat, chart, known, replay, writer, quiet)
        writer.finish()
    if not quiet:
        for note in notes:
            click.echo(note, err=True)
        click.echo(f"{out}: {writer.n_reading} readings, {writer.n_scan} of them with a scan", err=True)


class _Writer:
    """Takes readings and writes them."""

    def __init__(self, files: Drafts, out: Path, geojson: Path | None, gpx: Path | None) -> None:
        from moonless.watch.pipeline.export import RunExport

        # What turns readings into lines, and the file they go to.
        self._others: list[tuple[Callable[[Reading], Iterable[bytes]], TextIO]] = []

        self.n_reading = 0
        self.n_scan = 0
        self._files = files
        self._lines = files.text(out)
        self._geojson, self._gpx = geojson, gpx
        self._export: RunExport | None = RunExport() if geojson is not None or gpx is not None else None

    def add(self, reading: Reading, has_scan: bool) -> None:
        """Write one reading."""
        self._lines.write(json.dumps(reading.as_dict(), ensure_ascii=False, allow_nan=False) + "\n")
        self.n_reading += 1
        self.n_scan += has_scan
        if self._export is not None:
            self._export.add(reading)
        for lines_of, file in self._others:
            file.writelines(line.decode("ascii") for line in lines_of(reading))

    def also(self, kind: OutputKind, path: Path | None) -> None:
        """Write one more kind of output to a file, if one is named."""
        from moonless.watch.outputs.sender import lines_writer

        if path is not None:
            self._others.append((lines_writer(kind), self._files.text(path)))

    def finish(self) -> None:
        """Write the rest."""
        if self._export is not None and self._geojson is not None:
            file = self._files.text(self._geojson)
            json.dump(self._export.geojson(), file, ensure_ascii=False, allow_nan=False)
        if self._export is not None and self._gpx is not None:
            file = self._files.text(self._gpx)
            file.write(self._export.gpx())


@dataclass(frozen=True)
class _Known:
    """What is known beside chart and links: the tide, and the skipper's own knowledge."""

    tide: TideUnderWay | None
    tide_m: float | None
    knowledge: Knowledge | None
    warnings: tuple[str, ...]

    @classmethod
    def read(cls, tide_files: tuple[Path, ...], tide_m: float | None, knowledge: Path | None) -> _Known:
        """Read the files.  Raises InputError for what is not there, SourceError for what cannot be read."""
        from moonless.chart.local_knowledge.knowledge import Knowledge
        from moonless.sea.stations import read_stations
        from moonless.watch.instruments.tides import TideUnderWay

        if tide_files and tide_m is not None:
            raise InputError("give either --tides or --tide, not both: one predicts the height, the other fixes it")
        if tide_m is not None and not -MOST_TIDE_M <= tide_m <= MOST_TIDE_M:
            raise InputError(f"--tide is {tide_m:g}; a height of tide lies within {MOST_TIDE_M:g} metres of datum")
        _check_there([knowledge])
        stations = read_stations(tide_files) if tide_files else None
        return cls(
            None if stations is None else TideUnderWay(stations),
            tide_m,
            None if knowledge is None else Knowledge.open(knowledge),
            () if stations is None else stations.warnings,
        )

    def tell(self, chain: Chain) -> None:
        """Hand the tide to a chain."""
        chain.given.tide, chain.given.tide_m = self.tide, self.tide_m


def _check_there(paths: list[Path | None]) -> None:
    for path in paths:
        if path is not None and not path.is_file():
            raise InputError(f"{path} is {'a folder' if path.is_dir() else 'not there'}; give a file")


def _boat(boat_file: Path | None) -> Boat:
    from moonless.boat.file import default_boat, read_boat

    return default_boat() if boat_file is None else read_boat(boat_file)


def _chart(charts: tuple[Path, ...], quiet: bool) -> Chart | None:
    if not charts:
        return None
    from moonless.chart.library import Chart

    with bar(quiet) as show:
        return Chart.open(list(charts), progress=lambda what, done: show(f"chart: {what}", done))


def _replayed(
    boat: Boat, chart: Chart | None, known: _Known, replay: Replay, writer: _Writer, quiet: bool
) -> list[str]:
    from moonless.watch.pipeline.chain import Chain
    from moonless.watch.pipeline.replay import play

    chain = Chain(boat, chart, known.knowledge, radar_named=bool(replay.radar))
    known.tell(chain)
    with bar(quiet) as show:
        for turn, done in play(chain, replay):
            writer.add(turn.reading, turn.scan is not None)
            show("reading", done)
    return [*(chart.warnings if chart is not None else ()), *known.warnings, *replay.notes, *_nmea_notes(chain)]


def _nmea_notes(chain: Chain) -> list[str]:
    notes = []
    for link, decoder in chain.instruments.decoders.items():
        lines = decoder.nmea.reader.counts
        if lines.bad_checksum or lines.no_checksum:
            notes.append(
                f"NMEA {link}: {lines.sentences} sentences, {lines.bad_checksum} with a wrong checksum, "
                f"{lines.no_checksum} without one"
            )
        if decoder.nmea.counts.bad_fields:
            refused = ", ".join(f"{n} {kind}" for kind, n in sorted(decoder.nmea.counts.bad_fields.items()))
            notes.append(f"NMEA {link}: fields that cannot be: {refused}")
        notes += [f"NMEA {link}: {line}" for line in decoder.troubles()]
    return notes


def _live(
    boat: Boat,
    chart: Chart | None,
    known: _Known,
    radar: LinkSpec | None,
    nmea: list[LinkSpec],
    writer: _Writer,
    quiet: bool,
) -> list[str]:
    """Read live links until interrupted."""
    from moonless.watch.live.watch import LiveWatch
    from moonless.watch.types import LinkNow, Turn

    def take(event: object) -> None:
        if isinstance(event, Turn):
            writer.add(event.reading, event.scan is not None)
        elif isinstance(event, LinkNow) and not quiet:
            click.echo(event.text, err=True)

    watch = LiveWatch(boat, chart, known.knowledge, radar=radar, nmea=nmea, on_event=take, with_spokes=False)
    known.tell(watch.chain)
    # Ctrl-C is how a live feed ends: what came in until then is kept.
    with contextlib.suppress(KeyboardInterrupt):
        asyncio.run(watch.run())
    return _nmea_notes(watch.chain)
