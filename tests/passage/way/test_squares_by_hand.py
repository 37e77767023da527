"""The grid a way is sought in, square by square: against brute force, plain distances and shapely."""

from __future__ import annotations

import heapq
import itertools
import math
from typing import Any

import numpy as np
import pytest
import shapely
from way_grids import CELL, SOUTH, WEST, grid_of

from moonless.chart.dangers.closed import Closed
from moonless.errors import InputError
from moonless.passage.way import grid, search
from moonless.passage.way.grid import Lay, Reach, burn, cell_of, grow

STEPS = [(r, c) for r in range(-2, 3) for c in range(-2, 3) if (r, c) != (0, 0) and math.gcd(r, c) == 1]


def _way_cost(cost: np.ndarray, cell_m: float, path: list[tuple[int, int]]) -> float:
    """Half of every step in the square it leaves, half in the one it comes to."""
    return sum(math.dist(a, b) * cell_m * 0.5 * float(cost[a] + cost[b]) for a, b in itertools.pairwise(path))


def _is_step(is_open: np.ndarray, a: tuple[int, int], b: tuple[int, int]) -> bool:
    """A king's step, or a knight's between two open squares, from open to open."""
    if not (is_open[a] and is_open[b]):
        return False
    down, across = b[0] - a[0], b[1] - a[1]
    if max(abs(down), abs(across)) == 1:
        return True
    middle = ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0)
    return all(is_open[f(middle[0]), f2(middle[1])] for f, f2 in ((math.floor,) * 2, (math.ceil,) * 2))


def _cheapest(
    is_open: np.ndarray, cost: np.ndarray, cell_m: float, start: tuple[int, int], end: tuple[int, int]
) -> float:
    """Dijkstra's, written out."""
    best, heap = {start: 0.0}, [(0.0, start)]
    while heap:
        so_far, here = heapq.heappop(heap)
        if here == end:
            return so_far
        for down, across in STEPS:
            there = (here[0] + down, here[1] + across)
            if not (0 <= there[0] < cost.shape[0] and 0 <= there[1] < cost.shape[1]) or not _is_step(
                is_open, here, there
            ):
                continue
            total = so_far + _way_cost(cost, cell_m, [here, there])
            if total < best.get(there, math.inf):
                best[there] = total
                heapq.heappush(heap, (total, there))
    return math.inf


@pytest.mark.parametrize("seed", range(6))
def test_the_cheapest_way_is_as_cheap_as_any(seed: int) -> None:
    rng = np.random.default_rng(seed)
    is_open, cost = rng.random((13, 17)) < 0.75, rng.uniform(0.6, 6.0, (13, 17))
    start, end = (1, 2), (11, 14) if seed % 2 else (2, 15)
    is_open[start] = is_open[end] = True
    want = _cheapest(is_open, cost, 8.0, start, end)
    if not math.isfinite(want):
        with pytest.raises(InputError):
            search.cheapest(is_open, cost, 8.0, start, end)
        return
    path = search.cheapest(is_open, cost, 8.0, start, end)
    assert path[0] == start and path[-1] == end
    assert all(_is_step(is_open, a, b) for a, b in itertools.pairwise(path))
    assert _way_cost(cost, 8.0, path) == pytest.approx(want)


def test_closed_water_is_not_crossed_between_two_squares() -> None:
    is_open = np.ones((9, 9), dtype=np.bool_)
    is_open[4, :] = False
    with pytest.raises(InputError, match="joins the two places"):
        search.cheapest(is_open, np.ones((9, 9)), 10.0, (0, 0), (8, 8))
    is_open[4, 6] = True
    path = search.cheapest(is_open, np.ones((9, 9)), 10.0, (0, 0), (8, 8))
    assert (4, 6) in path
    # Without the knight's steps eight courses are left.
    way = search.cheapest(np.ones((9, 9), dtype=np.bool_), np.ones((9, 9)), 10.0, (0, 0), (8, 4), knights=False)
    assert all(max(abs(a[0] - b[0]), abs(a[1] - b[1])) == 1 for a, b in itertools.pairwise(way))


