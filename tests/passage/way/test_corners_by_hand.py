"""The corners of a way, its ends and which corners go: squares and places worked by hand."""

from __future__ import annotations

import itertools
import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from way_grids import SOUTH, WEST, grid_of

from moonless.chart.dangers.layout import Group
from moonless.passage.way import bars, ease, propose
from moonless.passage.way.seek import over_grid


def test_the_ends_lie_in_the_water_that_joins_them() -> None:
    """A pond nearer to the start holds not the end: the open water behind it does."""
    is_open = np.zeros((80, 120), dtype=np.bool_)
    is_open[38:42, 10:14] = True  # a pond, 24 m from the start
    is_open[:, 40:100] = True
    g, start, end = grid_of(is_open), (WEST + 60.0, SOUTH + 320.0), (WEST + 850.0, SOUTH + 300.0)
    boat: Any = None
    a, b = over_grid._ends_joined(g, boat, boat, [start, end])
    assert a == (40, 40) and b == (37, 99)
    # From farther than 500 m there is none, and a pond alone joins nothing.
    is_open[:, 40:100] = False
    is_open[:, 71:100] = True
    with pytest.raises(over_grid.NotJoined):
        over_grid._ends_joined(grid_of(is_open), boat, boat, [start, end])
    is_open[:, 69:71] = True
    assert over_grid._ends_joined(grid_of(is_open), boat, boat, [start, end])[0] == (40, 69)


def test_the_nearer_of_two_waters_that_join_both_is_taken() -> None:
    is_open = np.zeros((60, 60), dtype=np.bool_)
    is_open[5, 5:55] = True
    is_open[30, 5:55] = True
    boat: Any = None
    for north, row in ((SOUTH + 8.0 * 12, 5), (SOUTH + 8.0 * 24, 30)):
        ends = [(WEST + 100.0, north), (WEST + 300.0, north)]
        assert [s[0] for s in over_grid._ends_joined(grid_of(is_open), boat, boat, ends)] == [row, row]


def test_a_refused_leg_is_split_in_the_middle_of_the_way_that_was_walked() -> None:
    path = [(k, 0) for k in range(20)]
    corners = [(0, 0), (8, 0), (11, 0), (19, 0)]
    assert over_grid._split(corners, path, [True, True, False]) == [(0, 0), (4, 0), (8, 0), (11, 0), (19, 0)]
    assert over_grid._split(corners, path, [False, False, True]) == [*corners[:3], (15, 0), (19, 0)]
    assert over_grid._split([(0, 0), (4, 0)], path, [True]) == [(0, 0), (2, 0), (4, 0)]
    # A corner that was drawn off the way is not split from.
    assert over_grid._split([(0, 0), (8, 1)], path, [True]) == [(0, 0), (8, 1)]


def test_the_middle_between_two_longitudes_is_on_the_short_way_round() -> None:
    assert propose._step(10.0, 30.0) == 20.0 and propose._step(170.0, -170.0) == 20.0
    assert propose._step(-170.0, 170.0) == -20.0 and propose._step(5.0, -5.0) == -10.0


