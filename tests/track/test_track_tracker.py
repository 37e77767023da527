"""What the tracker does with echoes: starts, holds, crosses, coasts, drops."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from track_world import ERRORS, FRAME, NS, noisy, plots_at

from moonless.track.settings import PoseErrors
from moonless.track.tracker import Tracker
from moonless.track.types import Track

TURN = 2.5
POSE = PoseErrors()


def _run(
    truth: list[np.ndarray], *, seed: int = 1, p_seen: float = 1.0, tracker: Tracker | None = None, **update: object
) -> list[tuple[Track, ...]]:
    """Feed a turn for each (n, 2) of places; NaN places give no plot."""
    rng = np.random.default_rng(seed)
    tracker = tracker or Tracker(FRAME)
    out = []
    for k, places in enumerate(truth):
        places = places[np.all(np.isfinite(places), axis=1)]
        seen = places[rng.random(len(places)) < p_seen]
        t = k * TURN
        out.append(tracker.update(round(t * NS), plots_at(t, noisy(rng, seen)), ERRORS, **update))
    return out


def _lines(starts: list[tuple[float, float]], velocities: list[tuple[float, float]], turns: int) -> list[np.ndarray]:
    s, v = np.array(starts), np.array(velocities)
    return [s + v * TURN * k for k in range(turns)]


def _held(tracks: tuple[Track, ...]) -> list[Track]:
    return [t for t in tracks if t.state != "tentative"]


def test_clear_target_starts_within_four_turns() -> None:
    started = []
    for seed in range(20):
        out = _run(_lines([(500.0, 300.0)], [(4.0, -3.0)], 8), seed=seed)
        started.append(next(k for k, tracks in enumerate(out, start=1) if _held(tracks)))
    assert np.mean(np.array(started) <= 4) >= 0.7
    assert max(started) <= 7


def test_seen_early_in_the_turn_starts_as_well() -> None:
    """A boat that comes straight at us is swept first, a whole turn before the tracks' own time."""
    started = []
    for seed in range(20):
        rng, tracker = np.random.default_rng(seed), Tracker(FRAME)
        for k, places in enumerate(_lines([(100.0, 1500.0)], [(-0.3, -6.0)], 10), start=1):
            t = k * TURN
            plots = plots_at(t - 0.98 * TURN, noisy(rng, places))
            if _held(tracker.update(round(t * NS), plots, ERRORS)):
                started.append(k)
                break
    assert len(started) == 20
    assert np.mean(np.array(started) <= 4) >= 0.7


@pytest.mark.parametrize(("every", "low", "high"), [(1, 0.95, 1.0), (2, 0.35, 0.65), (3, 0.2, 0.5)])
def test_how_often_a_thing_shows_is_told(every: int, low: float, high: float) -> None:
    """Held for half a minute, then in plain sight on each turn, each second or each third: of the last dozen or so."""
    still = np.array([[500.0, 300.0]])
    truth = [still if k < 12 or k % every == 0 else np.full((1, 2), np.nan) for k in range(60)]
    (track,) = _held(_run(truth)[-1])
    assert low <= track.seen_share <= high


def _with_shared_errors(seed: int, start: tuple[float, float], velocity: tuple[float, float], turns: int) -> Track:
    """Return the one track of a target seen with a heading and a position that wander as `PoseErrors` says."""
    rng = np.random.default_rng(seed)
    sigma = np.array([POSE.heading_sigma_rad, POSE.position_sigma_m, POSE.position_sigma_m])
    b = rng.normal(0, 1, 3) * sigma
    keep = np.exp(-TURN / np.array([POSE.heading_correlation_s] + 2 * [POSE.position_correlation_s]))
    tracker = Tracker(FRAME)
    for k in range(turns):
        b = keep * b + np.sqrt(1 - keep**2) * sigma * rng.normal(0, 1, 3)
        place = np.array(start) + np.array(velocity) * TURN * k
        heading = b[0] + rng.normal(0, POSE.heading_jitter_rad)
        seen = noisy(rng, place)
        c, s = math.cos(heading), math.sin(heading)
        told = seen @ np.array([[c, -s], [s, c]]) + b[1:]
        plots = plots_at(k * TURN, told, own_m=(float(b[1]), float(b[2])))
        tracks = tracker.update(round(k * TURN * NS), plots, ERRORS)
    return max(tracks, key=lambda t: t.n_hits)


