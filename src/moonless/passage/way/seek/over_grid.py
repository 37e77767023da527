"""A way sought over one grid: the cheapest, its corners cut, every leg held against the chart as a plan's is.

Where a leg is refused, what refuses it is closed and the way sought again.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import label

from moonless.boat.types import Boat
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.types import Danger
from moonless.errors import InputError
from moonless.passage.way.bars import refusal_at
from moonless.passage.way.ease import SHORTEST_LEG_M, eased, refused_by
from moonless.passage.way.grid import WaterGrid
from moonless.passage.way.search import Square, cheapest_near
from moonless.passage.words import place_words

Floats = NDArray[np.float64]

# A place this near deep water is moved to it: a berth drawn on the quay, a finger on a small screen.
SNAP_M = 500.0
# What crossing the fence of a mark costs: a way round of this length is taken instead.  No source.
FENCE_COST_M = 3000.0
# How many places near a short leg are tried for one corner in place of two.
NEAR_TRIED = 250
# How often a way that turns out refused is sought again with what refuses it closed.
MOST_TRIES = 12
# A refused leg of fewer steps over the squares is not split again.
LEAST_SPLIT = 4


class NoWaterNear(InputError):
    """An end with no water near it that is deep enough."""


class NotJoined(InputError):
    """Two places that no open water joins."""


def seek(grid: WaterGrid, boat: Boat, needs: Needs, ends: Sequence[tuple[float, ...]]) -> list[tuple[float, float]]:
    """Return the corners of a way over one grid.  Raises InputError where there is none."""
    squares = _ends_joined(grid, boat, needs, ends)
    fenced, cost = fenced_squares(grid), grid.costs()
    dear = cost.copy()
    dear[fenced] = np.maximum(dear[fenced], FENCE_COST_M / grid.cell_m)
    met: list[tuple[Danger, tuple[float, float]]] = []
    for _ in range(MOST_TRIES):
        path = cheapest_near(grid.open, dear, grid.cell_m, *squares)
        corners = _straighten(grid, cost, fenced, path)
        while True:
            places = _with_true_ends(grid, corners, ends)
            refused = [refused_by(grid, boat, needs, leg) for leg in itertools.pairwise(places)]
            met = [one for one in refused if one is not None]
            if not met:
                return eased(grid, boat, needs, places, functools.partial(crosses, grid, fenced))
            fuller = _split(corners, path, [one is not None for one in refused]) if len(corners) > 1 else corners
            if len(fuller) == len(corners):
                break
            corners = fuller
        for _, where in met:
            grid = grid.shut(_closing(grid, where))
        squares = _ends_joined(grid, boat, needs, ends)
    raise InputError(f"no way was found that the chart does not refuse: {met[0][0].say}")


def _split(corners: list[Square], path: list[Square], is_refused: Sequence[bool]) -> list[Square]:
    """Return the corners with one more of the way that was walked in the middle of each refused leg: a corner that was
    cut may have led too near what bounds the water."""
    number = {square: k for k, square in enumerate(path)}
    out = [corners[0]]
    for (a, b), refused in zip(itertools.pairwise(corners), is_refused, strict=True):
        if refused and a in number and b in number and number[b] - number[a] >= LEAST_SPLIT:
            out.append(path[(number[a] + number[b]) // 2])
        out.append(b)
    return out


def _nearest_words(grid: WaterGrid, boat: Boat, needs: Needs, place: tuple[float, ...]) -> str:
    """Return where the nearest deep water lies and what closes the place itself."""
    rows, columns = np.nonzero(grid.open)
    by = refusal_at(grid, boat, needs, place)
    here = f"; here lies {by}" if by else ""
    if not len(rows):
        return here
    row, column = grid.square(place[0], place[1])
    away = np.hypot(rows - row, columns - column) * grid.cell_m
    k = int(np.argmin(away))
    lat, lon = grid.frame.to_geographic(*grid.place(int(rows[k]), int(columns[k])))
    return f", the nearest of it {away[k]:.0f} m off at {place_words(float(lat), float(lon))}{here}"


def fenced_squares(grid: WaterGrid) -> NDArray[np.bool_]:
    """Return the squares that the fences of marks stand in."""
    put = grid.water.fences
    wide = grid.burnt(put)
    # A fence one square wide lets a knight's step through.
    return np.asarray(wide | np.roll(wide, 1, axis=0) | np.roll(wide, 1, axis=1)) if put else wide


def _ends_joined(grid: WaterGrid, boat: Boat, needs: Needs, ends: Sequence[tuple[float, ...]]) -> list[Square]:
    """Return the open squares nearest to both ends that one piece of water holds: a pond beside a berth leads nowhere.

    Raises NoWaterNear if no deep water lies near one of them, NotJoined if no piece lies near both.
    """
    pieces = label(grid.open, np.ones((3, 3)))[0]
    nearest: list[dict[int, tuple[float, Square]]] = []
    for place, name in zip(ends, ("start", "end"), strict=True):
        found = nearest_of_pieces(grid, pieces, place)
        if not found:
            say = f"the {name} lies more than {SNAP_M:.0f} m from water deep enough on the chart"
            raise NoWaterNear(say + _nearest_words(grid, boat, needs, place))
        nearest.append(found)
    both = set(nearest[0]) & set(nearest[1])
    if not both:
        raise NotJoined("no water deep enough on the chart joins the two places")
    best = min(both, key=lambda piece: nearest[0][piece][0] + nearest[1][piece][0])
    return [found[best][1] for found in nearest]


def nearest_of_pieces(
    grid: WaterGrid, pieces: NDArray[np.int32], place: tuple[float, ...]
) -> dict[int, tuple[float, Square]]:
    """Return for each piece of water near a place how far off its nearest square lies, metres, and that square.

    ``pieces``: of each square of the grid its piece's number, 0: closed.
    """
    row, column = grid.square(place[0], place[1])
    reach = int(SNAP_M / grid.cell_m) + 1
    r0, c0 = max(row - reach, 0), max(column - reach, 0)
    here = pieces[r0 : row + reach + 1, c0 : column + reach + 1]
    rows, columns = np.nonzero(here)
    away = np.hypot(rows + r0 - row, columns + c0 - column) * grid.cell_m
    found: dict[int, tuple[float, Square]] = {}
    for k in np.argsort(away):
        if away[k] > SNAP_M:
            break
        piece = int(here[rows[k], columns[k]])
        if piece not in found:
            found[piece] = (float(away[k]), (int(rows[k] + r0), int(columns[k] + c0)))
    return found


def _straighten(grid: WaterGrid, cost: Floats, fenced: NDArray[np.bool_], path: list[Square]) -> list[Square]:
    """Return the corners that are left when every stretch is walked straight where that is as good."""
    kept = [path[0]]
    here = 0
    while here < len(path) - 1:
        there = len(path) - 1
        while there > here + 1 and not _clear(grid, cost, fenced, path[here : there + 1]):
            there = here + max(1, (there - here) * 3 // 4)
        kept.append(path[there])
        here = there
    return _without_short_legs(grid, fenced, kept)


def _without_short_legs(grid: WaterGrid, fenced: NDArray[np.bool_], corners: list[Square]) -> list[Square]:
    """Return the corners with short legs joined to their neighbours wherever that keeps in open water."""
    k = 0
    while k < len(corners) - 1:
        if len(corners) < 3 or math.dist(corners[k], corners[k + 1]) * grid.cell_m >= SHORTEST_LEG_M:
            k += 1
            continue
        joined = _joined_over(grid, fenced, corners, k)
        if joined is None:
            k += 1
        else:
            corners, k = joined, max(0, k - 1)
    return corners


def _joined_over(grid: WaterGrid, fenced: NDArray[np.bool_], corners: list[Square], k: int) -> list[Square] | None:
    """Return the corners with the short leg from ``k`` gone: one of its ends left out, or both drawn into one near by.

    None where no straight way past it is open.
    """
    before, here, there, after = corners[:k], corners[k], corners[k + 1], corners[k + 2 :]
    tries: list[list[Square]] = []
    if after:
        tries.append([here])
    if before:
        tries.append([there])
    if before and after:
        middle = ((here[0] + there[0]) // 2, (here[1] + there[1]) // 2)
        reach = max(2, int(SHORTEST_LEG_M / grid.cell_m))
        rows, columns = np.mgrid[-reach : reach + 1, -reach : reach + 1]
        order = np.argsort(np.hypot(rows, columns), axis=None)[:NEAR_TRIED]
        tries += [[(middle[0] + int(rows.flat[i]), middle[1] + int(columns.flat[i]))] for i in order]
    for one in tries:
        row, column = one[0]
        if not (0 <= row < grid.open.shape[0] and 0 <= column < grid.open.shape[1]) or not grid.open[row, column]:
            continue
        way = [*before[-1:], *one, *after[:1]]
        if all(_is_open_along(grid, fenced, a, b) for a, b in itertools.pairwise(way)):
            return [*before, *one, *after]
    return None


def _squares_along(a: Square, b: Square) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    steps = max(2, 2 * max(abs(a[0] - b[0]), abs(a[1] - b[1])))
    rows = np.rint(np.linspace(a[0], b[0], steps)).astype(np.int64)
    return rows, np.rint(np.linspace(a[1], b[1], steps)).astype(np.int64)


def crosses(grid: WaterGrid, fenced: NDArray[np.bool_], a: tuple[float, float], b: tuple[float, float]) -> bool:
    rows, columns = _squares_along(grid.square(*a), grid.square(*b))
    return bool(fenced[rows, columns].any())


def _is_open_along(grid: WaterGrid, fenced: NDArray[np.bool_], a: Square, b: Square) -> bool:
    rows, columns = _squares_along(a, b)
    return bool(grid.open[rows, columns].all() and not fenced[rows, columns].any())


def _clear(grid: WaterGrid, cost: Floats, fenced: NDArray[np.bool_], walked: list[Square]) -> bool:
    """Return whether the straight way is open and no dearer, short of a tenth, than the way found."""
    a, b = walked[0], walked[-1]
    rows, columns = _squares_along(a, b)
    if not grid.open[rows, columns].all() or fenced[rows, columns].any():
        return False
    straight = math.dist(a, b) * float(cost[rows, columns].mean())
    way = np.array(walked)
    lengths = np.hypot(*np.diff(way, axis=0).T)
    costs = cost[way[:, 0], way[:, 1]]
    return straight <= 1.1 * float((lengths * 0.5 * (costs[1:] + costs[:-1])).sum())


def _with_true_ends(
    grid: WaterGrid, corners: list[Square], ends: Sequence[tuple[float, ...]]
) -> list[tuple[float, float]]:
    """Return the corners as places, the ends where they were asked for wherever that is open water."""
    places = [grid.place(*corner) for corner in corners]
    for k, asked, corner in ((0, ends[0], corners[0]), (-1, ends[1], corners[-1])):
        if grid.square(asked[0], asked[1]) == corner:
            places[k] = (asked[0], asked[1])
    if len(places) == 1:
        places = [(ends[0][0], ends[0][1]), (ends[1][0], ends[1][1])]
    return places


def _closing(grid: WaterGrid, where: tuple[float, float]) -> NDArray[np.bool_]:
    """Return the squares round the place of a refusal, to be closed."""
    reach = max(0.7 * grid.cell_m, 20.0)
    return grid.burnt([shapely.Point(where).buffer(reach)])
