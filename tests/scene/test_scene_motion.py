"""Scripts: limits are kept, places are reached, drift carries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moonless.errors import InputError
from moonless.scene.motion import STEP_S, ScriptedMotion
from moonless.scene.types import Script, ScriptStep

place = st.tuples(st.floats(-2000, 2000), st.floats(-2000, 2000))


@settings(deadline=None, max_examples=40)
@given(targets=st.lists(place, min_size=1, max_size=4), speed=st.floats(1.0, 13.0), rate=st.floats(0.05, 0.3))
def test_never_turns_or_gathers_way_faster_than_it_may(
    targets: list[tuple[float, float]], speed: float, rate: float
) -> None:
    legs = tuple(ScriptStep(to_m=t, speed=speed) for t in targets)
    motion = ScriptedMotion(Script((0.0, 0.0), 0.3, 0.0, legs, turn_rate=rate, acceleration=0.5), 120.0)
    state = motion.at(np.arange(0.0, 120.0, STEP_S))
    turned = np.abs(np.mod(np.diff(state.heading_rad) + math.pi, 2 * math.pi) - math.pi)
    way = np.hypot(state.velocity_east, state.velocity_north)
    assert turned.max() <= rate * STEP_S + 1e-6
    assert np.abs(np.diff(way)).max() <= 0.5 * STEP_S + 1e-6
    assert way.max() <= speed + 1e-6


def test_a_straight_leg_takes_distance_over_speed() -> None:
    motion = ScriptedMotion(Script((0.0, 0.0), 0.0, 5.0, (ScriptStep(to_m=(0.0, 500.0)),)), None)
    assert motion.done_s == pytest.approx(500.0 / 5.0, abs=0.6)


def test_comes_to_the_heading_asked() -> None:
    motion = ScriptedMotion(Script((0.0, 0.0), 0.1, 5.0, (ScriptStep(turn_to_rad=2.0), ScriptStep(hold_s=5.0))), None)
    assert motion.done_s is not None
    assert float(motion.at(motion.done_s).heading_rad[0]) == pytest.approx(2.0, abs=0.01)


def test_drift_carries_what_does_nothing() -> None:
    state = ScriptedMotion(Script((10.0, 20.0), drift=(0.3, -0.1)), 100.0).at(60.0)
    assert float(state.east_m[0]) == pytest.approx(10.0 + 18.0, abs=0.05)
    assert float(state.north_m[0]) == pytest.approx(20.0 - 6.0, abs=0.05)
    assert float(state.velocity_east[0]) == pytest.approx(0.3)


def test_endless_track_is_refused() -> None:
    with pytest.raises(InputError, match="never ends"):
        ScriptedMotion(Script((0.0, 0.0), 0.0, 5.0), None)