def test_course_speed_and_their_sigmas() -> None:
    errors, off = [], []
    for seed in range(40):
        t = _with_shared_errors(seed, (500.0, 300.0), (4.0, -3.0), 24)
        assert t.p_moving > 0.99
        assert t.n_hits >= 22  # the gate lets one in 250 go
        truth = np.array([500.0, 300.0, 4.0, -3.0]) + np.array([4.0, -3.0, 0.0, 0.0]) * TURN * 23
        d = np.array([t.east_m, t.north_m, t.velocity_east, t.velocity_north]) - truth
        errors.append([*d[:2] / np.sqrt(np.diag(t.covariance)[:2]), (t.speed - 5.0) / t.speed_sigma])
        errors[-1].append((t.course_rad - math.atan2(4, -3)) / t.course_sigma_rad)
        off.append((t.speed - 5.0, math.degrees(t.course_rad - math.atan2(4, -3))))
    z = np.sqrt(np.mean(np.array(errors) ** 2, axis=0))
    # The sigma told is the spread seen; of course and speed a little wide: it also holds that the vessel may have begun
    # to turn.  Of 40 runs a spread is known to a ninth: 1 / sqrt(2 * 40).
    assert np.all((z[:2] > 0.75) & (z[:2] < 1.35))
    assert np.all((z[2:] > 0.5) & (z[2:] < 1.1))
    # And the figures themselves, in a minute: measured 0.10 m/s and 1.4 degrees.
    assert np.all(np.sqrt(np.mean(np.square(off), axis=0)) < [0.15, 2.0])


@pytest.mark.parametrize("range_m", [400.0, 2500.0])
def test_p_moving_is_calibrated(range_m: float) -> None:
    # Half lie still, half move at 0.3 to 2 m/s, seen through wandering heading and position.  Of the things said
    # to move with probability p, about p do.
    said, moves = [], []
    for seed in range(80):
        rng = np.random.default_rng(seed + 1000)
        moving = seed % 2 == 0
        speed, course, bearing = (rng.uniform(0.3, 2.0) if moving else 0.0), *rng.uniform(0, 2 * math.pi, 2)
        start = (range_m * math.sin(bearing), range_m * math.cos(bearing))
        t = _with_shared_errors(seed, start, (speed * math.sin(course), speed * math.cos(course)), 16)
        said.append(t.p_moving)
        moves.append(moving)
    p, m = np.array(said), np.array(moves)
    # Brier score: 0.25 for saying nothing, 0 for being always right.  Measured: 0.040 near, 0.082 far.
    assert np.mean((p - m) ** 2) < (0.06 if range_m < 1000 else 0.12)
    # Most are told surely one way or the other (35 and 43 of 80 near, 30 and 46 far), and rightly.
    sure, still = p > 0.9, p < 0.1
    assert sure.sum() >= 24 and still.sum() >= 32
    assert m[sure].mean() > 0.95
    assert m[still].mean() < 0.2


def test_clutter_rarely_becomes_a_track() -> None:
    rng = np.random.default_rng(3)
    tracker = Tracker(FRAME)
    false = 0
    for k in range(120):
        # Thirty false plots a turn over a disc of 3 nautical miles.
        r, a = 5556 * np.sqrt(rng.random(30)), rng.uniform(0, 2 * np.pi, 30)
        p = plots_at(k * TURN, np.stack([r * np.sin(a), r * np.cos(a)], axis=1))
        false += len(_held(tracker.update(round(k * TURN * NS), p, ERRORS)))
    assert false / 120 <= 0.1


