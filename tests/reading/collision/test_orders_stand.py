"""How long an order stands, and what takes its place, to both sides of each figure that the decision states.

Things lie still about the boat, so how much of a keep-off each manoeuvre leaves is plain geometry: the distance of a
point from a line.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, T0, S, make_boat

from moonless.boat.types import Skipper
from moonless.reading.collision.closest import passings_of
from moonless.reading.collision.decide import Decider, Decision
from moonless.reading.collision.held_against import HeldAgainst
from moonless.reading.collision.roles import Role
from moonless.reading.collision.safe_speed import NO_VIDEO, SafeSpeed
from moonless.reading.collision.threats import Threat
from moonless.reading.contact import Contact
from moonless.reading.own import OwnPlane
from moonless.rules.steering import Encounter

BOAT = make_boat(skipper=Skipper(keep_off_m=400.0))
KNOT = 1852.0 / 3600.0
Place = tuple[float, float]


def _contact(number: int, place: Place, motion: Place = (0.0, 0.0)) -> Contact:
    return Contact(
        id=number, position_en=place, velocity_en=motion, covariance=0.01 * np.eye(4), range_m=math.hypot(*place),
        bearing_rad=math.atan2(*place) % math.tau, moves=motion != (0.0, 0.0), kind="uncharted", confidence=0.9,
        p_moving=0.0, length_m=None, charted_as=None, ais=None, nav_status=None, why="", n_hits=20,
    )  # fmt: skip


def _aside(bearing_deg: float, along_m: float, right_m: float) -> Place:
    """Return a place so far along a bearing, and so far to its right hand."""
    a = math.radians(bearing_deg)
    return along_m * math.sin(a) + right_m * math.cos(a), along_m * math.cos(a) - right_m * math.sin(a)


class _Bridge:
    """One decider, asked turn by turn; the boat goes by ``course`` and ``speed``, things are placed about her."""

    def __init__(self) -> None:
        self.decider = Decider()

    def ask(
        self, at_s: float, things: dict[int, tuple[Place, float]], *, course: float = 0.0, speed: float = 5.0,
        asks: Any = "act", key: str = "echo 1", advice: SafeSpeed = NO_VIDEO, about: Any = "uncharted",
        roles: dict[int, Role] | None = None, motions: dict[int, Place] | None = None, **more: Any,
    ) -> Decision | None:  # fmt: skip
        own = OwnPlane(FRAME, 0.0, 0.0, math.radians(course), math.radians(course), speed)
        motions = motions or {}
        met = passings_of(own, [_contact(k, p, motions.get(k, (0.0, 0.0))) for k, (p, _) in things.items()])
        keep_off = {k: off for k, (_, off) in things.items()}
        seen = HeldAgainst(T0 + round(at_s * S), own, met, BOAT, "in sight", None, None, 5.0, None, keep_off, **more)
        threats = [Threat(key, about, 5.0, asks, 1)] if asks else []
        return self.decider.decide(seen, threats, roles or {}, advice)


# Ahead, eighty to be kept: thirty degrees clear it, sin 30 * 190 = 95.
AHEAD: dict[int, tuple[Place, float]] = {1: ((0.0, 190.0), 80.0)}


def _turned(found: Decision | None) -> float:
    assert found is not None and found.do == "turn" and found.course_rad is not None
    return math.degrees(found.course_rad)


def _beside_way(right_m: float) -> dict[int, tuple[Place, float]]:
    """The thing ahead, and another beside the way of thirty degrees to starboard, of which 100 m are to be kept."""
    return {**AHEAD, 2: (_aside(30.0, 400.0, right_m), 100.0)}


@pytest.mark.parametrize(
    ("right_m", "at_s", "course"),
    [
        # No other order within ten seconds, unless the one told leaves less than half of what must be kept.
        (60.0, 9.0, 30.0), (45.0, 9.0, -30.0), (60.0, 11.0, -30.0),
        # Four fifths stand for two minutes.
        (85.0, 9.0, 30.0), (85.0, 119.0, 30.0), (85.0, 121.0, -30.0), (75.0, 11.0, -30.0), (101.0, 119.0, 30.0),
    ],
)  # fmt: skip
def test_how_long_an_order_stands_that_does_less_than_it_did(right_m: float, at_s: float, course: float) -> None:
    bridge = _Bridge()
    assert _turned(bridge.ask(0.0, AHEAD)) == pytest.approx(30.0)
    later = bridge.ask(at_s, _beside_way(right_m))
    assert _turned(later) == pytest.approx(course)
    assert later is not None and later.clears is (course < 0.0 or right_m > 100.0)
    if course > 0.0:
        assert later.keeps_off_m == pytest.approx(min(95.0, right_m), abs=0.5) and later.turn_deg == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("mine_m", "other_m", "is_kept"), [(60.0, 75.0, True), (60.0, 82.0, False), (45.0, 56.0, True)]
)
def test_another_that_is_not_enough_either_takes_its_place_where_it_keeps_a_third_more(
    mine_m: float, other_m: float, is_kept: bool
) -> None:
    bridge = _Bridge()
    bridge.ask(0.0, AHEAD)
    # Beside every way of the list lies something, nearest to its middle; thirty to port keeps most off.
    things = {**AHEAD, 2: (_aside(30.0, 400.0, mine_m), 100.0), 3: (_aside(-30.0, 400.0, -other_m), 100.0)}
    number = 4
    for course in (40.0, 50.0, 60.0, 75.0, 90.0):
        for side in (1.0, -1.0):
            things[number] = (_aside(side * course, 900.0, 0.0), 250.0)
            number += 1
    # Less way is no answer either: at every speed she runs on to within a stone's throw of the first.
    found = bridge.ask(12.0, things, speed=5.0)
    assert found is not None
    if found.do == "turn":
        assert _turned(found) == pytest.approx(30.0 if is_kept else -30.0)


def test_what_is_left_of_a_turn_is_told_until_she_is_within_eight_degrees() -> None:
    for course, do, left in ((21.0, "turn", 9.0), (23.0, "hold", 0.0), (37.0, "hold", 0.0), (39.0, "turn", -9.0)):
        bridge = _Bridge()
        bridge.ask(0.0, AHEAD)
        found = bridge.ask(5.0, AHEAD, course=course)
        assert found is not None and (found.do, found.turn_deg) == (do, pytest.approx(left))
        assert found.course_rad == pytest.approx(math.radians(30.0)) and found.clears


def test_what_was_turned_to_is_kept_until_what_it_was_for_is_past() -> None:
    def after(at_s: float, course: float = 30.0, key: str = "echo 1", asks: Any = "watch") -> Decision | None:
        bridge = _Bridge()
        bridge.ask(0.0, AHEAD)
        return bridge.ask(at_s, AHEAD, course=course, asks=asks, key=key)

    held = after(60.0)
    assert held is not None and (held.do, held.turn_deg, held.speed, held.clears) == ("hold", 0.0, 5.0, True)
    assert held.course_rad == pytest.approx(math.radians(30.0)) and held.threat.key == "echo 1"
    assert held.keeps_off_m is None
    assert after(60.0, 23.0) is not None and after(60.0, 21.0) is None and after(60.0, 37.0) is not None
    assert after(60.0, 39.0) is None
    # Of another thing, or four minutes on, nothing is kept; nor where nothing is met any more.
    assert after(60.0, key="echo 9") is None and after(60.0, asks=None) is None
    assert after(239.0) is not None and after(241.0) is None


def _wall() -> dict[int, tuple[Place, float]]:
    """Things to both hands that bar every turn, and one ahead."""
    out: dict[int, tuple[Place, float]] = {1: ((0.0, 190.0), 60.0)}
    for k in range(24):
        out[k + 2] = ((70.0 if k % 2 else -70.0, 60.0 * (k // 2)), 60.0)
    return out


def test_less_way_is_told_until_she_is_within_a_knot_of_it() -> None:
    bridge = _Bridge()
    first = bridge.ask(0.0, _wall())
    assert first is not None and first.do == "stop" and first.speed == 0.0 and first.turn_deg == 0.0
    for speed, do in ((4.9, "stop"), (1.1 * KNOT, "stop"), (0.985 * KNOT, "hold")):
        again = bridge.ask(5.0, _wall(), speed=speed)
        assert again is not None and (again.do, again.speed, again.turn_deg) == (do, 0.0, 0.0)
    # It has come to be watched only: kept where she has the way off, dropped where she clears with it on.
    kept = bridge.ask(10.0, _wall(), speed=0.985 * KNOT, asks="watch")
    assert kept is not None and kept.do == "hold" and kept.speed == pytest.approx(0.985 * KNOT)
    assert bridge.ask(12.0, _wall(), speed=1.1 * KNOT, asks="watch") is None


@pytest.mark.parametrize(("speed", "do"), [(2.5, "stop"), (2.7, "turn")])
def test_near_what_is_charted_a_slow_boat_stops_before_she_turns(speed: float, do: str) -> None:
    found = _Bridge().ask(0.0, AHEAD, speed=speed, about="charted danger")
    assert found is not None and found.do == do
    # Of what is not charted she keeps off by a turn at any speed.
    other = _Bridge().ask(0.0, AHEAD, speed=speed)
    assert other is not None and other.do == "turn"


def test_too_fast_is_told_past_a_knot_and_until_half_a_knot() -> None:
    bridge, safe = _Bridge(), replace(NO_VIDEO, speed=4.0)
    told = [bridge.ask(2.5 * k, {}, asks=None, speed=4.0 + over * KNOT, advice=safe)
            for k, over in enumerate((0.9, 1.1, 0.6, 0.4, 0.9))]  # fmt: skip
    assert [d is not None for d in told] == [False, True, True, False, False]
    slow = told[1]
    assert slow is not None and (slow.do, slow.speed, slow.turn_deg, slow.clears) == ("slow", 4.0, 0.0, True)
    assert (slow.course_rad, slow.keeps_off_m, slow.role) == (None, None, None)
    assert (slow.threat.key, slow.threat.about, slow.threat.asks) == ("speed", "speed", "act")
    # Under a knot is no way at all; and nothing known of how far is seen asks for nothing.
    for speed, do in ((0.9 * KNOT, "stop"), (1.1 * KNOT, "slow")):
        found = _Bridge().ask(0.0, {}, asks=None, advice=replace(NO_VIDEO, speed=speed))
        assert found is not None and found.do == do
    bridge.ask(20.0, {}, asks=None, speed=8.0, advice=safe)
    assert bridge.ask(22.5, {}, asks=None, speed=8.0, advice=replace(NO_VIDEO, speed=None)) is None
    assert bridge.ask(25.0, {}, asks=None, speed=4.0 + 0.8 * KNOT, advice=safe) is None


def test_where_she_is_too_fast_the_speed_that_is_asked_for_anyway_is_tried_first() -> None:
    # One that draws ahead to starboard, and is missed by forty at 5 m/s.
    things: dict[int, tuple[Place, float]] = {1: ((0.0, 190.0), 80.0)}
    motions = {1: (0.0, 3.0)}
    found = _Bridge().ask(0.0, things, motions=motions, advice=replace(NO_VIDEO, speed=2.8))
    assert found is not None and (found.do, found.speed, found.clears) == ("slow", 2.8, True)
    other = _Bridge().ask(0.0, things, motions=motions)
    assert other is not None and other.do == "turn"


def _role(gives_way: bool | None, stand_on: Any, meeting: Any = "crossing from port", rule: str = "15") -> Role:
    return Role(Encounter(meeting, rule, gives_way, ""), T0, stand_on, True)


@pytest.mark.parametrize(
    ("role", "course"),
    [
        # Of one who gives way herself, half is left by our own manoeuvre; of any other the whole.
        (_role(False, "17(a)(i)"), 30.0), (_role(False, "17(a)(ii)"), 40.0), (_role(True, None), 40.0), (None, 40.0),
    ],
)  # fmt: skip
def test_of_one_who_must_give_way_half_is_left(role: Role | None, course: float) -> None:
    # She lies beside the way of thirty to starboard, 60 of 100 m off; forty degrees clear her and port does not.
    things = {**_beside_way(-60.0), 3: (_aside(-30.0, 300.0, 0.0), 100.0)}
    assert _turned(_Bridge().ask(0.0, things, roles={} if role is None else {2: role})) == pytest.approx(course)


def test_hold_is_told_of_one_who_keeps_out_of_the_way() -> None:
    role = _role(False, "17(a)(i)")
    found = _Bridge().ask(0.0, {1: ((-600.0, 600.0), 300.0)}, asks="hold", roles={1: role}, course=20.0)
    assert found is not None and (found.do, found.turn_deg, found.speed, found.clears) == ("hold", 0.0, 5.0, True)
    assert found.course_rad == pytest.approx(math.radians(20.0)) and found.role is role


@pytest.mark.parametrize(
    ("east_m", "sigma_m", "in_channel", "keeps_right"),
    [(-24.0, 5.0, True, True), (24.0, 5.0, True, False), (-24.0, 5.0, False, False), (-24.0, 40.0, True, False)],
)
@pytest.mark.parametrize("course", [0.0, 140.0])
def test_port_to_port_in_a_channel(
    course: float, east_m: float, sigma_m: float, in_channel: bool, keeps_right: bool
) -> None:
    """Rule 9(a), 14(a): she comes head-on down the port hand, and surely so."""
    own = OwnPlane(FRAME, 0.0, 0.0, math.radians(course), math.radians(course), 5.0)
    a = math.radians(course + 180.0)
    her = replace(_contact(1, _aside(course, 500.0, east_m), (4.0 * math.sin(a), 4.0 * math.cos(a))), kind="vessel")
    met = tuple(replace(p, cpa_sigma_m=sigma_m) for p in passings_of(own, [her]))
    seen = HeldAgainst(T0, own, met, BOAT, "in sight", None, None, 5.0, None, {1: 30.0}, in_channel)
    roles = {1: _role(None, None, "head-on", "14")}
    found = Decider().decide(seen, [Threat("echo 1", "vessel", 5.0, "act", 1)], roles, NO_VIDEO)
    assert found is not None and found.keeps_right is keeps_right
