"""Where a lesson lies, as a shape of (lon, lat) degrees."""

from __future__ import annotations

import math

import numpy as np
import shapely

from moonless.frames import destination
from moonless.memory.lattice import CELL_M, corners_of
from moonless.memory.teaching.lessons import Lesson

_CIRCLE = 36  # corners of a drawn circle


def outline_of(one: Lesson) -> shapely.Geometry:
    """Return a point, of an anchorage a circle, of a way its cells together."""
    if one.kind == "way":
        return shapely.union_all([cell_outline(key) for key in one.cells])
    if one.kind != "anchorage":
        return shapely.Point(one.lon_deg, one.lat_deg)
    bearing = np.linspace(0.0, 360.0, _CIRCLE, endpoint=False)
    lat, lon = destination(
        np.full(_CIRCLE, one.lat_deg), np.full(_CIRCLE, one.lon_deg), bearing, np.full(_CIRCLE, one.sigma_m)
    )
    return shapely.Polygon(np.column_stack([lon, lat]))


def cell_outline(key: int) -> shapely.Geometry:
    """Return the outline of a cell of the lattice."""
    return shapely.Polygon(corners_of(key))


def per_km2(one: Lesson) -> float:
    """Return how many boats are in a square kilometre of an anchorage or a way at a time."""
    area_m2 = len(one.cells) * CELL_M**2 if one.kind == "way" else math.pi * one.sigma_m**2
    return 1e6 * (one.at_once or 0.0) / max(area_m2, 1.0)
