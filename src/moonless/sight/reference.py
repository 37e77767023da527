"""Readable twin of the compiled kernel of this room."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU

Floats = NDArray[np.float64]


def crossings(u1: Floats, v1: Floats, u2: Floats, v2: Floats, n_line: int) -> list[list[float]]:
    """Return, for each line of sight, the ranges at which it meets the edges, nearest first.

    Line i looks at angle ``i * 2 pi / n_line`` from the u axis towards the v axis: with u north and v east that is a
    true bearing, with u ahead and v to the right a bearing from the bow.  Ends of edges are metres from the eye.
    """
    step = TAU / n_line
    found: list[list[float]] = [[] for _ in range(n_line)]
    for a, b, p, q in zip(u1, v1, u2, v2, strict=True):
        # An edge takes the lines of the half-open interval between its ends, each end by its own angle alone, as the
        # edge that shares the corner has it: a line through a shared corner crosses once, and in or out by parity
        # holds.
        first, last = sorted((math.ceil(math.atan2(b, a) % TAU / step), math.ceil(math.atan2(q, p) % TAU / step)))
        turn = abs(math.atan2(b, a) % TAU - math.atan2(q, p) % TAU)
        # Half a turn and more between them: the edge passes the u axis, the other way round.
        lines = range(first, last) if turn <= math.pi else range(last, first + n_line)
        for i in lines:
            c, s = math.cos(i * step), math.sin(i * step)
            # Which side of the line each end lies on; and how far out the edge crosses it.
            left, right = c * b - s * a, c * q - s * p
            if left == right:
                continue
            share = left / (left - right)
            along = (a * c + b * s) + share * ((p * c + q * s) - (a * c + b * s))
            if along > 0.0:
                found[i % n_line].append(float(along))
    return [sorted(ranges) for ranges in found]
