"""How far small things are seen tonight.

A target of so many square metres at small-craft height is put through the radar's own link budget, the field over
the sea, the performance that the charted marks show tonight, and the clutter that this turn's picture holds on each
bearing.  "Held" means: so sure to show that three of five turns bring an echo with probability 0.9.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import RadarSet
from moonless.constants import TAU
from moonless.frames import wrap_pi
from moonless.radar.environment.multipath import N_HEIGHT, Path, height_samples, two_way_factor
from moonless.radar.link.budget import link_budget, scale_of
from moonless.radar.link.detection import clutter_weight, required_snr
from moonless.radar.types import Weather
from moonless.radar.unwanted import against_echoes

Floats = NDArray[np.float64]

# Chance of an echo in one turn at which three of five turns bring one with probability 0.9: binomial, solved.
P_TURN_HELD = 0.7534
CROSS_SECTIONS_M2 = (0.5, 2.5, 10.0)
N_RANGES = 160
# Plain noise comes out at up to this, linear; nothing below so many decibels can be above it.
NOISE_FLOOR, FLOOR_DB = 1.12, 0.49


@dataclass(frozen=True, slots=True)
class RadarPerformance:
    """How the radar performs tonight against its own figures, decibels; negative: sees worse."""

    offset_db: float  # best; nought while nothing is known
    sigma_db: float
    is_shown: bool  # at least two charted marks have shown it

    @property
    def cautious_db(self) -> float:
        """The offset less one sigma: what is not known of the performance takes from how far things are seen."""
        return self.offset_db - self.sigma_db


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Mean single-pulse signal to noise of 1 m2 at a height, over range, in front of nothing but noise."""

    range_m: Floats  # (N_RANGES,) rising
    snr: Floats  # (N_RANGES,) linear
    hits: float

    def held(self, rcs_m2: float, performance_db: float, clutter: Floats | None = None) -> NDArray[np.bool_]:
        """Return at which ranges a cross-section is held; ``clutter``: linear over noise, broadcastable."""
        level = self.snr * rcs_m2 * 10.0 ** (performance_db / 10.0)
        if clutter is not None:
            level = level / (1.0 + clutter_weight(self.hits) * np.maximum(clutter, 0.0))
        return np.asarray(level >= required_snr(P_TURN_HELD, self.hits))

    def held_to_m(self, rcs_m2: float, performance_db: float, least_m: float) -> float | None:
        """Return the range out to which a cross-section is held without a gap; None: not even near by."""
        held = self.held(rcs_m2, performance_db) | (self.range_m <= least_m)
        if held.all():
            return float(self.range_m[-1])
        first_lost = int(np.argmin(held))
        reach = float(self.range_m[max(first_lost - 1, 0)])
        return reach if reach > least_m else None


@lru_cache(maxsize=16)
def _curve(radar: RadarSet, scale_nm: float, height_m: float, wave_height_m: float, max_range_m: float) -> Curve:
    link = link_budget(radar, scale_nm)
    ranges = np.geomspace(max(radar.min_range_m, 15.0), max_range_m, N_RANGES)
    path = Path(radar.height_m, link.wavelength_m, radar.polarisation, wave_height_m / 4.0)
    heights = height_samples(height_m)
    factor = two_way_factor(path, np.repeat(ranges, N_HEIGHT), np.tile(heights, N_RANGES))
    mean = factor.reshape(N_RANGES, N_HEIGHT).mean(axis=1)
    return Curve(ranges, link.snr_at_1m * mean / ranges**4, link.hits)


def curve_for(radar: RadarSet, max_range_m: float, height_m: float, wave_height_m: float) -> Curve:
    """Return the curve of a radar looking this far."""
    scale_nm = scale_of(max_range_m)
    return _curve(radar, scale_nm, height_m, round(wave_height_m, 1), round(max_range_m, 0))


# Waves, m, at which a curve in a sea is laid out; between them the rougher is taken.
_WAVE_STEPS_M = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0, 5.0, 7.0, 10.0, 15.0)


