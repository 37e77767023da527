"""The field over the sea, compiled; `moonless.radar.kernels.reference` is the definition that the tests hold it to."""

# Compiled: what each argument is stands in the docstrings, where numba does not need it.
# mypy: disable-error-code="no-untyped-def, no-untyped-call, untyped-decorator"
# ruff: noqa: SIM108
from __future__ import annotations

import math

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def _bessel_i0_scaled(x):
    """exp(-x) I0(x), x >= 0: Abramowitz and Stegun 9.8.1 and 9.8.2."""
    if x < 3.75:
        t = (x / 3.75) ** 2
        p = 1.0 + t * (
            3.5156229 + t * (3.0899424 + t * (1.2067492 + t * (0.2659732 + t * (0.0360768 + t * 0.0045813))))
        )
        return p * math.exp(-x)
    t = 3.75 / x
    p = 0.39894228 + t * (
        0.01328592
        + t
        * (
            0.00225319
            + t
            * (
                -0.00157565
                + t * (0.00916281 + t * (-0.02057706 + t * (0.02635537 + t * (-0.01647633 + t * 0.00392377))))
            )
        )
    )
    return p / math.sqrt(x)


@njit(cache=True, nogil=True)
def _interference(d, h1, h2, wavelength, vertical, sigma, eps_r, eps_i, re_m):
    """One-way power factor of direct plus reflected ray, both heights above a 4/3 earth."""
    p = 2.0 / math.sqrt(3.0) * math.sqrt(re_m * (h1 + h2) + d * d / 4.0)
    skew = 2.0 * re_m * d * (h2 - h1) / (p * p * p)
    d1 = d / 2.0 - p * math.sin(math.asin(min(1.0, max(-1.0, skew))) / 3.0)
    d1 = min(max(d1, 1e-3 * d), 0.999 * d)
    d2 = d - d1
    low = h1 - d1 * d1 / (2.0 * re_m)
    high = h2 - d2 * d2 / (2.0 * re_m)
    if low <= 0.0 or high <= 0.0:
        return 0.0
    psi = math.atan(low / d1)
    sin_psi = math.sin(psi)
    # The complex root and quotient in real numbers, for the compiler's sake.
    real = eps_r - (1.0 - sin_psi * sin_psi)
    size = math.sqrt(real * real + eps_i * eps_i)
    root_r = math.sqrt(0.5 * (size + real))
    root_i = -0.5 * eps_i / root_r
    if vertical:
        part_r, part_i = eps_r * sin_psi, -eps_i * sin_psi
    else:
        part_r, part_i = sin_psi, 0.0
    up_r, up_i = part_r - root_r, part_i - root_i
    down_r, down_i = part_r + root_r, part_i + root_i
    below = down_r * down_r + down_i * down_i
    gamma_r = (up_r * down_r + up_i * down_i) / below
    gamma_i = (up_i * down_r - up_r * down_i) / below
    spread = 1.0 / math.sqrt(1.0 + 2.0 * d1 * d2 / (re_m * d * sin_psi))
    g = 4.0 * math.pi * sigma * sin_psi / wavelength
    half = 0.5 * g * g
    rho = _bessel_i0_scaled(half) * spread
    # The exact difference of the two path lengths, not its small-angle form: targets come close.
    direct = math.sqrt(d * d + (high - low) ** 2)
    longer = 4.0 * low * high / (direct + math.sqrt(d * d + (high + low) ** 2))
    phase = 2.0 * math.pi * longer / wavelength
    c = math.cos(phase)
    s = math.sin(phase)
    field_r = 1.0 + rho * (gamma_r * c + gamma_i * s)
    field_i = rho * (gamma_i * c - gamma_r * s)
    return field_r * field_r + field_i * field_i


