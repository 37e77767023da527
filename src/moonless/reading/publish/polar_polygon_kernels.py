"""Compiled: a polar raster of causes to the outlines of its strips.  `polar_polygons.join` and `ring_of` define it."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@njit(cache=True, nogil=True)
def intervals_kernel(cause: NDArray[np.int8], row: Ints, near: Ints, far: Ints, what: Ints, row_start: Ints) -> int:
    """cause (n_row, n_cell) in; row, near, far, what (n_row * n_cell,), row_start (n_row + 1,) int64 out; gives n."""
    n = 0
    for i in range(cause.shape[0]):
        row_start[i] = n
        j = 0
        while j < cause.shape[1]:
            c = cause[i, j]
            start = j
            while j < cause.shape[1] and cause[i, j] == c:
                j += 1
            if c != 0:
                row[n], near[n], far[n], what[n] = i, start, j, c
                n += 1
    row_start[cause.shape[0]] = n
    return n


@njit(cache=True, nogil=True)
def join_kernel(near: Ints, far: Ints, what: Ints, row_start: Ints, follows: Ints) -> None:
    """near, far, what (n,) and row_start (n_row + 1,) in; follows (n,): the interval one row on in its strip, or -1."""
    n = row_start[-1]
    hits = np.zeros(n, dtype=np.int64)
    only = np.full(n, -1, dtype=np.int64)
    met = np.zeros(n, dtype=np.int64)
    for i in range(row_start.shape[0] - 2):
        for a in range(row_start[i], row_start[i + 1]):
            for b in range(row_start[i + 1], row_start[i + 2]):
                if what[a] == what[b] and near[b] < far[a] and near[a] < far[b]:
                    hits[a] += 1
                    met[b] += 1
                    only[a] = b
    for a in range(n):
        follows[a] = only[a] if hits[a] == 1 and met[only[a]] == 1 else -1


@njit(cache=True, nogil=True)
def _stairs(
    edge: Ints, chain: Ints, length: int, first: int, cell: float, step: float, tolerance: float, grow: int,
    pad: float, angle: Floats, reach: Floats,
) -> int:  # fmt: skip
    """Walk one side of a strip; writes corners and returns how many."""
    out = 0
    start = 0
    around = int(np.round(2.0 * np.pi / step))
    low = high = edge[chain[0]] * cell
    for i in range(1, length + 1):
        if i < length:
            value = edge[chain[i]] * cell
            if max(high, value) - min(low, value) <= tolerance and (i - start) * step < 0.2:
                low, high = min(low, value), max(high, value)
                continue
        level = high if grow > 0 else low
        pieces = max(1, int(np.round((i - start) * step / 0.035)))
        a0 = (first + start - 0.5 - (pad if start == 0 and first > 0 else 0.0)) * step
        a1 = (first + i - 0.5 + (pad if i == length and first + length < around else 0.0)) * step
        for k in range(pieces + 1):
            angle[out] = a0 + (a1 - a0) * k / pieces
            reach[out] = level
            out += 1
        if i < length:
            start, low, high = i, edge[chain[i]] * cell, edge[chain[i]] * cell
    return out


@njit(cache=True, nogil=True)
def rings_kernel(
    row: Ints, near: Ints, far: Ints, what: Ints, follows: Ints, cell: float, step: float, tolerance: float,
    pad: float, east: float, north: float, least_cells: int, points: Floats, ring_start: Ints, ring_what: Ints,
) -> int:  # fmt: skip
    """points (cap, 2), ring_start (cap,), ring_what (cap,) filled in place; returns the number of rings.

    A strip of one row with fewer than ``least_cells`` cells is left out.
    """
    n = row.shape[0]
    begins = np.ones(n, dtype=np.bool_)
    for a in range(n):
        if follows[a] >= 0:
            begins[follows[a]] = False
    chain = np.empty(n, dtype=np.int64)
    angle = np.empty(8 * n + 16, dtype=np.float64)
    reach = np.empty(8 * n + 16, dtype=np.float64)
    rings = 0
    at = 0
    for a in range(n):
        if not begins[a]:
            continue
        length = 0
        b = a
        while b >= 0:
            chain[length] = b
            length += 1
            b = follows[b]
        if length == 1 and far[a] - near[a] < least_cells:
            continue
        ring_start[rings] = at
        ring_what[rings] = what[a]
        k = _stairs(near, chain, length, row[a], cell, step, tolerance, -1, pad, angle, reach)
        for i in range(k):
            points[at, 0] = east + reach[i] * np.sin(angle[i])
            points[at, 1] = north + reach[i] * np.cos(angle[i])
            at += 1
        k = _stairs(far, chain, length, row[a], cell, step, tolerance, 1, pad, angle, reach)
        for i in range(k - 1, -1, -1):
            points[at, 0] = east + reach[i] * np.sin(angle[i])
            points[at, 1] = north + reach[i] * np.cos(angle[i])
            at += 1
        rings += 1
    ring_start[rings] = at
    return rings
