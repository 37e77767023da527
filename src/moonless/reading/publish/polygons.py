"""Hidden water and the seeing line as GeoJSON: the one place where the raster becomes polygons."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.geojson import Polygon, polygon
from moonless.reading.line import HiddenLine, HiddenPartLine
from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS
from moonless.reading.publish.lonlat import ring_lonlat, rings_lonlat
from moonless.reading.publish.outlines import outlines
from moonless.reading.visibility.raster import CAUSES, LEAST_DEPTH_M, VisibilityRaster

Floats = NDArray[np.float64]

# How much wider than the strip a hidden polygon may be drawn, in share of range: keeps the polygons small.
TOLERANCE_SHARE = 0.0015
# Drawn half a bearing wider at both ends: the edge of a shadow may lie anywhere between two bearings, and hidden water
# must not be shown as seen.
PAD_ROWS = 0.5


def hidden_polygons(raster: VisibilityRaster) -> HiddenLine:
    """Return the hidden water as a GeoJSON FeatureCollection, each feature with its cause in ``by``."""
    least = max(1, math.ceil(LEAST_DEPTH_M / raster.cell_m))
    rings, causes = outlines(
        raster.cause, raster.cell_m, TAU / N_BEARINGS, raster.east_m, raster.north_m,
        TOLERANCE_SHARE * raster.reach_m, PAD_ROWS, least,
    )  # fmt: skip
    lonlat = rings_lonlat(raster.frame, rings)
    parts: list[HiddenPartLine] = [
        {"type": "Feature", "geometry": polygon([ring]), "properties": {"by": CAUSES[number - 1]}}
        for number, ring in zip(causes, lonlat, strict=True)
    ]
    return {"type": "FeatureCollection", "features": parts}


def seeing_polygon(own: OwnPlane, line: Floats) -> Polygon:
    """Return the seeing line as a polygon round the boat."""
    bearing = np.arange(N_BEARINGS) * TAU / N_BEARINGS
    # Every degree is enough for the eye; the nearer of the two is kept, so that the line never shows too much.
    reach = np.minimum(line[0::2], line[1::2])
    ring = np.column_stack([own.east_m + reach * np.sin(bearing[0::2]), own.north_m + reach * np.cos(bearing[0::2])])
    return polygon([ring_lonlat(own.frame, ring)])
