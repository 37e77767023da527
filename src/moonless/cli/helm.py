"""``moonless helm``: keep the watch on your own chart, radar and instruments."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from moonless.cli._many import ManyCommand
from moonless.errors import InputError

DEFAULT_PORT = 8440
_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(
    cls=ManyCommand,
    epilog="\b\nExamples:\n"
    "  moonless helm --chart charts/ --radar udp://239.255.0.1:8600 --nmea tcp://gateway:2000 \\\n"
    "      --boat boat.toml --record tonight.mcap\n"
    "  moonless helm tonight.mcap --chart charts/ --boat boat.toml       (play a recording)\n"
    "  moonless helm --chart charts/ --radar udp://0.0.0.0:8600 --nmea serial:/dev/ttyUSB0?baud=38400 \\\n"
    "      --boat boat.toml --host 0.0.0.0                               (tablets on board, with a key)",
)
@click.argument("recording", required=False, type=click.Path(path_type=Path), metavar="[RUN.mcap]")
@click.option("--chart", "charts", multiple=True, type=click.Path(path_type=Path), metavar="PATH...",
              help="Chart files or folders.  Without one, echoes are told but not explained.")  # fmt: skip
@click.option(
    "--radar", metavar="LINK", help="Radar video, ASTERIX category 240: file, udp://HOST:PORT, tcp://HOST:PORT."
)
@click.option("--nmea", multiple=True, metavar="LINK...", help="NMEA 0183: file, udp://, tcp://, serial:DEVICE?baud=N.")
@click.option("--boat", "boat_file", type=_FILE, help="Boat file; without one a 9 m launch with a small radome.")
@click.option("--record", type=_FILE, metavar="RUN.mcap", help="Keep the run in a recording.")
@click.option("--knowledge", type=_FILE, help="Local knowledge; without it, one file among your own data.")
@click.option("--route", type=_FILE, metavar="ROUTE.gpx", help="Tonight's route: drawn, and its next turn told.")
@click.option("--port", default=DEFAULT_PORT, show_default=True, type=click.IntRange(0, 65535), help="0: any free one.")
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address to listen on; on another than this machine's own, screens need a key.",
)
@click.option("--speed", default=1.0, show_default=True, type=click.FloatRange(0.25, 16.0), help="Of a recording.")
def command(
    recording: Path | None,
    charts: tuple[Path, ...],
    radar: str | None,
    nmea: tuple[str, ...],
    boat_file: Path | None,
    record: Path | None,
    knowledge: Path | None,
    route: Path | None,
    port: int,
    host: str,
    speed: float,
) -> None:
    """Keep the watch: the helm in a browser, on your own chart, radar and instruments.

    A link that cannot be opened or goes away is said on the screens and opened again; the watch goes on with what
    it has.
    """
    from moonless.boat.file import default_boat, read_boat
    from moonless.helm.apart import Apart
    from moonless.helm.app import check_built
    from moonless.helm.hub import hello_boat
    from moonless.helm.jobs import LiveJob, ReplayJob
    from moonless.helm.serve import serve
    from moonless.wire.links import parse_link

    if recording is not None and (radar is not None or nmea):
        raise InputError("give either a recording or links, not both: a recording holds its own radar and NMEA")
    if recording is None and radar is None and not nmea:
        raise InputError("nothing to watch: give --radar and --nmea, or a recording; `moonless demo` needs neither")
    radar_spec = None if radar is None else parse_link(radar)
    nmea_specs = tuple(parse_link(text) for text in nmea)
    specs = [spec for spec in (radar_spec, *nmea_specs) if spec is not None]
    for path in (recording, route, *charts, *(spec.path for spec in specs)):
        if path is not None and not path.exists():
            raise InputError(f"{path}: there is no such file or folder")
    if record is not None and record.exists():
        raise InputError(f"{record} is there already; a recording is not written over, give another name")
    check_built()
    boat = default_boat() if boat_file is None else read_boat(boat_file)
    kept = knowledge or _own_knowledge()
    if recording is not None or all(spec.kind == "file" for spec in specs):
        if record is not None:
            raise InputError("--record is for live links; what is played is recorded already")
        job: Any = ReplayJob(
            boat, charts, recording,
            () if radar_spec is None or radar_spec.path is None else (radar_spec.path,),
            tuple(spec.path for spec in nmea_specs if spec.path is not None),
            kept, speed, route,
        )  # fmt: skip
        source = Apart("replay", job, hello_boat(boat))
    else:
        source = Apart("live", LiveJob(boat, charts, radar_spec, nmea_specs, record, kept, route), hello_boat(boat))
    source.begin()

    def opened(address: str) -> None:
        click.echo(f"The helm is at {address}   (Ctrl-C ends it)")

    serve(source, host=host, port=port, on_open=opened)


def _own_knowledge() -> Path:
    base = os.environ.get("XDG_DATA_HOME")
    return (Path(base) if base else Path.home() / ".local" / "share") / "moonless" / "knowledge.gpkg"
