"""A route proposed along water deep enough, off the land, between two places on the chart.

The water is laid out as a square grid.  A square may be entered where a charted depth area, at chart datum with no
tide added, leaves draught, margin and the survey's own error (CATZOC) over the bottom, and no danger, structure, low
bridge or prohibited area lies in it.  The shortest way is sought with a cost that rises towards the edge of that water,
so that the track keeps off where there is room and still passes a channel.  Corners that can be cut without leaving it
are cut.

What it does not know: traffic, streams, sea, what the chart does not show.  The proposal is planned and held against
the chart like a drawn route, and refused like one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from moonless.boat.types import Boat
from moonless.chart.dangers.needs import BRIDGE_MARGIN_M, DEPTH_ERROR_M, danger_depth_m
from moonless.chart.library import Chart
from moonless.chart.local import LocalChart
from moonless.chart.types import Catzoc
from moonless.errors import InputError, NoCoverage
from moonless.frames import LocalFrame, geodesic
from moonless.passage.way.route import Route, Waypoint

LONGEST_M = 30.0 * 1852.0
MOST_CELLS = 360  # along one side
FINEST_M = 15.0
# A place this near deep water is moved to it: a berth drawn on the quay, a finger on a small screen.
SNAP_M = 250.0
# How much dearer a step is right beside the edge of deep water than out of its reach.  No source: chosen so that a
# detour of up to three times the way is taken to keep off.
EDGE_COST = 3.0
ROCK_M = 40.0  # kept from a rock, wreck or obstruction, besides its own charted place error

_STEPS = ((0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (2, 1), (2, -1), (1, -2))


@dataclass(frozen=True, slots=True, eq=False)
class Water:
    """Where the boat may go: a grid, row 0 in the south; ``edge_m`` is how far each open square is from a shut one."""

    frame: LocalFrame
    west_m: float
    south_m: float
    cell_m: float
    open: NDArray[np.bool_]  # (n_row, n_column)
    edge_m: NDArray[np.float64]

    def square(self, east_m: float, north_m: float) -> tuple[int, int]:
        """Return (row, column) of a place."""
        row, column = (north_m - self.south_m) / self.cell_m, (east_m - self.west_m) / self.cell_m
        return min(max(int(row), 0), self.open.shape[0] - 1), min(max(int(column), 0), self.open.shape[1] - 1)

    def place(self, row: float, column: float) -> tuple[float, float]:
        """Return (east, north) of a square's middle."""
        return self.west_m + (column + 0.5) * self.cell_m, self.south_m + (row + 0.5) * self.cell_m


def propose(
    chart: Chart, boat: Boat, start: tuple[float, float], end: tuple[float, float], name: str = "proposed route"
) -> Route:
    """Return a route from one (lat, lon) to another.

    Raises InputError if they are too far apart, if no deep water lies near one of them, or if none joins them;
    NoCoverage if no chart covers the place between.
    """
    distance, _ = geodesic(*start, *end)
    if distance > LONGEST_M:
        most = f"{LONGEST_M / 1852:.0f} NM is the most"
        raise InputError(f"{distance / 1852:.0f} NM is too far to propose a way for; {most}")
    frame = LocalFrame((start[0] + end[0]) / 2, start[1] + _step(start[1], end[1]) / 2)
    ends = [frame.to_plane(*start), frame.to_plane(*end)]
    water = open_water(chart, boat, frame, ends)
    squares = [_nearest_open(water, *place, label) for place, label in zip(ends, ("start", "end"), strict=True)]
    path = _cheapest(water, squares[0], squares[1], boat.skipper.keep_off_m)
    corners = _straighten(water, path)
    waypoints = []
    for number, (row, column) in enumerate(corners):
        lat, lon = frame.to_geographic(*water.place(row, column))
        label = "start" if number == 0 else "end" if number == len(corners) - 1 else f"turn {number}"
        waypoints.append(Waypoint(label, float(lat), float(lon)))
    return Route(name, tuple(waypoints))


def _step(from_lon: float, to_lon: float) -> float:
    return (to_lon - from_lon + 180.0) % 360.0 - 180.0


def open_water(chart: Chart, boat: Boat, frame: LocalFrame, ends: list[tuple[float, float]]) -> Water:
    """Return the water the boat may use round two places."""
    xy = np.array(ends)
    margin = max(1500.0, 0.35 * float(np.hypot(*(xy[1] - xy[0]))))
    west, south = xy.min(axis=0) - margin
    east, north = xy.max(axis=0) + margin
    cell = max(FINEST_M, max(east - west, north - south) / MOST_CELLS)
    n_row, n_column = int((north - south) / cell) + 1, int((east - west) / cell) + 1
    lat, lon = frame.to_geographic((west + east) / 2, (south + north) / 2)
    local = chart.around(float(lat), float(lon), float(np.hypot(east - west, north - south)) / 2, frame=frame)
    deep = _deep(local, boat)
    columns, rows = np.meshgrid(np.arange(n_column), np.arange(n_row))
    shapely.prepare(deep)
    allowed = shapely.contains_xy(deep, west + (columns + 0.5) * cell, south + (rows + 0.5) * cell)
    edge = distance_transform_edt(np.pad(allowed, 1))[1:-1, 1:-1] * cell
    # Half a square may be shut although its middle is open.
    return Water(frame, float(west), float(south), float(cell), np.asarray(allowed), np.asarray(edge))


