"""The cut: which features of which cell hold around a place, each piece of the earth from one cell only.

Cells come best first.  What a better cell covers is cut out of every lesser one, so no feature is drawn twice where
cells overlap, and a line that crosses the seam continues in the lesser cell from the seam on.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.index import CellIndex
from moonless.chart.local import LocalChart
from moonless.chart.overlay import GRID_DEG
from moonless.chart.plane import plane_of
from moonless.chart.s57.attributes import Attributes
from moonless.chart.types import Cell
from moonless.constants import WGS84_A_M, WGS84_F
from moonless.errors import NoCoverage
from moonless.frames import LocalFrame

Box = tuple[float, float, float, float]  # west, south, east, north; degrees

# A cell's own edge, drawn by features that end on it: about a centimetre, far below what a chart can say.
_EDGE_DEG = 1e-7
# Shapes with more vertices than this are clipped to the box; smaller ones stay whole, which is cheaper.
_CLIP_VERTICES = 400


@dataclass(frozen=True, slots=True)
class _Piece:
    cell: Cell
    objects: NDArray[np.str_]
    shapes: NDArray[np.object_]
    identifiers: list[str]
    rows: list[Attributes]


def cut_around(indexes: Sequence[CellIndex], here: LocalFrame, radius_m: float, frame: LocalFrame) -> LocalChart:
    """Return what the cells, best first, show within ``radius_m`` of the origin of ``here``, in ``frame``.

    Raises NoCoverage if none of them covers any of it.
    """
    cut = cut_boxes(indexes, boxes_about(here.lat_deg, here.lon_deg, radius_m))
    if cut is None:
        names = ", ".join(index.cell.name for index in indexes[:6])
        raise NoCoverage(
            f"no chart covers any place within {radius_m:.0f} m of {here.lat_deg:.5f}, {here.lon_deg:.5f}; "
            f"the cells open ({names}{', ...' if len(indexes) > 6 else ''}) lie elsewhere"
        )
    return cut.local(here.lat_deg, here.lon_deg, radius_m, frame)


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """What the cells show in some boxes; n features as parallel columns."""

    cells: tuple[Cell, ...]  # best first
    coverage_lonlat: shapely.Geometry
    objects: NDArray[np.str_]
    lonlat: NDArray[np.object_]
    identifiers: list[str]
    rows: list[Attributes]
    row_cells: list[Cell]

    def only(self, which: NDArray[np.bool_]) -> Cut:
        """Return the part of it that is marked."""
        kept = np.flatnonzero(which)
        return Cut(
            self.cells,
            self.coverage_lonlat,
            self.objects[kept],
            self.lonlat[kept],
            [self.identifiers[i] for i in kept],
            [self.rows[i] for i in kept],
            [self.row_cells[i] for i in kept],
        )

    def local(self, lat_deg: float, lon_deg: float, radius_m: float, frame: LocalFrame) -> LocalChart:
        """Return it in the metres of a frame, ready to be asked."""
        return LocalChart(
            frame=frame,
            centre_lat_deg=lat_deg,
            centre_lon_deg=lon_deg,
            radius_m=radius_m,
            cells=self.cells,
            coverage_lonlat=self.coverage_lonlat,
            objects=self.objects,
            lonlat=self.lonlat,
            shapes=plane_of(self.lonlat, frame),
            identifiers=self.identifiers,
            rows=self.rows,
            row_cells=self.row_cells,
        )


def cut_boxes(
    indexes: Sequence[CellIndex], boxes: Sequence[Box], wanted: frozenset[str] | None = None
) -> Cut | None:
    """Return what the cells, best first, show in boxes of degrees: all classes or the wanted; None: not covered."""
    pieces: list[_Piece] = []
    covered: list[shapely.Geometry] = []
    for box in boxes:
        window = shapely.box(*box)
        taken: shapely.Geometry = shapely.Polygon()
        for index in indexes:
            west, south, east, north = index.coverage_bounds
            if west > box[2] or east < box[0] or south > box[3] or north < box[1]:
                continue
            own = index.cell.coverage_lonlat
            here_covered = shapely.intersection(own, window, grid_size=GRID_DEG)
            if shapely.area(here_covered) == 0.0:
                continue
            if shapely.area(shapely.difference(here_covered, taken, grid_size=GRID_DEG)) > 0.0:
                pieces.append(_cut(index, box, window, own, taken, wanted))
            taken = shapely.union(taken, own, grid_size=GRID_DEG)
        taken = shapely.intersection(taken, window, grid_size=GRID_DEG)
        if shapely.area(taken) > 0.0:
            covered.append(taken)
    if not covered:
        return None
    # An empty first array keeps concatenate happy when a cell shows nothing here.
    return Cut(
        cells=tuple(dict.fromkeys(piece.cell for piece in pieces)),
        coverage_lonlat=shapely.union_all(covered, grid_size=GRID_DEG),
        objects=np.concatenate([np.empty(0, dtype="U6"), *(piece.objects for piece in pieces)]),
        lonlat=np.concatenate([np.empty(0, dtype=object), *(piece.shapes for piece in pieces)]),
        identifiers=[name for piece in pieces for name in piece.identifiers],
        rows=[row for piece in pieces for row in piece.rows],
        row_cells=[piece.cell for piece in pieces for _ in piece.identifiers],
    )


def boxes_about(lat_deg: float, lon_deg: float, radius_m: float) -> list[Box]:
    """Return boxes in degrees that hold every place within a radius; two where it crosses the date line."""
    # The smallest radius of curvature on the ellipsoid (the meridian's on the equator) and a millionth for rounding:
    # the box is a little too large, never too small.
    smallest_m = WGS84_A_M * (1.0 - WGS84_F) ** 2
    reach_deg = math.degrees(radius_m / smallest_m) * (1.0 + 1e-6)
    south, north = max(-90.0, lat_deg - reach_deg), min(90.0, lat_deg + reach_deg)
    widest = max(abs(south), abs(north))
    if widest >= 89.9:
        return [(-180.0, south, 180.0, north)]
    wide_deg = reach_deg / math.cos(math.radians(widest))
    middle = (lon_deg + 180.0) % 360.0 - 180.0
    west, east = middle - wide_deg, middle + wide_deg
    boxes = [(max(west, -180.0), south, min(east, 180.0), north)]
    if west < -180.0:
        boxes.append((west + 360.0, south, 180.0, north))
    if east > 180.0:
        boxes.append((-180.0, south, east - 360.0, north))
    return boxes


def _cut(
    index: CellIndex,
    box: Box,
    window: shapely.Geometry,
    own: shapely.Geometry,
    taken: shapely.Geometry,
    wanted: frozenset[str] | None,
) -> _Piece:
    rows = index.rows_in(*box)
    if wanted is not None:
        rows = rows[np.isin(index.objects(rows), tuple(wanted))]
    shapes = index.shapes(rows).copy()
    west, south, east, north = box
    b = index.bounds(rows)
    sticks_out = (b[:, 0] < west) | (b[:, 1] < south) | (b[:, 2] > east) | (b[:, 3] > north)
    large = sticks_out & (shapely.get_num_coordinates(shapes) > _CLIP_VERTICES)
    if large.any():
        shapes[large] = _trimmed(shapes[large], window, shapely.intersection, None)
    # What lies over the cell's own edge ends there: nothing is shown where coverage is not stated.
    edge = shapely.buffer(own, _EDGE_DEG)
    if not shapely.covers(edge, window):
        shapely.prepare(edge)
        over = ~shapely.covers(edge, shapes)
        shapes[over] = _trimmed(shapes[over], edge, shapely.intersection, GRID_DEG)
    if not shapely.is_empty(taken):
        shapely.prepare(taken)
        hit = shapely.intersects(taken, shapes)
        shapes[hit] = _trimmed(shapes[hit], taken, shapely.difference, GRID_DEG)
    keep = ~(shapely.is_empty(shapes) | shapely.is_missing(shapes))
    rows, shapes = rows[keep], shapes[keep]
    described = [index.row(int(row)) for row in rows]
    return _Piece(
        index.cell,
        index.objects(rows),
        shapes,
        [identifier for identifier, _ in described],
        [attributes for _, attributes in described],
    )


def _trimmed(
    shapes: NDArray[np.object_],
    by: shapely.Geometry,
    how: Callable[..., NDArray[np.object_]],
    grid_deg: float | None,
) -> NDArray[np.object_]:
    """Cut shapes, keeping only parts of their own dimension (an area that merely touches leaves no line behind).

    On a grid where edges of two cells meet, so that edges that differ in the last bits leave no slivers for later
    overlays to trip over.
    """
    if not len(shapes):
        return shapes
    dimension = shapely.get_dimensions(shapes)
    out: NDArray[np.object_] = how(shapes, by, grid_size=grid_deg)
    changed = (shapely.get_dimensions(out) != dimension) | (shapely.get_type_id(out) == 7)
    for i in np.flatnonzero(changed):
        parts = [part for part in shapely.get_parts(out[i]) if shapely.get_dimensions(part) == dimension[i]]
        out[i] = shapely.union_all(parts) if parts else shapely.Point()
    return out
