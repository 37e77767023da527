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
from moonless.memory.teaching.lessons import Lesson
from moonless.memory.teaching.weigh import share_low
from moonless.units import ns_to_utc

Floats = NDArray[np.float64]
Longs = NDArray[np.int64]

EARTH_M = 6_371_000.0  # mean radius
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
# Told in one spot alone, none further from the middle than one thing's places lie, is one thing that is seldom told (as
# a mark that has moved, where most runs told it as the mark), and no water where boats lie now here, now there.
ANCHORAGE_LEAST_M = MOST_GATE_M
# A place is begun from sightings of it, and of many within a step of each other so many, the best placed, do for all:
# what lies in one step has nearly the same neighbours, and where a thing lies is settled by all of them.  So what there
# is to do grows with the sightings and the water, and not with the square of the sightings of one place.
STEP_M, BEGUN_FROM = 7.5, 32
# Places that scatter more than their own errors explain belong to something that swings.
SWINGS = 2.5
LONG_M = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class SightingRows:
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


def find(told: SightingRows, looked: Looked) -> tuple[list[Lesson], Longs]:
    """Return the things that stand there, and which sightings (indices) are of none of them."""
    things: list[Lesson] = []
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
    # What shares a cell is linked; of two cells one pair of places that is near enough links all.  So there is as much
    # to do as there is water, however often each place was told.
    cells, cell = np.unique(np.floor(xyz * (math.sqrt(3.0) / link_m)).astype(np.int64), axis=0, return_inverse=True)
    cell = cell.reshape(-1)
    order = np.argsort(cell, kind="stable")
    trees = [cKDTree(xyz[one]) for one in np.split(order, np.cumsum(np.bincount(cell))[:-1])]
    beside = cKDTree(cells).query_pairs(2.0, p=math.inf, output_type="ndarray")
    linked = [(a, b) for a, b in beside.tolist() if _touch(trees[a], trees[b], link_m)]
    pairs = np.array(linked, dtype=np.int64).reshape(-1, 2)
    n = len(cells)
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    label = connected_components(graph, directed=False)[1][cell]
    # Numbered by their first rows.
    _, first = np.unique(label, return_index=True)
    return [np.flatnonzero(label == label[k]) for k in np.sort(first)]


def _touch(one: cKDTree, other: cKDTree, link_m: float) -> bool:
    few, many = sorted((one, other), key=lambda tree: tree.n)
    return bool(np.isfinite(many.query(few.data, distance_upper_bound=link_m * (1.0 + 1e-12))[0]).any())


def _find_among(told: SightingRows, rows: Longs, looked: Looked) -> tuple[list[Lesson], Longs]:
    """Take the places most often told first, each with what belongs to it, until none is left that stands."""
    frame = LocalFrame(float(np.mean(told.lat[rows])), float(np.mean(told.lon[rows])))
    at = np.column_stack(frame.to_plane(told.lat[rows], told.lon[rows]))
    sigma = np.array([told.sightings[k].sigma_m for k in rows])
    run, weight = told.run[rows], told.weight[rows]
    free = np.ones(len(rows), dtype=np.bool_)
    neighbours = _Neighbours(at, sigma)
    # Seen here on fewer runs than make a thing: boats that came and went, or nothing.
    lone = np.zeros(len(rows), dtype=np.bool_)
    score = np.zeros(len(rows), dtype=np.int64)
    begun, is_met = _begun_from(at, sigma, run)
    for i in np.flatnonzero(begun | ~is_met).tolist():
        near = neighbours.of(i)
        lone[i] = len(np.unique(run[near])) < LEAST_RUNS
        if begun[i]:
            score[i] = _of_runs(run, weight, near)
    out: list[Lesson] = []
    while score.any():
        # Of places equally often told the best placed goes first, then by the rows' own order.
        i = int(np.lexsort((np.arange(len(rows)), sigma, -score))[0])
        members = np.zeros(len(rows), dtype=np.bool_)
        members[neighbours.of(i)] = True
        members &= free
        for _ in range(3):
            centre = _mean(at[members], weight[members] / sigma[members] ** 2)
            off = np.hypot(*(at - centre).T)
            members = free & (off <= np.clip(GATE_SIGMA * sigma, LEAST_GATE_M, MOST_GATE_M))
            if not members.any():
                break
        score[i] = 0  # tried
        proposal = None
        if members.any():
            loners = int(np.sum(lone & ~members & (np.hypot(*(at - centre).T) <= ANCHORAGE_M)))
            least = AMONG_SHARE if loners >= LONERS else LEAST_SHARE
            proposal = _thing(told, rows[members], frame, at[members], looked, least)
        if proposal is not None:
            out.append(proposal)
            free &= ~members
            score[members] = 0
            for k in neighbours.about(members):
                if score[k] > 0:
                    near = neighbours.of(int(k))
                    score[k] = _of_runs(run, weight, near[free[near]])
    return out, rows[free]


