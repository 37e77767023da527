"""Compiled twins of ``reference.py``: peaks, hills and bodies on the grid."""

# mypy: disable-error-code="untyped-decorator"
from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.generic]
Number = float | np.float32


@njit(cache=True, nogil=True)
def peaks_kernel(value_db: Array, threshold_db: Array, rows: int, cols: int, found: Array) -> int:
    """Flat indices of cells at or over threshold that no cell within (rows, cols) tops.

    value_db, threshold_db (n_row, n_col) f32, NaN never found; rows wrap; of equal cells the first in order counts.
    found (m,) i64 out; returns how many were written, at most m.
    """
    n_row, n_col = value_db.shape
    n = 0
    for a in range(n_row):
        for c in range(n_col):
            v = value_db[a, c]
            if not v >= threshold_db[a, c]:
                continue
            top = True
            for da in range(-rows, rows + 1):
                row = (a + da) % n_row
                for col in range(max(0, c - cols), min(n_col, c + cols + 1)):
                    w = value_db[row, col]
                    if w > v or (w == v and row * n_col + col < a * n_col + c):
                        top = False
                        break
                if not top:
                    break
            if top and n < found.shape[0]:
                found[n] = a * n_col + c
                n += 1
    return n


@njit(cache=True, nogil=True)
def segment_kernel(
    value_db: Array,
    order: Array,
    n_row: int,
    n_col: int,
    depth_db: Number,
    far_rows: Array,
    far_db: Number,
    firm_db: Array,
    basin: Array,
    body: Array,
) -> None:
    """Part a mask into hills.  value_db (n_row * n_col,) f32; order (m,) i64, masked cells from high to low.

    basin, body (n_row * n_col,) i64, filled with -1 on entry: the flat index of each cell's hilltop, and of its
    connected body's highest cell.  A hill keeps its own name if the pass to a higher one lies ``depth_db`` below it,
    or, where the two tops stand ``far_rows`` (n_col,) i64 or more rows apart, ``far_db``: if the lower one reaches
    ``firm_db``, (n_row * n_col,) f32.
    """
    for idx in order:
        a = idx // n_col
        c = idx - a * n_col
        best = -1
        for da in range(-1, 2):
            row = (a + da) % n_row
            for dc in range(-1, 2):
                col = c + dc
                if (da == 0 and dc == 0) or col < 0 or col >= n_col:
                    continue
                other = row * n_col + col
                if basin[other] < 0:
                    continue
                root = _find(basin, other)
                if best < 0 or value_db[root] > value_db[best] or (value_db[root] == value_db[best] and root < best):
                    best = root
        if best < 0:
            basin[idx] = idx
            body[idx] = idx
            continue
        basin[idx] = best
        body[idx] = _find(body, best)
        for da in range(-1, 2):
            row = (a + da) % n_row
            for dc in range(-1, 2):
                col = c + dc
                if (da == 0 and dc == 0) or col < 0 or col >= n_col:
                    continue
                other = row * n_col + col
                if basin[other] < 0:
                    continue
                root = _find(basin, other)
                if root != best:
                    apart = abs(root // n_col - best // n_col)
                    is_far = min(apart, n_row - apart) >= far_rows[root % n_col] and value_db[root] >= firm_db[root]
                    pass_db = far_db if is_far else depth_db
                    if value_db[root] - value_db[idx] < pass_db:
                        basin[root] = best
                r1 = _find(body, other)
                r2 = _find(body, idx)
                if r1 != r2:
                    if value_db[r1] > value_db[r2] or (value_db[r1] == value_db[r2] and r1 < r2):
                        body[r2] = r1
                    else:
                        body[r1] = r2
    for idx in order:
        basin[idx] = _find(basin, idx)
        body[idx] = _find(body, idx)


@njit(cache=True, nogil=True)
def _find(parent: Array, i: int) -> int:
    """Root of ``i``, halving the path."""
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@njit(cache=True, nogil=True)
def dilate_kernel(cells: Array, half_rows: Array, half_cols: int, out: Array) -> None:
    """Set True a rectangle round each flat cell; cells, half_rows (m,) i64, half_cols i64; out (n_row, n_col) bool."""
    n_row, n_col = out.shape
    for m in range(cells.shape[0]):
        a = cells[m] // n_col
        c = cells[m] - a * n_col
        lo = max(0, c - half_cols)
        hi = min(n_col, c + half_cols + 1)
        for da in range(-half_rows[m], half_rows[m] + 1):
            row = (a + da) % n_row
            for col in range(lo, hi):
                out[row, col] = True
