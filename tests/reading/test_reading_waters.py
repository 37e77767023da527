"""Lines of sight, the raster of hidden water, and its polygons."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from moonless.constants import TAU
from moonless.reading.polar import N_BEARINGS, N_CELLS
from moonless.reading.publish import PAD_ROWS
from moonless.reading.visibility.outlines import outlines
from moonless.reading.visibility.polar_polygons import join, ring_of
from moonless.reading.visibility.raster import CAUSE_OF, Waters, behind_first_land, blank, horizon_mask
from moonless.sight.edges import edges_of
from moonless.sight.lines import crossings


def test_a_ray_through_land_goes_in_and_out() -> None:
    land = shapely.Point(300.0, 400.0).buffer(150.0)
    ranges, counts = crossings(edges_of(land), 0.0, 0.0, 5000.0)
    assert set(np.unique(counts)) <= {0, 2}
    row = round(math.atan2(300.0, 400.0) / TAU * N_BEARINGS)
    assert ranges[row, 0] == pytest.approx(350.0, abs=2.0) and ranges[row, 1] == pytest.approx(650.0, abs=2.0)


@pytest.mark.parametrize("n_side", [32, 24, 720, 45])
@pytest.mark.parametrize("start_deg", [0.0, 180.0, 0.5, -90.0])
def test_a_corner_that_lies_on_a_bearing_is_met_once(n_side: int, start_deg: float) -> None:
    """Corners dead north, south and on every half degree: round the boat each ray goes in once and out once."""
    a = np.radians(start_deg + np.arange(n_side) * 360.0 / n_side)
    for turned in (a, a[::-1]):
        ring = np.column_stack([np.sin(turned), np.cos(turned)])
        lagoon = shapely.Polygon(1900.0 * ring, [1200.0 * ring])
        _, counts = crossings(edges_of(lagoon), 0.0, 0.0, 5000.0)
        assert (counts == 2).all()


def _filled(land: shapely.Geometry, reach: float = 2000.0) -> Waters:
    ranges, counts = crossings(edges_of(land), 0.0, 0.0, reach)
    water = blank(ranges, counts, reach, False)
    water.hide(behind_first_land(water.land), "land")
    return water


def test_raster_holds_land_and_what_is_behind_it() -> None:
    water = _filled(shapely.box(-200.0, 500.0, 200.0, 700.0))
    north = water.range_m
    assert not water.land[0][north < 495].any() and water.land[0][(north > 505) & (north < 695)].all()
    assert (water.cause[0][north > 705] == CAUSE_OF["land"]).all()
    assert (water.cause[N_BEARINGS // 2] == 0).all()


def test_polygons_hold_exactly_the_rasters_hidden_cells() -> None:
    rng = np.random.default_rng(3)
    rocks = [shapely.Point(x, y).buffer(r) for x, y, r in rng.uniform((-1500, -1500, 30), (1500, 1500, 200), (12, 3))]
    land = shapely.union_all([r for r in rocks if r.distance(shapely.Point(0, 0)) > 60.0])
    water = _filled(land)
    step = TAU / N_BEARINGS
    shapes = [shapely.Polygon(ring_of(s, step, 0.0, 0.0)) for s in join(water.intervals())]
    assert all(s.is_valid for s in shapes)
    hidden = shapely.union_all(shapes)
    # Middles of cells: each lies inside the polygons exactly when its cell is hidden.
    rows = rng.integers(0, N_BEARINGS, 4000)
    cells = rng.integers(0, N_CELLS, 4000)
    r = water.range_m[cells]
    inside = shapely.contains_xy(hidden, r * np.sin(rows * step), r * np.cos(rows * step))
    assert np.array_equal(inside, water.cause[rows, cells] > 0)


def test_polygons_with_a_tolerance_only_grow() -> None:
    water = _filled(shapely.Point(400.0, 300.0).buffer(170.0))
    step = TAU / N_BEARINGS
    exact = shapely.union_all([shapely.Polygon(ring_of(s, step, 0, 0)) for s in join(water.intervals())])
    loose = shapely.union_all([shapely.Polygon(ring_of(s, step, 0, 0, 8.0)) for s in join(water.intervals())])
    assert exact.difference(loose.buffer(0.3)).area < 1.0
    assert loose.area < 1.03 * exact.area


def test_true_line_of_sight_is_never_shown_as_seen_when_it_is_not() -> None:
    """Points behind land by exact geometry lie in hidden water, whatever the raster's grain."""
    rng = np.random.default_rng(8)
    land = shapely.union_all([shapely.Point(700, 200).buffer(150), shapely.box(-900, -300, -500, 400)])
    water = _filled(land)
    points = rng.uniform(-1400, 1400, (3000, 2))
    points = points[np.hypot(points[:, 0], points[:, 1]) < 1900.0]
    lines = shapely.linestrings(np.stack([np.zeros_like(points), points], axis=1))
    truly = shapely.intersects(lines, land) & ~shapely.contains_xy(land, points[:, 0], points[:, 1])
    # A step into the shadow, as the raster's own grain of range is five metres.
    truly &= shapely.distance(land, shapely.points(points)) > water.cell_m
    # As drawn: polygons wider than the raster by what an edge between two bearings needs.
    rings, _ = outlines(water.cause, water.cell_m, TAU / N_BEARINGS, 0.0, 0.0, 0.0, PAD_ROWS, 0)
    hidden = shapely.union_all([shapely.Polygon(ring) for ring in rings])
    assert truly.sum() > 200
    assert shapely.contains_xy(hidden, points[truly, 0], points[truly, 1]).all()


