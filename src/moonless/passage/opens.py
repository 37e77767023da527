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
from moonless.sight.along import corners, sight_along

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
    found: list[tuple[float, float, float, float, float]] = []  # east, north, along, distance, bearing
    reach_m = 2.0 * WITHIN_M + LEAP_M
    places = np.column_stack([points.east_m, points.north_m])
    for along, place, first in zip(points.along_m, places, sight_along(edges, places, reach_m), strict=True):
        for corner in corners(first, reach_m, WITHIN_M, LEAP_M):
            bearing = math.degrees(corner.bearing_rad)
            if abs(wrap_180(bearing - points.course_deg)) > FORWARD_DEG:
                continue
            east = float(place[0]) + corner.distance_m * math.sin(corner.bearing_rad)
            north = float(place[1]) + corner.distance_m * math.cos(corner.bearing_rad)
            found.append((east, north, float(along), corner.distance_m, bearing))
    return _merged(found, points.course_deg, frame)


def _merged(
    found: list[tuple[float, float, float, float, float]], course_deg: float, frame: LocalFrame
) -> list[PointThatOpens]:
    kept: list[tuple[float, float, float, float, float]] = []
    for corner in sorted(found, key=lambda c: c[3]):
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
