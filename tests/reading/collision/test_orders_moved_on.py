"""Orders held against a boat and things moved on by the clock: the first that keeps off, told until it is done."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, T0, S, make_boat

from moonless.boat.types import Skipper
from moonless.reading.collision.closest import passings_of
from moonless.reading.collision.decide import Decider, Decision
from moonless.reading.collision.held_against import HeldAgainst
from moonless.reading.collision.roles import Roles
from moonless.reading.collision.safe_speed import NO_VIDEO
from moonless.reading.collision.threats import threats_of
from moonless.reading.contact import Contact
from moonless.reading.own import OwnPlane

BOAT = make_boat(skipper=Skipper(keep_off_m=400.0))
STEP_S = 0.5
SPEED = 5.0


def _vector(course_deg: float, length: float) -> np.ndarray:
    return length * np.array([math.sin(math.radians(course_deg)), math.cos(math.radians(course_deg))])


def _contact(number: int, place: Any, motion: Any = (0.0, 0.0), **change: Any) -> Contact:
    moves = bool(np.hypot(*motion) > 0.3)
    values: dict[str, Any] = {
        "id": number, "position_en": tuple(map(float, place)), "velocity_en": tuple(map(float, motion)),
        "covariance": 0.01 * np.eye(4), "range_m": float(np.hypot(*place)),
        "bearing_rad": math.atan2(place[0], place[1]) % math.tau, "moves": moves,
        "kind": "vessel" if moves else "uncharted", "confidence": 0.9, "p_moving": float(moves), "length_m": None,
        "charted_as": None, "ais": None, "nav_status": None, "why": "", "n_hits": 20,
    }  # fmt: skip
    return Contact(**{**values, **change})


class _Watch:
    """Judge, helmsman and world in one: places are about where the boat began."""

    def __init__(self, course_deg: float, things: dict[int, tuple[Any, Any, float]], sight: Any = "in sight") -> None:
        self.course_deg, self.speed, self.at_s, self.sight = course_deg, SPEED, 0.0, sight
        self.place = np.zeros(2)
        self.things = things  # place at the start, motion, keep-off
        self.decider, self.roles = Decider(), Roles()

    def now(self) -> dict[int, tuple[np.ndarray, np.ndarray, float]]:
        """Return each thing relative to the boat."""
        return {
            k: (np.array(p) + self.at_s * np.array(v) - self.place, np.array(v), off)
            for k, (p, v, off) in self.things.items()
        }

    def order(self, seconds: float = 0.0) -> Decision | None:
        """Go on for so long as she goes now, and return what is told then."""
        self.place = self.place + _vector(self.course_deg, self.speed) * seconds
        self.at_s += seconds
        course = math.radians(self.course_deg)
        own = OwnPlane(FRAME, 0.0, 0.0, course, course, self.speed)
        now, time_ns = self.now(), T0 + round(self.at_s * S)
        met = passings_of(own, [_contact(k, p, v) for k, (p, v, _) in now.items()])
        keep_off = {k: off for k, (_, _, off) in now.items()}
        roles = self.roles.update(time_ns, own, met, self.sight, keep_off, 20.0)
        seen = HeldAgainst(time_ns, own, met, BOAT, self.sight, None, None, 5.0, None, keep_off)
        threats = threats_of(seen, roles, frozenset(keep_off), (), self.decider.acted_on(time_ns))
        return self.decider.decide(seen, threats, roles, NO_VIDEO)

    def gaps(self, turn_deg: float, speed: float, within_s: float = 720.0) -> dict[int, tuple[float, float]]:
        """Return {thing: (least distance, when)} if she turns now, by small steps."""
        times = np.arange(0.0, within_s, STEP_S)[:, None]
        mine = times * _vector(self.course_deg + turn_deg, speed)
        out = {}
        for k, (p, v, _) in self.now().items():
            apart = np.hypot(*(p + times * v - mine).T)
            n = int(np.argmin(apart))
            out[k] = float(apart[n]), float(times[n, 0])
        return out

    def share(self, turn_deg: float, speed: float) -> float:
        """Return the least share of what must be kept off that is kept of what comes within five minutes."""
        now = self.now()
        need = {k: min(off, 0.98 * float(np.hypot(*p))) for k, (p, _, off) in now.items()}
        return min(gap / need[k] for k, (gap, at_s) in self.gaps(turn_deg, speed).items() if at_s <= 300.0)


# As the manoeuvres are documented: a turn that shows, to starboard first; then less way; then the large turns.
_SMALL = [(side * size, SPEED) for size in (30.0, 40.0, 50.0, 60.0) for side in (1.0, -1.0)]
_TRIES = [*_SMALL, *((0.0, SPEED * s) for s in (0.75, 0.5, 0.25, 0.0)), (75.0, SPEED), (-75.0, SPEED),
          (90.0, SPEED), (-90.0, SPEED)]  # fmt: skip


@pytest.mark.parametrize("seed", range(40))
def test_among_things_that_lie_still_the_first_manoeuvre_that_keeps_off_is_told(seed: int) -> None:
    rng = np.random.default_rng(seed)
    course = float(rng.uniform(0.0, 360.0))
    things = {1: (_vector(course + rng.uniform(-6.0, 6.0), 180.0), (0.0, 0.0), 100.0)}
    for k in range(2, 2 + int(rng.integers(1, 9))):
        things[k] = (_vector(course + rng.uniform(-75.0, 75.0), rng.uniform(150.0, 700.0)), (0.0, 0.0),
                     float(rng.uniform(50.0, 140.0)))  # fmt: skip
    watch = _Watch(course, things)
    shares = [watch.share(*tried) for tried in _TRIES]
    if any(abs(share - 1.0) < 0.01 for share in shares):
        return
    told = watch.order()
    assert told is not None
    clear = next((tried for tried, share in zip(_TRIES, shares, strict=True) if share > 1.0), None)
    if clear is not None:
        assert told.clears and (told.turn_deg, told.speed) == (clear[0], pytest.approx(clear[1]))
        assert told.do == ("turn" if clear[0] else "stop" if clear[1] == 0.0 else "slow")
    else:
        assert not told.clears and told.speed is not None
        assert watch.share(told.turn_deg, told.speed) >= min(max(shares) - 0.06, watch.share(0.0, SPEED))
    assert told.course_rad is not None and told.speed is not None
    assert math.degrees(told.course_rad) == pytest.approx(course + told.turn_deg)
    nearest = min(gap for gap, _ in watch.gaps(told.turn_deg, told.speed).values())
    assert told.keeps_off_m == pytest.approx(nearest, abs=0.5)


@pytest.mark.parametrize("course", [0.0, 77.0, 200.0, 310.0])
@pytest.mark.parametrize(
    ("bearing", "range_m", "her_course", "speed", "rule", "turns"),
    [
        # Rule 14: both to starboard.  15: the one from starboard, not ahead of her.  13: to either side.
        (0.0, 1400.0, 180.0, 5.0, "14", (1.0,)), (4.0, 1300.0, 184.0, 5.0, "14", (1.0,)),
        (45.0, 1100.0, 270.0, 5.0, "15", (1.0,)), (30.0, 1200.0, 235.0, 6.0, "15", (1.0,)),
        (0.0, 500.0, 0.0, 2.0, "13", (1.0, -1.0)),
    ],
)  # fmt: skip
def test_the_turn_that_is_told_keeps_off_and_is_by_the_rule(
    course: float, bearing: float, range_m: float, her_course: float, speed: float, rule: str, turns: tuple[float, ...]
) -> None:
    watch = _Watch(course, {7: (_vector(course + bearing, range_m), _vector(course + her_course, speed), 300.0)})
    told = watch.order()
    assert told is not None and told.role is not None
    assert (told.do, told.role.encounter.rule, told.clears) == ("turn", rule, True)
    assert math.copysign(1.0, told.turn_deg) in turns
    least, at_s = watch.gaps(told.turn_deg, SPEED)[7]
    assert told.keeps_off_m == pytest.approx(least, abs=1.0) and least >= 294.0 and at_s <= 300.0
    # No smaller turn that shows, to that side, would have kept her off.
    for size in (30.0, 40.0, 50.0, 60.0):
        if size < abs(told.turn_deg):
            assert watch.share(math.copysign(size, told.turn_deg), SPEED) < 1.0
    # The helmsman steers it: hold, until she is past; then nothing.
    watch.course_deg += told.turn_deg
    said = [watch.order(5.0) for _ in range(70)]
    words = [None if s is None else s.do for s in said]
    n_hold = next(k for k, word in enumerate(words) if word is None)
    assert set(words[:n_hold]) == {"hold"} and not any(words[n_hold:])
    assert n_hold * 5.0 <= at_s + 25.0
    assert all(s.turn_deg == 0.0 and s.speed == SPEED and s.clears for s in said[:n_hold] if s is not None)


@pytest.mark.parametrize("course", [0.0, 130.0])
def test_who_must_give_way_is_held_course_for_and_then_acted_for_never_to_port(course: float) -> None:
    """Rule 17: keep course and speed; may act when she plainly does not; must when she alone cannot; not to port."""
    watch = _Watch(course, {7: (_vector(course - 45.0, 1400.0), _vector(course + 90.0, 5.0), 300.0)})
    # They meet after 1400 sin 45 / 5 = 198 s.
    told = [watch.order(0.0 if k == 0 else 5.0) for k in range(36)]
    words = [None if t is None else t.do for t in told]
    first = next(k for k, word in enumerate(words) if word not in (None, "hold"))
    assert words[0] == "hold" and set(words[:first]) <= {"hold"}
    assert all(t.speed == SPEED and t.role.stand_on == "17(a)(i)" for t in told[:first])  # type: ignore[union-attr]
    # A minute before her own manoeuvre, of 20 to 26 s, would be too late.
    assert 198.0 - 60.0 - 30.0 <= 5.0 * first <= 198.0 - 60.0 - 10.0
    acted = told[first]
    assert acted is not None and acted.role is not None and acted.role.stand_on == "17(a)(ii)"
    assert acted.turn_deg >= 0.0
    assert all(t is None or t.turn_deg >= 0.0 for t in told)


def test_an_order_not_obeyed_stands_and_what_is_left_of_it_is_told() -> None:
    watch = _Watch(40.0, {1: (_vector(40.0, 190.0), (0.0, 0.0), 80.0)})
    first = watch.order()
    assert first is not None and first.do == "turn" and first.course_rad is not None and first.threat.key == "echo 1"
    same = watch.order(2.5)
    assert same is not None and same.course_rad == first.course_rad
    # She has come within ten degrees of it, and then within eight: on course.
    watch.course_deg = math.degrees(first.course_rad) - 10.0
    near = watch.order(2.5)
    assert near is not None and near.turn_deg == pytest.approx(10.0) and near.do == "turn"
    watch.course_deg = math.degrees(first.course_rad) - 7.0
    done = watch.order(2.5)
    assert done is None or (done.do, done.turn_deg) == ("hold", 0.0)


def test_less_way_that_is_told_stands_until_she_has_it_off() -> None:
    # Things to both hands bar every turn; 190 m ahead lies another.
    walls = {k: (np.array([70.0, 60.0 * (k - 2)]), (0.0, 0.0), 60.0) for k in range(2, 14)}
    walls |= {k + 20: (np.array([-p[0], p[1]]), v, off) for k, (p, v, off) in walls.items()}
    watch = _Watch(0.0, {1: (np.array([0.0, 190.0]), (0.0, 0.0), 60.0), **walls})
    first = watch.order()
    assert first is not None and first.do in ("slow", "stop") and first.turn_deg == 0.0 and first.speed is not None
    again = watch.order(2.5)
    assert again is not None and (again.do, again.speed) == (first.do, first.speed)
    # A little way off is not all of it; within a knot of it she is told to hold.
    watch.speed = SPEED - 0.3
    over = watch.order(2.5)
    assert over is not None and over.do == first.do
    watch.speed = max(first.speed, 0.6)
    done = watch.order(2.5)
    assert done is None or done.do == "hold"


def test_nothing_is_told_of_what_is_passed_far_enough_or_of_a_boat_without_way() -> None:
    assert _Watch(10.0, {1: (_vector(100.0, 190.0), (0.0, 0.0), 80.0)}).order() is None
    assert _Watch(10.0, {7: (_vector(55.0, 900.0), _vector(10.0, 5.0), 300.0)}).order() is None  # abreast, same way
    still = _Watch(10.0, {1: (_vector(10.0, 190.0), (0.0, 0.0), 80.0)})
    still.speed = 0.2
    assert still.order() is None
