"""Going over to another local plane: nothing is lost, nothing jumps."""

from __future__ import annotations

import math

import numpy as np
import pytest
from track_world import ERRORS, NS, plots_at

from moonless.echo.types import Plots
from moonless.frames import LocalFrame, destination, geodesic
from moonless.track.reframe import places, turns
from moonless.track.tracker import Tracker
from moonless.track.types import Track

TURN = 2.5
START = LocalFrame(55.0, 4.0)
SPEED, PACER = 20.0, 20.0  # m/s; own boat's, and that of a vessel that keeps pace with her


def _plots(
    time_s: float, own: tuple[float, float], targets: list[tuple[float, float]], rng: np.random.Generator
) -> Plots:
    """Return plots of targets (lat, lon) as a radar at ``own`` has them: by range and true bearing of the earth."""
    seen = []
    for lat, lon in targets:
        distance, bearing = geodesic(*own, lat, lon)
        r = float(distance) + rng.normal(0, 2.0)
        a = math.radians(float(bearing)) + rng.normal(0, 0.003)
        seen.append((r * math.sin(a), r * math.cos(a)))
    n = len(seen)
    fields = {"own_lat_deg": np.full(n, own[0]), "own_lon_deg": np.full(n, own[1])}
    return plots_at(time_s, np.array(seen), **fields)


def _run(anchor_m: float) -> list[tuple[dict[str, Track], dict[str, float], LocalFrame]]:
    """Run 25 km east with a mark at 20.6 km and a vessel that keeps pace; return tracks and their errors, by turn."""
    rng, tracker = np.random.default_rng(5), Tracker(START)
    mark = destination(*destination(START.lat_deg, START.lon_deg, 90.0, 20_600.0), 0.0, 700.0)
    out = []
    for k in range(340, 500):
        t = k * TURN
        own = destination(START.lat_deg, START.lon_deg, 90.0, SPEED * t)
        pacer = destination(*own, 200.0, 600.0)
        if math.hypot(*(float(v) for v in tracker.frame.to_plane(*own))) > anchor_m:
            tracker.reframe(LocalFrame(*own))
        near = {"mark": mark, "pacer": pacer}
        seen = [p for p in near.values() if float(geodesic(*own, *p)[0]) < 3500.0]
        tracks = [x for x in tracker.update(round(t * NS), _plots(t, own, seen, rng), ERRORS) if x.state != "tentative"]
        named, errors = {}, {}
        for name, place in near.items():
            for x in tracks:
                away = float(geodesic(*(float(v) for v in tracker.frame.to_geographic(x.east_m, x.north_m)), *place)[0])  # type: ignore[call-arg]
                if away < 60.0:
                    named[name], errors[name] = x, away
        out.append((named, errors, tracker.frame))
    return out


def test_a_run_of_25_km_keeps_ids_and_errors() -> None:
    out = _run(20_000.0)
    assert out[-1][2] != START
    for name in ("mark", "pacer"):
        held = [(k, named[name], errors[name], frame) for k, (named, errors, frame) in enumerate(out) if name in named]
        assert len({track.id for _, track, _, _ in held}) == 1
        assert [k for k, *_ in held] == list(range(held[0][0], held[-1][0] + 1))
        # 3 mrad of scatter are 10 m at the 3.5 km where the mark comes into view.
        assert max(away for _, _, away, _ in held[5:]) < 30.0
        assert np.sqrt(np.mean([away**2 for _, _, away, _ in held[20:]])) < 6.0
        # Across the change neither the place nor what is known of it jumps.
        at = next(k for k in range(1, len(held)) if held[k][3] != held[k - 1][3])
        before, after = held[at - 1][1].covariance, held[at][1].covariance
        assert np.trace(after[:2, :2]) == pytest.approx(np.trace(before[:2, :2]), rel=0.2)
        assert held[at][1].speed == pytest.approx(held[at - 1][1].speed, abs=0.3)
    assert held[-1][1].speed == pytest.approx(PACER, abs=0.5)


def test_tracks_far_from_the_origin_lie_where_they_are() -> None:
    # The pacer is 600 m off: a quarter of a degree of convergence, not allowed for, puts her 2.6 m aside.
    late = [errors["pacer"] for _, errors, _ in _run(1e9) if "pacer" in errors][10:]
    assert np.sqrt(np.mean(np.square(late))) < 2.5


def test_there_and_back_is_where_it_was() -> None:
    new = LocalFrame(55.1, 4.3)
    before = np.array([[100.0, -50.0], [19_000.0, 4_000.0]])
    there = places(before, START, new)
    np.testing.assert_allclose(places(there, new, START), before, atol=1e-4)
    both = turns(there, new, START) @ turns(before, START, new)
    np.testing.assert_allclose(both, np.broadcast_to(np.eye(2), (2, 2, 2)), atol=1e-6)
    # A turn, hardly a stretch: the planes keep distances to some parts in a million.
    np.testing.assert_allclose(np.linalg.det(turns(before, START, new)), 1.0, atol=3e-5)


def test_the_turn_is_the_meridian_convergence() -> None:
    new = LocalFrame(55.0, 4.3)
    (turn,) = turns(np.array([[float(v) for v in START.to_plane(55.0, 4.3)]]), START, new)
    # East of its origin a plane's north leans east of the meridian, by the difference of longitude times the sine of
    # the latitude.  Elementary, on the sphere.
    expected = 0.3 * math.sin(math.radians(55.0))
    assert math.degrees(math.atan2(turn[0, 1], turn[1, 1])) == pytest.approx(expected, abs=0.003)


def test_the_same_plane_is_left_alone() -> None:
    tracker = Tracker(START)
    tracker.reframe(LocalFrame(55.0, 4.0))
    assert tracker.frame == START
