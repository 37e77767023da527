"""The hand controls of a radar, on the counts as they come: what each paints and what it takes away.

The helm's page does the same in TypeScript (web/src/practice/raw.ts); both are held to the same examples.

gain   how far over the noise an echo must stand to be painted: from 30 dB at 0 to -3 dB at 100
sea    takes sensitivity away near the boat, falling with range by 30 dB a decade out to a range that the knob sets: at
       100 two miles.  Sensitivity time control as it is commonly explained, from memory.
rain   takes away the mean of the 250 m nearer in, in part: long even echoes thin, short ones stay.  A fast time
       constant as it is commonly explained, from memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.practice.types import Knobs
from moonless.radar.link.receiver import COUNTS_PER_DB, NOISE_COUNT
from moonless.radar.types import ScanGrid

GAIN_DB = (30.0, -3.0)  # at 0 and at 100
SEA_FAR_M = 3704.0  # at 100
SEA_DB_A_DECADE = 30.0
RAIN_MEAN_M = 250.0
RAIN_SHARE = 0.9  # at 100
NEUTRAL = Knobs()
# A sea that is set well still speckles: so much of a ring of it, by the middle ring.  Own choice.
SETTLED_SHARE = 0.06
_SETTLED_M = (120.0, 750.0)


def threshold_db(gain: float) -> float:
    """Return how far over the noise an echo is painted at a gain."""
    return GAIN_DB[0] + (GAIN_DB[1] - GAIN_DB[0]) * gain / 100.0


def levels(counts: NDArray[np.uint8], grid: ScanGrid, knobs: Knobs) -> NDArray[np.float32]:
    """Return (n_spoke, n_cell) decibels over the gain's threshold; above 0 is painted."""
    level = (counts.astype(np.float32) - NOISE_COUNT) / COUNTS_PER_DB
    if knobs.rain > 0.0:
        width = max(1, round(RAIN_MEAN_M / grid.cell_m))
        above = np.maximum(level, 0.0)
        total = np.cumsum(above, axis=1, dtype=np.float32)
        before = np.zeros_like(level)
        n = level.shape[1]
        before[:, 1:] = total[:, :-1]
        before[:, width + 1 :] -= total[:, : max(0, n - width - 1)]
        held = np.minimum(np.arange(n), width).astype(np.float32)
        mean = before / np.maximum(held, 1.0)
        level = level - (RAIN_SHARE * knobs.rain / 100.0) * mean
    if knobs.sea > 0.0:
        range_m = grid.first_cell_m + np.arange(level.shape[1]) * grid.cell_m
        far_m = SEA_FAR_M * knobs.sea / 100.0
        taken = SEA_DB_A_DECADE * np.log10(np.maximum(far_m / np.maximum(range_m, 1.0), 1.0))
        level = level - taken.astype(np.float32)
    return np.asarray(level - np.float32(threshold_db(knobs.gain)), dtype=np.float32)


def settled(counts: NDArray[np.uint8], grid: ScanGrid) -> Knobs:
    """Return the least sea at which the sea near the boat is thinned to speckles, gain as it stands.

    ``counts``: (n_look, n_spoke, n_cell).  What a hand does first in a seaway; without it the sea is one bright patch
    in which nothing could be told.
    """
    first, last = (int((r - grid.first_cell_m) / grid.cell_m) for r in _SETTLED_M)
    for sea in range(0, 100, 4):
        knobs = Knobs(sea=float(sea))
        shares = [painted(look, grid, knobs)[:, max(first, 0) : last].mean(axis=0) for look in counts[-3:]]
        if float(np.median(np.mean(shares, axis=0))) <= SETTLED_SHARE:
            return knobs
    return Knobs(sea=100.0)


def painted(counts: NDArray[np.uint8], grid: ScanGrid, knobs: Knobs) -> NDArray[np.bool_]:
    """Return which cells are painted."""
    return np.asarray(levels(counts, grid, knobs) > 0.0)
