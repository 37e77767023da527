"""What stands against an echo besides noise: the sea's clutter and the rain's, and what rain takes from the echo."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.radar.environment.clutter import k_shape, nrl_sigma0_db, sea_state, wind_factor
from moonless.radar.environment.multipath import Path
from moonless.radar.environment.propagation import GAS_DB_PER_M, grazing_rad, rain_attenuation_db_per_km
from moonless.radar.environment.rain import BEAM_SHARE, rain_echo
from moonless.radar.link.budget import Link
from moonless.radar.link.detection import clutter_weight, spike_weight
from moonless.radar.points import vertical_pattern
from moonless.radar.types import Weather

Floats = NDArray[np.float64]

# From this wind on, m/s, the sea looks different up and down the wind in full; in a calm an old swell has no eye.  Our
# own choice, no source.
WIND_STEERS = 3.0
# Below this power the sea is not worth a cell's work.
_LEAST_CLUTTER = 1e-3


def sea_power(link: Link, path: Path, weather: Weather, range_m: Floats, free: Floats) -> Floats:
    """Return the sea's mean power over noise by range, round the compass, as far out as it is worth having.

    ``free``: the power of 1 m2 in free space at these ranges, over noise.
    """
    grazing = grazing_rad(path.antenna_m, range_m)
    state = sea_state(weather.wave_height_m)
    if state <= 0.0:
        return np.zeros(0)
    sigma0 = 10.0 ** (nrl_sigma0_db(grazing, link.radar.frequency_hz, state, link.radar.polarisation) / 10.0)
    area = range_m * BEAM_SHARE * link.radar.beam_horizontal_rad * link.pulse_m
    power = free * sigma0 * area * vertical_pattern(link, path.antenna_m, range_m)
    worth = np.flatnonzero(power > _LEAST_CLUTTER)
    return np.ascontiguousarray(power[: int(worth[-1]) + 1]) if worth.size else np.zeros(0)


def sea_shape(path: Path, link: Link, range_m: Floats) -> Floats:
    """Return the shape of the sea's K distribution by range, in a cell of beam by pulse."""
    area = range_m * link.radar.beam_horizontal_rad * link.pulse_m
    return np.asarray(k_shape(grazing_rad(path.antenna_m, range_m), area, link.radar.polarisation), dtype=np.float64)


def against_echoes(link: Link, weather: Weather, off_wind_rad: float, range_m: Floats) -> tuple[Floats, Floats]:
    """Return (sea and rain by range as so many times the noise, the share of an echo that comes back through it all).

    ``off_wind_rad``: how far the look is off the wind's eye.  Down the wind the sea sends back less than its mean; that
    is not counted, so that more wind never lets more be seen.  Showers are not looked at, the rain everywhere is.
    """
    path = Path(float(link.radar.height_m), link.wavelength_m, link.radar.polarisation, weather.wave_height_m / 4.0)
    gas = 10.0 ** (-0.2 * GAS_DB_PER_M * range_m)
    sea = np.zeros(range_m.shape)
    found = sea_power(link, path, weather, range_m, link.snr_at_1m / range_m**4 * gas)
    spikes = np.asarray(spike_weight(sea_shape(path, link, range_m[: found.size])), dtype=np.float64)
    towards = float(wind_factor(off_wind_rad, link.wavelength_m, min(1.0, weather.wind_speed / WIND_STEERS)))
    sea[: found.size] = found * spikes * max(1.0, towards)
    rate = weather.rain_everywhere_mmh
    per_km = float(rain_attenuation_db_per_km(rate, link.radar.frequency_hz, link.radar.polarisation))
    passed = 10.0 ** (-0.2 * per_km * range_m / 1e3)
    rain = np.asarray(rain_echo(link, rate, range_m), dtype=np.float64) * passed
    return np.asarray(clutter_weight(link.hits) * (sea + rain)), np.asarray(gas * passed)