@pytest.mark.parametrize("strength_db", [45.0, 9.0])
def test_strays_say_nothing_against_what_stands_far_over_them(strength_db: float) -> None:
    # Four crossings of noise a turn within 150 m, 6 to 12 dB; a vessel among them.  Amplitude in initiation: Lerro and
    # Bar-Shalom 1993 (from memory) for the idea; the bars are plain: at 45 dB as soon as in clean water, at 9 dB later.
    waits, strays = [], 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        tracker = Tracker(FRAME)
        first = None
        for k in range(24):
            noise = np.array([0.0, 900.0]) + rng.uniform(-150.0, 150.0, (4, 2))
            vessel = np.array([[-40.0 + 8.0 * k, 900.0 + 3.0 * k]])
            places = noisy(rng, np.vstack([vessel, noise]))
            strengths = np.concatenate([[strength_db], rng.uniform(6.0, 12.0, 4)])
            plots = plots_at(k * TURN, places, strength_db=strengths)
            told = _held(tracker.update(round(k * TURN * NS), plots, ERRORS))
            near = [t for t in told if math.hypot(t.east_m - vessel[0, 0], t.north_m - vessel[0, 1]) < 40.0]
            strays += len(told) - len(near)
            first = k if near and first is None else first
        waits.append(24 if first is None else first)
    if strength_db > 40.0:
        assert np.median(waits) <= 4 and max(waits) <= 7
    else:
        assert np.median(waits) > 4
    assert strays / 288 <= 0.1  # a turn, as above


def test_crossing_targets_keep_their_names() -> None:
    swapped = 0
    for seed in range(12):
        # Two boats cross at right angles in the middle of the run, within a boat's length.
        truth = _lines([(-150.0, 800.0), (0.0, 653.0)], [(4.0, 0.0), (0.0, 4.0)], 30)
        out = _run(truth, seed=seed, p_seen=0.95)
        early, late = _held(out[8]), _held(out[-1])
        assert len(early) == 2
        names = {t.id: t.velocity_east > t.velocity_north for t in early}
        after = {t.id: t.velocity_east > t.velocity_north for t in late if t.id in names}
        assert len(after) == 2
        swapped += names != after
    assert swapped <= 1


def test_merged_echoes_leave_two_tracks() -> None:
    # Two boats cross at a small angle; while closer than the beam resolves they give one plot between them.
    kept = 0
    for seed in range(10):
        rng = np.random.default_rng(seed)
        tracker = Tracker(FRAME)
        for k in range(40):
            off = (18 - k) * 2.0
            a, b = np.array([k * 6.0, 1000.0 + off]), np.array([k * 6.0, 1000.0 - off])
            places = np.array([(a + b) / 2]) if abs(2 * off) < 14.0 else np.array([a, b])
            tracks = _held(tracker.update(round(k * TURN * NS), plots_at(k * TURN, noisy(rng, places)), ERRORS))
            if k == 10:
                first = {t.id: t.velocity_north > 0.0 for t in tracks}
        assert len(first) == 2
        last = {t.id: t.velocity_north > 0.0 for t in tracks}
        kept += all(last.get(i) == side for i, side in first.items())
    assert kept >= 7


def _fade(p_visible: float) -> list[float]:
    truth = _lines([(600.0, 0.0)], [(0.0, 0.0)], 12) + [np.full((1, 2), np.nan)] * 10
    tracker = Tracker(FRAME)
    out = _run(truth[:12], tracker=tracker)
    assert _held(out[-1])
    p = []
    for k in range(12, 22):
        tracks = tracker.update(
            round(k * TURN * NS), plots_at(k * TURN, np.zeros((0, 2))), ERRORS,
            p_visible=lambda e, n: np.full(np.shape(e), p_visible),
        )  # fmt: skip
        p.append(max((t.p_exists for t in tracks), default=0.0))
    return p


def test_unseen_where_it_should_be_seen_dies_fast() -> None:
    p = _fade(1.0)
    assert p[0] > 0.9  # one miss is nothing
    assert p[5] < 0.1


