"""Whether land lies between two places."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def land_between(land: shapely.Geometry, from_en: Floats, to_en: Floats, own_ground_m: float = 0.0) -> Bools:
    """Return whether land lies on the straight line from each place (n, 2) to a place (2,) or places (n, 2).

    ``own_ground_m``: this much at the far end is not looked at, so that the ground a light stands on does not hide it.
    Land hides whatever the heights.
    """
    ends = np.broadcast_to(np.asarray(to_en, dtype=np.float64), from_en.shape)
    away = np.hypot(*(ends - from_en).T)
    hidden = np.zeros(len(from_en), dtype=np.bool_)
    far = away > own_ground_m
    if shapely.is_empty(land) or not far.any():
        return hidden
    shapely.prepare(land)
    share = 1.0 - own_ground_m / away[far]
    seen_to = from_en[far] + share[:, None] * (ends[far] - from_en[far])
    lines = shapely.linestrings(np.stack([from_en[far], seen_to], axis=1))
    hidden[far] = shapely.intersects(land, lines)
    return hidden
