"""How fast: the speed from which the boat can stop inside what has been seen (Rule 6's radar side).

Three limits, and the lowest binds: the range at which the smallest thing cared about is held; the nearest hidden
water ahead, allowing for a boat coming out of it; the skipper's own night limit, or where none is set a common one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat, StoppingTrial
from moonless.reading.visibility.hidden_boats import HiddenAhead
from moonless.units import kn_to_mps, mps_to_kn

Floats = NDArray[np.float64]

# What is assumed of a boat without stopping trials.  Our own cautious figure (no source): a planing boat off the
# throttle slows about twice as hard; a heavy displacement boat with her engine astern, about so.
DEFAULT_SLOWING = 0.25  # m/s2
# Where the skipper has set no limit.  Common practice, no source: nobody runs faster than 30 to 35 kn at night.
COMMON_LIMIT_KN = 30.0
_SPEEDS = np.arange(0.0, 30.0001, 0.05)  # m/s; 58 kn is past any boat this is for


@dataclass(frozen=True, slots=True)
class SafeSpeed:
    """The speed that goes with what is seen, m/s over the ground, and what binds it; None: cannot be said."""

    speed: float | None
    because: str
    why: str = ""  # the same in a few words, to be spoken behind a speed

    @property
    def advised_kn(self) -> float | None:
        """Knots as they are told: down to a tenth."""
        return None if self.speed is None else math.floor(mps_to_kn(self.speed) * 10.0 + 1e-6) / 10.0


def stop_distance(speed: Floats | float, trials: Sequence[StoppingTrial]) -> Floats:
    """Return metres run from throttle back to stopped, for each speed in m/s.

    Straight lines between the trials and the origin: stopping distance curves upwards with speed, so the chord
    lies above it.  Past the fastest trial it grows as the square.
    """
    asked = np.asarray(speed, dtype=np.float64)
    if not trials:
        return asked**2 / (2.0 * DEFAULT_SLOWING)
    tried = sorted((t.speed, t.distance_m) for t in trials if t.speed > 0.0)
    speeds = np.array([0.0] + [s for s, _ in tried])
    # A faster trial that stopped shorter is a lucky one; never let more speed stop sooner.
    metres = np.maximum.accumulate(np.array([0.0] + [m for _, m in tried]))
    inside = np.interp(asked, speeds, metres)
    beyond = metres[-1] * (asked / speeds[-1]) ** 2
    return np.where(asked > speeds[-1], beyond, inside)


def stopping_line_m(speed: float, boat: Boat) -> float:
    """Return the stopping line: metres run while seeing, confirming and reacting, and then stopping."""
    return float(stop_distance(speed, boat.stopping)) + speed * boat.skipper.react_s


def _fastest(needed_m: Floats, have_m: float) -> float:
    """Return the fastest speed whose need, rising with speed, is met."""
    met = needed_m <= have_m
    return float(_SPEEDS[np.argmin(met) - 1]) if not met.all() and met[0] else float(_SPEEDS[-1]) if met[0] else 0.0


NO_VIDEO = SafeSpeed(
    None, "There is no radar video: what another radar does not track is not known, so no speed can be said."
)


def advise(
    boat: Boat,
    seen_ahead_m: float | None,
    hidden: Sequence[HiddenAhead],
    radar_is_shown: bool = True,
    visibility_m: float | None = None,
) -> SafeSpeed:
    """Return the speed that goes with what is seen, and the one factor that binds.

    ``seen_ahead_m``: the seeing line on the course; None: not known, and then no speed can be said.
    ``hidden``: hidden water ahead, as corners of its near edge.  ``radar_is_shown``: known marks have shown how the
    radar performs; it is said where none has.  ``visibility_m``: met visibility where somebody has told it.
    """
    default = "" if boat.stopping else " No stopping trials in the boat file: a cautious stopping distance is assumed."
    if seen_ahead_m is None:
        return SafeSpeed(None, "How far small things are seen is not known, so no speed can be said." + default)
    if not radar_is_shown:
        default = " No charted mark in view has shown how the radar performs." + default
    stop = stop_distance(_SPEEDS, boat.stopping)
    line = stop + _SPEEDS * boat.skipper.react_s
    seen = f"Small things are held to {_metres(seen_ahead_m)} ahead and she must stop in that."
    limits: list[tuple[float, str, str]] = [(_fastest(line, seen_ahead_m), seen, "to stop inside what is seen")]
    if visibility_m is not None:
        # What no radar holds (a swimmer, a log) is met by eye.  To stop in half the distance one sees is the old
        # measure of a moderate speed before the courts (from memory).
        half = f"Visibility is {_metres(visibility_m)} and she must stop in half of it."
        limits.append((_fastest(line, 0.5 * visibility_m), half, "to stop in half the visibility"))
    # Even slowing, so the time to stop is twice the distance over the speed.
    stop_time = boat.skipper.react_s + np.divide(2.0 * stop, _SPEEDS, out=np.zeros_like(stop), where=_SPEEDS > 0)
    for water in hidden:
        closing = max(0.0, math.cos(water.off_course_rad)) * boat.skipper.hidden_boat_speed
        need = line + closing * stop_time
        far = _metres(water.distance_m)
        because, why = f"Water is hidden {far} ahead and a boat may come out of it.", "hidden water ahead"
        if water.is_edge:
            because = f"The radar picture ends {far} ahead and a boat may come from beyond it."
            why = "the radar picture ends ahead"
        limits.append((_fastest(need, water.distance_m), because, why))
    if boat.skipper.night_limit is not None:
        limits.append((boat.skipper.night_limit, "The skipper's own night limit.", "your own night limit"))
    else:
        common = f"No night limit is set in the boat file; {COMMON_LIMIT_KN:.0f} kn is the most that is usual at night."
        limits.append((kn_to_mps(COMMON_LIMIT_KN), common, "the most that is usual at night"))
    speed, because, why = min(limits, key=lambda limit: limit[0])
    return SafeSpeed(speed, because + default, why)


def _metres(distance_m: float) -> str:
    rounded = round(distance_m, -1) if distance_m < 1000 else round(distance_m, -2)
    return f"{rounded:.0f} m"
