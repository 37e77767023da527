"""How much light falls on the water: sun, moon and stars, in lux, and in words.

Published models end where streets, clouds' undersides and the eye begin; what is given is the light of a clear sky
thinned by the cloud the skipper names.  It says how dark it is, never that a thing will be seen.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from moonless.sky.ephemeris import SkyState

Floats = NDArray[np.float64]
Darkness = Literal[
    "daylight", "civil twilight", "nautical twilight", "astronomical twilight", "moonlit night", "dark night"
]

# Illuminance of the sun and its twilight against the sun's altitude, log10 lux.  Sunset and the ends of the three
# twilights: American Meteorological Society, Glossary of Meteorology, "civil/nautical/astronomical twilight" (middle
# of each range); above the horizon: from memory, order of magnitude, and only used to say "daylight".
_SUN_ALTITUDE_DEG = np.array([-18.0, -12.0, -6.0, -0.833, 5.0, 20.0, 60.0])
_SUN_LOG_LUX = np.log10(np.array([6e-4, 8e-3, 2.65, 490.0, 5e3, 3e4, 1e5]))
# Stars and airglow of a clear moonless night.  From memory: 1e-3 to 2e-3 lux clear, 1e-4 overcast.
STARLIGHT_LUX = 1.5e-3
STARLIGHT_OVERCAST_LUX = 1e-4
# Illuminance of magnitude 0: 2.54e-6 lux (Allen, Astrophysical Quantities, 3rd ed. 1973).
MAGNITUDE_ZERO_LUX = 2.54e-6
MEAN_MOON_DISTANCE_M = 384_400_000.0
EXTINCTION_MAG_PER_AIRMASS = 0.28  # sea-level clean air: between the 0.2 of very clean air and 0.4 (from memory)
# Share of light a full cloud cover lets through.  From memory, order of magnitude: a tenth.
CLOUD_TRANSMISSION = 0.1


def moon_lux(state: SkyState) -> Floats:
    """Return moonlight on level water under a clear sky, lux, shape (n,); 0 with the moon down.

    Source: [Allen1973] m = -12.73 + 0.026 |a| + 4e-9 a^4 with phase angle a in degrees at mean distance; airmass by
    Kasten and Young (1989); the level surface takes the sine of the altitude.
    """
    phase = np.degrees(np.abs(state.moon_phase_angle_rad))
    magnitude = -12.73 + 0.026 * phase + 4e-9 * phase**4
    distance = (MEAN_MOON_DISTANCE_M / state.moon_distance_m) ** 2
    altitude = np.degrees(state.moon_altitude_rad)
    up = np.maximum(altitude, 0.0)
    airmass = 1.0 / (np.sin(np.radians(up)) + 0.50572 * (up + 6.07995) ** -1.6364)
    through = 10.0 ** (-0.4 * EXTINCTION_MAG_PER_AIRMASS * airmass)
    lux = MAGNITUDE_ZERO_LUX * 10.0 ** (-0.4 * magnitude) * distance * through * np.sin(np.radians(up))
    return np.where(altitude > 0.0, lux, 0.0)


def sun_lux(state: SkyState) -> Floats:
    """Return sun and twilight on level water under a clear sky, lux, shape (n,)."""
    altitude = np.degrees(state.sun_altitude_rad)
    lux = 10.0 ** np.interp(altitude, _SUN_ALTITUDE_DEG, _SUN_LOG_LUX)
    return np.where(altitude < _SUN_ALTITUDE_DEG[0], 0.0, lux)


def light_lux(state: SkyState, cloud: float = 0.0) -> Floats:
    """Return all light on level water, lux, shape (n,), under a cloud cover of 0 (clear) to 1 (overcast)."""
    stars = STARLIGHT_LUX + cloud * (STARLIGHT_OVERCAST_LUX - STARLIGHT_LUX)
    return (sun_lux(state) + moon_lux(state)) * (1.0 - cloud * (1.0 - CLOUD_TRANSMISSION)) + stars


# Below this the moon adds less than the stars give, and the night is as dark as a moonless one.
MOONLIT_LUX = 5e-3


def darkness(state: SkyState, cloud: float = 0.0) -> list[Darkness]:
    """Return how dark it is, in words, at each time."""
    moon = moon_lux(state) * (1.0 - cloud * (1.0 - CLOUD_TRANSMISSION))
    out: list[Darkness] = []
    for altitude, moonlight in zip(np.degrees(state.sun_altitude_rad), moon, strict=True):
        if altitude > -0.833:
            out.append("daylight")
        elif altitude > -6.0:
            out.append("civil twilight")
        elif altitude > -12.0:
            out.append("nautical twilight")
        elif moonlight > MOONLIT_LUX:
            out.append("moonlit night")
        elif altitude > -18.0:
            out.append("astronomical twilight")
        else:
            out.append("dark night")
    return out
