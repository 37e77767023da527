"""What the plots teach: their scatter, more than was promised soon and less never; how a whole turn lies askew."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from track_world import ERRORS, FRAME, NS, noisy, plots_at

from moonless.track.learnt.turn_rotation import TurnRotation, turned
from moonless.track.measurements import measure
from moonless.track.settings import PoseErrors, TrackerSettings
from moonless.track.track_store import TrackStore
from moonless.track.tracker import Tracker

TURN = 2.5


def _places(k: int) -> np.ndarray:
    start = np.array([[600.0, 0.0], [-500.0, 300.0], [0.0, -700.0], [400.0, 500.0]])
    velocity = np.array([[0.0, 3.0], [0.0, 0.0], [-2.0, 1.0], [0.0, 0.0]])
    return start + velocity * k * TURN


def test_a_radar_three_times_worse_than_promised_is_found_out() -> None:
    for seed in range(3):
        rng, tracker = np.random.default_rng(seed), Tracker(FRAME)
        for k in range(40):
            places = _places(k)
            rough = places + 3.0 * (noisy(rng, places) - places)
            tracks = tracker.update(round(k * TURN * NS), plots_at(k * TURN, rough), ERRORS)
        # Nine times the variance, but for the glint and what the tracks' own room to move takes up.
        assert 3.0 < tracker.noise_scale < 14.0
        assert sum(t.state == "confirmed" for t in tracks) == 4


def _velocity_rms(least: float, seed: int) -> tuple[float, float]:
    """Return (velocity rms after a minute, noise scale) with errors of the promised size that last for 5 turns."""
    rng = np.random.default_rng(seed)
    tracker = Tracker(FRAME, settings=replace(TrackerSettings(), noise_scale_least=least))
    keep, off, wrong = np.exp(-1.0 / 5.0), noisy(rng, _places(0)) - _places(0), []
    for k in range(60):
        places = _places(k)
        off = keep * off + np.sqrt(1.0 - keep**2) * (noisy(rng, places) - places)
        tracks = tracker.update(round(k * TURN * NS), plots_at(k * TURN, places + off), ERRORS)
        if k * TURN > 60.0:
            for t in tracks:
                if t.state != "tentative" and t.p_moving > 0.5:
                    near = np.hypot(*(places - [t.east_m, t.north_m]).T).argmin()
                    true = (_places(1) - _places(0))[near] / TURN
                    wrong.append(np.hypot(t.velocity_east - true[0], t.velocity_north - true[1]))
    return float(np.sqrt(np.mean(np.square(wrong)))), tracker.noise_scale


def test_errors_that_last_are_not_taken_for_exactness() -> None:
    ours = [_velocity_rms(TrackerSettings().noise_scale_least, seed) for seed in range(6)]
    believed = [_velocity_rms(0.1, seed) for seed in range(6)]
    assert all(scale >= 1.0 for _, scale in ours)
    assert max(scale for _, scale in believed) < 0.8  # the plots do look better than promised
    # Measured: 0.06 and 0.20 m/s.
    assert np.mean([v for v, _ in ours]) < 0.5 * np.mean([v for v, _ in believed])
    assert max(v for v, _ in ours) < 0.15


def test_what_moves_is_held_through_a_fade_that_ends_a_still_thing() -> None:
    tracker = Tracker(FRAME)
    rng = np.random.default_rng(2)
    for k in range(20):
        places = _places(k) if k < 17 else np.zeros((0, 2))
        seen = noisy(rng, places) if len(places) else places
        tracks = tracker.update(round(k * TURN * NS), plots_at(k * TURN, seen), ERRORS)
    known = [t for t in tracks if t.state != "tentative"]
    assert sorted((t.p_moving > 0.5, t.is_held) for t in known) == [(False, False)] * 2 + [(True, True)] * 2
    assert all(t.misses_in_a_row == 3 for t in known)


def test_a_leaping_echo_is_no_second_vessel() -> None:
    """A.823(19) scenario 2 with the glint of a 200 m ship, 30 m along her, of which the tracker is told nothing."""
    sys.path.insert(0, str(Path(__file__).parents[2]))
    try:
        from bench import a823
    finally:
        sys.path.pop(0)
    lost = 0
    for rpm in (24.0, 48.0):
        for first in (0, 20):
            rngs = [np.random.default_rng([823, 2, run]) for run in range(first, first + 20)]
            runs = [a823.draw(a823.SCENARIOS[1], rng, "gnss", 180.0, 60.0 / rpm, has_glint=True) for rng in rngs]
            lost += sum(track is None for track in a823.tracked(runs, "gnss"))
    # Of 80, with two tracks at the end or none: 1; 7 where a new one may begin beside one that just missed its plot.
    assert lost <= 3


@pytest.mark.parametrize("number", [1, 2, 3, 4])
@pytest.mark.parametrize(("rpm", "has_glint"), [(24.0, False), (24.0, True), (48.0, False)])
def test_a_tracked_target_is_where_the_standard_asks_after_three_minutes(
    number: int, rpm: float, has_glint: bool
) -> None:
    """IMO MSC.192(79) 5.25.4.7.1, read: range within 50 m or 1 %, bearing within 2 degrees, for 95 % of all.

    The meetings are those of A.823(19) Appendix 2 and the errors those of its Appendix 3, read but for the glint; the
    place of the target after the three minutes is what Appendix 2 says.
    """
    sys.path.insert(0, str(Path(__file__).parents[2]))
    try:
        from bench import a823
    finally:
        sys.path.pop(0)
    range_m, bearing_deg = {1: (8.0, 0.0), 2: (1.0, 0.0), 3: (8.0, 45.0), 4: (8.0, 45.0)}[number]
    range_m *= 1852.0
    rngs = [np.random.default_rng([192, number, run]) for run in range(20)]
    draws = [a823.draw(a823.SCENARIOS[number - 1], rng, "gnss", 180.0, 60.0 / rpm, has_glint=has_glint) for rng in rngs]
    good = 0
    for track in a823.tracked(draws, "gnss"):
        if track is not None:
            off_m = abs(math.hypot(track.east_m, track.north_m) - range_m)
            bearing = math.degrees(math.atan2(track.east_m, track.north_m))
            off_deg = abs(math.remainder(bearing - bearing_deg, 360.0))
            good += off_m <= max(50.0, 0.01 * range_m) and off_deg <= 2.0
    # Nineteen of twenty are 95 %; the draws are fixed, so it comes out the same each time.
    assert good >= 19


def _askew(places: np.ndarray, by_rad: float, own: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    """Return places turned clockwise about the boat."""
    rel = places - np.array(own)
    c, s = math.cos(by_rad), math.sin(by_rad)
    return np.array(own) + np.column_stack([rel[:, 0] * c + rel[:, 1] * s, rel[:, 1] * c - rel[:, 0] * s])


def _harbour(rng: np.random.Generator, n: int) -> np.ndarray:
    away, bearing = rng.uniform(500.0, 2500.0, n), rng.uniform(0.0, math.tau, n)
    return np.column_stack([away * np.sin(bearing), away * np.cos(bearing)])


def _velocity_off(seed: int, jitter_deg: float, *, is_asked: bool = True) -> float:
    """Return the rms error of the velocity of six ships 3.5 km off, m/s, most of a minute after they came in sight."""
    rng, tracker = np.random.default_rng(seed), Tracker(FRAME)
    if not is_asked:
        tracker._rotation.less_it = lambda got, store: got  # type: ignore[method-assign]
    still, wrong, askew = _harbour(rng, 30), [], 0.0
    bearing = np.arange(6) * math.tau / 6.0
    way = 4.0 * np.column_stack([np.cos(bearing), -np.sin(bearing)])
    for k in range(50):
        ships = 3500.0 * np.column_stack([np.sin(bearing), np.cos(bearing)]) + k * TURN * way
        # Half of it goes on to the next turn, as on the real runs of docs/real-water.md.
        askew = 0.5 * askew + math.sqrt(0.75) * rng.normal(0.0, math.radians(jitter_deg))
        seen = np.vstack([still, ships]) if k >= 15 else still
        places = _askew(noisy(rng, seen), askew)
        tracks = tracker.update(round(k * TURN * NS), plots_at(k * TURN, places), ERRORS)
        for ship, true in zip(ships, way, strict=True) if k >= 35 else ():
            near = [t for t in tracks if math.hypot(t.east_m - ship[0], t.north_m - ship[1]) < 200.0]
            if near:
                best = max(near, key=lambda t: t.n_hits)
                wrong.append(math.hypot(best.velocity_east - true[0], best.velocity_north - true[1]))
    return float(np.sqrt(np.mean(np.square(wrong))))


def test_a_heading_that_jumps_from_turn_to_turn_moves_no_far_ship() -> None:
    with_it = np.mean([_velocity_off(seed, 0.7) for seed in range(2)])
    without = np.mean([_velocity_off(seed, 0.7, is_asked=False) for seed in range(2)])
    assert with_it < 0.5 * without  # measured, four seeds: 0.26 and 0.75 m/s


def test_a_steady_heading_is_left_alone() -> None:
    with_it = np.mean([_velocity_off(seed, 0.0) for seed in range(1)])
    without = np.mean([_velocity_off(seed, 0.0, is_asked=False) for seed in range(1)])
    assert with_it == pytest.approx(without, abs=0.05)


def _stood(own: tuple[float, float], n_still: int = 30) -> tuple[Tracker, np.ndarray]:
    rng = np.random.default_rng(7)
    tracker, still = Tracker(FRAME), _harbour(rng, n_still) + np.array(own)
    for k in range(20):
        tracker.update(round(k * TURN * NS), plots_at(k * TURN, noisy(rng, still, own), own), ERRORS)
    return tracker, still


@pytest.mark.parametrize("own", [(0.0, 0.0), (800.0, -500.0)])
@pytest.mark.parametrize("by_deg", [-1.2, 0.8])
def test_a_turn_that_lies_askew_is_turned_back(own: tuple[float, float], by_deg: float) -> None:
    tracker, still = _stood(own)
    rotation = TurnRotation()
    rotation.variance, rotation._turns = math.radians(1.0) ** 2, 100
    time_ns = round(20 * TURN * NS)
    plots = plots_at(20 * TURN, _askew(still, math.radians(by_deg), own), own)
    got = measure(time_ns, plots, ERRORS, FRAME, PoseErrors(), 1.5)
    back = rotation.less_it(got, tracker._store)
    off = np.hypot(*(back.place_m - still).T) / np.hypot(*(still - np.array(own)).T)
    assert np.median(off) < math.radians(0.2)
    # A few marks say nothing: some of them may be ships that have just begun to swing.
    few = replace(got, **{name: getattr(got, name)[:5] for name in got.__dataclass_fields__})
    assert rotation.less_it(few, tracker._store) is few
    assert rotation.less_it(got, TrackStore.empty()) is got


def test_what_lasts_is_not_taken_out() -> None:
    tracker, still = _stood((0.0, 0.0))
    rotation, taken = TurnRotation(), []
    store = tracker._store
    for k in range(200):
        plots = plots_at(20 * TURN, _askew(still, math.radians(0.0 if k < 10 else 1.0)))
        got = measure(round(20 * TURN * NS), plots, ERRORS, FRAME, PoseErrors(), 1.5)
        back = rotation.less_it(got, store)
        taken.append(float(np.median(got.bearing_rad - back.bearing_rad)))
    assert rotation.lasting == pytest.approx(math.radians(1.0), abs=math.radians(0.1))
    assert abs(taken[-1]) < math.radians(0.05)


def test_turned_keeps_ranges() -> None:
    plots = plots_at(0.0, np.array([[300.0, 400.0], [-1000.0, 20.0]]), (50.0, 60.0))
    got = measure(0, plots, ERRORS, FRAME, PoseErrors(), 1.5)
    back = turned(got, 0.3)
    rel, was = back.place_m - back.own_m, got.place_m - got.own_m
    np.testing.assert_allclose(np.hypot(*rel.T), np.hypot(*was.T))
    np.testing.assert_allclose(np.arctan2(*was.T) - np.arctan2(*rel.T), 0.3, atol=1e-9)
