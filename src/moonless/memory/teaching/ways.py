"""Where vessels usually run: the cells they use, those that hang together taken as one way.

A way says that vessels are to be expected there, and how many at a time; never that none is elsewhere.  Vessels do not
keep to one cell of a way: a cell is judged by what ran in it and in the cells that touch it.  That so many ran there
some time is no way, since in the end there is no water where nobody ever ran: it takes more than ran elsewhere in the
water that was looked at, or that somebody was met there on every few runs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc

from moonless.frames import LocalFrame
from moonless.memory.lattice import CELL_M, block_of, middle_of
from moonless.memory.summary import Cells, Run
from moonless.memory.teaching.lessons import Lesson, Way
from moonless.memory.teaching.steady import together
from moonless.memory.teaching.tally import WINDS, Tally
from moonless.memory.teaching.weigh import share_low
from moonless.units import ns_to_utc

Longs = NDArray[np.int64]

# Cells hang together where they touch, at a corner too, and a cell left out between two is bridged; the columns of two
# degrees of latitude do not stand in line.  A way is at least so many cells long.  Own figures.
TOUCH_M, LEAST_CELLS = 2.3 * CELL_M, 4
# A way that vessels use: so many of them, on so many runs; own figures.
WAY_VESSELS, WAY_RUNS = 4, 3
# More than elsewhere: three times as often as if they were spread evenly over what was looked at, and as many by chance
# no more often than this.  Or, as for anchorages, nine tenths sure to be met on more than this share of the runs.  Own
# figures.
MORE_OFTEN, BY_CHANCE, WAY_SHARE = 3.0, 1e-3, 0.2
# Courses that add up to more than this share of their number go one way.
ONE_WAY = 0.5
# Runs are put in together: finding their cells' rows is the work.
_TOGETHER = 64


class Traffic:
    """Takes in what ran where, run by run; what it holds grows with the water that vessels used."""

    def __init__(self) -> None:
        self._key: Longs = np.zeros(0, dtype=np.int64)
        self._sums: Longs = np.zeros((0, 3), dtype=np.int64)  # weight, runs, vessels, each of a cell's block
        self._waiting: list[tuple[Longs, Longs]] = []

    def add(self, cells: Cells, weight: int) -> None:
        """Take in one run."""
        used = cells.moving > 0
        if not used.any():
            return
        block = block_of(cells.key[used])
        key, where = np.unique(block.reshape(-1), return_inverse=True)
        rows = np.zeros((len(key), 3), dtype=np.int64)
        rows[:, 0], rows[:, 1] = weight, 1
        # Who is in two cells of a block was one vessel, maybe: of a run the fullest cell counts.
        np.maximum.at(rows[:, 2], where.reshape(-1), np.tile(cells.vessels[used].astype(np.int64), len(block)))
        self._waiting.append((key, rows))
        if len(self._waiting) >= _TOGETHER:
            self._settle()

    def used(self) -> tuple[Longs, Longs]:
        """Return (cells, in order, and beside each the weight of runs, the runs and the vessels in its block)."""
        self._settle()
        return self._key, self._sums

    def _settle(self) -> None:
        if not self._waiting:
            return
        keys = np.concatenate([self._key, *(key for key, _ in self._waiting)])
        rows = np.concatenate([self._sums, *(row for _, row in self._waiting)])
        self._waiting.clear()
        self._key, where = np.unique(keys, return_inverse=True)
        self._sums = np.zeros((len(self._key), 3), dtype=np.int64)
        np.add.at(self._sums, where.reshape(-1), rows)


def usual_cells(traffic: Traffic, tally: Tally) -> tuple[Way, ...]:
    """Return the cells that vessels use, in order."""
    key, sums = traffic.used()
    weight, runs, vessels = sums.T
    # A run that told a vessel from beyond its seeing line had looked, after a fashion.
    looked = np.maximum(tally.at("looked_runs", key), runs)
    looked_weight = np.maximum(tally.at("looked_weight", key), weight)
    everywhere = int(tally.column("looked_runs").sum()) + int((looked - tally.at("looked_runs", key)).sum())
    evenly = int(runs.sum()) / max(everywhere, 1)
    moving, east, north = (tally.at(name, key) for name in ("moving", "east", "north"))
    out = []
    for k in np.flatnonzero((vessels >= WAY_VESSELS) & (runs >= WAY_RUNS) & (moving > 0)).tolist():
        n, of = int(runs[k]), int(looked[k])
        # The tail of a binomial; source: elementary.
        by_chance = n < MORE_OFTEN * evenly * of or float(betainc(n, of - n + 1, evenly)) > BY_CHANCE
        if by_chance and share_low(int(weight[k]), int(looked_weight[k]))[1] < WAY_SHARE:
            continue
        is_one_way = math.hypot(east[k], north[k]) > ONE_WAY * 100.0 * int(moving[k])
        course = round(math.degrees(math.atan2(east[k], north[k])) % 360.0, 1) if is_one_way else None
        out.append(Way(int(key[k]), int(vessels[k]), n, course))
    return tuple(out)


def find(
    cells: Sequence[Way],
    moved: Sequence[tuple[str, Longs]],
    tally: Tally,
    runs: Mapping[str, Run],
    weight: Mapping[str, int],
) -> list[Lesson]:
    """Return the ways.

    Parameters
    ----------
    cells : those that vessels use
    moved : by number of run, the cells in which vessels were under way
    tally : counts over the cells
    runs, weight : every run, and how much each that counts does
    """
    if len(cells) < LEAST_CELLS:
        return []
    keys = np.array([one.key for one in cells], dtype=np.int64)
    lat, lon = middle_of(keys)
    out = []
    for group in together(lat, lon, TOUCH_M):
        if len(group) >= LEAST_CELLS:
            out.append(_lesson(keys[group], [cells[k] for k in group.tolist()], moved, tally, runs, weight))
    return out


def _lesson(
    keys: Longs,
    cells: Sequence[Way],
    moved: Sequence[tuple[str, Longs]],
    tally: Tally,
    runs: Mapping[str, Run],
    weight: Mapping[str, int],
) -> Lesson:
    lat, lon = middle_of(keys)
    middle_lat, middle_lon = float(np.mean(lat)), float(np.mean(lon))
    at = np.column_stack(LocalFrame(middle_lat, middle_lon).to_plane(lat, lon))
    numbers = tuple(sorted(number for number, used in moved if np.isin(used, keys).any()))
    looks = sum(tally.at(f"looks {wind}", keys) for wind in WINDS)
    moving = tally.at("moving", keys)
    # A vessel told from beyond the seeing line had been looked at, after a fashion.
    at_once = float(np.sum(moving / np.maximum(np.maximum(looks, moving), 1)))
    looked = int(max(tally.at("looked_runs", keys).max(), len(numbers)))
    seen_weight = sum(weight[number] for number in numbers)
    present, low = share_low(seen_weight, max(int(tally.at("looked_weight", keys).max()), seen_weight))
    vessels = max(one.vessels for one in cells)
    reach = float(np.hypot(*at.T).max()) + 0.5 * CELL_M
    last_ns = max(runs[number].ends_ns for number in numbers)
    return Lesson(
        "way", round(middle_lat, 6), round(middle_lon, 6),
        f"Vessels run here: on {len(numbers)} of {looked} runs that looked, over {len(keys)} cells of {CELL_M:.0f} m, "
        f"up to {vessels} vessels through one, last on {ns_to_utc(last_ns):%Y-%m-%d}.",
        "a way that vessels use", round(reach, 1), round(float(np.sqrt(np.mean(np.sum(at**2, axis=1)) / 2.0)), 1),
        min(runs[number].begins_ns for number in numbers), last_ns, numbers,
        len({runs[number].boat for number in numbers}), looked, round(present, 3), round(low, 3), None,
        at_once=round(at_once, 3), cells=tuple(keys.tolist()),
    )  # fmt: skip
