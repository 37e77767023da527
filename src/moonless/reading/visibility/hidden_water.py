"""Hidden water of one turn: the raster filled."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.echo.types import EchoPicture
from moonless.radar.environment.heights import LandDefaults
from moonless.radar.link.detection import clutter_weight, required_snr
from moonless.reading.chart_around import Place
from moonless.reading.line import HiddenBy
from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS
from moonless.reading.visibility import raster
from moonless.reading.visibility.raster import VisibilityRaster
from moonless.reading.visibility.seeing import P_TURN_HELD, Curve, clutter_at
from moonless.scan.types import Scan
from moonless.sight.lines import crossings
from moonless.sight.shadow import shadow_if_higher

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Clutter hides where a small boat would show in less than this share of turns, though without clutter she would.
CLUTTER_P = 0.5
# How high land stands no chart tells: where its shadow ends is known no better than its height, and what may be hidden
# is not shown as seen.  One sigma of what stands on land, as the model has it.
LAND_SIGMA_M = LandDefaults().rough_m


@dataclass(frozen=True, slots=True)
class Obstruction:
    """A body that stands in the way of the radar and hides the water behind it."""

    bearing_rad: float  # true, from the boat
    range_m: float
    width_m: float  # across the bearing
    half_depth_m: float  # from its middle to where the hidden water begins
    height_m: float  # above the water; inf: nothing is seen over it
    by: HiddenBy


def fill(
    boat: Boat,
    own: OwnPlane,
    place: Place,
    reach_m: float,
    obstructions: Sequence[Obstruction],
    shadow_height_m: Floats | None,
    curve: Curve,
    performance_db: float,
    scan: Scan | None,
    picture: EchoPicture | None,
    pulse_m: float,
) -> VisibilityRaster:
    """Return the raster of one turn.

    ``shadow_height_m``: (N_BEARINGS, N_CELLS) on true bearings from the radar model: lower things are out of sight;
    None: no model, and land hides whatever lies behind it.
    """
    starts = bool(place.on_land(np.array([[own.east_m, own.north_m]]))[0])
    ranges, counts = crossings(place.land_edges, own.east_m, own.north_m, reach_m)
    water = VisibilityRaster.blank(own, reach_m, raster.land_mask(ranges, counts, reach_m, starts))
    small = boat.skipper.smallest_height_m
    r = water.range_m
    horizon = raster.horizon_mask(boat.radar, r, small)
    behind = raster.behind_first_land(water.land)
    if shadow_height_m is not None:
        may_hide_m = shadow_if_higher(shadow_height_m, water.cell_m, boat.radar.height_m, LAND_SIGMA_M)
        behind = (may_hide_m > small) & ~horizon
    water.hide(behind, "land")
    _behind_obstructions(water, obstructions, boat.radar.height_m, small)
    if own.heading_rad is not None and boat.radar.blind_sectors_rad:
        water.hide(np.broadcast_to(raster.blind_mask(boat.radar, own.heading_rad), water.land.shape), "blind sector")
    if scan is not None and scan.covered is not None and own.heading_rad is not None:
        water.hide(raster.covered_mask(scan, own.heading_rad, r), "blind sector")
    water.hide(raster.near_mask(boat.radar, r, pulse_m), "near range")
    if picture is not None and scan is not None and own.heading_rad is not None:
        water.hide(_in_clutter(boat, own, water, curve, performance_db, scan, picture), "clutter")
    water.hide(horizon, "horizon")
    return water


def _behind_obstructions(
    water: VisibilityRaster, obstructions: Sequence[Obstruction], antenna_m: float, small_m: float
) -> None:
    """Hide what lies behind each body, as far as the ray over its top comes down to the small boat's height."""
    for body in obstructions:
        if body.range_m < 1.0:
            continue
        drop = antenna_m - body.height_m
        ends = math.inf
        if drop > 0.0 and antenna_m > small_m:
            ends = body.range_m * (antenna_m - small_m) / drop
        half_rad = math.atan2(0.5 * body.width_m, body.range_m)
        rows, along = raster.sector_mask(
            water.range_m, body.bearing_rad, half_rad, body.range_m + body.half_depth_m, ends
        )
        mask = np.zeros_like(water.land)
        mask[rows] = along
        water.hide(mask, body.by)


def _in_clutter(
    boat: Boat,
    own: OwnPlane,
    water: VisibilityRaster,
    curve: Curve,
    performance_db: float,
    scan: Scan,
    picture: EchoPicture,
) -> Bools:
    assert own.heading_rad is not None
    clutter = clutter_at(picture.clutter_db, scan.first_cell_m, scan.cell_m, own.heading_rad, water.range_m, N_BEARINGS)
    smooth = _smoothed(np.where(np.isfinite(clutter), clutter, 0.0), water.land)
    snr = np.interp(water.range_m, curve.range_m, curve.snr) * boat.skipper.smallest_rcs_m2
    level = snr * 10.0 ** (performance_db / 10.0)
    clear = level >= required_snr(P_TURN_HELD, curve.hits)
    drowned = level / (1.0 + clutter_weight(curve.hits) * smooth) < required_snr(CLUTTER_P, curve.hits)
    return np.asarray(clear[None, :] & drowned)


def _smoothed(clutter: Floats, land: Bools) -> Floats:
    """Return the clutter averaged over five bearings and cells, without what land and its skirts give."""
    kept = np.where(land, 0.0, clutter)
    around = np.concatenate([kept[-2:], kept, kept[:2]])
    total = sum(around[k : k + len(kept)] for k in range(5))
    return np.asarray(total / 5.0)
