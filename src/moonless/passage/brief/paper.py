"""The brief as a PDF, set by typst: the same content as the page, in day ink."""

from __future__ import annotations

import tempfile
from datetime import tzinfo
from pathlib import Path

from moonless.errors import InputError
from moonless.passage.brief.page import enough_words, float_plan
from moonless.passage.brief.selection import worth_telling
from moonless.passage.dark import sky_words
from moonless.passage.go_no_go import READINESS
from moonless.passage.types import LegPlan, Plan
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

_HEAD = """
#set page(paper: "a4", margin: 1.6cm, footer: context [#text(8pt)[An aid, not a look-out; not for navigation.
#h(1fr) #counter(page).display()]])
#set text(size: 9.5pt)
#set table(stroke: (x: none, y: 0.4pt + luma(180)), inset: (x: 3pt, y: 3pt))
#show heading.where(level: 2): set block(above: 1.2em)
"""


def pdf_bytes(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> bytes:
    """Return the brief as PDF.  Raises InputError if the setting program is not installed."""
    try:
        import typst
    except ImportError:
        how = "pip install 'moonless[paper]', or use --out for HTML"
        raise InputError(f"a PDF needs the typst package: {how}") from None
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for number, picture in enumerate(plan.pictures):
            (root / f"scope{number}.png").write_bytes(picture.png)
        (root / "brief.typ").write_text(_source(plan, zone, unit), encoding="utf-8")
        return bytes(typst.compile(str(root / "brief.typ"), root=str(root)))


def _source(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> str:
    parts = [_HEAD, f"= {_t(plan.route.name)}", ""]
    parts.append(
        f"{_t(plan.boat_name)}. Leave {_t(date_words(plan.depart_s, zone))}, arrive "
        f"{_t(clock_words(plan.legs[-1].end_s, zone))}, {_t(distance_words(plan.route.length_m, unit))}.\n"
    )
    if plan.chart_faults:
        parts.append('#block(stroke: 1.2pt + red, inset: 6pt)[#text(red, weight: "bold")[The charts of this plan]')
        parts += [f"- #text(red)[{_t(fault)}]" for fault in plan.chart_faults]
        parts.append("]")
    if plan.refused:
        say = '#text(red, weight: "bold")[This route as drawn is refused.]'
        parts.append(f"#block(stroke: 1.2pt + red, inset: 6pt)[{say}")
        parts += [f"- #text(red)[Leg {d.leg}: {_t(d.say)} ({_t(d.object)} {_t(d.cell)})]" for d in plan.refused]
        parts.append("]")
    parts.append("== Go or not")
    rows = [[p.weight, p.what, p.figure, p.limit] for p in plan.points]
    parts.append(_table("(auto, 1fr, auto, auto)", ["", "what", "figure", "held against"], rows))
    parts += ["The decision stays yours.", ""]
    parts.append("== The legs")
    rows = [
        [
            str(leg.number),
            f"{leg.leg.start.name} to {leg.leg.end.name}",
            course_words(leg.leg.course_deg),
            course_words(leg.steer_deg),
            distance_words(leg.leg.length_m, unit),
            f"{leg.speed_kn:.1f}",
            clock_words(leg.start_s, zone),
            clock_words(leg.end_s, zone),
            "not known" if leg.water.tide_m is None else f"{leg.water.tide_m:.1f} m",
        ]
        for leg in plan.legs
    ]
    heads = ["", "leg", "track", "steer", "length", "kn", "leave", "arrive", "tide"]
    parts.append(_table("(auto, 1fr, auto, auto, auto, auto, auto, auto, auto)", heads, rows))
    parts.append("== Sun, moon and tide")
    parts += [f"- {_t(date_words(t, zone))}: {_t(w)}" for t, w in plan.events]
    for leg in plan.legs:
        parts += _leg(leg, plan, zone, unit)
    parts.append("== Ready?")
    parts += [f"- {_t('☐ ' + r)}" for r in READINESS]
    parts.append("== Leave this ashore")
    parts += [_t(line) + " \\" for line in float_plan(plan, zone, unit).splitlines()]
    parts += ["", "== What was assumed"]
    parts += [f"- {_t(a)}" for a in (*plan.assumptions, "Charts: " + "; ".join(plan.chart_cells))]
    return "\n".join(parts) + "\n"


def _leg(leg: LegPlan, plan: Plan, zone: tzinfo, unit: DistanceUnit) -> list[str]:
    out = [f"== Leg {leg.number}: {_t(leg.leg.start.name)} to {_t(leg.leg.end.name)}"]
    tide = "not known" if leg.water.tide_m is None else f"{leg.water.tide_m:.1f} m"
    stream = leg.water.stream_how
    if leg.water.stream_drift_kn is not None:
        stream = f"{leg.water.stream_drift_kn:.1f} kn setting {course_words(leg.water.stream_set_deg)}, {stream}"
    out.append(
        _t(
            f"{course_words(leg.leg.course_deg)}, {distance_words(leg.leg.length_m, unit)}, "
            f"{clock_words(leg.start_s, zone)} to {clock_words(leg.end_s, zone)} at {leg.speed_kn:.1f} kn. "
            f"{leg.because} {sentence(leg.dark.word)}, {leg.dark.lux:.2g} lux; {sky_words(leg.dark)}. "
            f"Tide {tide}: {leg.water.tide_how} "
            f"Stream: {stream}. {sentence(leg.bailout)}."
        )
    )
    told = worth_telling(leg)
    out += [f"- {_t(d.say + enough_words(d, zone))}" for d in told.dangers]
    out += [f"- Parallel index: {_t(words)}" for words in leg.index]
    out += [f"- {_t(distance_words(o.along_m, unit))} along, {_t(o.say)}" for o in told.opens]
    for light in told.lights:
        lead = " Leading light." if light.leading else ""
        out.append(
            "- "
            + _t(
                f"{light.name or 'Light'}, {light.text}: {light.colour} from "
                f"{distance_words(light.first_along_m, unit)} along, {course_words(light.bearing_deg)}, "
                f"{relative_words(light.relative_deg)}.{lead}"
            )
        )
    for mark in told.unlit:
        held = "the radar is not expected to hold it"
        if mark.radar_from_m is not None:
            held = f"on radar from {distance_words(mark.radar_from_m, unit)} along"
        where = f"{distance_words(mark.off_m, unit)} to {mark.side}"
        out.append("- " + _t(f"{object_words(mark.name, mark.object)}, unlit, {where}: {held}"))
    scopes = [(n, p) for n, p in enumerate(plan.pictures) if p.leg == leg.number]
    if scopes:
        words = {n: f"{_t(p.title)} \\ {_t('; '.join((*p.marks, *p.hidden)))}" for n, p in scopes}
        cells = [f'[#image("scope{n}.png", width: 100%) #text(7.5pt)[{words[n]}]]' for n, _ in scopes]
        out.append(f"#grid(columns: (1fr, 1fr, 1fr), gutter: 6pt, {', '.join(cells)})")
    return [*out, ""]


def _table(columns: str, heads: list[str], rows: list[list[str]]) -> str:
    cells = [f"[*{_t(h)}*]" if h else "[]" for h in heads] + [f"[{_t(c)}]" for row in rows for c in row]
    return f"#table(columns: {columns}, {', '.join(cells)})"


def _t(text: str) -> str:
    """Return text with everything that typst would read as markup escaped."""
    return "".join(f"\\{c}" if c in "\\#$*_`<>@~[]/=+-\"'" else c for c in text)
