"""What opens when: along the present course, where and when the next hidden water opens, and how close it is then."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.reading.own import OwnPlane
from moonless.reading.rays import N_BEARINGS, first_land_m
from moonless.reading.strips import Interval

Floats = NDArray[np.float64]

# Samples of the hidden water: this far past the land's far side, and further on.
DEPTHS_M = (25.0, 80.0, 160.0, 300.0)
# A pocket counts as open when this many of its samples are seen.
OPEN_SAMPLES = 3
LOOK_AHEAD_S = 180.0
STEPS = 12
NEAR_M = 1500.0


@dataclass(frozen=True, slots=True)
class Opening:
    """The next hidden water to open on the present course and speed."""

    east_m: float
    north_m: float
    in_s: float
    distance_then_m: float
    bearing_then_rad: float  # true, from the boat at that moment


def next_opening(edges: Floats, own: OwnPlane, hidden_rows: list[list[Interval]], max_range_m: float) -> Opening | None:
    """Return the next water behind land that the course opens forward of the beam, None when none does soon.

    The course and speed are held.  Land is taken as too high to look over.
    """
    ahead = own.ahead_rad
    if ahead is None or own.sog is None or own.sog < 0.5 or not len(edges):
        return None
    samples = _samples(own, hidden_rows, ahead)
    if not len(samples):
        return None
    along = np.array([math.sin(ahead), math.cos(ahead)])
    here = np.array([own.east_m, own.north_m])
    for k in range(1, STEPS + 1):
        seconds = LOOK_AHEAD_S * k / STEPS
        at = here + along * own.sog * seconds
        first = first_land_m(edges, float(at[0]), float(at[1]), max_range_m)
        rel = samples - at
        reach = np.hypot(rel[:, 0], rel[:, 1])
        bearing = np.mod(np.arctan2(rel[:, 0], rel[:, 1]), TAU)
        row = np.round(bearing / TAU * N_BEARINGS).astype(np.int64) % N_BEARINGS
        forward = np.cos(bearing - ahead) > 0.0
        open_now = np.flatnonzero((reach < first[row]) & forward)
        if open_now.size < OPEN_SAMPLES:
            continue
        # The pocket is the nearest opened sample and those beside it.
        nearest = open_now[np.argmin(reach[open_now])]
        beside = np.hypot(*(samples[open_now] - samples[nearest]).T) < 250.0
        if beside.sum() < OPEN_SAMPLES:
            continue
        east, north = samples[nearest]
        return Opening(float(east), float(north), seconds, float(reach[nearest]), float(bearing[nearest]))
    return None


def _samples(own: OwnPlane, rows: list[list[Interval]], ahead: float) -> Floats:
    step = TAU / N_BEARINGS
    out = []
    middle = round(ahead / step)
    for k in range(-N_BEARINGS // 4, N_BEARINGS // 4 + 1, 3):
        i = (middle + k) % N_BEARINGS
        for near, far, cause in rows[i]:
            if cause != "land" or near > NEAR_M:
                continue
            for depth in DEPTHS_M:
                if near + depth < far:
                    reach = near + depth
                    out.append((own.east_m + reach * math.sin(i * step), own.north_m + reach * math.cos(i * step)))
    return np.array(out).reshape(-1, 2)
