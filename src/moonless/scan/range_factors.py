"""By how much the metres of a set are to be taken: for each cell length that it tells, what was found of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from moonless.scan.types import Spoke


class RangeFactors:
    """Puts the ranges of spokes right.  A set may be right on one range scale and wrong on the next."""

    def __init__(self) -> None:
        self._by_cell: dict[float, tuple[float, int]] = {}  # told cell length, mm: factor, when it was found
        self._last: float | None = None

    def put_right(self, spokes: Sequence[Spoke]) -> list[Spoke]:
        """Return the spokes with their ranges as they are, as far as is known."""
        if spokes:
            self._last = _key(spokes[-1].cell_m)
        if not self._by_cell:
            return list(spokes)
        return [_scaled(spoke, self._by_cell.get(_key(spoke.cell_m), (1.0, 0))[0]) for spoke in spokes]

    def found(self, factor: float, time_ns: int) -> None:
        """Take note that what is handed on, of the cell length told last, is to be taken by so much more."""
        if self._last is not None:
            whole = factor * self.now
            self._by_cell[self._last] = (whole, time_ns)
            if whole == 1.0:
                del self._by_cell[self._last]

    @property
    def now(self) -> float:
        """The factor of the cell length told last; 1.0: as told."""
        return 1.0 if self._last is None else self._by_cell.get(self._last, (1.0, 0))[0]

    @property
    def since_ns(self) -> int | None:
        """Since when that factor has been known; None: ranges are as told."""
        found = None if self._last is None else self._by_cell.get(self._last)
        return None if found is None else found[1]


def _key(cell_m: float) -> float:
    return round(cell_m, 3)


def _scaled(spoke: Spoke, factor: float) -> Spoke:
    if factor == 1.0:
        return spoke
    return replace(spoke, cell_m=factor * spoke.cell_m, first_cell_m=factor * spoke.first_cell_m)
