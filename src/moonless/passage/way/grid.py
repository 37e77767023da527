"""The water a way is sought in, as a square grid: where a track may go, and how dear a metre of it is."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import distance_transform_edt

from moonless.boat.types import Boat
from moonless.chart.dangers.closed import Closed, ClosedWater, closed_water
from moonless.chart.dangers.layout import ChartDangers, Group
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import KeepOuts
from moonless.chart.dangers.types import swept_m
from moonless.chart.library import Chart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.frames import LocalFrame
from moonless.passage.way.buoyage import fences
from moonless.reading.chart_around import keep_outs_around

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Reach:
    """How far round the ends the water is looked at."""

    share: float  # of the distance between the ends, all round
    least_m: float  # and at the least so far


@dataclass(frozen=True, slots=True)
class Lay:
    """How the water is laid out: how far round, squares along one side at the most, the smallest square."""

    reach: Reach
    most_cells: int
    finest_m: float
    # Squares that are closed in part count as open, and standing marks may be passed as close as the hull allows: what
    # is found so is held against the chart as any way is.
    is_tight: bool = False


NEAR, WIDE, FAR = Reach(0.35, 1500.0), Reach(1.0, 6000.0), Reach(3.0, 15000.0)
ROUND = Reach(0.35, 6000.0)  # round the ends as wide as that, and no farther to the sides of a long way
# The next is taken where the one before finds no way: round a headland the way leads far outside the straight one, and
# a creek's mouth between two marks is narrower than a wide grid's squares.  No source.
LAYS = (
    Lay(NEAR, 600, 12.0),
    Lay(WIDE, 800, 12.0),
    Lay(NEAR, 1100, 8.0),
    Lay(WIDE, 1600, 8.0),
    Lay(NEAR, 1400, 6.0, is_tight=True),
    Lay(ROUND, 2400, 6.0, is_tight=True),
    Lay(WIDE, 1600, 6.0, is_tight=True),
    Lay(FAR, 1600, 6.0, is_tight=True),
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


@dataclass(frozen=True, eq=False)
class WaterAround:
    """The chart round two places and what it closes, read once for however fine a grid."""

    frame: LocalFrame
    bounds_m: tuple[float, float, float, float]  # west, south, east, north
    dangers: ChartDangers
    closed: ClosedWater
    keep_outs: KeepOuts
    swept_m: float
    keep_off_m: float

    @cached_property
    def fences(self) -> list[shapely.LineString]:
        """The fences of its marks."""
        dangers = self.dangers
        is_shallow = (dangers.group == Group.GROUND) & (dangers.depth_m < 2.0)
        closed = shapely.union_all(dangers.shapes[(dangers.group == Group.LAND) | is_shallow])
        return fences(dangers.local, closed)


@dataclass(frozen=True, slots=True, eq=False)
class WaterGrid:
    """Row 0 in the south."""

    water: WaterAround
    west_m: float
    south_m: float
    cell_m: float
    open: Bools  # (n_row, n_column)
    is_tight: bool = False  # as the lay it was laid out by

    @property
    def frame(self) -> LocalFrame:
        """The frame of its places."""
        return self.water.frame

    @property
    def dangers(self) -> ChartDangers:
        """What the chart has there."""
        return self.water.dangers

    @property
    def keep_outs(self) -> KeepOuts:
        """The skipper's own."""
        return self.water.keep_outs

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
        return replace(self, open=self.open & ~squares)

    def costs(self) -> Floats:
        """Return what a metre costs in each square, 1 on open sea: dearer by what is closed, cheaper where offered."""
        west, south, cell, shape = self.west_m, self.south_m, self.cell_m, self.open.shape
        edge = np.asarray(distance_transform_edt(np.pad(self.open, 1))[1:-1, 1:-1] * cell)
        near = np.clip(1.0 - edge / max(self.water.keep_off_m, cell), 0.0, 1.0)
        cost = 1.0 + EDGE_COST * near**2
        offered = self.burnt(_offered(self.dangers))
        cost[offered] = np.minimum(cost[offered], 1.0 + 0.3 * (cost[offered] - 1.0)) * OFFERED_COST
        closed = self.water.closed
        against = closed.against_tight if self.is_tight else closed.against
        cost[_near(against, west, south, cell, shape)] *= AGAINST_COST
        return cost


def water_around(
    chart: Chart,
    boat: Boat,
    needs: Needs,
    frame: LocalFrame,
    ends: Sequence[tuple[float, float]],
    lay: Lay = LAYS[0],
    knowledge: Knowledge | None = None,
) -> WaterAround:
    """Return the water round two places of a frame, as far as a lay looks, with what the skipper keeps out of.

    Raises NoCoverage if no chart covers any of it.
    """
    xy = np.array(ends)
    margin = max(lay.reach.least_m, lay.reach.share * float(np.hypot(*(xy[1] - xy[0]))))
    west, south = (float(v) for v in xy.min(axis=0) - margin)
    east, north = (float(v) for v in xy.max(axis=0) + margin)
    lat, lon = frame.to_geographic((west + east) / 2, (south + north) / 2)
    local = chart.around(float(lat), float(lon), float(np.hypot(east - west, north - south)) / 2, frame=frame)
    dangers = ChartDangers(local)
    kept_out = keep_outs_around(knowledge, frame, (west + east) / 2, (south + north) / 2, local.radius_m)
    # What no chart covers is not laid out, but for what lies round the ends themselves.
    inside = shapely.bounds(dangers.coverage).reshape(2, 2)
    west, south = (float(v) for v in np.maximum([west, south], np.minimum(inside[0], xy.min(axis=0) - NEAR.least_m)))
    east, north = (float(v) for v in np.minimum([east, north], np.maximum(inside[1], xy.max(axis=0) + NEAR.least_m)))
    return WaterAround(
        frame, (west, south, east, north), dangers, closed_water(dangers, boat, needs), tuple(kept_out),
        swept_m(boat), boat.skipper.keep_off_m,
    )  # fmt: skip


