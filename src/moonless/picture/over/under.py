"""What lies under and beside the range rings and the heading line.

A camera spreads a thin line over several pixels, and a bright one outshines what is beside it.  How a line looks on
water is learnt from its own picture, in every frame; that is taken away, and what is left beside it is read like all
else.  Beneath the line itself, what is on both sides is taken to go on.

Rules of this file:
- Where a line is not drawn (between dashes, beneath an echo), nothing is taken away.
- Where a line cannot be learnt, because there is too little water beside it, all that it touches is taken as what is on
  both sides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.picture.colours.palette import HIDDEN, Palette

Floats = NDArray[np.float64]
Differences = NDArray[np.int16]

# A line that cannot be learnt touches so much, pixels of the picture; one that can is looked at so far to either side.
LINE_PX, REACH_PX = 3.0, 6.0
# The line itself: where it has at least this share of its full difference from water, and a pixel at the least.
CORE, LEAST_CORE_PX = 0.45, 1.0
# A line is there where so much of its colour is, and no more than that of any other.
IS_THERE = 0.5
# So far from its place may a line be seen, pixels.
OFF_PX = 2.0
# So much of a line's difference may stay beside it without being an echo: it is seen to a part of a pixel.
LEFT = 0.35
# A screen's line runs in steps of its own pixels: so near it, what has its colour and is no brighter is no echo.
STEPS_PX, BRIGHTER = 2.5, 1.25
LEAST_ROWS, EVERY = 24, 4


@dataclass(frozen=True, slots=True, eq=False)
class RingBand:
    """The columns about one ring.  ``off_px``: of each from the ring."""

    first: int
    off_px: Floats


def ring_bands(n_cell: int, step: float, px_per_cell: float) -> list[RingBand]:
    """Return the bands about all rings.  ``step``: ring spacings a column."""
    radii: Floats = np.arange(1.0, n_cell + 1.0, dtype=np.float64) * np.float64(step)
    out = []
    for ring in range(1, math.floor(float(radii[-1]) + 0.5) + 1):
        off: Floats = (radii - ring) * np.float64(px_per_cell / step)
        columns = np.flatnonzero(np.abs(off) <= REACH_PX)
        if columns.size:
            out.append(RingBand(int(columns[0]), off[columns]))
    return out


def over_rings(
    level: NDArray[np.uint8], colour: NDArray[np.uint8], water: NDArray[np.uint8], palette: Palette,
    bands: list[RingBand], hidden: NDArray[np.bool_],
) -> None:  # fmt: skip
    """Read anew, in place, what lies under and beside the rings; nothing is learnt where something lies over them."""
    n_cell = level.shape[1]
    for band in bands:
        first, end = band.first, band.first + band.off_px.size
        inner = level[:, first - 1] if first > 0 else np.zeros(level.shape[0], np.uint8)
        outer = level[:, end] if end < n_cell else inner
        difference = colour[:, first:end].astype(np.int16) - water[:, first:end]
        clean = np.flatnonzero((inner == 0) & (outer == 0) & ~hidden[:, first:end].any(axis=1))
        cells = level[:, first:end]
        _read_band(cells, difference, clean, palette, band.off_px, STEPS_PX)


def over_line(
    level: NDArray[np.uint8], colour: NDArray[np.uint8], water: NDArray[np.uint8], palette: Palette,
    bands: list[RingBand], angle: float, px_per_cell: float,
) -> None:  # fmt: skip
    """Read anew, in place, what lies under and beside the heading line."""
    n_row, n_cell = level.shape
    # Nearer than this the line is all there is.
    near = min(math.ceil(2.0 * REACH_PX / px_per_cell), n_cell - 1)
    middle = angle / TAU * n_row
    _bridge_near(level[:, :near], middle, px_per_cell)
    column = np.arange(near, n_cell)
    off_px = np.arange(-REACH_PX, REACH_PX + 0.5, 1.0)
    row_px = (column + 1.0) * px_per_cell * TAU / n_row  # pixels from row to row
    rows = np.rint(middle + off_px[None, :] / row_px[:, None]).astype(np.int64) % n_row
    at = column[:, None]
    # Column by column the line looks as a ring does row by row.
    cells = level[rows, at]
    difference = colour[rows, at].astype(np.int16) - water[rows, at]
    beside = [np.rint(middle + o / row_px).astype(np.int64) % n_row for o in (-REACH_PX - 1.5, REACH_PX + 1.5)]
    left, right = level[beside[0], column], level[beside[1], column]
    is_ring = np.zeros(n_cell, np.bool_)
    for band in bands:
        is_ring[band.first : band.first + band.off_px.size] = True
    is_ring = is_ring[near:]
    clean = np.flatnonzero((left == 0) & (right == 0) & ~is_ring)
    # Each place is the nearest row's.
    _read_band(cells, difference, clean, palette, off_px, STEPS_PX + 0.5 * float(row_px.max()))
    # Where two lines cross neither is learnt.
    cells[is_ring] = _lower(left, right)[is_ring, None]
    # Far out a pixel is less than a row: cells between two samples take the nearest.
    reach = np.ceil((REACH_PX + 0.5) / row_px).astype(np.int64)
    span = np.arange(-int(reach.max()), int(reach.max()) + 1)
    own = np.rint(middle).astype(np.int64) + span
    sample = np.rint((own[None, :] - middle) * row_px[:, None] + REACH_PX).astype(np.int64)
    is_in = (sample >= 0) & (sample < off_px.size)
    which, offset = np.nonzero(is_in)
    level[own[offset] % n_row, column[which]] = cells[which, sample[which, offset]]


def _bridge_near(level: NDArray[np.uint8], middle: float, px_per_cell: float) -> None:
    n_row, n_cell = level.shape
    half = np.minimum(LINE_PX / ((np.arange(n_cell) + 1.0) * px_per_cell) * n_row / TAU, n_row / 8)
    reach = math.ceil(half.max())
    rows = np.arange(math.floor(middle) - reach - 1, math.ceil(middle) + reach + 2)
    under = np.abs(rows[:, None] - middle) <= half[None, :]
    column = np.arange(n_cell)
    left = level[np.floor(middle - half - 1.0).astype(np.int64) % n_row, column]
    right = level[np.ceil(middle + half + 1.0).astype(np.int64) % n_row, column]
    block = level[rows % n_row]
    level[rows % n_row] = np.where(under, _lower(left, right)[None, :], block)


def _lower(one: NDArray[np.uint8], other: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the weaker of two strengths; what writing covers is no echo."""
    out: NDArray[np.uint8] = np.minimum(np.where(one == HIDDEN, 0, one), np.where(other == HIDDEN, 0, other))
    return out.astype(np.uint8)


