"""What stands there run after run though no chart has it, and where boats lie at anchor.

A place where something still was told in most of the runs that looked there has something standing in it.  Where things
were told here one night and there the next, boats anchor.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from moonless.frames import LocalFrame
from moonless.memory.summary import Sighting
from moonless.memory.teaching.lessons import Proposal
from moonless.memory.teaching.weigh import share_low
from moonless.units import ns_to_utc

Floats = NDArray[np.float64]
Longs = NDArray[np.int64]

EARTH_M = 6_371_000.0
# Sightings of one thing lie so many sigma from its place, within bounds: a sigma is itself only told.  Own figures.
GATE_SIGMA, LEAST_GATE_M, MOST_GATE_M = 2.5, 15.0, 45.0
# Something stands there if it was told on so many runs and, nine tenths sure, in more than this share of those that
# looked.  An anchored boat lies within a gate of where one lay before in about one run in eight.
LEAST_RUNS, LEAST_SHARE = 3, 0.3
# Among boats at anchor chance puts one where one lay before now and then: with so many seen once or twice about, within
# `ANCHORAGE_M`, it takes more.  Own figures, chosen over the first ten made nights of either fleet of the bench.
LONERS, AMONG_SHARE = 3, 0.5
# Anchored boats lie within this of one another where they are one anchorage; own figure.
ANCHORAGE_M = 130.0
ANCHORAGE_SIGHTINGS, ANCHORAGE_SHARE = 5, 0.2
# Places that scatter more than their own errors explain belong to something that swings.
SWINGS = 2.5
LONG_M = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """Sightings of many runs as arrays, all (n,), in an order that does not depend on who came first."""

    sightings: tuple[Sighting, ...]
    run: Longs  # index into ``numbers``
    weight: Longs
    numbers: tuple[str, ...]
    boats: tuple[str, ...]  # of each run

    @property
    def lat(self) -> Floats:
        """Latitude, degrees."""
        return np.array([s.lat_deg for s in self.sightings])

    @property
    def lon(self) -> Floats:
        """Longitude, degrees."""
        return np.array([s.lon_deg for s in self.sightings])


Looked = Callable[[float, float], tuple[int, int]]
"""The weight and the number of the runs that looked at a place (lat, lon)."""


def find(told: Told, looked: Looked) -> tuple[list[Proposal], Longs]:
    """Return the things that stand there, and which sightings (indices) are of none of them."""
    things: list[Proposal] = []
    left: list[Longs] = []
    for rows in together(told.lat, told.lon, 4.0 * MOST_GATE_M):
        found, rest = _find_among(told, rows, looked)
        things += found
        left.append(rest)
    return things, np.sort(np.concatenate(left)) if left else np.zeros(0, dtype=np.int64)


def together(lat: Floats, lon: Floats, link_m: float) -> list[Longs]:
    """Return places in groups, each linked by steps no longer than ``link_m``; rows in order."""
    if not len(lat):
        return []
    phi, lam = np.radians(lat), np.radians(lon)
    xyz = EARTH_M * np.column_stack([np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)])
    pairs = cKDTree(xyz).query_pairs(link_m, output_type="ndarray")
    n = len(lat)
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    return [np.flatnonzero(label == k) for k in range(label.max() + 1)]


def _find_among(told: Told, rows: Longs, looked: Looked) -> tuple[list[Proposal], Longs]:
    """Take the places most often told first, each with what belongs to it, until none is left that stands."""
    frame = LocalFrame(float(np.mean(told.lat[rows])), float(np.mean(told.lon[rows])))
    at = np.column_stack(frame.to_plane(told.lat[rows], told.lon[rows]))
    sigma = np.array([told.sightings[k].sigma_m for k in rows])
    run, weight = told.run[rows], told.weight[rows]
    free = np.ones(len(rows), dtype=np.bool_)
    gap = np.hypot(*(at[:, None, :] - at[None, :, :]).transpose(2, 0, 1))
    near = gap <= np.clip(GATE_SIGMA * np.hypot(sigma[:, None], sigma[None, :]), LEAST_GATE_M, MOST_GATE_M)
    tried = np.zeros(len(rows), dtype=np.bool_)
    # Seen here on fewer runs than make a thing: boats that came and went, or nothing.
    lone = np.array([len(np.unique(run[near[i]])) < LEAST_RUNS for i in range(len(rows))])
    out: list[Proposal] = []
    while True:
        score = np.array(
            [_of_runs(run, weight, near[i] & free) if free[i] and not tried[i] else 0 for i in range(len(rows))]
        )
        if not score.any():
            break
        # Of places equally often told the best placed goes first, then by the rows' own order.
        i = int(np.lexsort((np.arange(len(rows)), sigma, -score))[0])
        members = near[i] & free
        for _ in range(3):
            centre = _mean(at[members], weight[members] / sigma[members] ** 2)
            off = np.hypot(*(at - centre).T)
            members = free & (off <= np.clip(GATE_SIGMA * sigma, LEAST_GATE_M, MOST_GATE_M))
            if not members.any():
                break
        tried[i] = True
        proposal = None
        if members.any():
            loners = int(np.sum(lone & ~members & (np.hypot(*(at - centre).T) <= ANCHORAGE_M)))
            least = AMONG_SHARE if loners >= LONERS else LEAST_SHARE
            proposal = _thing(told, rows[members], frame, at[members], looked, least)
        if proposal is not None:
            out.append(proposal)
            free &= ~members
    return out, rows[free]


def _thing(
    told: Told, rows: Longs, frame: LocalFrame, at: Floats, looked: Looked, least_share: float
) -> Proposal | None:
    ones = [told.sightings[k] for k in rows]
    sigma = np.array([s.sigma_m for s in ones])
    worth = told.weight[rows] / sigma**2
    centre = _mean(at, worth)
    lat, lon = (float(x) for x in frame.to_geographic(*centre))
    present, low, seen_runs, looked_runs = _present(told, rows, looked(lat, lon))
    if seen_runs < LEAST_RUNS or low < least_share:
        return None
    off2 = np.sum((at - centre) ** 2, axis=1)
    spread = math.sqrt(float(np.average(off2, weights=worth)) / 2.0)
    scatter = float(np.average(off2 / (2.0 * sigma**2), weights=told.weight[rows]))
    looks, seen = sum(s.looks for s in ones), sum(s.seen for s in ones)
    likely = _likely(ones, scatter)
    numbers, boats = _who(told, rows)
    return Proposal(
        "thing", round(lat, 7), round(lon, 7),
        f"Not charted: {likely}. Told on {seen_runs} of {max(looked_runs, seen_runs)} runs that looked, last on "
        f"{_day(max(s.last_ns for s in ones))}.",
        likely, round(math.sqrt(1.0 / float(np.sum(1.0 / sigma**2)) + (spread**2 / len(ones))), 1), round(spread, 1),
        min(s.first_ns for s in ones), max(s.last_ns for s in ones), numbers, boats, looked_runs, round(present, 3),
        round(low, 3), round(seen / looks, 3) if looks else None,
    )  # fmt: skip


def _likely(ones: list[Sighting], scatter: float) -> str:
    lengths = [s.length_m for s in ones if s.length_m is not None]
    if np.mean([s.is_vessel for s in ones]) > 0.5:
        return "a vessel on her mooring"
    if len(lengths) > 0.5 * len(ones) and float(np.median(lengths)) > LONG_M:
        return "something long that lies still, as a barge, a raft or a moored vessel"
    if scatter > SWINGS:
        return "something that swings, as a mooring, a float or a moored boat"
    return "something that stands fast, as a pile, stakes, a rock or a wreck"


def anchorages(told: Told, left: Longs, looked: Looked) -> list[Proposal]:
    """Return where boats lie now here, now there: of the sightings that are of nothing that stands."""
    out = []
    lat, lon = told.lat[left], told.lon[left]
    for group in together(lat, lon, ANCHORAGE_M):
        rows = left[group]
        if len(rows) < ANCHORAGE_SIGHTINGS:
            continue
        middle_lat, middle_lon = float(np.mean(lat[group])), float(np.mean(lon[group]))
        frame = LocalFrame(middle_lat, middle_lon)
        at = np.column_stack(frame.to_plane(lat[group], lon[group]))
        present, low, seen_runs, looked_runs = _present(told, rows, looked(middle_lat, middle_lon))
        if seen_runs < LEAST_RUNS or low < ANCHORAGE_SHARE:
            continue
        ones = [told.sightings[k] for k in rows]
        radius = float(np.quantile(np.hypot(*at.T), 0.9)) + 20.0
        numbers, boats = _who(told, rows)
        out.append(
            Proposal(
                "anchorage",
                round(middle_lat, 6),
                round(middle_lon, 6),
                f"Boats anchor here: {len(rows)} on {seen_runs} of {max(looked_runs, seen_runs)} runs that looked, "
                f"within {radius:.0f} m.",
                "an anchorage",
                round(radius, 1),
                round(math.sqrt(float(np.mean(np.sum(at**2, axis=1))) / 2.0), 1),
                min(s.first_ns for s in ones),
                max(s.last_ns for s in ones),
                numbers,
                boats,
                looked_runs,
                round(present, 3),
                round(low, 3),
                None,
            )
        )
    return out


def _present(told: Told, rows: Longs, looked: tuple[int, int]) -> tuple[float, float, int, int]:
    """Return (share of runs, its low figure, runs that told it, runs that looked)."""
    runs = np.unique(told.run[rows])
    seen_weight = _of_runs(told.run[rows], told.weight[rows], np.ones(len(rows), dtype=np.bool_))
    # A run that told it from beyond its seeing line had looked, after a fashion.
    mean, low = share_low(seen_weight, max(looked[0], seen_weight))
    return mean, low, len(runs), max(looked[1], len(runs))


def _of_runs(run: Longs, weight: Longs, which: NDArray[np.bool_]) -> int:
    """Return the weight of the different runs among some rows."""
    _, first = np.unique(run[which], return_index=True)
    return int(weight[which][first].sum())


def _who(told: Told, rows: Longs) -> tuple[tuple[str, ...], int]:
    runs = np.unique(told.run[rows]).tolist()
    return tuple(told.numbers[k] for k in runs), len({told.boats[k] for k in runs})


def _mean(at: Floats, worth: Floats) -> Floats:
    return np.asarray(np.average(at, axis=0, weights=worth))


def _day(time_ns: int) -> str:
    return f"{ns_to_utc(time_ns):%Y-%m-%d}"
