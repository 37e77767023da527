"""Under way by day: now and then a question about an echo that the eye can check.

Asked only where somebody wants to be asked, by daylight, under way, and with nothing close, nothing to do and nothing
wrong.  The radar is read first, then the eye says what is there; the eye is the truth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from moonless.frames import wrap_180
from moonless.practice.types import Marked
from moonless.reading.types import Echo, Reading
from moonless.sky.ephemeris import sky_state
from moonless.units import NS_PER_S
from moonless.watch.afterwards.by_eye import WORDS

# Own choices.  Sun well up; making way; seen by eye and yet not close; not asked all the time.
SUN_UP_DEG, UNDER_WAY_KN = 3.0, 1.0
NEAREST_M, FARTHEST_M = 200.0, 1_500.0
CLOSE_M, CLOSE_S, BESIDE_M, SHORE_M = 600.0, 900.0, 300.0, 100.0
EVERY_S = 180.0
# Forward of this from the bow, degrees: nobody is asked to turn round.
_ABAFT_DEG = 112.5
_ASKED_OF = ("vessel", "charted", "uncharted")


@dataclass(frozen=True, slots=True)
class DayQuestion:
    """Which echo is asked about."""

    echo: int
    range_m: float
    relative_deg: float


def ask_by_day(reading: Reading | None, last_ns: int | None, asked: frozenset[int]) -> DayQuestion | str:
    """Return a question, or in a few words why none is asked now.

    ``last_ns``: when the last was asked, by the reading's time; ``asked``: echoes that were asked about.
    """
    if reading is None:
        return "there is no reading now"
    own = reading.own
    if own.lat is None or own.lon is None or own.sog_kn is None or own.heading_deg is None:
        return "place, speed or heading is not known"
    if own.sog_kn < UNDER_WAY_KN:
        return "you are not under way"
    sun = sky_state(own.lat, own.lon, np.array([reading.time_ns / NS_PER_S]))
    if math.degrees(float(sun.sun_altitude_rad[0])) < SUN_UP_DEG:
        return "it is not day"
    if reading.faults:
        return "something is wrong with what the reading rests on"
    if reading.instruction is not None and reading.instruction.do is not None:
        return "there is something to do"
    if any(call.urgency >= 3 for call in reading.calls):
        return "something was called"
    if any(_is_close(echo) for echo in reading.echoes):
        return "something is close or will be"
    if last_ns is not None and reading.time_ns - last_ns < EVERY_S * NS_PER_S:
        return "the last was asked just now"
    fit = [echo for echo in reading.echoes if _is_fit(echo) and echo.id not in asked]
    if not fit:
        return "no echo here can be checked by eye"
    one = min(fit, key=lambda echo: echo.range_m)
    assert one.relative_bearing_deg is not None
    return DayQuestion(one.id, one.range_m, one.relative_bearing_deg)


def _is_close(echo: Echo) -> bool:
    if echo.kind in ("clutter", "false"):
        return False
    if echo.kind != "vessel":
        return echo.range_m < SHORE_M
    if echo.range_m < BESIDE_M:
        return True
    if echo.cpa_m is None or echo.tcpa_s is None:
        # What is not known to pass clear may be close.
        return echo.range_m < 2.0 * CLOSE_M
    return echo.cpa_m < CLOSE_M and 0.0 <= echo.tcpa_s < CLOSE_S


def _is_fit(echo: Echo) -> bool:
    return (
        echo.kind in _ASKED_OF
        and not echo.coasting
        and NEAREST_M <= echo.range_m <= FARTHEST_M
        and echo.relative_bearing_deg is not None
        and abs(wrap_180(echo.relative_bearing_deg)) <= _ABAFT_DEG
    )


def mark_by_eye(read: str, eye: str | None) -> Marked | None:
    """Return what a reading of the radar was worth by what the eye then saw; None where the eye could not tell."""
    if eye is None:
        return None
    right = read == eye
    return Marked(float(right), (1.0 - 1.0 / len(WORDS)) if right else 0.0, float(not right), False, 1.0)
