"""Readable twins of the compiled kernels of this room."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def sweep(edges: Floats, own_east: float, own_north: float, n_az: int, max_range: float) -> list[list[float]]:
    """Return, for each true bearing ``i * 2 pi / n_az``, the ranges at which it crosses an edge, nearest first.

    ``edges``: (m, 4) metres, east and north of both ends.  An edge takes the bearings of the half-open interval
    between its ends, so that a ray through a shared corner crosses once and in-or-out by parity holds.
    """
    step = 2.0 * math.pi / n_az
    found: list[list[float]] = [[] for _ in range(n_az)]
    for x1, y1, x2, y2 in edges - np.array([own_east, own_north, own_east, own_north]):
        start, end = math.atan2(x1, y1), math.atan2(x2, y2)
        turn = end - start
        turn = turn - 2 * math.pi if turn >= math.pi else turn + 2 * math.pi if turn < -math.pi else turn
        # Each end by its own angle alone, as the edge that shares the corner has it: a corner that lies on a bearing to
        # the last digit is else met twice or not at all.
        low, high = (start, end) if turn >= 0.0 else (end, start)
        around = n_az if high < low else 0
        for i in range(math.ceil(low / step), math.ceil(high / step) + around):
            s, c = math.sin(i * step), math.cos(i * step)
            side1, side2 = x1 * c - y1 * s, x2 * c - y2 * s
            if side1 == side2:
                continue
            t = side1 / (side1 - side2)
            r = (x1 + t * (x2 - x1)) * s + (y1 + t * (y2 - y1)) * c
            if 0.0 < r < max_range:
                found[i % n_az].append(r)
    return [sorted(ranges) for ranges in found]
