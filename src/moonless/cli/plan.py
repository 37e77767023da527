"""``moonless plan``: is this run sensible tonight, and what will it look like."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from moonless.cli.parts.figures import Bounded, check_outputs, place_of
from moonless.errors import InputError
from moonless.files import Drafts
from moonless.units import DistanceUnit, kn_to_mps, nm_to_m

if TYPE_CHECKING:
    from datetime import tzinfo

    from moonless.chart.local_knowledge.knowledge import Knowledge
    from moonless.passage.types import Plan
    from moonless.passage.way.route import Waypoint
    from moonless.sea.stations import Stations


# A route that is refused: planned, shown, and no success.  Wrong input ends with 2.
REFUSED = 3


@click.command(
    epilog="Example:  moonless plan home.gpx --chart charts/ --boat boat.toml --depart 2031-03-02T19:00 "
    "--tides stations.json --out brief.html"
)
@click.argument("route_file", metavar="[ROUTE.gpx]", required=False, type=click.Path(path_type=Path))
@click.option("--from", "start", metavar="LAT,LON", help="Without a route: propose one along deep water from here ...")
@click.option("--to", "end", metavar="LAT,LON", help="... to there.")
@click.option("--chart", "charts", multiple=True, required=True, type=click.Path(path_type=Path), help="Cell, folder.")
@click.option("--boat", "boat_file", type=click.Path(path_type=Path), required=True, help="Boat file.")
@click.option("--depart", required=True, metavar="TIME", help="ISO time; local unless it says Z or an offset.")
@click.option("--tides", "tide_files", multiple=True, type=click.Path(path_type=Path), help="Station file (JSON).")
@click.option("--speed", "speed_kn", type=Bounded(0.1, 100.0), metavar="KNOTS",
              help="Speed wanted; never above what seeing bears.")  # fmt: skip
@click.option("--cloud", type=Bounded(0.0, 100.0), default=0.0, show_default=True, metavar="PERCENT")
@click.option("--visibility", "visibility_nm", type=Bounded(0.01, 50.0), default=10.0, show_default=True, metavar="NM")
@click.option("--waves", "wave_height_m", type=Bounded(0.0, 15.0), default=0.3, show_default=True, metavar="METRES",
              help="Significant wave height.")  # fmt: skip
@click.option("--wind", "wind_kn", type=Bounded(0.0, 100.0), default=6.0, show_default=True, metavar="KNOTS")
@click.option("--wind-from", "wind_from_deg", type=Bounded(0.0, 360.0), metavar="DEG",
              help="True; without it every leg is taken to look into the wind.")  # fmt: skip
@click.option("--rain", "rain_mmh", type=Bounded(0.0, 200.0), default=0.0, show_default=True, metavar="MMH")
@click.option("--knowledge", type=click.Path(path_type=Path),
              help="Local knowledge kept at the helm: water to keep out of, things no chart has.")  # fmt: skip
@click.option("--glow", "glows", multiple=True, metavar="LAT,LON,NAME", help="A shore light whose glow you know.")
@click.option(
    "--window", "window_h", type=Bounded(0.1, 48.0), metavar="HOURS", help="Search this many hours from --depart."
)
@click.option("--no-pictures", is_flag=True, help="Leave the radar pictures out.")
@click.option("--out", type=click.Path(path_type=Path), help="Brief as HTML.")
@click.option("--pdf", type=click.Path(path_type=Path), help="Brief as PDF.")
@click.option("--json", "json_file", type=click.Path(path_type=Path),
              help="The plan as JSON; `moonless helm --route` follows it.")  # fmt: skip
@click.option("--gpx", "gpx_file", type=click.Path(path_type=Path), help="The route with its times.")
def command(
    route_file: Path | None,
    start: str | None,
    end: str | None,
    charts: tuple[Path, ...],
    boat_file: Path,
    depart: str,
    tide_files: tuple[Path, ...],
    speed_kn: float | None,
    cloud: float,
    visibility_nm: float,
    wave_height_m: float,
    wind_kn: float,
    wind_from_deg: float | None,
    rain_mmh: float,
    knowledge: Path | None,
    glows: tuple[str, ...],
    window_h: float | None,
    no_pictures: bool,
    out: Path | None,
    pdf: Path | None,
    json_file: Path | None,
    gpx_file: Path | None,
) -> int:
    """Plan tonight's run along a route: dark, water, dangers, lights, radar, pace.

    Ends with 0, with 3 where the route as drawn is refused, with 2 for wrong input.
    """
    from rich.console import Console
    from rich.progress import Progress

    from moonless.boat.file import read_boat
    from moonless.chart.library import Chart
    from moonless.passage.brief.carried import carried_dict
    from moonless.passage.brief.record import plan_dict
    from moonless.passage.brief.selection import and_more
    from moonless.passage.departures import search, with_leaving
    from moonless.passage.night import Night
    from moonless.passage.plan import make_plan, survey
    from moonless.passage.way.propose import propose
    from moonless.passage.way.route import read_gpx, thinned, to_gpx
    from moonless.passage.words import parse_time, zone_of, zone_told
    from moonless.sea.stations import read_stations

    boat = read_boat(boat_file)
    zone = zone_of(boat.skipper.local_time_zone)
    if (route_file is None) == (start is None or end is None):
        raise InputError("give a ROUTE.gpx, or both --from and --to")
    ends = None if start is None or end is None else (place_of("--from", start), place_of("--to", end))
    drawn, thin = (None, "") if route_file is None else thinned(read_gpx(route_file))
    notes: tuple[str, ...] = (thin,) if thin else ()
    depart_s = parse_time(depart, zone)
    zone = zone_told(depart, zone)
    marked = tuple(_glow(text) for text in glows)
    zone_name = boat.skipper.local_time_zone
    night = Night(
        cloud / 100.0, nm_to_m(visibility_nm), wave_height_m, speed_kn, zone_name, marked,
        kn_to_mps(wind_kn), wind_from_deg, rain_mmh,
    )  # fmt: skip
    stations = read_stations(tide_files) if tide_files else None
    if stations is not None:
        notes = (*notes, *and_more(stations.warnings, 3, "in the station file"))
    known = None if knowledge is None else _own_knowledge(knowledge)
    check_outputs({"--out": out, "--pdf": pdf, "--json": json_file, "--gpx": gpx_file})
    console = Console(stderr=True)
    # Where nobody watches it would leave an empty line before what is said.
    with Progress(console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task("opening the chart", total=1.0)

        def tell(words: str, share: float) -> None:
            progress.update(task, description=words, completed=share)

        chart = Chart.open(list(charts), progress=tell)
        if drawn is not None:
            route = drawn
        else:
            assert ends is not None
            tell("seeking a way along deep water", 0.0)
            found_way = propose(chart, boat, *ends, tide_m=_lowest_m(stations, *ends[0], depart_s), knowledge=known)
            route, notes = found_way.route, (*notes, *found_way.notes)
        ground = survey(chart, route, boat, night, tell, known)
        plan = make_plan(chart, route, boat, depart_s, night, stations, ground=ground, progress=tell)
        plan = replace(with_leaving(plan, chart, boat, night, stations, ground), notes=notes)
        if window_h is not None:
            found = search(chart, route, boat, depart_s, window_h, night, stations, ground=ground, progress=tell)
            plan = replace(plan, departures=found)
        if not no_pictures and (out is not None or pdf is not None or json_file is not None):
            from moonless.passage.scope import pictures

            plan = replace(plan, pictures=pictures(ground, boat, night, tell))
        unit = boat.skipper.distance_unit
        tell("writing", 1.0)
        # All are made before any is written: one that cannot be made leaves nothing half done.
        made: list[tuple[Path, bytes]] = []
        if out is not None or pdf is not None:
            from moonless.passage.chartlet import chartlet_svg

            plan = replace(plan, chartlet_svg=chartlet_svg(ground, boat))
        if out is not None:
            from moonless.passage.brief.page import page

            made.append((out, page(plan, zone, unit).encode()))
        if pdf is not None:
            from moonless.passage.brief.paper import pdf_bytes

            made.append((pdf, pdf_bytes(plan, zone, unit)))
        if json_file is not None:
            body = {**plan_dict(plan), "carry": carried_dict(boat, night, route, tide_files)}
            made.append((json_file, json.dumps(body, indent=1, allow_nan=False).encode()))
        if gpx_file is not None:
            times = [round(leg.start_s * 1e9) for leg in plan.legs] + [round(plan.legs[-1].end_s * 1e9)]
            made.append((gpx_file, to_gpx(route, times).encode()))
        with Drafts() as drafts:
            for path, data in made:
                drafts.binary(path).write(data)
    for note in plan.notes:
        click.echo(f"Note: {note}.")
    _print(plan, zone, unit)
    return REFUSED if plan.refused else 0


def _own_knowledge(path: Path) -> Knowledge:
    from moonless.chart.local_knowledge.knowledge import Knowledge

    if not path.exists():
        raise InputError(f"{path}: there is no such file")
    return Knowledge.open(path)


def _lowest_m(stations: Stations | None, lat: float, lon: float, depart_s: float) -> float:
    """Return the lowest tide of half a day from departure; datum where nobody says."""
    from moonless.passage.water import Water

    lowest, _ = Water(stations).range_m(lat, lon, depart_s, depart_s + 43_200.0)
    return 0.0 if lowest is None else lowest


def _glow(text: str) -> Waypoint:
    from moonless.passage.way.route import Waypoint

    place, _, name = text.rpartition(",")
    if not place or not name.strip():
        raise InputError(f"--glow {text!r}: write it as LAT,LON,NAME")
    return Waypoint(name.strip(), *place_of("--glow", place))


def _print(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> None:
    from moonless.passage.brief.content import departure_words, refusal_times
    from moonless.passage.brief.steering import gate_words
    from moonless.passage.words import clock_words, course_words, date_words, distance_words
    from moonless.units import down

    for fault in plan.chart_faults:
        click.secho(f"CHART: {fault}", fg="red", bold=True)
    for danger in plan.refused:
        click.secho(f"REFUSED, leg {danger.leg}: {danger.say}{refusal_times(plan, danger, zone)}", fg="red", bold=True)
    arrive = clock_words(plan.legs[-1].end_s, zone, plan.depart_s)
    click.echo(f"{plan.route.name}: leave {date_words(plan.depart_s, zone)}, arrive {arrive}")
    for leg in plan.legs:
        tide = "tide not known" if leg.water.tide_m is None else f"tide {down(leg.water.tide_m)} m"
        click.echo(
            f"  {leg.number:>2} {course_words(leg.leg.course_deg)} {distance_words(leg.leg.length_m, unit):>9} "
            f"{down(leg.speed_kn):>4} kn  {clock_words(leg.start_s, zone, plan.depart_s)}-"
            f"{clock_words(leg.end_s, zone, plan.depart_s)}  "
            f"{leg.dark.word}, {tide}, {len(leg.lights)} lights  {leg.leg.start.name} to {leg.leg.end.name}"
        )
    if plan.gates:
        click.echo(f"  {gate_words(plan, zone)}")
    for point in plan.points:
        if point.weight in ("stops", "against"):
            click.echo(f"  {point.weight}: {point.what} [{point.figure}; {point.limit}]")
    if plan.departures:
        click.echo(f"  {departure_words(plan, zone)}")
    if plan.refused:
        click.secho("This route as drawn is refused.", fg="red", bold=True)
    click.echo("An aid, not a look-out; the decision stays yours.")
