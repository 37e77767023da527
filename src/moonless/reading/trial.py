"""The trial manoeuvre: what a course or speed would do, and the smallest that clears everything.

The turn itself is taken as sudden at the end of the delay: with small boats the advance is a few lengths.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.reading.encounter import meeting_of, turn_discouraged
from moonless.reading.situation import Sight

Floats = NDArray[np.float64]

# How far ahead in time a manoeuvre must clear.
HORIZON_S = 720.0
TURNS_DEG = tuple(range(5, 95, 5))
SLOWINGS = (0.75, 0.5, 0.25, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Mover:
    """A track as the trial needs it, relative to the boat now."""

    id: int
    position_en: tuple[float, float]
    velocity_en: tuple[float, float]
    sigma_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Tried:
    """One manoeuvre: what it is, how close everything comes, and why it is refused (None: it is not)."""

    turn_deg: float  # positive to starboard
    speed: float  # m/s afterwards
    delay_s: float
    closest_m: float
    closest_id: int | None
    refused: str | None


def closest_after(
    own_velocity: tuple[float, float], new_velocity: tuple[float, float], delay_s: float, movers: Sequence[Mover]
) -> list[float]:
    """Return the least distance in metres to each mover from now until `HORIZON_S` after the manoeuvre."""
    out = []
    for mover in movers:
        p = np.asarray(mover.position_en)
        w = np.asarray(mover.velocity_en)
        first = _least(p, w - np.asarray(own_velocity), delay_s)
        then = p + (w - np.asarray(own_velocity)) * delay_s
        second = _least(then, w - np.asarray(new_velocity), HORIZON_S)
        out.append(min(first, second))
    return out


def _least(p: Floats, v: Floats, seconds: float) -> float:
    vv = float(v @ v)
    t = 0.0 if vv < 1e-9 else min(max(-float(p @ v) / vv, 0.0), seconds)
    miss = p + v * t
    return math.hypot(miss[0], miss[1])


def try_out(
    own_course_rad: float,
    own_speed: float,
    turn_deg: float,
    new_speed: float,
    delay_s: float,
    movers: Sequence[Mover],
    sight: Sight,
    shoal: Callable[[float, float, float], str | None] | None = None,
) -> Tried:
    """Return what a manoeuvre does.

    ``shoal(course_rad, speed, delay_s)`` says why the chart refuses a course, or None.
    """
    course = own_course_rad + math.radians(turn_deg)
    before = (own_speed * math.sin(own_course_rad), own_speed * math.cos(own_course_rad))
    after = (new_speed * math.sin(course), new_speed * math.cos(course))
    gaps = closest_after(before, after, delay_s, movers)
    nearest = int(np.argmin(gaps)) if gaps else None
    refused = _refused_by_rules(own_course_rad, own_speed, turn_deg, movers, sight)
    if refused is None and shoal is not None and new_speed > 0.0:
        refused = shoal(course, new_speed, delay_s)
    return Tried(
        turn_deg,
        new_speed,
        delay_s,
        gaps[nearest] if nearest is not None else math.inf,
        movers[nearest].id if nearest is not None else None,
        refused,
    )


def _refused_by_rules(
    own_course_rad: float, own_speed: float, turn_deg: float, movers: Sequence[Mover], sight: Sight
) -> str | None:
    for mover in movers:
        speed = math.hypot(*mover.velocity_en)
        if speed < 0.5:
            continue
        bearing = math.atan2(*mover.position_en)
        course = math.atan2(*mover.velocity_en)
        # Only a vessel that we would otherwise meet is a reason.
        own = (own_speed * math.sin(own_course_rad), own_speed * math.cos(own_course_rad))
        relative = np.asarray(mover.velocity_en) - np.asarray(own)
        if float(np.asarray(mover.position_en) @ relative) >= 0.0:
            continue
        meeting = meeting_of(own_course_rad, own_speed, bearing, course, speed)
        why = turn_discouraged(sight, math.radians(turn_deg), own_course_rad, bearing, meeting)
        if why is not None:
            return why
    return None


def smallest_that_clear(
    own_course_rad: float,
    own_speed: float,
    movers: Sequence[Mover],
    keep_off_m: float,
    sight: Sight,
    delay_s: float = 0.0,
    shoal: Callable[[float, float, float], str | None] | None = None,
) -> tuple[Tried | None, Tried | None]:
    """Return the smallest course change and the smallest slowing that keep everything off by the distance.

    None where none of those tried does; refused ones are passed over.
    """

    def clears(tried: Tried) -> bool:
        return tried.refused is None and tried.closest_m >= keep_off_m

    turn = None
    for size in TURNS_DEG:
        both = [
            try_out(own_course_rad, own_speed, side * size, own_speed, delay_s, movers, sight, shoal)
            for side in (1, -1)
        ]
        good = [tried for tried in both if clears(tried)]
        if good:
            # Of the same size, to starboard first: what the rules ask of most meetings.
            turn = good[0]
            break
    slow = None
    for share in SLOWINGS:
        tried = try_out(own_course_rad, own_speed, 0.0, share * own_speed, delay_s, movers, sight, shoal)
        if clears(tried):
            slow = tried
            break
    return turn, slow
