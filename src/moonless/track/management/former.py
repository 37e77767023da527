"""Tracks of a watch that ended, and those begun anew where they would be by now: one vessel, one number."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from moonless.frames import LocalFrame
from moonless.track.track_store import TrackStore
from moonless.track.types import Former
from moonless.units import NS_PER_S

# After this long what moves may be anywhere, and what lies still is known by its place all the same.
MOVES_S, LIES_S = 60.0, 300.0
STILL_MPS = 0.5
# How far from where it would be: the errors of two places, and for each second what it may have done otherwise.
NEAR_M, NEAR_MPS = 25.0, 1.5


def take_up(
    store: TrackStore, new: NDArray[np.bool_], former: Sequence[Former], frame: LocalFrame, time_ns: int
) -> tuple[Former, ...]:
    """Give tracks just confirmed (``new``, (N,)) the numbers of former ones that they must be; return who is left.

    Only where one is near enough to where the other would be, and no third is near either.
    """
    left = [one for one in former if (time_ns - one.time_ns) / NS_PER_S <= _waits_s(one)]
    if not left or not new.any():
        return tuple(left)
    gap_s = np.array([(time_ns - one.time_ns) / NS_PER_S for one in left])
    speed = np.array([(one.east, one.north) for one in left])
    east, north = frame.to_plane(np.array([o.lat_deg for o in left]), np.array([o.lon_deg for o in left]))
    place = np.stack([east, north], axis=1) + speed * gap_s[:, None]
    fresh = np.flatnonzero(new)
    mean, _ = store.mean()
    apart = np.hypot(*np.moveaxis(mean[fresh, None, :2] - place[None], 2, 0))
    moves = np.hypot(speed[:, 0], speed[:, 1]) >= STILL_MPS
    near = apart <= NEAR_M + np.where(moves, NEAR_MPS * gap_s, 0.0)
    taken = set()
    for row, one in zip(*np.nonzero(near), strict=True):
        if near[row].sum() == 1 and near[:, one].sum() == 1 and not np.any(store.id == left[one].id):
            at = fresh[row]
            store.false_parent[store.false_parent == store.id[at]] = left[one].id
            store.id[at] = left[one].id
            taken.add(int(one))
    return tuple(one for k, one in enumerate(left) if k not in taken)


def _waits_s(one: Former) -> float:
    return MOVES_S if np.hypot(one.east, one.north) >= STILL_MPS else LIES_S