def test_blocks_are_as_dear_as_their_mean_square() -> None:
    """Seven by eight squares in blocks of three: the last ones are filled up with what stands at the edge."""
    cost = np.ones((7, 8))
    cost[3:6, 3:6] = 100.0
    cost[0:3, 3:6] = np.arange(9.0).reshape(3, 3) + 20.0
    way = search.block_way(cost, 3, (0, 0), (1, 7))
    # Past the dear block (24 on the mean) and the dearer one by the third row of blocks.
    assert way[0] == (0, 0) and way[-1] == (0, 2) and (2, 1) in way
    cost[0:3, 3:6] = 1.5
    assert search.block_way(cost, 3, (0, 0), (1, 7)) == [(0, 0), (0, 1), (0, 2)]


def test_a_large_grid_is_searched_near_the_way_over_its_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[np.ndarray] = []
    plain = search.cheapest

    def spied(is_open: np.ndarray, *more: Any, **named: Any) -> list[tuple[int, int]]:
        seen.append(is_open)
        return plain(is_open, *more, **named)

    monkeypatch.setattr(search, "cheapest", spied)
    is_open = np.ones((60, 90), dtype=np.bool_)
    is_open[30, :80] = False
    cost = np.ones(is_open.shape)
    whole = search.cheapest_near(is_open, cost, 5.0, (5, 5), (55, 5))
    assert len(seen) == 1
    # Four times more squares than may be searched at once: blocks of four (the root of 4 x 5400 over 1350).
    monkeypatch.setattr(search, "MOST_SQUARES", 1350)
    monkeypatch.setattr(search, "CORRIDOR", 2)
    near = search.cheapest_near(is_open, cost, 5.0, (5, 5), (55, 5))
    assert seen[1].shape == (15, 23) and seen[1].all()
    assert seen[2].shape == is_open.shape and not (seen[2] & ~is_open).any()
    assert 0 < np.count_nonzero(seen[2]) < np.count_nonzero(is_open)
    assert _way_cost(cost, 5.0, near) == pytest.approx(_way_cost(cost, 5.0, whole), rel=0.02)
    # What no way near it joins is sought over the whole grid.
    monkeypatch.setattr(search, "block_way", lambda *a: [(1, 1), (13, 1)])
    assert search.cheapest_near(is_open, cost, 5.0, (5, 5), (55, 5)) == whole


@pytest.mark.parametrize("squares", [0.7, 1.0, 2.3, 3.0, 5.5, 40.0])
def test_what_grows_is_closed_within_its_distance(squares: float) -> None:
    rng = np.random.default_rng(3)
    burnt = rng.random((23, 31)) < 0.02
    burnt[0, 0] = burnt[22, 17] = True
    out = rng.random((23, 31)) < 0.1
    rows, columns = np.nonzero(burnt)
    r, c = np.mgrid[0:23, 0:31]
    away = np.hypot(r[..., None] - rows, c[..., None] - columns).min(axis=-1)
    want = out | (away <= squares)
    grow(out, burnt, squares)
    assert np.array_equal(out, want)
    empty = np.zeros((4, 4), dtype=np.bool_)
    grow(empty, empty.copy(), squares)
    assert not empty.any()


