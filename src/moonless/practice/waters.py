"""The waters that are practised on: the demo's invented ones, or those of the skipper's own charts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from moonless.chart.library import Chart
from moonless.chart.local import LocalChart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.chart.types import Cell
from moonless.errors import InputError, NoCoverage
from moonless.frames import geodesic
from moonless.practice.types import Place
from moonless.radar.world import World

# As much of a chart as is taken at once, metres from its middle: some hours' run for a small boat.
REACH_M = 9_000.0
# Step of the raster in which places to lie are sought.  Fine enough for a canal's middle.
STEP_M = 40.0
# How far off the land a boat keeps in an exercise, at the least.
CLEAR_M = 60.0
# Water under the keel, at the least.
UNDER_KEEL_M = 1.0
# Land within so much: open sea far from all land has little to practise on.
_LAND_WITHIN_M = 3_000.0
_TRIES = 60


@dataclass(frozen=True, eq=False)
class PracticeWaters:
    """A part of a chart with the world it stands for.  Make it with `open_waters`."""

    name: str
    chart: LocalChart
    world: World
    draught_m: float
    known: tuple[tuple[Place, str], ...] = ()  # what local knowledge has there and the chart has not: place, words

    @cached_property
    def solid(self) -> shapely.Geometry:
        """Land and what is built along it."""
        built = [f.shape.buffer(2.0, quad_segs=2) for f in self.chart.structures]
        joined = shapely.union_all([self.world.land, *built])
        shapely.prepare(joined)
        return joined

    @cached_property
    def navigable(self) -> NDArray[np.float64]:
        """(n, 3): east, north and metres to the nearest land, of places with water enough."""
        middle = self.chart.frame.to_plane(self.chart.centre_lat_deg, self.chart.centre_lon_deg)
        reach = self.chart.radius_m
        axis = np.arange(-reach, reach + STEP_M, STEP_M)
        east, north = np.meshgrid(axis + float(middle[0]), axis + float(middle[1]))
        deep = [
            f.shape
            for f in self.chart.features("DEPARE", "DRGARE")
            if (f.number("DRVAL1") or -math.inf) >= self.draught_m + UNDER_KEEL_M
        ]
        water = shapely.union_all(deep)
        shapely.prepare(water)
        is_deep = shapely.contains_xy(water, east, north)
        is_solid = shapely.contains_xy(self.solid, east, north)
        away = ndimage.distance_transform_edt(~is_solid) * STEP_M if is_solid.any() else np.full(east.shape, math.inf)
        near = np.hypot(east - middle[0], north - middle[1]) <= reach
        found = is_deep & near & (away >= CLEAR_M)
        return np.column_stack([east[found], north[found], away[found]])

    def place(self, chance: np.random.Generator, land_m: tuple[float, float] = (0.0, math.inf)) -> Place | None:
        """Return a place with water enough, its nearest land within the bounds; None if there is none such."""
        rows = self.navigable
        rows = rows[(rows[:, 2] >= land_m[0]) & (rows[:, 2] <= land_m[1])]
        if not len(rows):
            return None
        # In a ring of the chart's own edge the picture would end in water nobody knows.
        east, north, _ = rows[int(chance.integers(len(rows)))]
        return float(east), float(north)

    def is_navigable(self, place: Place, clear_m: float = CLEAR_M) -> bool:
        """Whether a place has water enough and keeps off the land."""
        east, north = place
        away = np.abs(self.navigable[:, 0] - east) + np.abs(self.navigable[:, 1] - north)
        at = int(np.argmin(away)) if len(away) else -1
        return at >= 0 and away[at] <= 1.5 * STEP_M and float(self.navigable[at, 2]) >= clear_m

    def is_clear(self, start: Place, end: Place, clear_m: float = CLEAR_M) -> bool:
        """Whether a straight track has water enough all along."""
        n = max(2, math.ceil(math.dist(start, end) / STEP_M))
        return all(
            self.is_navigable((start[0] + (end[0] - start[0]) * k / n, start[1] + (end[1] - start[1]) * k / n), clear_m)
            for k in range(n + 1)
        )


def open_waters(
    paths: Sequence[Path],
    draught_m: float,
    at: tuple[float, float] | None = None,
    seed: int = 0,
    knowledge: Knowledge | None = None,
) -> PracticeWaters:
    """Return waters of some charts, with what local knowledge has there.

    ``at``: latitude and longitude they lie about; None: the whole of a small chart, or a place in a large one, drawn by
    ``seed``, with land near.

    Raises
    ------
    ChartError  If a chart cannot be read.
    InputError  If there is no charted water deep enough there.
    """
    chart = Chart.open(list(paths))
    chance = np.random.default_rng([seed, 71])
    tried: set[tuple[float, float]] = set()
    for _ in range(1 if at is not None else _TRIES):
        cell = chart.cells[int(chance.integers(len(chart.cells)))]
        lat, lon = at if at is not None else _middle(cell, chance)
        # A small chart has one middle.
        if (lat, lon) in tried:
            continue
        tried.add((lat, lon))
        try:
            local = chart.around(lat, lon, REACH_M)
        except NoCoverage:
            continue
        east, north = (float(v) for v in local.frame.to_plane(lat, lon))
        if at is None and shapely.distance(local.land, shapely.Point(east, north)) > _LAND_WITHIN_M:
            continue
        waters = PracticeWaters(
            cell.name, local, World.from_chart(local, seed=seed), draught_m, _known(knowledge, local, lat, lon)
        )
        if len(waters.navigable):
            return waters
    where = "there" if at is not None else f"on {', '.join(cell.name for cell in chart.cells[:4])}"
    raise InputError(f"no charted water {where} is {draught_m + UNDER_KEEL_M:g} m deep or more; name another place")


def _known(
    knowledge: Knowledge | None, local: LocalChart, lat: float, lon: float
) -> tuple[tuple[Place, str], ...]:
    if knowledge is None:
        return ()
    return tuple(
        ((float(e), float(n)), thing.words)
        for thing in knowledge.things_around(lat, lon, REACH_M)
        for e, n in [local.frame.to_plane(thing.lat_deg, thing.lon_deg)]
    )


def _middle(cell: Cell, chance: np.random.Generator) -> tuple[float, float]:
    """Return the middle of a small chart, or a place in a large one."""
    west, south, east, north = cell.coverage_lonlat.bounds
    lat, lon = 0.5 * (south + north), 0.5 * (west + east)
    half_m, _ = geodesic(lat, lon, north, east)
    if half_m <= 1.2 * REACH_M:
        return lat, lon
    for _ in range(_TRIES):
        at = float(chance.uniform(south, north)), float(chance.uniform(west, east))
        if shapely.contains_xy(cell.coverage_lonlat, at[1], at[0]):
            return at
    return lat, lon
