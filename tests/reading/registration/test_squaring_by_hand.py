"""The fit of radar to chart and the filter about it: derivatives by differences, weights, walks and counts by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, T0, S, make_boat

from moonless.reading.own import OwnPlane
from moonless.reading.registration.matching import Expected, Matcher
from moonless.reading.registration.observations import Sightings, sight
from moonless.reading.registration.radar_fix import CarriedOn
from moonless.reading.registration.registrar import Agreement, Registrar
from moonless.track.correction import Correction

NONE = np.zeros((0, 2))


def _seen(shore: Any = NONE, plots: Any = NONE, own: Any = (0.0, 0.0)) -> Sightings:
    shore, plots = np.asarray(shore, dtype=float).reshape(-1, 2), np.asarray(plots, dtype=float).reshape(-1, 2)
    n = len(plots)
    return Sightings(
        shore, np.tile(own, (len(shore), 1)).astype(float), plots, np.tile(own, (n, 1)).astype(float),
        np.full(n, 6.0), np.full(n, 0.01),
    )  # fmt: skip


def _wall(normal_deg: float, off_m: float) -> tuple[np.ndarray, np.ndarray]:
    """A straight edge, square to a bearing, so far off; a point a metre."""
    n = np.array([math.sin(math.radians(normal_deg)), math.cos(math.radians(normal_deg))])
    along = np.arange(-2500.0, 2500.5, 1.0)
    return off_m * n + np.outer(along, (n[1], -n[0])), np.tile(n, (len(along), 1))


def _turned(rel: np.ndarray, bias: float) -> np.ndarray:
    """Bearings lessened by the bias, in polar form."""
    reach, bearing = np.hypot(*rel.T), np.arctan2(*rel.T) - bias
    return np.column_stack([reach * np.sin(bearing), reach * np.cos(bearing)])


RNG = np.random.default_rng(5)
EDGE = [np.concatenate(two) for two in zip(_wall(20.0, 900.0), _wall(130.0, 700.0), strict=True)]
MARKS = np.array([[400.0, -300.0], [-500.0, 350.0], [-800.0, -700.0]])
EXPECTED = Expected(EDGE[0], EDGE[1], MARKS, np.array([5.0, 12.0, 0.0]))


def test_each_residual_falls_as_its_row_says_when_the_state_moves() -> None:
    """Gap by gap against central differences, from a boat that is not at the middle."""
    shore = np.array([[300.0, 830.0], [-200.0, 1000.0], [560.0, -430.0], [700.0, 100.0]])
    seen = _seen(
        shore, MARKS + np.array([(12.0, -7.0), (3.0, 9.0), (-5.0, 4.0)]) - np.array([40.0, -25.0]), (40.0, -25.0)
    )
    matcher = Matcher(seen, EXPECTED)
    state = np.array([0.01, 3.0, -4.0])
    rows, gap, weight, say = matcher._rows(state, 70.0)
    assert rows.shape == (4 + 3 + 3, 3) and (weight > 0.0).all()
    for k, step in enumerate((1e-5, 0.01, 0.01)):
        up, down = state.copy(), state.copy()
        up[k], down[k] = state[k] + step, state[k] - step
        falls = -(matcher._rows(up, 70.0)[1] - matcher._rows(down, 70.0)[1]) / (2.0 * step)
        assert falls == pytest.approx(rows[:, k], rel=1e-3, abs=0.3 if k == 0 else 1e-3)
    at = np.array([40.0, -25.0]) - state[1:] + _turned(np.vstack([seen.shore_rel, seen.plot_rel]), 0.01)
    assert matcher.places(state) == pytest.approx(at)
    # The gaps of shore are straight across it; those of marks east, then north.
    normal = np.array([[math.sin(math.radians(b)), math.cos(math.radians(b))] for b in (20.0, 130.0)])
    off = at[:4] @ normal.T - np.array([900.0, 700.0])
    nearest = np.argmin(np.abs(off), axis=1)
    assert gap[:4] == pytest.approx(off[np.arange(4), nearest], abs=0.01)
    assert gap[4:7] == pytest.approx(at[4:, 0] - MARKS[:, 0]) and gap[7:] == pytest.approx(at[4:, 1] - MARKS[:, 1])
    # Weights: 1 / (1 + (gap / s)^2)^2, over the variance; of shore 12 m, twelve points as one.
    want = 1.0 / (1.0 + (gap[:4] / 70.0) ** 2) ** 2 / (144.0 * 12.0)
    assert weight[:4] == pytest.approx(want)
    away, reach = np.hypot(*(at[4:] - MARKS).T), np.hypot(*seen.plot_rel.T)
    variance = 36.0 + (reach * 0.01) ** 2 + np.array([5.0, 12.0, 0.0]) ** 2
    assert weight[4:7] == pytest.approx(1.0 / (1.0 + (away / 70.0) ** 2) ** 2 / variance)
    assert weight[7:] == pytest.approx(weight[4:7])
    assert say == pytest.approx(np.concatenate([weight[:4] * 1728.0, *[weight[4:7] * variance] * 2]))


def test_what_lies_four_widths_off_has_no_say_and_one_mark_has_one_echo() -> None:
    seen = _seen([(0.0, 957.0)], [(400.0, -300.0 + 9.0), (400.0 + 4.0, -300.0), (-500.0, 350.0 + 57.0)])
    _, gap, weight, _ = Matcher(seen, EXPECTED)._rows(np.zeros(3), 14.0)
    assert gap[0] == pytest.approx(math.cos(math.radians(20.0)) * 957.0 - 900.0, abs=0.01) and weight[0] > 0.0
    assert weight[1] == 0.0 and weight[2] > 0.0 and weight[3] == 0.0
    far = Matcher(_seen([(0.0, 1021.0)]), EXPECTED)._rows(np.zeros(3), 14.0)
    assert far[1][0] > 56.0 and far[2][0] == 0.0


@pytest.mark.parametrize("truth", [(0.0, 0.0, 0.0), (0.04, 12.0, -9.0), (-0.05, -20.0, 14.0)])
def test_two_walls_and_marks_give_all_three_back(truth: tuple[float, float, float]) -> None:
    """Seen without noise; the covariance is the inverse of prior and evidence together."""
    bias, offset = truth[0], np.array(truth[1:])
    at = np.concatenate([_wall(20.0, 900.0)[0][2000:3000:50], _wall(130.0, 700.0)[0][2000:3000:50]])
    # What stands at `at` from the true place is seen by a heading that is `bias` too great, from `offset` too far.
    seen = _seen(_turned(at, -bias), _turned(MARKS, -bias), offset)
    matcher = Matcher(seen, EXPECTED)
    prior = np.diag([0.1, 1e5, 1e5])
    start = matcher.search(np.zeros(3), relative_to_prior=False)
    assert start[0] == pytest.approx(bias, abs=math.radians(1.5)) and start[1:].tolist() == [0.0, 0.0]
    state, covariance, used = matcher.fit(start, np.zeros(3), prior)
    assert state == pytest.approx(np.array(truth), abs=0.1) and state[0] == pytest.approx(bias, abs=4e-4)
    rows, _, weight, _ = matcher._rows(state, 14.0)
    assert covariance == pytest.approx(
        np.linalg.inv(np.linalg.inv(prior) + (rows * weight[:, None]).T @ rows), rel=1e-3
    )
    assert used == len(at) + 2 * len(MARKS)
    assert matcher.share_fitting(state) == (1.0, pytest.approx(len(at) / 3.0))
    fits, judged = matcher.agreeing(state)
    assert judged == pytest.approx(len(at) / 12.0 + 3.0) and fits == pytest.approx(judged)


def test_the_comb_of_headings_goes_about_nought_or_about_what_was_thought() -> None:
    at = np.concatenate([_wall(20.0, 900.0)[0][2000:3000:50], _wall(130.0, 700.0)[0][2000:3000:50]])
    matcher = Matcher(_seen(_turned(at, -math.radians(6.0)), _turned(MARKS, -math.radians(6.0))), EXPECTED)
    # A slight leaning to what was reported.
    assert math.degrees(matcher.search(np.zeros(3), False)[0]) == pytest.approx(5.5, abs=0.6)
    about = np.array([math.radians(4.0), 0.0, 0.0])
    assert math.degrees(matcher.search(about, True)[0]) == pytest.approx(5.5, abs=0.6)
    assert math.degrees(matcher.search(np.array([math.radians(-9.0), 0.0, 0.0]), True)[0]) < -1.9
    # With nothing to tell one from another the heading as reported stands.
    assert matcher.search(np.array([0.0, 9e4, 0.0]), False)[0] == pytest.approx(math.radians(-7.0))


def test_what_agrees_is_counted_in_independent_sightings() -> None:
    """Twelve shore points as one, within 42 m; a mark with an echo within 14 m and two of its sigmas; without, half."""
    shore = [(0.0, (900.0 + d) / math.cos(math.radians(20.0))) for d in (0.0, 41.0, -41.0, 43.0, -43.0, 300.0)]
    plots = [(400.0 + 23.9, -300.0), (400.0, -301.0), (-500.0, 350.0 + 38.1)]
    fits, judged = Matcher(_seen(shore, plots), EXPECTED).agreeing(np.zeros(3))
    assert fits == pytest.approx(3.0 / 12.0 + 1.0)
    assert judged == pytest.approx(6.0 / 12.0 + 1.0 + 0.5 * 2.0)
    assert Matcher(_seen(plots=plots), EXPECTED).share_fitting(np.zeros(3)) == (1.0, 0.0)
    assert Matcher(_seen(shore), EXPECTED).share_fitting(np.zeros(3)) == (0.5, 2.0)


# --- the filter ------------------------------------------------------------------------------------------------------


def test_what_was_found_wanders_with_time_and_is_never_surer_than_the_charts_own_errors() -> None:
    """0.02 degrees and 0.25 m a root second; 0.08 degrees and 2 m at the least."""
    registrar = Registrar(make_boat())
    start = np.diag(registrar.now.covariance)
    assert np.sqrt(start) == pytest.approx([math.radians(3.0), 25.0, 25.0])
    registrar.coast(T0, 0.25)
    now = registrar.coast(T0 + 100 * S, 2.0)
    walk = np.array([math.radians(0.02) ** 2, 4.0, 4.0]) * 100.0
    assert np.diag(now.covariance) == pytest.approx(start + walk)
    # Time that goes back adds nothing.
    assert np.diag(registrar.coast(T0 + 90 * S, 2.0).covariance) == pytest.approx(start + walk)
    known = Agreement(np.array([0.02, 5.0, -7.0]), np.diag([1e-9, 1e-3, 1e-3]), True, 0.9, 30)
    registrar.start_from(known, T0)
    registrar._settle()
    floor = [math.radians(0.08) ** 2, 4.0, 4.0]
    assert np.diag(registrar.now.covariance) == pytest.approx(floor)


@pytest.mark.parametrize(
    ("heading_deg", "axes_m", "is_known"),
    [(0.59, (9.9, 9.9), True), (0.61, (9.9, 9.9), False), (0.3, (3.0, 10.1), False), (0.3, (10.1, 3.0), False)],
)
def test_how_sure_it_must_be_to_be_spoken_of(heading_deg: float, axes_m: tuple[float, float], is_known: bool) -> None:
    """Both, and the worse of two axes."""
    registrar = Registrar(make_boat())
    covariance = np.diag([math.radians(heading_deg) ** 2, axes_m[0] ** 2, axes_m[1] ** 2])
    registrar.start_from(Agreement(np.zeros(3), covariance, True, 0.9, 30), T0)
    registrar._settle()
    now = registrar.now
    assert now.is_known is is_known
    assert math.degrees(now.heading_sigma) == pytest.approx(heading_deg)
    assert now.worse_axis_m == pytest.approx(max(axes_m))
    assert now.position_sigma_m == pytest.approx(math.sqrt((axes_m[0] ** 2 + axes_m[1] ** 2) / 2.0))


def test_agreement_is_lost_and_won_back_past_a_margin() -> None:
    """0.85 of the past is kept; under 0.40 it is lost, from 0.55 on won; six independent sightings are the least."""
    registrar = Registrar(make_boat())
    fits = judged = 0.0
    agrees: bool | None = None
    told = [(1.0, 3.0)] * 3 + [(0.0, 4.0)] * 4 + [(0.5, 4.0), (0.6, 4.0)] + [(0.7, 4.0)] * 3 + [(0.45, 4.0)] * 3
    for share, n in told:
        registrar._weigh_agreement(np.array([share * n, n]))
        fits, judged = 0.85 * fits + share * n, 0.85 * judged + n
        if judged >= 6.0:
            if fits / judged < 0.40:
                agrees = False
            elif fits / judged >= 0.55 or agrees is None:
                agrees = True
        assert registrar.now.agrees is agrees
        assert registrar._explains() is (judged < 6.0 or fits >= 0.55 * judged)
    assert agrees is not None


def test_it_is_believed_after_three_turns_that_explain_what_is_seen() -> None:
    registrar = Registrar(make_boat())
    registrar._cov = np.diag([1e-6, 4.0, 4.0])
    for turn in range(5):
        registrar._agreeing = np.array([9.0, 10.0]) if turn != 1 else np.array([5.0, 10.0])
        registrar._settle()
        # The second turn explained too little: three from the third on.
        assert registrar.now.is_known is (turn >= 4)


def test_the_picture_turned_or_the_position_moved_takes_the_correction_along() -> None:
    registrar = Registrar(make_boat())
    known = Agreement(np.array([0.02, 5.0, -7.0]), np.diag([1e-5, 9.0, 9.0]), True, 0.9, 30)
    registrar.start_from(known, T0)
    assert registrar.now.taken_out == pytest.approx([0.02, 5.0, -7.0])
    registrar.turned(0.1)
    registrar.move_offset(np.array([8.0, 1.0]))
    now = registrar.now
    assert now.state == pytest.approx([0.12, 8.0, 1.0]) and now.taken_out == pytest.approx([0.12, 8.0, 1.0])
    registrar.forget()
    assert registrar.now.taken_out == pytest.approx([0.0, 0.0, 0.0]) and not registrar.now.is_known


def test_a_turns_correction_tells_what_the_evidence_was_worth() -> None:
    """Information is the inverse covariances' difference, the pull what it moved the state by, weighed by it."""
    registrar = Registrar(make_boat())
    prior = np.diag([1e-4, 16.0, 25.0])
    registrar.start_from(Agreement(np.array([0.01, 2.0, 3.0]), prior, True, 0.9, 30), T0)
    registrar._predict(T0 + 4 * S, 0.25)
    before, before_cov = registrar._state.copy(), registrar._cov.copy()
    fresh = np.array([math.radians(0.02) ** 2, 0.25**2, 0.25**2]) * 4.0
    assert np.diag(before_cov) == pytest.approx(np.diag(prior) + fresh)
    found = np.diag([5e-5, 6.0, 7.0])
    registrar._state, registrar._cov = np.array([0.015, 1.0, 5.0]), found
    registrar._give_out(before, before_cov, found, is_anew=False)
    told = registrar._correction
    assert isinstance(told, Correction) and not told.is_anew
    assert told.fresh == pytest.approx(fresh)
    assert told.moved == pytest.approx([0.005, -1.0, 2.0])
    assert told.information == pytest.approx(np.linalg.inv(found) - np.linalg.inv(before_cov))
    assert told.pull == pytest.approx(np.linalg.inv(found) @ np.array([0.005, -1.0, 2.0]))


