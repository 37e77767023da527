"""The speed that goes with what is seen: monotone in what it rests on, never above what binds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reading_fakes import make_boat

from moonless.boat.types import Skipper, StoppingTrial
from moonless.reading.collision.safe_speed import advise, stop_distance, stopping_line_m
from moonless.reading.visibility.hidden_boats import HiddenAhead
from moonless.units import kn_to_mps, mps_to_kn

metres = st.floats(1.0, 6000.0)
trial_lists = st.lists(
    st.builds(StoppingTrial, st.floats(0.5, 20.0), st.floats(1.0, 500.0)),
    min_size=0,
    max_size=5,
    unique_by=lambda t: t.speed,
)
hidden_lists = st.lists(st.builds(HiddenAhead, metres, st.floats(-1.04, 1.04)), max_size=6)


def _kn(boat, seen, hidden):  # type: ignore[no-untyped-def]
    advised = advise(boat, seen, hidden).advised_kn
    assert advised is not None
    return advised


@settings(max_examples=60, deadline=None)
@given(metres, metres, trial_lists, hidden_lists)
def test_seeing_further_never_slows(a: float, b: float, trials: list[StoppingTrial], hidden: list[HiddenAhead]) -> None:
    boat = make_boat(stopping=tuple(trials))
    assert _kn(boat, min(a, b), hidden) <= _kn(boat, max(a, b), hidden)


@settings(max_examples=60, deadline=None)
@given(metres, trial_lists, hidden_lists, st.floats(1.0, 3.0))
def test_stopping_longer_never_quickens(
    seen: float, trials: list[StoppingTrial], hidden: list[HiddenAhead], longer: float
) -> None:
    worse = tuple(StoppingTrial(t.speed, t.distance_m * longer) for t in trials)
    boat, heavy = make_boat(stopping=tuple(trials)), make_boat(stopping=worse)
    assert _kn(heavy, seen, hidden) <= _kn(boat, seen, hidden)


@settings(max_examples=60, deadline=None)
@given(metres, trial_lists, metres, metres, st.floats(-1.04, 1.04))
def test_hidden_water_nearer_never_quickens(
    seen: float, trials: list[StoppingTrial], a: float, b: float, off: float
) -> None:
    boat = make_boat(stopping=tuple(trials))
    near, far = HiddenAhead(min(a, b), off), HiddenAhead(max(a, b), off)
    assert _kn(boat, seen, [near]) <= _kn(boat, seen, [far])
    assert _kn(boat, seen, [near, far]) <= _kn(boat, seen, [])


@settings(max_examples=80, deadline=None)
@given(metres, trial_lists, hidden_lists, st.one_of(st.none(), st.floats(0.5, 15.0)))
def test_never_above_the_binding_limit(
    seen: float, trials: list[StoppingTrial], hidden: list[HiddenAhead], limit: float | None
) -> None:
    boat = make_boat(stopping=tuple(trials), skipper=Skipper(night_limit=limit))
    speed = kn_to_mps(_kn(boat, seen, hidden))
    assert speed <= (limit or math.inf) + 1e-6
    # At the advised speed she stops inside what is seen, and before a boat out of the hidden water is met.
    assert speed == 0.0 or stopping_line_m(speed, boat) <= seen + 1e-6
    stop = float(stop_distance(speed, boat.stopping))
    for water in hidden:
        seconds = boat.skipper.react_s + (2.0 * stop / speed if speed else 0.0)
        comes = max(0.0, math.cos(water.off_course_rad)) * boat.skipper.hidden_boat_speed * seconds
        assert speed == 0.0 or stopping_line_m(speed, boat) + comes <= water.distance_m + 1e-6


def test_it_says_what_binds_and_when_it_assumes() -> None:
    boat = make_boat(skipper=Skipper(night_limit=kn_to_mps(6.0)))
    assert "night limit" in advise(boat, 2000.0, []).because
    assert advise(boat, 2000.0, []).advised_kn == pytest.approx(6.0, abs=0.11)
    assert "held to" in advise(make_boat(), 90.0, []).because
    assert "hidden" in advise(make_boat(), 2000.0, [HiddenAhead(200.0, 0.2)]).because
    assert "No stopping trials" in advise(make_boat(stopping=()), 2000.0, []).because
    unknown = advise(make_boat(), None, [])
    assert unknown.advised_kn is None
    assert not any("safe" in advise(make_boat(), seen, []).because.lower() for seen in (50.0, 500.0))


def test_without_a_limit_of_the_skipper_the_usual_one_holds() -> None:
    """Common practice, no source: nobody should run faster than 30 to 35 kn at night."""
    told = advise(make_boat(skipper=Skipper()), 6000.0, [])
    assert told.advised_kn is not None
    assert told.advised_kn <= 30.0
    assert "No night limit is set" in told.because


def test_trials_are_met_and_chords_lie_above_them() -> None:
    trials = make_boat().stopping
    for trial in trials:
        assert float(stop_distance(trial.speed, trials)) == pytest.approx(trial.distance_m)
    # Between them the straight line lies above any curve that bends upwards through both.
    middle = 0.5 * (trials[0].speed + trials[1].speed)
    assert float(stop_distance(middle, trials)) == pytest.approx(0.5 * (trials[0].distance_m + trials[1].distance_m))
    speeds = np.linspace(0.0, 25.0, 400)
    assert np.all(np.diff(stop_distance(speeds, trials)) >= 0.0)
    assert mps_to_kn(speeds[-1]) > 48


def test_a_faster_trial_that_stopped_shorter_is_not_believed() -> None:
    # By hand: 40 m from 5 m/s.  30 m from 8 m/s was luck, and from 16 m/s it is four times as far as from 8.
    lucky = [StoppingTrial(5.0, 40.0), StoppingTrial(8.0, 30.0)]
    assert stop_distance(np.array([2.5, 5.0, 6.5, 8.0, 16.0]), lucky) == pytest.approx([20.0, 40.0, 40.0, 40.0, 160.0])
