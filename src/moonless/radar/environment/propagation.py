"""Rays over a 4/3 earth, and what air and rain take from them."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from moonless.constants import EFFECTIVE_EARTH_RADIUS_M as RE_M

Floats = NDArray[np.float64]

# Clear air at 9.4 GHz, 7.5 g/m3 of water vapour, 15 C, sea level: 0.0133 dB/km one way, ITU-R P.676 as evaluated by
# the itur 0.4 library.  It hardly varies over the marine X band, and is smaller still at S band.
GAS_DB_PER_M = 0.0133e-3


def horizon_m(height_m: ArrayLike) -> Floats:
    """Return the distance, metres, from a height to the radar horizon on a 4/3 earth."""
    return np.sqrt(2.0 * RE_M * np.maximum(np.asarray(height_m, dtype=np.float64), 0.0))


def grazing_rad(antenna_m: float, range_m: ArrayLike) -> Floats:
    """Return the angle at which a ray meets the sea at a range; zero at and beyond the horizon."""
    reach = np.asarray(range_m, dtype=np.float64)
    sine = antenna_m / reach - reach / (2.0 * RE_M)
    return np.arcsin(np.clip(sine, 0.0, 1.0))


def ground_range_m(slant_m: float, antenna_m: float, target_m: float, radius_m: float = RE_M) -> float:
    """Return the distance along the 4/3 earth for a slant range between two heights.  Elementary (law of cosines)."""
    a, b = radius_m + antenna_m, radius_m + target_m
    half = (slant_m - (b - a)) * (slant_m + (b - a)) / (4.0 * a * b)
    return 2.0 * radius_m * math.asin(math.sqrt(max(half, 0.0)))


def slant_range_m(antenna_m: float, target_m: float, elevation_rad: float, radius_m: float = RE_M) -> float:
    """Return the slant range at which a ray of this elevation reaches a height on a 4/3 earth.  Elementary."""
    a, b = radius_m + antenna_m, radius_m + target_m
    down = a * math.sin(elevation_rad)
    return math.sqrt(down * down + (b - a) * (b + a)) - down


# ITU-R P.838-3 table 5: coefficients of log10 k and alpha, as sums of Gaussians in log10 f plus a line.
_LOG_K = {
    "H": (
        (
            (-5.33980, -0.10008, 1.13098),
            (-0.35351, 1.26970, 0.45400),
            (-0.23789, 0.86036, 0.15354),
            (-0.94158, 0.64552, 0.16817),
        ),
        -0.18961,
        0.71147,
    ),
    "V": (
        (
            (-3.80595, 0.56934, 0.81061),
            (-3.44965, -0.22911, 0.51059),
            (-0.39902, 0.73042, 0.11899),
            (0.50167, 1.07319, 0.27195),
        ),
        -0.16398,
        0.63297,
    ),
}
_ALPHA = {
    "H": (
        (
            (-0.14318, 1.82442, -0.55187),
            (0.29591, 0.77564, 0.19822),
            (0.32177, 0.63773, 0.13164),
            (-5.37610, -0.96230, 1.47828),
            (16.1721, -3.29980, 3.43990),
        ),
        0.67849,
        -1.95537,
    ),
    "V": (
        (
            (-0.07771, 2.33840, -0.76284),
            (0.56727, 0.95545, 0.54039),
            (-0.20238, 1.14520, 0.26809),
            (-48.2991, 0.791669, 0.116226),
            (48.5833, 0.791459, 0.116479),
        ),
        -0.053739,
        0.83433,
    ),
}


@lru_cache(maxsize=16)
def rain_coefficients(frequency_hz: float, polarisation: Literal["H", "V"]) -> tuple[float, float]:
    """Return (k, alpha) of specific attenuation k R^alpha, dB/km one way, R in mm/h.

    Source
    ------
    ITU-R P.838-3 (03/2005), equations 2 and 3, tables 1 to 4.
    """
    x = math.log10(frequency_hz / 1e9)

    def curve(rows: tuple[tuple[float, float, float], ...], slope: float, level: float) -> float:
        return sum(a * math.exp(-(((x - b) / c) ** 2)) for a, b, c in rows) + slope * x + level

    return 10.0 ** curve(*_LOG_K[polarisation]), curve(*_ALPHA[polarisation])


def rain_attenuation_db_per_km(rate_mmh: ArrayLike, frequency_hz: float, polarisation: Literal["H", "V"]) -> Floats:
    """Return specific attenuation, dB/km one way; zero without rain."""
    k, alpha = rain_coefficients(frequency_hz, polarisation)
    return k * np.maximum(np.asarray(rate_mmh, dtype=np.float64), 0.0) ** alpha