# --- without a receiver ----------------------------------------------------------------------------------------------


def _carried(heading: float | None = 0.5, course: float | None = 0.6, sog: float | None = 4.0) -> CarriedOn:
    known = Agreement(np.array([0.0, 6.0, -2.0]), np.diag([1e-6, 16.0, 16.0]), True, 0.9, 30)
    return CarriedOn(make_boat(), known, OwnPlane(FRAME, 100.0, 50.0, heading, course, sog), T0)


def test_the_boat_is_carried_on_by_heading_leeway_and_speed() -> None:
    carried = _carried()
    own = carried.carry(T0 + 10 * S, 1.5, None)
    # A tenth of a radian of leeway stays with the heading; four metres a second.
    assert (own.east_m, own.north_m) == pytest.approx((100.0 + 40.0 * math.sin(1.6), 50.0 + 40.0 * math.cos(1.6)))
    assert own.cog_rad == pytest.approx(1.6) and own.sog == pytest.approx(4.0) and own.heading_rad == 1.5
    # A log that says another speed is believed; without a heading the course stays; time does not go back.
    faster = carried.carry(T0 + 12 * S, None, 6.0)
    assert (faster.east_m - own.east_m, faster.north_m - own.north_m) == pytest.approx(
        (12.0 * math.sin(1.6), 12.0 * math.cos(1.6))
    )
    assert carried.carry(T0 + 11 * S, 0.0, 6.0).east_m == pytest.approx(faster.east_m)
    # Hardly under way there is no leeway to tell.
    slow = _carried(sog=0.9)
    assert slow.carry(T0 + 10 * S, 1.5, None).east_m == pytest.approx(100.0 + 9.0 * math.sin(1.5))


