"""The one line of sight: the kernel against its definition, and what is asked of it held together."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from moonless.constants import TAU
from moonless.sight import reference
from moonless.sight.between import land_between
from moonless.sight.crossing_kernels import crossings_kernel
from moonless.sight.edges import edges_of
from moonless.sight.lines import MAX_CROSSINGS, N_BEARINGS, crossings, first_land_m

unhurried = settings(deadline=None)
edge_arrays = arrays(
    np.float64,
    st.tuples(st.integers(0, 12), st.just(4)),
    elements=st.floats(-500, 500, width=32).map(lambda v: v + 0.37),
)


@unhurried
@given(
    seed=st.integers(0, 10_000),
    n_edge=st.integers(1, 40),
    n_spoke=st.sampled_from([8, 64, 97, 256]),
)
def test_crossings(seed: int, n_edge: int, n_spoke: int) -> None:
    rng = np.random.default_rng(seed)
    ends = rng.uniform(-1000.0, 1000.0, (4, n_edge))
    start, found, edge = crossings_kernel(*ends, n_spoke)  # type: ignore[call-arg]
    plain = reference.crossings(*ends, n_spoke)  # type: ignore[call-arg]
    assert len(edge) == len(found) == start[-1]
    for i in range(n_spoke):
        np.testing.assert_allclose(found[start[i] : start[i + 1]], plain[i], rtol=2e-4, atol=1e-2)


@unhurried
@given(seed=st.integers(0, 10_000), n=st.integers(3, 30))
def test_rings_are_entered_as_often_as_left(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    # Whole-number places, so that vertices fall on spokes exactly.
    u, v = rng.integers(1, 20, n).astype(float), rng.integers(-20, 20, n).astype(float)
    start, _, _ = crossings_kernel(u, v, np.roll(u, -1), np.roll(v, -1), 64)
    assert np.all(np.diff(start) % 2 == 0)


def test_a_spoke_is_a_row_of_the_turn() -> None:
    # A wall square ahead is met by the spokes that look at it and by no other.
    start, found, _ = crossings_kernel(np.array([100.0]), np.array([-10.0]), np.array([100.0]), np.array([10.0]), 720)
    count = np.diff(start)
    looking = np.abs(np.arcsin(np.sin(np.arange(720) * TAU / 720))) < math.atan(0.1)
    looking &= np.cos(np.arange(720) * TAU / 720) > 0
    assert np.array_equal(count == 1, looking)
    assert found.min() == pytest.approx(100.0)


@settings(max_examples=80, deadline=None)
@given(edge_arrays, st.floats(-100, 100), st.floats(-100, 100), st.floats(50, 2000))
def test_true_bearings_are_the_definitions_lines(edges: np.ndarray, east: float, north: float, reach: float) -> None:
    ranges, counts = crossings(edges, east, north, reach)
    x1, y1, x2, y2 = (edges - np.array([east, north, east, north])).T
    expected = reference.crossings(y1, x1, y2, x2, N_BEARINGS)
    first = first_land_m(edges, east, north, reach)
    for row in range(N_BEARINGS):
        within = [r for r in expected[row] if r < reach]
        assert counts[row] == len(within)
        assert ranges[row, : counts[row]] == pytest.approx(within, rel=1e-6, abs=1e-6)
        assert np.isinf(ranges[row, counts[row] :]).all()
        assert first[row] == ranges[row, 0]


def test_reference_by_hand() -> None:
    # A wall 100 m ahead, from 50 m left to 50 m right: met dead ahead at 100, not abeam.
    wall = (np.array([100.0]), np.array([-50.0]), np.array([100.0]), np.array([50.0]))
    assert reference.crossings(*wall, 4) == [[pytest.approx(100.0)], [], [], []]


def test_of_too_many_crossings_the_nearest_are_kept() -> None:
    walls = np.array([[-50.0, 10.0 * k, 50.0, 10.0 * k] for k in range(MAX_CROSSINGS + 40, 0, -1)])
    ranges, counts = crossings(walls, 0.0, 0.0, 1e5)
    assert counts[0] == MAX_CROSSINGS
    assert ranges[0] == pytest.approx(10.0 * np.arange(1, MAX_CROSSINGS + 1))


def test_an_eye_on_an_edge_looks_past_it() -> None:
    first = first_land_m(np.array([[-50.0, 0.0, 50.0, 0.0], [-50.0, 80.0, 50.0, 80.0]]), 0.0, 0.0, 1000.0)
    assert first[0] == pytest.approx(80.0)


@unhurried
@given(st.floats(-900, 900), st.floats(-900, 900), st.integers(0, N_BEARINGS - 1), st.floats(1.0, 2500.0))
def test_land_between_two_places_is_a_first_land_nearer_than_the_other(
    east: float, north: float, row: int, away_m: float
) -> None:
    """A cay and a bent bank, and an eye off them: the two questions have one answer."""
    land = shapely.union_all([
        shapely.box(-200.0, 100.0, 150.0, 400.0),
        shapely.Polygon([(300, -600), (700, -500), (650, 200), (560, -380)]),
    ])  # fmt: skip
    if shapely.dwithin(land, shapely.Point(east, north), 1.0):
        return
    first = float(first_land_m(edges_of(land), east, north, 5000.0)[row])
    if abs(first - away_m) < 0.5:
        return
    bearing = row * TAU / N_BEARINGS
    there = np.array([east + away_m * math.sin(bearing), north + away_m * math.cos(bearing)])
    eye = np.array([[east, north]])
    # A line that only grazes a corner may be met or missed by a hair.
    grazes = shapely.dwithin(shapely.boundary(land), shapely.LineString([eye[0], there]), 0.01)
    if not grazes or shapely.length(shapely.intersection(land, shapely.LineString([eye[0], there]))) > 0.1:
        assert land_between(land, eye, there)[0] == (first < away_m)


def test_the_ground_a_light_stands_on_does_not_hide_it() -> None:
    land = shapely.box(-50.0, 1000.0, 50.0, 1200.0)
    eyes, light = np.array([[0.0, 0.0], [0.0, 970.0]]), np.array([0.0, 1030.0])
    assert land_between(land, eyes, light).tolist() == [True, True]
    assert land_between(land, eyes, light, own_ground_m=60.0).tolist() == [False, False]
