"""What opens when: on the way, where and when the next hidden water opens, and how close it is then."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS
from moonless.reading.visibility.raster import VisibilityRaster
from moonless.sight.along import sight_along

Floats = NDArray[np.float64]

# Samples of the hidden water: this far past the land's far side, and further on.
DEPTHS_M = (25.0, 80.0, 160.0, 300.0)
EVERY_ROW = 3
# A pocket counts as open when this many of its samples are seen.
OPEN_SAMPLES = 3
LOOK_AHEAD_S = 180.0
STEPS = 12
NEAR_M = 1500.0


@dataclass(frozen=True, slots=True)
class Opening:
    """The next hidden water to open on the way, at the present speed."""

    east_m: float
    north_m: float
    in_s: float
    distance_then_m: float
    bearing_then_rad: float  # true, from the boat at that moment


def next_opening(
    edges: Floats, own: OwnPlane, raster: VisibilityRaster, max_range_m: float, way_en: Floats | None = None
) -> Opening | None:
    """Return the next water behind land that opens forward of the beam, None when none does soon.

    ``way_en`` (k, 2): the turns of the route still ahead; None: the present course is held.  The speed is held in both.
    Land is taken as too high to look over.
    """
    ahead = own.ahead_rad
    if ahead is None or own.sog is None or own.sog < 0.5 or not len(edges):
        return None
    samples = _samples(own, raster, ahead, way_en is not None)
    if not len(samples):
        return None
    seconds = LOOK_AHEAD_S * np.arange(1, STEPS + 1) / STEPS
    places, courses = _places(own, own.sog * seconds, ahead, way_en)
    for k, first in enumerate(sight_along(edges, places, max_range_m)):
        rel = samples - places[k]
        reach = np.hypot(rel[:, 0], rel[:, 1])
        bearing = np.mod(np.arctan2(rel[:, 0], rel[:, 1]), TAU)
        row = np.round(bearing / TAU * N_BEARINGS).astype(np.int64) % N_BEARINGS
        forward = np.cos(bearing - courses[k]) > 0.0
        open_now = np.flatnonzero((reach < first[row]) & forward)
        if open_now.size < OPEN_SAMPLES:
            continue
        # The pocket is the nearest opened sample and those beside it.
        nearest = open_now[np.argmin(reach[open_now])]
        beside = np.hypot(*(samples[open_now] - samples[nearest]).T) < 250.0
        if beside.sum() < OPEN_SAMPLES:
            continue
        east, north = samples[nearest]
        return Opening(float(east), float(north), float(seconds[k]), float(reach[nearest]), float(bearing[nearest]))
    return None


def _places(own: OwnPlane, run_m: Floats, ahead: float, way_en: Floats | None) -> tuple[Floats, Floats]:
    """Return where she is after each run (n, 2), and her course there (n,); past the route's end she goes on."""
    here = np.array([own.east_m, own.north_m])
    if way_en is None or not len(way_en):
        along = np.array([math.sin(ahead), math.cos(ahead)])
        return here + run_m[:, None] * along, np.full(len(run_m), ahead)
    turns = np.vstack([here, way_en])
    step = np.diff(turns, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    begin = np.concatenate([[0.0], np.cumsum(length)])
    leg = np.clip(np.searchsorted(begin, run_m, side="right") - 1, 0, len(length) - 1)
    unit = step / np.maximum(length, 1e-6)[:, None]
    return turns[leg] + (run_m - begin[leg])[:, None] * unit[leg], np.arctan2(unit[leg, 0], unit[leg, 1])


def _samples(own: OwnPlane, raster: VisibilityRaster, ahead: float, all_round: bool) -> Floats:
    """Return (n, 2) places in the water that land hides: forward of the beam, or all round where a route may turn."""
    row, near, far = raster.runs("land")
    off = (row - round(ahead / TAU * N_BEARINGS) + N_BEARINGS // 2) % N_BEARINGS - N_BEARINGS // 2
    first = -(N_BEARINGS // 2) if all_round else -(N_BEARINGS // 4)
    asked = (near <= NEAR_M) & ((off - first) % EVERY_ROW == 0) & (off >= first)
    asked &= off <= (N_BEARINGS // 2 - 1 if all_round else N_BEARINGS // 4)
    bearing = row[asked] * TAU / N_BEARINGS
    reach = near[asked, None] + np.array(DEPTHS_M)
    kept = reach < far[asked, None]
    east = own.east_m + reach * np.sin(bearing)[:, None]
    north = own.north_m + reach * np.cos(bearing)[:, None]
    return np.column_stack([east[kept], north[kept]])
