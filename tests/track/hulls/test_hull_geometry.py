"""Where a plot lies, how sure, and how long what it is of: against lines and boxes laid out by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from track_world import ERRORS, FRAME, NS, plots_at

from moonless.track.correction import Correction
from moonless.track.hulls import axes, learn_shapes, plot_shapes
from moonless.track.kernels.motion_kernels import STILL
from moonless.track.measurements import measure, shared_covariance
from moonless.track.published import published_tracks
from moonless.track.settings import PoseErrors, TrackerSettings
from moonless.track.track_store import TrackStore

POSE = PoseErrors(heading_sigma_rad=0.01, position_sigma_m=5.0, heading_jitter_rad=0.002, antenna_height_m=0.0)
GLINT = 1.5
COURSES = [0.0, 0.8, 2.2, 3.9, 5.6]


@pytest.mark.parametrize("heading", COURSES)
@pytest.mark.parametrize("own", [(0.0, 0.0), (300.0, -200.0)])
def test_a_plot_lies_at_its_range_on_its_bearing(heading: float, own: tuple[float, float]) -> None:
    places = np.array([[900.0, 100.0], [-400.0, 700.0], [-50.0, -1200.0], [2000.0, -300.0]])
    plots = plots_at(3.0, places, own, heading, time_ns=np.array([1, 2, 3, 4]) * NS)
    got = measure(3 * NS, plots, ERRORS, FRAME, POSE, GLINT)
    assert np.allclose(got.place_m, places, atol=0.05) and got.plot.tolist() == [0, 1, 2, 3]
    d = places - np.array(own)
    assert np.allclose(got.range_m, np.hypot(*d.T), atol=0.05) and np.allclose(got.own_m, own, atol=0.01)
    assert np.allclose(np.mod(got.bearing_rad, math.tau), np.mod(np.arctan2(d[:, 0], d[:, 1]), math.tau), atol=1e-4)
    assert got.ahead_s.tolist() == [-2.0, -1.0, 0.0, 1.0] and got.strength_db.tolist() == [20.0] * 4
    # The errors: 2 m along the bearing; across it five thousandths of the range, and two that the heading jitters.
    for k in range(4):
        r = d[k] / np.hypot(*d[k])
        t = np.array([r[1], -r[0]])
        across = (np.hypot(*d[k]) * math.hypot(0.005, 0.002)) ** 2
        assert r @ got.noise[k] @ r == pytest.approx(2.0**2 + GLINT**2, rel=1e-3)
        assert t @ got.noise[k] @ t == pytest.approx(across + GLINT**2, rel=1e-3)
        assert abs(r @ got.noise[k] @ t) < 0.05
    # What a heading a little too large, and an own place a little off, make of it: by doing it.
    step = 1e-4
    turned = measure(3 * NS, replace(plots, heading_true_rad=plots.heading_true_rad + step), ERRORS, FRAME, POSE, GLINT)
    assert np.allclose(got.shared_jacobian[:, :, 0], (turned.place_m - got.place_m) / step, atol=2.0)
    assert np.allclose(got.shared_jacobian[:, :, 1:], np.eye(2))


def test_what_was_taken_out_of_the_pose_is_taken_out_of_the_places() -> None:
    places, own, bias, off = np.array([[900.0, 100.0], [-400.0, 700.0]]), (50.0, 20.0), 0.05, np.array([30.0, -12.0])
    # The boat believes to head so much more, and to lie so much off.
    plots = plots_at(0.0, places, own, 1.0)
    wrong = plots_at(0.0, places + off, (own[0] + off[0], own[1] + off[1]), 1.0)
    wrong = replace(wrong, heading_true_rad=wrong.heading_true_rad + bias)
    known = Correction.settled(np.array([bias, *off]), np.diag([1e-4, 4.0, 9.0]))
    got = measure(0, wrong, ERRORS, FRAME, POSE, GLINT, known)
    assert np.allclose(got.place_m, measure(0, plots, ERRORS, FRAME, POSE, GLINT).place_m, atol=0.1)
    # What is left of it is what all plots share; the range's own 2 m act as a place.
    assert np.allclose(shared_covariance(ERRORS, POSE, known), np.diag([1e-4, 8.0, 13.0]))
    assert np.allclose(shared_covariance(ERRORS, POSE), np.diag([0.01**2 + 0.002**2, 29.0, 29.0]))


def test_a_high_antenna_measures_the_slant() -> None:
    # 3-4-5: at 50 m slant and 30 m up she is 40 m off.
    pose = replace(POSE, antenna_height_m=30.0)
    plots = replace(plots_at(0.0, np.array([[0.0, 50.0], [0.0, 20.0]])))
    got = measure(0, plots, ERRORS, FRAME, pose, GLINT)
    assert got.range_m.tolist() == pytest.approx([40.0, 0.0], abs=0.01)


@pytest.mark.parametrize("name", ["range_m", "azimuth_rel_rad", "heading_true_rad", "own_lat_deg", "own_lon_deg"])
def test_what_cannot_be_placed_is_left_out(name: str) -> None:
    plots = plots_at(
        0.0,
        np.array([[0.0, 500.0], [300.0, 0.0], [0.0, -800.0]]),
        own_lat_deg=np.full(3, 10.0),
        own_lon_deg=np.full(3, -30.0),
    )
    column = np.array(getattr(plots, name), dtype=float)
    column[1] = np.nan
    assert measure(0, replace(plots, **{name: column}), ERRORS, FRAME, POSE, GLINT).plot.tolist() == [0, 2]


def test_without_a_spread_a_sixth_of_beam_and_pulse_is_taken_and_a_hull_glints_by_a_sixth_of_her() -> None:
    bare = plots_at(0.0, np.array([[0.0, 1000.0]]), range_sigma_m=np.array([np.nan]), azimuth_sigma_rad=np.array([0.0]))
    got = measure(0, bare, ERRORS, FRAME, replace(POSE, heading_jitter_rad=0.0), GLINT)
    assert got.noise[0, 1, 1] == pytest.approx((ERRORS.pulse_m / 6.0) ** 2 + GLINT**2, rel=1e-3)
    assert got.noise[0, 0, 0] == pytest.approx((1000.0 * ERRORS.beam_rad / 6.0) ** 2 + GLINT**2, rel=1e-3)
    ship = replace(bare, range_extent_m=np.array([36.0]), cross_extent_m=np.array([48.0]))
    got = measure(0, ship, ERRORS, FRAME, POSE, GLINT)
    assert got.noise[0, 1, 1] == pytest.approx((ERRORS.pulse_m / 6.0) ** 2 + 10.0**2, rel=1e-3)


def _shape(length: float, breadth: float, axis: float, bearing: float, heading: float) -> np.ndarray:
    """The second moment read from the extents of a box seen on a bearing."""
    turned = axis - bearing
    along = math.hypot(length * math.cos(turned), breadth * math.sin(turned))
    across = math.hypot(length * math.sin(turned), breadth * math.cos(turned))
    place = 1000.0 * np.array([[math.sin(bearing), math.cos(bearing)]])
    plots = plots_at(0.0, place, (0.0, 0.0), heading, range_extent_m=np.array([along]),
                     cross_extent_m=np.array([across]), orientation_rel_rad=np.array([axis - heading]))  # fmt: skip
    return plot_shapes(measure(0, plots, ERRORS, FRAME, POSE, GLINT), plots)


@pytest.mark.parametrize("axis", [0.0, 0.5, 1.2, 1.7, 2.9])
@pytest.mark.parametrize("heading", [0.0, 2.0])
def test_a_hull_is_as_long_as_it_is_and_lies_as_it_lies(axis: float, heading: float) -> None:
    for off in (0.0, 0.3, 1.3, 1.5, 2.7):
        length, breadth, angle = (float(v[0]) for v in axes(_shape(80.0, 14.0, axis, axis + off, heading)))
        assert length == pytest.approx(80.0, abs=0.1) and breadth == pytest.approx(14.0, abs=0.3)
        assert abs(math.remainder(angle - axis, math.pi)) < 0.01
    # Half way between end on and broadside the two extents are one: a line as long as both.
    length, breadth, angle = (float(v[0]) for v in axes(_shape(80.0, 0.0, axis, axis + math.pi / 4.0, heading)))
    assert length == pytest.approx(80.0, abs=0.1) and breadth == pytest.approx(0.0, abs=0.1)


def test_without_an_axis_the_box_itself_is_all_there_is() -> None:
    places = np.array([[0.0, 1000.0], [1000.0, 0.0], [0.0, 500.0]])
    plots = plots_at(0.0, places, range_extent_m=np.array([60.0, 60.0, 0.0]),
                     cross_extent_m=np.array([20.0, 20.0, 0.0]))  # fmt: skip
    shapes = plot_shapes(measure(0, plots, ERRORS, FRAME, POSE, GLINT), plots)
    length, breadth, angle = axes(shapes)
    assert length.tolist() == pytest.approx([60.0, 60.0, 0.0]) and breadth.tolist() == pytest.approx([20.0, 20.0, 0.0])
    assert abs(math.remainder(angle[0], math.pi)) < 1e-3 and angle[1] == pytest.approx(math.pi / 2.0, abs=1e-3)
    assert np.array_equal(shapes[2], np.zeros((2, 2)))


def _store(n: int, **columns: Any) -> TrackStore:
    store = TrackStore.empty()
    made = {name: np.zeros((n, *getattr(store, name).shape[1:]), dtype=getattr(store, name).dtype)
            for name in store.__dataclass_fields__}  # fmt: skip
    made["p"][:] = np.eye(8)
    made["mu"][:] = 0.25
    made["id"][:] = np.arange(1, n + 1)
    made["confirmed"][:] = True
    made["exists"][:] = 0.99
    made["in_view"][:] = 1.0
    made["looked"][:] = 10.0
    made["false_parent"][:] = -1
    made["last_plot"][:] = -1
    for name, value in columns.items():
        made[name][:] = value
    return TrackStore(**made)


def _line(length: float, angle: float, breadth: float = 0.0) -> np.ndarray:
    u, w = np.array([math.sin(angle), math.cos(angle)]), np.array([math.cos(angle), -math.sin(angle)])
    return (length**2 * np.outer(u, u) + breadth**2 * np.outer(w, w)) / 12.0


def test_shapes_are_learnt_as_a_mean_of_ten_turns_at_the_most() -> None:
    store = _store(2)
    at, seen = np.array([1]), []
    for k in range(14):
        seen.append(float(20 + 5 * (k % 4)))
        learn_shapes(store, at, _line(seen[-1], 0.4)[None])
        if k < 10:
            mean = np.mean([_line(v, 0.4) for v in seen], axis=0)
            assert np.allclose(store.shape[1], mean) and store.shape_sq[1] == pytest.approx(np.mean(np.power(seen, 4)))
    before = store.shape[1].copy()
    learn_shapes(store, at, _line(90.0, 0.4)[None])
    assert np.allclose(store.shape[1], before + 0.1 * (_line(90.0, 0.4) - before))
    assert store.shape_weight.tolist() == [0.0, 15.0]
    learn_shapes(store, at, np.zeros((1, 2, 2)))
    assert store.shape_weight[1] == 15.0


def _published(store: TrackStore) -> list[Any]:
    return list(published_tracks(store, 5 * NS, TrackerSettings(), {}, {}))


@pytest.mark.parametrize("axis", [0.3, 1.4, 2.8])
@pytest.mark.parametrize("way", [0.0, math.pi])
def test_a_hull_heads_the_way_it_goes_along_its_axis(axis: float, way: float) -> None:
    store = _store(1, shape=_line(50.0, axis, 10.0), shape_sq=50.0**4, shape_weight=5.0)
    store.mu[0] = [0.0, 1.0, 0.0, 0.0]
    for drift in (-0.6, 0.0, 0.6):  # she crabs a little
        course = axis + way + drift
        store.x[0, :, 2:4] = 5.0 * np.array([math.sin(course), math.cos(course)])
        (track,) = _published(store)
        assert track.length_m == pytest.approx(50.0) and track.beam_m == pytest.approx(10.0)
        assert track.orientation_rad == pytest.approx(axis)
        assert abs(math.remainder(track.hull_heading_rad - axis - way, math.tau)) < 1e-6
    # One that lies still has an axis and no heading.
    store.mu[0] = [1.0, 0.0, 0.0, 0.0]
    (track,) = _published(store)
    assert track.orientation_rad is not None and track.hull_heading_rad is None and STILL == 0


@pytest.mark.parametrize(
    ("length", "breadth", "weight", "has_length", "has_axis"),
    # Seen on two turns, eight metres long, and a little less than twice as long as broad for an axis.
    [(50.0, 27.0, 5.0, True, True), (50.0, 28.5, 5.0, True, False), (8.1, 2.0, 5.0, True, True),
     (7.9, 2.0, 5.0, False, False), (50.0, 10.0, 1.9, False, False), (50.0, 10.0, 2.0, True, True)],
)  # fmt: skip
def test_what_of_a_hull_is_told(length: float, breadth: float, weight: float, has_length: bool, has_axis: bool) -> None:
    (track,) = _published(_store(1, shape=_line(length, 0.4, breadth), shape_sq=length**4, shape_weight=weight))
    assert (track.length_m is not None, track.orientation_rad is not None) == (has_length, has_axis)


def test_how_sure_a_length_is() -> None:
    # No scatter: a tenth of her, over the root of the turns, and two metres; the axis turns by it over half her length.
    (track,) = _published(_store(1, shape=_line(60.0, 0.4), shape_sq=60.0**4, shape_weight=4.0))
    assert track.length_sigma_m == pytest.approx(6.0 / 2.0 + 2.0)
    assert track.orientation_sigma_rad == pytest.approx(5.0 / 30.0)
    # A scatter of 15 m about 60: d(L^2) = 2 L dL.
    (track,) = _published(
        _store(1, shape=_line(60.0, 0.4), shape_sq=60.0**4 + (2 * 60.0 * 15.0) ** 2, shape_weight=40.0)
    )
    assert track.length_sigma_m == pytest.approx(15.0 / math.sqrt(10.0) + 2.0)
    (track,) = _published(_store(1, shape=_line(9.0, 0.4), shape_sq=9.0**4, shape_weight=2.0))
    assert track.orientation_sigma_rad == pytest.approx((0.9 / math.sqrt(2.0) + 2.0) / 4.5)


def test_states_shares_and_what_a_ghost_says_of_itself() -> None:
    store = _store(
        6, misses=[0, 1, 2, 0, 1, 1], seen=[10.0, 5.0, 5.0, 0.0, 12.0, 0.0], last_plot=[3, -1, -1, 0, -1, -1]
    )
    store.confirmed[3] = False
    store.in_view[:] = [1.0, 1.0, 1.0, 1.0, 0.4, 1.0]
    store.false_odds[1], store.false_parent[1], store.false_cause[1] = 2.0, 4, "side lobe"
    store.false_odds[2], store.false_cause[2] = -1.0, "side lobe"
    store.mu[:4, STILL], store.mu[4:, STILL] = 1.0, 0.0
    store.mu[:4, 1:], store.mu[4:, 1:] = 0.0, 1.0 / 3.0
    store.quality[:] = [0.0, 2.9, 3.1, 9.0, 0.0, 0.0]
    store.exists[4:] = [0.51, 0.49]
    told = _published(store)
    assert [t.state for t in told] == ["confirmed", "confirmed", "coasting", "tentative", "coasting", "confirmed"]
    assert [t.last_plot for t in told] == [3, None, None, 0, None, None]
    assert [t.seen_share for t in told] == [1.0, 0.5, 0.5, 0.0, 1.0, 0.0]
    assert [(t.false_parent, t.false_cause) for t in told][:3] == [(None, None), (4, "side lobe"), (None, None)]
    assert [round(t.p_moving, 6) for t in told] == [0.0, 0.0, 0.0, 0.0, 1.0, 1.0]
    # Held: seen this turn; or steady for what lies, likelier there than not for what moves; never what is tentative.
    assert [t.is_held for t in told] == [True, False, True, False, True, False]
