"""Rasters of hidden water around the middle of the test's plane."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from reading_fakes import FRAME

from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS, N_CELLS
from moonless.reading.visibility.raster import CAUSES, VisibilityRaster, behind_first_land, land_mask
from moonless.sight.edges import edges_of
from moonless.sight.lines import crossings

HERE = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0)


def open_water(reach_m: float) -> VisibilityRaster:
    """Return a raster without land, in which nothing is hidden."""
    return VisibilityRaster.blank(HERE, reach_m, np.zeros((N_BEARINGS, N_CELLS), dtype=np.bool_))


def behind(land: shapely.Geometry, reach_m: float) -> VisibilityRaster:
    """Return a raster in which land hides all that lies behind it."""
    ranges, counts = crossings(edges_of(land), 0.0, 0.0, reach_m)
    raster = VisibilityRaster.blank(HERE, reach_m, land_mask(ranges, counts, reach_m, False))
    raster.hide(behind_first_land(raster.land), "land")
    return raster


def stretches(cause: NDArray[np.int8], cell_m: float) -> list[list[tuple[float, float, str]]]:
    """Return the hidden stretches of range on each bearing, nearest first: near, far, cause."""
    out: list[list[tuple[float, float, str]]] = [[] for _ in range(len(cause))]
    for i, line in enumerate(cause):
        cuts = [0, *(np.flatnonzero(np.diff(line)) + 1).tolist(), len(line)]
        for a, b in pairwise(cuts):
            if line[a]:
                out[i].append((a * cell_m, b * cell_m, CAUSES[line[a] - 1]))
    return out
