"""Sea from wind, where nobody has measured it."""

from __future__ import annotations

import math

from moonless.errors import InputError

GRAVITY = 9.806_65  # m/s2: standard gravity, BIPM SI brochure


def significant_wave_height(wind: float, fetch_m: float) -> float:
    """Return significant wave height in metres of deep water for a steady wind (m/s at 10 m) over a fetch.

    Source: US Army Corps of Engineers, Shore Protection Manual (1984) eq. 3-33 and its fully arisen limit,
    with the adjusted wind U_A = 0.71 U^1.23 (eq. 3-28a).  Values from memory of the manual.
    Raises InputError if either is negative.
    """
    if wind < 0 or fetch_m < 0:
        raise InputError(f"wind {wind} m/s over {fetch_m} m: neither can be negative")
    adjusted = 0.71 * wind**1.23
    scale = adjusted**2 / GRAVITY
    if scale < 1e-9:  # so little wind that it raises nothing
        return 0.0
    return float(scale * min(1.6e-3 * math.sqrt(fetch_m / scale), 0.2433))