@pytest.mark.parametrize("part", [0.02, 0.3, 0.49, 0.51, 0.98])
def test_a_point_and_a_line_stand_in_their_own_squares(part: float) -> None:
    """Wherever within the square: the picture library cuts off, and was once given the middle less a half."""
    point = shapely.Point(20.0 + part, 10.0 + part)
    assert np.argwhere(burn([point], 0.0, 0.0, 1.0, (40, 40))).tolist() == [[10, 20]]
    line = shapely.LineString([(20.0 + part, 3.0 + part), (20.0 + part, 30.0 + part)])
    assert np.argwhere(burn([line], 0.0, 0.0, 1.0, (40, 40))).tolist() == [[row, 20] for row in range(3, 31)]
    box = shapely.box(20.0 + part, 10.0 + part, 25.0 + part, 15.0 + part)
    rows, columns = np.nonzero(burn([box], 0.0, 0.0, 1.0, (40, 40)))
    assert (rows.min(), rows.max(), columns.min(), columns.max(), len(rows)) == (10, 15, 20, 25, 36)
    # What begins outside the grid is cut where it ends.
    out = shapely.LineString([(-3.0 - part, 5.0 + part), (4.0 + part, 5.0 + part)])
    assert np.argwhere(burn([out], 0.0, 0.0, 1.0, (40, 40))).tolist() == [[5, column] for column in range(5)]




def _middles(shape: tuple[int, int]) -> np.ndarray:
    r, c = np.mgrid[0 : shape[0], 0 : shape[1]]
    return np.stack([WEST + (c + 0.5) * CELL, SOUTH + (r + 0.5) * CELL], axis=-1)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("outline", [False, True])
def test_squares_that_shapes_cover_are_burnt(seed: int, outline: bool) -> None:
    """Whose middle lies inside by more than 1.6 squares, none outside by as much: the picture library's own room."""
    rng = np.random.default_rng(seed)
    shape = (40, 55)
    at = rng.uniform([WEST - 60.0, SOUTH - 60.0], [WEST + 500.0, SOUTH + 380.0], (9, 2))
    hull = shapely.MultiPoint(at).convex_hull
    hole = hull.centroid.buffer(45.0)
    ring = hull.difference(hole)
    line = shapely.LineString(rng.uniform([WEST, SOUTH], [WEST + 440.0, SOUTH + 320.0], (3, 2)))
    shapes: list[Any] = [ring, line, shapely.Point(WEST + 20.5 * CELL, SOUTH + 33.5 * CELL)]
    got = burn(shapes, WEST, SOUTH, CELL, shape, outline)
    middles = shapely.points(_middles(shape))
    edge = shapely.distance(middles, ring.boundary)
    inside = edge * np.where(shapely.contains(ring, middles), 1.0, -1.0)
    half = CELL * math.sqrt(0.5)
    on_line = shapely.distance(middles, line)
    point = np.zeros(shape, dtype=np.bool_)
    point[33, 20] = True
    assert got[inside > 1.6 * CELL].all() and got[point].all()
    if outline:
        # A line goes by the squares that its corners stand in: a square off at the most, and as much to either side.
        assert not got[(inside < -1.6 * CELL) & (on_line > 1.6 * CELL) & ~point].any()
        drawn = burn([line], WEST, SOUTH, CELL, shape)
        near = shapely.distance(middles[drawn], line)
        assert near.max() < 1.5 * half and np.count_nonzero(drawn) >= np.count_nonzero(on_line < 0.4 * CELL)
        off = shapely.get_coordinates(middles[drawn]) - shapely.get_coordinates(
            shapely.line_interpolate_point(line, shapely.line_locate_point(line, middles[drawn]))
        )
        assert np.abs(off.mean(axis=0)).max() < 0.25 * CELL
    else:
        assert not got[(inside < -1.6 * CELL) & ~point].any()
    collected = burn([shapely.GeometryCollection(shapes)], WEST, SOUTH, CELL, shape, outline)
    assert np.array_equal(got, collected)


