"""The route under way, as the judgement of what lies ahead needs it: how far the next turn is, and what it avoids."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.frames import wrap_pi
from moonless.reading.collision.keep_off import STEERED_BY_M
from moonless.reading.own import OwnPlane

Floats = NDArray[np.float64]

# She steers for her next turn when she points at it so closely; otherwise she has left the plan, and the bow counts.
ON_PLAN_RAD = math.radians(20.0)
# A turn is late, not missed, for so far past it.
LATE_M = 60.0
# A mark within so much of the route is one that it was laid by.  Own figure.
NEAR_M = 250.0


@dataclass(frozen=True, slots=True, eq=False)
class PlanAhead:
    """The turns still ahead while she follows them.  ``turns``: (n, 2) in the plane, n at least 1."""

    turns: Floats
    to_turn_m: float
    way: shapely.LineString  # from the boat along the route

    def passes(self, east_m: float, north_m: float) -> bool:
        """Return whether the route goes by a mark, near and clear of it: one that is steered by."""
        return STEERED_BY_M < float(self.way.distance(shapely.Point(east_m, north_m))) <= NEAR_M

    def avoids(self, east_m: float, north_m: float, keep_off_m: float, ahead_rad: float, own: OwnPlane) -> bool:
        """Return whether a still thing lies past the next turn and the route keeps off it."""
        along = (east_m - own.east_m) * math.sin(ahead_rad) + (north_m - own.north_m) * math.cos(ahead_rad)
        if along <= self.to_turn_m + LATE_M:
            return False
        return bool(self.way.distance(shapely.Point(east_m, north_m)) > keep_off_m)


def plan_ahead(own: OwnPlane, way_lat_lon: Sequence[tuple[float, float]]) -> PlanAhead | None:
    """Return the route ahead; None where none is followed, or the boat does not steer for its next turn."""
    ahead = own.ahead_rad
    if not way_lat_lon or ahead is None:
        return None
    lat, lon = np.array(way_lat_lon, dtype=np.float64).T
    turns = np.column_stack(own.frame.to_plane(lat, lon))
    east, north = float(turns[0, 0] - own.east_m), float(turns[0, 1] - own.north_m)
    far = math.hypot(east, north)
    if far > LATE_M and abs(wrap_pi(math.atan2(east, north) - ahead)) > ON_PLAN_RAD:
        return None
    return PlanAhead(turns, far, shapely.LineString(np.vstack([[own.east_m, own.north_m], turns])))
