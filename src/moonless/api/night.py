"""The tide and the sky at a place and a time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.api.inputs import Paths, Times, When, paths_of, place_of, seconds_of, times_of
from moonless.sea.stations import Stations, read_stations
from moonless.sea.tide import tide_between
from moonless.sky.ephemeris import sky_state
from moonless.sky.light import Darkness, darkness, light_lux
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]
_DAY_S = 86_400.0  # a day


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Tide:
    """Heights of tide; arrays of the shape of the times asked for."""

    time: Times  # UTC
    height_m: Floats  # above ``datum``; NaN where a station cannot say
    datum: str
    high: tuple[tuple[np.datetime64, float], ...]  # high waters while it was asked for, a day at least: when, m
    low: tuple[tuple[np.datetime64, float], ...]
    how: str  # one plain sentence: whose heights these are

    def __repr__(self) -> str:
        if self.height_m.ndim == 0:
            return f"Tide({float(self.height_m):.2f} m above {self.datum})"
        return f"Tide({self.height_m.size} heights, {np.nanmin(self.height_m):.2f} to {np.nanmax(self.height_m):.2f} m)"


def tide_at(stations: Stations | Paths, at: tuple[float, float], when: When) -> Tide:
    """Return the predicted height of tide.

    Parameters
    ----------
    stations : station files (JSON), as ``moonless plan`` reads them
    at : (latitude, longitude), degrees
    when : a time or several, with a time zone

    Raises
    ------
    NoCoverage  If no station with constants is within 40 km: an unknown tide is not a flat one.
    """
    lat, lon = place_of(at)
    times = times_of(when)
    read = stations if isinstance(stations, Stations) else read_stations(paths_of(stations))
    here = tide_between(read, lat, lon)
    seconds = seconds_of(times)
    first, last = float(seconds.min()), float(seconds.max())
    turns = here.parts[0][1].extremes(first, max(last, first + _DAY_S))
    high, low = (
        tuple((_moment(turn.time_s), turn.height_m) for turn in turns if turn.kind == kind) for kind in ("high", "low")
    )
    return Tide(times, here.heights(seconds).reshape(times.shape), here.datum, high, low, here.how)


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Sky:
    """Sun, moon and how dark it is; arrays of the shape of the times asked for."""

    time: Times  # UTC
    sun_altitude_deg: Floats  # of the centre, without refraction
    sun_bearing_deg: Floats  # true
    moon_altitude_deg: Floats
    moon_bearing_deg: Floats
    moon_lit: Floats  # share of the disc, 0 to 1
    light_lux: Floats  # on level water, under the cloud that was named
    darkness: tuple[Darkness, ...]  # in words, one for each time

    def __repr__(self) -> str:
        first = self.darkness[0]
        if len(self.darkness) == 1:
            return f"Sky({first}, {self.light_lux.item():.2g} lux)"
        return f"Sky({len(self.darkness)} times, {first} to {self.darkness[-1]})"


def sky_at(at: tuple[float, float], when: When, *, cloud: float = 0.0) -> Sky:
    """Return where sun and moon stand, and how dark it is.

    ``at``: (latitude, longitude), degrees; ``when``: a time or several, with a time zone; ``cloud``: 0 (clear) to 1.
    Source: JPL DE421 through Skyfield; light by the models that `moonless.sky.light` names.
    """
    lat, lon = place_of(at)
    times = times_of(when)
    state = sky_state(lat, lon, seconds_of(times))

    def shaped(values: Floats) -> Floats:
        return np.asarray(values).reshape(times.shape)

    return Sky(
        times,
        shaped(np.degrees(state.sun_altitude_rad)),
        shaped(np.degrees(state.sun_azimuth_rad)),
        shaped(np.degrees(state.moon_altitude_rad)),
        shaped(np.degrees(state.moon_azimuth_rad)),
        shaped(state.moon_lit_fraction),
        shaped(light_lux(state, cloud)),
        tuple(darkness(state, cloud)),
    )


def _moment(time_s: float) -> np.datetime64:
    return np.datetime64(round(time_s * NS_PER_S), "ns")
