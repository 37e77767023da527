"""Rings of one strong thing's side lobes: thin in range, all round the boat, and over the threshold as a whole.

What answers alike on most bearings of one range, and not on the ranges beside it, tells of no bearing: it comes in by
the side lobes, and only what stands out of the ring itself is something there.  A river's banks, which also answer all
round, do so over a longer stretch of ranges and are left alone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]

# A ring answers on this share of the bearings, and is no deeper than the longest hulls lie along the beam, with pulses.
RING_SHARE, RING_DEEP_M, RING_PULSES = 0.5, 150.0, 8.0
# What stands so far over all but a quarter of it stands out; own figures.
OVER_SHARE, OVER_DB = 0.75, 4.0


def ring_level(box_db: Floats, threshold_db: Floats, col_m: float, pulse_m: float) -> Floats:
    """Return (n_col,) dB over which an echo stands out of a ring at its range; -inf where there is none.

    ``box_db``, ``threshold_db`` (n_row, n_col): NaN where not received.
    """
    received = np.isfinite(box_db).mean(axis=1) > 0.5
    out = np.full(box_db.shape[1], -np.inf, dtype=np.float32)
    if np.count_nonzero(received) < 0.5 * len(received):
        return out
    share = np.mean(box_db[received] >= threshold_db[received], axis=0)
    on = np.concatenate(([False], share >= RING_SHARE, [False]))
    edges = np.flatnonzero(on[1:] != on[:-1])
    deep = max(RING_DEEP_M, RING_PULSES * pulse_m)
    for first, end in edges.reshape(-1, 2):
        # From the first cell on it is the boat's own sea and the set's own ringing.
        if first > 0 and (end - first) * col_m <= deep:
            ring = np.nanquantile(box_db[received, first:end], OVER_SHARE, axis=0)
            out[first:end] = ring + OVER_DB
    return out
