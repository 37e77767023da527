"""A long way whose ends lie in water narrower than the squares of a grid that holds the whole of it.

    start ~~~fine squares~~~ joint ======== wide squares ======== joint ~~~fine squares~~~ end

Round either end the water is laid out anew in fine squares, and a way is sought over the wide ones between the places
where the fine water meets them.  A joint is the last place of that wide way which the fine water holds as well; each
of the three parts is then sought as any way is, and a joint that a straight leg does as well without is left out.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label

from moonless.boat.types import Boat
from moonless.chart.dangers.needs import Needs
from moonless.errors import InputError
from moonless.passage.way.ease import eased, goes_past, refused_by
from moonless.passage.way.grid import Lay, Reach, WaterAround, WaterGrid, lay_grid
from moonless.passage.way.search import Square, cheapest_near
from moonless.passage.way.seek.over_grid import NotJoined, crosses, fenced_squares, nearest_of_pieces, seek

Place = tuple[float, float]
Pieces = NDArray[np.int32]

# So far round an end the water is laid out in fine squares: creeks that open on a bay are seldom longer.  Own choice.
FINE = Lay(Reach(0.0, 5000.0), 1600, 6.0, is_tight=True)


@dataclass(frozen=True, slots=True, eq=False)
class _End:
    """An end with its fine water.  ``pieces``: of each fine square its piece's number, 0: closed."""

    asked: tuple[float, ...]
    grid: WaterGrid
    pieces: Pieces
    near: dict[int, tuple[float, Square]]  # by piece: how far from the end its nearest square, metres, and that square


def seek_with_fine_ends(
    water: WaterAround, wides: Sequence[WaterGrid], boat: Boat, needs: Needs, ends: Sequence[tuple[float, ...]]
) -> tuple[WaterGrid, list[Place]]:
    """Return the first of some wide grids that joins the fine water of both ends, and the corners of the way.

    ``water``: what the fine squares are laid out from; all of one frame.  Raises InputError where there is no way.
    """
    both = [_end(water, place) for place in ends]
    problem: InputError = NotJoined("no water deep enough on the chart joins the two places")
    for wide in wides:
        try:
            return wide, _seek(wide, both, boat, needs)
        except InputError as found:
            problem = found
    raise problem


def _end(water: WaterAround, place: tuple[float, ...]) -> _End:
    reach, (west, south, east, north) = FINE.reach.least_m, water.bounds_m
    low = max(west, place[0] - reach), max(south, place[1] - reach)
    high = min(east, place[0] + reach), min(north, place[1] + reach)
    grid = lay_grid(water, FINE, (*low, *high))
    pieces = label(grid.open, np.ones((3, 3)))[0]
    return _End(place, grid, pieces, nearest_of_pieces(grid, pieces, place))


def _seek(wide: WaterGrid, both: Sequence[_End], boat: Boat, needs: Needs) -> list[Place]:
    pieces = label(wide.open, np.ones((3, 3)))[0]
    meets = [_meetings(wide, pieces, end) for end in both]
    common = set(meets[0]) & set(meets[1])
    if not common:
        raise NotJoined("no water deep enough on the chart joins the two places")
    piece = min(common, key=lambda piece: meets[0][piece][0] + meets[1][piece][0])
    fine = [meet[piece][1] for meet in meets]
    path = cheapest_near(wide.open, wide.costs(), wide.cell_m, meets[0][piece][2], meets[1][piece][2])
    middle = len(path) // 2
    joints = [
        wide.place(*_last_within(wide, both[0], fine[0], path[: middle + 1])),
        wide.place(*_last_within(wide, both[1], fine[1], path[:middle:-1])),
    ]
    places = [
        *seek(both[0].grid, boat, needs, [both[0].asked, joints[0]])[:-1],
        *seek(wide, boat, needs, joints),
        *seek(both[1].grid, boat, needs, [joints[1], both[1].asked])[1:],
    ]
    fenced = fenced_squares(wide)
    is_fenced = functools.partial(crosses, wide, fenced)
    for joint in joints:
        k = places.index(joint) if joint in places else 0
        if 0 < k < len(places) - 1 and goes_past(wide, boat, needs, places[k - 1 : k + 2], is_fenced):
            del places[k]
    places = eased(wide, boat, needs, places, is_fenced)
    for leg in itertools.pairwise(places):
        refused = refused_by(wide, boat, needs, leg)
        if refused is not None:
            raise InputError(f"no way was found that the chart does not refuse: {refused[0].say}")
    return places


def _meetings(wide: WaterGrid, pieces: Pieces, end: _End) -> dict[int, tuple[float, int, Square]]:
    """Return for each piece of the wide water that an end's fine water meets: how far the fine water lies from the end,
    metres, the fine piece, and the wide square nearest to the end where they meet."""
    fine = end.grid
    rows, columns = np.nonzero(pieces)
    east, north = wide.west_m + (columns + 0.5) * wide.cell_m, wide.south_m + (rows + 0.5) * wide.cell_m
    r = np.floor((north - fine.south_m) / fine.cell_m).astype(np.int64)
    c = np.floor((east - fine.west_m) / fine.cell_m).astype(np.int64)
    inside = (r >= 0) & (c >= 0) & (r < fine.open.shape[0]) & (c < fine.open.shape[1])
    rows, columns, r, c = rows[inside], columns[inside], r[inside], c[inside]
    there = end.pieces[r, c]
    off = np.hypot(east[inside] - end.asked[0], north[inside] - end.asked[1])
    found: dict[int, tuple[float, int, Square]] = {}
    for number, (away, _) in sorted(end.near.items(), key=lambda one: one[1][0]):
        which = np.flatnonzero(there == number)
        for k in which[np.argsort(off[which])]:
            piece = int(pieces[rows[k], columns[k]])
            if piece not in found:
                found[piece] = (away, number, (int(rows[k]), int(columns[k])))
    return found


def _last_within(wide: WaterGrid, end: _End, number: int, path: Sequence[Square]) -> Square:
    """Return the last square of a way out from an end whose middle lies in one piece of the end's fine water."""
    kept = path[0]
    for square in path:
        east, north = wide.place(*square)
        r = math.floor((north - end.grid.south_m) / end.grid.cell_m)
        c = math.floor((east - end.grid.west_m) / end.grid.cell_m)
        if 0 <= r < end.grid.open.shape[0] and 0 <= c < end.grid.open.shape[1] and end.pieces[r, c] == number:
            kept = square
    return kept
