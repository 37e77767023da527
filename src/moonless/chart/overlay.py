"""Union, intersection and difference that do not give up.

Chart areas meet along edges that are equal but for the last bits, and projection moves each vertex by a rounding; the
exact overlay then refuses now and then.  Such a pair is put on a grid of a millimetre, far below what a chart means,
where the overlay always succeeds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

GRID_M = 1e-3  # a millimetre
# A millimetre or so in degrees; S-57 itself keeps seven decimals of a degree in these cells.
GRID_DEG = 1e-8


def joined(shapes: Sequence[shapely.Geometry] | NDArray[np.object_]) -> shapely.Geometry:
    """Return the union of plane shapes; an empty polygon for none."""
    if not len(shapes):
        return shapely.Polygon()
    try:
        return shapely.union_all(shapes)
    except shapely.errors.GEOSException:
        return shapely.union_all(shapely.make_valid(np.asarray(shapes, dtype=object)), grid_size=GRID_M)


def common(first: shapely.Geometry, second: shapely.Geometry) -> shapely.Geometry:
    """Return what two plane shapes share."""
    return _overlaid(shapely.intersection, first, second)


def without(first: shapely.Geometry, second: shapely.Geometry) -> shapely.Geometry:
    """Return a plane shape less another."""
    return _overlaid(shapely.difference, first, second)


def _overlaid(
    how: Callable[..., shapely.Geometry], first: shapely.Geometry, second: shapely.Geometry
) -> shapely.Geometry:
    try:
        return how(first, second)
    except shapely.errors.GEOSException:
        return how(shapely.make_valid(first), shapely.make_valid(second), grid_size=GRID_M)
