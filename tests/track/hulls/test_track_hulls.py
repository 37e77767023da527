"""Extended targets stay one track and show how long they are and how they lie."""

from __future__ import annotations

import math

import numpy as np
import pytest
from track_world import ERRORS, FRAME, NS, plots_at

from moonless.track.hulls import axes
from moonless.track.tracker import Tracker

TURN = 2.5


def test_axes_of_a_line() -> None:
    # A line of length L has second moment L^2 / 12 along itself.
    for angle in (0.0, 0.4, math.pi / 2, 2.5):
        u = np.array([math.sin(angle), math.cos(angle)])
        length, beam, lies = axes((90.0**2 / 12 * np.outer(u, u) + 1e-9 * np.eye(2))[None])
        assert length[0] == pytest.approx(90.0)
        assert beam[0] == pytest.approx(0.0, abs=1e-3)
        assert math.remainder(lies[0] - angle, math.pi) == pytest.approx(0.0, abs=1e-6)


def test_broken_hull_is_one_track() -> None:
    # A ship of 120 m, heading 060 at 5 m/s, 1 km off: three plots a turn, of which any may fail.
    rng = np.random.default_rng(4)
    course = math.radians(60.0)
    u = np.array([math.sin(course), math.cos(course)])
    tracker = Tracker(FRAME)
    counts = []
    for k in range(40):
        centre = np.array([-300.0, 1000.0]) + u * 5.0 * TURN * k
        parts = [centre + u * d + rng.normal(0, 2.0, 2) for d in (-42.0, 0.0, 42.0) if rng.random() < 0.85]
        p = np.array(parts).reshape(-1, 2)
        bearing = np.arctan2(p[:, 0], p[:, 1])
        n = len(p)
        plots = plots_at(
            k * TURN, p,
            range_extent_m=np.abs(36.0 * np.cos(course - bearing)),
            cross_extent_m=np.abs(36.0 * np.sin(course - bearing)),
            orientation_rel_rad=np.full(n, course), n_cells=np.full(n, 60, dtype=np.int64),
        )  # fmt: skip
        held = [t for t in tracker.update(round(k * TURN * NS), plots, ERRORS) if t.state != "tentative"]
        counts.append(len(held))
    assert np.mean(np.array(counts[8:]) == 1) > 0.9
    best = max(held, key=lambda t: t.n_hits)
    assert best.length_m is not None
    assert best.length_m == pytest.approx(115.0, abs=35.0)
    assert best.length_sigma_m is not None
    assert best.hull_heading_rad == pytest.approx(course, abs=0.15)
    assert best.speed == pytest.approx(5.0, abs=0.6)


def test_resolved_hull_lies_as_it_lies() -> None:
    # At anchor: extents from the detector, no motion, so an axis but no heading.
    rng = np.random.default_rng(5)
    tracker = Tracker(FRAME)
    axis = math.radians(130.0)
    for k in range(12):
        p = np.array([[400.0, 600.0]]) + rng.normal(0, 1.5, (1, 2))
        turned = axis - math.atan2(400.0, 600.0)
        plots = plots_at(
            k * TURN, p,
            range_extent_m=np.array([abs(60.0 * math.cos(turned)) + rng.normal(0, 2)]),
            cross_extent_m=np.array([abs(60.0 * math.sin(turned)) + rng.normal(0, 2)]),
            orientation_rel_rad=np.array([axis + rng.normal(0, 0.03)]),
        )  # fmt: skip
        tracks = tracker.update(round(k * TURN * NS), plots, ERRORS)
    (t,) = tracks
    assert t.length_m == pytest.approx(60.0, abs=5.0)
    assert t.orientation_rad == pytest.approx(axis, abs=0.1)
    assert t.hull_heading_rad is None


def test_small_boats_close_together_stay_two() -> None:
    rng = np.random.default_rng(6)
    tracker = Tracker(FRAME)
    for k in range(20):
        p = np.array([[0.0, 500.0], [0.0, 545.0]]) + rng.normal(0, 1.5, (2, 2))
        tracks = tracker.update(round(k * TURN * NS), plots_at(k * TURN, p), ERRORS)
    assert sum(t.state == "confirmed" for t in tracks) == 2
    assert all(t.length_m is None for t in tracks)


