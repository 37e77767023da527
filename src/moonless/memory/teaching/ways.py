"""Where vessels usually run: the cells they use, those that hang together taken as one way.

A way says that vessels are to be expected there, and how many at a time; never that none is elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from moonless.frames import LocalFrame
from moonless.memory.lattice import CELL_M, middle_of
from moonless.memory.summary import Run
from moonless.memory.teaching.lessons import Lesson, Way
from moonless.memory.teaching.steady import together
from moonless.memory.teaching.tally import WINDS, Tally
from moonless.memory.teaching.weigh import share_low
from moonless.units import ns_to_utc

Longs = NDArray[np.int64]

# Cells hang together where they touch, at a corner too, and a cell left out between two is bridged; the columns of two
# degrees of latitude do not stand in line.  A way is at least so many cells long.  Own figures.
TOUCH_M, LEAST_CELLS = 2.3 * CELL_M, 4


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
        f"up to {vessels} in one, last on {ns_to_utc(last_ns):%Y-%m-%d}.",
        "a way that vessels use", round(reach, 1), round(float(np.sqrt(np.mean(np.sum(at**2, axis=1)) / 2.0)), 1),
        min(runs[number].begins_ns for number in numbers), last_ns, numbers,
        len({runs[number].boat for number in numbers}), looked, round(present, 3), round(low, 3), None,
        at_once=round(at_once, 3), cells=tuple(keys.tolist()),
    )  # fmt: skip
