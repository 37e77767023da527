"""Kernels equal their references, over odd shapes, wrap, gaps, saturation and emptiness."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from moonless.echo.kernels import body_kernels, floor_kernels, ground_kernels, reference, video_kernels

FEW = settings(deadline=None, max_examples=30)  # the first example pays for compilation


@st.composite
def videos(draw, dtype=np.uint8):
    n_spoke, n_cell = draw(st.integers(5, 24)), draw(st.integers(1, 18))
    top = 15 if draw(st.booleans()) else 255
    echo = draw(arrays(dtype, (n_spoke, n_cell), elements=st.integers(0, top)))
    received = draw(arrays(np.bool_, n_spoke))
    n_row = draw(st.integers(1, n_spoke))
    row_edge = (np.arange(n_row + 1, dtype=np.int64) * n_spoke) // n_row
    return echo, received, row_edge, draw(st.integers(1, 4))


# Powers that float32 sums exactly, so that order cannot matter.
WHOLE = np.arange(256, dtype=np.float32)


@FEW
@given(videos(), st.integers(0, 2), st.integers(0, 200), st.sampled_from([(256, 20 * 256), (256, 0), (600, 0)]))
def test_blocks_equal_reference(video, reach, least, test):
    echo, received, row_edge, col_cells = video
    spike = np.array([least, *test], dtype=np.int64)
    n_row, n_col = row_edge.size - 1, -(-echo.shape[1] // col_cells)
    total, weight = np.empty((n_row, n_col), np.float32), np.empty(n_row, np.int64)
    spikes = video_kernels.blocks_kernel(echo, received, row_edge, col_cells, WHOLE, spike, reach, total, weight)
    expected, seen, count = reference.blocks(echo, received, row_edge, col_cells, WHOLE, spike, reach)
    assert np.array_equal(total, expected)
    assert np.array_equal(weight, seen)
    assert spikes == count


def test_sixteen_bit_video_goes_through_the_same_kernel():
    echo = np.full((8, 4), 1000, np.uint16)
    echo[3, 2] = 60_000
    power = np.arange(65_536, dtype=np.float32)
    spike = np.array([5000, 600, 0], dtype=np.int64)
    total, weight = np.empty((8, 4), np.float32), np.empty(8, np.int64)
    edge = np.arange(9, dtype=np.int64)
    assert video_kernels.blocks_kernel(echo, np.ones(8, np.bool_), edge, 1, power, spike, 1, total, weight) == 1
    assert np.all(total == 1000)


@FEW
@given(videos(), st.integers(1, 3), st.integers(1, 3), st.integers(1, 9))
def test_boxes_equal_reference(video, box_rows, box_cols, nominal):
    echo, received, row_edge, col_cells = video
    box_rows = min(box_rows, row_edge.size - 1)
    spike = np.array([999, 256, 0], dtype=np.int64)
    total, weight, _ = reference.blocks(echo, received, row_edge, col_cells, WHOLE, spike, 0)
    total = total.astype(np.float32)
    strip, box = np.empty_like(total), np.empty_like(total)
    video_kernels.boxes_kernel(total, weight, nominal, box_rows, box_cols, col_cells, echo.shape[1], strip, box)
    want_strip, want_box = reference.boxes(total, weight, nominal, box_rows, box_cols, col_cells, echo.shape[1])
    # Sums are whole and exact; one float32 division follows.
    np.testing.assert_allclose(strip, want_strip, rtol=2e-7)
    np.testing.assert_allclose(box, want_box, rtol=2e-7)


@FEW
@given(st.data())
def test_ordered_equals_reference(data):
    shape = data.draw(st.tuples(st.integers(1, 4), st.integers(1, 40)))
    level = data.draw(arrays(np.uint8, shape))
    skip = data.draw(arrays(np.bool_, shape))
    guard, window = data.draw(st.integers(0, 5)), data.draw(st.integers(1, 12))
    least = data.draw(st.integers(1, window))
    near, far = np.empty(shape, np.int16), np.empty(shape, np.int16)
    floor_kernels.ordered_kernel(level, skip, guard, window, least, near, far)
    want_near, want_far = reference.ordered(level, skip, guard, window, least)
    assert np.array_equal(near, want_near)
    assert np.array_equal(far, want_far)


@st.composite
def hills(draw):
    shape = draw(st.tuples(st.integers(3, 9), st.integers(1, 9)))
    value = draw(arrays(np.float32, shape, elements=st.integers(0, 12).map(float)))
    return value, draw(arrays(np.bool_, shape))


@FEW
@given(hills(), st.sampled_from([0.5, 2.0, 5.0]), st.integers(1, 6), st.sampled_from([0.5, 1.5, 5.0]))
def test_segments_equal_reference(hill, depth, far_rows, far):
    value, mask = hill
    n_row, n_col = value.shape
    firm = np.full(value.shape, 6.0, np.float32)
    far_rows = far_rows + np.arange(n_col) % 2
    cells = np.flatnonzero(mask)
    order = cells[np.argsort(-value.ravel()[cells], kind="stable")]
    basin, body = np.full(value.size, -1, np.int64), np.full(value.size, -1, np.int64)
    body_kernels.segment_kernel(
        value.ravel(), order, n_row, n_col, np.float32(depth), far_rows, np.float32(far), firm.ravel(), basin, body
    )
    want_basin, want_body = reference.segments(value, mask, depth, far_rows, far, firm)
    assert np.array_equal(basin, want_basin)
    assert np.array_equal(body, want_body)


@FEW
@given(hills(), st.integers(0, 2), st.integers(0, 2), st.integers(0, 12))
def test_peaks_equal_reference(hill, rows, cols, threshold):
    value, mask = hill
    value = np.where(mask, value, np.nan).astype(np.float32)
    over = np.full(value.shape, threshold, np.float32)
    found = np.empty(value.size, np.int64)
    n = body_kernels.peaks_kernel(value, over, rows, cols, found)
    if 2 * rows < value.shape[0]:  # a window that wraps onto itself would compare a cell with itself
        assert found[:n].tolist() == reference.peaks(value, over, rows, cols)


@FEW
@given(st.data())
def test_gates_equal_reference(data):
    whole = st.integers(-20, 20).map(float)
    n, m = data.draw(st.integers(0, 5)), data.draw(st.integers(0, 12))
    place = data.draw(arrays(np.float64, (n, 2), elements=whole))
    old = data.draw(arrays(np.float64, (m, 2), elements=whole))
    old = old[np.argsort(old[:, 1], kind="stable")]
    gate = data.draw(arrays(np.float64, (n, 2), elements=st.integers(0, 9).map(float)))
    reach = data.draw(arrays(np.float64, n, elements=st.integers(0, 30).map(float)))
    east = data.draw(arrays(np.bool_, n))
    along = np.column_stack((east, ~east)).astype(np.float64)
    inside, near = np.zeros(n, np.int64), np.zeros(n, np.int64)
    ground_kernels.gate_kernel(
        place[:, 0].copy(), place[:, 1].copy(), along[:, 0].copy(), along[:, 1].copy(), gate[:, 0].copy(),
        gate[:, 1].copy(), reach, old[:, 0].copy(), old[:, 1].copy(), inside, near,
    )  # fmt: skip
    want_inside, want_near = reference.gates(place, along, gate, reach, old)
    assert np.array_equal(inside, want_inside)
    assert np.array_equal(near, want_near)


@FEW
@given(hills(), st.integers(0, 3))
def test_blots_equal_reference(hill, half_cols):
    value, mask = hill
    cells = np.flatnonzero(mask)
    half = (value.ravel()[cells] % 4).astype(np.int64)
    out = np.zeros(value.shape, np.bool_)
    body_kernels.dilate_kernel(cells, half, half_cols, out)
    assert np.array_equal(out, reference.dilate(cells, half, half_cols, *value.shape))


@FEW
@given(videos())
def test_spread_equals_reference(video):
    echo, _, row_edge, col_cells = video
    coarse = np.arange((row_edge.size - 1) * -(-echo.shape[1] // col_cells), dtype=np.float32)
    coarse = coarse.reshape(row_edge.size - 1, -1)
    fine = np.empty(echo.shape, np.float32)
    video_kernels.spread_kernel(coarse, row_edge, col_cells, fine)
    assert np.array_equal(fine, reference.spread(coarse, row_edge, col_cells, echo.shape[1]))


@FEW
@given(hills(), st.data())
def test_floor_kernels_equal_reference(hill, data):
    value, mask = hill
    n_row, n_col = value.shape
    strip = np.where(mask, value * 8 - 20, np.nan).astype(np.float32)
    sector = data.draw(arrays(np.int64, n_row, elements=st.integers(0, 2)))
    ring = data.draw(arrays(np.int64, n_col, elements=st.integers(0, 1)))
    background = data.draw(arrays(np.float32, (3, 2), elements=st.integers(-5, 40).map(float)))
    low, step = np.float32(-14.0), np.float32(0.5)
    level, skip = np.empty(value.shape, np.uint8), np.empty(value.shape, np.bool_)
    floor_kernels.levels_kernel(
        strip, background, sector, ring, low, step, np.float32(25), np.float32(12), level, skip
    )
    want_level, want_skip = reference.levels(strip, background, sector, ring, -14.0, 0.5, 25.0, 12.0)
    assert np.array_equal(level, want_level)
    assert np.array_equal(skip, want_skip)
    near = data.draw(arrays(np.int16, value.shape, elements=st.integers(-1, 200)))
    far = data.draw(arrays(np.int16, value.shape, elements=st.integers(-1, 200)))
    over, least = background + 3, background + 1
    floor, threshold, candidate = np.empty_like(value), np.empty_like(value), np.empty_like(value)
    floor_kernels.floor_kernel(
        near, far, 9, np.float32(0.75), background, over, least, sector, ring, low, step, floor, threshold, candidate
    )
    want_floor, want_threshold = reference.floors(near, far, 9, 0.75, background, over, sector, ring, -14.0, 0.5)
    assert np.array_equal(floor, want_floor)
    assert np.array_equal(threshold, want_threshold)
    want_candidate = reference.floors(near, far, 9, 0.75, background, least, sector, ring, -14.0, 0.5)[1]
    assert np.array_equal(candidate, want_candidate)


@FEW
@given(videos(), st.data())
def test_measure_equals_reference(video, data):
    echo, received, row_edge, col_cells = video
    n_row, n_col = row_edge.size - 1, -(-echo.shape[1] // col_cells)
    cells = np.flatnonzero(data.draw(arrays(np.bool_, n_row * n_col)))
    if cells.size == 0:
        return
    gate = data.draw(arrays(np.bool_, cells.size))
    spike = np.array([50, 256, 20 * 256], dtype=np.int64)
    sums, peak = np.zeros((1, 12)), cells[:1].copy()
    peak_count, n_cells, clipped = np.zeros(1, np.int64), np.zeros(1, np.int64), np.zeros(1, np.bool_)
    video_kernels.measure_kernel(
        echo, received, row_edge, col_cells, WHOLE, spike, 1, 255, cells, np.zeros(cells.size, np.int64), peak, gate,
        n_row, n_col, sums, peak_count, n_cells, clipped,
    )  # fmt: skip
    cleaned = reference.clean(echo, received, 1, spike)
    want = reference.moments(cleaned, received, row_edge, col_cells, WHOLE, cells[gate], int(peak[0]), n_col)
    assert np.array_equal(sums[0], want)
    held = reference.spread(
        np.isin(np.arange(n_row * n_col), cells).reshape(n_row, n_col), row_edge, col_cells, echo.shape[1]
    )
    counted = cleaned[held & received[:, None]]
    assert n_cells[0] == counted.size
    assert peak_count[0] == (counted.max() if counted.size else 0)
    assert clipped[0] == bool(np.any(counted >= 255))


@FEW
@given(st.data())
def test_warp_equals_reference(data):
    n_row, n_col = data.draw(st.integers(4, 24)), data.draw(st.integers(1, 14))
    received = data.draw(arrays(np.bool_, n_row))
    # Own motion and turn of odd amounts, so that no place lies on the edge between two boxes.
    east, north = np.full(n_row, data.draw(st.integers(-3, 3)) * 7.31), np.full(n_row, 4.57)
    turned = data.draw(st.integers(0, 6)) * 0.337
    bearing = np.arange(n_row) * (2 * np.pi / n_row) + turned
    old_heading = np.full(n_row, 0.211)
    zero = np.zeros(n_row)
    was = np.empty((n_row, n_col), np.int32)
    ground_kernels.warp_kernel(east, north, bearing, 5.0, 10.0, zero, zero, old_heading, received, 0.23, -0.41, was)
    want = reference.warp(east, north, bearing, 5.0, 10.0, zero, zero, old_heading, received, 0.23, -0.41, n_col)
    assert np.array_equal(was, want)


@FEW
@given(st.data())
def test_followed_runs_equal_reference(data):
    place_of = st.tuples(st.integers(-60, 60), st.integers(-60, 60))
    here = np.array(data.draw(st.lists(place_of, min_size=1, max_size=6)), dtype=np.float64)
    angle = np.array(data.draw(st.lists(st.integers(0, 7), min_size=len(here), max_size=len(here)))) * 0.7853 + 0.1
    along = np.stack([np.sin(angle), np.cos(angle)], axis=1)
    gate = np.tile([6.3, 11.7], (len(here), 1))  # off the whole numbers, so that rounding decides nothing
    turns = []
    for k in range(data.draw(st.integers(1, 4))):
        points = np.array(data.draw(st.lists(place_of, max_size=8)), dtype=np.float64).reshape(-1, 2)
        points = points[np.argsort(points[:, 1], kind="stable")] + 0.013 * k
        turns.append((-2.5 * (k + 1), points, np.array([bool(i % 2) for i in range(len(points))], dtype=np.bool_)))
    best, seeds = np.empty(len(here), np.int64), np.empty(len(here), np.int64)
    first = np.cumsum([0, *(len(t[1]) for t in turns)]).astype(np.int64)
    every = np.concatenate([t[1] for t in turns])
    ground_kernels.follow_kernel(
        here[:, 0].copy(), here[:, 1].copy(), along[:, 0].copy(), along[:, 1].copy(), gate[:, 0].copy(),
        gate[:, 1].copy(), 0.0, 12.5, first, np.array([t[0] for t in turns]), every[:, 0].copy(), every[:, 1].copy(),
        np.concatenate([t[2] for t in turns]), best, seeds,
    )  # fmt: skip
    want_best, want_seeds = reference.follow(here, along, gate, 0.0, 12.5, turns)
    assert best.tolist() == want_best
    assert seeds.tolist() == want_seeds


@FEW
@given(st.integers(1, 9), st.integers(1, 9), st.integers(0, 2**32 - 1))
def test_settle_equals_reference(n_row, n_col, seed):
    rng = np.random.default_rng(seed)
    sector, ring = rng.integers(0, 3, n_row), rng.integers(0, 2, n_col)
    mean, drop, usual = (rng.uniform(0.0, top, (3, 2)).astype(np.float32) for top in (20.0, 1.0, 8.0))
    usual[0] = 0.0
    floor = rng.uniform(0.0, 20.0, (n_row, n_col)).astype(np.float32)
    less, want_offset = reference.settle(mean, drop, usual, sector, ring, floor)
    threshold, candidate = floor + np.float32(5.0), floor + np.float32(2.0)
    got, offset = floor.copy(), np.empty_like(floor)
    floor_kernels.settle_kernel(mean, drop, usual, sector, ring, got, threshold, candidate, offset)
    # float32 against float64: a few units in the seventh place of some tens of dB.
    for one, add in ((got, 0.0), (threshold, 5.0), (candidate, 2.0)):
        np.testing.assert_allclose(one, floor - less + add, atol=2e-5)
    np.testing.assert_allclose(offset, want_offset, atol=2e-5)


@FEW
@given(videos(), st.integers(0, 2**32 - 1))
def test_streak_parts_equal_reference(video, seed):
    echo, received, *_ = video
    rng = np.random.default_rng(seed)
    over = np.empty(echo.shape, np.float32)
    video_kernels.excess_kernel(echo, received, over)
    assert np.array_equal(over, reference.excess(echo, received))
    by_row, by_col = (rng.uniform(0.0, 3.0, n).astype(np.float32) for n in echo.shape)
    count = np.empty((echo.shape[0], echo.shape[1] + 1), np.float32)
    video_kernels.parts_kernel(over, by_row, by_col, 4.0, 0.5, count)
    np.testing.assert_allclose(count, reference.parts(over, by_row, by_col, 4.0, 0.5), atol=1e-4)
