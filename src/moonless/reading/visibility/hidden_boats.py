"""Hidden water from which a boat may come: deep and wide enough to hold one, afloat, and with a way out.

A strip too narrow for a boat, a flat that has dried and a pool shut in by land are hidden too, and drawn so, but
nothing comes out of them, and they do not bind the speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from moonless.chart.local import LocalChart
from moonless.constants import TAU
from moonless.reading.chart_around import Place
from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS, bearing_index
from moonless.reading.visibility import raster
from moonless.reading.visibility.raster import VisibilityRaster
from moonless.sight.edges import edges_of
from moonless.sight.lines import crossings

Bools = NDArray[np.bool_]

# Water must be this deep, along the bearing, and this wide to hide the smallest boat; the width is twice her beam.
# Own figures, no source.
HOLDS_DEPTH_M, HOLDS_WIDTH_M = 2.0 * raster.LEAST_DEPTH_M, 5.0
# The least a small boat floats in.  Common practice, no source.
FLOATS_M = 0.3
# Tide is taken in steps, downwards never: more water than there is lets more boats afloat.
TIDE_STEP_M = 0.25
# Land, vessels and blind sectors; clutter and the horizon are the seeing line's business.
COUNTED = (1, 3)


@dataclass(frozen=True, slots=True)
class HiddenAhead:
    """Nearest hidden water on the way: range in metres and angle off the course.

    ``is_edge``: what lies past the edge of the picture is not looked at, and is hidden as water behind land is.
    """

    distance_m: float
    off_course_rad: float
    is_edge: bool = False


class Flats:
    """Charted ground that has dried, as a mask over the raster; laid out once for a stretch of chart and a tide."""

    def __init__(self) -> None:
        self._place: Place | None = None
        self._step: int | None = None
        self._area: shapely.Geometry | None = None
        self._edges = np.zeros((0, 4))

    def mask(self, place: Place, tide_m: float | None, own: OwnPlane, water: VisibilityRaster) -> Bools | None:
        """Return (N_BEARINGS, N_CELLS) what has dried; None: nothing has, or the tide is not known."""
        if tide_m is None:
            return None
        step = math.ceil(tide_m / TIDE_STEP_M)
        if place is not self._place or step != self._step:
            self._place, self._step = place, step
            self._area = dried(place.chart, step * TIDE_STEP_M)
            self._edges = edges_of(self._area)
        if not len(self._edges):
            return None
        reach = water.reach_m
        ranges, counts = crossings(self._edges, own.east_m, own.north_m, reach)
        starts = bool(shapely.contains_xy(self._area, own.east_m, own.north_m))
        return raster.land_mask(ranges, counts, reach, starts)


def dried(local: LocalChart, tide_m: float) -> shapely.Geometry:
    """Return the charted depth areas whose deepest part has too little water for the smallest boat."""
    shapes = []
    for area in local.features("DEPARE"):
        deepest = area.number("DRVAL2")
        if deepest is not None and deepest + tide_m < FLOATS_M and shapely.get_dimensions(area.shape) == 2:
            shapes.append(area.shape)
    return shapely.union_all(shapes) if shapes else shapely.MultiPolygon()


def with_a_way_out(shut: Bools) -> Bools:
    """Return what of the open raster leads to the boat or out of the picture.

    Banks are taken one cell and one bearing thinner all round, so that a gap narrower than the raster stays a gap.
    """
    thin = shut.copy()
    for axis in (0, 1):
        for way in (1, -1):
            beside = np.roll(shut, way, axis=axis)
            if axis == 1:
                # Nothing lies before the first cell or past the last: there the bank is as thick as it is.
                beside[:, 0 if way == 1 else -1] = True
            thin &= beside
    number, _ = ndimage.label(~thin)
    # North joins the last bearing to the first.
    first, last = number[0], number[-1]
    both = (first > 0) & (last > 0)
    leads = set(np.unique(number[:, 0]).tolist()) | set(np.unique(number[:, -1]).tolist())
    pairs = set(zip(first[both].tolist(), last[both].tolist(), strict=True))
    grew = True
    while grew:
        more = {n for pair in pairs if leads & set(pair) for n in pair} - leads
        leads |= more
        grew = bool(more)
    return np.asarray(np.isin(number, sorted(leads - {0})) & ~shut)


def ahead(own: OwnPlane, water: VisibilityRaster, flats: Bools | None = None) -> list[HiddenAhead]:
    """Return the nearest hidden water that may hold a boat on bearings within sixty degrees of the way."""
    way = own.ahead_rad
    if way is None:
        return []
    counted = (water.cause >= COUNTED[0]) & (water.cause <= COUNTED[1])
    shut = water.land if flats is None else water.land | flats
    counted &= with_a_way_out(shut)
    span = N_BEARINGS // 6
    # A few rows more at both ends, so that a stretch that is cut by the sixty degrees keeps its width.
    spare = 24
    rows = (bearing_index(way) + np.arange(-span - spare, span + spare + 1)) % N_BEARINGS
    holds = _wide(counted[rows], water) & counted[rows]
    need = max(1, round(HOLDS_DEPTH_M / water.cell_m))
    deep = np.cumsum(np.pad(holds.astype(np.int64), ((0, 0), (1, 0))), axis=1)
    full = deep[:, need:] - deep[:, :-need] >= need
    out = []
    for k in range(-span, span + 1, 2):
        row = full[k + span + spare]
        if row.any():
            out.append(HiddenAhead(float(np.argmax(row) * water.cell_m), k * TAU / N_BEARINGS))
    return out


def _wide(counted: Bools, water: VisibilityRaster) -> Bools:
    """Return which cells lie in a run across the bearings that is wide enough for a boat."""
    n = len(counted)
    before, after = np.zeros(counted.shape, dtype=np.int32), np.zeros(counted.shape, dtype=np.int32)
    run = np.zeros(counted.shape[1], dtype=np.int32)
    for i in range(n):
        run = np.where(counted[i], run + 1, 0)
        before[i] = run
    run = np.zeros(counted.shape[1], dtype=np.int32)
    for i in range(n - 1, -1, -1):
        run = np.where(counted[i], run + 1, 0)
        after[i] = run
    width = (before + after - 1) * (TAU / N_BEARINGS) * water.range_m[None, :]
    return np.asarray(width >= HOLDS_WIDTH_M)
