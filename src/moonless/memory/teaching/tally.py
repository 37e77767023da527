"""Counts over the lattice's cells, summed over runs as whole numbers: the same in any order, and one row a cell."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.memory.summary import RunSummary

# A cell was looked at on a run if it was in so many looks: one may be a wave's.
LEAST_LOOKS = 2
# Bands of wind, metres a second, by the Beaufort scale: to 3, 4, 5 and more (WMO No. 8, table of equivalents, from
# memory: force 3 ends at 5.4, 4 at 7.9, 5 at 10.7).
BANDS = ((5.5, "to force 3"), (8.0, "force 4"), (10.8, "force 5"), (float("inf"), "force 6 and more"))
NO_WIND = "wind not known"
WINDS = (*(words for _, words in BANDS), NO_WIND)

_PLAIN = ("looked_weight", "looked_runs", "hidden_runs", "moving", "moving_runs", "vessels", "east", "north")
COLUMNS = (*_PLAIN, *(f"clutter {w}" for w in WINDS), *(f"looks {w}" for w in WINDS))
# Runs are put in together: finding their cells' rows is the work.
_TOGETHER = 64

Longs = NDArray[np.int64]


class Tally:
    """Takes in runs; what it holds grows with the water they covered and not with their number."""

    def __init__(self) -> None:
        self.key: Longs = np.zeros(0, dtype=np.int64)
        self._sums: Longs = np.zeros((0, len(COLUMNS)), dtype=np.int64)
        self._waiting: list[tuple[Longs, Longs]] = []

    def add(self, summary: RunSummary, weight: int) -> None:
        """Take in one run."""
        cells = summary.cells
        rows = np.zeros((len(cells.key), len(COLUMNS)), dtype=np.int64)
        is_looked = cells.looked >= LEAST_LOOKS
        rows[:, 0] = weight * is_looked
        rows[:, 1] = is_looked
        # What was hidden for a while and seen a little later is not hidden.
        rows[:, 2] = (cells.hidden > 0) & (cells.looked == 0)
        rows[:, 3], rows[:, 4], rows[:, 5] = cells.moving, cells.moving > 0, cells.vessels
        rows[:, 6], rows[:, 7] = cells.east, cells.north
        band = len(_PLAIN) + WINDS.index(band_of(summary.run.wind_speed))
        rows[:, band] = cells.clutter
        rows[:, band + len(WINDS)] = np.maximum(cells.looked, 0) + cells.clutter
        self._waiting.append((cells.key, rows))
        if len(self._waiting) >= _TOGETHER:
            self._settle()

    def column(self, name: str) -> Longs:
        """Return one column, (n,) beside ``key``."""
        self._settle()
        return np.asarray(self._sums[:, COLUMNS.index(name)])

    def at(self, name: str, keys: Longs) -> Longs:
        """Return one column at some cells; 0 where nobody was."""
        column = self.column(name)
        row = np.clip(np.searchsorted(self.key, keys), 0, max(len(self.key) - 1, 0))
        if not len(self.key):
            return np.zeros(len(keys), dtype=np.int64)
        return np.asarray(np.where(self.key[row] == keys, column[row], 0))

    def _settle(self) -> None:
        if not self._waiting:
            return
        keys = np.concatenate([self.key, *(key for key, _ in self._waiting)])
        rows = np.concatenate([self._sums, *(row for _, row in self._waiting)])
        self._waiting.clear()
        self.key, where = np.unique(keys, return_inverse=True)
        self._sums = np.zeros((len(self.key), len(COLUMNS)), dtype=np.int64)
        np.add.at(self._sums, where, rows)


def band_of(wind_speed: float | None) -> str:
    """Return the band of wind, in words."""
    if wind_speed is None:
        return NO_WIND
    return next(words for most, words in BANDS if wind_speed < most)