def _deep(local: LocalChart, boat: Boat) -> shapely.Geometry:
    need = boat.draught_m + boat.skipper.depth_margin_m
    fit, shallow = [], []
    for feature in local.features("DEPARE", "DRGARE"):
        if shapely.get_dimensions(feature.shape) < 2:
            continue
        depth = feature.number("DRVAL1")
        fixed, share = DEPTH_ERROR_M[_zone(local, feature.shape)]
        if depth is not None and depth - fixed - share * max(depth, 0.0) >= need:
            fit.append(feature.shape)
        else:
            shallow.append(feature.shape)
    shut = [*shallow, local.land, *(f.shape for f in local.features("UNSARE"))]
    for feature in local.features("UWTROC", "WRECKS", "OBSTRN"):
        depth = danger_depth_m(feature)
        if depth is None or depth < need + 1.0:
            shut.append(feature.shape.buffer(ROCK_M))
    shut += [f.shape.buffer(FINEST_M) for f in local.structures]
    shut += [f.shape for f in local.features("RESARE") if {7, 14} & {int(c) for c in f.attributes.get("RESTRN", ())}]
    shut += [f.shape.buffer(30.0) for f in local.features("MARCUL")]
    for bridge in local.bridges:
        for span in bridge.spans:
            if span.clearance_m is None or span.clearance_m < boat.air_draught_m + BRIDGE_MARGIN_M:
                shut.append(span.shape.buffer(2.0 * FINEST_M))
    return shapely.difference(shapely.union_all(fit), shapely.union_all(shut))


def _zone(local: LocalChart, shape: shapely.Geometry) -> Catzoc:
    point = shapely.point_on_surface(shape)
    try:
        return local.quality_at(point.x, point.y).catzoc
    except NoCoverage:
        return "U"  # a piece that reaches past its cell's coverage: nobody vouches for it


def _nearest_open(water: Water, east_m: float, north_m: float, label: str) -> tuple[int, int]:
    row, column = water.square(east_m, north_m)
    if water.open[row, column]:
        return row, column
    rows, columns = np.nonzero(water.open)
    away = np.hypot(rows - row, columns - column) * water.cell_m
    if away.size == 0 or away.min() > SNAP_M:
        raise InputError(f"the {label} lies more than {SNAP_M:.0f} m from water deep enough on the chart")
    nearest = int(np.argmin(away))
    return int(rows[nearest]), int(columns[nearest])


def _cheapest(water: Water, start: tuple[int, int], end: tuple[int, int], keep_off_m: float) -> list[tuple[int, int]]:
    n_row, n_column = water.open.shape
    near = np.clip(1.0 - water.edge_m / max(keep_off_m, water.cell_m), 0.0, 1.0)
    dear = 1.0 + EDGE_COST * near**2
    number = np.arange(n_row * n_column).reshape(n_row, n_column)
    heads, tails, costs = [], [], []
    for down, across in _STEPS:
        a = np.s_[: n_row - down, max(0, -across) : n_column - max(0, across)]
        b = np.s_[down:, max(0, across) : n_column - max(0, -across)]
        both = water.open[a] & water.open[b]
        if down + abs(across) == 3:  # a knight's step passes between two squares: both must be open as well
            both = both & _between(water.open, down, across, a)
        length = math.hypot(down, across) * water.cell_m
        heads.append(number[a][both])
        tails.append(number[b][both])
        costs.append(length * 0.5 * (dear[a][both] + dear[b][both]))
    head, tail, cost = np.concatenate(heads), np.concatenate(tails), np.concatenate(costs)
    graph = coo_array((cost, (head, tail)), shape=(number.size, number.size)).tocsr()
    source, goal = int(number[start]), int(number[end])
    reach, before = dijkstra(graph, directed=False, indices=source, return_predecessors=True)
    if not math.isfinite(reach[goal]):
        raise InputError("no water deep enough on the chart joins the two places")
    path = [goal]
    while path[-1] != source:
        path.append(int(before[path[-1]]))
    return [divmod(p, n_column) for p in reversed(path)]


def _between(is_open: NDArray[np.bool_], down: int, across: int, a: tuple[slice, slice]) -> NDArray[np.bool_]:
    """Return whether the two squares a knight's step passes between are open, for squares taken from ``a``."""
    n_row, n_column = is_open.shape
    rows = np.arange(n_row)[a[0]][:, None]
    columns = np.arange(n_column)[a[1]][None, :]
    half_down, half_across = down / 2, across / 2
    low = is_open[rows + math.floor(half_down), columns + math.floor(half_across)]
    high = is_open[rows + math.ceil(half_down), columns + math.ceil(half_across)]
    return np.asarray(low & high)


def _straighten(water: Water, path: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the corners that are left when every stretch is walked straight where that keeps as far off."""
    kept = [path[0]]
    here = 0
    while here < len(path) - 1:
        there = len(path) - 1
        while there > here + 1 and not _clear(water, path[here], path[there], path[here : there + 1]):
            there = here + max(1, (there - here) * 3 // 4)
        kept.append(path[there])
        here = there
    return kept


def _clear(water: Water, a: tuple[int, int], b: tuple[int, int], walked: list[tuple[int, int]]) -> bool:
    steps = max(2, 2 * max(abs(a[0] - b[0]), abs(a[1] - b[1])))
    rows = np.rint(np.linspace(a[0], b[0], steps)).astype(int)
    columns = np.rint(np.linspace(a[1], b[1], steps)).astype(int)
    if not water.open[rows, columns].all():
        return False
    # The straight way may come no nearer the edge than the way found did, short of a quarter.
    least = min(water.edge_m[square] for square in walked)
    return bool(water.edge_m[rows, columns].min() >= 0.75 * least)
