"""Hidden water as polygons: they hold what the raster holds, and never show as seen what is not."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from reading_rasters import behind, stretches

from moonless.constants import TAU
from moonless.frames import LocalFrame
from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS, N_CELLS
from moonless.reading.publish.outlines import outlines
from moonless.reading.publish.polar_polygons import join, ring_of
from moonless.reading.publish.polygons import PAD_ROWS, seeing_polygon
from moonless.reading.visibility.raster import CAUSES


def test_polygons_hold_exactly_the_rasters_hidden_cells() -> None:
    rng = np.random.default_rng(3)
    rocks = [shapely.Point(x, y).buffer(r) for x, y, r in rng.uniform((-1500, -1500, 30), (1500, 1500, 200), (12, 3))]
    land = shapely.union_all([r for r in rocks if r.distance(shapely.Point(0, 0)) > 60.0])
    water = behind(land, 2000.0)
    step = TAU / N_BEARINGS
    shapes = [shapely.Polygon(ring_of(s, step, 0.0, 0.0)) for s in join(stretches(water.cause, water.cell_m))]
    assert all(s.is_valid for s in shapes)
    hidden = shapely.union_all(shapes)
    # Middles of cells: each lies inside the polygons exactly when its cell is hidden.
    rows = rng.integers(0, N_BEARINGS, 4000)
    cells = rng.integers(0, N_CELLS, 4000)
    r = water.range_m[cells]
    inside = shapely.contains_xy(hidden, r * np.sin(rows * step), r * np.cos(rows * step))
    assert np.array_equal(inside, water.cause[rows, cells] > 0)


def test_the_seeing_line_never_reaches_past_what_either_of_two_bearings_holds() -> None:
    frame = LocalFrame(-12.4, -118.3)
    own = OwnPlane(frame, 300.0, -200.0, 0.0, 0.0, 5.0)
    held = np.random.default_rng(5).uniform(200.0, 2000.0, N_BEARINGS)
    (ring,) = seeing_polygon(own, held)["coordinates"]
    assert ring[0] == ring[-1] and len(ring) == N_BEARINGS // 2 + 1
    lon, lat = np.array(ring[:-1]).T
    east, north = frame.to_plane(lat, lon)
    # Corner k stands k degrees from north, as far out as the nearer of two bearings; seven decimals are a centimetre.
    want = np.minimum(held[0::2], held[1::2])
    np.testing.assert_allclose(np.hypot(east - 300.0, north + 200.0), want, atol=0.03)
    off = np.degrees(np.arctan2(east - 300.0, north + 200.0)) - np.arange(360.0)
    np.testing.assert_allclose(np.mod(off + 180.0, 360.0) - 180.0, 0.0, atol=0.02)


def test_polygons_with_a_tolerance_only_grow() -> None:
    water = behind(shapely.Point(400.0, 300.0).buffer(170.0), 2000.0)
    strips = stretches(water.cause, water.cell_m)
    step = TAU / N_BEARINGS
    exact = shapely.union_all([shapely.Polygon(ring_of(s, step, 0, 0)) for s in join(strips)])
    loose = shapely.union_all([shapely.Polygon(ring_of(s, step, 0, 0, 8.0)) for s in join(strips)])
    assert exact.difference(loose.buffer(0.3)).area < 1.0
    assert loose.area < 1.03 * exact.area


def test_true_line_of_sight_is_never_shown_as_seen_when_it_is_not() -> None:
    """Points behind land by exact geometry lie in hidden water, whatever the raster's grain."""
    rng = np.random.default_rng(8)
    land = shapely.union_all([shapely.Point(700, 200).buffer(150), shapely.box(-900, -300, -500, 400)])
    water = behind(land, 2000.0)
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


@settings(max_examples=60, deadline=None)
@example(np.array([[1, 2, 1, 2, 0, 2]], dtype=np.int8), 0.0, 0.0)  # every cell a water of its own: one was lost once
@example(np.array([[1, 2] * 6] * 3, dtype=np.int8), 0.0, 0.0)
@given(
    arrays(np.int8, st.tuples(st.integers(1, 14), st.integers(1, 12)), elements=st.sampled_from([0, 0, 1, 2])),
    st.sampled_from([0.0, 7.0]),
    st.sampled_from([0.0, 0.5]),
)
def test_compiled_outlines_equal_their_twin(cause: np.ndarray, tolerance: float, pad: float) -> None:
    rows = stretches(cause, 5.0)
    expected = {}
    for strip in join(rows):
        ring = ring_of(strip, 0.1, 3.0, -4.0, tolerance, pad)
        expected[(strip.first, strip.near_m[0])] = (strip.cause, ring)
    rings, causes = outlines(cause, 5.0, 0.1, 3.0, -4.0, tolerance, pad, 0)
    assert len(rings) == len(expected)
    left = list(expected.values())
    for ring, number in zip(rings, causes, strict=True):
        match = [
            k
            for k, (c, r) in enumerate(left)
            if c == CAUSES[number - 1] and r.shape == ring.shape and np.allclose(r, ring)
        ]
        assert match
        left.pop(match[0])
