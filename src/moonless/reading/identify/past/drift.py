"""Fields of rain and sea that drift: many echoes, spread over the water, that go one way at one speed.

A shower is carried by the wind as a whole.  Its stronger patches are tracked as so many boats, each for a while, and
each of them alone is as steady as one; what gives them away is the others.  Boats in company are fewer, and look
otherwise.  Here the velocity that most of such tracks share is sought turn by turn, and how densely they lie; a tracker
that hops from one patch to the next goes otherwise than the field, but lies in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.reading.identify.past.patches import looks_of_patches
from moonless.track.types import Track

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Velocities of boats, one sigma each axis, and how far patches of one field differ from it; own figures.
BOATS_MPS, PATCHES_MPS = 6.0, 0.7
# One in five is a fast one.
FAST, FAST_MPS = 0.2, 15.0
# A slower field is taken for the ground itself; and a track is asked once it has so many hits and its speed is known so
# well.
LEAST_MPS, LEAST_HITS, LEAST_SURE_MPS = 1.5, 3, 4.0
# How likely any one track is to be of a field before the others are asked.
SHARE = 0.2
# Tracks nearer to each other than this are one witness: pieces of one hull share her velocity.
APART_M = 150.0
# So many witnesses, over so many turns, make a field likelier than company; own figures, chosen on wild scenes 100 to
# 120 (python -m bench wild).
WITNESSES, WITNESS_WIDTH, KEEP = 4.0, 0.5, 0.8
# How far off other patches are counted: this, or this share of the range.
REACH_M, REACH_OF_RANGE = 500.0, 0.3
# So many of the tracks in a field hop from patch to patch, at velocities that differ from its own by so much, one sigma
# each axis; own figures, chosen on 20 wild scenes from 105 to 141.
HOP, HOP_MPS = 0.3, 4.0
# How patches look is learnt from those that have been hit so often and go with the field more likely than not; and only
# past so many witnesses as boats in company may be, in full past twice as many: they would be taken at their own word.
LOOK_HITS, LOOK_SHARE, COMPANY = 8, 0.5, 8.0
MOST_RATIO = 60.0
MOST_TRIED, EM_STEPS = 48, 3  # velocities, those of what has been hit most often; steps from each


@dataclass(frozen=True, slots=True, eq=False)
class _Field:
    """The velocity that most tracks share, and how likely each is one of them."""

    velocity: Floats  # (2,)
    share: Floats  # (n,)
    first: NDArray[np.int64]  # (m,) of each square of the sea that has any, the track that speaks for it
    witnesses: float


class FieldDrift:
    """Remembers how many witnesses the last turns had for the field that drifts here."""

    def __init__(self) -> None:
        self._witnesses = 0.0
        self._velocity = np.zeros(2)

    def density(self, tracks: tuple[Track, ...], own_en: tuple[float, float], is_ashore: Mask) -> Floats:
        """Return (n,) how many patches of a drifting field, with such an echo, lie in a square metre about each track.

        ``own_en``: the boat; ``is_ashore`` (n,): what lies at land or is a piece of it, and is not asked.
        """
        out = np.zeros(len(tracks))
        asked = ~is_ashore & np.array([t.ais is None and t.n_hits >= LEAST_HITS for t in tracks], dtype=np.bool_)
        at = np.flatnonzero(asked)
        those = [tracks[i] for i in at]
        velocity = np.array([(t.velocity_east, t.velocity_north) for t in those]).reshape(-1, 2)
        spread = np.array([t.covariance[2:4, 2:4] for t in those]).reshape(-1, 2, 2)
        place = np.array([(t.east_m, t.north_m) for t in those]).reshape(-1, 2)
        hits = np.array([t.n_hits for t in those], dtype=np.int64)
        # Whose velocity is not known so well may be of the field, and bears no witness for it.
        sure = np.trace(spread, axis1=1, axis2=2) < LEAST_SURE_MPS**2
        field = _shared(velocity[sure], spread[sure], place[sure], hits[sure])
        fresh = 0.0 if field is None else field.witnesses
        if field is not None and np.hypot(*(field.velocity - self._velocity)) > 3.0 * PATCHES_MPS:
            self._witnesses *= KEEP
        self._witnesses = KEEP * self._witnesses + (1.0 - KEEP) * fresh
        if field is None:
            return out
        self._velocity = field.velocity
        is_field = 1.0 / (1.0 + math.exp(-(self._witnesses - WITNESSES) / WITNESS_WIDTH))
        goes, hops = _goes_with(field, velocity, spread)
        member = np.where(sure & (hits >= LOOK_HITS), SHARE * goes / (SHARE * goes + 1.0 - SHARE), 0.0)
        learns = float(np.clip((self._witnesses - COMPANY) / COMPANY, 0.0, 1.0))
        looks = looks_of_patches(those, np.where(member > LOOK_SHARE, learns * member, 0.0))
        away = np.hypot(*(place - np.array(own_en)).T)
        reach = np.maximum(REACH_M, REACH_OF_RANGE * away)
        apart = np.hypot(*np.moveaxis(place[:, None] - place[sure][None, field.first], -1, 0))
        counts = (apart <= reach[:, None]) & (apart > APART_M)
        others = np.where(counts, field.share[None, field.first], 0.0).sum(axis=1)
        ratio = np.minimum((1.0 - HOP) * goes + HOP * hops, MOST_RATIO)
        out[at] = is_field * others / (math.pi * reach**2) * ratio * looks
        return out


def _goes_with(field: _Field, velocity: Floats, spread: Floats) -> tuple[Floats, Floats]:
    """Return (n,), (n,): how much likelier each velocity is for a patch of the field, and for one that hops there, than
    for a boat."""
    off, each = (velocity - field.velocity)[None], np.eye(2)
    slow = _log_gaussian(velocity[None], spread + BOATS_MPS**2 * each)[0] + math.log(1.0 - FAST)
    boats = np.logaddexp(slow, _log_gaussian(velocity[None], spread + FAST_MPS**2 * each)[0] + math.log(FAST))
    patches = _log_gaussian(off, spread + PATCHES_MPS**2 * each)[0]
    hopping = _log_gaussian(off, spread + HOP_MPS**2 * each)[0]
    return np.exp(np.clip(patches - boats, -50.0, 50.0)), np.exp(np.clip(hopping - boats, -50.0, 50.0))


def _shared(velocity: Floats, spread: Floats, place: Floats, hits: NDArray[np.int64]) -> _Field | None:
    """Return the velocity with the most witnesses; None: none but the ground's.

    A mixture of one narrow component and the boats' wide one, begun at each track's own velocity and settled by a few
    steps of expectation and maximisation (Dempster, Laird and Rubin 1977, from memory).
    """
    goes = np.flatnonzero(np.hypot(velocity[:, 0], velocity[:, 1]) >= LEAST_MPS)
    start = velocity[goes[np.argsort(-hits[goes], kind="stable")][:MOST_TRIED]]
    if not len(start):
        return None
    narrow, wide = spread + PATCHES_MPS**2 * np.eye(2), spread + BOATS_MPS**2 * np.eye(2)
    inverse, boats = np.linalg.inv(narrow), _log_gaussian(velocity[None], wide)
    moment = np.einsum("nij,nj->ni", inverse, velocity)
    # All the beginnings (m,) at once, against all tracks (n,).
    for _ in range(EM_STEPS):
        ratio = np.exp(np.clip(_log_gaussian(velocity[None] - start[:, None], narrow) - boats, -50.0, 50.0))
        share = SHARE * ratio / (SHARE * ratio + 1.0 - SHARE)
        weight = np.einsum("mn,nij->mij", share, inverse) + 1e-9 * np.eye(2)
        start = np.linalg.solve(weight, (share @ moment)[..., None])[..., 0]
    # Of each square of the sea only the track that goes with it best is a witness.
    _, square = np.unique(np.round(place / APART_M).astype(np.int64), axis=0, return_inverse=True)
    best = np.zeros((len(start), int(square.max()) + 1))
    np.maximum.at(best.T, square.ravel(), share.T)
    witnesses = np.where(np.hypot(start[:, 0], start[:, 1]) >= LEAST_MPS, best.sum(axis=1), 0.0)
    k = int(witnesses.argmax())
    if witnesses[k] == 0.0:
        return None
    order = np.lexsort((-share[k], square.ravel()))
    first = order[np.concatenate(([True], np.diff(square.ravel()[order]) != 0))]
    return _Field(start[k], share[k], first, float(witnesses[k]))


def _log_gaussian(off: Floats, covariance: Floats) -> Floats:
    """Return (m, n) the log densities at ``off`` (m, n, 2) with ``covariance`` (n, 2, 2), less what all share."""
    (ee, en), (_, nn) = np.moveaxis(covariance, 0, -1)
    determinant = ee * nn - en**2
    east, north = off[..., 0], off[..., 1]
    squared = (nn * east**2 - 2.0 * en * east * north + ee * north**2) / determinant
    return np.asarray(-0.5 * squared - 0.5 * np.log(determinant))
