"""``moonless debrief``: the run afterwards, as a page, as paper, as plain data."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from moonless.cli.parts.bar import bar
from moonless.cli.parts.many import ManyCommand
from moonless.errors import InputError
from moonless.files import Drafts

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import shapely

    from moonless.chart.library import Chart
    from moonless.debrief.ledger import Ledger
    from moonless.passage.way.route import Waypoint

_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(
    cls=ManyCommand,
    epilog="\b\nExamples:\n"
    "  moonless debrief run.mcap --chart charts/ --boat boat.toml --out run.html\n"
    "  moonless debrief run.mcap --chart charts/ --boat boat.toml --plan home.gpx --tides stations.json --pdf run.pdf",
)
@click.argument("recording", metavar="RUN.mcap", type=click.Path(path_type=Path))
@click.option("--chart", "charts", multiple=True, type=click.Path(path_type=Path), metavar="PATH...",
              help="Chart files or folders, drawn below the track.")  # fmt: skip
@click.option("--boat", "boat_file", type=_FILE, help="Boat file; without one a 9 m launch with a small radome.")
@click.option("--plan", "plan_file", type=_FILE, help="The plan of the run: a route (GPX), or what plan --json wrote.")
@click.option("--tides", "tide_files", multiple=True, type=click.Path(path_type=Path), metavar="FILE...",
              help="Tide station files (JSON), for the depth at chart datum.")  # fmt: skip
@click.option("--anew", is_flag=True, help="Read the radar again instead of taking the readings that were recorded.")
@click.option("--out", type=_FILE, help="The debrief as HTML.")
@click.option("--pdf", type=_FILE, help="As PDF.")
@click.option("--json", "json_file", type=_FILE, help="As plain data.")
@click.option("--quiet", is_flag=True, help="No progress and no summary.")
def command(
    recording: Path,
    charts: tuple[Path, ...],
    boat_file: Path | None,
    plan_file: Path | None,
    tide_files: tuple[Path, ...],
    anew: bool,
    out: Path | None,
    pdf: Path | None,
    json_file: Path | None,
    quiet: bool,
) -> None:
    """Look back on a run: track, meetings, orders, hidden water, depth, how the radar saw, what to practise."""
    from moonless.boat.file import default_boat, read_boat
    from moonless.debrief.ledger import ledger_of
    from moonless.debrief.report import as_data, debrief
    from moonless.debrief.words import Words, short
    from moonless.passage.words import zone_of
    from moonless.sea.stations import read_stations
    from moonless.watch.afterwards.told import BesideRecording, PastRun
    from moonless.watch.instruments.tides import TideUnderWay

    if not recording.is_file():
        raise InputError(f"{recording} is {'a folder' if recording.is_dir() else 'not there'}; give a recording")
    for path in (out, pdf, json_file):
        if path is not None and not path.parent.is_dir():
            raise InputError(f"{path}: there is no folder {path.parent}")
    boat = default_boat() if boat_file is None else read_boat(boat_file)
    words = Words(zone_of(boat.skipper.local_time_zone), boat.skipper.distance_unit)
    plan = None if plan_file is None else _plan(plan_file)
    tide = TideUnderWay(read_stations(tide_files)) if tide_files else None
    with Drafts() as files, bar(quiet) as show:
        chart = _chart(charts, show)
        past = PastRun(recording, BesideRecording(boat, chart, tide=tide), anew)
        run = ledger_of(past.turns(lambda done: show("reading the run", done)))
        notes = _notes(past.is_anew, boat_file, charts, tide_files, past.notes)
        height = None if tide is None else tide.height_m
        found = debrief(run, boat, recording.name, tide_m=height, plan=plan, is_anew=past.is_anew, answers=past.answers,
                        notes=notes)  # fmt: skip
        land = None if chart is None else _land(chart, run)
        scopes = {}
        if out is not None or pdf is not None:
            from moonless.debrief.page import PICTURED
            from moonless.debrief.scopes import scopes_at

            show("pictures", 0.9)
            asked = [(one.closest_ns, max(one.closest_m, one.keep_off_m)) for one in found.meetings[:PICTURED]]
            scopes = scopes_at(recording, boat, asked)
        if out is not None:
            from moonless.debrief.page import page

            files.text(out).write(page(run, found, words, land, scopes))
        if pdf is not None:
            from moonless.debrief.paper import pdf_bytes

            files.binary(pdf).write(pdf_bytes(run, found, words, land, scopes))
        if json_file is not None:
            json.dump(as_data(found), files.text(json_file), ensure_ascii=False, allow_nan=False, indent=1)
    if not quiet:
        for what, figure in short(found, words):
            click.echo(f"{what}: {figure}")
        for one in found.practise:
            click.echo(f"Practise: {one.what} ({one.because})")


def _chart(charts: tuple[Path, ...], show: Callable[[str, float], None]) -> Chart | None:
    if not charts:
        return None
    from moonless.chart.library import Chart

    return Chart.open(list(charts), progress=lambda what, done: show(f"chart: {what}", done))


def _land(chart: Chart, run: Ledger) -> shapely.Geometry | None:
    """Return the charted land about a run, in its frame; None where the chart does not reach."""
    import numpy as np

    from moonless.errors import NoCoverage

    known = np.isfinite(run.east_m)
    reach = float(np.max(np.hypot(run.east_m[known], run.north_m[known]))) + 2000.0
    try:
        return chart.around(run.frame.lat_deg, run.frame.lon_deg, reach).reframed(run.frame).land
    except NoCoverage:
        return None


def _notes(
    is_anew: bool, boat_file: Path | None, charts: tuple[Path, ...], tides: tuple[Path, ...], more: list[str]
) -> list[str]:
    out = list(more)
    out.append(
        "The readings were made again from the radar; what was said at the helm may have been other words."
        if is_anew
        else "The readings are those that the helm recorded."
    )
    if boat_file is None:
        out.append("No boat file was given: draught, keep-off and stopping are those of an assumed 9 m launch.")
    if not charts:
        out.append("No chart was given: no land is drawn.")
    if not tides:
        out.append("No tide was given: depths are as sounded, and what they would be at chart datum is not known.")
    return out


def _plan(path: Path) -> tuple[str, Sequence[Waypoint], Sequence[int | None]]:
    """Return a plan's name, waypoints and times.  Raises InputError or SourceError if it cannot be used."""
    from datetime import datetime

    from moonless.passage.way.route import Waypoint, read_gpx
    from moonless.units import utc_to_ns

    if not path.is_file():
        raise InputError(f"{path} is not there; give a route (GPX) or what plan --json wrote")
    if path.suffix.lower() != ".json":
        route = read_gpx(path)
        return route.name, route.waypoints, [None] * len(route.waypoints)
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        waypoints = [Waypoint(w["name"], float(w["lat"]), float(w["lon"])) for w in data["waypoints"]]
        ends = [data["legs"][0]["start"], *(leg["end"] for leg in data["legs"])]
        times = [utc_to_ns(datetime.fromisoformat(t)) for t in ends]
        if len(times) != len(waypoints):
            raise ValueError("it has other legs than waypoints")
    except (ValueError, KeyError, TypeError, IndexError, OSError) as problem:
        raise InputError(f"{path}: is no plan as `moonless plan --json` writes it: {problem}") from problem
    return data["route"], waypoints, times