def test_what_pulls_it_back_turn_after_turn_is_learnt_as_a_stream() -> None:
    carried = _carried(heading=0.0, course=0.0, sog=0.0)
    carried.carry(T0 + 2 * S, 0.0, None)
    # Radar and chart have her 3 m farther east than carried: the offset has fallen by 3.
    pulled = Agreement(np.array([0.0, 3.0, -2.0]), np.diag([1e-6, 16.0, 16.0]), True, 0.9, 30)
    carried.correct(pulled)
    assert (carried.own.east_m, carried.own.north_m) == pytest.approx((103.0, 50.0))
    assert carried.registrar.now.state[1:] == pytest.approx([6.0, -2.0]) and carried.age_s == 0.0
    # 0.15 of 3 m in two seconds: 0.225 m/s to the east from now on.
    own = carried.carry(T0 + 6 * S, 0.0, None)
    assert (own.east_m, own.north_m) == pytest.approx((103.0 + 4.0 * 0.225, 50.0)) and own.sog == pytest.approx(0.225)
    # Never more than four metres a second, and nothing from too few sightings or what fits too little.
    wild = Agreement(np.array([0.0, -900.0, -2.0]), np.diag([1e-6, 16.0, 16.0]), True, 0.9, 30)
    carried.correct(wild)
    assert carried.carry(T0 + 7 * S, 0.0, None).sog == pytest.approx(4.0)
    for poor in (replace(wild, n_used=2), replace(wild, fits=0.39)):
        again = _carried(heading=0.0, course=0.0, sog=0.0)
        again.carry(T0 + 2 * S, 0.0, None)
        again.correct(poor)
        assert again.age_s == 2.0 and again.carry(T0 + 4 * S, 0.0, None).sog == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("sigma_m", "after_s", "is_fixed", "is_good"),
    [(19.0, 19.0, True, True), (21.0, 19.0, True, False), (19.0, 21.0, True, False), (19.0, 19.0, False, False)],
)
def test_when_a_carried_place_is_good_enough(sigma_m: float, after_s: float, is_fixed: bool, is_good: bool) -> None:
    known = Agreement(np.zeros(3), np.diag([1e-6, sigma_m**2, 9.0]), is_fixed, 0.9, 30)
    carried = CarriedOn(make_boat(), known, OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 3.0), T0)
    carried.carry(T0 + round(after_s * S), 0.0, None)
    held = carried.held()
    assert held.is_good is is_good and held.age_s == after_s
    assert held.sigma_m == pytest.approx(math.sqrt((sigma_m**2 + 9.0) / 2.0))
    east, north = FRAME.to_plane(held.lat_deg, held.lon_deg)
    assert (float(east), float(north)) == pytest.approx((0.0, 3.0 * after_s), abs=1e-3)
    assert held.velocity == pytest.approx((0.0, 3.0))


