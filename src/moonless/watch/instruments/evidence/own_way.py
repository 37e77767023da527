"""Whether a receiver's course and speed go as its own places do: two measures of one motion, of one receiver.

A course turned round, a speed in another unit or one that has stopped leaves every place right and every approach
wrong.  What is said is summed up from fix to fix and held against the way made good over `WINDOW_S`.

`design/instruments/own_way.py` chose the figures.
"""

from __future__ import annotations

import math
from collections import deque
from typing import NamedTuple

from moonless.constants import EARTH_MEAN_RADIUS_M, TAU
from moonless.units import NS_PER_S

WINDOW_S = 15.0
# So far apart they may be by the noise of places, by so much a second by that of speeds, and where the motion said has
# changed by so many seconds of the change, for receivers smooth it.
APART_M, APART_MPS, LAG_S = 25.0, 1.5, 2.5
# A gap between fixes longer than this is not summed over.
MOST_GAP_S = 2.5
# So long it is held once it was seen: the window begins anew and takes so long to fill.
HOLD_S = 12.0


class _Step(NamedTuple):
    """From one fix to the next: its end (ns), how much further than was made good what is said leads (m), and the
    motion said at its end (m/s); all east, north.
    """

    time_ns: int
    apart_e: float
    apart_n: float
    said_e: float
    said_n: float


class OwnWay:
    """Takes in fixes with the motion last said."""

    def __init__(self) -> None:
        self._steps: deque[_Step] = deque()
        self._last: tuple[int, float, float] | None = None  # time and place (deg) of the last fix
        self._contradicted_ns: int | None = None

    def fix(self, time_ns: int, lat_deg: float, lon_deg: float, motion: tuple[float, float] | None) -> bool:
        """Take in a fix by its own time and (course rad, speed m/s), None: not said; return True if they contradict."""
        last, self._last = self._last, None if motion is None else (time_ns, lat_deg, lon_deg)
        if motion is None:
            self._steps.clear()
            return False
        east, north = motion[1] * math.sin(motion[0]), motion[1] * math.cos(motion[0])
        step_s = 0.0 if last is None else (time_ns - last[0]) / NS_PER_S
        if last is None or not 0.0 < step_s <= MOST_GAP_S:
            self._steps = deque([_Step(time_ns, 0.0, 0.0, east, north)])
            return False
        # On a sphere: a metre in a hundred matters here and not one in ten thousand.
        made_n = math.radians(lat_deg - last[1]) * EARTH_MEAN_RADIUS_M
        made_e = math.remainder(math.radians(lon_deg - last[2]), TAU) * EARTH_MEAN_RADIUS_M
        made_e *= math.cos(math.radians(lat_deg))
        before = self._steps[-1]
        said_e, said_n = 0.5 * (before.said_e + east) * step_s, 0.5 * (before.said_n + north) * step_s
        self._steps.append(_Step(time_ns, said_e - made_e, said_n - made_n, east, north))
        while time_ns - self._steps[0].time_ns > WINDOW_S * NS_PER_S:
            self._steps.popleft()
        if self._apart_m() <= self._limit_m():
            return False
        self._steps = deque([_Step(time_ns, 0.0, 0.0, east, north)])
        self._contradicted_ns = time_ns
        return True

    def _apart_m(self) -> float:
        """Return how far what is said leads from what was made good; one leap of the place alone is another matter."""
        east, north = sum(step.apart_e for step in self._steps), sum(step.apart_n for step in self._steps)
        return math.hypot(east, north) - max(math.hypot(step.apart_e, step.apart_n) for step in self._steps)

    def _limit_m(self) -> float:
        first, last = self._steps[0], self._steps[-1]
        changed = math.hypot(last.said_e - first.said_e, last.said_n - first.said_n)
        return APART_M + APART_MPS * (last.time_ns - first.time_ns) / NS_PER_S + LAG_S * changed

    def is_contradicted(self, time_ns: int) -> bool:
        """Return whether they contradicted each other so lately that nothing speaks for the receiver."""
        return self._contradicted_ns is not None and 0 <= time_ns - self._contradicted_ns <= HOLD_S * NS_PER_S