def test_unseen_in_shadow_lives_on() -> None:
    p = _fade(0.0)
    assert p[-1] > 0.9
    assert p[-1] < p[0] < 1.0  # slowly, but it falls


def test_coasting_is_said() -> None:
    truth = _lines([(600.0, 0.0)], [(2.0, 0.0)], 12) + [np.full((1, 2), np.nan)] * 4
    out = _run(truth)
    # A fade of two turns takes a steady thing from nobody; one of four does.
    assert [(t.state, t.is_held) for t in _held(out[-3])] == [("coasting", True)]
    (t,) = _held(out[-1])
    assert t.state == "coasting"
    assert not t.is_held
    assert t.misses_in_a_row == 4
    assert t.last_plot is None
    assert t.east_m == pytest.approx(600 + 2 * TURN * 15, abs=8.0)


def test_without_heading_nothing_is_placed_and_nothing_is_lost() -> None:
    tracker = Tracker(FRAME)
    _run(_lines([(600.0, 0.0)], [(0.0, 0.0)], 10), tracker=tracker)
    for k in range(10, 20):
        p = plots_at(k * TURN, np.array([[600.0, 0.0]]))
        tracks = tracker.update(round(k * TURN * NS), replace(p, heading_true_rad=np.array([np.nan])), ERRORS)
    (t,) = _held(tracks)
    assert t.p_exists > 0.9
    assert t.last_plot is None


def test_a_long_silence_starts_afresh() -> None:
    tracker = Tracker(FRAME)
    _run(_lines([(600.0, 0.0)], [(0.0, 0.0)], 10), tracker=tracker)
    assert _held(tracker.update(400 * NS, plots_at(400.0, np.array([[600.0, 0.0]])), ERRORS)) == []


def test_what_lies_still_outlasts_a_silence_of_a_minute_and_a_half() -> None:
    tracker = Tracker(FRAME)
    before = _held(_run(_lines([(600.0, 0.0)], [(0.0, 0.0)], 10), tracker=tracker)[-1])
    (t,) = _held(tracker.update(110 * NS, plots_at(110.0, np.array([[602.0, 1.0]])), ERRORS))
    assert (t.id, t.state) == (before[0].id, "confirmed")


def test_time_running_back_is_held() -> None:
    tracker = Tracker(FRAME)
    _run(_lines([(600.0, 0.0)], [(0.0, 0.0)], 10), tracker=tracker)
    (t,) = _held(tracker.update(5 * NS, plots_at(5.0, np.array([[600.0, 0.0]])), ERRORS))
    assert t.time_ns == round(9 * TURN * NS)


def test_no_plots_at_all() -> None:
    assert Tracker(FRAME).update(0, plots_at(0.0, np.zeros((0, 2))), ERRORS) == ()


def test_own_turn_within_one_scan_is_taken_out() -> None:
    # The boat turns 30 degrees a turn of the antenna and runs at 10 m/s; marks ashore stay where they are.
    rng = np.random.default_rng(5)
    marks = np.array([[400.0, 900.0], [-700.0, 300.0], [100.0, -800.0]])
    tracker = Tracker(FRAME)
    for k in range(25):
        parts = []
        for mark in marks:
            lag = rng.uniform(-TURN, 0.0)
            t = k * TURN + lag
            own = (10.0 * math.sin(0.05 * t) / 0.05, 10.0 * (1 - math.cos(0.05 * t)) / 0.05)
            parts.append(plots_at(t, noisy(rng, mark, own), own, heading_rad=0.21 * t))
        fields = {
            f: np.concatenate([getattr(p, f) for p in parts])
            for f in parts[0].__dataclass_fields__
            if f != "false_cause"
        }
        tracks = tracker.update(round(k * TURN * NS), type(parts[0])(**fields), ERRORS)
    held = _held(tracks)
    assert len(held) == 3
    assert max(t.p_moving for t in held) < 0.1
    assert max(t.speed for t in held) < 0.2


