"""Where the sun and the moon stand, from the JPL ephemeris that comes packaged (nothing is fetched).

DE421 serves 1900 to 2050; a date outside is refused.
"""

from __future__ import annotations

import atexit
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import ArrayLike, NDArray
from skyfield.api import Loader, wgs84
from skyfield.framelib import ecliptic_frame
from skyfield.jpllib import SpiceKernel
from skyfield.timelib import Time, Timescale
from skyfield.toposlib import GeographicPosition

from moonless.errors import InputError
from moonless.units import ns_to_utc

Floats = NDArray[np.float64]

FIRST_S, LAST_S = -2_208_988_800.0, 2_524_608_000.0  # 1900-01-01, 2050-01-01


@lru_cache(maxsize=1)
def _loaded() -> tuple[Timescale, SpiceKernel]:
    folder = str(files("skyfield_data").joinpath("data"))
    loader = Loader(folder, verbose=False, expire=False)
    found = loader("de421.bsp")
    # The library keeps the file open; left so it is complained of when the program ends.
    atexit.register(found.close)
    return loader.timescale(builtin=True), found


def timescale() -> Timescale:
    """Return the time scale, with the leap seconds that come packaged."""
    return _loaded()[0]


def bodies() -> SpiceKernel:
    """Return the ephemeris."""
    return _loaded()[1]


def sky_time(time_s: ArrayLike) -> Time:
    """Return the library's time for Unix seconds.  Raises InputError outside 1900 to 2050."""
    seconds = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
    if seconds.size and (np.nanmin(seconds) < FIRST_S or np.nanmax(seconds) > LAST_S):
        raise InputError("the sun and moon are only known here from 1900 to 2050; check the date")
    moments: list[datetime] = [ns_to_utc(round(float(s) * 1e9)) for s in seconds]
    return timescale().from_datetimes(moments)


def place(lat_deg: float, lon_deg: float) -> GeographicPosition:
    """Return the library's place at sea level."""
    return wgs84.latlon(lat_deg, lon_deg)


@dataclass(frozen=True, slots=True, eq=False)
class SkyState:
    """Sun and moon from one place at some times; every field shape (n,).

    Altitudes are of the centre, topocentric, without refraction.
    """

    sun_altitude_rad: Floats
    sun_azimuth_rad: Floats
    moon_altitude_rad: Floats
    moon_azimuth_rad: Floats
    moon_phase_angle_rad: Floats  # sun-moon-earth: 0 full, pi new
    moon_lit_fraction: Floats
    moon_is_waxing: NDArray[np.bool_]
    moon_distance_m: Floats


def sky_state(lat_deg: float, lon_deg: float, time_s: ArrayLike) -> SkyState:
    """Return where sun and moon stand.

    Source: JPL DE421 through the Skyfield library.  Accuracy: far under a minute of arc.
    """
    time = sky_time(time_s)
    eph = bodies()
    here = eph["earth"] + place(lat_deg, lon_deg)
    at = here.at(time)
    sun, moon = at.observe(eph["sun"]).apparent(), at.observe(eph["moon"]).apparent()
    sun_alt, sun_az, _ = sun.altaz()
    moon_alt, moon_az, moon_distance = moon.altaz()
    geocentre = eph["earth"].at(time)
    moon_seen = geocentre.observe(eph["moon"]).apparent()
    sun_seen = geocentre.observe(eph["sun"]).apparent()
    elongation = (
        moon_seen.frame_latlon(ecliptic_frame)[1].radians - sun_seen.frame_latlon(ecliptic_frame)[1].radians
    )
    phase = moon.phase_angle(eph["sun"]).radians
    return SkyState(
        np.asarray(sun_alt.radians),
        np.asarray(sun_az.radians),
        np.asarray(moon_alt.radians),
        np.asarray(moon_az.radians),
        np.asarray(phase),
        np.asarray((1.0 + np.cos(phase)) / 2.0),
        np.mod(elongation, 2 * np.pi) < np.pi,
        np.asarray(moon_distance.m),
    )
