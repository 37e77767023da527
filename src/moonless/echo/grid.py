"""The working grid: blocks of the scan a fraction of a beam wide and a fraction of a pulse long.

    spokes ──►  |  block rows, each about 0.28 beam  |   three rows make a box of 0.84 beam
    cells  ──►  |  block columns, each about 1/3 pulse|   three columns make a box of one pulse

An echo of a point is one beam wide and one pulse long, so its energy lies in one box whatever the spoke and cell
counts are.  Testing boxes gathers that energy first and asks afterwards; 0.84 beam is the width that gathers most
signal for its noise under a Gaussian two-way beam (``design/echo/box.py``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU

BOX_BEAMS = 0.84  # design/echo/box.py
WINDOW_BLOCKS = 24  # reference blocks on each side in range
MIN_WINDOW_BLOCKS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """How one scan geometry is cut into blocks.  Rows wrap; columns do not."""

    n_spoke: int
    n_cell: int
    beam_spokes: float  # half-power beam, in spokes
    pulse_cells: float  # pulse, in cells
    row_edge: NDArray[np.int64]  # (n_row + 1,), spokes
    n_row: int
    col_cells: int  # cells in a block column; the last column may be shorter
    n_col: int
    box_rows: int
    box_cols: int
    guard: int  # block columns left out on each side of the box's middle
    window: int  # block columns of reference on each side
    made_for: int  # spokes of the turn that the rows were chosen for

    def at(self, n_spoke: int) -> Grid:
        """Return the same rows cut from ``n_spoke`` spokes: an antenna does not send the same number every turn."""
        if n_spoke == self.n_spoke:
            return self
        return _recut(self, n_spoke)

    def holds(self, n_spoke: int) -> bool:
        """Return whether a turn of ``n_spoke`` spokes still fills these rows, and no finer ones are worth their while.

        With a row of one spoke a few rows get none, and their boxes lean on the next spoke.
        """
        return 0.8 * self.n_row < n_spoke and 0.75 < n_spoke / self.made_for < 1.35

    @property
    def box_looks(self) -> float:
        """Cells in a box: independent looks, if cells are."""
        return self.n_spoke / self.n_row * self.box_rows * self.col_cells * self.box_cols


def _hop_and_box(size: float) -> tuple[int, int]:
    """Return (block size, blocks in a box) for an echo ``size`` samples long."""
    if size < 1.5:
        return 1, 1
    if size < 2.5:
        return 1, 2
    if 3.4 <= size < 5.0:
        return 2, 2
    return max(1, round(size / 3.0)), 3


@lru_cache(maxsize=32)
def grid_for(
    n_spoke: int, n_cell: int, cell_m: float, beam_rad: float, pulse_m: float, *, is_cut: bool = False
) -> Grid:
    """Return the blocks for a scan geometry; a beam or pulse that is not known counts as one spoke or cell.

    ``is_cut``: the set has cut its background to zero, so that there is no noise to gather energy from: every cell is
    a block and a box of its own, and what it does not touch stays apart.
    """
    beam = beam_rad / TAU * n_spoke if math.isfinite(beam_rad) and beam_rad > 0.0 else 1.0
    beam = min(max(beam, 1.0), n_spoke / 4.0) if n_spoke >= 4 else 1.0
    pulse = pulse_m / cell_m if math.isfinite(pulse_m) and pulse_m > 0.0 and cell_m > 0.0 else 1.0
    pulse = min(max(pulse, 1.0), max(1.0, n_cell / 8.0))
    hop, box_rows = (1, 1) if is_cut else _hop_and_box(beam * BOX_BEAMS)
    n_row = max(1, round(n_spoke / hop))
    box_rows = min(box_rows, n_row)
    col_cells, box_cols = (1, 1) if is_cut else _hop_and_box(pulse)
    n_col = -(-n_cell // col_cells)
    box_cols = min(box_cols, n_col)
    guard = math.ceil(1.5 * pulse / col_cells) + box_cols // 2
    window = max(MIN_WINDOW_BLOCKS, min(WINDOW_BLOCKS, n_col // 6))
    return Grid(
        n_spoke, n_cell, beam, pulse, _edges(n_spoke, n_row), n_row, col_cells, n_col, box_rows, box_cols, guard,
        window, n_spoke,
    )  # fmt: skip


def _edges(n_spoke: int, n_row: int) -> NDArray[np.int64]:
    return (np.arange(n_row + 1, dtype=np.int64) * n_spoke) // n_row


@lru_cache(maxsize=256)
def _recut(grid: Grid, n_spoke: int) -> Grid:
    beam = grid.beam_spokes * n_spoke / grid.n_spoke
    return replace(grid, n_spoke=n_spoke, beam_spokes=beam, row_edge=_edges(n_spoke, grid.n_row))