# --- what a turn offers ----------------------------------------------------------------------------------------------


def _shore(azimuth_deg: list[float], near: float, far: float) -> Any:
    n = len(azimuth_deg)
    return SimpleNamespace(
        azimuth_rel_rad=np.radians(azimuth_deg), near_range_m=np.full(n, near), far_range_m=np.full(n, far)
    )


def _sighted(shores: list[Any], heading_deg: float = 30.0, pulse_m: float = 30.0, held: Any = None) -> Sightings:
    n = 360
    lat, lon = FRAME.to_geographic(np.linspace(0.0, 359.0, n), np.full(n, 20.0))
    scan: Any = SimpleNamespace(
        echo=np.zeros((n, 4)), lat_deg=lat, lon_deg=lon, heading_true_rad=np.full(n, math.radians(heading_deg)),
        errors=SimpleNamespace(pulse_m=pulse_m),
    )  # fmt: skip
    at = FRAME.to_geographic(np.array([7.0, 8.0]), np.array([1.0, 2.0]))
    plots: Any = SimpleNamespace(
        own_lat_deg=at[0], own_lon_deg=at[1], range_m=np.array([500.0, 600.0]),
        azimuth_rel_rad=np.radians([10.0, 20.0]),
        heading_true_rad=np.radians([30.0, 30.0]), false_parent=np.array([-1, 0]), range_sigma_m=np.array([5.0, 6.0]),
        azimuth_sigma_rad=np.array([0.01, 0.02]),
    )  # fmt: skip

    class Plots:
        def __len__(self) -> int:
            return 2

        def __getattr__(self, name: str) -> Any:
            return getattr(plots, name)

    picture: Any = SimpleNamespace(shores=shores, plots=Plots())
    return sight(scan, picture, FRAME, held)


