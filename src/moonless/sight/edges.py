"""Charted outlines as straight edges, for lines of sight."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def edges_of(area: shapely.Geometry) -> Floats:
    """Return the outline of an area as (m, 4) edges: east and north of both ends."""
    rings = shapely.get_rings(shapely.get_parts(area)) if not shapely.is_empty(area) else []
    parts = []
    for ring in rings:
        xy = shapely.get_coordinates(ring)
        parts.append(np.hstack([xy[:-1], xy[1:]]))
    return np.vstack(parts) if parts else np.zeros((0, 4))
