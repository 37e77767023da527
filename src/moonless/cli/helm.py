"""``moonless helm``: keep the watch on your own chart, radar and instruments."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from moonless.cli.parts.figures import Bounded
from moonless.cli.parts.many import ManyCommand
from moonless.errors import InputError

if TYPE_CHECKING:
    from moonless.helm.process.events import Source
    from moonless.helm.process.worker_process import WorkerProcess
    from moonless.helm.setup.settings import HelmSettings

DEFAULT_PORT = 8440
_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(
    cls=ManyCommand,
    epilog="\b\nExamples:\n"
    "  moonless helm --chart charts/ --radar udp://239.255.0.1:8600 --nmea tcp://gateway:2000 \\\n"
    "      --boat boat.toml --record tonight.mcap\n"
    "  moonless helm tonight.mcap --chart charts/ --boat boat.toml       (play a recording)\n"
    "  moonless helm --chart charts/ --radar udp://0.0.0.0:8600 --nmea serial:/dev/ttyUSB0?baud=38400 \\\n"
    "      --boat boat.toml --host 0.0.0.0                               (tablets on board, each paired once)\n"
    "  moonless helm                                    (what the set-up screen has kept; the first time, the set-up)",
)
@click.argument("recording", required=False, type=click.Path(path_type=Path), metavar="[RUN.mcap]")
@click.option("--chart", "charts", multiple=True, type=click.Path(path_type=Path), metavar="PATH...",
              help="Chart files or folders.  Without one, echoes are told but not explained.")  # fmt: skip
@click.option(
    "--radar", metavar="LINK", help="Radar video, ASTERIX category 240: file, udp://HOST:PORT, tcp://HOST:PORT."
)
@click.option(
    "--nmea", multiple=True, metavar="LINK...", help="Instruments: file, udp://, tcp://, serial:DEVICE, can:, ws://."
)
@click.option("--boat", "boat_file", type=_FILE, help="Boat file; without one a 9 m launch with a small radome.")
@click.option("--record", type=_FILE, metavar="RUN.mcap", help="Keep the run in a recording.")
@click.option("--nmea-out", multiple=True, metavar="udp://HOST:PORT...", help="Send targets and alerts: TTM, TLL, ALR.")
@click.option("--signalk-out", multiple=True, metavar="udp://HOST:PORT...", help="Send readings as Signal K deltas.")
@click.option("--knowledge", type=_FILE, help="Local knowledge; without it, one file among your own data.")
@click.option("--route", type=_FILE, metavar="ROUTE.gpx|PLAN.json",
              help="Tonight's route; or a plan made ashore (plan --json), weather and tides with it.")  # fmt: skip
@click.option("--tides", "tide_files", multiple=True, type=_FILE, metavar="FILE...",
              help="Tide station files (JSON): depths are reckoned with the tide of the hour.")  # fmt: skip
@click.option("--port", default=DEFAULT_PORT, show_default=True, type=click.IntRange(0, 65535), help="0: any free one.")
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address to listen on; on another than this machine's own, screens are paired once.",
)
@click.option("--name", metavar="NAME", help="A name by which tablets reach this computer; without it, figures.")
@click.option("--certificate", type=_FILE, metavar="CHAIN.pem", help="Your own certificate: it speaks https then.")
@click.option("--certificate-key", type=_FILE, metavar="KEY.pem", help="Its key, where the other does not hold it.")
@click.option(
    "--config",
    type=_FILE,
    metavar="HELM.toml",
    help="What the set-up screen writes and reads; without it, one file among your own settings.",
)
@click.option("--speed", default=1.0, show_default=True, type=Bounded(0.25, 16.0), help="Of a recording.")
def command(
    recording: Path | None,
    charts: tuple[Path, ...],
    radar: str | None,
    nmea: tuple[str, ...],
    boat_file: Path | None,
    record: Path | None,
    nmea_out: tuple[str, ...],
    signalk_out: tuple[str, ...],
    knowledge: Path | None,
    route: Path | None,
    tide_files: tuple[Path, ...],
    port: int,
    host: str,
    name: str | None,
    certificate: Path | None,
    certificate_key: Path | None,
    config: Path | None,
    speed: float,
) -> None:
    """Keep the watch: the helm in a browser, on your own chart, radar and instruments.

    A link that cannot be opened or goes away is said on the screens and opened again; the watch goes on with what
    it has. Without links it uses what the set-up screen has kept, and opens that screen where nothing is kept yet.
    """
    from moonless.cli.keeping.invited import invited, on_this_computer
    from moonless.folders import knowledge_file, practice_file, screens_file, settings_file
    from moonless.helm.door.pairing import Pairings
    from moonless.helm.door.tls import read_certificate
    from moonless.helm.practice.process import PracticeOutfit, PracticeProcess
    from moonless.helm.setup.launch import NoSource, boat_of, live_source
    from moonless.helm.setup.service import SetupService
    from moonless.helm.setup.settings import HelmSettings, read_settings, resolved
    from moonless.helm.web.app import check_built
    from moonless.helm.web.serve import serve
    from moonless.watch.outputs.sender import named_outputs
    from moonless.wire.links import parse_link

    if recording is not None and (radar is not None or nmea):
        raise InputError("give either a recording or links, not both: a recording holds its own radar and NMEA")
    if config is not None and not config.exists() and (recording is not None or radar is not None or nmea):
        raise InputError(f"{config}: there is no such file")
    for path in (recording, route, boat_file, *charts, *tide_files, *_files(radar, nmea)):
        if path is not None and not path.exists():
            raise InputError(f"{path}: there is no such file or folder")
    _check_route_and_tides(route, tide_files)
    if record is not None and record.exists():
        raise InputError(f"{record} is there already; a recording is not written over, give another name")
    if certificate is None and certificate_key is not None:
        raise InputError("--certificate-key goes with --certificate")
    context = None if certificate is None else read_certificate(certificate, certificate_key)
    check_built()
    where = config or settings_file()
    # A command line that names its links is whole in itself: a helm.toml of one's own does not reach into it.
    is_own = config is not None or (recording is None and radar is None and not nmea)
    kept = read_settings(where) if is_own and where.exists() else HelmSettings()
    settings = HelmSettings(
        kept.boat if boat_file is None else str(boat_file.absolute()),
        tuple(str(path.absolute()) for path in charts) or kept.charts,
        radar or kept.radar,
        nmea or kept.nmea,
        kept.prefer,
        kept.length_unit,
        tuple(str(path.absolute()) for path in tide_files) or kept.tides,
    )
    specs = [parse_link(link) for link in (settings.radar, *settings.nmea) if link is not None]
    outputs = named_outputs(nmea_out, signalk_out)
    source: Source
    room: SetupService | None = None
    without: tuple[str, ...] = ()
    if recording is not None or (specs and all(spec.kind == "file" for spec in specs)):
        if record is not None:
            raise InputError("--record is for live links; what is played is recorded already")
        if outputs:
            raise InputError("--nmea-out and --signalk-out are for live links: what is played is not now")
        source = _replay(where, settings, recording, knowledge, speed, route)
    else:
        _check_record(record)

        def launch(path: Path, chosen: HelmSettings) -> tuple[WorkerProcess, tuple[str, ...]]:
            return live_source(path, chosen, record=record, knowledge=knowledge, route=route, outputs=outputs)

        room = SetupService(where, settings, launch=launch)
        if settings.has_links:
            worker, without = launch(where, settings)
            worker.begin()
            source = worker
            room.is_running(settings)
        else:
            source = NoSource(boat_of(where, settings))

    def opened(address: str) -> None:
        click.echo(f"The helm is at {address}   (Ctrl-C ends it)")
        if (own := on_this_computer(address, host)) != address:
            click.echo(f"On this computer it is at {own}; {own}screens pairs tablets and lets them go.")
        if not settings.has_links and recording is None:
            click.echo("Nothing is connected yet: the screen there sets it up, and keeps it in " + str(where))

    def outfit() -> PracticeOutfit:
        # As it stands now: the set-up may have changed both.
        now = settings if room is None else room.settings
        there = [resolved(where, one) for one in now.charts]
        return PracticeOutfit(boat_of(where, now), tuple(path for path in there if path.exists()), practice_file(),
                      knowledge=knowledge or knowledge_file())  # fmt: skip

    serve(
        source, host=host, port=port, on_open=opened, on_invite=invited, pairings=Pairings(screens_file()), name=name,
        certificate=context, setup=room, practice=PracticeProcess(outfit), without=without,
    )  # fmt: skip


def _check_route_and_tides(route: Path | None, tide_files: tuple[Path, ...]) -> None:
    """Refuse a route, a carried plan or station files that cannot be read, before anything is opened."""
    from moonless.passage.brief.carried import read_carried
    from moonless.passage.way.route import read_gpx, thinned
    from moonless.sea.stations import read_stations

    if route is not None and route.suffix.lower() == ".json":
        read_carried(route)
    elif route is not None:
        thinned(read_gpx(route))
    read_stations(tide_files)


def _check_record(record: Path | None) -> None:
    """Refuse a recording that cannot be begun, before anything is opened: the watch would say so only on a screen."""
    if record is None:
        return
    if record.is_dir():
        raise InputError(f"{record} is a folder; --record wants a file")
    if not record.parent.is_dir():
        raise InputError(f"{record} cannot be written: there is no folder {record.parent}")
    if not os.access(record if record.exists() else record.parent, os.W_OK):
        raise InputError(f"{record} cannot be written: not allowed")


def _files(radar: str | None, nmea: tuple[str, ...]) -> list[Path | None]:
    from moonless.wire.links import parse_link

    return [parse_link(link).path for link in (*([] if radar is None else [radar]), *nmea)]


def _replay(
    where: Path,
    settings: HelmSettings,
    recording: Path | None,
    knowledge: Path | None,
    speed: float,
    route: Path | None,
) -> WorkerProcess:
    from moonless.folders import knowledge_file
    from moonless.helm.process.play_jobs import ReplayJob
    from moonless.helm.process.worker_process import WorkerProcess
    from moonless.helm.setup.launch import boat_of
    from moonless.helm.setup.settings import resolved
    from moonless.helm.web.boat_json import boat_json
    from moonless.wire.links import parse_link

    boat = boat_of(where, settings)
    radar = None if settings.radar is None else parse_link(settings.radar).path
    nmea = [parse_link(link).path for link in settings.nmea]
    job = ReplayJob(
        boat, tuple(resolved(where, one) for one in settings.charts), recording,
        () if radar is None else (radar,), tuple(path for path in nmea if path is not None),
        knowledge or knowledge_file(), speed, route, tuple(resolved(where, one) for one in settings.tides),
    )  # fmt: skip
    source = WorkerProcess("replay", job, boat_json(boat))
    source.begin()
    return source
