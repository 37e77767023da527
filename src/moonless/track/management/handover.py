"""A track lost in a turn that nobody foresaw, and the one begun where it was: one vessel, one track.

A boat that goes about leaves her track to run on straight, and is begun anew a turn or two later.  The old one would
coast on beside her, as a second boat that is not there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.track.kernels import motion_kernels as motion
from moonless.track.track_store import TrackStore
from moonless.units import NS_PER_S

# From the old track's last plot to the new one's first.
GAP_S = 12.0
# What both ends may be out, beyond two sigma of the new one: a small boat's length and her turning circle.
SLACK_M = 15.0
# Two echoes of one hull, seen from the side and end on, differ by so much and seldom by more.
STRENGTH_DB = 12.0


def hand_over(store: TrackStore, new: NDArray[np.bool_], time_ns: int) -> None:
    """Give tracks just confirmed (``new``, (N,)) the id and record of the one they carry on; that one is forgotten.

    Only where the old moved, has had no plot since the one that began the new, and could have come in that time from
    its last place to the new one's first; and only where no other fits either of the two.
    """
    mean, cov = store.mean()
    speed = np.hypot(mean[:, 2], mean[:, 3])
    moved = store.mu[:, motion.STILL] < 0.5
    old = np.flatnonzero(store.confirmed & ~new & moved & (store.misses > 0))
    fits: list[tuple[int, int]] = []
    for j in np.flatnonzero(new & moved).tolist():
        gap_s = (store.started_ns[j] - store.last_plot_ns[old]) / NS_PER_S
        first = mean[j, :2] - mean[j, 2:4] * (time_ns - store.started_ns[j]) / NS_PER_S
        last = mean[old, :2] - mean[old, 2:4] * ((time_ns - store.last_plot_ns[old]) / NS_PER_S)[:, None]
        reach = np.maximum(speed[old], speed[j]) * gap_s + 2.0 * np.sqrt(np.trace(cov[j, :2, :2])) + SLACK_M
        near = np.hypot(*(last - first).T) <= reach
        alike = ~(np.abs(store.strength_db[old] - store.strength_db[j]) > STRENGTH_DB)
        # Ghosts leap about by their parents' turns; a boat carries on no ghost.
        alike &= (store.false_odds[old] <= 0.0) & (store.false_odds[j] <= 0.0)
        fits += [(int(i), int(j)) for i in old[(gap_s >= 0.0) & (gap_s <= GAP_S) & near & alike]]
    gone = np.zeros(len(store), dtype=np.bool_)
    for i, j in fits:
        if sum(i in pair or j in pair for pair in fits) > 1:
            continue
        store.false_parent[store.false_parent == store.id[j]] = store.id[i]
        store.id[j], store.started_ns[j] = store.id[i], store.started_ns[i]
        store.n_scans[j] += store.n_scans[i]
        store.n_hits[j] += store.n_hits[i]
        gone[i] = True
    store.keep(~gone)
