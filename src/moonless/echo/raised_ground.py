"""Ground that stands a little over the water for hundreds of metres, and keeps its fine structure: land, heard weakly.

A low shore, or one that a poor radar hears, fills no box above the threshold that its own neighbourhood sets: all
about it is as strong as it is.  In the mean of the last turns it lies plainly over the water all the same.  So do rain
and a rough sea; but those boil and drift, and what is fine in them is another after half a minute, while rocks, houses
and trees stay on their spot.  So the fine structure of each such area is held against what it was some turns before.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from moonless.constants import TAU

Bools = NDArray[np.bool_]
Db = NDArray[np.float32]

# The water's own level at a range: what this share of the bearings does not exceed, and no higher than nearer in, where
# the sea is rougher; from the range in boxes on that a transmitter's own ringing has died away.
WATER_SHARE, RINGING_BOXES = 0.4, 6
# What stands over it by this, and by so many of the water's own deviations.
OVER_DB, OVER_SIGMA, MOST_DEVIATION_DB = 1.5, 6.0, 1.0
# Smaller than this, beside what beam and pulse smear a strong point over, it may be one hull (`moonless.echo.shores`).
LEAST_M2, LEAST_BOXES = 20_000.0, 60
# Fine: finer than this many boxes, each way, after a smoothing over so many.  It must agree with the picture of some
# turns ago by this correlation.  On wild scenes 100, 139 and 114 land has 0.6 to 0.95, on 142 and 111 rain 0.1 to 0.4.
FINE_BOXES, SMOOTH_BOXES, AGREES = 9, 3, 0.5


@dataclass(frozen=True, slots=True, eq=False)
class RaisedGround:
    """The slow picture now and some turns ago, both over the ground of now; worked out when it is asked for."""

    now_db: Db  # (n_row, n_col)
    before_db: Db | None  # None: not watched for so long
    reach_m: NDArray[np.float64]  # (n_col,) range of each box's middle
    col_m: float
    smear_m: float  # a strong point is smeared by beam and pulse over this many square metres for each metre of range
    top: NDArray[np.int64]  # (p,) flat box of each plot's peak

    def plots(self) -> Bools:
        """Return (p,) which plots lie on such ground, or in a box beside it."""
        around = ndimage.maximum_filter(self.boxes(), 3, mode=("wrap", "nearest"))
        return np.asarray(around.ravel()[self.top], dtype=np.bool_)

    def boxes(self) -> Bools:
        """Return (n_row, n_col) which boxes lie in such an area; none before it has been watched for some turns."""
        now, before = self.now_db, self.before_db
        out = np.zeros(now.shape, dtype=np.bool_)
        known = np.isfinite(now)
        if before is None or not known.any():
            return out
        over = np.where(known, now - _water_level(now)[None, :], 0.0)
        low = over[known & (over < np.median(over[known]))]
        if low.size == 0:
            return out
        # What the set has cut away lies any number of decibels lower, and says nothing of how far water strays.
        deviation = 1.48 * float(np.median(np.minimum(np.abs(low), MOST_DEVIATION_DB)))
        raised = over > max(OVER_DB, OVER_SIGMA * deviation)
        raised[:, :RINGING_BOXES] = False
        area, n = _areas(raised)
        if n == 0:
            return out
        which = area > 0
        number = area[which]
        box_m2 = np.broadcast_to((TAU / now.shape[0]) * self.col_m * self.reach_m, area.shape)
        size = np.bincount(number, box_m2[which], n + 1)
        count = np.bincount(number, minlength=n + 1)
        a, b = (_fine(one)[which].astype(np.float64) for one in (now, np.where(np.isfinite(before), before, now)))
        product, aa, bb = (np.bincount(number, part, n + 1) for part in (a * b, a * a, b * b))
        agrees = product / np.sqrt(np.maximum(aa * bb, 1e-12))
        middle = np.bincount(number, np.broadcast_to(self.reach_m, area.shape)[which], n + 1) / np.maximum(count, 1)
        stands = (size > LEAST_M2 + self.smear_m * middle) & (count >= LEAST_BOXES) & (agrees >= AGREES)
        stands[0] = False
        return np.asarray(stands[area])


def _water_level(db: Db) -> Db:
    """Return (n_col,) the water's level at each range."""
    rows = np.where(np.isfinite(db[::2]), db[::2], np.inf)
    level = np.partition(rows, int(WATER_SHARE * len(rows)), axis=0)[int(WATER_SHARE * len(rows))]
    level[:RINGING_BOXES] = np.inf
    return np.asarray(np.minimum.accumulate(level), dtype=np.float32)


def _areas(raised: Bools) -> tuple[NDArray[np.int64], int]:
    """Return (the number of each box's area, 0 where none, how many there are); areas run on across the bow."""
    area, n = ndimage.label(raised)
    first, last = area[0], area[-1]
    for one, other in {(int(i), int(j)) for i, j in zip(first, last, strict=True) if i and j and i != j}:
        area[area == max(one, other)] = min(one, other)
    return np.asarray(area, dtype=np.int64), int(n)


def _fine(db: Db) -> Db:
    """Return what is finer than the mean over some boxes."""
    filled = np.nan_to_num(db, nan=0.0)
    near, far = (ndimage.uniform_filter(filled, n, mode=("wrap", "nearest")) for n in (SMOOTH_BOXES, FINE_BOXES))
    return np.asarray(near - far, dtype=np.float32)
