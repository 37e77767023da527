"""The plan for tonight: every leg timed, and held against sky, water, chart and boat."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from moonless.boat.types import Boat
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import StripDangers
from moonless.chart.faults import chart_faults
from moonless.chart.library import Chart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.constants import NAUTICAL_MILE_M
from moonless.passage.dark import dark_at, glow_words, night_events
from moonless.passage.go_no_go import points_for_and_against
from moonless.passage.night import Night
from moonless.passage.opens import PointThatOpens, points_that_open
from moonless.passage.pace import fuel_l, least_seeing_m, leg_speed_kn, steadied
from moonless.passage.sight import calls_beside, index_lines, lights_on_leg, sample, unlit_marks, unranged_lights
from moonless.passage.types import (
    LegDanger,
    LegPlan,
    LightSeen,
    OpensAt,
    Plan,
    Refuge,
    TideGate,
    UnlitMark,
    UnrangedLight,
)
from moonless.passage.water import Water
from moonless.passage.way.gates import tide_gate, whole_minutes
from moonless.passage.way.leg_dangers import hold, leg_dangers
from moonless.passage.way.refuges import refuge_words, refuges_beside
from moonless.passage.way.route import Leg, Route
from moonless.passage.way.stretch import Stretch, stretches
from moonless.passage.words import clock_change, zone_of
from moonless.reading.collision.safe_speed import stopping_line_m
from moonless.sea.stations import Stations
from moonless.sea.stream import course_to_steer
from moonless.units import down, kn_to_mps, mps_to_kn, up

Progress = Callable[[str, float], None]
# Charts this near the route are what the plan rests on.
CHART_MARGIN_M = 2.0 * NAUTICAL_MILE_M


@dataclass(frozen=True, slots=True, eq=False)
class LegGround:
    """What does not change with the time of departure: found once, used for every departure tried."""

    number: int
    leg: Leg
    stretch: Stretch | None  # None: no chart touches the leg
    held: StripDangers | None  # against the chart
    opens: tuple[PointThatOpens, ...]
    lights: tuple[LightSeen, ...]
    unranged: tuple[UnrangedLight, ...]
    unlit: tuple[UnlitMark, ...]
    index: tuple[str, ...]
    calls: tuple[str, ...]
    refuges: tuple[Refuge, ...]
    speed_kn: float
    because: str


def survey(
    chart: Chart,
    route: Route,
    boat: Boat,
    night: Night,
    progress: Progress | None = None,
    knowledge: Knowledge | None = None,
) -> list[LegGround]:
    """Open the chart round every leg, with the skipper's own water to keep out of, and settle its speed."""
    if progress:
        progress("opening the chart", 0.0)
    out = []
    for number, (leg, stretch) in enumerate(zip(route.legs, stretches(chart, route.legs, knowledge), strict=True), 1):
        if progress:
            progress(f"leg {number}", number / len(route.legs))
        speed, because = steadied(*leg_speed_kn(boat, night, leg.course_deg, None), leg.length_m)
        if stretch is None:
            out.append(LegGround(number, leg, None, None, (), (), (), (), (), (), (), speed, because))
            continue
        berths = (number == 1, number == len(route.legs))
        held = hold(leg, stretch.dangers, boat, stretch.keep_outs, stretch.own_things, stretch.own_notes, berths)
        if any(berths) and any(d.kind == "berth" for d in held.dangers(Needs.of(boat, kn_to_mps(speed)))):
            speed, because = steadied(speed, because, leg.length_m, is_berthing=True)
        opens = points_that_open(stretch.edges, sample(leg, stretch.local), stretch.local.frame)
        lights = lights_on_leg(number, leg, stretch, boat, night)
        unlit = unlit_marks(number, leg, stretch.local, boat, night)
        index = tuple(index_lines(leg, stretch.local, boat, night))
        unranged = unranged_lights(number, leg, stretch)
        beside = (calls_beside(leg, stretch.local), refuges_beside(leg, stretch.local, boat))
        found = (tuple(opens), tuple(lights), tuple(unranged), tuple(unlit), index, *beside)
        out.append(LegGround(number, leg, stretch, held, *found, speed, because))
    return out


