"""The trial manoeuvre: what a course or speed would do, and the smallest that clears everything.

The turn itself is taken as sudden at the end of the delay: with small boats the advance is a few lengths.  Others are
taken to hold course and speed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from moonless.rules.encounters import meeting_of
from moonless.rules.steering import Sight, turn_discouraged

Floats = NDArray[np.float64]

# How far ahead in time a manoeuvre must clear.
HORIZON_S = 720.0
# Steps that a helmsman can steer; the largest turn is square to the course.
TURNS_DEG = tuple(range(5, 95, 5))
SLOWINGS = tuple(round(0.1 * tenths, 1) for tenths in range(9, -1, -1))
# What is nearer than its keep-off already must not come nearer than this share of its range now.
NO_NEARER = 0.98
MIN_SPEED = 0.5  # m/s; slower has no course worth the name

Shoal = Callable[[float, float, float, float], str | None]
"""(course_rad, speed, delay_s, hold_s) -> why the chart refuses to go so for so long, or None."""


@dataclass(frozen=True, slots=True, eq=False)
class Mover:
    """A track as the trial needs it, relative to the boat now."""

    id: int
    position_en: tuple[float, float]
    velocity_en: tuple[float, float]
    keep_off_m: float | None = None  # its own; None: what is asked of all
    is_mark: bool = False  # meant to be passed close: never told as the nearest


@dataclass(frozen=True, slots=True)
class Tried:
    """One manoeuvre: what it is, how close everything comes, and why it is refused (None: it is not)."""

    turn_deg: float  # positive to starboard
    speed: float  # m/s afterwards
    delay_s: float
    closest_m: float  # inf: nothing to come near to
    closest_id: int | None
    refused: str | None
    clears: bool = True  # everything stays outside its keep-off


class Approach(NamedTuple):
    """Closest approach of each mover while a manoeuvre is carried out; shapes (n,)."""

    distance_m: Floats
    time_s: Floats  # from now


class Smallest(NamedTuple):
    """The smallest changes that clear everything, and those as small that are refused."""

    turn: Tried | None
    slow: Tried | None
    refused: tuple[Tried, ...]


def approach(
    own_velocity: tuple[float, float], new_velocity: tuple[float, float], delay_s: float, movers: Sequence[Mover]
) -> Approach:
    """Return how close each comes from now until `HORIZON_S` after the manoeuvre, and when."""
    p = np.array([m.position_en for m in movers], dtype=np.float64).reshape(-1, 2)
    w = np.array([m.velocity_en for m in movers], dtype=np.float64).reshape(-1, 2)
    before, after = w - np.asarray(own_velocity), w - np.asarray(new_velocity)
    first_m, first_s = _least(p, before, delay_s)
    then_m, then_s = _least(p + before * delay_s, after, HORIZON_S)
    sooner = first_m <= then_m
    return Approach(np.where(sooner, first_m, then_m), np.where(sooner, first_s, delay_s + then_s))


def _least(p: Floats, v: Floats, seconds: float) -> tuple[Floats, Floats]:
    vv = np.sum(v * v, axis=1)
    steady = vv < 1e-18  # so slow that nothing comes nearer in any time that counts
    t = np.where(steady, 0.0, -np.sum(p * v, axis=1) / np.where(steady, 1.0, vv))
    t = np.clip(t, 0.0, seconds)
    miss = p + v * t[:, None]
    return np.hypot(miss[:, 0], miss[:, 1]), t


def needed_m(movers: Sequence[Mover], keep_off_m: float) -> Floats:
    """Return (n,) the distance that each must keep; what is nearer already must not come nearer."""
    asked = np.array([keep_off_m if m.keep_off_m is None else m.keep_off_m for m in movers])
    away = np.array([math.hypot(*m.position_en) for m in movers])
    return np.asarray(np.minimum(asked, NO_NEARER * away))


def vector(course_rad: float, speed: float) -> tuple[float, float]:
    """Return east and north m/s."""
    return speed * math.sin(course_rad), speed * math.cos(course_rad)


def try_out(
    own_course_rad: float,
    own_speed: float,
    turn_deg: float,
    new_speed: float,
    delay_s: float,
    movers: Sequence[Mover],
    sight: Sight,
    shoal: Shoal | None = None,
    keep_off_m: float = 0.0,
) -> Tried:
    """Return what a manoeuvre does.  The chart is asked only where the rules do not refuse it."""
    course = own_course_rad + math.radians(turn_deg)
    gaps = approach(vector(own_course_rad, own_speed), vector(course, new_speed), delay_s, movers)
    refused = None
    for mover in movers:
        refused = discouraged(own_course_rad, own_speed, turn_deg, mover, sight)
        if refused is not None:
            break
    if refused is None and shoal is not None and new_speed > 0.0:
        refused = shoal(course, new_speed, delay_s, hold_s(gaps, movers, keep_off_m))
    count = [k for k, mover in enumerate(movers) if not mover.is_mark]
    nearest = min(count, key=lambda k: gaps.distance_m[k]) if count else None
    return Tried(
        turn_deg,
        new_speed,
        delay_s,
        float(gaps.distance_m[nearest]) if nearest is not None else math.inf,
        movers[nearest].id if nearest is not None else None,
        refused,
        bool((gaps.distance_m >= needed_m(movers, keep_off_m)).all()),
    )


# A new course is held until what it is for is past, and this long at least.
HOLD_S = 120.0


def hold_s(gaps: Approach, movers: Sequence[Mover], keep_off_m: float) -> float:
    """Return how long a new course is held: until what would have come near is past."""
    near = gaps.distance_m < 3.0 * max(keep_off_m, 1.0)
    last = float(gaps.time_s[near].max()) if len(movers) and near.any() else 0.0
    return min(max(HOLD_S, last), HORIZON_S)


def discouraged(own_course_rad: float, own_speed: float, turn_deg: float, mover: Mover, sight: Sight) -> str | None:
    """Return why the rules discourage a turn for a vessel that is closing, or None."""
    speed = math.hypot(*mover.velocity_en)
    if turn_deg == 0.0 or speed < MIN_SPEED:
        return None
    # Only a vessel that comes nearer is a reason.
    own = vector(own_course_rad, own_speed)
    closing = mover.position_en[0] * (mover.velocity_en[0] - own[0]) + mover.position_en[1] * (
        mover.velocity_en[1] - own[1]
    )
    if closing >= 0.0:
        return None
    bearing, course = math.atan2(*mover.position_en), math.atan2(*mover.velocity_en)
    meeting = meeting_of(own_course_rad, own_speed, bearing, course, speed)
    return turn_discouraged(sight, math.radians(turn_deg), own_course_rad, bearing, meeting)


def smallest_that_clear(
    own_course_rad: float,
    own_speed: float,
    movers: Sequence[Mover],
    keep_off_m: float,
    sight: Sight,
    delay_s: float = 0.0,
    shoal: Shoal | None = None,
) -> Smallest:
    """Return the smallest course change and the smallest slowing that keep everything off by its distance.

    None where none of those tried does.  ``refused``: for each side the smallest turn that would clear and is not
    offered, when it is no larger than the one that is.
    """
    own = vector(own_course_rad, own_speed)
    need = needed_m(movers, keep_off_m)
    turn = None
    refused: dict[int, Tried] = {}
    for size in TURNS_DEG:
        good = []
        # Of the same size, to starboard first: what the rules ask of most meetings.
        for side in (1, -1):
            after = vector(own_course_rad + math.radians(side * size), own_speed)
            if not (approach(own, after, delay_s, movers).distance_m >= need).all():
                continue
            tried = try_out(
                own_course_rad, own_speed, side * size, own_speed, delay_s, movers, sight, shoal, keep_off_m
            )
            if tried.refused is None:
                good.append(tried)
            else:
                refused.setdefault(side, tried)
        if good:
            turn = good[0]
            break
    slow = None
    for share in SLOWINGS:
        tried = try_out(own_course_rad, own_speed, 0.0, share * own_speed, delay_s, movers, sight, None, keep_off_m)
        if tried.clears:
            slow = tried
            break
    return Smallest(turn, slow, tuple(refused.values()))
