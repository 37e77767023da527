"""The water a way is sought in, as a square grid: where a track may go, and how dear a metre of it is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import distance_transform_edt

from moonless.boat.types import Boat
from moonless.chart.dangers.closed import Closed, closed_water
from moonless.chart.dangers.layout import ChartDangers
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import KeepOuts
from moonless.chart.dangers.types import swept_m
from moonless.chart.library import Chart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.frames import LocalFrame
from moonless.reading.chart_around import keep_outs_around

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Lay:
    """How the water is laid out: squares along one side at the most, the smallest square, how far round the ends."""

    most_cells: int
    finest_m: float
    share: float  # of the distance between the ends, all round
    least_m: float  # and at the least so far


# The next is taken where the one before finds no way: round a headland the way leads far outside the straight one, and
# a creek's mouth between two marks is narrower than a wide grid's squares.  No source.
LAYS = (
    Lay(600, 12.0, 0.35, 1500.0),
    Lay(800, 12.0, 1.0, 6000.0),
    Lay(1100, 8.0, 0.35, 1500.0),
    Lay(1600, 8.0, 1.0, 6000.0),
)
# How much dearer a step is right beside closed water than out of its reach.  No source: chosen so that a detour of up
# to three times the way is taken to keep off.
EDGE_COST = 3.0
# Through what speaks against a way: gone round where that costs less than three times the way.  No source.
AGAINST_COST = 3.0
# Along what the chart offers as a way: fairways, dredged areas, recommended tracks, leading lines.  No source.
OFFERED_COST = 0.6
OFFERED_LINE_M = 60.0  # half the width of a track drawn as a line
_OFFERED = ("FAIRWY", "DRGARE", "RCRTCL", "RECTRC", "NAVLNE", "RCTLPT", "DWRTCL", "TWRTPT")


@dataclass(frozen=True, slots=True, eq=False)
class WaterGrid:
    """Row 0 in the south.  ``edge_m`` is how far each open square is from a closed one."""

    frame: LocalFrame
    dangers: ChartDangers
    west_m: float
    south_m: float
    cell_m: float
    open: Bools  # (n_row, n_column)
    edge_m: Floats
    cost: Floats  # of a metre, 1 on open sea
    keep_outs: KeepOuts = ()

    def square(self, east_m: float, north_m: float) -> tuple[int, int]:
        """Return (row, column) of a place."""
        row, column = (north_m - self.south_m) / self.cell_m, (east_m - self.west_m) / self.cell_m
        return min(max(int(row), 0), self.open.shape[0] - 1), min(max(int(column), 0), self.open.shape[1] - 1)

    def place(self, row: float, column: float) -> tuple[float, float]:
        """Return (east, north) of a square's middle."""
        return self.west_m + (column + 0.5) * self.cell_m, self.south_m + (row + 0.5) * self.cell_m

    def burnt(self, shapes: Iterable[shapely.Geometry]) -> Bools:
        """Return the squares that shapes cover, cross or stand in."""
        return burn(shapes, self.west_m, self.south_m, self.cell_m, self.open.shape)

    def shut(self, squares: Bools) -> WaterGrid:
        """Return the grid with more squares closed."""
        is_open = self.open & ~squares
        return WaterGrid(
            self.frame, self.dangers, self.west_m, self.south_m, self.cell_m, is_open, _edge(is_open, self.cell_m),
            self.cost, self.keep_outs,
        )  # fmt: skip


def lay_grid(
    chart: Chart,
    boat: Boat,
    needs: Needs,
    frame: LocalFrame,
    ends: Sequence[tuple[float, float]],
    lay: Lay = LAYS[0],
    knowledge: Knowledge | None = None,
) -> WaterGrid:
    """Return the water round two places of a frame; what the skipper keeps out of is closed with the rest.

    Raises NoCoverage if no chart covers any of it.
    """
    xy = np.array(ends)
    margin = max(lay.least_m, lay.share * float(np.hypot(*(xy[1] - xy[0]))))
    west, south = (float(v) for v in xy.min(axis=0) - margin)
    east, north = (float(v) for v in xy.max(axis=0) + margin)
    cell = max(lay.finest_m, max(east - west, north - south) / lay.most_cells)
    shape = (int((north - south) / cell) + 1, int((east - west) / cell) + 1)
    lat, lon = frame.to_geographic((west + east) / 2, (south + north) / 2)
    local = chart.around(float(lat), float(lon), float(np.hypot(east - west, north - south)) / 2, frame=frame)
    dangers = ChartDangers(local)
    refused, against = closed_water(dangers, boat, needs)
    said = burn(dangers.shapes[dangers.is_ground], west, south, cell, shape, outline=False)
    said &= burn(shapely.get_parts(local.coverage), west, south, cell, shape, outline=False)
    is_open = said & ~_near(refused, west, south, cell, shape)
    kept_out = keep_outs_around(knowledge, frame, (west + east) / 2, (south + north) / 2, local.radius_m)
    own = np.empty(len(kept_out), dtype=object)
    own[:] = [area for area, _ in kept_out]
    is_open &= ~_near(Closed(own, np.full(len(kept_out), swept_m(boat))), west, south, cell, shape)
    edge = _edge(is_open, cell)
    near = np.clip(1.0 - edge / max(boat.skipper.keep_off_m, cell), 0.0, 1.0)
    cost = 1.0 + EDGE_COST * near**2
    offered = burn(_offered(dangers), west, south, cell, shape)
    cost[offered] = np.minimum(cost[offered], 1.0 + 0.3 * (cost[offered] - 1.0)) * OFFERED_COST
    cost[_near(against, west, south, cell, shape)] *= AGAINST_COST
    return WaterGrid(frame, dangers, west, south, cell, is_open, edge, cost, tuple(kept_out))


