"""What bars the way where none is found: the place where the water closes, and what closes it, in one line."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import label

from moonless.boat.types import Boat
from moonless.chart.dangers.layout import Group
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import StripDangers
from moonless.chart.dangers.types import Danger, way_strip
from moonless.chart.dangers.words import danger_words
from moonless.passage.way.grid import WaterGrid
from moonless.passage.way.search import Square, block_way
from moonless.passage.words import place_words

# The way that would be taken could closed water be crossed: a metre of it counts as so much open water, a metre of land
# or of no chart at all as so much more, so that a creek's bar is named and not the neck of land beside it.  Own choice.
CLOSED_COST, LAND_COST = 200.0, 6000.0
# The way over closed water is sought over no more blocks than this along one side: its place need not be finer.
MOST_BLOCKS = 500


@dataclass(frozen=True, slots=True)
class Bar:
    """One closed stretch of a way; the place where it begins, in the grid's frame."""

    east_m: float
    north_m: float
    across_m: float
    danger: Danger | None  # None: nothing that a track down its middle would meet; it is too narrow


def bar_words(grid: WaterGrid, boat: Boat, needs: Needs, squares: Sequence[Square]) -> str:
    """Return where the water between two squares closes and for what; "" where it does not."""
    bars = bars_between(grid, boat, needs, squares)
    if not bars:
        return ""
    # The widest is the surest: a narrow one may be the chart's drawing.
    widest = max(bars, key=lambda bar: bar.across_m)
    lat, lon = grid.frame.to_geographic(widest.east_m, widest.north_m)
    what = "water too narrow for a track" if widest.danger is None else _by(widest.danger)
    more = "" if len(bars) == 1 else f"; and at {len(bars) - 1} more place{'s' if len(bars) > 2 else ''}"
    return f"it closes at {place_words(float(lat), float(lon))} for {widest.across_m:.0f} m by {what}{more}"


def bars_between(grid: WaterGrid, boat: Boat, needs: Needs, squares: Sequence[Square]) -> list[Bar]:
    """Return the closed stretches that part one piece of water from the next, on the way that crosses least of them."""
    dangers = grid.dangers
    cost = np.where(grid.open, 1.0, CLOSED_COST)
    cost[grid.burnt(dangers.shapes[dangers.group == Group.LAND])] = LAND_COST
    cost[~grid.burnt(shapely.get_parts(dangers.coverage))] = LAND_COST
    path = _crossing(cost, squares)
    piece = label(grid.open, np.ones((3, 3)))[0]
    bars: list[list[Square]] = []
    last = -1  # the open square met last on the path
    for k, square in enumerate(path):
        if not piece[square]:
            continue
        if last >= 0 and piece[path[last]] != piece[square]:
            bars.append(path[last : k + 1])
        last = k
    if not bars:
        # What lies between an end and the only water on the way parts them.
        met = [k for k, square in enumerate(path) if piece[square]] or [len(path) - 1]
        bars = [part for part in (path[: met[0] + 1], path[met[-1] :]) if len(part) > 1]
    return [_bar(grid, boat, needs, bar) for bar in bars]


def _crossing(cost: NDArray[np.float64], squares: Sequence[Square]) -> list[Square]:
    """Return the squares of the cheapest way, sought over blocks of squares where there are many."""
    wide = -(-max(cost.shape) // MOST_BLOCKS)
    path = block_way(cost, wide, squares[0], squares[1])
    most = np.array(cost.shape) - 1
    middles = np.minimum(np.array(path) * wide + wide // 2, most)
    middles[0], middles[-1] = squares[0], squares[1]
    out: list[Square] = [(int(middles[0][0]), int(middles[0][1]))]
    for a, b in itertools.pairwise(middles):
        steps = max(1, int(np.abs(b - a).max()))
        along = np.rint(np.linspace(a, b, steps + 1)[1:]).astype(np.int64)
        out += [(int(row), int(column)) for row, column in along]
    return out


def _bar(grid: WaterGrid, boat: Boat, needs: Needs, squares: Sequence[Square]) -> Bar:
    line = shapely.LineString([grid.place(*square) for square in squares])
    danger = _gravest(grid, boat, needs, line)
    if danger is None:
        middle = line.interpolate(0.5, normalized=True)
        return Bar(float(middle.x), float(middle.y), line.length, None)
    on = line.interpolate(danger.along_m)
    return Bar(float(on.x), float(on.y), line.length, danger)


def _gravest(grid: WaterGrid, boat: Boat, needs: Needs, line: shapely.LineString) -> Danger | None:
    """Return what refuses a line with least left; None: nothing does."""
    strip = way_strip(line, boat)
    strip = replace(strip, look_m=strip.track_m, land_m=strip.track_m)
    found = StripDangers(grid.dangers, strip, grid.keep_outs).refusals(needs)
    return min(found, key=lambda d: (d.side != "on", 0.0 if d.clearance_m is None else d.clearance_m), default=None)


def refusal_at(grid: WaterGrid, boat: Boat, needs: Needs, place: Sequence[float]) -> str:
    """Return what closes the water at one place (east, north), in words; "" where nothing does."""
    danger = _gravest(grid, boat, needs, shapely.LineString([(place[0], place[1]), (place[0] + 1.0, place[1])]))
    return "" if danger is None else _by(danger)


def _by(danger: Danger) -> str:
    what = danger_words(danger)
    return what if danger.kind in ("land", "chart ends") else f"{what} ({danger.say})"