def test_a_stretch_is_walked_straight_where_it_is_open_and_no_dearer() -> None:
    is_open = np.ones((40, 40), dtype=np.bool_)
    fenced, cost = np.zeros((40, 40), dtype=np.bool_), np.ones((40, 40))
    g = grid_of(is_open)
    stair = [(k // 2, (k + 1) // 2) for k in range(41)]
    assert over_grid._straighten(g, cost, fenced, stair) == [stair[0], stair[-1]]
    assert over_grid._clear(g, cost, fenced, stair)
    # The diagonal is 20 roots of 2 long, 28.3; the stair 40 of half squares; up to 1.1 times as dear it is taken.
    for dear, is_taken in ((1.5, True), (1.6, False)):
        ramp = np.where(np.eye(40, dtype=np.bool_), dear, 1.0)
        ramp[0, 0] = ramp[20, 20] = dear
        walked = over_grid._clear(g, ramp, fenced, stair)
        corners = np.array(stair)
        own = ramp[corners[:, 0], corners[:, 1]]
        way = float((0.5 * (own[1:] + own[:-1])).sum())
        rows, columns = over_grid._squares_along(stair[0], stair[-1])
        straight = math.sqrt(800.0) * float(ramp[rows, columns].mean())
        assert walked is (straight <= 1.1 * way), (dear, is_taken)
    closed = is_open.copy()
    closed[10, 10] = False
    assert not over_grid._clear(grid_of(closed), cost, fenced, stair)
    fenced[10, 10] = True
    assert not over_grid._clear(g, cost, fenced, stair)


def test_the_squares_along_a_line_leave_none_out() -> None:
    for a, b in (((3, 3), (3, 3)), ((0, 0), (7, 3)), ((9, 2), (1, 12)), ((5, 5), (5, 20))):
        rows, columns = over_grid._squares_along(a, b)
        got = list(zip(rows.tolist(), columns.tolist(), strict=True))
        assert got[0] == a and got[-1] == b
        assert all(max(abs(p[0] - q[0]), abs(p[1] - q[1])) <= 1 for p, q in itertools.pairwise(got))
        line = shapely.LineString([a, b]) if a != b else shapely.Point(a)
        assert all(line.distance(shapely.Point(p)) <= 0.71 for p in got)


def test_short_legs_are_joined_where_that_keeps_in_open_water() -> None:
    """Squares of 20 m: a leg of fewer than seven is shorter than 130 m."""
    is_open = np.ones((80, 80), dtype=np.bool_)
    fenced = np.zeros((80, 80), dtype=np.bool_)
    g = grid_of(is_open, 20.0)
    assert over_grid._without_short_legs(g, fenced, [(0, 0), (40, 40), (40, 44), (79, 44)]) == [
        (0, 0),
        (40, 40),
        (79, 44),
    ]
    long = [(0, 0), (40, 40), (40, 47), (79, 47)]
    assert over_grid._without_short_legs(g, fenced, long) == long
    assert over_grid._without_short_legs(g, fenced, [(0, 0), (0, 3)]) == [(0, 0), (0, 3)]
    # At the start the far end of it goes, at the end the near one.
    assert over_grid._without_short_legs(g, fenced, [(0, 0), (0, 3), (50, 3)]) == [(0, 0), (50, 3)]
    assert over_grid._without_short_legs(g, fenced, [(0, 0), (50, 0), (50, 3)]) == [(0, 0), (50, 3)]
    # Where a wall stands on both sides of the corner neither can be left out; a third place near by may do.
    walled = is_open.copy()
    walled[41:, :42] = False
    walled[:39, 43:] = False
    corners = over_grid._without_short_legs(grid_of(walled, 20.0), fenced, [(0, 0), (40, 41), (40, 44), (79, 60)])
    g = grid_of(walled, 20.0)
    assert corners[0] == (0, 0) and corners[-1] == (79, 60)
    assert all(over_grid._is_open_along(g, fenced, a, b) for a, b in itertools.pairwise(corners))


def test_true_ends_stand_where_they_were_asked_for_in_open_water() -> None:
    g = grid_of(np.ones((40, 40), dtype=np.bool_))
    start, end = (WEST + 81.0, SOUTH + 82.0), (WEST + 240.0, SOUTH + 247.0)
    corners = [(10, 10), (20, 15), (30, 30)]
    assert over_grid._with_true_ends(g, corners, [start, end]) == [start, g.place(20, 15), end]
    assert over_grid._with_true_ends(g, [(11, 10), *corners[1:]], [start, end])[0] == g.place(11, 10)
    assert over_grid._with_true_ends(g, [*corners[:2], (30, 29)], [start, end])[-1] == g.place(30, 29)
    assert over_grid._with_true_ends(g, [(10, 10)], [start, (WEST + 83.0, SOUTH + 84.0)]) == [
        start,
        (WEST + 83.0, SOUTH + 84.0),
    ]


def test_what_refuses_is_closed_within_a_square_of_its_place() -> None:
    for cell, radius in ((8.0, 20.0), (40.0, 28.0)):
        g = grid_of(np.ones((60, 60), dtype=np.bool_), cell)
        at = g.place(30, 30)
        rows, columns = np.nonzero(over_grid._closing(g, at))
        off = np.hypot(rows - 30, columns - 30) * cell
        assert off.max() <= radius + cell and (30, 30) in set(zip(rows.tolist(), columns.tolist(), strict=True))
        assert len(off) >= 0.7 * math.pi * radius**2 / cell**2


@pytest.mark.parametrize(
    ("turn_deg", "second_m", "nearer_m", "is_refused", "is_fenced", "goes"),
    [
        (7.0, 500.0, 0.0, False, False, True), (9.0, 500.0, 0.0, False, False, False),
        (-7.0, 500.0, 0.0, False, False, True),
        (60.0, 120.0, 0.0, False, False, True), (60.0, 140.0, 0.0, False, False, False),
        (7.0, 500.0, 3.9, False, False, True), (7.0, 500.0, 4.1, False, False, False),
        (7.0, 500.0, 0.0, True, False, False), (7.0, 500.0, 0.0, False, True, False),
    ],
)  # fmt: skip
def test_which_corners_go(
    turn_deg: float, second_m: float, nearer_m: float, is_refused: bool, is_fenced: bool, goes: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """A slight turn (under 8 degrees) or a short leg (under 130 m); not 4 m nearer to anything, through nothing."""
    course = math.radians(175.0)
    a = (100.0, -50.0)
    b = (a[0] + 500.0 * math.sin(course), a[1] + 500.0 * math.cos(course))
    onward = course + math.radians(turn_deg)
    c = (b[0] + second_m * math.sin(onward), b[1] + second_m * math.cos(onward))
    thing = ("BCNLAT", "cell", "1")

    def offs(grid: Any, boat: Any, needs: Any, legs: list[Any]) -> dict[Any, float] | None:
        if legs == [(a, c)]:
            return None if is_refused else {thing: 40.0 - nearer_m}
        assert legs == [(a, b), (b, c)]
        return {thing: 40.0}

    monkeypatch.setattr(ease, "_offs", offs)
    any_: Any = None
    left = ease.eased(any_, any_, any_, [a, b, c], lambda p, q: is_fenced)
    assert left == ([a, c] if goes else [a, b, c])


def test_a_thing_met_anew_keeps_a_corner(monkeypatch: pytest.MonkeyPatch) -> None:
    places = [(0.0, 0.0), (500.0, 0.0), (1000.0, 10.0)]
    new = ("OBSTRN", "cell", "2")
    monkeypatch.setattr(ease, "_offs", lambda g, b, n, legs: {new: 90.0} if len(legs) == 1 else {})
    any_: Any = None
    assert ease.eased(any_, any_, any_, places, lambda p, q: False) == places


def test_water_is_parted_by_what_is_shallow_rather_than_by_land(monkeypatch: pytest.MonkeyPatch) -> None:
    """A wall of land between two waters with a shoal in it: it closes at the shoal, however far round."""
    is_open = np.ones((40, 60), dtype=np.bool_)
    is_open[:, 28:32] = False
    g = grid_of(is_open)
    land = shapely.box(WEST + 8.0 * 28, SOUTH, WEST + 8.0 * 32, SOUTH + 8.0 * 34)
    shoal = shapely.box(WEST + 8.0 * 28, SOUTH + 8.0 * 34, WEST + 8.0 * 32, SOUTH + 8.0 * 40)
    dangers: Any = SimpleNamespace(
        shapes=np.array([land, shoal], dtype=object), group=np.array([Group.LAND, Group.LAND + 1]),
        coverage=shapely.box(WEST - 8.0, SOUTH - 8.0, WEST + 500.0, SOUTH + 400.0),
    )  # fmt: skip
    water: Any = g.water
    water.dangers = dangers
    monkeypatch.setattr(bars, "_bar", lambda grid, boat, needs, squares: squares)
    any_: Any = None
    (found,) = bars.bars_between(g, any_, any_, [(5, 5), (5, 55)])
    closed = [square for square in found if not is_open[square]]  # type: ignore[attr-defined]
    assert closed and all(row >= 34 for row, _ in closed)
