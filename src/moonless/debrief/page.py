"""The debrief as one HTML page: day ink on paper, red on black at night.  It loads nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.s57.names import object_name
from moonless.debrief.calls import CallTold
from moonless.debrief.drawing import meeting_map, strips, track_map
from moonless.debrief.ledger import Ledger
from moonless.debrief.meetings import MeetingTold
from moonless.debrief.report import CAUTION
from moonless.debrief.scopes import Scope
from moonless.debrief.types import Debrief
from moonless.debrief.words import Words, answered_words, followed_words, level_words, passed_words, radar_words, short
from moonless.pages import filled, png_url

# As many meetings as a person looks at; the rest stand in the table.
PICTURED = 6
MOST_CALLS = 60
OPEN = ", still closing when last told"


class _Met(NamedTuple):
    """One meeting as the page shows it; no map and no picture: "" and None."""

    who: str
    closest: str
    is_loud: bool
    when: str
    facts: list[tuple[str, str]]
    map: str
    png: bytes | None


def page(
    run: Ledger,
    found: Debrief,
    words: Words,
    land: shapely.Geometry | None = None,
    scopes: Mapping[int, Scope] | None = None,
) -> str:
    """Return the whole page.  ``land``: charted land in the run's frame, None where no chart was given."""
    return filled(
        __package__,
        "page.html.jinja",
        found=found,
        words=words,
        caution=CAUTION,
        short=short(found, words),
        legend=_legend(found, land),
        track=track_map(run, found, land),
        strips=strips(run, chart_rows(run), words.minute),
        meetings=[_met(k, one, run, words, land, scopes or {}) for k, one in enumerate(found.meetings)],
        calls=chosen_calls(found),
        level_words=level_words,
        radar=radar_words(found, words),
        marks=[
            f"{m.name or 'without a name'} ({object_name(m.object)}), from {words.clock(m.first_ns)}, {m.looks} looks"
            for m in found.marks
        ],
        plan=[passed_words(one, words) for one in found.plan],
        has_times=any(one.planned_ns is not None for one in found.plan),
        followed_words=followed_words,
        answers_kept=any(c.answered_s is not None for c in found.calls),
        answered_words=answered_words,
        png_url=png_url,
    )


def chart_rows(run: Ledger) -> list[tuple[str, list[tuple[NDArray[np.float64], str]]]]:
    """Return what is drawn over time."""
    return [
        ("speed made, kn (dashed: advised)", [(run.sog_kn, "own"), (run.advised_kn, "her")]),
        ("range at which a small boat would be held, m", [(run.seeing_m, "own")]),
        ("radar against its own figures, dB", [(run.performance_db, "own")]),
        ("heading off, degrees", [(run.bias_deg, "own")]),
        ("position off, m east (dashed: north)", [(run.offset_east_m, "own"), (run.offset_north_m, "her")]),
        ("depth by the sounder, m", [(run.depth_m, "own")]),
    ]


def chosen_calls(found: Debrief) -> list[CallTold]:
    """Return the calls that are listed: the most urgent, in the order they were said."""
    return sorted(sorted(found.calls, key=lambda c: -c.urgency)[:MOST_CALLS], key=lambda c: c.first_ns)


def _legend(found: Debrief, land: shapely.Geometry | None) -> str:
    told = ["Numbers are the vessels met"] if found.meetings else []
    if found.pace.over_s > 0.0:
        told.append("thick: faster than went with what was seen")
    if found.marks:
        told.append("a cross: a mark that was missing")
    if land is None:
        told.append("no chart was given, so no land is drawn")
    words = ", ".join(told)
    return f"{words[:1].upper()}{words[1:]}." if words else ""


def _met(
    k: int, one: MeetingTold, run: Ledger, words: Words, land: shapely.Geometry | None, scopes: Mapping[int, Scope]
) -> _Met:
    closest, when = words.far(one.closest_m), words.clock(one.closest_ns)
    facts = [
        ("Closest", f"{closest}, bearing {words.bearing(one.bearing_deg)}, at {when}{OPEN if one.is_open else ''}"),
        ("Keep-off", f"{words.far(one.keep_off_m)}; inside it for {words.span(one.inside_s)}"),
        ("Risk first told", "never" if one.risk_ns is None else words.clock(one.risk_ns)),
        ("By rule", f"{one.rule}: {one.meeting}"),
        ("What was done", one.done),
        ("Better", one.better),
    ]
    is_pictured = k < PICTURED
    drawn = meeting_map(run, one, land) if is_pictured else ""
    scope = scopes.get(one.closest_ns) if is_pictured else None
    loud = one.closest_m < one.keep_off_m
    return _Met(one.who, closest, loud, when, facts, drawn, None if scope is None else scope.png)