def _begun_from(at: Floats, sigma: Floats, run: Longs) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return (n,): which sightings a place is begun from, and which have runs enough within their own step.

    The corners of a step lie nearer each other than any gate is wide.
    """
    _, step = np.unique(np.floor(at / STEP_M).astype(np.int64), axis=0, return_inverse=True)
    step = step.reshape(-1)
    order = np.lexsort((np.arange(len(at)), sigma, step))
    first = np.searchsorted(step[order], step[order], side="left")
    begun = np.zeros(len(at), dtype=np.bool_)
    begun[order[np.arange(len(at)) - first < BEGUN_FROM]] = True
    runs = np.bincount(np.unique(np.column_stack([step, run]), axis=0)[:, 0], minlength=int(step.max()) + 1)
    return begun, np.asarray(runs[step] >= LEAST_RUNS)


class _Neighbours:
    """Which rows could be of one thing, asked row by row: all pairs of thousands of runs would fill the memory."""

    def __init__(self, at: Floats, sigma: Floats) -> None:
        self._at, self._sigma, self._tree = at, sigma, cKDTree(at)

    def of(self, row: int) -> Longs:
        """Return the rows within the gate of one, itself among them, in order."""
        found = self._tree.query_ball_point(self._at[row], MOST_GATE_M + 1e-6, return_sorted=True)
        near = np.array(found, dtype=np.int64)
        gap = np.hypot(*(self._at[near] - self._at[row]).T)
        gate = np.clip(GATE_SIGMA * np.hypot(self._sigma[near], self._sigma[row]), LEAST_GATE_M, MOST_GATE_M)
        return np.asarray(near[gap <= gate])

    def about(self, which: NDArray[np.bool_]) -> Longs:
        """Return the rows within the widest gate of any of some."""
        away, _ = cKDTree(self._at[which]).query(self._at, distance_upper_bound=MOST_GATE_M + 1e-6)
        return np.flatnonzero(np.isfinite(away))


def _thing(
    told: SightingRows, rows: Longs, frame: LocalFrame, at: Floats, looked: Looked, least_share: float
) -> Lesson | None:
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
    return Lesson(
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


def anchorages(told: SightingRows, left: Longs, looked: Looked) -> list[Lesson]:
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
        if float(np.hypot(*at.T).max()) <= ANCHORAGE_LEAST_M:
            continue
        present, low, seen_runs, looked_runs = _present(told, rows, looked(middle_lat, middle_lon))
        if seen_runs < LEAST_RUNS or low < ANCHORAGE_SHARE:
            continue
        ones = [told.sightings[k] for k in rows]
        radius = float(np.quantile(np.hypot(*at.T), 0.9)) + 20.0
        numbers, boats = _who(told, rows)
        out.append(
            Lesson(
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
                at_once=round(len(rows) / max(looked_runs, seen_runs), 3),
            )
        )
    return out


def _present(told: SightingRows, rows: Longs, looked: tuple[int, int]) -> tuple[float, float, int, int]:
    """Return (share of runs, its low figure, runs that told it, runs that looked)."""
    runs = np.unique(told.run[rows])
    seen_weight = _of_runs(told.run[rows], told.weight[rows], np.ones(len(rows), dtype=np.bool_))
    # A run that told it from beyond its seeing line had looked, after a fashion.
    mean, low = share_low(seen_weight, max(looked[0], seen_weight))
    return mean, low, len(runs), max(looked[1], len(runs))


def _of_runs(run: Longs, weight: Longs, which: NDArray[np.bool_] | Longs) -> int:
    """Return the weight of the different runs among some rows."""
    _, first = np.unique(run[which], return_index=True)
    return int(weight[which][first].sum())


def _who(told: SightingRows, rows: Longs) -> tuple[tuple[str, ...], int]:
    runs = np.unique(told.run[rows]).tolist()
    return tuple(told.numbers[k] for k in runs), len({told.boats[k] for k in runs})


def _mean(at: Floats, worth: Floats) -> Floats:
    return np.asarray(np.average(at, axis=0, weights=worth))


def _day(time_ns: int) -> str:
    return f"{ns_to_utc(time_ns):%Y-%m-%d}"
