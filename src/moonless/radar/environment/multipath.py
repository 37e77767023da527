"""The direct ray and the one off the sea: how strong a target at a height stands in the field, there and back.

Within the horizon the two rays interfere; a rough sea and the curve of the earth weaken the second.  Past the horizon
the smooth-earth diffraction of P.526 holds; between the last trustworthy place of the first and the beginning of the
second the factor is drawn straight in decibels over range.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from moonless.constants import EFFECTIVE_EARTH_RADIUS_M as RE_M
from moonless.radar.kernels.field_kernels import two_way_factor_kernel

# Sea water at 10 GHz, 15 C: relative permittivity about 60, conductivity about 16 S/m (from memory of ITU-R P.527).
SEA_PERMITTIVITY = 60.0
SEA_CONDUCTIVITY_S_PER_M = 16.0

# A hull or a beacon scatters from all of its upper half; this many heights stand for it.
N_HEIGHT = 6
LOWEST_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Path:
    """What fixes the interference: the antenna, the wave, the polarisation and the sea."""

    antenna_m: float
    wavelength_m: float
    polarisation: Literal["H", "V"]
    wave_sigma_m: float  # standard deviation of the sea surface: a quarter of the significant wave height

    @property
    def is_vertical(self) -> bool:
        """True for vertical polarisation."""
        return self.polarisation == "V"


def two_way_factor(path: Path, range_m: NDArray[np.float64], height_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return F^4: echo power over that in free space, for points at these ranges and heights (same shape).

    Source
    ------
    Fresnel reflection; roughness after Ament with the Miller-Brown-Vegh Bessel term; divergence and reflection point
    on a 4/3 earth: Blake, Radar Range-Performance Analysis; limit of interference theory at a grazing angle of
    (lambda / 2 pi Re)^(1/3) and straight-line bridging to diffraction, the same (all from memory).
    """
    range_m, height_m = np.broadcast_arrays(range_m, height_m)
    factor = two_way_factor_kernel(
        np.ascontiguousarray(range_m, dtype=np.float64).ravel(),
        np.ascontiguousarray(height_m, dtype=np.float64).ravel(),
        path.antenna_m,
        path.wavelength_m,
        path.is_vertical,
        path.wave_sigma_m,
        SEA_PERMITTIVITY,
        60.0 * path.wavelength_m * SEA_CONDUCTIVITY_S_PER_M,
        RE_M,
    )
    return np.asarray(factor, dtype=np.float64).reshape(range_m.shape)


def height_samples(height_m: float) -> NDArray[np.float64]:
    """Return (N_HEIGHT,) heights that stand for a target: evenly over its upper half."""
    share = LOWEST_SHARE + (1.0 - LOWEST_SHARE) * (np.arange(N_HEIGHT) + 0.5) / N_HEIGHT
    return np.asarray(share * height_m, dtype=np.float64)


# Heights at which the land's table is kept, m: close together near the water, where the field changes most.
N_LAND_HEIGHT = 64
LAND_TOP_M = 64.0
N_LAND_RANGE = 256


@lru_cache(maxsize=16)
def land_table(path: Path, first_m: float, last_m: float) -> NDArray[np.float32]:
    """Return (N_LAND_RANGE, N_LAND_HEIGHT): the integral of F^4 from the water to height h, in metres.

    Ranges run evenly in logarithm from ``first_m`` to ``last_m``; heights are ``LAND_TOP_M (k / (n-1))^2``.
    """
    ranges = np.geomspace(first_m, last_m, N_LAND_RANGE)
    steps = np.arange(N_LAND_HEIGHT) / (N_LAND_HEIGHT - 1)
    heights = LAND_TOP_M * steps**2
    middle = 0.5 * (heights[1:] + heights[:-1])
    factor = two_way_factor(path, ranges[:, np.newaxis], middle[np.newaxis, :])
    table = np.zeros((N_LAND_RANGE, N_LAND_HEIGHT), dtype=np.float32)
    table[:, 1:] = np.cumsum(factor * np.diff(heights), axis=1)
    table.flags.writeable = False
    return table


def flat_sea_lobe_m(antenna_m: float, target_m: float, wavelength_m: float) -> tuple[float, float]:
    """Return (last null, last peak) ranges over a flat, perfect sea: 2 h h' / lambda and twice that.  Textbook."""
    null = 2.0 * antenna_m * target_m / wavelength_m
    return null, 2.0 * null


def roughness(path: Path, grazing_rad: float) -> float:
    """Return by how much the waves weaken the coherent reflection, amplitude."""
    g = 4.0 * math.pi * path.wave_sigma_m * math.sin(grazing_rad) / path.wavelength_m
    return math.exp(-0.5 * g * g) * float(np.i0(0.5 * g * g))