def test_vectors_are_true_and_from_where_the_boat_was_then() -> None:
    seen = _sighted([_shore([60.0, 61.0, 62.0, 63.0], 800.0, 900.0)])
    bearing = np.degrees(np.arctan2(*seen.shore_rel.T))
    assert bearing == pytest.approx([90.0, 91.0, 92.0, 93.0]) and np.hypot(*seen.shore_rel.T) == pytest.approx(800.0)
    assert seen.shore_own == pytest.approx(np.array([[60.0 + k, 20.0] for k in range(4)]), abs=1e-3)
    # Of two plots one is the ghost of another.
    assert seen.n == 5 and len(seen.plot_rel) == 1
    assert seen.plot_rel[0] == pytest.approx(
        [500.0 * math.sin(math.radians(40.0)), 500.0 * math.cos(math.radians(40.0))]
    )
    assert seen.plot_own[0] == pytest.approx([7.0, 1.0], abs=1e-3)
    assert (seen.plot_range_sigma[0], seen.plot_azimuth_sigma[0]) == (5.0, 0.01)
    held = _sighted([_shore([60.0, 61.0, 62.0, 63.0], 800.0, 900.0)], held=(-40.0, 90.0))
    assert held.shore_own.tolist() == [[-40.0, 90.0]] * 4 and held.plot_own.tolist() == [[-40.0, 90.0]]


