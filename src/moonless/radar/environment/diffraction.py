"""Past an edge and past the horizon: ITU-R P.526."""

from __future__ import annotations

import math

from moonless.constants import EFFECTIVE_EARTH_RADIUS_M as RE_M
from moonless.constants import SPEED_OF_LIGHT_MPS


def knife_edge_db(v: float) -> float:
    """Return the one-way loss, dB, of a single knife edge with parameter ``v`` (positive: the edge blocks the ray).

    Source
    ------
    ITU-R P.526, equation for J(v), good for v > -0.78; zero below (from memory).
    """
    if v <= -0.78:
        return 0.0
    return max(0.0, 6.9 + 20.0 * math.log10(math.sqrt((v - 0.1) ** 2 + 1.0) + v - 0.1))


def knife_edge_parameter(above_ray_m: float, to_edge_m: float, beyond_m: float, wavelength_m: float) -> float:
    """Return ``v`` for an edge ``above_ray_m`` above the straight ray, at these distances from the two ends."""
    return above_ray_m * math.sqrt(2.0 * (to_edge_m + beyond_m) / (wavelength_m * to_edge_m * beyond_m))


def smooth_earth_db(range_m: float, low_m: float, high_m: float, wavelength_m: float) -> float:
    """Return the one-way loss, dB, over a smooth sea at or beyond the horizon, 4/3 earth.

    Source
    ------
    ITU-R P.526 section 3.1.1.2: F(X) + G(Y1) + G(Y2) with beta = 1, true over sea above 300 MHz (from memory).
    """
    megahertz = SPEED_OF_LIGHT_MPS / wavelength_m / 1e6
    radius_km = RE_M / 1e3
    x = 2.188 * megahertz ** (1 / 3) * radius_km ** (-2 / 3) * range_m / 1e3
    along = 11.0 + 10.0 * math.log10(x) - 17.6 * x if x >= 1.6 else -20.0 * math.log10(x) - 5.6488 * math.pow(x, 1.425)
    heights = 0.0
    for height_m in (low_m, high_m):
        y = 9.575e-3 * megahertz ** (2 / 3) * radius_km ** (-1 / 3) * max(height_m, 0.05)
        if y > 2.0:
            heights += 17.6 * math.sqrt(y - 1.1) - 5.0 * math.log10(y - 1.1) - 8.0
        else:
            heights += 20.0 * math.log10(y + 0.1 * y * y * y)
    return max(0.0, -(along + heights))
