"""What lies over the picture in one piece: a menu, a box of words, another window.

Beneath it nothing is known.  Range rings are drawn everywhere; where a stretch of one is gone, and what is there
instead is of one colour and has the straight sides of a box on the screen, the box is taken out as not received.
Where a stretch is gone and what is there looks like open water, as much on both sides of the ring is taken out.

Rules of this file:
- Nothing need be known of water or echoes: it is asked before they are learnt, for each frame anew.
- An echo over a ring is no box: its sides are not straight, or it has more than one colour.
- A box that crosses no ring is not seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.picture.geometry.plane import Floats
from moonless.picture.geometry.scope import Unrolled

# A ring is gone where its line has less than this share of what it has elsewhere, over such a stretch at least:
# degrees, so that a broken ring's gaps are none, and pixels of the picture.
GONE, STRETCH_DEG, STRETCH_PX = 0.3, 10.0, 16.0
# A ring must stand so far out of the grain, else its gaps mean nothing.
CLEAR = 5.0
# One colour: so many counts from pixel to pixel, once smoothed, and from end to end under glare.
STEP, FAR = 4, 45
# Places in a gap are of one colour within so many counts.
SAME = 8
# Of a box, clipped by the scope, so much is of its colour, once words are filled in.
BOX_SHARE = 0.78
LEAST_SHARE, MOST_BOXES = 0.002, 6
# A search is made anew when so many rows of all rings together are otherwise than they were; a window's width.
OTHER_ROWS = 28
# The ends of a stretch that is the same may differ by so many rows, a degree and a half.
ENDS_ROWS = 4
# Cells on either side of a ring that are looked at: its line, what is beside it, and a place without a line.
WINDOW = 16
# Regions are looked for among every second cell, straight sides among every eighth.
COARSE, COARSER = 2, 4


Lines = dict[int, tuple[NDArray[np.bool_], NDArray[np.bool_]]]
"""By ring: in which rows it is seen, and in which it is gone."""


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """A stretch of a ring that is gone under no box: an echo lies there, or a shore."""

    ring: int
    first: int
    many: int
    colour: NDArray[np.int16]

    def is_same(self, ring: int, first: int, many: int, colour: NDArray[np.int16], n_row: int) -> bool:
        """Return whether a stretch found now is this one: its ends where they were, short of a little, and its colour.

        A box that is opened there is longer than the echo, or of another colour.
        """
        if ring != self.ring or bool(np.abs(colour - self.colour).max() >= SAME):
            return False
        begin = (first - self.first + n_row // 2) % n_row - n_row // 2
        return abs(begin) <= ENDS_ROWS and abs(begin + many - self.many) <= ENDS_ROWS


class Cover:
    """What lies over a screen, frame after frame.  The search is done where other stretches of rings are gone."""

    def __init__(self) -> None:
        self._gone: Floats | None = None
        self._was: NDArray[np.bool_] | None = None
        self._judged: list[Judged] = []

    def look(self, unrolled: Unrolled, rings: int, px_per_ring: float) -> NDArray[np.bool_]:
        """Return what something lies over in this frame; see `covered`."""
        seen = ring_lines(unrolled, rings, px_per_ring)
        gone = np.zeros((rings + 1, unrolled.colour.shape[0]))
        for ring, (is_seen, is_gone) in seen.items():
            gone[ring] = is_gone + 0.5 * ~(is_seen | is_gone)
        if self._was is None or self._gone is None or float(np.abs(gone - self._gone).sum()) > OTHER_ROWS:
            self._gone = gone
            self._was, self._judged = boxes(unrolled, seen, self._judged)
        return self._was


def covered(unrolled: Unrolled, rings: int, px_per_ring: float) -> NDArray[np.bool_]:
    """Return what something lies over, of the unrolled picture's shape.

    ``px_per_ring``: pixels of the picture from ring to ring.
    """
    return boxes(unrolled, ring_lines(unrolled, rings, px_per_ring), ())[0]


def boxes(unrolled: Unrolled, seen: Lines, before: Sequence[Judged]) -> tuple[NDArray[np.bool_], list[Judged]]:
    """Return what lies over the stretches of rings that are gone, and what was judged to be no box.

    ``before``: what was judged so in the last search: an echo that lies over a ring turn after turn is looked at once.
    """
    out = np.zeros_like(unrolled.inside)
    judged: list[Judged] = []
    smooth: NDArray[np.uint8] | None = None
    n_row, n_cell = unrolled.colour.shape[:2]
    gaps = [(ring, run) for ring, (_, gone) in seen.items() for run in _runs(gone)]
    # The widest first: it may be all of them.
    for ring, (first, many) in sorted(gaps, key=lambda g: -g[0] * g[1][1])[: 4 * MOST_BOXES]:
        column = round(ring / unrolled.step) - 1
        middle = (first + many // 2) % n_row
        if out[middle, column] or not unrolled.inside[middle, column]:
            continue
        if smooth is None:
            smooth = cv2.blur(unrolled.colour, (5, 5))[::COARSE, ::COARSE].copy()
        row = _plain_row(smooth, first, many, column)
        own_colour = smooth[row, column // COARSE].astype(np.int16)
        same = next((one for one in before if one.is_same(ring, first, many, own_colour, n_row)), None)
        if same is not None:
            judged.append(same)
            continue
        region = _one_colour(smooth, row, column // COARSE)
        is_water = _is_as_where_seen(smooth, row, column, seen[ring][0])
        if is_water or _holds_rings(region, seen, unrolled):
            if not is_water or many < 0.5 * STRETCH_DEG / 360.0 * n_row:
                judged.append(Judged(ring, first, many, own_colour))
                continue
            rows = (first + np.arange(many)) % n_row
            half = round(0.5 / unrolled.step)
            out[rows[:, None], np.arange(max(column - half, 0), min(column + half + 1, n_cell))[None, :]] = True
            continue
        box = _box_of(region, unrolled)
        if box is not None:
            own = cv2.dilate(region.astype(np.uint8), np.ones((3, 3), np.uint8))
            whole = cv2.resize(own, (n_cell, n_row), interpolation=cv2.INTER_NEAREST)
            out |= box | (whole > 0)
        else:
            judged.append(Judged(ring, first, many, own_colour))
    return out, judged


def ring_lines(unrolled: Unrolled, rings: int, px_per_ring: float) -> Lines:
    """Return for each ring that is clear enough in which rows it is seen, and in which it is gone."""
    n_row, n_cell = unrolled.inside.shape
    out: Lines = {}
    for ring in range(1, rings + 1):
        column = round(ring / unrolled.step) - 1
        if column < WINDOW:
            continue
        # Beyond the outermost nothing is unrolled: it is held against its inner side alone.
        is_rim = column + WINDOW >= n_cell
        near = unrolled.colour[::COARSE, column - WINDOW : column + WINDOW + 1]
        line = _line(near, WINDOW if not is_rim else min(WINDOW, near.shape[1] - 2), is_rim)
        toward = np.clip(line, -60.0, 60.0).mean(axis=0)
        toward /= max(float(np.linalg.norm(toward)), 1e-6)
        circle_px = TAU * ring * px_per_ring
        wide = max(3, round(max(STRETCH_DEG / 360.0, STRETCH_PX / circle_px) * n_row / COARSE))
        told = _round_mean(np.clip(line @ toward, -60.0, 60.0), wide)
        grain = float(np.median(np.abs(_round_mean(np.clip(_line(near, 6, is_rim) @ toward, -60.0, 60.0), wide)))) + 0.3
        whole = float(np.percentile(told, 70.0))
        if whole < CLEAR * grain:
            continue
        inside = unrolled.inside[:, column]
        told = np.repeat(told, COARSE)
        out[ring] = ((told > 0.6 * whole) & inside, (told < GONE * whole) & inside)
    return out


def _line(near: NDArray[np.uint8], at: int, is_rim: bool) -> NDArray[np.float32]:
    """Return (rows, 3): how far a column stands out from what is a few pixels beside it."""

    def mean(middle: int) -> NDArray[np.float32]:
        out: NDArray[np.float32] = near[:, middle - 1 : middle + 2].sum(axis=1, dtype=np.uint16).astype(np.float32)
        return out / np.float32(3.0)

    return mean(at) - (mean(at - 5) if is_rim else np.float32(0.5) * (mean(at - 5) + mean(at + 5)))


def _round_mean(values: Floats | NDArray[np.float32], wide: int) -> Floats:
    """Return the mean over ``wide`` rows about each, all the way round."""
    double = np.cumsum(np.concatenate([[0.0], values[-wide:], values, values[:wide]]))
    mean = (double[wide:] - double[:-wide]) / wide
    first = wide - wide // 2
    out: Floats = mean[first : first + values.shape[0]]
    return out


def _runs(gone: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return (first row, number of rows) of each stretch, all the way round."""
    if gone.all() or not gone.any():
        return []
    begin = int(np.flatnonzero(~gone)[0])
    turned = np.concatenate([np.roll(gone, -begin), [False]])
    edges = np.flatnonzero(np.diff(turned.astype(np.int8)))
    return [
        ((begin + 1 + a) % gone.size, b - a) for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    ]


