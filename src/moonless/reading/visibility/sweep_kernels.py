"""Compiled line of sight from the boat over charted edges; `reference.sweep` is the definition."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True, nogil=True)
def sweep_kernel(
    edges: NDArray[np.float64],
    own_east: float,
    own_north: float,
    n_az: int,
    max_range: float,
    ranges: NDArray[np.float64],
    counts: NDArray[np.int64],
) -> None:
    """edges (m, 4) float64 east/north pairs in; ranges (n_az, cap) and counts (n_az,) int64 filled in place."""
    step = 2.0 * math.pi / n_az
    cap = ranges.shape[1]
    for k in range(edges.shape[0]):
        x1 = edges[k, 0] - own_east
        y1 = edges[k, 1] - own_north
        x2 = edges[k, 2] - own_east
        y2 = edges[k, 3] - own_north
        a1, a2 = math.atan2(x1, y1), math.atan2(x2, y2)
        turn = a2 - a1
        if turn >= math.pi:
            turn -= 2.0 * math.pi
        elif turn < -math.pi:
            turn += 2.0 * math.pi
        low, high = (a1, a2) if turn >= 0.0 else (a2, a1)
        first = math.ceil(low / step)
        last = math.ceil(high / step) + (n_az if high < low else 0)
        for i in range(first, last):
            s = math.sin(i * step)
            c = math.cos(i * step)
            c1 = x1 * c - y1 * s
            c2 = x2 * c - y2 * s
            if c1 == c2:
                continue
            t = c1 / (c1 - c2)
            r = (x1 + t * (x2 - x1)) * s + (y1 + t * (y2 - y1)) * c
            row = i % n_az
            if not 0.0 < r < max_range:
                continue
            if counts[row] < cap:
                ranges[row, counts[row]] = r
                counts[row] += 1
            else:
                # Full: the nearest are the ones that count.
                worst = np.argmax(ranges[row])
                if r < ranges[row, worst]:
                    ranges[row, worst] = r
    # A ray crosses few edges, and the library's own sort takes a second to compile.
    for row in range(n_az):
        for i in range(1, counts[row]):
            r = ranges[row, i]
            j = i
            while j > 0 and ranges[row, j - 1] > r:
                ranges[row, j] = ranges[row, j - 1]
                j -= 1
            ranges[row, j] = r
