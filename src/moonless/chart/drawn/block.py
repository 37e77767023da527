"""A piece of the chart worked out for drawing: cut once, generalised once for each zoom, then asked tile by tile.

Rules: areas of the sea floor are generalised together, so that neighbours keep the edge they share and no gap opens
between them; the shore and the depth contours are those very edges.  What is cut off at the block's own border is cut
well outside its tiles.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.around import Cut, cut_boxes
from moonless.chart.drawn import what
from moonless.chart.drawn.edges import edges_of
from moonless.chart.drawn.grid import Tile, mercator_of, pixel_m, scale_at
from moonless.chart.drawn.points import points_of
from moonless.chart.index import CellIndex
from moonless.chart.s57.attributes import Attributes, number

# A twentieth of a metre: finer than any tile, coarse enough to make equal again what overlays moved by a last bit.
GRID_M = 0.05
# Shown around a tile, so that strokes do not end at its border.
BUFFER_PX = 16.0
_MARGIN_PX = 24.0
# Corners nobody could see are dropped: a third of a pixel.
_TOLERANCE_PX = 0.35
# A cell is too detailed for a view this many times smaller in scale, where another covers.  Own choice.
_TOO_DETAILED = 8.0
# What lies across an edge is looked for so far away.
_REACH_M = 0.3

# Covered water in no depth area is told as such if it is wider than some metres.
_REST_M = 2.0

# Levels of the sea floor: land, what is built, water of unknown depth, then by depth.
_LAND, _BUILT, _UNKNOWN = -1000.0, -500.0, -99.0

Row = dict[str, str | float | None]


@dataclass(frozen=True, slots=True, eq=False)
class TileLayer:
    """Things of one tile layer: shapes in Mercator metres, the zoom each begins at, and what is said of it."""

    shapes: NDArray[np.object_]
    zoom_from: NDArray[np.float64]
    rows: Sequence[Row]
    tree: shapely.STRtree


def layer(shapes: NDArray[np.object_], zoom_from: NDArray[np.float64], rows: Sequence[Row]) -> TileLayer:
    """Return a layer ready to be asked."""
    return TileLayer(shapes, zoom_from, rows, shapely.STRtree(shapes))


def suited(indexes: Sequence[CellIndex], zoom: int, lat_deg: float) -> list[CellIndex]:
    """Return cells, given best first, in the order they are drawn at a zoom.

    Those far too detailed for the view come after all others, the coarsest of them first: they fill what nothing
    else covers.
    """
    if zoom >= what.BLOCK_ZOOM:
        return list(indexes)
    limit = scale_at(zoom, lat_deg) / _TOO_DETAILED
    return [i for i in indexes if i.cell.scale >= limit] + [i for i in reversed(indexes) if i.cell.scale < limit]


class Block:
    """What the cells show in one tile's square and a little round it."""

    def __init__(self, indexes: Sequence[CellIndex], tile: Tile) -> None:
        box = tile.box_deg(_MARGIN_PX)
        self.tile = tile
        self._lat_deg = (box[1] + box[3]) / 2.0
        self._cut = cut_boxes(suited(indexes, tile.z, self._lat_deg), [box], what.classes_at(tile.z))
        self._levels: dict[int, tuple[TileLayer, TileLayer]] = {}

    @property
    def is_empty(self) -> bool:
        """True where no cell covers any of it."""
        return self._cut is None

    def layers(self, zoom: int) -> Mapping[str, TileLayer]:
        """Return the layers of a zoom: area, line, point.  Empty where nothing is covered."""
        if self._cut is None:
            return {}
        if zoom not in self._levels:
            self._levels[zoom] = self._level(self._cut, zoom)
        area, line = self._levels[zoom]
        return {"area": area, "line": line, "point": self._points}

    @cached_property
    def _points(self) -> TileLayer:
        assert self._cut is not None
        return layer(*points_of(self._cut, self._lat_deg, self._floor[:2]))

    @cached_property
    def _floor(self) -> tuple[NDArray[np.object_], NDArray[np.float64], list[Row]]:
        """Areas of the sea floor, the level of each, and what is said of it."""
        cut = self._cut
        assert cut is not None
        is_area = np.isin(cut.objects, tuple(what.FLOOR)) & (shapely.get_dimensions(cut.lonlat) == 2)
        kept = np.flatnonzero(is_area)
        shapes = mercator_of(cut.lonlat[kept], GRID_M)
        level, rows = np.empty(len(kept)), []
        for n, i in enumerate(kept.tolist()):
            level[n], row = _said_of_floor(str(cut.objects[i]), cut.rows[i])
            rows.append(row)
        rest = _left_over(self._cover[0], shapes)
        unknown = np.full(len(rest), _UNKNOWN)
        rows += [{"k": "depth"} for _ in rest]
        return np.concatenate([shapes, rest]), np.concatenate([level, unknown]), rows

    @cached_property
    def _cover(self) -> NDArray[np.object_]:
        assert self._cut is not None
        return mercator_of(np.array([self._cut.coverage_lonlat], dtype=object), GRID_M)

    def _level(self, cut: Cut, zoom: int) -> tuple[TileLayer, TileLayer]:
        tolerance = 0.0 if zoom >= what.MAX_ZOOM else _TOLERANCE_PX * pixel_m(zoom)
        shapes, level, rows = self._floor
        if tolerance > 0.0 and len(shapes):
            shapes = shapely.coverage_simplify(shapes, tolerance)
        areas = np.concatenate([self._cover, shapes])
        area = layer(areas, np.zeros(len(areas)), [{"k": "cover"}, *rows])
        edges = edges_of(shapes, level, _REACH_M)
        other, from_zoom, said = self._lines
        if tolerance > 0.0 and len(other):
            other = shapely.simplify(other, tolerance)
        lines = np.concatenate([edges.lines, other])
        starts = np.concatenate([np.zeros(len(edges.lines)), from_zoom])
        spoken = [_said_of_edge(low, high) for low, high in zip(edges.low.tolist(), edges.high.tolist(), strict=True)]
        return area, layer(lines, starts, [*spoken, *said])

    @cached_property
    def _lines(self) -> tuple[NDArray[np.object_], NDArray[np.float64], list[Row]]:
        """Everything drawn as a line but the sea floor's edges."""
        cut = self._cut
        assert cut is not None
        shapes: list[shapely.Geometry] = []
        starts: list[float] = []
        rows: list[Row] = []
        is_line = np.isin(cut.objects, (*what.LINES, *what.LAND, "BRIDGE")) & (shapely.get_dimensions(cut.lonlat) > 0)
        kept = np.flatnonzero(is_line)
        moved = mercator_of(cut.lonlat[kept], GRID_M)
        for shape, i in zip(moved, kept.tolist(), strict=True):
            name, given = str(cut.objects[i]), cut.rows[i]
            if name in what.LAND:
                # An island too narrow for an area; areas give their edges.
                if shapely.get_dimensions(shape) == 1:
                    shapes, starts, rows = [*shapes, shape], [*starts, 11.0], [*rows, {"k": "shore"}]
                continue
            if name == "BRIDGE":
                shapes.append(middle_line(shape))
                starts.append(what.zoom_from({}, what.BRIDGE_ZOOM, self._lat_deg))
                opens = "VERCOP" in given or "VERCCL" in given
                rows.append({"k": "bridge", "b": 1.0 if opens else 0.0})
                continue
            # Outlines run with the area on their right hand, so that what is drawn inside it is.
            if shapely.get_dimensions(shape) == 2:
                shape = shapely.boundary(shapely.orient_polygons(shape, exterior_cw=True))
            shapes.append(shape)
            starts.append(what.zoom_from(given, what.LINES[name].zoom, self._lat_deg))
            rows.append({"k": what.line_kind(name, given)})
        out = np.empty(len(shapes), dtype=object)
        out[:] = shapes
        return out, np.array(starts), rows


