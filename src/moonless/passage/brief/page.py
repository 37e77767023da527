"""The brief as one HTML page: day ink on paper, red on black on a phone at night.  It loads nothing."""

from __future__ import annotations

import base64
from datetime import tzinfo
from html import escape

from moonless.passage.brief.picture import departure_svg
from moonless.passage.brief.selection import worth_telling
from moonless.passage.dark import sky_words
from moonless.passage.go_no_go import READINESS
from moonless.passage.types import LegDanger, LegPlan, LightSeen, OpensAt, Plan, UnlitMark
from moonless.passage.words import (
    clock_words,
    course_words,
    date_words,
    distance_words,
    object_words,
    relative_words,
    sentence,
)
from moonless.units import DistanceUnit

_STYLE = """
:root { color-scheme: light dark; --ink: #111; --quiet: #555; --rule: #bbb; --sheet: #fff; --loud: #a00; }
@media screen and (prefers-color-scheme: dark) {
  :root { --ink: #b5281c; --quiet: #7a1c14; --rule: #3a0d09; --sheet: #000; --loud: #e0402f; }
}
body { font: 15px/1.45 system-ui, sans-serif; color: var(--ink); background: var(--sheet); margin: 1.2rem auto;
       max-width: 56rem; padding: 0 1rem; }
h1 { font-size: 1.5rem; margin: 0 0 .2rem } h2 { font-size: 1.15rem; margin: 1.6rem 0 .4rem }
h3 { font-size: 1rem; margin: 1.2rem 0 .2rem }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums }
th, td { text-align: left; padding: .2rem .5rem .2rem 0; border-bottom: 1px solid var(--rule); vertical-align: top }
th { font-weight: 600; color: var(--quiet) }
.quiet { color: var(--quiet) } .loud { color: var(--loud); font-weight: 700 }
.refused { border: 2px solid var(--loud); padding: .5rem .8rem; margin: .8rem 0 }
.scopes { display: flex; flex-wrap: wrap; gap: 1rem } figure { margin: 0; width: 17rem } figure img { width: 100% }
figcaption { font-size: .85rem } ul { margin: .3rem 0; padding-left: 1.2rem } .leg { break-inside: avoid-page }
.wide { overflow-x: auto } svg text { fill: currentColor }
@media print { body { max-width: none; margin: 0; font-size: 10.5pt } h2 { break-after: avoid } }
"""


def page(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> str:
    """Return the whole brief."""
    parts = [
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(plan.route.name)}</title>',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<style>{_STYLE}</style></head><body>",
        f"<h1>{escape(plan.route.name)}</h1>",
        f'<p class="quiet">{escape(plan.boat_name)}. Leave {date_words(plan.depart_s, zone)}, '
        f"arrive {clock_words(plan.legs[-1].end_s, zone)}, {distance_words(plan.route.length_m, unit)}. "
        "An aid, not a look-out: Rule 5 stays yours. Old charts are not for navigation.</p>",
        _faults(plan),
        _refused(plan, zone),
        _go(plan),
        _legs_table(plan, zone, unit),
        _events(plan, zone),
    ]
    parts += [_leg(leg, plan, zone, unit) for leg in plan.legs]
    if plan.departures:
        svg = departure_svg(plan.departures, plan.depart_s, zone)
        parts += ["<h2>Which departure</h2>", f'<div class="wide">{svg}</div>']
    parts += [_readiness(), _float_plan(plan, zone, unit), _small_print(plan), "</body></html>\n"]
    return "\n".join(part for part in parts if part)


def _faults(plan: Plan) -> str:
    if not plan.chart_faults:
        return ""
    rows = "".join(f"<li>{escape(fault)}</li>" for fault in plan.chart_faults)
    return f'<div class="refused"><p class="loud">The charts of this plan</p><ul class="loud">{rows}</ul></div>'


def _refused(plan: Plan, zone: tzinfo) -> str:
    if not plan.refused:
        return ""
    rows = "".join(
        f"<li>Leg {d.leg}: {escape(d.say)}{escape(enough_words(d, zone))}{_source(d)}</li>" for d in plan.refused
    )
    return f'<div class="refused"><p class="loud">This route as drawn is refused.</p><ul class="loud">{rows}</ul></div>'


