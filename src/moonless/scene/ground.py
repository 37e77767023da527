"""The ground of a scene: the chart as it is printed, and the world as it really is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import shapely

from moonless.chart.library import Chart
from moonless.chart.local import LocalChart
from moonless.chart.types import Feature, Mark
from moonless.errors import InputError, NoCoverage
from moonless.frames import LocalFrame
from moonless.scene.types import MarkChange, Waters

# Parts of one mark stand on the same spot to within this.
_SAME_SPOT_M = 1.5
# Soundings further off than this say nothing of the depth here.
_SOUNDING_REACH_M = 500.0


@dataclass(frozen=True, slots=True)
class RealMark:
    """One charted mark and what became of it.  ``east_m``, ``north_m``: where it really is, or was if it is gone."""

    charted: Mark
    is_there: bool
    east_m: float
    north_m: float


@dataclass(frozen=True, eq=False)
class SceneGround:
    """Chart and world round the whole of own track; both None on the open sea."""

    charted: LocalChart | None
    real: LocalChart | None
    marks: tuple[RealMark, ...]

    @cached_property
    def solid(self) -> shapely.Geometry | None:
        """All that echoes as one with the shore: land, bridges, and what is built along them."""
        if self.real is None:
            return None
        built = [f.shape.buffer(2.0, quad_segs=2) for f in self.real.structures]
        return shapely.union_all([self.real.land, *built, *[b.shape.buffer(2.0) for b in self.real.bridges]])

    def depth_at(self, east_m: float, north_m: float) -> float | None:
        """Return the depth below chart datum: near soundings, held within the limits of the depth area."""
        if self.real is None:
            return None
        place = shapely.Point(east_m, north_m)
        areas = self.real.in_region(place, "DEPARE", "DRGARE")
        limits = [(f.number("DRVAL1"), f.number("DRVAL2")) for f in areas]
        shallow = max((low for low, _ in limits if low is not None), default=None)
        if shallow is None:
            return None
        deep = min((high for _, high in limits if high is not None), default=shallow)
        near = self.real.within(east_m, north_m, _SOUNDING_REACH_M, "SOUNDG")[:4]
        weights, total = 0.0, 0.0
        for sounding in near:
            depth = sounding.number("DEPTH")
            if depth is not None:
                weight = 1.0 / (1.0 + float(shapely.distance(sounding.shape, place)) ** 2)
                weights, total = weights + weight, total + weight * depth
        depth = total / weights if weights else 0.5 * (shallow + deep)
        return float(min(max(depth, shallow), max(deep, shallow)))


def open_ground(
    waters: Waters, frame: LocalFrame, centre_m: tuple[float, float], radius_m: float, cache_dir: Path | None = None
) -> SceneGround:
    """Return chart and world within a radius of a place.

    Raises
    ------
    ChartError  If a chart cannot be read.
    InputError  If the charts do not cover the scene, or a change names a mark that is not on them.
    """
    if not waters.paths:
        return SceneGround(None, None, ())
    lat, lon = frame.to_geographic(*centre_m)
    try:
        charted = Chart.open(waters.paths, cache_dir=cache_dir).around(lat, lon, radius_m, frame=frame)
    except NoCoverage as problem:
        raise InputError(f"the charts named do not cover the scene's waters: {problem}") from problem
    changed = [(change, _find(charted, change)) for change in waters.changes]
    shift = waters.shift_m
    marks = []
    for mark in charted.marks:
        change = next((c for c, found in changed if found is mark), None)
        moved = (0.0, 0.0) if change is None else change.moved_m
        marks.append(
            RealMark(
                mark,
                change is None or not change.gone,
                mark.east_m + shift[0] + moved[0],
                mark.north_m + shift[1] + moved[1],
            )
        )
    nothing = not changed and not waters.uncharted_land and shift == (0.0, 0.0)
    real = charted if nothing else _changed_chart(charted, changed, waters)
    return SceneGround(charted, real, tuple(marks))


def _find(chart: LocalChart, change: MarkChange) -> Mark:
    asked = change.name or f"{change.object} near {change.near_m}"
    found = [m for m in chart.marks if (change.name is None or m.name == change.name)]
    found = [m for m in found if change.object is None or m.object == change.object]
    if change.near_m is not None:
        east, north = change.near_m
        found.sort(key=lambda m: math.hypot(m.east_m - east, m.north_m - north))
    if not found:
        raise InputError(f"chart.change: no mark on the chart is called {asked!r}")
    if change.near_m is None and len(found) > 1:
        raise InputError(f"chart.change: {len(found)} marks are called {asked!r}; say near_m")
    return found[0]


def _changed_chart(chart: LocalChart, changed: list[tuple[MarkChange, Mark]], waters: Waters) -> LocalChart:
    """Return the chart that would have been printed of the world as it is."""
    kept: list[Feature] = []
    for feature in chart.table.features:
        shape = feature.shape
        hit = None
        if shapely.get_dimensions(shape) == 0 and feature.object != "SOUNDG":
            for change, mark in changed:
                if shapely.distance(shape, shapely.Point(mark.east_m, mark.north_m)) < _SAME_SPOT_M:
                    hit = change
        if hit is not None and hit.gone:
            continue
        east, north = (
            waters.shift_m if hit is None else (waters.shift_m[0] + hit.moved_m[0], waters.shift_m[1] + hit.moved_m[1])
        )
        if (east, north) != (0.0, 0.0):
            # Bound at once: the transform runs before the loop goes on.
            shape = shapely.transform(shape, lambda xy, by=(east, north): xy + np.asarray(by))
        kept.append(Feature(feature.object, feature.cell, feature.feature, shape, feature.attributes, feature.scale))
    cell = chart.cells[0]
    for number, land in enumerate(waters.uncharted_land):
        ring = shapely.Polygon(land.ring_m)
        if not ring.is_valid:
            raise InputError("chart.uncharted_land.ring_m: the outline crosses itself")
        kept.append(Feature("LNDARE", cell.name, f"uncharted-{number}", ring, {}, cell.scale))
    cells = {one.name: one for one in chart.cells}
    shapes = np.empty(len(kept), dtype=object)
    shapes[:] = [f.shape for f in kept]

    def degrees(xy: np.ndarray) -> np.ndarray:
        lat, lon = chart.frame.to_geographic(xy[:, 0], xy[:, 1])
        return np.column_stack([lon, lat])

    return LocalChart(
        frame=chart.frame,
        centre_lat_deg=chart.centre_lat_deg,
        centre_lon_deg=chart.centre_lon_deg,
        radius_m=chart.radius_m,
        cells=chart.cells,
        coverage_lonlat=chart.coverage_lonlat,
        objects=np.array([f.object for f in kept]),
        lonlat=shapely.transform(shapes, degrees),
        shapes=shapes,
        identifiers=[f.feature for f in kept],
        rows=[dict(f.attributes) for f in kept],
        row_cells=[cells[f.cell] for f in kept],
    )