def middle_line(shape: shapely.Geometry) -> shapely.Geometry:
    """Return the line along the middle of a long narrow area, such as a bridge; a line is its own.

    An area that is no plain strip keeps its outline.
    """
    if shapely.get_dimensions(shape) < 2:
        return shape
    strip = shapely.oriented_envelope(shape)
    if shapely.get_type_id(strip) != 3 or shapely.area(shape) < 0.6 * shapely.area(strip):
        return shapely.boundary(shape)
    a, b, c, d = shapely.get_coordinates(shapely.get_exterior_ring(strip))[:4]
    # From the middle of one short side to that of the other.
    is_short = np.hypot(*(b - a)) < np.hypot(*(c - b))
    return shapely.LineString([(a + b) / 2.0, (c + d) / 2.0] if is_short else [(b + c) / 2.0, (d + a) / 2.0])


def _left_over(cover: shapely.Geometry, floor: NDArray[np.object_]) -> NDArray[np.object_]:
    """Return what is covered and yet is in no area of the sea floor, as polygons: water of which nothing is said."""
    try:
        known = shapely.coverage_union_all(floor) if len(floor) else shapely.Polygon()
        rest = shapely.get_parts(shapely.difference(cover, known))
    except shapely.errors.GEOSException:
        # Areas that overlap, which a chart should not have: slower, on a grid where it always succeeds.
        known = shapely.union_all(shapely.make_valid(floor), grid_size=GRID_M)
        rest = shapely.get_parts(shapely.difference(cover, known, grid_size=GRID_M))
    # What rounding leaves along edges is thinner than a boat.
    thick = shapely.area(rest) > _REST_M * shapely.length(rest)
    out: NDArray[np.object_] = rest[thick & (shapely.get_dimensions(rest) == 2)]
    return out


def _said_of_floor(name: str, given: Attributes) -> tuple[float, Row]:
    """Return the level of an area of the sea floor, and what its tile says of it."""
    if name in what.LAND:
        return _LAND, {"k": "land"}
    if name in what.BUILT:
        return _BUILT, {"k": "built"}
    depth = number(given, "DRVAL1")
    # Without a least depth the water is unknown, and is drawn as shoal.
    return (_UNKNOWN, {"k": "depth"}) if depth is None else (depth, {"k": "depth", "d": depth})


def _said_of_edge(low: float, high: float) -> Row:
    if low <= _BUILT:
        return {"k": "shore" if low == _LAND else "works"}
    # From the depth ``a`` on the shoaler side to ``b`` on the deeper, which is the contour's own depth.
    return {"k": "contour", "a": low, "b": high}
