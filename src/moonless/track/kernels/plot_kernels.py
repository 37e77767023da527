"""Compiled: plots held against tracks, and folded into them.  `moonless.track.kernels.reference` is the definition.

Shapes: N tracks, M = 4 motion models, J plots, Q candidate pairs; the state of 8 as `_motion_kernels` has it.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Written again here, not imported: a compiled cache looks at its own file alone for changes.
N_STATE = 8
N_MODEL = 4


@njit(cache=True, nogil=True)
def _seen(p: Floats, ahead: float, j0: float, j1: float, a: int) -> tuple[float, float]:
    """Return row ``a`` of P H^T, for H = [I, ahead I, 0, j, I] with j = (j0, j1) what a radian of heading moves."""
    return (
        p[a, 0] + ahead * p[a, 2] + p[a, 5] * j0 + p[a, 6],
        p[a, 1] + ahead * p[a, 3] + p[a, 5] * j1 + p[a, 7],
    )


@njit(cache=True, nogil=True)
def _innovation(
    x: Floats, p: Floats, ahead: float, own: Floats, noise: Floats, blend: Floats
) -> tuple[float, float, float]:
    """Return (S00, S01, S11), S = H P H^T + noise + blend, of a plot against one model of one track.

    What a radian of heading moves is taken where the track is, not where the plot is: a Jacobian that shook with the
    plot's own noise would teach the filter a heading that it cannot see.
    """
    j0, j1 = x[1] - own[1], own[0] - x[0]
    a0, a1 = _seen(p, ahead, j0, j1, 0)
    _, b1 = _seen(p, ahead, j0, j1, 1)
    if ahead != 0.0:
        c0, c1 = _seen(p, ahead, j0, j1, 2)
        _, d1 = _seen(p, ahead, j0, j1, 3)
        a0 += ahead * c0
        a1 += ahead * c1
        b1 += ahead * d1
    h0, h1 = _seen(p, ahead, j0, j1, 5)
    e0, e1 = _seen(p, ahead, j0, j1, 6)
    _, n1 = _seen(p, ahead, j0, j1, 7)
    return (
        a0 + j0 * h0 + e0 + noise[0, 0] + blend[0, 0],
        a1 + j0 * h1 + e1 + noise[0, 1] + blend[0, 1],
        b1 + j1 * h1 + n1 + noise[1, 1] + blend[1, 1],
    )


@njit(cache=True, nogil=True)
def _off(x: Floats, place: Floats, ahead: float, own: Floats) -> tuple[float, float]:
    """Return the plot's place less where one model of one track would have it."""
    return (
        place[0] - x[0] - ahead * x[2] - (x[1] - own[1]) * x[5] - x[6],
        place[1] - x[1] - ahead * x[3] - (own[0] - x[0]) * x[5] - x[7],
    )


@njit(cache=True, nogil=True)
def _by_first(place: Floats) -> tuple[Ints, Floats]:
    """Return the order of place (J, 2) by its first column, and that column so ordered; Shell's sort, gaps of Ciura."""
    n = place.shape[0]
    order = np.arange(n)
    east = np.empty(n)
    for j in range(n):
        east[j] = place[j, 0]
    for gap in (1750, 701, 301, 132, 57, 23, 10, 4, 1):
        for i in range(gap, n):
            value, index, j = east[i], order[i], i
            while j >= gap and east[j - gap] > value:
                east[j], order[j] = east[j - gap], order[j - gap]
                j -= gap
            east[j], order[j] = value, index
    return order, east


@njit(cache=True, nogil=True)
def _first_not_below(rising: Floats, value: float) -> int:
    """Return where ``value`` would stand in a rising array, before its equals."""
    low, high = 0, rising.shape[0]
    while low < high:
        middle = (low + high) // 2
        if rising[middle] < value:
            low = middle + 1
        else:
            high = middle
    return low