def curve_in(radar: RadarSet, max_range_m: float, height_m: float, weather: Weather, off_wind_rad: float) -> Curve:
    """Return the curve of a radar in a sea, wind and rain that are told and not received, on one bearing.

    Its ``snr`` is what is left after the sea's and the rain's clutter have been set against it, so that `held_to_m` is
    asked without clutter.  Worse weather never gives more: at each range the weakest field of all smaller seas is
    taken, because waves that fill a gap of the calm sea's interference are no promise, and the lee is not counted.
    ``off_wind_rad``: of the bearing, off the wind's eye.
    """
    # A tenth of a radian along the sea's direction is well under a decibel.
    return _in_sea(radar, max_range_m, height_m, weather, round(abs(wrap_pi(off_wind_rad)), 1))


@lru_cache(maxsize=4096)
def _in_sea(radar: RadarSet, max_range_m: float, height_m: float, weather: Weather, off_wind_rad: float) -> Curve:
    step = next((k for k, wave in enumerate(_WAVE_STEPS_M) if weather.wave_height_m <= wave), len(_WAVE_STEPS_M) - 1)
    scale_nm = scale_of(max_range_m)
    bare = _roughest(radar, scale_nm, height_m, step, round(max_range_m, 0))
    sea = replace(weather, wave_height_m=_WAVE_STEPS_M[step])
    unwanted, passed = against_echoes(link_budget(radar, scale_nm), sea, off_wind_rad, bare.range_m)
    return Curve(bare.range_m, bare.snr * passed / (1.0 + unwanted), bare.hits)


@lru_cache(maxsize=512)
def _roughest(radar: RadarSet, scale_nm: float, height_m: float, step: int, max_range_m: float) -> Curve:
    """Return the curve of the weakest field up to one step of waves, range by range."""
    curves = [_curve(radar, scale_nm, height_m, wave, max_range_m) for wave in _WAVE_STEPS_M[: step + 1]]
    return Curve(curves[0].range_m, np.minimum.reduce([c.snr for c in curves]), curves[0].hits)


def seeing_line(curve: Curve, rcs_m2: float, performance_db: float, clutter: Floats | None, least_m: float) -> Floats:
    """Return for each bearing the range inside which the cross-section is held, metres; land is not looked at here.

    ``clutter``: (n_bearing, N_RANGES) linear over noise at the curve's ranges, NaN where not received.  Clutter close
    in may drown small things that show again further out; the line is where they are last held without a gap beyond
    the clutter's own far edge only if the gap is nearer than the boat can use: it is drawn at the first gap.
    """
    if clutter is None:
        reach = curve.held_to_m(rcs_m2, performance_db, least_m)
        return np.full(1, least_m if reach is None else reach)
    unknown = ~np.isfinite(clutter)
    held = curve.held(rcs_m2, performance_db, np.where(unknown, 0.0, clutter)) & ~unknown
    held |= (curve.range_m <= least_m)[None, :]
    # A single lost range cell between two held ones is speckle of the floor, not a gap.
    held |= np.roll(held, 1, axis=1) & np.roll(held, -1, axis=1)
    lost = np.argmin(held, axis=1)
    lost = np.where(held.all(axis=1), held.shape[1], lost)
    return np.asarray(curve.range_m[np.maximum(lost - 1, 0)])


def clutter_at(
    clutter_db: NDArray[np.float32],
    first_cell_m: float,
    cell_m: float,
    heading_rad: float,
    ranges_m: Floats,
    n_bearing: int,
) -> Floats:
    """Return (n_bearing, len(ranges)) clutter over noise, linear, on true bearings, from a scan's relative rows."""
    n_spoke, n_cell = clutter_db.shape
    spokes = (
        np.round(np.mod(np.arange(n_bearing) * TAU / n_bearing - heading_rad, TAU) / TAU * n_spoke).astype(np.int64)
        % n_spoke
    )
    cells = np.clip(np.round((ranges_m - first_cell_m) / cell_m), 0, n_cell - 1).astype(np.int64)
    level = clutter_db[np.ix_(spokes, cells)]
    # The floor of plain noise is not clutter: half a decibel of estimation error is taken off with it.
    over = np.exp(level.astype(np.float32) * np.float32(math.log(10.0) / 10.0)).astype(np.float64)
    out = np.where(level > FLOOR_DB, np.maximum(over - NOISE_FLOOR, 0.0), 0.0)
    out[~np.isfinite(level)] = np.nan
    return out
