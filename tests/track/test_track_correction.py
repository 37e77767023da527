"""Tracks brought over to what registration finds: joint filter, still things still, AIS at its own place."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from track_world import ERRORS, FRAME, NS, noisy, plots_at

from moonless.echo.types import Plots
from moonless.track.correction import Correction, replace_by, take_in
from moonless.track.settings import MotionModels, PoseErrors
from moonless.track.track_store import TrackStore, newborn
from moonless.track.tracker import Tracker
from moonless.track.types import AisTarget

POSE = PoseErrors(heading_sigma_rad=math.radians(1.0), position_sigma_m=4.0)
BEAM = ERRORS.beam_rad


def _store(places: np.ndarray, own: np.ndarray, shared: np.ndarray) -> TrackStore:
    rel = places - own
    n = len(places)
    jacobian = np.zeros((n, 2, 3))
    jacobian[:, 0, 0], jacobian[:, 1, 0] = rel[:, 1], -rel[:, 0]
    jacobian[:, 0, 1] = jacobian[:, 1, 2] = 1.0
    noise = np.tile(np.eye(2) * 9.0, (n, 1, 1))
    x, p, mu = newborn(places, noise, jacobian, shared, np.zeros(n), MotionModels(), 6.0, np.hypot(*rel.T))
    store = TrackStore.empty()
    store.x, store.p, store.mu, store.id = x, p, mu, np.arange(n)
    return store


def test_a_turns_evidence_is_taken_in_as_one_filter_of_track_and_pose_would() -> None:
    """Against the plain Kalman update with a measurement of the shared states."""
    shared = np.diag([math.radians(0.5) ** 2, 9.0, 9.0])
    store = _store(np.array([[900.0, 400.0], [-100.0, 2500.0]]), np.array([50.0, -20.0]), shared)
    store.x[:, :, 5:] = [0.001, 0.5, -0.2]
    measured, noise = np.array([0.004, 2.0, -1.0]), np.diag([math.radians(0.3) ** 2, 4.0, 25.0])
    h = np.eye(8)[5:]
    worth = np.linalg.inv(noise)
    after = np.linalg.inv(np.linalg.inv(shared) + worth)
    moved = after @ worth @ measured
    want_x, want_p = [], []
    for x, p in zip(store.x.reshape(-1, 8), store.p.reshape(-1, 8, 8), strict=True):
        gain = p @ h.T @ np.linalg.inv(h @ p @ h.T + noise)
        new = x + gain @ (measured - h @ x)
        new[5:] -= moved  # counted from the new estimate
        want_x.append(new)
        want_p.append(p - gain @ h @ p)
    take_in(store, Correction(moved, after, np.zeros(3), moved, worth, worth @ measured, False))
    assert store.x.reshape(-1, 8) == pytest.approx(np.array(want_x), abs=1e-8)
    assert store.p.reshape(-1, 8, 8) == pytest.approx(np.array(want_p), abs=1e-8)


def test_what_is_found_afresh_moves_a_thing_by_its_lever_and_leaves_it_its_sigma() -> None:
    before = np.diag([math.radians(1.0) ** 2, 16.0, 16.0])
    own, place = np.array([0.0, 0.0]), np.array([[0.0, 1500.0]])
    store = _store(place, own, before)
    now = np.diag([math.radians(0.1) ** 2, 4.0, 4.0])
    right = own - [20.0, -15.0]
    replace_by(store, np.zeros(3), Correction.settled(np.array([math.radians(2.0), 20.0, -15.0]), now), now, right)
    # A heading two degrees high put it 52 m too far clockwise; a position 20 m too far east, as much too far east.
    a = math.radians(2.0)
    assert store.x[0, 0, :2] == pytest.approx([-1500 * math.sin(a) - 20.0, 1500.0 * math.cos(a) + 15.0], abs=0.05)
    assert store.x[0, :, 5:] == pytest.approx(0.0)
    lever = np.array([[1500.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    assert store.p[0, 0, :2, :2] == pytest.approx(np.eye(2) * 9.0 + lever @ now @ lever.T, abs=1e-6)
    assert store.p[0, 0, 5:, 5:] == pytest.approx(now)


def _reported(time_s: float, places: np.ndarray, own: np.ndarray, heading: float, wrong: np.ndarray) -> Plots:
    """Return the plots of true places, with heading and position reported ``wrong`` (3,) by so much."""
    plots = plots_at(time_s, places, (float(own[0]), float(own[1])), heading)
    n = len(places)
    lat, lon = FRAME.to_geographic(np.full(n, own[0] + wrong[1]), np.full(n, own[1] + wrong[2]))
    return replace(plots, heading_true_rad=np.full(n, heading + wrong[0]), own_lat_deg=lat, own_lon_deg=lon)


def _run(
    *, turn_rate: float = 0.0, heading: float = 0.3, wander: float = 0.0, known_from: int = 0, seed: int = 3,
    turns: int = 80, is_told: bool = True, jitter: float = math.radians(0.05),
) -> tuple[dict[str, list[float]], float]:  # fmt: skip
    """Run past still things and an AIS vessel; return how far off each was told, and the fastest still thing.

    The registration is made here by a Kalman filter on direct looks at the errors, as honest as can be.
    """
    rng = np.random.default_rng(seed)
    still = np.array([[250.0, 300.0], [-500.0, 700.0], [900.0, 900.0], [-600.0, -1300.0], [1900.0, 1500.0]])
    tracker = Tracker(FRAME, pose_errors=POSE)
    own, step, speed = np.zeros(2), 2.5, 5.0
    state, cov = np.zeros(3), np.diag([math.radians(3.0) ** 2, 625.0, 625.0])
    walk = np.array([math.radians(0.02) ** 2, 0.25**2, 0.25**2])
    look = np.diag([jitter**2, 9.0, 9.0])
    off: dict[str, list[float]] = {"still": [], "ais": []}
    fastest, was_known, floor = 0.0, False, np.zeros(3)
    for k in range(turns):
        t = k * step
        wrong = np.array([math.radians(2.0) + wander * t, 20.0, -15.0])
        vessel = np.array([-1500.0 + 4.0 * t, 1400.0 - 1.0 * t])
        places = np.vstack([still, vessel])
        correction = None
        fresh = walk * step + floor
        cov = cov + np.diag(fresh)
        if k >= known_from:
            seen = wrong + rng.multivariate_normal(np.zeros(3), look)
            worth = np.linalg.inv(look)
            before, cov = state, np.linalg.inv(np.linalg.inv(cov) + worth)
            state = before + cov @ worth @ (seen - before)
            found = cov
            floor = np.maximum(0.0, np.array([math.radians(0.08) ** 2, 4.0, 4.0]) - np.diag(cov))
            cov = cov + np.diag(floor)
            if is_told:
                pull = worth @ (seen - before)
                assert np.linalg.inv(found) @ (state - before) == pytest.approx(pull)
                correction = Correction(state.copy(), cov.copy(), fresh, state - before, worth, pull, not was_known)
                was_known = True
        plots = _reported(t, noisy(rng, places, (float(own[0]), float(own[1]))), own, heading, wrong)
        lat, lon = FRAME.to_geographic(vessel[0] + rng.normal(0, 3.0), vessel[1] + rng.normal(0, 3.0))
        said = AisTarget(999100001, round(t * NS), float(lat), float(lon), math.atan2(4.0, -1.0), math.hypot(4.0, 1.0))
        tracks = tracker.update(round(t * NS), plots, ERRORS, ais=(said,), correction=correction)
        if k >= known_from + 8:
            held = [q for q in tracks if q.state == "confirmed"]
            for place, kind in [*((p, "still") for p in still), (vessel, "ais")]:
                near = min(held, key=lambda q: math.hypot(q.east_m - place[0], q.north_m - place[1]))
                gap = math.hypot(near.east_m - place[0], near.north_m - place[1])
                off[kind].append(gap - 0.5 * BEAM * math.hypot(*(place - own)))
                off.setdefault(kind + " bare", []).append(gap)
                if kind == "still":
                    # As it is told: by the models that count.
                    fastest = max(fastest, near.p_moving * math.hypot(near.velocity_east, near.velocity_north))
                else:
                    assert near.ais is not None or k < known_from + 16
        heading += turn_rate * step
        own = own + speed * step * np.array([math.sin(heading), math.cos(heading)])
    return off, fastest


@pytest.mark.parametrize("turn_rate_deg", [0.0, 3.0])
@pytest.mark.parametrize("wander_deg_per_min", [0.0, 0.5, -0.5])
@pytest.mark.parametrize("heading_deg", [20.0, 200.0])
def test_still_things_and_ais_vessels_stand_where_they_are_with_heading_and_position_wrong(
    heading_deg: float, wander_deg_per_min: float, turn_rate_deg: float
) -> None:
    """Heading 2 degrees and position 25 m wrong: told within 6 m and half a beam, and here without the beam's half."""
    off, fastest = _run(
        heading=math.radians(heading_deg), turn_rate=math.radians(turn_rate_deg),
        wander=math.radians(wander_deg_per_min / 60.0),
    )  # fmt: skip
    assert max(off["still"]) < 6.0 and max(off["ais"]) < 6.0
    # No blunder hides behind the beam: 6 m and a fifth of a degree at the range of each, on the mean.
    assert np.mean(off["still bare"]) < 6.0 and np.mean(off["ais bare"]) < 8.0
    assert fastest < 0.3