@pytest.mark.parametrize("is_tight", [False, True])
def test_squares_nearer_than_a_shape_may_be_passed_are_closed(is_tight: bool) -> None:
    """Wide: what is open lies off by the distance and more.  Tight: what is closed lies in it, but for a square."""
    shape = (60, 60)
    box = shapely.box(WEST + 200.0, SOUTH + 190.0, WEST + 260.0, SOUTH + 240.0)
    line = shapely.LineString([(WEST + 60.0, SOUTH + 400.0), (WEST + 400.0, SOUTH + 420.0)])
    points = [shapely.Point(WEST + 90.0, SOUTH + 101.0), shapely.Point(WEST + 330.0, SOUTH + 70.0)]
    shapes = np.array([box, line, *points], dtype=object)
    keep = np.array([33.0, 12.0, 21.0, 0.5])
    got = grid._near(Closed(shapes, keep), WEST, SOUTH, CELL, shape, is_tight)
    middles = shapely.points(_middles(shape))
    off = np.min([shapely.distance(middles, s) - k for s, k in zip(shapes, keep, strict=True)], axis=0)
    assert got[12, 11] and got[8, 41]  # the squares the points stand in
    if is_tight:
        assert not got[off > CELL].any() and got[off < -CELL].all()
    else:
        assert got[off < 0.0].all() and not got[off > 5.0 + 1.3 * CELL].any()


def test_squares_and_places_are_each_others() -> None:
    g = grid_of(np.ones((20, 30), dtype=np.bool_))
    for row, column in ((0, 0), (7, 22), (19, 29)):
        east, north = g.place(row, column)
        assert (east, north) == (WEST + 8.0 * column + 4.0, SOUTH + 8.0 * row + 4.0)
        assert g.square(east + 3.9, north - 3.9) == g.square(east - 3.9, north + 3.9) == (row, column)
    assert g.square(-9e4, -9e4) == (0, 0) and g.square(9e4, 9e4) == (19, 29)
    east, north = g.place(3, 4)
    assert g.burnt([shapely.Point(east, north)]).nonzero() == (np.array([3]), np.array([4]))
    shut = g.shut(g.burnt([shapely.Point(east, north)]))
    assert not shut.open[3, 4] and np.count_nonzero(~shut.open) == 1


def test_a_metre_is_dearer_beside_what_is_closed_and_cheaper_where_the_chart_offers(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """1 + 3 (1 - d / keep off)^2 at d from the closed; of what is offered 0.6, and 0.3 of what is dearer; three times
    through what speaks against."""
    is_open = np.ones((40, 40), dtype=np.bool_)
    is_open[:, 0] = False
    offered = shapely.box(WEST + 120.5, SOUTH + 200.5, WEST + 199.0, SOUTH + 263.0)
    near_edge = shapely.box(WEST + 8.5, SOUTH + 240.5, WEST + 31.0, SOUTH + 263.0)
    against = Closed(np.array([shapely.Point(WEST + 244.0, SOUTH + 124.0)], dtype=object), np.array([6.0]))
    monkeypatch.setattr(grid, "_offered", lambda dangers: [offered, near_edge])
    g = grid_of(is_open, against=against)
    cost = g.costs()
    for column in (1, 2, 4, 6):
        # Closed all round as well: past the grid's edge nothing is known.
        assert cost[20, column] == pytest.approx(1.0 + 3.0 * (1.0 - 8.0 * column / 50.0) ** 2)
        assert cost[column - 1, 20] == pytest.approx(cost[20, column])
    assert cost[20, 10] == 1.0
    assert cost[28, 18] == pytest.approx(0.6)
    assert cost[31, 2] == pytest.approx(0.6 * (1.0 + 0.3 * 3.0 * (1.0 - 16.0 / 50.0) ** 2))
    assert cost[15, 30] == 3.0 and cost[15, 33] == 1.0
    # A tight grid goes by what speaks against where marks may be passed as close as the hull allows: nothing here.
    assert grid_of(is_open, against=against, is_tight=True).costs()[15, 30] == 1.0


def test_how_wide_squares_are() -> None:
    bounds_m = (500.0, 300.0, 6500.0, 9300.0)
    assert cell_of(bounds_m, Lay(Reach(0.35, 1500.0), 600, 12.0)) == 15.0
    assert cell_of(bounds_m, Lay(Reach(0.35, 1500.0), 900, 12.0)) == 12.0
