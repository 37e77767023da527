"""The compiled inner loops of the tracker.  `moonless.track.reference` says in plain NumPy what each must give.

Shapes: N tracks, M = 4 motion models (still, straight, steered, turning), J plots, Q candidate pairs; a state of 8:
east, north, velocity east, velocity north, turn rate, and the three errors shared by a turn's plots as this track sees
them: heading, own position east, own position north.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

N_STATE = 8
SHARED_AT = 5
N_SHARED = 3
N_MODEL = 4
STILL, STRAIGHT, STEERED, TURNING = 0, 1, 2, 3


@njit(cache=True, nogil=True)
def _lives(model: int, a: int) -> bool:
    """Return whether a model has state ``a`` at all."""
    if a < 2 or a >= SHARED_AT:
        return True
    if a == 4:
        return model == TURNING
    return model != STILL


@njit(cache=True, nogil=True)
def _mixed(
    x: Floats, p: Floats, mu: Floats, t: Floats, floor: float, speed_var: float, turn_var: float,
    xm: Floats, pm: Floats, out_mu: Floats,
) -> None:  # fmt: skip
    """Mix the models of one track into ``xm, pm`` ahead of prediction."""
    share = np.empty(N_MODEL)
    entered = np.zeros((N_MODEL, N_STATE))
    for k in range(N_MODEL):
        total = 0.0
        best = 0.0
        for j in range(N_MODEL):
            share[j] = t[j, k] * mu[j]
            total += share[j]
            if share[j] > best:
                best = share[j]
        out_mu[k] = total
        if total <= 0.0:
            for a in range(N_STATE):
                xm[k, a] = x[k, a]
                for b in range(N_STATE):
                    pm[k, a, b] = p[k, a, b]
            continue
        kept = 0.0
        for j in range(N_MODEL):
            if share[j] < floor * total and share[j] < best:
                share[j] = 0.0
            kept += share[j]
        for a in range(N_STATE):
            xm[k, a] = 0.0
            for b in range(N_STATE):
                pm[k, a, b] = 0.0
        for j in range(N_MODEL):
            w = share[j] / kept
            if w == 0.0:
                continue
            for a in range(N_STATE):
                entered[j, a] = x[j, a] if _lives(k, a) else 0.0
                if a == 4 and j != TURNING:
                    entered[j, a] = 0.0
                xm[k, a] += w * entered[j, a]
        for j in range(N_MODEL):
            w = share[j] / kept
            if w == 0.0:
                continue
            for a in range(N_STATE):
                if not _lives(k, a):
                    continue
                da = entered[j, a] - xm[k, a]
                for b in range(N_STATE):
                    if _lives(k, b):
                        pm[k, a, b] += w * (p[j, a, b] + da * (entered[j, b] - xm[k, b]))
            # What the model left did not know at all, the model entered must doubt.
            if j == STILL and k != STILL:
                pm[k, 2, 2] += w * speed_var
                pm[k, 3, 3] += w * speed_var
            if k == TURNING and j != TURNING:
                pm[k, 4, 4] += w * turn_var


@njit(cache=True, nogil=True)
def _move(
    x: Floats, p: Floats, model: int, dt: float, walk: float, q: float, q_turn: float, decay: Floats, fresh: Floats
) -> None:
    """Predict one model of one track by ``dt`` seconds, in place."""
    f = np.eye(N_STATE)
    for s in range(N_SHARED):
        f[SHARED_AT + s, SHARED_AT + s] = decay[s]
        x[SHARED_AT + s] *= decay[s]
    if model != STILL:
        f[0, 2] = f[1, 3] = dt
    if model == TURNING:
        ve, vn, w = x[2], x[3], x[4]
        # Turn rate is to starboard: clockwise, east of north.
        if abs(w) * dt < 1e-6:
            # Second-order limits of the coordinated turn as the rate goes to zero.
            f[0, 4] = 0.5 * dt * dt * vn
            f[1, 4] = -0.5 * dt * dt * ve
            f[2, 4] = dt * vn
            f[3, 4] = -dt * ve
            x[0] += dt * ve
            x[1] += dt * vn
        else:
            sw, cw = math.sin(w * dt), math.cos(w * dt)
            a = sw / w
            b = (1.0 - cw) / w
            da = (w * dt * cw - sw) / (w * w)
            db = (w * dt * sw - 1.0 + cw) / (w * w)
            f[0, 2], f[0, 3] = a, b
            f[1, 2], f[1, 3] = -b, a
            f[2, 2], f[2, 3] = cw, sw
            f[3, 2], f[3, 3] = -sw, cw
            f[0, 4] = da * ve + db * vn
            f[1, 4] = -db * ve + da * vn
            f[2, 4] = dt * (-sw * ve + cw * vn)
            f[3, 4] = dt * (-cw * ve - sw * vn)
            x[0] += a * ve + b * vn
            x[1] += -b * ve + a * vn
            x[2] = cw * ve + sw * vn
            x[3] = -sw * ve + cw * vn
    else:
        x[0] += dt * x[2]
        x[1] += dt * x[3]
    fp = np.zeros((N_STATE, N_STATE))
    for a in range(N_STATE):
        for b in range(N_STATE):
            if f[a, b] != 0.0:
                for d in range(N_STATE):
                    fp[a, d] += f[a, b] * p[b, d]
    for a in range(N_STATE):
        for b in range(N_STATE):
            p[a, b] = 0.0
    for b in range(N_STATE):
        for d in range(N_STATE):
            if f[b, d] != 0.0:
                for a in range(N_STATE):
                    p[a, b] += fp[a, d] * f[b, d]
    if model == STILL:
        p[0, 0] += walk * dt
        p[1, 1] += walk * dt
    else:
        for axis in range(2):
            p[axis, axis] += q * dt * dt * dt / 3.0
            p[axis, axis + 2] += q * dt * dt / 2.0
            p[axis + 2, axis] += q * dt * dt / 2.0
            p[axis + 2, axis + 2] += q * dt
    if model == TURNING:
        p[4, 4] += q_turn * dt
    for s in range(N_SHARED):
        p[SHARED_AT + s, SHARED_AT + s] += fresh[s]


@njit(cache=True, nogil=True)
def predict_kernel(
    x: Floats, p: Floats, mu: Floats, dt: float, t: Floats, floor: float, speed_var: float, turn_var: float,
    walk: float, q: Floats, q_turn: float, decay: Floats, fresh: Floats,
) -> None:  # fmt: skip
    """Mix and predict all tracks in place.

    ``q``: (4,) acceleration by model; ``decay``, ``fresh``: (3,) what is kept of the shared errors, and the variance
    that comes new, in this step.
    """
    xm = np.empty((N_MODEL, N_STATE))
    pm = np.empty((N_MODEL, N_STATE, N_STATE))
    new_mu = np.empty(N_MODEL)
    for i in range(x.shape[0]):
        _mixed(x[i], p[i], mu[i], t, floor, speed_var, turn_var, xm, pm, new_mu)
        for k in range(N_MODEL):
            _move(xm[k], pm[k], k, dt, walk, q[k], q_turn, decay, fresh)
            mu[i, k] = new_mu[k]
            for a in range(N_STATE):
                x[i, k, a] = xm[k, a]
                for b in range(N_STATE):
                    p[i, k, a, b] = pm[k, a, b]


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
def pairs_kernel(
    x: Floats, p: Floats, mu: Floats, place: Floats, noise: Floats, own: Floats, ahead: Floats, shared: Floats,
    blend: Floats, gate: float,
) -> tuple[Ints, Ints, Floats]:  # fmt: skip
    """Return (track (Q,), plot (Q,), likelihood (Q, M)) of every pair that passes the gate in some model.

    Pairs come track by track.  Likelihoods are densities per square metre; a model outside its gate has its own
    small value, not zero, so that evidence against it counts.  ``shared`` (3, 3), what the shared errors may be at the
    most, only serves to pass over far pairs quickly.
    """
    n, j_n = x.shape[0], place.shape[0]
    reach = np.empty(j_n)
    wide = 0.0
    for i in range(n):
        wide = max(wide, blend[i, 0, 0] + blend[i, 1, 1])
    for j in range(j_n):
        total = wide + noise[j, 0, 0] + noise[j, 1, 1]
        r2 = (place[j, 0] - own[j, 0]) ** 2 + (place[j, 1] - own[j, 1]) ** 2
        # Twice what the heading error does here: the track's own place may be a little further off than the plot.
        total += 2.0 * (shared[0, 0] * r2 + shared[1, 1] + shared[2, 2])
        reach[j] = math.sqrt(total)
    cap = 16 * (n + j_n) + 64
    track = np.empty(cap, np.int64)
    plot = np.empty(cap, np.int64)
    like = np.empty((cap, N_MODEL))
    found = 0
    row = np.empty(N_MODEL)
    for i in range(n):
        for j in range(j_n):
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
                grown_track[:found] = track
                grown_plot[:found] = plot
                grown_like[:found] = like
                track, plot, like = grown_track, grown_plot, grown_like
            track[found] = i
            plot[found] = j
            for k in range(N_MODEL):
                like[found, k] = row[k]
            found += 1
    return track[:found].copy(), plot[:found].copy(), like[:found].copy()


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
def density_kernel(place: Floats, reach: Floats, stray: Floats, weight: Floats) -> Floats:
    """Return (J,) weight of strays (K, 2) per square metre within ``reach`` (J,) of each place (J, 2)."""
    out = np.zeros(place.shape[0])
    for j in range(place.shape[0]):
        total = 0.0
        limit = reach[j] * reach[j]
        for k in range(stray.shape[0]):
            d0 = place[j, 0] - stray[k, 0]
            d1 = place[j, 1] - stray[k, 1]
            if d0 * d0 + d1 * d1 <= limit:
                total += weight[k]
        out[j] = total / (math.pi * limit)
    return out


@njit(cache=True, nogil=True)
def neighbours_kernel(
    place: Floats,
    exists: Floats,
    real: Bools,
    length: Floats,
    own: Floats,
    beam: float,
    pulse: float,
    most: float,
    hide: float,
) -> tuple[Floats, Floats]:
    """Return (seen (N,), blend (N, 2, 2)): what other tracks do to the seeing of each.

    ``seen``: probability that a track gives a plot of its own, as far as others hinder it: two echoes closer than
    beam and pulse run into one (Koch and van Keuk 1997: exp(-ln 2 (dr^2 / pulse^2 + da^2 / beam^2))), at most
    ``most``; and a hull nearer on the same bearing hides what is behind with probability ``hide``.
    ``blend``: how far the one common plot of such a pair may lie from either, as a covariance.
    Only tracks that are ``real`` hinder and are excused: a doubtful one must earn its own plots.
    """
    n = place.shape[0]
    seen = np.ones(n)
    blend = np.zeros((n, 2, 2))
    distance = np.empty(n)
    azimuth = np.empty(n)
    for i in range(n):
        d0, d1 = place[i, 0] - own[0], place[i, 1] - own[1]
        distance[i] = math.sqrt(d0 * d0 + d1 * d1)
        azimuth[i] = math.atan2(d0, d1)
    for i in range(n):
        if not real[i]:
            continue
        for k in range(n):
            if k == i or not real[k]:
                continue
            dr = distance[i] - distance[k]
            da = abs(azimuth[i] - azimuth[k])
            if da > math.pi:
                da = 2.0 * math.pi - da
            u = (dr / pulse) ** 2 + (da / beam) ** 2
            if u < 10.0:
                joined = most * exists[k] * math.exp(-math.log(2.0) * u)
                seen[i] *= 1.0 - joined
                d0, d1 = place[k, 0] - place[i, 0], place[k, 1] - place[i, 1]
                blend[i, 0, 0] += 0.25 * joined * d0 * d0
                blend[i, 1, 1] += 0.25 * joined * d1 * d1
                blend[i, 0, 1] += 0.25 * joined * d0 * d1
                blend[i, 1, 0] += 0.25 * joined * d0 * d1
            half = 0.5 * length[k]
            if dr > half and half > 0.0 and da * distance[k] < half:
                seen[i] *= 1.0 - hide * exists[k]
    return seen, blend