@pytest.mark.parametrize("is_chart_off", [False, True])
def test_ais_joins_whether_the_receiver_or_the_chart_was_off(is_chart_off: bool) -> None:
    """An offset of 50 m was taken out: AIS lies right among the tracks, or as far off them as the own position did."""
    rng = np.random.default_rng(9)
    tracker = Tracker(FRAME, pose_errors=POSE)
    wrong, cov = np.array([0.0, -40.0, 30.0]), np.diag([math.radians(0.2) ** 2, 4.0, 4.0])
    shift = wrong[1:] if is_chart_off else np.zeros(2)
    for k in range(30):
        t = 2.5 * k
        vessel = np.array([-400.0 + 4.0 * t, 900.0])
        plots = _reported(t, noisy(rng, np.vstack([vessel, [300.0, -700.0]])), np.zeros(2), 0.4, wrong)
        lat, lon = FRAME.to_geographic(*(vessel + shift + rng.normal(0, 3.0, 2)))
        said = AisTarget(999100001, round(t * NS), float(lat), float(lon), math.pi / 2.0, 4.0)
        tracks = tracker.update(
            round(t * NS), plots, ERRORS, ais=(said,), correction=Correction.settled(wrong, cov, is_anew=k == 0)
        )
    named = [q for q in tracks if q.ais is not None]
    assert len(named) == 1
    assert math.hypot(named[0].east_m - vessel[0], named[0].north_m - vessel[1]) < 6.0


