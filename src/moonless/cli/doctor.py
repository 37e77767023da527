"""``moonless doctor``: what is connected, what is stale, what is missing, and where each setting came from."""

from __future__ import annotations

import asyncio
import os
from pathlib import Path

import click

from moonless.cli.parts.figures import Bounded
from moonless.cli.parts.many import ManyCommand

_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(
    cls=ManyCommand,
    epilog="\b\nExamples:\n"
    "  moonless doctor\n"
    "  moonless doctor --boat boat.toml --chart charts/\n"
    "  moonless doctor --radar udp://239.255.0.1:8600 --nmea tcp://gateway:2000 serial:/dev/ttyUSB0?baud=38400 \\\n"
    "      --boat boat.toml --seconds 10",
)
@click.option("--chart", "charts", multiple=True, type=click.Path(path_type=Path), metavar="PATH...",
              help="Chart files or folders to look at.")  # fmt: skip
@click.option("--radar", metavar="LINK", help="Radar link to listen to.")
@click.option("--nmea", "nmea", multiple=True, metavar="LINK...", help="NMEA links to listen to.")
@click.option("--boat", "boat_file", type=_FILE, help="Boat file to read.")
@click.option("--seconds", type=Bounded(1.0, 600.0), default=6.0, show_default=True,
              help="How long to listen to live links.")  # fmt: skip
def command(
    charts: tuple[Path, ...], radar: str | None, nmea: tuple[str, ...], boat_file: Path | None, seconds: float
) -> None:
    """Say what is connected, what is stale, what is missing, and where each setting came from.

    Nothing is changed and nothing is kept.
    """
    from moonless.boat.file import default_boat, read_boat
    from moonless.wire.links import ReceiptClock, parse_link, parse_radar_link

    boat = default_boat() if boat_file is None else read_boat(boat_file)
    specs = [(parse_radar_link(radar), True)] if radar is not None else []
    specs += [(parse_link(text), False) for text in nmea]
    for line in _boat_lines(boat_file):
        click.echo(line)
    click.echo()
    for line in _chart_lines(charts):
        click.echo(line)
    click.echo()
    if not specs:
        click.echo("links: none named; add --radar LINK and --nmea LINK to listen to them")
        return
    from moonless.watch.link_survey.report import LinkCheck, listen, missing

    checks = [LinkCheck(spec, is_radar) for spec, is_radar in specs]
    for check in checks:
        check.radar.use_angles_from(boat.radar.angle_from)
    if any(spec.kind != "file" for spec, _ in specs):
        click.echo(f"listening for {seconds:g} s ...", err=True)
    clock = ReceiptClock()
    asyncio.run(listen(checks, seconds, clock))
    click.echo("links:")
    for check in checks:
        for line in check.lines(clock.now_ns()):
            click.echo(f"  {line}")
    click.echo()
    lacking = missing(checks)
    click.echo("missing:" if lacking else "missing: nothing")
    for line in lacking:
        click.echo(f"  {line}")


def _boat_lines(boat_file: Path | None) -> list[str]:
    """Return every setting of the boat file with its value and where that came from."""
    from moonless.boat.keys import KEYS
    from moonless.tables import parse

    found: dict[str, object] = {}
    if boat_file is None:
        head = "boat: no boat file; a 9 m launch with a small radome is assumed"
    else:
        head = f"boat: {boat_file}"
        found = dict(parse(boat_file))
    out = [head]
    for key in KEYS:
        table, _, inner = key.table.partition(".")
        values = found.get(table, {})
        label = f"{key.table}.{key.name}"
        if inner:
            rows = values.get(inner, []) if isinstance(values, dict) else []
            given = [row[key.name] for row in rows if isinstance(row, dict) and key.name in row]
            shown = ", ".join(str(v) for v in given)
            out.append(f"  {label:34} {shown or '-':24} {'boat file' if given else 'not given'}")
        elif isinstance(values, dict) and key.name in values:
            out.append(f"  {label:34} {values[key.name]!s:24} boat file")
        else:
            default = key.default if key.default != "required" else "as assumed"
            out.append(f"  {label:34} {default:24} default")
    return out


def _chart_lines(charts: tuple[Path, ...]) -> list[str]:
    from moonless.chart.library import Chart
    from moonless.folders import charts_cache

    source = "environment XDG_CACHE_HOME" if os.environ.get("XDG_CACHE_HOME") else "default"
    out = [f"chart indexes are kept in {charts_cache()} ({source})"]
    if not charts:
        return [*out, "charts: none named; add --chart PATH to look at them"]
    chart = Chart.open(list(charts))
    out.append(f"charts: {len(chart.cells)} cells")
    for cell in chart.cells:
        not_for = ", not for navigation" if cell.not_for_navigation else ""
        issued = f", issued {cell.issued}" if cell.issued else ""
        out.append(f"  {cell.name:12} 1:{cell.scale:<9} edition {cell.edition} update {cell.update}{issued}{not_for}")
    return out + [f"  {warning}" for warning in chart.warnings]
