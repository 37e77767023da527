"""Compiled: how tracks move between turns.  `moonless.track.kernels.reference` says in plain NumPy what each must give.

Shapes: N tracks, M = 4 motion models (still, straight, steered, turning); a state of 8: east, north, velocity east,
velocity north, turn rate, and the three errors shared by a turn's plots as this track sees them: heading, own position
east, own position north.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# East, north, their speeds and turn rate of the model; then what all models share: `N_SHARED` from `SHARED_AT` on.
N_STATE = 8
SHARED_AT = 5
N_SHARED = 3
N_MODEL = 4
STILL, STRAIGHT, STEERED, TURNING = 0, 1, 2, 3  # the models, as `track.settings` has them


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
    xm: Floats, pm: Floats, out_mu: Floats, share: Floats, entered: Floats,
) -> None:  # fmt: skip
    """Mix the models of one track into ``xm, pm``, ahead of prediction; ``share`` (4,), ``entered`` (4, 8): scratch."""
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
    x: Floats, p: Floats, model: int, dt: float, walk: float, q: float, q_turn: float, decay: Floats, fresh: Floats,
    f: Floats, fp: Floats,
) -> None:  # fmt: skip
    """Predict one model of one track by ``dt`` seconds, in place; ``f``, ``fp`` (8, 8) are scratch."""
    for a in range(N_STATE):
        for b in range(N_STATE):
            f[a, b] = 1.0 if a == b else 0.0
            fp[a, b] = 0.0
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
    share = np.empty(N_MODEL)
    entered = np.zeros((N_MODEL, N_STATE))
    f = np.empty((N_STATE, N_STATE))
    fp = np.empty((N_STATE, N_STATE))
    for i in range(x.shape[0]):
        _mixed(x[i], p[i], mu[i], t, floor, speed_var, turn_var, xm, pm, new_mu, share, entered)
        for k in range(N_MODEL):
            _move(xm[k], pm[k], k, dt, walk, q[k], q_turn, decay, fresh, f, fp)
            mu[i, k] = new_mu[k]
            for a in range(N_STATE):
                x[i, k, a] = xm[k, a]
                for b in range(N_STATE):
                    p[i, k, a, b] = pm[k, a, b]
