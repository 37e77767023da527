"""Ground that answers anyway: where echoes stood before a track came there.

A vessel under way comes to water that was empty and leaves it empty.  A track of which every place had answered before
it came hops from one standing echo to the next: land that no chart tells of, moorings, the sea close aboard.  And
echoes that stand, each near the next, in a chain longer than any hull are a shore, whoever has a chart of it.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from moonless.frames import LocalFrame
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# How long plots are remembered, and how many of those turns are asked, evenly over that time.
KEEP_S, MOST_TURNS = 120.0, 30
# With fewer turns before it came nothing is said.
LEAST_TURNS = 6
# How far from its place an echo counts as the same ground: this, or this share of the beam's width there.
REACH_M, REACH_BEAMS = 15.0, 0.4
# Slower than this nothing is taken to leave its place.
LEAST_SPEED = 0.5
# A track's record of it fades over so many turns, and begins as if so many had been seen with this share.
FADE, PRIOR_TURNS, PRIOR_SHARE = 0.9, 5.0, 0.05
# A plot stands when its ground answered in this share of the turns more than so long ago.
STANDS, STANDS_BEFORE_S = 0.35, 8.0
# Standing echoes so near each other are of one chain, and a chain longer than any hull is a shore.
LINK_M, LINK_BEAMS, LONGER_THAN_HULLS_M = 50.0, 1.0, 420.0


@dataclass(slots=True)
class _Record:
    hits: float = 0.0
    turns: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Past:
    time_ns: int
    place: Floats  # (k, 2)
    tree: cKDTree


class Standing:
    """Remembers where plots were, over the ground."""

    def __init__(self) -> None:
        self._turns: deque[_Past] = deque()
        self._records: dict[int, _Record] = {}
        self._frame: LocalFrame | None = None
        self.in_chain: Mask = np.zeros(0, dtype=np.bool_)  # (p,) of this turn's plots, which are of a shore

    def enter(self, frame: LocalFrame) -> None:
        """Say which plane the places to come are of; what is remembered of another is carried over."""
        if self._frame is not None and frame != self._frame:
            carried = []
            for one in self._turns:
                lat, lon = self._frame.to_geographic(one.place[:, 0], one.place[:, 1])
                carried.append(_past(one.time_ns, np.column_stack(frame.to_plane(lat, lon))))
            self._turns = deque(carried)
        self._frame = frame

    def take_in(self, time_ns: int, place_en: Floats, own_en: Floats, beam_rad: float) -> None:
        """Take in all plots of a turn, (p, 2); those that could not be placed are NaN."""
        sound = np.isfinite(place_en).all(axis=1)
        self.in_chain = np.zeros(len(place_en), dtype=np.bool_)
        place = place_en[sound]
        away = np.hypot(*(place - own_en).T)
        hits, turns = self._answered(time_ns, place, np.full(len(place), STANDS_BEFORE_S), reach_m(away, beam_rad))
        stands = (turns >= LEAST_TURNS) & (hits >= STANDS * turns)
        self.in_chain[np.flatnonzero(sound)[stands]] = _is_long(
            place[stands], LINK_M + LINK_BEAMS * beam_rad * away[stands]
        )
        self._turns.append(_past(time_ns, place))
        while (time_ns - self._turns[0].time_ns) / NS_PER_S > KEEP_S:
            self._turns.popleft()

    def share(
        self,
        time_ns: int,
        ids: NDArray[np.int64],
        place_en: Floats,
        speed: Floats,
        length_m: Floats,
        away_m: Floats,
        is_fresh: Mask,
        beam_rad: float,
    ) -> Floats:
        """Return (n,) in what share of the turns before each track came, the ground on its way had answered.

        ``length_m``: NaN where not resolved.  Ask once a turn, before `take_in` or after it: this turn does not count.
        """
        reach = reach_m(away_m, beam_rad)
        since_s = (np.nan_to_num(length_m) + 2.0 * reach) / np.maximum(speed, LEAST_SPEED)
        hits, turns = self._answered(time_ns, place_en, since_s, reach)
        records: dict[int, _Record] = {}
        out = np.empty(len(ids))
        for i, track in enumerate(ids.tolist()):
            one = records[track] = self._records.get(track) or _Record()
            if is_fresh[i] and turns[i] >= LEAST_TURNS:
                one.hits, one.turns = FADE * one.hits + hits[i] / turns[i], FADE * one.turns + 1.0
            out[i] = (one.hits + PRIOR_TURNS * PRIOR_SHARE) / (one.turns + PRIOR_TURNS)
        self._records = records
        return out

    def _answered(self, time_ns: int, place_en: Floats, since_s: Floats, reach: Floats) -> tuple[Floats, Floats]:
        """Return (n,), (n,): turns longer ago than ``since_s`` with a plot within ``reach``, and all such turns."""
        hits, turns = np.zeros(len(place_en)), np.zeros(len(place_en))
        if not len(place_en) or not self._turns:
            return hits, turns
        for one in list(self._turns)[:: max(1, math.ceil(len(self._turns) / MOST_TURNS))]:
            asked = np.flatnonzero((time_ns - one.time_ns) / NS_PER_S > since_s)
            if not asked.size:
                continue
            turns[asked] += 1.0
            if len(one.place):
                hits[asked] += one.tree.query(place_en[asked])[0] <= reach[asked]
        return hits, turns


def reach_m(away_m: Floats, beam_rad: float) -> Floats:
    """Return how far from a place so far off an echo counts as the same ground's."""
    return np.maximum(REACH_M, REACH_BEAMS * beam_rad * away_m)


def _past(time_ns: int, place: Floats) -> _Past:
    return _Past(time_ns, place, cKDTree(place.reshape(-1, 2)))


def _is_long(place: Floats, link_m: Floats) -> Mask:
    """Return (k,) which places belong to a chain, each within its link of the next, that is longer than any hull."""
    n = len(place)
    if n < 2:
        return np.zeros(n, dtype=np.bool_)
    i, j = cKDTree(place).query_pairs(float(link_m.max()), output_type="ndarray").T
    near = np.hypot(*(place[i] - place[j]).T) <= np.minimum(link_m[i], link_m[j])
    pairs = coo_matrix((np.ones(int(near.sum())), (i[near], j[near])), shape=(n, n))
    count, chain = connected_components(pairs, directed=False)
    low, high = np.full((count, 2), np.inf), np.full((count, 2), -np.inf)
    np.minimum.at(low, chain, place)
    np.maximum.at(high, chain, place)
    return np.asarray((np.hypot(*(high - low).T) > LONGER_THAN_HULLS_M)[chain])
