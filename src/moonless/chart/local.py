"""The chart around the boat: features in metres east and north, and what is asked of them.

Built by `moonless.chart.around`; everything that costs time (land, marks, bridges, trees) is worked out when first
asked for and kept.  Immutable towards the outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.bridges import bridges_of
from moonless.chart.lights import ChartLight, lights_of
from moonless.chart.marks import can_be_mark, marks_of
from moonless.chart.overlay import common, joined
from moonless.chart.plane import plane_of
from moonless.chart.quality import quality_of
from moonless.chart.s57 import classes
from moonless.chart.s57.attributes import Attributes
from moonless.chart.types import Bridge, Cell, Feature, FeatureTable, Mark, Quality
from moonless.errors import InputError
from moonless.frames import LocalFrame

# Half the width given to an island drawn as a line.  Own choice: a boat's length across in all.
_THIN_ISLAND_M = 4.0


class LocalChart:
    """What the chart shows within ``radius_m`` of a place, in the metres of ``frame``.

    Shapes that reach past the radius may be whole or cut off somewhere beyond it.
    """

    def __init__(
        self,
        *,
        frame: LocalFrame,
        centre_lat_deg: float,
        centre_lon_deg: float,
        radius_m: float,
        cells: tuple[Cell, ...],
        coverage_lonlat: shapely.Geometry,
        objects: NDArray[np.str_],
        lonlat: NDArray[np.object_],
        shapes: NDArray[np.object_],
        identifiers: Sequence[str],
        rows: Sequence[Attributes],
        row_cells: Sequence[Cell],
    ) -> None:
        self.frame = frame
        self.centre_lat_deg = centre_lat_deg
        self.centre_lon_deg = centre_lon_deg
        self.radius_m = radius_m
        self.cells = cells
        self._coverage_lonlat = coverage_lonlat
        self._objects = objects
        self._lonlat = lonlat
        self._shapes = shapes
        self._identifiers = identifiers
        self._rows = rows
        self._row_cells = row_cells

    def reframed(self, frame: LocalFrame) -> LocalChart:
        """Return the same part of the chart in another frame's metres."""
        if frame == self.frame:
            return self
        return LocalChart(
            frame=frame,
            centre_lat_deg=self.centre_lat_deg,
            centre_lon_deg=self.centre_lon_deg,
            radius_m=self.radius_m,
            cells=self.cells,
            coverage_lonlat=self._coverage_lonlat,
            objects=self._objects,
            lonlat=self._lonlat,
            shapes=plane_of(self._lonlat, frame),
            identifiers=self._identifiers,
            rows=self._rows,
            row_cells=self._row_cells,
        )

    @cached_property
    def table(self) -> FeatureTable:
        """Every feature as parallel columns."""
        features = tuple(
            Feature(str(name), cell.name, identifier, shape, row, cell.scale)
            for name, cell, identifier, shape, row in zip(
                self._objects, self._row_cells, self._identifiers, self._shapes, self._rows, strict=True
            )
        )
        return FeatureTable(self._objects, self._shapes, features)

    @property
    def lonlat(self) -> NDArray[np.object_]:
        """The shapes of `table` in WGS 84 (lon, lat) degrees, row by row."""
        return self._lonlat

    @property
    def coverage_lonlat(self) -> shapely.Geometry:
        """Where the chart knows anything, WGS 84 (lon, lat), within the box about the radius."""
        return self._coverage_lonlat

    def features(self, *wanted: str) -> tuple[Feature, ...]:
        """Return the features of these classes, or all of them."""
        return self._pick(np.flatnonzero(self._is(wanted)))

    def in_region(self, region: shapely.Geometry, *wanted: str) -> tuple[Feature, ...]:
        """Return the features of these classes (or all) that touch a region of the plane."""
        return self._pick(self._only(self._tree.query(region, predicate="intersects"), wanted))

    def within(self, east_m: float, north_m: float, distance_m: float, *wanted: str) -> tuple[Feature, ...]:
        """Return the features of these classes (or all) within a distance of a place, nearest first."""
        place = shapely.Point(east_m, north_m)
        rows = self._only(self._tree.query(place, predicate="dwithin", distance=distance_m), wanted)
        order = np.argsort(shapely.distance(self._shapes[rows], place), kind="stable")
        return self._pick(rows[order])

    @cached_property
    def land(self) -> shapely.MultiPolygon:
        """All land (LNDARE), one multipolygon; empty where the chart shows none.

        An island too narrow for an area is drawn as a line; it is given a little width.  Islets drawn as points are
        among the marks.
        """
        land = self._shapes[self._objects == "LNDARE"]
        lines = shapely.get_dimensions(land) == 1
        land[lines] = shapely.buffer(land[lines], _THIN_ISLAND_M, cap_style="flat")
        areas = land[shapely.get_dimensions(land) == 2]
        polygons = [part for part in shapely.get_parts(joined(areas)) if part.geom_type == "Polygon"]
        return shapely.MultiPolygon(polygons)

    @cached_property
    def shoreline(self) -> shapely.Geometry:
        """Where water meets land or a structure built along it, as lines: COALNE and SLCONS."""
        lines = [shape for shape in self._shapes[self._is(("COALNE", "SLCONS"))] if shapely.get_dimensions(shape) > 0]
        outlines = [shapely.boundary(s) if shapely.get_dimensions(s) == 2 else s for s in lines]
        parts = shapely.get_parts(outlines)
        return shapely.MultiLineString([part for part in parts if part.geom_type == "LineString"])

    @cached_property
    def marks(self) -> tuple[Mark, ...]:
        """Everything that stands or floats by itself: one mark for each physical thing."""
        return marks_of(self.table.features)

    @cached_property
    def lights(self) -> tuple[ChartLight, ...]:
        """Every light, its sectors put together, under its own name or that of the mark that carries it."""
        carried = {light.feature: mark.name for mark in self.marks for light in mark.lights}
        lights = lights_of(self.features("LIGHTS"))
        return tuple(replace(li, name=li.name or carried.get(li.sectors[0].feature)) for li in lights)

    @cached_property
    def bridges(self) -> tuple[Bridge, ...]:
        """The bridges, their spans put together."""
        return bridges_of(self.features("BRIDGE"))

    @cached_property
    def structures(self) -> tuple[Feature, ...]:
        """Built things with an extent: quays, pontoons, pile rows, platforms, causeways; not what `marks` holds."""
        return tuple(
            f
            for f in self.features(*classes.STRUCTURES)
            if shapely.get_dimensions(f.shape) > 0
            and not can_be_mark(f)
            and classes.stands_above_water(f.object, f.attributes)
        )

    @cached_property
    def coverage(self) -> shapely.Geometry:
        """Where the chart knows anything at all; everywhere else is unknown, not clear."""
        return plane_of(np.array([self._coverage_lonlat], dtype=object), self.frame)[0]

    def covered_fraction(self, region: shapely.Geometry) -> float:
        """Return the share 0..1 of a region that the chart covers (by area, length, or number of points).

        Raises InputError for an empty region: there is nothing to take a share of.
        """
        dimension = shapely.get_dimensions(region)
        if shapely.is_empty(region) or (dimension == 2 and shapely.area(region) == 0.0):
            raise InputError("the chart was asked about a region that is empty")
        covered = common(region, self.coverage)
        if dimension == 2:
            return float(min(1.0, shapely.area(covered) / shapely.area(region)))
        if dimension == 1 and shapely.length(region) > 0.0:
            return float(min(1.0, shapely.length(covered) / shapely.length(region)))
        points = shapely.get_parts(region)
        return float(np.mean(shapely.intersects(self.coverage, points))) if len(points) else 0.0

    def quality_at(self, east_m: float, north_m: float) -> Quality:
        """Return how good the survey is at a place.

        Raises NoCoverage if no chart covers it.
        """
        place = shapely.Point(east_m, north_m)
        near = self._tree.query(place)
        # A tree prepares what it is asked about and not what it holds: for a point, each area's corners again.
        here = near[shapely.intersects(self._prepared[near], place)]
        return quality_of(place, self._pick(np.sort(here)), self.covered_fraction(place) > 0.0, self.cells)

    @cached_property
    def _prepared(self) -> NDArray[np.object_]:
        shapely.prepare(self._shapes)
        return self._shapes

    @cached_property
    def _tree(self) -> shapely.STRtree:
        return shapely.STRtree(self._shapes)

    def _is(self, wanted: Sequence[str]) -> NDArray[np.bool_]:
        return np.isin(self._objects, wanted) if wanted else np.ones(len(self._objects), dtype=np.bool_)

    def _only(self, rows: NDArray[np.int64], wanted: Sequence[str]) -> NDArray[np.int64]:
        rows = np.sort(rows)
        return rows[np.isin(self._objects[rows], wanted)] if wanted else rows

    def _pick(self, rows: NDArray[np.int64]) -> tuple[Feature, ...]:
        features = self.table.features
        return tuple(features[int(row)] for row in rows)