def test_boats_once_taken_for_one_hull_part_again() -> None:
    """Two boats 60 m apart give one long echo for some turns, then two small ones."""
    rng = np.random.default_rng(7)
    tracker = Tracker(FRAME)
    middle = np.array([0.0, 500.0])
    for k in range(45):
        t = k * TURN
        if k < 8:
            p = middle[None] + rng.normal(0, 0.5, (1, 2))
            plots = plots_at(t, p, cross_extent_m=np.array([70.0]), orientation_rel_rad=np.array([math.pi / 2]))
        else:
            p = middle + np.array([[-30.0, 0.0], [30.0, 0.0]]) + rng.normal(0, 0.5, (2, 2))
            plots = plots_at(t, p)
        tracks = tracker.update(round(t * NS), plots, ERRORS)
    at = sorted(t.east_m for t in tracks if t.state == "confirmed")
    assert len(at) == 2
    assert at == pytest.approx([-30.0, 30.0], abs=15.0)


def _hills(rng: np.random.Generator, centre: np.ndarray, course: float, length: float) -> np.ndarray:
    """Return places of the hills of a ship: one each 30 m of her, a metre or two off."""
    u = np.array([math.sin(course), math.cos(course)])
    along = np.arange(-0.46, 0.47, 30.0 / length) * length
    return centre + along[:, None] * u + rng.normal(0, 2.0, (len(along), 2))


@pytest.mark.parametrize("course", [0.3, 1.2, 2.4])
def test_hills_of_one_body_in_a_line_are_one_ship(course: float) -> None:
    # A ship of 240 m shines at eight places at once, each too small to be resolved, in one body of echo.
    rng = np.random.default_rng(6)
    u = np.array([math.sin(course), math.cos(course)])
    tracker = Tracker(FRAME)
    for k in range(24):
        places = _hills(rng, np.array([-200.0, 700.0]) + u * 4.0 * TURN * k, course, 240.0)
        fields = {"body": np.zeros(len(places), dtype=np.int64), "strength_db": np.full(len(places), 40.0)}
        held = [t for t in tracker.update(round(k * TURN * NS), plots_at(k * TURN, places, **fields), ERRORS)]
        held = [t for t in held if t.state != "tentative"]
    assert len(held) == 1
    centre = np.array([-200.0, 700.0]) + u * 4.0 * TURN * 23
    # Her middle, not one of her ends; from -0.46 to 0.46 of her length she shows 221 m.
    assert math.hypot(held[0].east_m - centre[0], held[0].north_m - centre[1]) < 25.0
    assert held[0].length_m == pytest.approx(221.0, abs=40.0)
    assert held[0].speed == pytest.approx(4.0, abs=0.6)


def test_hills_not_in_a_line_weak_ones_and_two_are_no_ship() -> None:
    rng = np.random.default_rng(7)
    bend = np.array([[-80.0, 700.0], [-40.0, 740.0], [0.0, 700.0], [40.0, 740.0], [80.0, 700.0], [0.0, 780.0]])
    two = np.array([[-25.0, 600.0], [25.0, 600.0]])
    line = np.column_stack([np.arange(-80.0, 81.0, 40.0), np.full(5, 500.0)])
    for places, strength in ((bend, 40.0), (two, 40.0), (line, 12.0)):
        tracker = Tracker(FRAME)
        for k in range(12):
            n = len(places)
            fields = {"body": np.zeros(n, dtype=np.int64), "strength_db": np.full(n, strength)}
            plots = plots_at(k * TURN, places + rng.normal(0, 0.5, (n, 2)), **fields)
            tracks = tracker.update(round(k * TURN * NS), plots, ERRORS)
        assert sum(t.state == "confirmed" for t in tracks) == len(places)


def test_two_hills_behind_each_other_in_one_echo_are_bow_and_stern_and_two_abreast_are_not() -> None:
    rng = np.random.default_rng(8)
    for places, n_told in (([[0.0, 700.0], [10.0, 800.0]], 1), ([[-50.0, 700.0], [50.0, 700.0]], 2)):
        tracker = Tracker(FRAME)
        for k in range(12):
            fields = {"body": np.zeros(2, dtype=np.int64), "strength_db": np.full(2, 40.0)}
            plots = plots_at(k * TURN, np.array(places) + rng.normal(0, 0.5, (2, 2)), **fields)
            tracks = tracker.update(round(k * TURN * NS), plots, ERRORS)
        assert sum(t.state == "confirmed" for t in tracks) == n_told
