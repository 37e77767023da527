"""Sea clutter: how much the sea returns, how it depends on the wind, how spiky it is."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]

# NRL/MR/5310-12-9346 (Gregers-Hansen and Mital, 27 Apr 2012), table 1, in the digits of its program listing.
NRL_COEFFICIENTS: dict[str, tuple[float, float, float, float, float]] = {
    "H": (-73.00, 20.781, 7.351, 25.65, 0.0054),
    "V": (-50.796, 25.93, 0.7093, 21.588, 0.00211),
}

# Significant wave height, m, in the middle of each sea state 0..6 of WMO code 3700 (from memory).
_WAVE_OF_STATE_M = (0.0, 0.05, 0.3, 0.875, 1.875, 3.25, 5.0)


# Least and greatest shape of the K distribution that is used.
SHAPE_BOUNDS = (0.4, 50.0)


def sea_state(wave_height_m: float) -> float:
    """Return the sea state, with a fraction, of a significant wave height; 6 and above is held at 6, where NRL ends."""
    return float(np.interp(wave_height_m, _WAVE_OF_STATE_M, range(7)))


def nrl_sigma0_db(grazing_rad: ArrayLike, frequency_hz: float, state: float, polarisation: Literal["H", "V"]) -> Floats:
    """Return the sea's cross-section per area, dB(m2/m2), averaged over wind direction; -inf at no grazing.

    Source
    ------
    NRL/MR/5310-12-9346 equation 7, fitted for 0.5 to 35 GHz, 0.1 to 60 degrees, sea state 0 to 6.  Below 0.1 degree the
    same curve is followed on.  It holds what the path over the waves does, so no multipath is added to it.
    """
    c1, c2, c3, c4, c5 = NRL_COEFFICIENTS[polarisation]
    degrees = np.degrees(np.asarray(grazing_rad, dtype=np.float64))
    gigahertz = frequency_hz / 1e9
    with np.errstate(divide="ignore"):
        slope = c2 * np.log10(np.sin(np.radians(degrees)))
    return (
        c1
        + slope
        + (27.5 + c3 * degrees) * math.log10(gigahertz) / (1.0 + 0.95 * degrees)
        + c4 * (1.0 + state) ** (1.0 / (2.0 + 0.085 * degrees + 0.033 * state))
        + c5 * degrees**2
    )


def wind_factor(off_wind_rad: ArrayLike, wavelength_m: float, strength: float = 1.0) -> Floats:
    """Return the clutter power looking this far off the wind's eye, over its mean round the compass.

    ``strength``: 0 without wind, when no direction is favoured, to 1.

    Source
    ------
    The direction factor of the Georgia Tech sea clutter model, exp(0.25 cos(phi) lambda^-0.33) at low grazing angle
    (from memory), divided by its mean, a Bessel function.  Upwind over downwind comes to 6.8 dB at X band.
    """
    depth = strength * 0.25 * wavelength_m**-0.33
    factor: Floats = np.exp(depth * np.cos(off_wind_rad)) / float(special.i0(depth))
    return factor


def k_shape(grazing_rad: ArrayLike, area_m2: ArrayLike, polarisation: Literal["H", "V"]) -> Floats:
    """Return the shape of the K distribution in a cell of this area: below 1 spiky, above 20 nearly Rayleigh.

    Source
    ------
    Ward, Tough and Watts, Sea Clutter: log10 nu = 2/3 log10(grazing deg) + 5/8 log10(area m2) - k, k 2.09 for H and
    1.39 for V, no swell term (from memory; the form in the cell's width alone, made with a pulse of 4.2 m, has 1.70 and
    1.00, and 5/8 log10 4.2 is the 0.39 between them).  Held within 0.4 to 50: for a low antenna and H it falls to a
    tenth and less, at ranges and grazing angles the formula was not made for.
    """
    degrees = np.maximum(np.degrees(np.asarray(grazing_rad, dtype=np.float64)), 0.05)
    k = 2.09 if polarisation == "H" else 1.39
    power = 2.0 / 3.0 * np.log10(degrees) + 5.0 / 8.0 * np.log10(np.maximum(area_m2, 1.0)) - k
    return np.clip(10.0**power, *SHAPE_BOUNDS)