def test_a_registration_that_comes_late_takes_the_tracks_along_at_once() -> None:
    off, fastest = _run(known_from=30)
    assert max(off["still"]) < 6.0 and fastest < 0.3
    assert np.mean(off["still bare"]) < 7.0
    uncorrected, _ = _run(is_told=False)
    assert np.mean(uncorrected["still bare"]) > 15.0


def test_told_places_do_not_depend_on_how_the_reported_frame_is_turned() -> None:
    """The same world reported with other errors, all known, is told as the same places and speeds."""
    rng = np.random.default_rng(5)
    places = rng.uniform(-1500.0, 1500.0, (6, 2))
    scatter = [noisy(rng, places) for _ in range(20)]
    cov = np.diag([math.radians(0.2) ** 2, 4.0, 4.0])
    told = []
    for wrong in (np.zeros(3), np.array([math.radians(5.0), 120.0, -90.0]), np.array([-3.0, 0.0, 9.0])):
        tracker = Tracker(FRAME, pose_errors=POSE)
        for k, seen in enumerate(scatter):
            plots = _reported(k * 2.5, seen, np.zeros(2), 0.4, wrong)
            tracks = tracker.update(
                round(k * 2.5 * NS), plots, ERRORS, correction=Correction.settled(wrong, cov, is_anew=k == 0)
            )
        told.append(np.array([(q.east_m, q.north_m, q.velocity_east, q.velocity_north) for q in tracks]))
    # The plane's north is taken where the boat is said to be: 120 m off it differs by some microradians.
    assert told[1] == pytest.approx(told[0], abs=0.02)
    assert told[2] == pytest.approx(told[0], abs=0.02)


@pytest.mark.parametrize("jitter_deg", [0.02, 0.3])
def test_an_estimate_that_shakes_gives_still_things_no_speed(jitter_deg: float) -> None:
    _, fastest = _run(jitter=math.radians(jitter_deg))
    assert fastest < 0.3