def _read_band(
    cells: NDArray[np.uint8], difference: Differences, clean: NDArray[np.intp], palette: Palette, off_px: Floats,
    steps_px: float,
) -> None:  # fmt: skip
    """Read the cells along a line anew, in place.

    ``cells``: (n, n_off); ``difference``: from water, (n, n_off, 3); ``clean``: which of the n have water on both
    sides; ``steps_px``: so near, what has the line's colour is the line
    """
    line = _learn(difference, clean, int(np.argmin(np.abs(off_px))))
    if line is None:
        core = np.abs(off_px) <= LINE_PX
        is_there = np.ones(cells.shape[0], np.bool_)
    else:
        size = np.sqrt((line.astype(np.float64) ** 2).sum(axis=1))
        core = (size > CORE * size.max()) | (np.abs(off_px) <= LEAST_CORE_PX)
        # In one piece about the line: a glow farther off is none of it.
        middle = int(np.argmax(np.where(np.abs(off_px) <= OFF_PX, size, -1.0)))
        core = _piece(core, middle)
        is_there = _is_there(difference[:, core].astype(np.float64), line[middle].astype(np.float64))
        rows = np.flatnonzero(is_there)
        left = difference[rows] - line
        read = palette.of(left)
        far = np.abs(off_px) > steps_px
        read[:, far] *= np.sqrt((left[:, far].astype(np.float32) ** 2).sum(axis=2)) > LEFT * size[far] + palette.limit
        near = np.flatnonzero(~far)
        read[:, near] *= _is_other(difference[rows][:, near], line[middle].astype(np.float32), palette.limit)
        # Writing's own colour beside a line is the line's.
        read[read == HIDDEN] = 0
        cells[rows] = read
    cells[np.ix_(is_there, core)] = 0
    # What is hard by the line may have been taken for a part of it: both sides begin beyond that.  The rim has but one.
    zone = np.flatnonzero(core | (np.abs(off_px) <= steps_px))
    first, end = int(zone[0]), int(zone[-1]) + 1
    if first == 0 or end == cells.shape[1]:
        return
    bridged = _lower(cells[:, first - 1], cells[:, end])[is_there, None]
    cells[is_there, first:end] = np.maximum(cells[is_there, first:end], bridged)


def _is_there(own: Floats, peak: Floats) -> NDArray[np.bool_]:
    """Say where the line is drawn: where there is enough of its colour, and little of any other.

    ``own``: (n, n_core, 3); ``peak``: the line's own difference from water.
    """
    size = max(float(np.linalg.norm(peak)), 1.0)
    share = own @ peak / size**2
    # It runs now nearer one column, now nearer another.
    best = np.argmax(share, axis=1)
    at = np.arange(own.shape[0])
    share = share[at, best]
    other = np.sqrt(((own[at, best] - share[:, None] * peak) ** 2).sum(axis=1))
    there: NDArray[np.bool_] = (share > IS_THERE) & (other < IS_THERE * size)
    return there


def _is_other(own: Differences, peak: NDArray[np.float32], limit: float) -> NDArray[np.bool_]:
    """Say of cells hard by a line whether more is there than the line, however it is stepped from pixel to pixel."""
    size = max(float(np.linalg.norm(peak)), 1.0)
    values = own.astype(np.float32)
    share = values @ (peak / size**2)
    other = np.sqrt(((values - share[..., None] * peak) ** 2).sum(axis=2))
    is_other: NDArray[np.bool_] = (other > np.maximum(limit, LEFT * np.abs(share) * size)) | (share > BRIGHTER)
    return is_other


def _piece(core: NDArray[np.bool_], middle: int) -> NDArray[np.bool_]:
    out = np.zeros_like(core)
    first = end = middle
    while first > 0 and core[first - 1]:
        first -= 1
    while end < core.size - 1 and core[end + 1]:
        end += 1
    out[first : end + 1] = True
    return out


def _learn(difference: Differences, clean: NDArray[np.intp], at: int) -> Differences | None:
    """Return how the line differs from water, (n_off, 3), where water is on both sides; None where that is nowhere."""
    some = difference[clean[:: max(1, min(EVERY, clean.size // LEAST_ROWS))]]
    if some.shape[0] < LEAST_ROWS:
        return None
    # Of a broken line the parts that are drawn: those that differ most.
    middle = some[:, at].astype(np.float32)
    away = np.sqrt((middle**2).sum(axis=1))
    drawn = away >= 0.6 * float(np.percentile(away, 85.0))
    out: Differences = np.rint(np.median(some[drawn], axis=0)).astype(np.int16)
    return out
