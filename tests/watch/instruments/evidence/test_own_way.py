"""A receiver's course and speed held against its own places.  The times are plain kinematics: what is said leads away
from what is made good at the difference of both velocities, and is told when that comes to more than the limit.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from moonless.units import NS_PER_S
from moonless.watch.instruments.evidence.own_way import HOLD_S, OwnWay
from moonless.watch.instruments.fault_memory import FaultMemory
from moonless.watch.instruments.position_watch import PositionWatch

T0 = 1_900_000_000 * NS_PER_S
EARTH_M = 6_371_008.8  # mean radius, IUGG
Motion = tuple[float, float]


def place(east_m: float, north_m: float, lat_deg: float = 55.0) -> tuple[float, float]:
    lat = lat_deg + math.degrees(north_m / EARTH_M)
    return lat, (179.9999 + math.degrees(east_m / (EARTH_M * math.cos(math.radians(lat)))) + 180.0) % 360.0 - 180.0


def first_told(said: Callable[[float], Motion | None], course: float, speed: float, seconds: int = 60) -> float | None:
    """Return when a boat on a straight course is first told of; None: never."""
    way = OwnWay()
    for k in range(seconds):
        at = place(speed * k * math.sin(course), speed * k * math.cos(course))
        if way.fix(T0 + k * NS_PER_S, *at, said(float(k))):
            return float(k)
    return None


@pytest.mark.parametrize("course", [0.0, 1.3, 3.0, 5.5])
def test_a_motion_that_goes_as_the_places_do_is_believed(course: float) -> None:
    assert first_told(lambda t: (course, 8.0), course, 8.0) is None
    # 1.5 m/s and 25 m are allowed.
    assert first_told(lambda t: (course, 9.4), course, 8.0) is None


@pytest.mark.parametrize("course", [0.0, 1.3, 3.0, 5.5])
@pytest.mark.parametrize(
    ("off", "factor", "apart"),
    # |v_said - v| of 8 m/s: reversed 16; in km/h 0.852 x 8; halved 4; 40 degrees off 2 x 8 sin 20.
    [(math.pi, 1.0, 16.0), (0.0, 1.852, 6.816), (0.0, 0.5, 4.0), (math.radians(40.0), 1.0, 5.472)],
)
def test_one_that_does_not_is_told_when_it_leads_away_by_more_than_the_limit(
    course: float, off: float, factor: float, apart: float
) -> None:
    # One step of them may be a leap: apart (t - 1) > 25 + 1.5 t
    at_s = math.floor((25.0 + apart) / (apart - 1.5)) + 1
    assert first_told(lambda t: (course + off, 8.0 * factor), course, 8.0) == at_s


def test_a_receiver_that_smooths_a_hard_turn_is_believed() -> None:
    # First-order smoothing of 2 s, at 12 m/s, through 150 degrees at 20 degrees a second.
    way, e, n, course, said_e, said_n = OwnWay(), 0.0, 0.0, 0.0, 0.0, 12.0
    for k in range(400):
        if 100 <= k < 175:
            course += math.radians(2.0)
        v_e, v_n = 12.0 * math.sin(course), 12.0 * math.cos(course)
        e, n = e + 0.1 * v_e, n + 0.1 * v_n
        said_e, said_n = said_e + (v_e - said_e) * 0.05, said_n + (v_n - said_n) * 0.05
        if k % 10 == 0:
            motion = math.atan2(said_e, said_n), math.hypot(said_e, said_n)
            assert not way.fix(T0 + k * NS_PER_S // 10, *place(e, n), motion)


@pytest.mark.parametrize("leap_m", [30.0, 300.0])
def test_one_leap_of_the_place_is_another_matter(leap_m: float) -> None:
    way = OwnWay()
    for k in range(40):
        assert not way.fix(T0 + k * NS_PER_S, *place(leap_m * (k >= 20), 8.0 * k), (0.0, 8.0))


def test_nothing_is_summed_over_a_gap_or_where_no_motion_is_said() -> None:
    for missing in (lambda k: k % 4 == 0, lambda k: 5 <= k < 9):
        way = OwnWay()
        told = [
            way.fix(T0 + k * NS_PER_S, *place(0.0, 8.0 * k), None if missing(k) else (0.0, 14.0)) for k in range(4, 9)
        ]
        assert not any(told)
    way = OwnWay()
    assert not any(way.fix(T0 + 3 * k * NS_PER_S, *place(0.0, 24.0 * k), (math.pi, 8.0)) for k in range(20))


def test_the_position_is_withdrawn_and_comes_back_when_both_have_gone_together() -> None:
    watch, states = PositionWatch(FaultMemory()), []
    for k in range(80):
        now = T0 + k * NS_PER_S
        watch.motion_said(now, math.pi if 30 <= k < 50 else 0.0, 8.0)
        watch.position(now, now, *place(0.0, 8.0 * k))
        states.append(watch.fault(now) is not None)
        assert watch.is_motion_doubted == states[-1]
    # 16 (t - 1) > 25 + 1.5 t + 2.5 x 16: the change itself is allowed its lag.
    first = states.index(True)
    assert 30 + 4 <= first <= 30 + 7
    assert all(states[first:50]) and not any(states[:first])
    back = 80 - states[::-1].index(True)
    assert 50 < back <= 50 + HOLD_S + 7.0 and not any(states[back:])