def test_scraps_and_the_sea_about_the_boat_are_no_shore() -> None:
    """Four bearings at the least; 120 m off and three pulses; past the sea that answers round her, and 40 m."""
    assert len(_sighted([_shore([10.0, 11.0, 12.0], 800.0, 900.0)]).shore_rel) == 0
    four = [10.0, 11.0, 12.0, 13.0]
    assert len(_sighted([_shore(four, 119.0, 900.0)]).shore_rel) == 0
    assert len(_sighted([_shore(four, 121.0, 900.0)]).shore_rel) == 4
    assert len(_sighted([_shore(four, 149.0, 900.0)], pulse_m=50.0).shore_rel) == 0
    ring = _shore([float(k) for k in range(100)], 50.0, 300.0)
    assert len(_sighted([ring, _shore(four, 339.0, 900.0)]).shore_rel) == 0
    assert len(_sighted([ring, _shore(four, 341.0, 900.0)]).shore_rel) == 4
    # A piece less than a quarter of the way round is no ring, nor one that begins farther out.
    assert (
        len(_sighted([_shore([float(k) for k in range(90)], 50.0, 300.0), _shore(four, 200.0, 900.0)]).shore_rel) == 4
    )
    assert (
        len(_sighted([_shore([float(k) for k in range(100)], 61.0, 300.0), _shore(four, 200.0, 900.0)]).shore_rel) == 4
    )