def make_plan(
    chart: Chart,
    route: Route,
    boat: Boat,
    depart_s: float,
    night: Night,
    stations: Stations | None = None,
    *,
    ground: Sequence[LegGround] | None = None,
    water: Water | None = None,
    events: bool = True,
    gates: bool = True,
    progress: Progress | None = None,
) -> Plan:
    """Return the plan without pictures.

    A route that touches a danger or leaves the chart is still planned, so that the place and the reason can be shown:
    ``Plan.refused`` holds them and whoever prints the plan says so first.  ``ground`` and ``water`` carry over what an
    earlier plan of the same route worked out; ``events=False`` leaves sun, moon and tide turns out,
    ``gates=False`` tide gates.
    """
    ground = survey(chart, route, boat, night, progress) if ground is None else ground
    water = Water(stations) if water is None else water
    legs = []
    time = depart_s
    for place in ground:
        if progress:
            progress(f"timing leg {place.number}", place.number / len(ground))
        leg = _plan_leg(place, boat, night, water, time)
        legs.append(leg)
        time = leg.end_s
    if gates:
        legs = [replace(leg, gate=_gate(place, leg, boat, water)) for place, leg in zip(ground, legs, strict=True)]
    middle = ground[len(ground) // 2].leg.at(0.0)
    told: list[tuple[float, str]] = []
    if events:
        told = [*night_events(*middle, depart_s, time)]
        told += water.tide_turns(*middle, depart_s - 21_600.0, time + 21_600.0)
        change = clock_change(zone_of(night.zone), depart_s, time)
        told += [] if change is None else [change]
    plan = Plan(
        route=route,
        boat_name=boat.name,
        depart_s=depart_s,
        zone=night.zone,
        legs=tuple(_with_bailouts(legs)),
        events=tuple(sorted(told)),
        points=(),
        assumptions=_assumptions(boat, night, stations, legs),
        chart_cells=tuple(
            f"{c.name}, 1:{c.scale}, edition {c.edition} update {c.update}, {c.issued or 'date not given'}"
            for c in chart.cells
        ),
        boat=boat,
        chart_faults=chart_faults(chart, route.bounds_lonlat(CHART_MARGIN_M), depart_s),
    )
    return replace(plan, points=points_for_and_against(plan, boat, night))


def _plan_leg(place: LegGround, boat: Boat, night: Night, water: Water, start_s: float) -> LegPlan:
    leg, number = place.leg, place.number
    lat, lon = leg.at(leg.length_m / 2)
    first_guess = start_s + leg.length_m / kn_to_mps(place.speed_kn) / 2
    here = water.at(lat, lon, first_guess)
    over_ground, steer = place.speed_kn, leg.course_deg if here.stream_drift_kn is None else None
    if here.stream_drift_kn is not None and here.stream_set_deg is not None:
        set_rad = math.radians(here.stream_set_deg)
        drift = kn_to_mps(here.stream_drift_kn)
        east, north = drift * math.sin(set_rad), drift * math.cos(set_rad)
        found = course_to_steer(math.radians(leg.course_deg), kn_to_mps(place.speed_kn), east, north)
        if found is not None:
            over_ground, steer = mps_to_kn(found.speed_over_ground), math.degrees(found.course_rad)
        else:
            over_ground, steer = 0.1, None  # the stream is stronger than the boat: an endless leg, which refuses
    end_s = start_s + leg.length_m / kn_to_mps(over_ground)
    lowest_m, over_high_m = water.range_m(lat, lon, start_s, end_s)
    step_m, doubt = water.over_datum_m(lat, lon, _sounding_datum(place))
    lowest_m = None if lowest_m is None else lowest_m + step_m
    tide_m = None if here.tide_m is None else here.tide_m + step_m
    here = replace(here, tide_m=tide_m, lowest_m=lowest_m, datum_doubt=doubt)
    dark = dark_at(lat, lon, (start_s + end_s) / 2, leg.course_deg, night.cloud)
    dark = replace(dark, glow=glow_words(lat, lon, leg.course_deg, night.glows))
    if place.held is None:
        whole = LegDanger(
            "chart ends", number, 0.0, 0.0, "on", None, "", "", "", None, None, "stops", f"no chart covers leg {number}"
        )
        dangers = [whole]
    else:
        needs = Needs.of(boat, kn_to_mps(place.speed_kn), lowest_m, over_high_m)
        met = leg_dangers(number, place.held, needs)
        dangers = [_with_windows(d, lowest_m, step_m, water, lat, lon, start_s) for d in met]
    if here.stream_drift_kn is not None and steer is None:
        say = f"the stream of {here.stream_drift_kn:.1f} kn lets no course of {place.speed_kn:.1f} kn make leg {number}"
        dangers.insert(0, LegDanger("stream", number, 0.0, 0.0, "on", None, "", "", "", None, None, "stops", say))
    return LegPlan(
        number=number,
        leg=leg,
        speed_kn=over_ground,
        because=place.because,
        steer_deg=steer,
        start_s=start_s,
        end_s=end_s,
        fuel_l=fuel_l(boat, place.speed_kn, (end_s - start_s) / 3600.0),
        dark=dark,
        water=here,
        dangers=tuple(dangers),
        lights=place.lights,
        unranged=place.unranged,
        calls=place.calls,
        refuges=place.refuges,
        unlit=place.unlit,
        bailout="",
        opens=tuple(_opening(place, boat, night)),
        index=place.index,
        least_depth_m=None if place.held is None else place.held.least_depth_m(),
    )


def _gate(place: LegGround, leg: LegPlan, boat: Boat, water: Water) -> TideGate | None:
    if place.held is None:
        return None
    middle = leg.leg.at(leg.leg.length_m / 2)
    step_m, _ = water.over_datum_m(*middle, _sounding_datum(place))
    speed, span = kn_to_mps(place.speed_kn), (leg.start_s, leg.end_s)
    return tide_gate(place.number, place.held, boat, speed, water, middle, span, step_m)


def _sounding_datum(place: LegGround) -> str:
    """Return what the depths of a leg stand below; "" where its cells do not say, or not the same."""
    if place.stretch is None:
        return ""
    said = {cell.sounding_datum for cell in place.stretch.local.cells if cell.sounding_datum}
    return said.pop() if len(said) == 1 else ""


# How long before and after a leg the times of enough water are sought.
WINDOW_S = 13.0 * 3600.0


def _with_windows(
    danger: LegDanger,
    tide_m: float | None,
    step_m: float,
    water: Water,
    lat_deg: float,
    lon_deg: float,
    start_s: float,
) -> LegDanger:
    """Return a shoal that is too shallow with the times when it is not."""
    if danger.kind not in ("shoal", "dries") or danger.margin_m is None or danger.margin_m >= 0.0 or tide_m is None:
        return danger
    least = tide_m - danger.margin_m - step_m  # the station's own heights are asked
    enough = water.enough(lat_deg, lon_deg, least, start_s - WINDOW_S / 2, start_s + WINDOW_S)
    return replace(danger, enough=None if enough is None else whole_minutes(enough))


def _opening(place: LegGround, boat: Boat, night: Night) -> list[OpensAt]:
    out = []
    for point in place.opens:
        slow, _ = leg_speed_kn(boat, night, place.leg.course_deg, point.distance_m)
        slow_to = slow if slow < place.speed_kn - 0.05 else None
        side: Literal["port", "starboard"] = "starboard" if point.relative_deg > 0 else "port"
        words = f"a point {down(point.distance_m / NAUTICAL_MILE_M, 2)} NM on the {side} bow opens"
        if slow_to is not None:
            words += f": {down(slow_to)} kn goes with a boat coming out of it"
        out.append(OpensAt(point.along_m, point.distance_m, side, slow_to, words))
    return out


def _with_bailouts(legs: Sequence[LegPlan]) -> list[LegPlan]:
    """Say for each leg whether back or on is nearer, and the refuge nearest to it."""
    total = sum(leg.leg.length_m for leg in legs)
    done = 0.0
    out = []
    for leg in legs:
        middle = done + leg.leg.length_m / 2
        on = total - middle
        where = f"back to {legs[0].leg.start.name}" if middle <= on else f"on to {legs[-1].leg.end.name}"
        words = f"nearest end: {where}, {min(middle, on) / NAUTICAL_MILE_M:.1f} NM"
        if leg.refuges:
            words += f"; {refuge_words(leg.refuges[0])}"
        out.append(replace(leg, bailout=words))
        done += leg.leg.length_m
    return out


def _assumptions(boat: Boat, night: Night, stations: Stations | None, legs: Sequence[LegPlan]) -> tuple[str, ...]:
    seeing = least_seeing_m(boat, night, [leg.leg.course_deg for leg in legs])
    held = "is not expected to be held at all"
    if seeing is not None:
        held = f"should be held to {down(seeing / NAUTICAL_MILE_M, 2)} NM"
    skipper = boat.skipper
    stop = stopping_line_m(kn_to_mps(10.0), boat)
    return (
        f"As given: {night.words}."
        + (
            ""
            if night.wind_from_deg is not None
            else " The wind's direction was not: every leg is taken to look into it."
        ),
        f"A thing of {skipper.smallest_rcs_m2:g} m² {skipper.smallest_height_m:g} m high {held} by this radar in that "
        "sea, wind and rain, on the leg where it is held least.",
        f"From 10 kn the boat needs {up(stop, 0)} m with {skipper.react_s:.0f} s to see and react"
        + ("." if boat.stopping else "; no stopping trials in the boat file, so a cautious figure is assumed."),
        "Land between is taken to hide a light whatever their heights.",
        "No tide stations were given: depths are held against chart datum with no tide added."
        if stations is None
        else "Tide and stream are predictions; wind and air pressure are not in them.",
        "Depths are held against the lowest tide of each leg.",
        "Bridge and cable clearances are above a high-water level: a lower tide is never counted as more room; what a "
        "predicted tide stands above mean high water is taken off, where the station says that level.",
        *([f"Nobody knew her own figures, and these are assumed: {boat.assumed_words}."] if boat.assumed else []),
    )
