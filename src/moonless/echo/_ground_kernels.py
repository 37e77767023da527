"""Compiled twins of ``reference.py``: the last turns' ground, asked from this turn's places."""

# mypy: disable-error-code="untyped-decorator"
from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[Any]


@njit(cache=True, nogil=True)
def gate_kernel(
    east: Array,
    north: Array,
    along_e: Array,
    along_n: Array,
    gate_r: Array,
    gate_c: Array,
    reach: Array,
    old_east: Array,
    old_north: Array,
    inside: Array,
    near: Array,
) -> None:
    """Count old points in and round each place's gate.

    east, north (n,) f64 places; along_e, along_n (n,) f64 unit line of sight; gate_r, gate_c, reach (n,) f64 half
    widths; old_east, old_north (m,) f64 sorted by north.  inside, near (n,) i64 out: in the gate; in reach, outside it.
    """
    m = old_east.shape[0]
    for k in range(east.shape[0]):
        first = np.searchsorted(old_north, north[k] - reach[k])
        count = 0
        around = 0
        for j in range(first, m):
            dn = old_north[j] - north[k]
            if dn > reach[k]:
                break
            de = old_east[j] - east[k]
            if de * de + dn * dn > reach[k] * reach[k]:
                continue
            r = de * along_e[k] + dn * along_n[k]
            c = de * along_n[k] - dn * along_e[k]
            if abs(r) <= gate_r[k] and abs(c) <= gate_c[k]:
                count += 1
            else:
                around += 1
        inside[k] = count
        near[k] = around


@njit(cache=True, nogil=True)
def fresh_kernel(
    east: Array,
    north: Array,
    bearing: Array,
    first_m: Any,
    col_m: Any,
    old_east: Array,
    old_north: Array,
    old_heading: Array,
    loud: Array,
    step: int,
    fresh: Array,
) -> None:
    """Mark every ``step``-th box whose ground was quiet last turn.

    east, north, bearing (n_row,) f64: own place and true look of each row now; first_m: range to the middle of
    column 0; old_east, old_north, old_heading (n_row,) f64 of the last turn's rows; loud, fresh (n_row, n_col) bool.
    """
    n_row, n_col = loud.shape
    turn = 2.0 * np.pi
    for a in range(0, n_row, step):
        s = np.sin(bearing[a])
        k = np.cos(bearing[a])
        guess = a
        for c in range(0, n_col, step):
            r = first_m + c * col_m
            e = east[a] + r * s
            n = north[a] + r * k
            # The row that looked there then lies near the row found for the column before.
            de = e - old_east[guess]
            dn = n - old_north[guess]
            az = (np.arctan2(de, dn) - old_heading[guess]) / turn
            row = int(np.rint((az - np.floor(az)) * n_row)) % n_row
            guess = row
            col = int(np.rint((np.sqrt(de * de + dn * dn) - first_m) / col_m))
            if 0 <= col < n_col:
                fresh[a, c] = not loud[row, col]
