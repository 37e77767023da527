"""How far a light is seen: its strength in the air, and the curve of the earth."""

from __future__ import annotations

import math
from functools import lru_cache

from moonless.constants import NAUTICAL_MILE_M

# Horizon of an eye in NM: 1.17 sqrt(feet) = 2.12 sqrt(metres): Bowditch, The American Practical Navigator, table 12.
HORIZON_NM_PER_SQRT_M = 2.12
# Threshold of a point light for a dark-adapted look-out: IALA nominal range definition; COLREGs Annex I section 8.
THRESHOLD_LUX = 2e-7


def light_range_m(intensity_cd: float, visibility_m: float, threshold_lux: float = THRESHOLD_LUX) -> float:
    """Return the luminous range of a light in a meteorological visibility, metres.

    Source: Allard's law E = I T^d / d^2 with T = 0.05 a visibility (Koschmieder), solved for d.
    """
    if intensity_cd <= 0.0 or visibility_m <= 0.0:
        return 0.0
    low, high = 0.0, 1e6
    for _ in range(80):
        middle = 0.5 * (low + high)
        if intensity_cd * math.exp(math.log(0.05) * middle / visibility_m) > threshold_lux * middle * middle:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def nominal_intensity_cd(nominal_range_m: float) -> float:
    """Return the intensity of a light of this nominal range: its luminous range at 10 NM visibility."""
    return THRESHOLD_LUX * nominal_range_m**2 / math.exp(math.log(0.05) * nominal_range_m / 18_520.0)


def horizon_m(height_m: float) -> float:
    """Return the distance of the visible horizon from a height of eye or light."""
    return HORIZON_NM_PER_SQRT_M * math.sqrt(max(height_m, 0.0)) * NAUTICAL_MILE_M


def geographic_range_m(eye_height_m: float, light_height_m: float) -> float:
    """Return how far a light stands above the horizon of an eye: Bowditch, "computed visibility"."""
    return horizon_m(eye_height_m) + horizon_m(light_height_m)


@lru_cache(maxsize=4096)
def computed_range_m(eye_height_m: float, light_height_m: float, nominal_range_m: float, visibility_m: float) -> float:
    """Return how far a light is seen: the smaller of its geographic and luminous ranges."""
    luminous = light_range_m(nominal_intensity_cd(nominal_range_m), visibility_m)
    return min(luminous, geographic_range_m(eye_height_m, light_height_m))
