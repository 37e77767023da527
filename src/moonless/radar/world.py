"""The still part of what a radar sees, prepared once from the chart and asked at every turn."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.local import LocalChart
from moonless.chart.types import Mark
from moonless.frames import LocalFrame
from moonless.radar.environment.heights import HeightRaster, LandDefaults, height_raster, read_ground
from moonless.radar.targets import target_of_mark
from moonless.radar.types import PointTarget
from moonless.radar.walls import ON_LAND, WallEdges, Walls, edges_of, walls_of


@dataclass(frozen=True, eq=False)
class World:
    """Land, built things and marks in one frame's metres.  Make it with `World.from_chart`, or `World.of_land`."""

    frame: LocalFrame
    east_m: float  # middle of what was prepared
    north_m: float
    radius_m: float
    land: shapely.Geometry
    land_edges: WallEdges
    walls: Walls
    raster: HeightRaster
    defaults: LandDefaults
    marks: tuple[Mark, ...]
    cables: tuple[NDArray[np.float64], ...] = ()  # each (n, 2): overhead cables, east and north
    seed: int = 0

    @staticmethod
    def from_chart(
        chart: LocalChart,
        *,
        heights: Path | None = None,
        defaults: LandDefaults | None = None,
        seed: int = 0,
    ) -> World:
        """Return the world of a chart.

        ``heights``: any GDAL raster of ground heights.  ``seed``: of the roughness given to land (what stands on it,
        which no chart tells).  Raises SourceError if the raster cannot be read.
        """
        chosen = defaults or LandDefaults()
        east, north = (float(v) for v in chart.frame.to_plane(chart.centre_lat_deg, chart.centre_lon_deg))
        radius = chart.radius_m
        ground = None if heights is None else read_ground(heights, chart.frame, east, north, radius)
        land = chart.land
        raster = height_raster(land, chart.features("LNDELV", "BUAARE"), east, north, radius, chosen, seed, ground)
        built = [*chart.structures, *chart.features(*ON_LAND)]
        cables = tuple(
            shapely.get_coordinates(f.shape)
            for f in chart.features("CBLOHD", "PIPOHD")
            if shapely.get_dimensions(f.shape) == 1
        )
        return World(
            frame=chart.frame,
            east_m=east,
            north_m=north,
            radius_m=radius,
            land=land,
            land_edges=_land_edges(land),
            walls=walls_of(built, chart.bridges, 0.5 * chosen.height_m),
            raster=raster,
            defaults=chosen,
            marks=chart.marks,
            cables=cables,
            seed=seed,
        )

    @staticmethod
    def of_land(
        land: shapely.Geometry,
        *,
        radius_m: float = 12_000.0,
        frame: LocalFrame | None = None,
        defaults: LandDefaults | None = None,
        seed: int = 0,
    ) -> World:
        """Return a world of nothing but these polygons round (0, 0); an empty geometry is open water."""
        chosen = defaults or LandDefaults()
        return World(
            frame=frame or LocalFrame(0.0, 0.0),
            east_m=0.0,
            north_m=0.0,
            radius_m=radius_m,
            land=land,
            land_edges=_land_edges(land),
            walls=walls_of((), (), 0.0),
            raster=height_raster(land, (), 0.0, 0.0, radius_m, chosen, seed),
            defaults=chosen,
            marks=(),
            seed=seed,
        )

    @cached_property
    def mark_targets(self) -> tuple[PointTarget, ...]:
        """What each of ``marks`` should be to a radar, in the same order."""
        return tuple(target_of_mark(mark) for mark in self.marks)

    def is_on_land(self, east_m: float, north_m: float) -> bool:
        """Return whether a place lies in charted land (a berth drawn too coarsely, or a wrong position)."""
        return bool(shapely.intersects_xy(self.land, east_m, north_m)) if not shapely.is_empty(self.land) else False


def _land_edges(land: shapely.Geometry) -> WallEdges:
    rings = []
    for part in shapely.get_parts(land):
        if part.geom_type == "Polygon" and not part.is_empty:
            rings.extend([part.exterior, *part.interiors])
    return edges_of(rings)
