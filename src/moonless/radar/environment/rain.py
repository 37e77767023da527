"""Rain: what it sends back and what it takes away."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from moonless.radar.environment.propagation import rain_attenuation_db_per_km
from moonless.radar.link.budget import Link
from moonless.radar.types import RadarPose, ScanGrid, Weather

# |K|^2 of water, good for 3 to 10 cm and 0 to 20 C: Richards, Fundamentals of Radar Signal Processing, p. 105.
WATER_K2 = 0.93
# Equivalent width of a Gaussian beam there and back, over its half-power width: sqrt(pi / (8 ln 2)).  Elementary.
BEAM_SHARE = math.sqrt(math.pi / (8.0 * math.log(2.0)))
# Nodes of the map of rain, round and out: showers are soft.
N_ROUND, N_OUT = 256, 192


def reflectivity_mm6_m3(rate_mmh: ArrayLike) -> NDArray[np.float64]:
    """Return Z = 200 R^1.6 (Marshall and Palmer), as KNMI prints it: 23 dBZ at 1 mm/h."""
    return 200.0 * np.maximum(np.asarray(rate_mmh, dtype=np.float64), 0.0) ** 1.6


def volume_reflectivity(rate_mmh: ArrayLike, wavelength_m: float) -> NDArray[np.float64]:
    """Return eta, m2 per m3: pi^5 |K|^2 Z / lambda^4 (Richards, equations 2.40 to 2.44)."""
    return math.pi**5 * WATER_K2 * reflectivity_mm6_m3(rate_mmh) * 1e-18 / wavelength_m**4


def rate_at(weather: Weather, east_m: NDArray[np.float64], north_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return mm/h at places of the frame: the rain everywhere and every shower on top."""
    rate = np.full(np.broadcast(east_m, north_m).shape, float(weather.rain_everywhere_mmh))
    for shower in weather.rain_cells:
        square = ((east_m - shower.east_m) ** 2 + (north_m - shower.north_m) ** 2) / shower.radius_m**2
        # Half at half the radius, a sixteenth at the radius.
        rate += shower.rate_mmh * np.exp(-4.0 * math.log(2.0) * square)
    return rate


def rain_echo(link: Link, rate_mmh: ArrayLike, range_m: ArrayLike) -> NDArray[np.float64]:
    """Return the power over noise of rain of these rates at these ranges, what it takes on the way left out."""
    radar, reach = link.radar, np.asarray(range_m, dtype=np.float64)
    across = BEAM_SHARE * radar.beam_horizontal_rad * BEAM_SHARE * radar.beam_vertical_rad
    volume = reach**2 * across * link.pulse_m
    return volume_reflectivity(rate_mmh, link.wavelength_m) * volume * link.snr_at_1m / reach**4


def rain_maps(
    weather: Weather, link: Link, pose: RadarPose, grid: ScanGrid
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return (echo power over noise, two-way share that passes), both (N_ROUND, N_OUT), or empty without rain."""
    if weather.rain_everywhere_mmh <= 0.0 and not weather.rain_cells:
        nothing = np.zeros((0, 0), dtype=np.float32)
        return nothing, nothing
    bearing = pose.heading_rad + np.arange(N_ROUND)[:, np.newaxis] * (2.0 * math.pi / N_ROUND)
    last_m = grid.first_cell_m + (grid.n_cell - 1) * grid.cell_m
    reach = np.linspace(max(grid.first_cell_m, 1.0), max(last_m, 2.0), N_OUT)[np.newaxis, :]
    rate = rate_at(weather, pose.east_m + reach * np.sin(bearing), pose.north_m + reach * np.cos(bearing))
    step_km = (reach[0, 1] - reach[0, 0]) / 1e3
    per_km = rain_attenuation_db_per_km(rate, link.radar.frequency_hz, link.radar.polarisation)
    passed_db = (np.cumsum(per_km, axis=1) - 0.5 * per_km) * step_km + per_km[:, :1] * reach[0, 0] / 1e3
    # However hard it rains, never quite nothing: a share of 1e-12 is dark enough, and can be divided by.
    passed = np.maximum(10.0 ** (-0.2 * passed_db), 1e-12)
    echo = rain_echo(link, rate, reach) * passed
    return echo.astype(np.float32), passed.astype(np.float32)
