"""Scripts run: where a thing is, and which way it points, at any moment of the scene.

A script is stepped once from its start at `STEP_S` and kept; asking is interpolation.  A mover steers for its next
place with no more than its turn rate, changes speed with no more than its acceleration, and points where it goes;
drift carries it over the ground besides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from moonless.errors import InputError
from moonless.frames import wrap_pi
from moonless.scene.types import Script, ScriptStep

Floats = NDArray[np.float64]

STEP_S = 0.1
# A place counts as reached within this, or once it lies abeam and within the turning circle.
REACHED_M = 2.0
LONGEST_S = 3.0 * 3600.0


@dataclass(frozen=True, slots=True, eq=False)
class MotionAt:
    """The state at asked times, all (n,): metres, radians, m/s over the ground."""

    east_m: Floats
    north_m: Floats
    heading_rad: Floats
    velocity_east: Floats
    velocity_north: Floats
    turn_rate: Floats


class ScriptedMotion:
    """A script that has been run for ``duration_s`` seconds."""

    def __init__(self, script: Script, duration_s: float | None) -> None:
        """Run a script.

        ``duration_s`` None runs it until its last leg is done; raises InputError if that takes over three hours or if
        there are no legs to be done.
        """
        if duration_s is None and not script.legs:
            raise InputError("a track without legs never ends: give the scene a duration_s")
        limit = LONGEST_S if duration_s is None else duration_s + 2.0 * STEP_S
        rows, done_s = _run(script, limit, stop_when_done=duration_s is None)
        if duration_s is None and done_s is None:
            raise InputError(f"the track is not done after {LONGEST_S / 3600.0:.0f} hours; give the scene a duration_s")
        self.done_s = done_s
        self._time = np.arange(len(rows)) * STEP_S
        self._rows = np.asarray(rows)
        self._drift = script.drift

    @property
    def end_s(self) -> float:
        """The last moment that is known."""
        return float(self._time[-1])

    def at(self, time_s: ArrayLike) -> MotionAt:
        """Return the state at times; before the start and after the end it stands as it was."""
        asked = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
        east, north, heading, speed, turn = (np.interp(asked, self._time, self._rows[:, k]) for k in range(5))
        drift_east, drift_north = self._drift
        return MotionAt(
            east,
            north,
            np.mod(heading, 2.0 * math.pi),
            speed * np.sin(heading) + drift_east,
            speed * np.cos(heading) + drift_north,
            turn,
        )


def _run(
    script: Script, limit_s: float, *, stop_when_done: bool
) -> tuple[list[tuple[float, float, float, float, float]], float | None]:
    """Return rows (east, north, unwrapped heading, speed through the water, turn rate) and when the legs were done."""
    east, north = script.start_m
    heading, speed, wanted = script.heading_rad, script.speed, script.speed
    legs = list(script.legs)
    rows: list[tuple[float, float, float, float, float]] = []
    done_s: float | None = None if legs else 0.0
    leg_since = 0.0
    position = 0
    fresh = True
    for step in range(int(limit_s / STEP_S) + 2):
        now = step * STEP_S
        turn = 0.0
        while position < len(legs):
            leg = legs[position]
            if fresh:
                leg_since, fresh = now, False
                wanted = leg.speed if leg.speed is not None else wanted
            done, turn = _steer(leg, script, east, north, heading, speed, now - leg_since)
            if not done:
                break
            position, fresh = position + 1, True
            if position == len(legs):
                done_s = now
        rows.append((east, north, heading, speed, turn))
        if stop_when_done and done_s is not None:
            break
        change = max(-script.acceleration * STEP_S, min(script.acceleration * STEP_S, wanted - speed))
        speed += change
        heading += turn * STEP_S
        east += (speed * math.sin(heading) + script.drift[0]) * STEP_S
        north += (speed * math.cos(heading) + script.drift[1]) * STEP_S
    return rows, done_s


def _steer(
    leg: ScriptStep, script: Script, east: float, north: float, heading: float, speed: float, elapsed_s: float
) -> tuple[bool, float]:
    """Return (leg done, turn rate to use)."""
    most = leg.turn_rate if leg.turn_rate is not None else script.turn_rate
    if leg.hold_s is not None:
        return elapsed_s >= leg.hold_s - 1e-9, 0.0
    if leg.turn_to_rad is not None:
        error = wrap_pi(leg.turn_to_rad - heading)
        return abs(error) < 0.004, max(-most, min(most, error / STEP_S))
    assert leg.to_m is not None
    away_e, away_n = leg.to_m[0] - east, leg.to_m[1] - north
    distance = math.hypot(away_e, away_n)
    ahead = away_e * math.sin(heading) + away_n * math.cos(heading)
    circle = speed / most
    if distance < REACHED_M or (ahead < 0.0 and distance < max(4.0 * REACHED_M, 1.2 * circle)):
        return True, 0.0
    error = wrap_pi(math.atan2(away_e, away_n) - heading)
    # Proportional near the course, so that the wake does not zigzag.
    return False, max(-most, min(most, error / 1.5))