def _plain_row(smooth: NDArray[np.uint8], first: int, many: int, column: int) -> int:
    """Return the row of a gap, of the coarse picture, that has the colour of most of it: no word's."""
    rows = np.arange(first + many // 8, first + many - many // 8) // COARSE % smooth.shape[0]
    there = smooth[rows, column // COARSE].astype(np.int16)
    alike = (np.abs(there[:, None] - there[None, :]).max(axis=2) < SAME).sum(axis=1)
    near = np.flatnonzero(alike == alike.max())
    return int(rows[near[near.size // 2]])


def _is_as_where_seen(smooth: NDArray[np.uint8], row: int, column: int, is_seen: NDArray[np.bool_]) -> bool:
    """Say whether a place in a gap has the colour of what is beside the ring where the ring is seen."""
    rows = np.flatnonzero(is_seen[::COARSE])
    if rows.size == 0:
        return False
    beside = np.median(smooth[rows, column // COARSE - WINDOW // 4], axis=0)
    return bool(np.abs(smooth[row, column // COARSE] - beside).max() < SAME)


def _one_colour(smooth: NDArray[np.uint8], row: int, column: int) -> NDArray[np.bool_]:
    """Return what can be reached from a place without a step in colour, words in it filled in."""
    n_row, n_cell = smooth.shape[:2]
    # The place in the middle, so that a box goes on over the first row.
    turned = np.roll(smooth, n_row // 2 - row, axis=0)
    seed = turned[n_row // 2, column].astype(np.int16)
    far = (np.abs(turned.astype(np.int16) - seed).max(axis=2) > FAR).astype(np.uint8)
    mask = np.pad(far, 1)
    flags = 4 | cv2.FLOODFILL_MASK_ONLY | (2 << 8)
    cv2.floodFill(turned, mask, (column, n_row // 2), 0, (STEP,) * 3, (STEP,) * 3, flags)
    region = (mask[1:-1, 1:-1] == 2).astype(np.uint8)
    # Words are as high as a twentieth of the scope at the most.
    wide = max(5, n_cell // 20)
    region = cv2.morphologyEx(np.pad(region, wide), cv2.MORPH_CLOSE, np.ones((wide, wide), np.uint8))
    outlines, _ = cv2.findContours(region, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    filled = cv2.drawContours(np.zeros_like(region), outlines, -1, 1, cv2.FILLED)[wide:-wide, wide:-wide]
    out: NDArray[np.bool_] = np.roll(filled > 0, row - n_row // 2, axis=0)
    return out


def _holds_rings(region: NDArray[np.bool_], seen: Lines, unrolled: Unrolled) -> bool:
    """Say whether rings are seen in a region: then it is what rings are drawn on, water."""
    shown = gone = 0
    for ring, (is_seen, is_gone) in seen.items():
        column = (round(ring / unrolled.step) - 1) // COARSE
        # The line itself may part the region: what is on either side counts.
        beside = region[:, column - 4] & region[:, min(column + 4, region.shape[1] - 1)]
        shown += int(np.count_nonzero(is_seen[::COARSE] & beside))
        gone += int(np.count_nonzero(is_gone[::COARSE] & beside))
    return shown > 0.25 * (shown + gone)


def _box_of(region: NDArray[np.bool_], unrolled: Unrolled) -> NDArray[np.bool_] | None:
    """Return the box on the screen that a region is, as cells; None where it is none."""
    coarse = region[::COARSER, ::COARSER]
    n_row = coarse.shape[0]
    angle = (np.arange(n_row) * (TAU / n_row))[:, None]
    reach = unrolled.radii[:: COARSER * COARSE][None, :]
    if float((coarse * reach).sum()) < LEAST_SHARE * n_row * float(reach.sum()):
        return None
    x, y, area = reach * np.sin(angle), -reach * np.cos(angle), np.broadcast_to(reach, coarse.shape)
    own = coarse & unrolled.inside[:: COARSER * COARSE, :: COARSER * COARSE]
    best: tuple[float, float, Floats] | None = None
    for turn in np.radians(np.arange(-45.0, 45.0, 3.0)):
        share, ends = _box_share(x, y, area, own, turn)
        if best is None or share > best[0]:
            best = (share, turn, ends)
    assert best is not None
    for turn in best[1] + np.radians([-2.0, -1.0, 1.0, 2.0]):
        share, ends = _box_share(x, y, area, own, turn)
        if share > best[0]:
            best = (share, turn, ends)
    if best[0] < BOX_SHARE:
        return None
    return _cells_in(best[1], best[2], unrolled)


def _along(x: Floats, y: Floats, turn: float) -> tuple[Floats, Floats]:
    c, s = np.cos(turn), np.sin(turn)
    return x * c + y * s, y * c - x * s


def _box_share(x: Floats, y: Floats, area: Floats, own: NDArray[np.bool_], turn: float) -> tuple[float, Floats]:
    """Return how much of the box about a region, turned so, is the region's; and the box's four sides."""
    across, down = _along(x, y, turn)
    ends = np.concatenate([np.percentile(across[own], [0.5, 99.5]), np.percentile(down[own], [0.5, 99.5])])
    box = (across >= ends[0]) & (across <= ends[1]) & (down >= ends[2]) & (down <= ends[3])
    return float(area[box & own].sum() / max(area[box].sum(), 1e-9)), ends


def _cells_in(turn: float, ends: Floats, unrolled: Unrolled) -> NDArray[np.bool_]:
    n_row = unrolled.inside.shape[0]
    angle = (np.arange(n_row) * (TAU / n_row))[:, None]
    reach = unrolled.radii[None, :]
    across, down = _along(reach * np.sin(angle), -reach * np.cos(angle), turn)
    # Its own border, and what blur mixes, a few pixels.
    more = 4.0 * unrolled.step
    out: NDArray[np.bool_] = (
        (across >= ends[0] - more) & (across <= ends[1] + more) & (down >= ends[2] - more) & (down <= ends[3] + more)
    )
    return out
