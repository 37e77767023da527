"""Charted outlines as straight edges, for lines of sight, and the faces among them that mirror."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# A face this long mirrors; one drawn with bends of less than this is straight.  Own figures.
FACE_M, STRAIGHT_M = 40.0, 4.0


def edges_of(area: shapely.Geometry) -> Floats:
    """Return the outline of an area as (m, 4) edges: east and north of both ends."""
    rings = shapely.get_rings(shapely.get_parts(area)) if not shapely.is_empty(area) else []
    parts = []
    for ring in rings:
        xy = shapely.get_coordinates(ring)
        parts.append(np.hstack([xy[:-1], xy[1:]]))
    return np.vstack(parts) if parts else np.zeros((0, 4))


def faces_of(shapes: list[shapely.Geometry]) -> Floats:
    """Return (m, 4) the long straight faces of lines and areas: east and north of both ends, metres."""
    found = [np.zeros((0, 4))]
    for part in shapely.get_parts(shapes):
        line = shapely.get_exterior_ring(part) if part.geom_type == "Polygon" else part
        if line.geom_type in ("LineString", "LinearRing"):
            xy = shapely.get_coordinates(shapely.simplify(line, STRAIGHT_M))
            found.append(np.hstack([xy[:-1], xy[1:]]))
    faces = np.vstack(found)
    return np.asarray(faces[np.hypot(faces[:, 2] - faces[:, 0], faces[:, 3] - faces[:, 1]) >= FACE_M])