@njit(cache=True, nogil=True)
def _smooth_earth_db(d, h1, h2, wavelength, re_m):
    mhz = 299.792458 / wavelength
    a = re_m / 1e3
    x = 2.188 * mhz ** (1.0 / 3.0) * a ** (-2.0 / 3.0) * d / 1e3
    if x >= 1.6:
        along = 11.0 + 10.0 * math.log10(x) - 17.6 * x
    else:
        along = -20.0 * math.log10(x) - 5.6488 * x**1.425
    heights = 0.0
    for h in (h1, h2):
        y = 9.575e-3 * mhz ** (2.0 / 3.0) * a ** (-1.0 / 3.0) * max(h, 0.05)
        if y > 2.0:
            heights += 17.6 * math.sqrt(y - 1.1) - 5.0 * math.log10(y - 1.1) - 8.0
        else:
            heights += 20.0 * math.log10(y + 0.1 * y**3)
    return max(0.0, -(along + heights))


@njit(cache=True, nogil=True)
def _nearest_grazing(h, limit, re_m):
    """Range from a height at which the ray meets the sea at the limiting angle."""
    a = re_m * limit
    return math.sqrt(a * a + 2.0 * re_m * h) - a


@njit(cache=True, nogil=True)
def two_way_factor_kernel(range_m, height_m, antenna_m, wavelength, vertical, sigma, eps_r, eps_i, re_m):
    """range_m, height_m (n,) float64 in; F^4 (n,) float64 out."""
    out = np.empty(range_m.size)
    limit = (wavelength / (2.0 * math.pi * re_m)) ** (1.0 / 3.0)
    h1 = max(antenna_m, 0.1)
    for k in range(range_m.size):
        d = max(range_m[k], 1.0)
        h2 = max(height_m[k], 0.02)
        trusted = _nearest_grazing(h1, limit, re_m) + _nearest_grazing(h2, limit, re_m)
        if d <= trusted:
            one_way = _interference(d, h1, h2, wavelength, vertical, sigma, eps_r, eps_i, re_m)
        else:
            horizon = math.sqrt(2.0 * re_m * h1) + math.sqrt(2.0 * re_m * h2)
            if d >= horizon:
                db = -_smooth_earth_db(d, h1, h2, wavelength, re_m)
            else:
                inner = _interference(trusted, h1, h2, wavelength, vertical, sigma, eps_r, eps_i, re_m)
                near = 10.0 * math.log10(max(inner, 1e-12))
                far = -_smooth_earth_db(horizon, h1, h2, wavelength, re_m)
                db = near + (far - near) * (d - trusted) / (horizon - trusted)
            one_way = 10.0 ** (db / 10.0)
        out[k] = one_way * one_way
    return out


@njit(cache=True, nogil=True)
def hidden_kernel(spoke, cell, height, shadow, water, first_m, cell_m, antenna_m, wavelength, re_m):
    """What edges of land take from points on the way there and back.

    spoke, cell (n,) int64; height (n, m) float64 metres.  Returns factor (n, m) float64, 1 where nothing is in the way,
    and hides (n,) float64, the height below which the line of sight is cut by land (0: none).
    """
    n, m = height.shape
    factor = np.ones((n, m))
    hides = np.zeros(n)
    re2 = 1.0 / (2.0 * re_m)
    n_cell = shadow.shape[1]
    for t in range(n):
        i = spoke[t]
        j = min(cell[t], n_cell - 1)
        if j < 1:
            continue
        base = shadow[i, j]
        if base <= 0.05:
            continue
        r = first_m + j * cell_m
        steepest = (base - antenna_m) / r - r * re2
        at = 0
        for k in range(j - 1, -1, -1):
            rk = max(first_m + k * cell_m, 0.25 * cell_m)
            sk = shadow[i, k]
            if sk <= 0.0 or (sk - antenna_m) / rk - rk * re2 < steepest - 1e-6:
                at = k
                break
        # The horizon of the sea is no edge of land: the field over water knows of it already.
        if water[i, at] == 1:
            continue
        hides[t] = base
        re = max(first_m + at * cell_m, 0.25 * cell_m)
        beyond = max(r - re, 0.5 * cell_m)
        scale = math.sqrt(2.0 * (re + beyond) / (wavelength * re * beyond))
        for h in range(m):
            v = (steepest - (height[t, h] - antenna_m) / r + r * re2) * re * scale
            if v > -0.78:
                loss = 6.9 + 20.0 * math.log10(math.sqrt((v - 0.1) ** 2 + 1.0) + v - 0.1)
                factor[t, h] = 10.0 ** (-0.2 * max(loss, 0.0))
    return factor, hides
