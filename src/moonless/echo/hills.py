"""The boxes that stand out, parted into hills, and what hangs together of them into bodies."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.echo.grid import Grid
from moonless.echo.kernels.body_kernels import segment_kernel
from moonless.echo.shores import CORE_DB, Bodies
from moonless.scan.types import Scan

# Between two equal points 1.3 beams apart the two-way beam falls by 10 dB, and where both add in phase by 4.5.
PASS_DB = 5.0
# One point has no two tops so far apart, however it shines: there a shallow pass parts two, if noise does not dip it.
# Sea, rain and land boil deeper than that; what is parted so must stand well over the threshold.  Hulls are several
# points too: nothing nearer together than most are long.
FAR_BEAMS, FAR_APART_M, FAR_PASS_DB, FAR_FIRM_DB = 0.8, 60.0, 1.0, 5.0
CLIPPED_CORE_DB = 3.0  # half of a box


def segment(
    value_db: NDArray[np.float32],
    threshold_db: NDArray[np.float32],
    mask: NDArray[np.bool_],
    grid: Grid,
    col_m: float,
    cell_looks: float,
    clipped_db: float,
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Return (flat masked cells, hilltop and body of each flat cell, flat cells of the cores, what hangs together)."""
    cells = np.flatnonzero(mask)
    value = value_db.ravel()
    firm_db = threshold_db.ravel() + np.float32(FAR_FIRM_DB)
    order = cells[np.argsort(-value[cells], kind="stable")]
    basin = np.full(value.size, -1, dtype=np.int64)
    body = np.full(value.size, -1, dtype=np.int64)
    # A pass must lie deeper than chance dips it: three deviations of the row's own speckle, in dB.
    speckle = 3.0 * 4.34 / np.sqrt(max(1.0, grid.box_looks / grid.box_rows * cell_looks))
    depth, far = np.float32(max(PASS_DB, speckle)), np.float32(max(FAR_PASS_DB, speckle))
    row_m = TAU / grid.n_row * np.maximum(col_m * (np.arange(grid.n_col) + 0.5), col_m)
    least = FAR_BEAMS * grid.beam_spokes * grid.n_row / grid.n_spoke - 0.25
    far_rows = np.ceil(np.maximum(least, FAR_APART_M / row_m)).astype(np.int64)
    segment_kernel(value, order, grid.n_row, grid.n_col, depth, far_rows, far, firm_db, basin, body)
    # Strong echoes a beam or two apart join by their skirts, and a row of marks is no shore: what makes a body is
    # joined within the cores of its hills.  The rest of a hill goes with its top.
    # A clipped hill is flat, and its boxes tell how far they are filled with it: its core is where most of them is.
    top_db = value[basin[order]]
    core = order[value[order] >= top_db - np.where(top_db >= clipped_db, CLIPPED_CORE_DB, CORE_DB).astype(np.float32)]
    hill, joined = np.full(value.size, -1, dtype=np.int64), np.full(value.size, -1, dtype=np.int64)
    segment_kernel(value, core, grid.n_row, grid.n_col, depth, far_rows, far, firm_db, hill, joined)
    whole = body.copy()
    body[cells] = joined[basin[cells]]
    return cells, basin, body, np.sort(core), whole


def cells_of(
    bodies: Bodies, which: NDArray[np.bool_], cells: NDArray[np.int64], body: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Return which of ``cells`` belong to the bodies marked in ``which``."""
    if not np.any(which):
        return np.zeros(cells.shape, dtype=np.bool_)
    return np.asarray(np.isin(body[cells], bodies.top[which]))


def places(scan: Scan, grid: Grid, flat: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return (spoke, range in metres) of the middles of flat blocks."""
    row, col = np.divmod(flat, grid.n_col)
    spoke = (grid.row_edge[row] + grid.row_edge[row + 1]) // 2 % scan.n_spoke
    return spoke, np.maximum(scan.first_cell_m + (col + 0.5) * grid.col_cells * scan.cell_m, 0.0)