def test_horizon_of_a_small_craft() -> None:
    from reading_fakes import RADAR

    r = np.linspace(0.0, 20_000.0, 2001)
    shut = horizon_mask(RADAR, r, 1.0)[0]
    # 4/3 earth, sum of both horizons (sqrt(2 k R h), elementary): 3 m and 1 m give 3.855 + 2.226 NM.
    assert r[np.argmax(shut)] / 1852.0 == pytest.approx(3.855 + 2.226, abs=0.01)


@settings(max_examples=60, deadline=None)
@example(np.array([[1, 2, 1, 2, 0, 2]], dtype=np.int8), 0.0, 0.0)  # every cell a water of its own: one was lost once
@example(np.array([[1, 2] * 6] * 3, dtype=np.int8), 0.0, 0.0)
@given(
    arrays(np.int8, st.tuples(st.integers(1, 14), st.integers(1, 12)), elements=st.sampled_from([0, 0, 1, 2])),
    st.sampled_from([0.0, 7.0]),
    st.sampled_from([0.0, 0.5]),
)
def test_compiled_outlines_equal_their_twin(cause: np.ndarray, tolerance: float, pad: float) -> None:
    water = Waters(5.0, np.zeros(cause.shape, dtype=bool), cause)
    rows: list[list[tuple[float, float, str]]] = [[] for _ in range(len(cause))]
    for i, line in enumerate(cause):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], line, [0]])))
        cuts = sorted({0, len(line), *edges.tolist()})
        for a, b in pairwise(cuts):
            if line[a]:
                rows[i].append((a * water.cell_m, b * water.cell_m, str(line[a])))
    expected = {}
    for strip in join(rows):
        ring = ring_of(strip, 0.1, 3.0, -4.0, tolerance, pad)
        expected[(strip.first, strip.near_m[0])] = (strip.cause, ring)
    rings, causes = outlines(cause, 5.0, 0.1, 3.0, -4.0, tolerance, pad, 0)
    assert len(rings) == len(expected)
    left = list(expected.values())
    for ring, number in zip(rings, causes, strict=True):
        match = [
            k for k, (c, r) in enumerate(left) if c == str(number) and r.shape == ring.shape and np.allclose(r, ring)
        ]
        assert match
        left.pop(match[0])
