"""The tracker's inner loops in plain NumPy: the definition that the files `_*_kernels.py` are held to.

Written to be read, one track or one plot at a time, with whole matrices.  Shapes as there.

Sources
-------
IMM mixing and prediction: Blom and Bar-Shalom, IEEE Trans. AC 33 (1988) 780; filling in what the model left does not
know by the prior of the model entered ("unbiased mixing"): Granstrom, Willett, Bar-Shalom, IEEE Trans. AES 51 (2015).
Coordinated turn: Bar-Shalom, Li, Kirubarajan, Estimation with Applications to Tracking and Navigation (2001), 11.7.
Shared errors as first-order Gauss-Markov states beside each track's own: Bar-Shalom et al. (2001), 8.2.
Mixture update: the probabilistic data association filter, Bar-Shalom and Tse, Automatica 11 (1975) 451.
Marginals by belief propagation: Williams and Lau, IEEE Trans. AES 50 (2014) 2942.
Unresolved pairs: Koch and van Keuk, IEEE Trans. AES 33 (1997) 883.
(All formulas written down from memory of these works.)
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STILL, STRAIGHT, STEERED, TURNING = 0, 1, 2, 3
# Which of (east, north, velocity east, velocity north, turn rate, three shared errors) a model has.
LIVE = np.array([[1, 1, 0, 0, 0, 1, 1, 1], [1, 1, 1, 1, 0, 1, 1, 1], [1, 1, 1, 1, 0, 1, 1, 1], np.ones(8)], dtype=bool)


def mixed(
    x: Floats, p: Floats, mu: Floats, t: Floats, floor: float, speed_var: float, turn_var: float
) -> tuple[Floats, Floats, Floats]:
    """Return (x, p, mu) of one track, (4, ...) each, mixed ahead of prediction.

    Into model k goes model j with weight t[j, k] mu[j]; shares below ``floor`` are dropped unless the largest.
    """
    xm, pm = np.zeros_like(x), np.zeros_like(p)
    joint = t * mu[:, None]
    new_mu = joint.sum(axis=0)
    for k in range(4):
        if new_mu[k] <= 0.0:
            xm[k], pm[k] = x[k], p[k]
            continue
        share = joint[:, k].copy()
        share[(share < floor * new_mu[k]) & (share < share.max())] = 0.0
        share /= share.sum()
        means = np.where(LIVE[k], x, 0.0)
        if k == TURNING:
            # A turn rate is inherited only from a turn.
            means[:TURNING, 4] = 0.0
        both = np.outer(LIVE[k], LIVE[k])
        xm[k] = share @ means
        for j in range(4):
            if share[j] == 0.0:
                continue
            d = means[j] - xm[k]
            cov = np.where(both, p[j] + np.outer(d, d), 0.0)
            if j == STILL and k != STILL:
                cov[2, 2] += speed_var
                cov[3, 3] += speed_var
            if k == TURNING and j != TURNING:
                cov[4, 4] += turn_var
            pm[k] += share[j] * cov
    return xm, pm, new_mu


def turn(state: Floats, dt: float) -> Floats:
    """Return the state (8,) after ``dt`` seconds of turning at its rate, to starboard if positive."""
    e, n, ve, vn, w = state[:5]
    if w == 0.0:
        return np.array([e + dt * ve, n + dt * vn, ve, vn, w, *state[5:]])
    s, c = math.sin(w * dt), math.cos(w * dt)
    bent = 2.0 * math.sin(0.5 * w * dt) ** 2  # 1 - cos, without its cancellation
    east, north = e + (s * ve + bent * vn) / w, n + (s * vn - bent * ve) / w
    return np.array([east, north, c * ve + s * vn, c * vn - s * ve, w, *state[5:]])


def turn_jacobian(state: Floats, dt: float, step: float = 1e-6) -> Floats:
    """Return d turn / d state, (8, 8), by central differences."""
    out = np.empty((8, 8))
    for a in range(8):
        up, down = state.copy(), state.copy()
        up[a] += step
        down[a] -= step
        out[:, a] = (turn(up, dt) - turn(down, dt)) / (2.0 * step)
    return out


def moved(
    x: Floats, p: Floats, model: int, dt: float, walk: float, q: float, q_turn: float, decay: Floats, fresh: Floats
) -> tuple[Floats, Floats]:
    """Return one model of one track predicted by ``dt``: (8,), (8, 8).

    White acceleration of density q: Q = q [dt^3/3 dt^2/2; dt^2/2 dt] on each axis.  Shared errors are first-order
    Gauss-Markov: kept by ``decay``, with ``fresh`` variance new.
    """
    f = np.eye(8)
    new = x.copy()
    if model in (STRAIGHT, STEERED):
        f[0, 2] = f[1, 3] = dt
        new = f @ x
    if model == TURNING:
        f, new = turn_jacobian(x, dt), turn(x, dt)
    keep = np.diag([1, 1, 1, 1, 1, *decay])
    noise = np.zeros((8, 8))
    if model == STILL:
        noise[0, 0] = noise[1, 1] = walk * dt
    else:
        for a in range(2):
            noise[a, a], noise[a, a + 2] = q * dt**3 / 3, q * dt**2 / 2
            noise[a + 2, a], noise[a + 2, a + 2] = q * dt**2 / 2, q * dt
    if model == TURNING:
        noise[4, 4] = q_turn * dt
    noise[5:, 5:] = np.diag(fresh)
    return keep @ new, keep @ f @ p @ f.T @ keep + noise


def measurement(x: Floats, ahead: float, own: Floats) -> Floats:
    """Return H (2, 8) for a plot seen from ``own`` (2,), ``ahead`` seconds after the state ``x`` (8,).

    z = place + ahead velocity + heading error x (north of own, minus east of own) + position error.
    """
    h = np.zeros((2, 8))
    h[0, 0] = h[1, 1] = 1.0
    h[0, 2] = h[1, 3] = ahead
    h[:, 5] = x[1] - own[1], own[0] - x[0]
    h[0, 6] = h[1, 7] = 1.0
    return h


def pairs(
    x: Floats,
    p: Floats,
    mu: Floats,
    place: Floats,
    noise: Floats,
    own: Floats,
    ahead: Floats,
    blend: Floats,
    gate: float,
) -> tuple[Ints, Ints, Floats]:
    """Return (track, plot, likelihood (Q, 4)) of all pairs inside the gate of some model that is alive."""
    track, plot, like = [], [], []
    for i in range(x.shape[0]):
        for j in range(place.shape[0]):
            row, inside = np.empty(4), False
            for k in range(4):
                h = measurement(x[i, k], ahead[j], own[j])
                s = h @ p[i, k] @ h.T + noise[j] + blend[i]
                d = place[j] - h @ x[i, k]
                d2 = d @ np.linalg.solve(s, d)
                inside |= bool(d2 <= gate and mu[i, k] >= 1e-3)
                row[k] = math.exp(-0.5 * d2) / (2 * math.pi * math.sqrt(np.linalg.det(s)))
            if inside:
                track.append(i)
                plot.append(j)
                like.append(row)
    return np.array(track, np.int64), np.array(plot, np.int64), np.array(like).reshape(-1, 4)


def marginals_exact(w: Floats, w0: Floats) -> tuple[Floats, Floats]:
    """Return ((n, j) share, (n,) none) by counting every joint assignment: a plot goes to one track at most.

    ``w`` (n, j) weight of each pair over that of the plot being new or false, ``w0`` (n,) of taking none.
    Exponential in n; the truth that belief propagation is close to.
    """
    n, j_n = w.shape
    share, none, total = np.zeros((n, j_n)), np.zeros(n), 0.0

    def walk(i: int, used: tuple[int, ...], weight: float) -> None:
        nonlocal total
        if i == n:
            total += weight
            for a, b in enumerate(used):
                if b < 0:
                    none[a] += weight
                else:
                    share[a, b] += weight
            return
        walk(i + 1, (*used, -1), weight * float(w0[i]))
        for j in range(j_n):
            if j not in used and w[i, j] > 0.0:
                walk(i + 1, (*used, j), weight * float(w[i, j]))

    walk(0, (), 1.0)
    return share / total, none / total


def marginals(w: Floats, w0: Floats, turns: int, tolerance: float) -> tuple[Floats, Floats, Floats]:
    """Return ((n, j) share, (n,) none, (j,) fresh) by belief propagation on the full matrix ``w`` (n, j)."""
    nu = np.ones_like(w)
    mu = np.zeros_like(w)
    for _ in range(turns):
        reach = w * nu
        mu = w / np.maximum(w0[:, None] + reach.sum(axis=1, keepdims=True) - reach, 1e-300)
        new = 1.0 / np.maximum(1.0 + mu.sum(axis=0, keepdims=True) - mu, 1.0)
        worst = float(np.max(np.abs(new - nu)[w > 0.0], initial=0.0))
        nu = np.where(w > 0.0, new, nu)
        if worst < tolerance:
            break
    total = w0 + (w * nu).sum(axis=1)
    return w * nu / total[:, None], w0 / total, 1.0 / (1.0 + mu.sum(axis=0))


def best_gain(gain: Floats) -> float:
    """Return the largest sum of gains of a joint assignment; ``gain`` (n, j), -inf where not allowed, 0 for none."""
    n, j_n = gain.shape
    cost = np.zeros((n, j_n + n))
    cost[:, :j_n] = np.where(np.isfinite(gain), -gain, 1e6)
    rows, columns = linear_sum_assignment(cost)
    return float(-cost[rows, columns].sum())


def updated(
    x: Floats, p: Floats, mu: Floats, plots: Ints, like: Floats, share: Floats, none: float,
    place: Floats, noise: Floats, own: Floats, ahead: Floats, blend: Floats,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """Return one track (4, ...) with its plots folded in: ``plots``, ``like`` (k, 4), ``share`` (k,) are its pairs'.

    Each model takes each plot with the probability of both together; what results is one Gaussian a model with the
    spread of the parts' means.
    """
    out_x, out_p, out_mu = x.copy(), p.copy(), mu.copy()
    if plots.size == 0:
        return out_x, out_p, out_mu
    weight = np.empty((4, plots.size + 1))
    weight[:, 0] = none * mu
    weight[:, 1:] = (share / (like @ mu))[None, :] * mu[:, None] * like.T
    for m in range(4):
        total = weight[m].sum()
        out_mu[m] = total
        if total <= 1e-300:
            continue
        w = weight[m] / total
        means, covs = [x[m]], [p[m]]
        for j in plots:
            h = measurement(x[m], ahead[j], own[j])
            s = h @ p[m] @ h.T + noise[j] + blend
            gain = np.linalg.solve(s, h @ p[m]).T
            means.append(x[m] + gain @ (place[j] - h @ x[m]))
            covs.append(p[m] - gain @ s @ gain.T)
        mean = np.einsum("k,ka->a", w, np.array(means))
        d = np.array(means) - mean
        cov = np.einsum("k,kab->ab", w, np.array(covs)) + np.einsum("k,ka,kb->ab", w, d, d)
        out_x[m], out_p[m] = mean, 0.5 * (cov + cov.T)
    out_mu /= out_mu.sum()
    return out_x, out_p, out_mu


def mixture(x: Floats, p: Floats, mu: Floats, floor: float) -> tuple[Floats, Floats]:
    """Return (8,) and (8, 8): the models of one track mixed; those below ``floor`` count in the spread alone."""
    weight = np.where(mu >= floor, mu, 0.0)
    mean = weight @ x / max(float(weight.sum()), 1e-300)
    d = x - mean
    return mean, np.einsum("m,mab->ab", mu, p) + np.einsum("m,ma,mb->ab", mu, d, d)


def surprise(x: Floats, p: Floats, mu: Floats, place: Floats, noise: Floats, own: Floats, ahead: float) -> float:
    """Return the squared Mahalanobis distance of one plot from the mixture of one track."""
    mean, cov = mixture(x, p, mu, 0.0)
    h = measurement(mean, ahead, own)
    off = place - h @ mean
    return float(off @ np.linalg.solve(h @ cov @ h.T + noise, off))


def density(
    place: Floats, reach: Floats, least: Floats, stray: Floats, weight: Floats, strength: Floats
) -> Floats:  # fmt: skip
    """Return (J,) weight of strays as strong as ``least`` per square metre within ``reach`` of each place."""
    gap = np.sum((place[:, None] - stray[None]) ** 2, axis=-1)
    counts = (gap <= reach[:, None] ** 2) & (strength[None, :] >= least[:, None])
    return np.asarray(np.where(counts, weight, 0.0).sum(axis=1) / (math.pi * reach**2))


def neighbours(
    place: Floats, exists: Floats, real: NDArray[np.bool_], length: Floats, own: Floats, beam: float, pulse: float,
    most: float, hide: float,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Return (seen (N,), blend (N, 2, 2)); see `neighbours_kernel`."""
    n = place.shape[0]
    seen, blend = np.ones(n), np.zeros((n, 2, 2))
    d = place - own
    distance, azimuth = np.hypot(d[:, 0], d[:, 1]), np.arctan2(d[:, 0], d[:, 1])
    for i in range(n):
        for k in range(n):
            if i == k or not (real[i] and real[k]):
                continue
            dr = distance[i] - distance[k]
            da = abs(math.remainder(azimuth[i] - azimuth[k], 2 * math.pi))
            u = (dr / pulse) ** 2 + (da / beam) ** 2
            if u < 10.0:
                joined = most * exists[k] * 2.0 ** (-u)
                seen[i] *= 1.0 - joined
                blend[i] += 0.25 * joined * np.outer(place[k] - place[i], place[k] - place[i])
            if 0.0 < 0.5 * length[k] < dr and da * distance[k] < 0.5 * length[k]:
                seen[i] *= 1.0 - hide * exists[k]
    return seen, blend