def test_place_is_never_surer_than_the_shared_errors() -> None:
    (t,) = _held(_run(_lines([(0.0, 3000.0)], [(0.0, 0.0)], 60))[-1])
    sigma_east = math.sqrt(t.covariance[0, 0])
    sigma_north = math.sqrt(t.covariance[1, 1])
    # East lies across the bearing: heading and alignment; north along it: position and range offset.
    assert sigma_east >= 0.9 * 3000.0 * math.hypot(POSE.heading_sigma_rad, ERRORS.azimuth_sigma_rad)
    assert sigma_north >= 0.9 * math.hypot(POSE.position_sigma_m, ERRORS.range_sigma_m)


def test_ghosts_are_named_by_majority() -> None:
    rng = np.random.default_rng(2)
    tracker = Tracker(FRAME)
    for k in range(12):
        places = noisy(rng, np.array([[0.0, 700.0], [0.0, 1400.0]]))
        # Once in four turns the detector misses that the second is a ghost.
        ghost = k % 4 != 3
        p = plots_at(
            k * TURN,
            places,
            false_parent=np.array([-1, 0 if ghost else -1]),
            false_cause=(None, "multiple" if ghost else None),
        )
        tracks = tracker.update(round(k * TURN * NS), p, ERRORS)
    real, false = sorted(_held(tracks), key=lambda t: t.north_m)
    assert (real.false_parent, real.false_cause) == (None, None)
    assert (false.false_parent, false.false_cause) == (real.id, "multiple")


def test_turn_rate_is_learnt() -> None:
    # 3 degrees a second to starboard at 5 m/s.
    w = math.radians(3.0)
    truth = []
    for k in range(30):
        a = w * k * TURN
        truth.append(np.array([[500.0 + 5.0 / w * (1 - math.cos(a)), 400.0 + 5.0 / w * math.sin(a)]]))
    got = [_held(_run(truth, seed=s)[-1])[0] for s in range(6)]
    assert np.median([t.turn_rate for t in got]) == pytest.approx(w, rel=0.35)
    assert all(abs(t.turn_rate - w) < 4 * t.turn_rate_sigma for t in got)  # type: ignore[operator]


@pytest.mark.parametrize("angle", [0.7, 2.0, 4.5])
def test_turning_the_world_turns_the_tracks(angle: float) -> None:
    c, s = math.cos(angle), math.sin(angle)
    turn = np.array([[c, -s], [s, c]])
    _same(_pictures(np.eye(2), 0.0), _pictures(turn, 0.0), turn)


def test_mirroring_the_world_mirrors_the_tracks() -> None:
    mirror = np.diag([-1.0, 1.0])
    _same(_pictures(np.eye(2), 0.0), _pictures(mirror, 0.0), mirror)


def test_shifting_time_changes_nothing() -> None:
    _same(_pictures(np.eye(2), 0.0), _pictures(np.eye(2), 86_400.0 * 20_000), np.eye(2))


def _pictures(turn: np.ndarray, later_s: float) -> tuple[Track, ...]:
    rng = np.random.default_rng(11)
    truth = _lines([(300.0, 500.0), (-600.0, 200.0), (100.0, -900.0)], [(3.0, 1.0), (0.0, 0.0), (-6.0, 4.0)], 14)
    tracker = Tracker(FRAME)
    for k, places in enumerate(truth):
        seen = np.concatenate([noisy(rng, places), rng.uniform(-1500, 1500, (6, 2))])
        when = later_s + k * TURN
        tracks = tracker.update(round(when * NS), plots_at(when, seen @ turn.T), ERRORS)
    return tracks


def _same(one: tuple[Track, ...], two: tuple[Track, ...], turn: np.ndarray) -> None:
    assert [t.id for t in one] == [t.id for t in two]
    for a, b in zip(one, two, strict=True):
        assert a.state == b.state
        assert b.p_exists == pytest.approx(a.p_exists, abs=1e-4)
        assert b.p_moving == pytest.approx(a.p_moving, abs=1e-4)
        assert turn @ [a.east_m, a.north_m] == pytest.approx([b.east_m, b.north_m], abs=0.02)
        assert turn @ [a.velocity_east, a.velocity_north] == pytest.approx(
            [b.velocity_east, b.velocity_north], abs=0.01
        )


