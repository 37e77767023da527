"""When a position and a heading are doubted and when no more, to both sides of every limit their rules state.

The boat is moved on a sphere by the clock; nothing is asked of the watches but their faults.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from moonless.reading.types import Fault
from moonless.units import NS_PER_S
from moonless.watch.instruments.fault_memory import FaultMemory
from moonless.watch.instruments.heading_watch import HeadingWatch
from moonless.watch.instruments.position_watch import PositionWatch

T0 = 1_900_000_000 * NS_PER_S
EARTH_M = 6_371_008.8  # mean radius, IUGG
D = math.radians


def _ns(at_s: float) -> int:
    return T0 + round(at_s * NS_PER_S)


class _Fixes:
    """A receiver about a place; metres east and north of it."""

    def __init__(self, lat_deg: float = 50.0, lon_deg: float = -4.0) -> None:
        self.watch = PositionWatch(FaultMemory())
        self._at = lat_deg, lon_deg

    def place(self, east_m: float, north_m: float) -> tuple[float, float]:
        lat = self._at[0] + math.degrees(north_m / EARTH_M)
        lon = self._at[1] + math.degrees(east_m / (EARTH_M * math.cos(D(lat))))
        return lat, (lon + 180.0) % 360.0 - 180.0

    def fix(self, at_s: float, east_m: float, north_m: float) -> Fault | None:
        self.watch.position(_ns(at_s), _ns(at_s), *self.place(east_m, north_m))
        return self.watch.fault(_ns(at_s))

    def sail(
        self, from_s: float, to_s: float, course_deg: float, speed: float, off: tuple[float, float] = (0.0, 0.0)
    ) -> Fault | None:
        """A fix and a motion a second, from the start at nought; return the last fault."""
        told: Fault | None = None
        for k in range(round(from_s), round(to_s) + 1):
            self.watch.motion_said(_ns(k), D(course_deg), speed)
            east, north = speed * k * math.sin(D(course_deg)), speed * k * math.cos(D(course_deg))
            told = self.fix(k, east + off[0], north + off[1])
        return told


PLACES = [(50.0, -4.0), (-33.0, 179.9999), (10.0, 0.0001)]


@pytest.mark.parametrize("at", PLACES)
@pytest.mark.parametrize("course", [0.0, 70.0, 200.0, 300.0])
@pytest.mark.parametrize(
    ("elapsed_s", "off_m", "is_jump"), [(1.0, 53.0, False), (1.0, 57.0, True), (2.0, 58.0, False), (2.0, 62.0, True)]
)
def test_a_fix_has_jumped_past_fifty_metres_and_five_a_second(
    at: tuple[float, float], course: float, elapsed_s: float, off_m: float, is_jump: bool
) -> None:
    for way in (course, course + 90.0, course + 180.0):
        fixes = _Fixes(*at)
        assert fixes.sail(0.0, 10.0, course, 8.0) is None
        run = 8.0 * (10.0 + elapsed_s)
        east = run * math.sin(D(course)) + off_m * math.sin(D(way))
        north = run * math.cos(D(course)) + off_m * math.cos(D(way))
        told = fixes.fix(10.0 + elapsed_s, east, north)
        assert (told is not None) is is_jump
        if told is not None:
            assert (told.what, told.state, told.since_ns) == ("position", "jumped", _ns(10.0 + elapsed_s))


@pytest.mark.parametrize(
    ("speed", "elapsed_s", "is_told"),
    [
        (9.8, 1.0, False),
        (10.2, 1.0, True),
        (12.8, 2.0, False),
        (13.2, 2.0, True),
        (0.3, 1.0, False),
        (20.0, 3.0, False),
    ],
)
def test_a_speed_that_no_boat_gains_so_fast_is_a_leap(speed: float, elapsed_s: float, is_told: bool) -> None:
    """From 5 m/s: two more and three for each second; after two sentences missed nothing is held against it."""
    fixes = _Fixes()
    fixes.sail(0.0, 5.0, 40.0, 5.0)
    fixes.watch.motion_said(_ns(5.0 + elapsed_s), D(40.0), speed)
    assert fixes.watch.is_doubted is is_told


@pytest.mark.parametrize("course", [10.0, 250.0])
def test_a_fix_that_comes_back_to_where_the_boat_would_be_is_believed_at_once(course: float) -> None:
    fixes = _Fixes()
    fixes.sail(0.0, 10.0, course, 6.0)
    assert fixes.sail(11.0, 14.0, course, 6.0, off=(200.0, 0.0)) is not None
    # Twice on end within twenty metres and one and a half a second: 15 s after, 42.5 m.
    assert fixes.sail(15.0, 15.0, course, 6.0, off=(20.0, 0.0)) is not None
    assert fixes.sail(16.0, 16.0, course, 6.0, off=(20.0, 0.0)) is None
    for off, is_back in ((25.0, True), (34.0, False)):
        fixes = _Fixes()
        fixes.sail(0.0, 10.0, course, 6.0)
        fixes.sail(11.0, 14.0, course, 6.0, off=(200.0, 0.0))
        # Five and six seconds after the last good fix: 27.5 and 29 m.
        assert (fixes.sail(15.0, 16.0, course, 6.0, off=(off, 0.0)) is None) is is_back


def test_after_twenty_seconds_nobody_knows_where_she_would_be() -> None:
    for last, is_back in ((29.0, True), (31.0, False)):
        fixes = _Fixes()
        fixes.sail(0.0, 10.0, 90.0, 6.0)
        fixes.sail(11.0, last - 1.0, 90.0, 6.0, off=(0.0, 300.0))
        assert (fixes.sail(last, last + 1.0, 90.0, 6.0) is None) is is_back
        # One that comes back going otherwise than she went is not back.
    for speed, is_back in ((8.0, True), (9.0, False)):
        fixes = _Fixes()
        fixes.sail(0.0, 10.0, 90.0, 6.0)
        fixes.sail(11.0, 12.0, 90.0, 6.0, off=(0.0, 300.0))
        for k in (13, 14):
            fixes.watch.motion_said(_ns(k), D(90.0), speed)
            fixes.fix(k, 6.0 * k, 0.0)
        assert fixes.watch.is_doubted is not is_back


def test_with_nothing_that_could_tell_a_minute_without_another_leap_ends_it() -> None:
    fixes = _Fixes()
    fixes.sail(0.0, 10.0, 0.0, 6.0)
    told = fixes.sail(11.0, 70.0, 0.0, 6.0, off=(500.0, 0.0))
    assert told is not None and told.since_ns == _ns(11.0)
    assert fixes.sail(71.0, 72.0, 0.0, 6.0, off=(500.0, 0.0)) is None
    # Another leap meanwhile begins the minute again.
    fixes = _Fixes()
    fixes.sail(0.0, 10.0, 0.0, 6.0)
    fixes.sail(11.0, 40.0, 0.0, 6.0, off=(500.0, 0.0))
    assert fixes.sail(41.0, 95.0, 0.0, 6.0, off=(-500.0, 0.0)) is not None
    assert fixes.sail(96.0, 102.0, 0.0, 6.0, off=(-500.0, 0.0)) is None


@pytest.mark.parametrize("course", [20.0, 200.0])
@pytest.mark.parametrize(
    ("off_m", "sigma_m", "is_ended"), [(28.0, 0.0, True), (33.0, 0.0, False), (44.0, 5.0, True), (47.0, 5.0, False)]
)
def test_radar_and_chart_say_it_twice(course: float, off_m: float, sigma_m: float, is_ended: bool) -> None:
    """Within thirty metres and three sigma of where the receiver has her by now, on two turns."""
    fixes = _Fixes()
    fixes.sail(0.0, 10.0, course, 6.0)
    fixes.sail(11.0, 14.0, course, 6.0, off=(500.0, 0.0))
    way = (math.sin(D(course)), math.cos(D(course)))
    for k, at_s in enumerate((14.2, 14.4)):
        run = 6.0 * at_s + off_m
        assert fixes.watch.is_doubted
        fixes.watch.carried(_ns(at_s), *fixes.place(run * way[0] + 500.0, run * way[1]), sigma_m)
        if not is_ended and k == 0:
            # One word against it between two for it: counted anew.
            fixes.watch.carried(_ns(at_s), *fixes.place(0.0, 5000.0), sigma_m)
    assert fixes.watch.is_doubted is not is_ended


@pytest.mark.parametrize(("off_m", "is_ended"), [(95.0, True), (105.0, False)])
def test_a_second_receiver_says_it_three_times_on_end(off_m: float, is_ended: bool) -> None:
    for gap in (False, True):
        fixes = _Fixes()
        fixes.sail(0.0, 10.0, 90.0, 6.0)
        fixes.sail(11.0, 14.0, 90.0, 6.0, off=(0.0, 500.0))
        for n in range(3):
            at_s = 14.1 + 0.1 * n
            assert fixes.watch.is_doubted
            if gap and n == 2:
                fixes.watch.beside(_ns(at_s), *fixes.place(0.0, 9000.0))
            fixes.watch.beside(_ns(at_s), *fixes.place(6.0 * at_s, 500.0 + off_m))
        assert fixes.watch.is_doubted is not (is_ended and not gap)
    # Of a receiver that has been silent meanwhile nothing is said.
    silent = _Fixes()
    silent.sail(0.0, 10.0, 90.0, 6.0)
    silent.sail(11.0, 14.0, 90.0, 6.0, off=(0.0, 500.0))
    for n in range(3):
        silent.watch.beside(_ns(16.6 + 0.1 * n), *silent.place(6.0 * 16.6, 500.0))
    assert silent.watch.is_doubted


def test_while_the_still_world_speaks_against_it_nothing_else_speaks_for_it() -> None:
    for wait_s, is_doubted in ((14.0, True), (16.0, False)):
        fixes = _Fixes()
        fixes.sail(0.0, 10.0, 0.0, 6.0)
        fixes.watch.drifts(_ns(10.0), _ns(5.0))
        told = fixes.watch.fault(_ns(10.0))
        assert told is not None and (told.state, told.since_ns) == ("damaged", _ns(5.0))
        at_s = 10.0 + wait_s
        fixes.sail(11.0, math.floor(at_s), 0.0, 6.0)
        for n in range(3):
            fixes.watch.beside(_ns(at_s + 0.1 * n), *fixes.place(0.0, 6.0 * at_s))
        assert fixes.watch.is_doubted is is_doubted
    # It stands again: others may speak for it at once.  It is back: believed at once.
    for stands, is_back in ((True, False), (False, True), (False, False)):
        fixes = _Fixes()
        fixes.sail(0.0, 10.0, 0.0, 6.0)
        fixes.watch.drifts(_ns(10.0), _ns(5.0))
        fixes.watch.still_world_says(_ns(10.5), is_back=is_back, stands=stands)
        assert fixes.watch.is_doubted is not is_back
        for n in range(3):
            fixes.watch.beside(_ns(10.6 + 0.1 * n), *fixes.place(0.0, 6.0 * 10.6))
        assert fixes.watch.is_doubted is not (stands or is_back)


def test_silent_stale_and_frozen_are_told_two_and_a_half_seconds_after_the_last_good_word() -> None:
    for late_s, state in ((2.4, None), (2.6, "silent")):
        fixes = _Fixes()
        fixes.sail(0.0, 10.0, 0.0, 6.0)
        told = fixes.watch.fault(_ns(10.0 + late_s))
        assert (None if told is None else (told.state, told.since_ns)) == (
            None if state is None else (state, _ns(10.0))
        )
    # Its own time stands still.
    stale = _Fixes()
    stale.sail(0.0, 10.0, 0.0, 6.0)
    for late_s, state in ((1.2, None), (2.4, None), (2.6, "stale")):
        stale.watch.position(_ns(10.0 + late_s), _ns(10.0), *stale.place(0.0, 60.0))
        told = stale.watch.fault(_ns(10.0 + late_s))
        assert (None if told is None else (told.state, told.since_ns)) == (
            None if state is None else (state, _ns(10.0))
        )
    # Its place stands still while it says that the boat goes a metre a second.
    for speed, state in ((0.9, None), (1.1, "frozen")):
        frozen = _Fixes()
        frozen.sail(0.0, 10.0, 0.0, speed)
        for k in (11.0, 12.0, 12.6):
            frozen.watch.motion_said(_ns(k), 0.0, speed)
            told = frozen.fix(k, 0.0, 10.0 * speed)
        assert (None if told is None else (told.state, told.since_ns)) == (
            None if state is None else (state, _ns(10.0))
        )
    # It says itself that it has none: at once, since its last.
    none = _Fixes()
    none.sail(0.0, 10.0, 0.0, 6.0)
    none.watch.no_fix(_ns(11.0))
    none.watch.no_fix(_ns(12.0))
    told = none.watch.fault(_ns(12.0))
    assert told is not None and (told.state, told.since_ns) == ("stale", _ns(10.0))
    assert none.sail(13.0, 13.0, 0.0, 6.0) is None


class _Compass:
    """A heading ten times a second."""

    def __init__(self) -> None:
        self.watch = HeadingWatch(FaultMemory())
        self.at_s = 0.0

    def say(self, deg: float, seconds: float = 0.1, rate_deg_s: float | None = None) -> Fault | None:
        """Say headings from now on for so long, turning so; return the last fault."""
        for n in range(1, round(seconds / 0.1) + 1):
            self.at_s = round(self.at_s + 0.1, 3)
            if rate_deg_s is not None:
                self.watch.turning(_ns(self.at_s), D(rate_deg_s))
            # A compass swings a little: one that stands to the last digit is another matter.
            swing = 0.01 * (n % 2)
            self.watch.heading(_ns(self.at_s), D((deg + (rate_deg_s or 0.0) * 0.1 * n + swing) % 360.0))
        return self.watch.fault(_ns(self.at_s))

    def course(self, before: tuple[float, float] | None, after: tuple[float, float]) -> None:
        self.watch.course(
            _ns(self.at_s), None if before is None else (D(before[0]), before[1]), (D(after[0]), after[1])
        )


@pytest.mark.parametrize("start", [0.0, 100.0, 355.0])
@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize(("step_deg", "is_jump"), [(14.0, False), (16.0, True), (120.0, True)])
def test_a_heading_has_jumped_past_fifteen_degrees_in_a_tenth(
    start: float, side: float, step_deg: float, is_jump: bool
) -> None:
    compass = _Compass()
    assert compass.say(start, 2.0) is None
    told = compass.say(start + side * step_deg)
    assert (told is not None) is is_jump
    if told is not None:
        assert (told.what, told.state, told.since_ns) == ("heading", "jumped", _ns(2.1))


def test_a_slow_compass_may_turn_sixty_degrees_a_second() -> None:
    for step_deg, is_jump in ((58.0, False), (62.0, True)):
        compass = _Compass()
        compass.watch.heading(_ns(0.0), D(10.0))
        compass.watch.heading(_ns(1.0), D(10.0 + step_deg))
        assert compass.watch.is_doubted is is_jump


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_heading_that_is_again_what_the_turning_led_to_is_believed(side: float) -> None:
    for off_deg, is_back in ((7.0, True), (10.0, False)):
        compass = _Compass()
        compass.say(350.0, 2.0, rate_deg_s=0.0)
        assert compass.say(90.0, 2.0, rate_deg_s=side * 10.0) is not None
        # Twenty degrees by the rate of turn since; eight and a fifth a second are allowed, for half a second on end.
        assert compass.say(350.0 + side * 20.0 + off_deg, 0.3, rate_deg_s=0.0) is not None
        told = compass.say(350.0 + side * 20.0 + off_deg, 0.6, rate_deg_s=0.0)
        assert (told is None) is is_back


def test_a_heading_that_goes_with_the_course_for_five_seconds_is_one_again() -> None:
    for beside, speed, is_ended in ((8.0, 5.0, True), (12.0, 5.0, False), (8.0, 2.5, False), (-8.0, 5.0, True)):
        compass = _Compass()
        compass.say(0.0, 2.0)
        compass.say(100.0, 1.0)
        ended_s = None
        for k in range(9):
            compass.say(100.0, 1.0)
            compass.course((100.0 + beside, speed), (100.0 + beside, speed))
            if ended_s is None and not compass.watch.is_doubted:
                ended_s = k
        assert (ended_s == 6) is is_ended and (ended_s is None) is not is_ended


def test_a_heading_that_leaves_the_course_is_told_after_two_seconds_and_only_if_they_went_together() -> None:
    """Half a metre and a metre across at 5 m/s are 17.5 degrees, and five more for the errors of both: 22.5."""
    for beside, is_told in ((21.0, False), (24.0, True), (-24.0, True), (-21.0, False)):
        for went in (True, False):
            compass = _Compass()
            for k in range(12):
                compass.say(0.0 if k < 4 and went else beside, 1.0, rate_deg_s=None)
                compass.course((0.0, 5.0), (0.0, 5.0))
            told = compass.watch.fault(_ns(compass.at_s))
            if is_told and went:
                # It leapt as well, or crept: either way it is doubted.
                assert told is not None
            elif not is_told and abs(beside) < 15.0:
                assert told is None
    # Crept off, never a leap: two seconds past the limit, since when it passed it.
    compass = _Compass()
    told = None
    for k in range(40):
        compass.say(3.0 * max(k - 4, 0), 0.5)
        compass.course((0.0, 5.0), (0.0, 5.0))
        told = compass.watch.fault(_ns(compass.at_s))
        if told is not None:
            break
    assert told is not None and told.state == "damaged"
    # 24 degrees first at 6.5 s (k = 12).
    assert told.since_ns == _ns(6.5) and compass.at_s == pytest.approx(8.5)


def test_one_frozen_while_the_boat_turns_four_degrees_by_her_rate_or_ten_by_her_course() -> None:
    def stuck(seconds: float, rate_deg_s: float | None, course_rate: float = 0.0, speed: float = 5.0) -> Any:
        watch = HeadingWatch(FaultMemory())
        for n in range(round(seconds * 10) + 1):
            at_s = 0.1 * n
            watch.heading(_ns(at_s), D(30.0))
            if rate_deg_s is not None:
                watch.turning(_ns(at_s), D(rate_deg_s))
            if n % 10 == 0:
                watch.course(_ns(at_s), (D(course_rate * (at_s - 1.0)), speed), (D(course_rate * at_s), speed))
        told = watch.fault(_ns(seconds))
        return None if told is None else (told.state, told.since_ns)

    frozen = ("frozen", _ns(0.0))
    assert stuck(3.8, 1.0) is None and stuck(4.2, 1.0) == frozen and stuck(4.2, -1.0) == frozen
    assert stuck(1.4, 10.0) is None and stuck(1.6, 10.0) == frozen
    # The first step of the course is from a second before.
    assert stuck(4.9, None, 1.9) is None and stuck(5.1, None, 1.9) == frozen
    assert stuck(5.1, None, 1.9, speed=1.9) is None  # too slow for a course to tell
    assert stuck(5.1, 0.0, 1.9) is None  # her rate of turn knows better


def test_after_a_minute_without_another_leap_a_heading_is_believed() -> None:
    compass = _Compass()
    compass.say(0.0, 2.0)
    assert compass.say(100.0, 60.0) is not None
    assert compass.say(100.0, 0.5) is None


def test_against_the_still_world_no_course_speaks_for_a_heading() -> None:
    for stands, is_back in ((False, False), (True, False), (False, True)):
        compass = _Compass()
        compass.say(0.0, 2.0)
        compass.watch.turns_alone(_ns(2.0), _ns(1.0), D(20.0))
        told = compass.watch.fault(_ns(2.0))
        assert told is not None and (told.state, told.since_ns) == ("damaged", _ns(1.0))
        compass.watch.still_world_says(_ns(2.0), is_back=is_back, stands=stands)
        assert compass.watch.is_doubted is not is_back
        for _ in range(8):
            compass.say(0.0, 1.0)
            compass.course((0.0, 5.0), (0.0, 5.0))
        assert compass.watch.is_doubted is not (stands or is_back)
        for _ in range(8):  # it has not spoken for fifteen seconds
            compass.say(0.0, 1.0)
            compass.course((0.0, 5.0), (0.0, 5.0))
        assert not compass.watch.is_doubted
