"""What the brief says, as blocks that page and paper both set: one page to steer by, one go or not, details behind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import tzinfo

from moonless.passage.brief.selection import and_more, worth_telling
from moonless.passage.brief.steering import break_off_words, courses_words, gate_words, traffic_words, under_keel_words
from moonless.passage.dark import sky_words
from moonless.passage.departures import best_of
from moonless.passage.go_no_go import READINESS
from moonless.passage.types import LegDanger, LegPlan, LightSeen, Plan, UnlitMark
from moonless.passage.words import (
    clock_words,
    compass_words,
    course_words,
    date_words,
    distance_words,
    magnetic_words,
    object_words,
    place_words,
    relative_words,
    room_words,
    sentence,
)
from moonless.units import DistanceUnit, down, up

CAUTION = "An aid, not a look-out: Rule 5 stays yours. Old charts are not for navigation."
# Someone ashore calls for help so long after the time due: common practice, no source.
OVERDUE_S = 3600.0
MOST_MATTERS = 24


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; level 1 is the brief's own."""

    text: str
    level: int = 2


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph."""

    text: str
    is_quiet: bool = False


@dataclass(frozen=True, slots=True)
class Banner:
    """What is said first, in red."""

    title: str
    rows: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table; ``loud`` are the numbers of the rows in red."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    loud: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Rows:
    """A list under a small title."""

    title: str
    rows: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Scopes:
    """Predicted radar pictures: (title, PNG, words)."""

    pictures: tuple[tuple[str, bytes, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing as SVG, coloured by classes."""

    svg: str


@dataclass(frozen=True, slots=True)
class PageSheet:
    """One page of paper; on a screen, what stands open."""

    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Fold:
    """Details behind: on a screen folded away, on paper printed."""

    title: str
    blocks: tuple[Block, ...]


Block = Heading | Paragraph | Banner | Table | Rows | Scopes | Drawing | PageSheet | Fold


def brief(plan: Plan, zone: tzinfo, unit: DistanceUnit, departures_svg: str = "") -> tuple[Block, ...]:
    """Return the whole brief."""
    folds = [_leg(leg, plan, zone, unit) for leg in plan.legs]
    if plan.departures:
        folds.insert(0, Fold("Which departure", (Paragraph(departure_words(plan, zone)), Drawing(departures_svg))))
    folds.append(Fold("Leave this ashore", (Rows("", tuple(float_plan(plan, zone, unit).splitlines())),)))
    cells = f"Charts: {'; '.join(plan.chart_cells)}"
    folds.append(Fold("What was assumed", (Rows("", (*plan.assumptions, cells)),)))
    return (PageSheet(_steer(plan, zone, unit)), PageSheet(_go(plan, zone)), *folds)


# ---- to steer by ----