def cell_of(bounds_m: tuple[float, float, float, float], lay: Lay) -> float:
    """Return how wide a lay's squares are over a piece of water, metres."""
    west, south, east, north = bounds_m
    return max(lay.finest_m, max(east - west, north - south) / lay.most_cells)


def lay_grid(water: WaterAround, lay: Lay, bounds_m: tuple[float, float, float, float] | None = None) -> WaterGrid:
    """Return the water as a grid, or the part of it within bounds; what the skipper keeps out of is closed as well."""
    west, south, east, north = bounds_m or water.bounds_m
    cell = cell_of(bounds_m or water.bounds_m, lay)
    shape = (int((north - south) / cell) + 1, int((east - west) / cell) + 1)
    dangers = water.dangers
    said = burn(dangers.shapes[dangers.is_ground], west, south, cell, shape, outline=False)
    said &= burn(shapely.get_parts(dangers.coverage), west, south, cell, shape, outline=False)
    refused = water.closed.refused_tight if lay.is_tight else water.closed.refused
    is_open = said & ~_near(refused, west, south, cell, shape, lay.is_tight)
    own = np.empty(len(water.keep_outs), dtype=object)
    own[:] = [area for area, _ in water.keep_outs]
    is_open &= ~_near(Closed(own, np.full(len(own), water.swept_m)), west, south, cell, shape)
    return WaterGrid(water, west, south, cell, is_open, lay.is_tight)


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


def _near(
    closed: Closed, west: float, south: float, cell: float, shape: tuple[int, int], is_tight: bool = False
) -> Bools:
    """Return the squares whose middle lies nearer to a shape than its distance, or in it.

    Rounded up, so that an open square is open all over; ``is_tight``: rounded down.
    """
    out = np.zeros(shape, dtype=np.bool_)
    slack, whole_m = (-0.25 * cell, 1.0) if is_tight else (0.25 * cell, 5.0)
    dimension = shapely.get_dimensions(closed.shapes)
    for shape_at, reach in zip(closed.shapes[dimension == 0], closed.keep_off_m[dimension == 0], strict=True):
        _disc(out, shapely.get_coordinates(shape_at), float(reach) + slack, west, south, cell)
    # What has an extent goes by its distance, rounded up to whole metres so that few are told apart.
    steps = np.ceil(closed.keep_off_m / whole_m) * whole_m
    for step in np.unique(steps[dimension > 0]):
        at_step = (dimension > 0) & (steps == step)
        burnt = burn(closed.shapes[at_step & (dimension == 1)], west, south, cell, shape)
        burnt |= burn(closed.shapes[at_step & (dimension == 2)], west, south, cell, shape, outline=not is_tight)
        if step <= 0.5 * cell:
            out |= burnt
        else:
            grow(out, burnt, (step + slack) / cell)
    return out


def grow(out: Bools, burnt: Bools, squares: float) -> None:
    """Close what lies within so many squares of what is burnt, looking only where there is any.

    A row of the disc at a time: for the few squares of a keep-off a tenth of what the distances themselves cost.
    """
    rows, columns = np.flatnonzero(burnt.any(axis=1)), np.flatnonzero(burnt.any(axis=0))
    if not len(rows):
        return
    wide = int(squares) + 1
    part = np.s_[max(rows[0] - wide, 0) : rows[-1] + wide + 1, max(columns[0] - wide, 0) : columns[-1] + wide + 1]
    wanted, here = out[part], burnt[part]
    widened, across = here.copy(), 0
    # From the disc's top row, the narrowest, to its middle one.
    for down in range(min(int(squares), len(here) - 1), -1, -1):
        while across + 1 < here.shape[1] and math.hypot(across + 1, down) <= squares:
            across += 1
            widened[:, across:] |= here[:, : here.shape[1] - across]
            widened[:, : widened.shape[1] - across] |= here[:, across:]
        wanted[down:] |= widened[: len(widened) - down]
        wanted[: len(wanted) - down] |= widened[down:]


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
            draw.point(_squares(shapely.get_coordinates(part), origin, cell), fill=1)
        elif outline:
            draw.line(_squares(shapely.get_coordinates(part), origin, cell), fill=1)
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
    rings = [shapely.get_coordinates(ring) for ring in (part.exterior, *part.interiors)]
    for number, ring in enumerate(rings):
        if len(ring) > 2:
            draw.polygon(_pixels(ring, corner, cell), fill=0 if number else 1)
    if outline:
        for ring in rings:
            draw.line(_squares(ring, corner, cell), fill=1)
    out.paste(1, (int(c0), int(r0)), piece)


def _pixels(xy: Floats, origin: Floats, cell: float) -> list[float]:
    # A pixel's number is its square's: the middle of square 0 lies at half a cell.
    pixels: list[float] = ((xy - origin) / cell - 0.5).ravel().tolist()
    return pixels


def _squares(xy: Floats, origin: Floats, cell: float) -> list[int]:
    # Of lines and points whole numbers are drawn, cut off and not rounded: the square that each corner stands in.
    squares: list[int] = np.floor((xy - origin) / cell).astype(np.int64).ravel().tolist()
    return squares
