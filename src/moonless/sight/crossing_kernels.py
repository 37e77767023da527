"""Lines of sight over straight edges, compiled."""

# Compiled: what each argument is stands in the docstring, where numba does not need it.
# mypy: disable-error-code="no-untyped-def, no-untyped-call, untyped-decorator"
# ruff: noqa: SIM108, RUF046
from __future__ import annotations

import math

import numpy as np
from numba import njit

EARLY = 1e-30  # a smaller denominator is that of parallel lines


@njit(cache=True, nogil=True)
def crossings_kernel(u1, v1, u2, v2, n_line):
    """Where straight edges cross the lines of sight; `reference.crossings` is the definition.

    u*, v* (n_edge,) float64, metres from the eye.  Returns start (n_line + 1,) int64, range (k,) float64 and edge (k,)
    int32: line i owns start[i]:start[i + 1], nearest first.
    """
    n_edge = u1.size
    step = 2.0 * math.pi / n_line
    # A vertex is given to a line once, as a whole number, so two edges that share it can never both take or both
    # miss the same line: the count of crossings stays even.
    first = np.empty(n_edge, dtype=np.int32)
    last = np.empty(n_edge, dtype=np.int32)
    count = np.zeros(n_line + 1, dtype=np.int64)
    for e in range(n_edge):
        a1 = math.atan2(v1[e], u1[e])
        a2 = math.atan2(v2[e], u2[e])
        if a1 < 0.0:
            a1 += 2.0 * math.pi
        if a2 < 0.0:
            a2 += 2.0 * math.pi
        c1 = int(math.ceil(a1 / step))
        c2 = int(math.ceil(a2 / step))
        if abs(a2 - a1) <= math.pi:
            lo, hi = min(c1, c2), max(c1, c2)
        else:  # through the u axis
            lo, hi = max(c1, c2), min(c1, c2) + n_line
        first[e] = lo
        last[e] = hi
        for k in range(lo, hi):
            count[k % n_line + 1] += 1
    # Loops, not array functions: those take a second to compile on a machine that has never run this.
    start = np.empty(n_line + 1, dtype=np.int64)
    total = 0
    for i in range(n_line + 1):
        total += count[i]
        start[i] = total
    found = np.empty(total)
    edge = np.empty(total, dtype=np.int32)
    fill = np.empty(n_line, dtype=np.int64)
    cosine = np.empty(n_line)
    sine = np.empty(n_line)
    for i in range(n_line):
        fill[i] = start[i]
        cosine[i] = math.cos(i * step)
        sine[i] = math.sin(i * step)
    for e in range(n_edge):
        du = u2[e] - u1[e]
        dv = v2[e] - v1[e]
        cross = u1[e] * dv - v1[e] * du
        for k in range(first[e], last[e]):
            i = k % n_line
            below = cosine[i] * dv - sine[i] * du
            if abs(below) > EARLY:
                r = cross / below
            else:
                r = math.hypot(u1[e], v1[e])
            # Sorted as it is filled: a line meets few edges.
            p = fill[i]
            fill[i] = p + 1
            while p > start[i] and found[p - 1] > r:
                found[p] = found[p - 1]
                edge[p] = edge[p - 1]
                p -= 1
            found[p] = max(r, 0.0)
            edge[p] = e
    return start, found, edge