def _head(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> list[Block]:
    leave, arrive = date_words(plan.depart_s, zone), date_words(plan.legs[-1].end_s, zone)
    if leave.split()[:4] == arrive.split()[:4]:
        arrive = clock_words(plan.legs[-1].end_s, zone, plan.depart_s)
    length = distance_words(plan.route.length_m, unit)
    out: list[Block] = [
        Heading(plan.route.name, 1),
        Paragraph(f"{plan.boat_name}. Leave {leave}, arrive {arrive}, {length}. {CAUTION}", is_quiet=True),
    ]
    if plan.notes:
        out.append(Paragraph(f"Of this route: {'; '.join(plan.notes)}."))
    if plan.chart_faults:
        out.append(Banner("The charts of this plan", plan.chart_faults))
    if plan.refused:
        rows = [f"Leg {d.leg}: {d.say}{refusal_times(plan, d, zone)}{_source(d)}" for d in plan.refused]
        out.append(Banner("This route as drawn is refused.", and_more(rows, 8, "leg by leg behind")))
    return out


def _steer(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> tuple[Block, ...]:
    out = _head(plan, zone, unit)
    out.append(Heading("To steer by"))
    if plan.chartlet_svg:
        out.append(Drawing(plan.chartlet_svg))
    card = () if plan.boat is None else plan.boat.deviation
    heads = (
        "", "to", "position", "track", "steer", "magnetic", *(("compass",) if card else ()), "length", "kn", "leave",
        "arrive", "under keel", "tide", "light, radar mark",
    )  # fmt: skip
    rows = []
    for leg in plan.legs:
        end = leg.leg.end
        steer = leg.steer_deg if leg.steer_deg is not None else leg.leg.course_deg
        rows.append(
            (
                str(leg.number),
                end.name,
                place_words(end.lat_deg, end.lon_deg),
                course_words(leg.leg.course_deg),
                course_words(leg.steer_deg),
                magnetic_words(steer, end.lat_deg, end.lon_deg, leg.start_s),
                *((compass_words(card, steer, end.lat_deg, end.lon_deg, leg.start_s),) if card else ()),
                distance_words(leg.leg.length_m, unit).replace(" ", "\u00a0"),
                down(leg.speed_kn),
                clock_words(leg.start_s, zone, plan.depart_s),
                clock_words(leg.end_s, zone, plan.depart_s),
                under_keel_words(leg, plan),
                "not known" if leg.water.tide_m is None else f"{down(leg.water.tide_m)}\u00a0m",
                "; ".join(_marks_of(leg)) or "none charted",
            )
        )
    start = plan.legs[0].leg.start
    numbered = " Each point of the drawing has the number of the leg that ends there." if plan.chartlet_svg else ""
    out.append(Paragraph(f"From {start.name}, {place_words(start.lat_deg, start.lon_deg)}.{numbered}"))
    out.append(Table(heads, tuple(rows), frozenset(k for k, leg in enumerate(plan.legs) if _is_refused(leg))))
    gates = gate_words(plan, zone)
    if gates:
        out.append(Paragraph(gates))
    out.append(Paragraph(courses_words(plan)))
    out.append(Paragraph(f"To break off: {break_off_words(plan)}."))
    calls = dict.fromkeys(call for leg in plan.legs for call in leg.calls)
    said = "; ".join(and_more(list(calls), 5, "leg by leg behind")) or "none is charted near the track"
    out.append(Paragraph(f"Traffic: {traffic_words(plan)}."))
    out.append(Paragraph(f"Radio: {said}."))
    return tuple(out)


def _is_refused(leg: LegPlan) -> bool:
    return any(d.weight == "stops" for d in leg.dangers)


def _marks_of(leg: LegPlan) -> list[str]:
    """Return the light and the radar mark a leg is steered by."""
    out = []
    lights = sorted(leg.lights, key=lambda x: (not x.leading, x.nearest_m))
    if lights:
        light = lights[0]
        lead = ", leading" if light.leading else ""
        out.append(f"{light.name or 'light'} {light.text}{lead}")
    if leg.index:
        out.append(f"radar: {leg.index[0].split(', abeam')[0]}")
    else:
        held = sorted((u for u in leg.unlit if u.radar_from_m is not None), key=lambda u: u.off_m)
        if held:
            mark = held[0]
            out.append(f"radar: {object_words(mark.name, mark.object)}, {down(mark.off_m, 0)} m to {mark.side}")
    return out


# ---- go or not ----


def _go(plan: Plan, zone: tzinfo) -> tuple[Block, ...]:
    words = {"stops": "stops it", "against": "against", "note": "note", "for": "for"}
    kept = plan.points[:MOST_MATTERS]
    rows = [(words[p.weight], p.what, p.figure, p.limit) for p in kept]
    if len(plan.points) > len(kept):
        rows.append(("", f"and {len(plan.points) - len(kept)} more, leg by leg behind", "", ""))
    out: list[Block] = [
        Heading("Go or not"),
        Table(("", "what", "figure", "held against"), tuple(rows),
             frozenset(k for k, p in enumerate(kept) if p.weight == "stops")),
        Paragraph("The decision stays yours."),
    ]  # fmt: skip
    if plan.departures:
        out.append(Paragraph(departure_words(plan, zone)))
    out.append(Rows("Sun, moon and tide", tuple(f"{date_words(t, zone)}: {w}" for t, w in plan.events)))
    out.append(Rows("Ready?", tuple(f"☐ {r}" for r in READINESS)))
    return tuple(out)


def departure_words(plan: Plan, zone: tzinfo) -> str:
    """Return which departure of the window is best, by name; never one that is refused."""
    best = best_of(plan.departures)
    first, last = (clock_words(d.time_s, zone) for d in (plan.departures[0], plan.departures[-1]))
    refused = sum(d.stops > 0 for d in plan.departures)
    window = f"of {len(plan.departures)} departures from {first} to {last}"
    if best is None:
        return f"No departure can be named best: every one {window} is refused."
    arrive = clock_words(best.arrival_s, zone, best.time_s)
    said = f"Best {window}: leave {date_words(best.time_s, zone)}, arrive {arrive}"
    said += f"; {best.against} against it, mean light {best.mean_lux:.2g} lux"
    return said + (f"; {refused} of them are refused." if refused else ".")


# ---- details ----


def _leg(leg: LegPlan, plan: Plan, zone: tzinfo, unit: DistanceUnit) -> Fold:
    told = worth_telling(leg)
    stream = leg.water.stream_how
    if leg.water.stream_drift_kn is not None:
        stream = f"{leg.water.stream_drift_kn:.1f} kn setting {course_words(leg.water.stream_set_deg)}, {stream}"
    tide = "not known" if leg.water.tide_m is None else f"{down(leg.water.tide_m)} m"
    fuel = "" if leg.fuel_l is None else f" {up(leg.fuel_l, 0)} l of fuel."
    depth = "not charted" if leg.least_depth_m is None else f"{down(leg.least_depth_m)} m"
    blocks: list[Block] = [
        Paragraph(
            f"{course_words(leg.leg.course_deg)}, {distance_words(leg.leg.length_m, unit)}, "
            f"{clock_words(leg.start_s, zone, plan.depart_s)} to "
            f"{clock_words(leg.end_s, zone, plan.depart_s)} at {down(leg.speed_kn)} kn. "
            f"{leg.because}{fuel}"
        ),
        Paragraph(
            f"{sentence(leg.dark.word)}, {leg.dark.lux:.2g} lux; {sky_words(leg.dark)}. Least depth {depth}. "
            f"Tide {tide}: {leg.water.tide_how.rstrip('.')}. Stream: {stream}. {sentence(leg.bailout)}."
        ),
    ]

    def listed(title: str, rows: Sequence[str], left: int = 0) -> None:
        if rows:
            more = (f"and {left} more, in the JSON",) if left else ()
            blocks.append(Rows(title, (*rows, *more)))

    if leg.gate is not None:
        blocks.append(Paragraph(gate_words(replace(plan, legs=(leg,), leave=None), zone)))
    dangers = [f"{d.say}{enough_words(d, zone)}{_source(d)}" for d in told.dangers]
    listed("Dangers and areas", dangers, told.dangers_left)
    listed("Parallel index", leg.index)
    opens = [f"{distance_words(o.along_m, unit)} along, {o.say}" for o in told.opens]
    listed("Points that open", opens, told.opens_left)
    listed("Lights, as they come up", [_light_words(x, unit) for x in told.lights], told.lights_left)
    unranged = [
        f"{u.name or 'light without a name'}, {u.text}: {distance_words(u.nearest_m, unit)} to {u.side}"
        for u in leg.unranged[:MOST_UNRANGED]
    ]
    left = len(leg.unranged) - len(unranged)
    listed("Lights whose range is not charted: do not count on them", unranged, left)
    listed("Unlit, for the radar", [_unlit_words(u, unit) for u in told.unlit], told.unlit_left)
    listed("Radio, as charted", leg.calls)
    scopes = [(p.title, p.png, (*p.marks, *p.hidden)) for p in plan.pictures if p.leg == leg.number]
    if scopes:
        blocks += [Heading("What the radar should show (predicted)", 3), Scopes(tuple(scopes))]
    return Fold(f"Leg {leg.number}: {leg.leg.start.name} to {leg.leg.end.name}", tuple(blocks))


MOST_UNRANGED = 8


def _source(danger: LegDanger) -> str:
    return f" ({danger.object} {danger.feature}, {danger.cell})" if danger.cell else ""


def refusal_times(plan: Plan, danger: LegDanger, zone: tzinfo) -> str:
    """Return when there is water enough over what refuses a leg; "" where the leg's tide gate says it for the whole."""
    return "" if any(gate.leg == danger.leg for gate in plan.gates) else enough_words(danger, zone)


def enough_words(danger: LegDanger, zone: tzinfo) -> str:
    """Return when there is water enough over a shoal; empty where that is not asked or not known."""
    if danger.enough is None:
        return ""
    if not danger.enough:
        return "; not enough at any time within half a day"
    return "; enough " + ", ".join(f"{clock_words(a, zone)} to {clock_words(b, zone)}" for a, b in danger.enough)


def _light_words(light: LightSeen, unit: DistanceUnit) -> str:
    lead = " Leading light for this leg." if light.leading else ""
    return (
        f"{light.name or 'light without a name'}, {light.text}: {light.colour} from "
        f"{distance_words(light.first_along_m, unit)} along, bearing {course_words(light.bearing_deg)}, "
        f"{relative_words(light.relative_deg)}; nearest {distance_words(light.nearest_m, unit)}.{lead}"
    )


def _unlit_words(mark: UnlitMark, unit: DistanceUnit) -> str:
    where = f"{room_words(mark.off_m, unit)} to {mark.side}, {distance_words(mark.along_m, unit)} along"
    held = "the radar is not expected to hold it"
    if mark.radar_from_m is not None:
        held = f"on radar from {distance_words(mark.radar_from_m, unit)} along"
    return f"{object_words(mark.name, mark.object)}, {where}: {held}"


def float_plan(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> str:
    """Return the float plan as plain text, for someone ashore."""
    due_s = plan.legs[-1].end_s
    boat = plan.boat
    mmsi = "______________________" if boat is None or boat.mmsi is None else f"{boat.mmsi:09d}"
    size = "" if boat is None else f", {boat.length_m:g} m long, {boat.draught_m:g} m draught"
    times = [leg.start_s for leg in plan.legs] + [due_s]
    points = [
        f"  {w.name}: {place_words(w.lat_deg, w.lon_deg)}, {clock_words(t, zone, plan.depart_s)}"
        for w, t in zip(plan.route.waypoints, times, strict=True)
    ]
    lines = [
        f"Boat: {plan.boat_name}{size}",
        f"MMSI: {mmsi}   Call sign: ______________________",
        f"Route: {' - '.join(w.name for w in plan.route.waypoints)}, {distance_words(plan.route.length_m, unit)}",
        *and_more(points, 40, "in the GPX"),
        f"Leaves: {date_words(plan.depart_s, zone)}",
        f"Due: {date_words(due_s, zone)}",
        f"Overdue, call for help: {date_words(due_s + OVERDUE_S, zone)}",
        "People aboard (names, telephones): ______________________",
        "If overdue call: ______________________",
    ]
    return "\n".join(lines)
