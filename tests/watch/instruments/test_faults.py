"""The fault watch must not cry wolf, and must not sleep."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moonless.frames import LocalFrame
from moonless.units import NS_PER_S
from moonless.watch.instruments.faults import FaultWatch

T0 = 1_800_000_000 * NS_PER_S
FRAME = LocalFrame(50.0, -5.0)


def _ns(seconds: float) -> int:
    return T0 + round(seconds * NS_PER_S)


def _told(watch: FaultWatch, seconds: float) -> dict[str, str]:
    return {f.what: f.state for f in watch.faults(_ns(seconds)) if f.what in ("position", "heading", "clock")}


@given(
    speed=st.floats(0.0, 25.0),
    turn_rate=st.floats(-0.2, 0.2),
    noise_m=st.floats(0.0, 6.0),
    every_s=st.sampled_from([0.2, 1.0, 2.0]),
    outage_s=st.integers(0, 20),
    seed=st.integers(0, 1000),
)
@settings(max_examples=25, deadline=None)
def test_a_boat_that_only_moves_has_not_jumped(
    speed: float, turn_rate: float, noise_m: float, every_s: float, outage_s: int, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    watch = FaultWatch()
    east = north = course = 0.0
    t = 0.0
    n = int(20.0 / every_s)
    for i in range(2 * n):
        lost = n <= i < n + outage_s / every_s
        course += turn_rate * every_s
        east += speed * math.sin(course) * every_s
        north += speed * math.cos(course) * every_s
        t += every_s
        if lost:
            continue
        off = rng.normal(0.0, noise_m, 2)
        lat, lon = FRAME.to_geographic(east + off[0], north + off[1])
        watch.position(_ns(t), _ns(t), float(lat), float(lon))
        watch.motion(_ns(t), course, speed)
        watch.heading(_ns(t), course % math.tau)
        watch.turning(_ns(t), turn_rate)
        told = _told(watch, t)
        # A fast boat that turns during an outage may come back further off than any reckoning can know; from the last
        # fix before it to the first after, which is longer than the outage.
        gap_s = (math.ceil(outage_s / every_s) + 1) * every_s
        if outage_s == 0 or speed * abs(turn_rate) * gap_s**2 / 2 < 50.0:
            assert told.get("position") != "jumped"
        assert told.get("heading") is None


@given(st.floats(0, 6), st.integers(3, 120))
@settings(max_examples=30, deadline=None)
def test_a_moored_boat_may_stand_as_still_as_she_likes(heading: float, seconds: int) -> None:
    watch = FaultWatch()
    for i in range(seconds * 2):
        t = i / 2
        watch.position(_ns(t), _ns(t), 50.0, -5.0)
        watch.motion(_ns(t), None, 0.0)
        watch.heading(_ns(t), heading)
        watch.turning(_ns(t), 0.0)
        assert _told(watch, t) == {}


@pytest.mark.parametrize("way", [1.0, -1.0])
@pytest.mark.parametrize("has_turn_rate", [True, False])
def test_a_frozen_compass_is_found_with_or_without_a_rate_of_turn(has_turn_rate: bool, way: float) -> None:
    watch = FaultWatch()
    found = None
    for i in range(120):
        t = i / 10
        turning = way * max(t - 5.0, 0.0) * math.radians(6.0)
        lat, lon = FRAME.to_geographic(5.0 * t, 0.1 * i)
        watch.position(_ns(t), _ns(t), float(lat), float(lon))
        watch.motion(_ns(t), 1.0 + turning, 6.0)
        # It swings a little, as compasses do, until it sticks at five seconds.
        watch.heading(_ns(t), 1.0 + (0.002 * math.sin(i) if t < 5.0 else 0.0))
        if has_turn_rate:
            watch.turning(_ns(t), way * math.radians(6.0) if t >= 5.0 else 0.0)
        if found is None and _told(watch, t).get("heading") == "frozen":
            found = t
    assert found is not None
    assert 5.0 < found < 8.0


@pytest.mark.parametrize("way", [1.0, -1.0])
@pytest.mark.parametrize("has_turn_rate", [True, False])
def test_a_heading_that_leapt_in_a_turn_is_known_again_where_the_turn_led(has_turn_rate: bool, way: float) -> None:
    """Ten words a second 60 degrees off for three seconds of a turn of 6 degrees a second: 18 degrees on, it is right.

    The rate of turn and the course tell of one turn, not of two.
    """
    watch = FaultWatch()
    told: dict[float, str] = {}
    for i in range(120):
        t = i / 10
        turned = way * max(t - 4.0, 0.0) * math.radians(6.0)
        lat, lon = FRAME.to_geographic(5.0 * t, 0.1 * i)
        watch.position(_ns(t), _ns(t), float(lat), float(lon))
        if has_turn_rate:
            watch.turning(_ns(t), way * math.radians(6.0) if t >= 4.0 else 0.0)
        watch.motion(_ns(t), 1.0 + turned, 6.0)
        watch.heading(_ns(t), 1.0 + turned + (math.radians(60.0) if 5.0 <= t < 8.0 else 0.0) + 0.0005 * math.sin(i))
        told[t] = _told(watch, t).get("heading", "")
    assert {told[t] for t in told if t < 5.0} == {""}
    assert {told[t] for t in told if 5.0 <= t < 8.0} == {"jumped"}
    # Half a second of right words, and one more.
    assert {told[t] for t in told if t >= 8.7} == {""}


def test_each_silence_has_its_beginning() -> None:
    watch = FaultWatch()
    watch.heading(_ns(0.0), 1.0)
    watch.position(_ns(1.0), _ns(1.0), 50.0, -5.0)
    faults = {f.what: f for f in watch.faults(_ns(10.0))}
    assert faults["heading"].since_ns == _ns(0.0)
    assert faults["position"].since_ns == _ns(1.0)
    assert faults["radar"].since_ns == _ns(0.0)
    assert {f.state for f in faults.values()} == {"silent"}
    # What was never heard and is not needed is not missed.
    assert set(faults) == {"heading", "position", "radar"}


def test_time_that_does_not_move_is_stale() -> None:
    watch = FaultWatch()
    for i in range(10):
        watch.position(_ns(i), _ns(min(i, 4)), 50.0, -5.0)
    assert _told(watch, 9.0)["position"] == "stale"