def test_tracks_side_by_side_do_not_excuse_each_other() -> None:
    """Three marks within a beam are gone at once: each track must go too, though each could hide the others."""
    marks = np.array([[0.0, 1500.0], [45.0, 1500.0], [90.0, 1500.0], [900.0, -300.0]])
    out = _run([marks] * 15 + [marks[3:]] * 25)
    assert len(_held(out[14])) == 4
    assert len(_held(out[-1])) == 1


def test_what_is_seen_on_six_turns_of_ten_is_confirmed() -> None:
    # Never three hits running for long; the patient test takes it, in clean water, within a minute or so.
    began = []
    for seed in range(12):
        out = _run(_lines([(900.0, 300.0)], [(2.0, 1.0)], 40), seed=100 + seed, p_seen=0.6)
        began.append(next((k for k, tracks in enumerate(out, start=1) if _held(tracks)), 99))
    assert np.mean(np.array(began) <= 24) >= 0.75


def test_a_vague_track_is_not_patient_for_plots_that_are_not_its_own() -> None:
    # New plots anywhere about the boat, every turn: some lie near any vague prediction, none makes a thing.
    rng, tracker = np.random.default_rng(8), Tracker(FRAME)
    held = 0
    for k in range(60):
        places = rng.uniform(-1500.0, 1500.0, (25, 2))
        held += len(_held(tracker.update(round(k * TURN * NS), plots_at(k * TURN, places), ERRORS)))
    assert held / 60 < 0.1


def test_a_ghost_stays_one_through_turns_that_do_not_show_it() -> None:
    # The geometry that betrays a ghost is met on every other turn only; a real echo is hardly ever called one.
    tracker, truth = Tracker(FRAME), _lines([(500.0, 0.0), (1000.0, 0.0)], [(0.0, 1.0), (0.0, 2.0)], 30)
    rng, said = np.random.default_rng(4), []
    for k, places in enumerate(truth):
        plots = plots_at(k * TURN, noisy(rng, places))
        if k < 6 or k % 2 == 0:
            plots = replace(plots, false_parent=np.array([-1, 0]), false_cause=(None, "multiple"))
        said.append([t.false_cause for t in _held(tracker.update(round(k * TURN * NS), plots, ERRORS))])
    assert all(sorted(map(str, causes)) == ["None", "multiple"] for causes in said[6:])


def test_a_real_echo_passes_through_a_ghosts_geometry() -> None:
    # Known for long as no ghost, then called one on every other turn while the boat goes by.
    tracker, truth = Tracker(FRAME), _lines([(500.0, 0.0), (900.0, 300.0)], [(0.0, 0.0), (0.0, 0.0)], 50)
    rng, said = np.random.default_rng(4), []
    for k, places in enumerate(truth):
        plots = plots_at(k * TURN, noisy(rng, places))
        if 20 <= k < 40 and k % 2 == 0:
            plots = replace(plots, false_parent=np.array([-1, 0]), false_cause=(None, "side lobe"))
        said += [t.false_cause for t in _held(tracker.update(round(k * TURN * NS), plots, ERRORS))]
    assert set(said) == {None}


def test_past_the_pictures_edge_a_track_coasts_at_once() -> None:
    tracker = Tracker(FRAME)
    _run(_lines([(1000.0, 0.0)], [(0.0, 0.0)], 10), tracker=tracker)
    nothing = plots_at(10 * TURN, np.zeros((0, 2)))
    (t,) = _held(tracker.update(round(10 * TURN * NS), nothing, ERRORS, p_visible=lambda e, n: np.zeros(len(e))))
    assert (t.state, t.misses_in_a_row) == ("coasting", 1)
