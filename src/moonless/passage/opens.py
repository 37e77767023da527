"""The points of a leg that open: where water behind land comes into view, how close, and at what speed that goes.

From each sampled place the land's outline is cast on every half degree.  Where the range of the first land leaps
between neighbouring bearings, the nearer one is a point that hides what lies behind it.  Openings forward of the beam
and near the track are what a boat can come out of.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.frames import LocalFrame, wrap_180
from moonless.passage.sight import TrackPoints
from moonless.reading.rays import N_BEARINGS, first_land_m

Floats = NDArray[np.float64]

LEAP_M = 250.0
WITHIN_M = 1200.0
FORWARD_DEG = 75.0
# Two openings of one corner, seen from neighbouring places, lie this close together.
SAME_CORNER_M = 120.0


@dataclass(frozen=True, slots=True)
class PointThatOpens:
    """One corner of land beside a leg, told from where the boat passes closest to it while it still hides water."""

    along_m: float
    distance_m: float
    bearing_deg: float
    relative_deg: float
    lat_deg: float
    lon_deg: float


def points_that_open(edges: Floats, points: TrackPoints, frame: LocalFrame) -> list[PointThatOpens]:
    """Return the corners that hide water ahead somewhere along a leg, in order along."""
    step_deg = 360.0 / N_BEARINGS
    corners: list[tuple[float, float, float, float, float]] = []  # east, north, along, distance, bearing
    reach_m = 2.0 * WITHIN_M + LEAP_M
    west, east_end = points.east_m.min() - reach_m, points.east_m.max() + reach_m
    south, north_end = points.north_m.min() - reach_m, points.north_m.max() + reach_m
    # Only land near the leg: the rest costs time at every place and can hide nothing that is asked for.
    near_leg = (
        (np.maximum(edges[:, 0], edges[:, 2]) >= west)
        & (np.minimum(edges[:, 0], edges[:, 2]) <= east_end)
        & (np.maximum(edges[:, 1], edges[:, 3]) >= south)
        & (np.minimum(edges[:, 1], edges[:, 3]) <= north_end)
    )
    edges = np.ascontiguousarray(edges[near_leg])
    for along, east, north in zip(points.along_m, points.east_m, points.north_m, strict=True):
        reach = first_land_m(edges, float(east), float(north), reach_m)
        beside = np.roll(reach, -1)
        near = np.minimum(reach, beside)
        far = np.minimum(np.maximum(reach, beside), reach_m)
        for k in np.flatnonzero((near < WITHIN_M) & (far - near > LEAP_M)):
            bearing = (k + (0 if reach[k] <= beside[k] else 1)) * step_deg
            if abs(wrap_180(bearing - points.course_deg)) > FORWARD_DEG:
                continue
            distance = float(near[k])
            angle = math.radians(bearing)
            corners.append(
                (east + distance * math.sin(angle), north + distance * math.cos(angle), along, distance, bearing)
            )
    return _merged(corners, points.course_deg, frame)


def _merged(
    corners: list[tuple[float, float, float, float, float]], course_deg: float, frame: LocalFrame
) -> list[PointThatOpens]:
    kept: list[tuple[float, float, float, float, float]] = []
    for corner in sorted(corners, key=lambda c: c[3]):
        if all(math.hypot(corner[0] - k[0], corner[1] - k[1]) > SAME_CORNER_M for k in kept):
            kept.append(corner)
    out = []
    for east, north, along, distance, bearing in sorted(kept, key=lambda c: c[2]):
        lat, lon = frame.to_geographic(east, north)
        bearing %= 360.0
        out.append(
            PointThatOpens(float(along), distance, bearing, wrap_180(bearing - course_deg), float(lat), float(lon))
        )
    return out
