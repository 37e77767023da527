"""Everything the tracker remembers, carried from one local plane to another.

A boat that runs far leaves the plane her tracks began in.  Places go over exactly; what has a direction is turned by
the angle between the two norths there (the meridian convergence), as a derivative of the way the places go.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.frames import LocalFrame
from moonless.track.track_store import TrackStore

Floats = NDArray[np.float64]

# Step of the differences that give the turn, metres: long against rounding, short against the earth.
STEP_M = 100.0


def places(places_m: Floats, old: LocalFrame, new: LocalFrame) -> Floats:
    """Return places (..., 2) east, north of the old plane in the new one."""
    lat, lon = old.to_geographic(places_m[..., 0], places_m[..., 1])
    east, north = new.to_plane(lat, lon)
    return np.stack([np.asarray(east), np.asarray(north)], axis=-1)


def turns(places_m: Floats, old: LocalFrame, new: LocalFrame) -> Floats:
    """Return (n, 2, 2): what takes a small step at each place (n, 2) of the old plane to the new one."""
    out = np.empty((places_m.shape[0], 2, 2))
    for axis in range(2):
        step = np.zeros(2)
        step[axis] = STEP_M
        out[:, :, axis] = (places(places_m + step, old, new) - places(places_m - step, old, new)) / (2.0 * STEP_M)
    return out


def carry(store: TrackStore, old: LocalFrame, new: LocalFrame) -> None:
    """Carry all tracks over, in place: states and covariances of every model, shared errors and hulls too."""
    if len(store) == 0:
        return
    turn = turns(np.einsum("im,ima->ia", store.mu, store.x[:, :, :2]), old, new)
    whole = np.zeros((len(store), 8, 8))
    # East and north, their velocity, and the own position's error; turn rate and heading error are the same anywhere.
    for at in (0, 2, 6):
        whole[:, at : at + 2, at : at + 2] = turn
    whole[:, 4, 4] = whole[:, 5, 5] = 1.0
    carried = places(store.x[:, :, :2], old, new)
    store.x = np.einsum("iab,imb->ima", whole, store.x)
    store.x[:, :, :2] = carried
    store.p = np.einsum("iab,imbc,idc->imad", whole, store.p, whole)
    store.shape = np.einsum("iab,ibc,idc->iad", turn, store.shape, turn)
