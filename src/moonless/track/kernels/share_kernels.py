"""Compiled: plots shared out among tracks.  `moonless.track.kernels.reference` is the definition.

Shapes: N tracks, J plots, Q candidate pairs.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@njit(cache=True, nogil=True)
def marginals_kernel(
    track: Ints, plot: Ints, w: Floats, w0: Floats, n_plots: int, turns: int, tolerance: float
) -> tuple[Floats, Floats, Floats]:
    """Return (share (Q,), none (N,), fresh (J,)): marginal association probabilities by belief propagation."""
    n, q = w0.shape[0], w.shape[0]
    nu = np.ones(q)
    mu = np.zeros(q)
    for _ in range(turns):
        s = w0.copy()
        for k in range(q):
            s[track[k]] += w[k] * nu[k]
        t = np.ones(n_plots)
        for k in range(q):
            rest = s[track[k]] - w[k] * nu[k]
            mu[k] = w[k] / max(rest, 1e-300)
            t[plot[k]] += mu[k]
        worst = 0.0
        for k in range(q):
            new = 1.0 / max(t[plot[k]] - mu[k], 1.0)
            change = abs(new - nu[k])
            if change > worst:
                worst = change
            nu[k] = new
        if worst < tolerance:
            break
    s = w0.copy()
    for k in range(q):
        s[track[k]] += w[k] * nu[k]
    share = np.empty(q)
    t = np.ones(n_plots)
    for k in range(q):
        share[k] = w[k] * nu[k] / s[track[k]]
        t[plot[k]] += mu[k]
    none = np.empty(n)
    for i in range(n):
        none[i] = w0[i] / s[i]
    fresh = np.empty(n_plots)
    for j in range(n_plots):
        fresh[j] = 1.0 / t[j]
    return share, none, fresh


@njit(cache=True, nogil=True)
def assign_kernel(track: Ints, plot: Ints, gain: Floats, n_tracks: int, n_plots: int, step: float) -> Ints:
    """Return (N,) the pair each track takes in the best joint assignment, -1 for none, by auction.

    ``gain``: log of pair weight over the weight of taking none; a track may always take none at gain 0.  The sum
    found is within ``n_tracks * step`` of the best (Bertsekas 1988).
    """
    start = np.zeros(n_tracks + 1, np.int64)
    for k in range(track.shape[0]):
        start[track[k] + 1] += 1
    for i in range(n_tracks):
        start[i + 1] += start[i]
    price = np.zeros(n_plots)
    owner = np.full(n_plots, -1, np.int64)
    taken = np.full(n_tracks, -1, np.int64)
    stack = np.empty(n_tracks, np.int64)
    top = 0
    for i in range(n_tracks - 1, -1, -1):
        stack[top] = i
        top += 1
    while top > 0:
        top -= 1
        i = stack[top]
        best, second, at = 0.0, -1e300, -1
        for k in range(start[i], start[i + 1]):
            value = gain[k] - price[plot[k]]
            if value > best:
                second = best
                best = value
                at = k
            elif value > second:
                second = value
        if at < 0:
            continue
        j = plot[at]
        price[j] += best - max(second, 0.0) + step
        if owner[j] >= 0:
            taken[owner[j]] = -1
            stack[top] = owner[j]
            top += 1
        owner[j] = i
        taken[i] = at
    return taken