def _source(danger: LegDanger) -> str:
    if not danger.cell:
        return ""
    return f' <span class="quiet">({escape(danger.object)} {escape(danger.feature)}, {escape(danger.cell)})</span>'


def _go(plan: Plan) -> str:
    words = {"stops": "stops it", "against": "against", "note": "note", "for": "for"}
    rows = "".join(
        f'<tr><td class="{"loud" if p.weight == "stops" else ""}">{words[p.weight]}</td><td>{escape(p.what)}</td>'
        f"<td>{escape(p.figure)}</td><td>{escape(p.limit)}</td></tr>"
        for p in plan.points
    )
    head = "<tr><th></th><th>what</th><th>figure</th><th>held against</th></tr>"
    return f'<h2>Go or not</h2><div class="wide"><table>{head}{rows}</table></div><p>The decision stays yours.</p>'


def _legs_table(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> str:
    rows = "".join(
        f"<tr><td>{leg.number}</td><td>{escape(leg.leg.start.name)} to {escape(leg.leg.end.name)}</td>"
        f"<td>{course_words(leg.leg.course_deg)}</td><td>{course_words(leg.steer_deg)}</td>"
        f"<td>{distance_words(leg.leg.length_m, unit)}</td><td>{leg.speed_kn:.1f}</td>"
        f"<td>{clock_words(leg.start_s, zone)}</td><td>{clock_words(leg.end_s, zone)}</td>"
        f"<td>{_depth(leg)}</td><td>{_tide(leg)}</td></tr>"
        for leg in plan.legs
    )
    head = (
        "<tr><th></th><th>leg</th><th>track</th><th>steer</th><th>length</th><th>kn</th><th>leave</th><th>arrive</th>"
        "<th>least depth</th><th>tide</th></tr>"
    )
    return f'<h2>The legs</h2><div class="wide"><table>{head}{rows}</table></div>'


def _depth(leg: LegPlan) -> str:
    return "not charted" if leg.least_depth_m is None else f"{leg.least_depth_m:.1f} m"


def _tide(leg: LegPlan) -> str:
    return "not known" if leg.water.tide_m is None else f"{leg.water.tide_m:.1f} m"


def _events(plan: Plan, zone: tzinfo) -> str:
    rows = "".join(f"<li>{date_words(t, zone)}: {escape(w)}</li>" for t, w in plan.events)
    return f"<h2>Sun, moon and tide</h2><ul>{rows}</ul>"


def _leg(leg: LegPlan, plan: Plan, zone: tzinfo, unit: DistanceUnit) -> str:
    stream = leg.water.stream_how
    if leg.water.stream_drift_kn is not None:
        stream = f"{leg.water.stream_drift_kn:.1f} kn setting {course_words(leg.water.stream_set_deg)}, {stream}"
    told = worth_telling(leg)
    fuel = "" if leg.fuel_l is None else f" {leg.fuel_l:.0f} l of fuel."
    parts = [
        f'<section class="leg"><h2>Leg {leg.number}: {escape(leg.leg.start.name)} to {escape(leg.leg.end.name)}</h2>',
        f"<p>{course_words(leg.leg.course_deg)}, {distance_words(leg.leg.length_m, unit)}, "
        f"{clock_words(leg.start_s, zone)} to {clock_words(leg.end_s, zone)} at {leg.speed_kn:.1f} kn. "
        f"{escape(leg.because)}{fuel}</p>",
        f"<p>{sentence(leg.dark.word)}, {leg.dark.lux:.2g} lux; {escape(sky_words(leg.dark))}. "
        f"Tide {_tide(leg)}: {escape(leg.water.tide_how)} Stream: {escape(stream)}. "
        f"{escape(sentence(leg.bailout))}.</p>",
        _list("Dangers and areas", [_danger_words(d, zone) for d in told.dangers], told.dangers_left),
        _list("Parallel index", [escape(w) for w in leg.index]),
        _list("Points that open", [_opens_words(o, unit) for o in told.opens], told.opens_left),
        _list("Lights, as they come up", [_light_words(x, unit) for x in told.lights], told.lights_left),
        _list("Unlit, for the radar", [_unlit_words(u, unit) for u in told.unlit], told.unlit_left),
        _scopes(leg, plan),
        "</section>",
    ]
    return "\n".join(part for part in parts if part)


def _list(title: str, rows: list[str], left_out: int = 0) -> str:
    if not rows:
        return ""
    more = f'<li class="quiet">and {left_out} more, in the JSON</li>' if left_out else ""
    return f"<h3>{title}</h3><ul>{''.join(f'<li>{r}</li>' for r in rows)}{more}</ul>"


def _danger_words(danger: LegDanger, zone: tzinfo) -> str:
    loud = ' class="loud"' if danger.weight == "stops" else ""
    return f"<span{loud}>{escape(danger.say)}{escape(enough_words(danger, zone))}</span>{_source(danger)}"


def enough_words(danger: LegDanger, zone: tzinfo) -> str:
    """Return when there is water enough over a shoal; empty where that is not asked or not known."""
    if danger.enough is None:
        return ""
    if not danger.enough:
        return "; not enough at any time within half a day"
    return "; enough " + ", ".join(f"{clock_words(a, zone)} to {clock_words(b, zone)}" for a, b in danger.enough)


def _light_words(light: LightSeen, unit: DistanceUnit) -> str:
    name = escape(light.name or "light without a name")
    lead = " Leading light for this leg." if light.leading else ""
    return (
        f"{name}, {escape(light.text)}: {light.colour} from {distance_words(light.first_along_m, unit)} along, "
        f"bearing {course_words(light.bearing_deg)}, {relative_words(light.relative_deg)}; "
        f"nearest {distance_words(light.nearest_m, unit)}.{lead}"
    )


def _opens_words(point: OpensAt, unit: DistanceUnit) -> str:
    return f"{distance_words(point.along_m, unit)} along, {escape(point.say)}"


def _unlit_words(mark: UnlitMark, unit: DistanceUnit) -> str:
    name = escape(object_words(mark.name, mark.object))
    where = f"{distance_words(mark.off_m, unit)} to {mark.side}, {distance_words(mark.along_m, unit)} along"
    if mark.radar_from_m is None:
        return f"{name}, {where}: the radar is not expected to hold it"
    return f"{name}, {where}: on radar from {distance_words(mark.radar_from_m, unit)} along"


def _scopes(leg: LegPlan, plan: Plan) -> str:
    figures = []
    for picture in plan.pictures:
        if picture.leg != leg.number:
            continue
        image = base64.b64encode(picture.png).decode("ascii")
        words = "<br>".join(escape(w) for w in (*picture.marks, *picture.hidden))
        figures.append(
            f'<figure><img alt="{escape(picture.title)}" src="data:image/png;base64,{image}">'
            f"<figcaption><b>{escape(picture.title)}</b><br>{words}</figcaption></figure>"
        )
    if not figures:
        return ""
    return f'<h3>What the radar should show (predicted)</h3><div class="scopes">{"".join(figures)}</div>'


def _readiness() -> str:
    rows = "".join(f"<li>☐ {escape(r)}</li>" for r in READINESS)
    return f'<h2>Ready?</h2><ul style="list-style:none;padding:0">{rows}</ul>'


def _float_plan(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> str:
    return f"<h2>Leave this ashore</h2><pre>{escape(float_plan(plan, zone, unit))}</pre>"


def float_plan(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> str:
    """Return the float plan as plain text, for someone ashore."""
    lines = [
        f"Boat: {plan.boat_name}",
        f"Route: {' - '.join(w.name for w in plan.route.waypoints)}, {distance_words(plan.route.length_m, unit)}",
        f"Leaves: {date_words(plan.depart_s, zone)}",
        f"Due: {date_words(plan.legs[-1].end_s, zone)}",
        "People aboard (names, telephones): ______________________",
        "Radio call sign / MMSI: ______________________",
        "If not heard of by ________ call: ______________________",
    ]
    return "\n".join(lines)


def _small_print(plan: Plan) -> str:
    rows = "".join(f"<li>{escape(a)}</li>" for a in plan.assumptions)
    cells = "; ".join(escape(c) for c in plan.chart_cells)
    return f'<h2>What was assumed</h2><ul class="quiet">{rows}<li>Charts: {cells}</li></ul>'