@njit(cache=True, nogil=True)
def pairs_kernel(
    x: Floats, p: Floats, mu: Floats, place: Floats, noise: Floats, own: Floats, ahead: Floats, shared: Floats,
    blend: Floats, gate: float,
) -> tuple[Ints, Ints, Floats]:  # fmt: skip
    """Return (track (Q,), plot (Q,), likelihood (Q, M)) of every pair that passes the gate in some model.

    Pairs come track by track, in no order within one.  Likelihoods are densities per square metre; a model outside its
    gate has its own small value, not zero, so that evidence against it counts.  ``shared`` (3, 3), what the shared
    errors may be at the most, only serves to pass over far pairs quickly.
    """
    n, j_n = x.shape[0], place.shape[0]
    reach = np.empty(j_n)
    wide = 0.0
    for i in range(n):
        wide = max(wide, blend[i, 0, 0] + blend[i, 1, 1])
    widest, longest, south, north = 0.0, 0.0, math.inf, -math.inf
    for j in range(j_n):
        total = wide + noise[j, 0, 0] + noise[j, 1, 1]
        r2 = (place[j, 0] - own[j, 0]) ** 2 + (place[j, 1] - own[j, 1]) ** 2
        # Twice what the heading error does here: the track's own place may be a little further off than the plot.
        total += 2.0 * (shared[0, 0] * r2 + shared[1, 1] + shared[2, 2])
        reach[j] = math.sqrt(total)
        widest, longest = max(widest, reach[j]), max(longest, abs(ahead[j]))
        south, north = min(south, own[j, 1]), max(north, own[j, 1])
    # Written out, as are the searches and copies below: the library's own would take seconds to compile at first start.
    order, east = _by_first(place)
    cap = 16 * (n + j_n) + 64
    track = np.empty(cap, np.int64)
    plot = np.empty(cap, np.int64)
    like = np.empty((cap, N_MODEL))
    found = 0
    row = np.empty(N_MODEL)
    for i in range(n):
        # Only plots between these eastings can pass the gate: what `_off` takes away, and the gate, at their largest.
        low, high = math.inf, -math.inf
        for k in range(N_MODEL):
            if mu[i, k] < 1e-3:
                continue
            spread = math.sqrt(p[i, k, 0, 0] + p[i, k, 1, 1]) + longest * math.sqrt(p[i, k, 2, 2] + p[i, k, 3, 3])
            lever = max(abs(x[i, k, 1] - south), abs(x[i, k, 1] - north))
            half = math.sqrt(gate) * (spread + widest) + longest * abs(x[i, k, 2]) + lever * abs(x[i, k, 5])
            low = min(low, x[i, k, 0] + x[i, k, 6] - half)
            high = max(high, x[i, k, 0] + x[i, k, 6] + half)
        for at in range(_first_not_below(east, low), j_n):
            if east[at] > high:
                break
            j = order[at]
            near = False
            a = ahead[j]
            for k in range(N_MODEL):
                if mu[i, k] < 1e-3:
                    continue
                d0, d1 = _off(x[i, k], place[j], a, own[j])
                # Standard deviations add at the worst; the trace bounds the largest variance.
                spread = math.sqrt(p[i, k, 0, 0] + p[i, k, 1, 1])
                if a != 0.0:
                    spread += abs(a) * math.sqrt(p[i, k, 2, 2] + p[i, k, 3, 3])
                limit = spread + reach[j]
                if d0 * d0 + d1 * d1 <= gate * limit * limit:
                    near = True
                    break
            if not near:
                continue
            inside = False
            for k in range(N_MODEL):
                s00, s01, s11 = _innovation(x[i, k], p[i, k], a, own[j], noise[j], blend[i])
                det = s00 * s11 - s01 * s01
                d0, d1 = _off(x[i, k], place[j], a, own[j])
                d2 = (s11 * d0 * d0 - 2.0 * s01 * d0 * d1 + s00 * d1 * d1) / det
                if d2 <= gate and mu[i, k] >= 1e-3:
                    inside = True
                row[k] = math.exp(-0.5 * d2) / (2.0 * math.pi * math.sqrt(det))
            if not inside:
                continue
            if found == cap:
                cap *= 2
                grown_track = np.empty(cap, np.int64)
                grown_plot = np.empty(cap, np.int64)
                grown_like = np.empty((cap, N_MODEL))
                for q in range(found):
                    grown_track[q], grown_plot[q] = track[q], plot[q]
                    for k in range(N_MODEL):
                        grown_like[q, k] = like[q, k]
                track, plot, like = grown_track, grown_plot, grown_like
            track[found] = i
            plot[found] = j
            for k in range(N_MODEL):
                like[found, k] = row[k]
            found += 1
    return track[:found].copy(), plot[:found].copy(), like[:found].copy()


