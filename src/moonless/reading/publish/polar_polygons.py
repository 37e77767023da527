"""Intervals of range on neighbouring bearings joined into polygons.

The polar picture is a stack of bearings, each with some intervals of range.  Intervals that touch on neighbouring
bearings make one strip; where a strip splits or two meet, new ones begin.  Strips do not overlap and leave no gap,
so a picture of a few thousand intervals becomes a few dozen polygons without any polygon arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Interval = tuple[float, float, str]  # near, far, cause


@dataclass(slots=True)
class PolarStrip:
    """Intervals on consecutive bearings, beginning at index ``first``."""

    first: int
    cause: str
    near_m: list[float] = field(default_factory=list)
    far_m: list[float] = field(default_factory=list)


def join(intervals: list[list[Interval]]) -> list[PolarStrip]:
    """Return strips; the picture is cut at bearing 0, where strips begin and end."""
    done: list[PolarStrip] = []
    live: list[PolarStrip] = []
    for i, row in enumerate(intervals):
        taken = [0] * len(row)
        touching: list[list[int]] = []
        for strip in live:
            near, far = strip.near_m[-1], strip.far_m[-1]
            hits = [k for k, (a, b, cause) in enumerate(row) if cause == strip.cause and a < far and near < b]
            touching.append(hits)
            for k in hits:
                taken[k] += 1
        still: list[PolarStrip] = []
        used = [False] * len(row)
        for strip, hits in zip(live, touching, strict=True):
            if len(hits) == 1 and taken[hits[0]] == 1:
                near, far, _ = row[hits[0]]
                strip.near_m.append(near)
                strip.far_m.append(far)
                used[hits[0]] = True
                still.append(strip)
            else:
                done.append(strip)
        for k, (near, far, cause) in enumerate(row):
            if not used[k]:
                still.append(PolarStrip(i, cause, [near], [far]))
        live = still
    return done + live


def ring_of(
    strip: PolarStrip, step_rad: float, east_m: float, north_m: float, tolerance_m: float = 0.0, pad: float = 0.0
) -> Floats:
    """Return the strip's outline (n, 2) in the plane: each interval fills its own step of bearing.

    The outline is walked in stairs, so that it holds exactly the water its intervals hold; corners closer than
    ``tolerance_m`` in range to the step before are left out, on the side that makes the strip larger.  ``pad``: how
    many steps of bearing the strip is drawn beyond its first and last; not across bearing 0, where strips are cut.
    """
    near = np.asarray(strip.near_m)
    far = np.asarray(strip.far_m)
    near_a, near_r = _stairs(near, strip.first, step_rad, tolerance_m, pad, grow=-1)
    far_a, far_r = _stairs(far, strip.first, step_rad, tolerance_m, pad, grow=1)
    angle = np.concatenate([near_a, far_a[::-1]])
    reach = np.concatenate([near_r, far_r[::-1]])
    return np.column_stack([east_m + reach * np.sin(angle), north_m + reach * np.cos(angle)])


def _stairs(reach: Floats, first: int, step: float, tolerance: float, pad: float, grow: int) -> tuple[Floats, Floats]:
    angles: list[float] = []
    ranges: list[float] = []
    start = 0
    around = round(2.0 * np.pi / step)
    level = float(reach[0])
    low = high = level
    for i in range(1, len(reach) + 1):
        value = float(reach[i]) if i < len(reach) else None
        if value is not None and max(high, value) - min(low, value) <= tolerance and (i - start) * step < 0.2:
            low, high = min(low, value), max(high, value)
            continue
        level = high if grow > 0 else low
        # A chord across a wide step of bearing cuts inside the arc; a corner every two degrees keeps it within
        # 0.02 per cent of the range.
        pieces = max(1, round((i - start) * step / 0.035))
        begin = (first + start - 0.5 - (pad if start == 0 and first > 0 else 0.0)) * step
        end = (first + i - 0.5 + (pad if value is None and first + len(reach) < around else 0.0)) * step
        for angle in np.linspace(begin, end, pieces + 1):
            angles.append(float(angle))
            ranges.append(level)
        if value is not None:
            start, low, high = i, value, value
    return np.asarray(angles), np.asarray(ranges)
