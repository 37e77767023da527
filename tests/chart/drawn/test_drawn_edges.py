"""Lines between areas: the shore and the contours, and nothing where the chart ends."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from moonless.chart.drawn.edges import edges_of

LAND = -1000.0


def areas(*shapes: shapely.Geometry) -> np.ndarray:
    out = np.empty(len(shapes), dtype=object)
    out[:] = shapes
    return out


def test_the_line_between_two_areas_is_their_common_edge() -> None:
    edges = edges_of(areas(shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 10)), np.array([LAND, 2.0]), 0.1)
    assert [line.length for line in edges.lines] == [10.0]
    assert shapely.equals(edges.lines[0], shapely.LineString([(10, 0), (10, 10)]))
    assert (edges.low.tolist(), edges.high.tolist()) == ([LAND], [2.0])


def test_an_island_has_a_shore_all_round() -> None:
    sea, island = shapely.box(0, 0, 100, 100), shapely.box(40, 40, 60, 60)
    edges = edges_of(areas(shapely.difference(sea, island), island), np.array([5.0, LAND]), 0.1)
    assert shapely.length(edges.lines).sum() == pytest.approx(80.0)


def test_corners_that_do_not_match_leave_no_hole_in_the_line() -> None:
    # The left area knows nothing of the corner where the two on the right meet.
    edges = edges_of(
        areas(shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 4), shapely.box(10, 4, 20, 10)),
        np.array([2.0, 5.0, 5.0]),
        0.1,
    )
    assert shapely.length(edges.lines).sum() == pytest.approx(10.0)
    assert set(edges.low) == {2.0} and set(edges.high) == {5.0}


def test_nothing_is_no_trouble() -> None:
    assert len(edges_of(areas(), np.empty(0), 0.1).lines) == 0
    assert len(edges_of(areas(shapely.box(0, 0, 1, 1)), np.array([1.0]), 0.1).lines) == 0


@given(arrays(np.int64, st.tuples(st.integers(1, 6), st.integers(1, 6)), elements=st.integers(0, 3)))
def test_every_step_of_a_board_is_drawn_once_and_no_other_edge(board: np.ndarray) -> None:
    rows, columns = board.shape
    shapes = areas(*(shapely.box(i, j, i + 1, j + 1) for j in range(rows) for i in range(columns)))
    edges = edges_of(shapes, board.ravel().astype(float), 0.01)
    steps = (board[:, 1:] != board[:, :-1]).sum() + (board[1:] != board[:-1]).sum()
    assert shapely.length(edges.lines).sum() == pytest.approx(float(steps))
    if len(edges.lines):
        # Drawn once: laid over each other they are no longer than by themselves, and none lies on the board's rim.
        merged = shapely.union_all(edges.lines)
        assert merged.length == pytest.approx(float(steps))
        assert shapely.intersection(merged, shapely.box(0, 0, columns, rows).exterior).length == pytest.approx(0.0)
    assert np.all(edges.low < edges.high)
