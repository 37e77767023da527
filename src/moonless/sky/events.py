"""Rising, setting, twilight and phases, by the conventions of the US Naval Observatory.

Rise and set: the upper limb touches the horizon with 34 minutes of refraction; the sun's semidiameter is taken as 16
minutes, the moon's follows her distance.  Twilights: the sun's centre at -6, -12 and -18 degrees.
Source: USNO, "Rise, Set, and Twilight Definitions".
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from moonless.sky.ephemeris import bodies, place, sky_time

Floats = NDArray[np.float64]
EventKind = Literal[
    "sunrise",
    "sunset",
    "civil dawn",
    "civil dusk",
    "nautical dawn",
    "nautical dusk",
    "astronomical dawn",
    "astronomical dusk",
    "moonrise",
    "moonset",
]

REFRACTION_RAD = math.radians(34.0 / 60.0)
SUN_SEMIDIAMETER_RAD = math.radians(16.0 / 60.0)
MOON_RADIUS_M = 1_737_400.0  # IAU working group on cartographic coordinates (2015), mean radius
TWILIGHTS_DEG = {"civil": -6.0, "nautical": -12.0, "astronomical": -18.0}
_STEP_S = 600.0  # the grazing arcs shorter than this are missed; they last minutes and darken nothing


@dataclass(frozen=True, slots=True)
class SkyEvent:
    """One event at a place; ``azimuth_rad`` of the body then, true."""

    time_s: float  # Unix, UTC
    kind: EventKind
    azimuth_rad: float


def sky_events(lat_deg: float, lon_deg: float, start_s: float, end_s: float) -> list[SkyEvent]:
    """Return every event between two Unix times, in order; none is an answer in high latitudes."""
    eph = bodies()
    here = eph["earth"] + place(lat_deg, lon_deg)

    def altitude(body: str, time_s: Floats) -> tuple[Floats, Floats, Floats]:
        alt, az, distance = here.at(sky_time(time_s)).observe(eph[body]).apparent().altaz()
        return np.asarray(alt.radians), np.asarray(az.radians), np.asarray(distance.m)

    def sun_over(limit_rad: float) -> Callable[[Floats], Floats]:
        return lambda time_s: altitude("sun", time_s)[0] - limit_rad

    def moon_over(time_s: Floats) -> Floats:
        alt, _, distance = altitude("moon", time_s)
        return alt + REFRACTION_RAD + np.arcsin(MOON_RADIUS_M / distance)

    grid = np.arange(start_s, end_s + _STEP_S, _STEP_S)
    sun_grid, moon_grid = altitude("sun", grid)[0], moon_over(grid)
    wanted: list[tuple[EventKind, EventKind, str, Callable[[Floats], Floats], Floats]] = [
        ("moonrise", "moonset", "moon", moon_over, moon_grid)
    ]
    limit = -(REFRACTION_RAD + SUN_SEMIDIAMETER_RAD)
    wanted.append(("sunrise", "sunset", "sun", sun_over(limit), sun_grid - limit))
    pairs: list[tuple[EventKind, EventKind, float]] = [
        ("civil dawn", "civil dusk", -6.0),
        ("nautical dawn", "nautical dusk", -12.0),
        ("astronomical dawn", "astronomical dusk", -18.0),
    ]
    for dawn, dusk, degrees in pairs:
        limit = math.radians(degrees)
        wanted.append((dawn, dusk, "sun", sun_over(limit), sun_grid - limit))
    found = []
    for rising, falling, body, over, values in wanted:
        for k in np.flatnonzero(np.sign(values[:-1]) * np.sign(values[1:]) < 0):
            time = brentq(lambda t, over=over: float(over(np.array([t]))[0]), grid[k], grid[k + 1], xtol=0.5)
            if start_s <= time <= end_s:
                azimuth = float(altitude(body, np.array([time]))[1][0])
                found.append(SkyEvent(float(time), rising if values[k] < 0 else falling, azimuth))
    return sorted(found, key=lambda e: e.time_s)


PhaseName = Literal["new moon", "first quarter", "full moon", "last quarter"]
_PHASES: tuple[PhaseName, ...] = ("new moon", "first quarter", "full moon", "last quarter")


def moon_phases(start_s: float, end_s: float) -> list[tuple[float, PhaseName]]:
    """Return (Unix time, phase) of each quarter between two times."""
    from skyfield import almanac

    start, end = sky_time([start_s])[0], sky_time([end_s])[0]
    times, phases = almanac.find_discrete(start, end, almanac.moon_phases(bodies()))
    return [(t.utc_datetime().timestamp(), _PHASES[int(p)]) for t, p in zip(times, phases, strict=True)]