def _offered(dangers: ChartDangers) -> list[shapely.Geometry]:
    """Return the ways that the chart offers, lines widened."""
    out = []
    for feature in dangers.local.features(*_OFFERED):
        dimension = shapely.get_dimensions(feature.shape)
        if dimension == 2:
            out.append(feature.shape)
        elif dimension == 1:
            out.append(shapely.buffer(feature.shape, OFFERED_LINE_M, cap_style="flat"))
    return out


def _edge(is_open: Bools, cell_m: float) -> Floats:
    return np.asarray(distance_transform_edt(np.pad(is_open, 1))[1:-1, 1:-1] * cell_m)


def _near(closed: Closed, west: float, south: float, cell: float, shape: tuple[int, int]) -> Bools:
    """Return the squares whose middle lies nearer to a shape than its distance, or in it."""
    out = np.zeros(shape, dtype=np.bool_)
    dimension = shapely.get_dimensions(closed.shapes)
    for shape_at, reach in zip(closed.shapes[dimension == 0], closed.keep_off_m[dimension == 0], strict=True):
        _disc(out, shapely.get_coordinates(shape_at), float(reach) + 0.25 * cell, west, south, cell)
    # What has an extent goes by its distance, rounded up to whole five metres so that few are told apart.
    steps = np.ceil(closed.keep_off_m / 5.0) * 5.0
    for step in np.unique(steps[dimension > 0]):
        burnt = burn(closed.shapes[(dimension > 0) & (steps == step)], west, south, cell, shape)
        if step <= 0.5 * cell:
            out |= burnt
        elif burnt.any():
            out |= distance_transform_edt(~burnt) * cell <= step + 0.25 * cell
    return out


def _disc(out: Bools, places: Floats, reach: float, west: float, south: float, cell: float) -> None:
    for east, north in places:
        row, column = (north - south) / cell, (east - west) / cell
        wide = reach / cell + 1.0
        r0, r1 = max(int(row - wide), 0), min(int(row + wide) + 2, out.shape[0])
        c0, c1 = max(int(column - wide), 0), min(int(column + wide) + 2, out.shape[1])
        if r0 >= r1 or c0 >= c1:
            continue
        rows, columns = np.mgrid[r0:r1, c0:c1]
        off = np.hypot(rows + 0.5 - row, columns + 0.5 - column) * cell
        # The square it stands in is closed however small the distance.
        out[r0:r1, c0:c1] |= (off <= reach) | ((rows == int(row)) & (columns == int(column)))


def burn(
    shapes: Iterable[shapely.Geometry], west: float, south: float, cell: float, shape: tuple[int, int],
    outline: bool = True,
) -> Bools:  # fmt: skip
    """Return the squares that shapes cover; with ``outline`` those their edges pass through as well."""
    out = Image.new("1", (shape[1], shape[0]))
    draw = ImageDraw.Draw(out)
    origin = np.array([west, south])
    for part in shapely.get_parts(list(shapes)):
        kind = part.geom_type
        if kind == "Polygon":
            _fill(out, part, origin, cell, shape, outline)
        elif kind == "GeometryCollection":
            out.paste(1, mask=Image.fromarray(burn(part.geoms, west, south, cell, shape, outline)))
        elif kind == "Point":
            draw.point(_pixels(shapely.get_coordinates(part), origin, cell), fill=1)
        elif outline:
            draw.line(_pixels(shapely.get_coordinates(part), origin, cell), fill=1)
    return np.asarray(out, dtype=np.bool_).copy()


def _fill(
    out: Image.Image, part: shapely.Polygon, origin: Floats, cell: float, shape: tuple[int, int], outline: bool
) -> None:
    """Fill a polygon without its holes, on a picture no larger than it is."""
    xy = (np.array(part.bounds).reshape(2, 2) - origin) / cell
    c0, r0 = np.maximum(np.floor(xy[0]).astype(int), 0)
    c1, r1 = np.minimum(np.ceil(xy[1]).astype(int) + 1, [shape[1], shape[0]])
    if c0 >= c1 or r0 >= r1:
        return
    piece = Image.new("1", (int(c1 - c0), int(r1 - r0)))
    draw = ImageDraw.Draw(piece)
    corner = origin + cell * np.array([c0, r0])
    rings = [_pixels(shapely.get_coordinates(ring), corner, cell) for ring in (part.exterior, *part.interiors)]
    for number, ring in enumerate(rings):
        if len(ring) > 2:
            draw.polygon(ring, fill=0 if number else 1)
    if outline:
        for ring in rings:
            draw.line(ring, fill=1)
    out.paste(1, (int(c0), int(r0)), piece)


def _pixels(xy: Floats, origin: Floats, cell: float) -> list[tuple[float, float]]:
    # A pixel's number is its square's: the middle of square 0 lies at half a cell.
    return [tuple(p) for p in ((xy - origin) / cell - 0.5).tolist()]
