"""Tide gates: legs that low water closes, when each opens and shuts, and when to leave to pass them all."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from moonless.boat.types import Boat
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import StripDangers
from moonless.chart.dangers.types import Danger
from moonless.passage.types import LegPlan, Span, TideGate
from moonless.passage.water import Water

# The least tide of a gate is found to this.
RESOLUTION_M = 0.01
# How long before a leg's start and after its end its gate is looked at: a whole tide, and the half before.  Departures
# are looked for over a little less, so that each has all its gates in sight.
BEFORE_S, AFTER_S = 6.5 * 3600.0, 13.0 * 3600.0
LEAVE_BEFORE_S, LEAVE_AFTER_S = 6.0 * 3600.0, 12.0 * 3600.0
# A departure's own legs come out some minutes sooner or later with the stream: each end of a window is planned whole
# and drawn in by so much until it is let through, so many times at most.
DRAW_IN_S, MOST_DRAWN_IN = 360.0, 12
MINUTE_S = 60.0


def tide_gate(
    number: int,
    held: StripDangers,
    boat: Boat,
    speed: float,
    water: Water,
    place: tuple[float, float],
    span: Span,
    step_m: float,
) -> TideGate | None:
    """Return the gate that a leg is, round the time she is on it.

    None: low water does not close it, high water does not open it, or the tide is not known.

    ``held``: the leg against the chart; ``speed``: through the water, m/s; ``place``: its middle (lat, lon);
    ``span``: when she is on it; ``step_m``: what to add to the station's heights to have them above chart datum.
    """
    curve = water.curve(*place, span[0] - BEFORE_S, span[1] + AFTER_S)
    if curve is None:
        return None
    times, heights = curve
    heights = heights + step_m
    low, high = float(heights.min()), float(heights.max())

    def closed_at(tide_m: float) -> dict[tuple[str, str, str, float], Danger]:
        found = held.refusals(Needs.of(boat, speed, tide_m))
        return {(d.object, d.cell, d.feature, round(d.along_m)): d for d in found}

    always, lowest = closed_at(high), closed_at(low)
    if any(key in always for key in lowest) or len(lowest) <= len(always):
        return None  # what refuses it at high water too is no gate
    least, shut = high, low
    by = next(iter(lowest.values()))
    while least - shut > RESOLUTION_M:
        middle = 0.5 * (least + shut)
        met = closed_at(middle)
        if met:
            shut, by = middle, next(iter(met.values()))
        else:
            least = middle
    spans = whole_minutes(water.above(times, heights, least))
    # The words of what closes it, without a tide's figure: that is what the gate itself tells.
    return TideGate(number, least, by.say.split(", tide ")[0], spans, (float(times[0]), float(times[-1])))


def whole_minutes(spans: Sequence[Span]) -> tuple[Span, ...]:
    """Return spans of time in whole minutes, none of them outside."""
    inside = [(math.ceil(a / MINUTE_S) * MINUTE_S, math.floor(b / MINUTE_S) * MINUTE_S) for a, b in spans]
    return tuple((a, b) for a, b in inside if a < b)


def departures_through(legs: Sequence[LegPlan], depart_s: float) -> tuple[Span, ...]:
    """Return when to leave so that every gate is open from a leg's start to its end, with the legs' times as planned.

    From `LEAVE_BEFORE_S` before the planned departure to `LEAVE_AFTER_S` after it; empty: never.
    """
    windows: list[Span] = [(depart_s - LEAVE_BEFORE_S, depart_s + LEAVE_AFTER_S)]
    for leg in legs:
        if leg.gate is None:
            continue
        early, late = leg.start_s - depart_s, leg.end_s - depart_s
        fits = [(a - early, b - late) for a, b in leg.gate.open]
        windows = [(max(a, c), min(b, d)) for a, b in windows for c, d in fits if max(a, c) < min(b, d)]
    return tuple(windows)


def proved(windows: Sequence[Span], is_let_through: Callable[[float], bool]) -> tuple[Span, ...]:
    """Return the windows with each end drawn in to a departure that a whole plan lets through."""
    out = []
    for begin, end in windows:
        for _ in range(MOST_DRAWN_IN):
            if begin >= end or is_let_through(begin):
                break
            begin += DRAW_IN_S
        for _ in range(MOST_DRAWN_IN):
            if end <= begin or is_let_through(end):
                break
            end -= DRAW_IN_S
        if begin < end and is_let_through(begin) and is_let_through(end):
            out.append((begin, end))
    return tuple(out)