@njit(cache=True, nogil=True)
def update_kernel(
    x: Floats, p: Floats, mu: Floats, track: Ints, plot: Ints, like: Floats, share: Floats, none: Floats,
    place: Floats, noise: Floats, own: Floats, ahead: Floats, blend: Floats,
) -> None:  # fmt: skip
    """Fold the plots into all tracks in place, each weighed by its share.

    ``share`` (Q,) and ``none`` (N,) sum to one over each track.  Pairs must come track by track.
    """
    n, q = x.shape[0], track.shape[0]
    at = 0
    old_x = np.empty(N_STATE)
    old_p = np.empty((N_STATE, N_STATE))
    gain = np.empty((N_STATE, 2))
    dx = np.empty(N_STATE)
    mean = np.empty(N_STATE)
    for i in range(n):
        begin = at
        while at < q and track[at] == i:
            at += 1
        if at == begin:
            continue
        new_mu = np.zeros(N_MODEL)
        for m in range(N_MODEL):
            weight0 = none[i] * mu[i, m]
            total = weight0
            for k in range(begin, at):
                mixed = 0.0
                for b in range(N_MODEL):
                    mixed += mu[i, b] * like[k, b]
                if mixed > 0.0:
                    total += share[k] * mu[i, m] * like[k, m] / mixed
            new_mu[m] = total
            if total <= 1e-300:
                continue
            for a in range(N_STATE):
                old_x[a] = x[i, m, a]
                mean[a] = 0.0
                for b in range(N_STATE):
                    old_p[a, b] = p[i, m, a, b]
                    p[i, m, a, b] = old_p[a, b] * weight0 / total
            for k in range(begin, at):
                mixed = 0.0
                for b in range(N_MODEL):
                    mixed += mu[i, b] * like[k, b]
                if mixed <= 0.0:
                    continue
                w = share[k] * mu[i, m] * like[k, m] / mixed / total
                if w <= 0.0:
                    continue
                j = plot[k]
                s00, s01, s11 = _innovation(old_x, old_p, ahead[j], own[j], noise[j], blend[i])
                det = s00 * s11 - s01 * s01
                d0, d1 = _off(old_x, place[j], ahead[j], own[j])
                j0, j1 = old_x[1] - own[j, 1], own[j, 0] - old_x[0]
                for a in range(N_STATE):
                    g0, g1 = _seen(old_p, ahead[j], j0, j1, a)
                    gain[a, 0] = (g0 * s11 - g1 * s01) / det
                    gain[a, 1] = (g1 * s00 - g0 * s01) / det
                    dx[a] = gain[a, 0] * d0 + gain[a, 1] * d1
                    mean[a] += w * dx[a]
                for a in range(N_STATE):
                    ks0 = gain[a, 0] * s00 + gain[a, 1] * s01
                    ks1 = gain[a, 0] * s01 + gain[a, 1] * s11
                    for b in range(N_STATE):
                        p[i, m, a, b] += w * (old_p[a, b] - ks0 * gain[b, 0] - ks1 * gain[b, 1] + dx[a] * dx[b])
            for a in range(N_STATE):
                x[i, m, a] = old_x[a] + mean[a]
                for b in range(N_STATE):
                    p[i, m, a, b] -= mean[a] * mean[b]
            for a in range(N_STATE):
                for b in range(a):
                    half = 0.5 * (p[i, m, a, b] + p[i, m, b, a])
                    p[i, m, a, b] = p[i, m, b, a] = half
        total = 0.0
        for m in range(N_MODEL):
            total += new_mu[m]
        for m in range(N_MODEL):
            mu[i, m] = new_mu[m] / total


@njit(cache=True, nogil=True)
def mixture_kernel(x: Floats, p: Floats, mu: Floats, floor: float) -> tuple[Floats, Floats]:
    """Return (N, 8) and (N, 8, 8): the models of each track mixed, the spread of their means included.

    Models with a share below ``floor`` do not move the mean, but their spread about it still counts.
    """
    n = x.shape[0]
    mean = np.zeros((n, N_STATE))
    cov = np.zeros((n, N_STATE, N_STATE))
    d = np.empty(N_STATE)
    for i in range(n):
        kept = 0.0
        for m in range(N_MODEL):
            if mu[i, m] >= floor:
                kept += mu[i, m]
        kept = max(kept, 1e-300)
        for m in range(N_MODEL):
            if mu[i, m] >= floor:
                for a in range(N_STATE):
                    mean[i, a] += mu[i, m] / kept * x[i, m, a]
        for m in range(N_MODEL):
            w = mu[i, m]
            if w == 0.0:
                continue
            for a in range(N_STATE):
                d[a] = x[i, m, a] - mean[i, a]
            for a in range(N_STATE):
                for b in range(N_STATE):
                    cov[i, a, b] += w * (p[i, m, a, b] + d[a] * d[b])
    return mean, cov


@njit(cache=True, nogil=True)
def surprise_kernel(
    x: Floats, p: Floats, mu: Floats, taken: Ints, place: Floats, noise: Floats, own: Floats, ahead: Floats
) -> Floats:
    """Return (N,) squared Mahalanobis distance of plot ``taken`` (N,) from each track's mixture; NaN where it is -1."""
    n = x.shape[0]
    out = np.full(n, np.nan)
    none = np.zeros((2, 2))
    for i in range(n):
        j = taken[i]
        if j < 0:
            continue
        mean, cov = mixture_kernel(x[i : i + 1], p[i : i + 1], mu[i : i + 1], 0.0)
        s00, s01, s11 = _innovation(mean[0], cov[0], ahead[j], own[j], noise[j], none)
        d0, d1 = _off(mean[0], place[j], ahead[j], own[j])
        out[i] = (s11 * d0 * d0 - 2.0 * s01 * d0 * d1 + s00 * d1 * d1) / (s00 * s11 - s01 * s01)
    return out
