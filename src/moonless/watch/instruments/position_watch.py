"""Whether the position can be believed: silence, no fix, an old or frozen one, one that jumped.

Rules of this file:
- A fix that lies where the boat cannot be, a speed that no boat takes on so soon, or a place that drifts against all
  that stands still about her (`still_watch`), puts the receiver in doubt; so do a course and speed that do not go as
  its own places do (`own_way`).
- Where course and speed are in doubt nothing can carry the place on, and it is the places that are sound: that doubt
  ends when both have gone together for a while (`own_way.HOLD_S`).
- Doubt is ended by evidence: place and speed are again what they would be had nothing happened; or radar and chart,
  which carry the boat on meanwhile, find her where the receiver does; or a second receiver says the same.  Where there
  is nothing that could tell, it is ended by a long time without another leap, and by nothing sooner.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from moonless.constants import EARTH_MEAN_RADIUS_M, TAU
from moonless.reading.line import FaultState
from moonless.reading.types import Fault
from moonless.units import NS_PER_S
from moonless.watch.instruments.evidence.own_way import OwnWay
from moonless.watch.instruments.fault_memory import FaultMemory

# Two missed sentences at the slowest usual rate, once a second.
SILENT_S = 2.5
# A fix further than this from where the boat must be has jumped: 50 m, and 5 m for each second since the last.
JUMP_M, JUMP_MPS = 50.0, 5.0
# A fix is held to be frozen when it stands still while the receiver says that the boat does not.
UNDER_WAY_MPS = 1.0
# No boat gains or loses speed faster than this and the noise of what receivers say: hard astern is about 1 m/s2 (from
# memory).  Own choice.
SPEED_STEP, SPEED_STEP_MPS2 = 2.0, 3.0
# A fix that has come back lies so near to where the boat would be, and goes as she went, in so many fixes on end; for
# so long can be said where she would be.
BACK_M, BACK_M_S, BACK_MPS, BACK_FIXES, BACK_WITHIN_S = 20.0, 1.5, 2.5, 2, 20.0
# Radar and chart, or a second receiver, say the same when they lie so near, so often on end.
CARRIED_M, CARRIED_TURNS = 30.0, 2
BESIDE_M, BESIDE_FIXES = 100.0, 3
# While the still world speaks against the receiver, nothing else speaks for it; it has spoken if it was so lately.
STILL_WORLD_S = 15.0
# With nothing that could tell, a receiver is believed again after so long without another leap.
DOUBT_S = 60.0

Fix = tuple[int, float, float]
"""Time, latitude, longitude."""
Motion = tuple[float, float]
"""Course (rad) and speed (m/s) over the ground."""


@dataclass(slots=True)
class _Doubt:
    """A receiver that is not believed: since when, and the last that was."""

    since_ns: int
    steady_ns: int  # of the last leap, or the last word of radar and chart against it
    fix: Fix | None
    motion: Motion | None
    n_back: int = 0
    n_carried: int = 0
    n_beside: int = 0
    state: FaultState = "jumped"
    is_of_motion: bool = False  # course and speed are in doubt, the places are not
    drifts_ns: int | None = None  # when the still world last said so; None: it does not


class PositionWatch:
    """Takes word of fixes, and of the motion they should follow."""

    def __init__(self, memory: FaultMemory) -> None:
        self.motion: Motion | None = None  # as last said
        self._memory = memory
        self._doubt: _Doubt | None = None
        self._motion_ns: int | None = None
        self._fix: Fix | None = None
        self._fix_time: tuple[int, int] | None = None  # heard, said: when the said time last moved
        self._fix_moved_ns: int | None = None
        self._no_fix_ns: int | None = None
        self._way = OwnWay()

    def begin_again(self) -> None:
        """After a jump of the clock."""
        self._fix = self._fix_time = self._doubt = self._motion_ns = None
        self._fix_moved_ns = self._no_fix_ns = None
        self._way = OwnWay()

    def no_fix(self, now_ns: int) -> None:
        """The receiver says it has no position."""
        self._memory.heard("position", now_ns)
        if self._no_fix_ns is None:
            self._no_fix_ns = self._fix[0] if self._fix is not None else now_ns

    def mistimed(self, now_ns: int, *, is_ahead: bool) -> None:
        """Take note of a fix that says a time which is not now, and so was not used."""
        self._memory.heard("position", now_ns)
        self._memory.hold("position", "jumped" if is_ahead else "stale", now_ns)

    def position(self, now_ns: int, said_ns: int | None, lat_deg: float, lon_deg: float) -> None:
        """Take note of a fix; ``said_ns``: its own time."""
        self._memory.heard("position", now_ns)
        self._no_fix_ns = None
        if said_ns is not None and (self._fix_time is None or said_ns != self._fix_time[1]):
            self._fix_time = (now_ns, said_ns)
        last = self._fix
        at_ns = said_ns if said_ns is not None else now_ns
        if last is not None and at_ns == last[0]:
            return
        if last is None or (lat_deg, lon_deg) != last[1:]:
            self._fix_moved_ns = now_ns
        self._fix = (at_ns, lat_deg, lon_deg)
        if last is not None and self._is_jump(last, at_ns, lat_deg, lon_deg):
            self._distrust(now_ns, last, self.motion)
        if self._way.fix(at_ns, lat_deg, lon_deg, self.motion):
            self._distrust(now_ns, last, self.motion)
            if self._doubt is not None:
                self._doubt.is_of_motion = True
        self._look_back(now_ns, at_ns)

    def motion_said(self, now_ns: int, course_rad: float | None, speed: float | None) -> None:
        """Take note of course and speed over the ground."""
        before, before_ns = self.motion, self._motion_ns
        if speed is None:
            self.motion = None
            return
        # A receiver at rest says no course.
        self.motion = None if course_rad is None else (course_rad, speed)
        if before is not None and before_ns is not None:
            elapsed = max(now_ns - before_ns, 0) / NS_PER_S
            if abs(speed - before[1]) > SPEED_STEP + SPEED_STEP_MPS2 * elapsed and elapsed < SILENT_S:
                self._distrust(now_ns, self._fix, before)
        if course_rad is not None:
            self._motion_ns = now_ns

    def drifts(self, now_ns: int, since_ns: int) -> None:
        """Take note that the place drifts against what stands still."""
        if self._doubt is None:
            self._doubt = _Doubt(since_ns, now_ns, self._fix, self.motion, state="damaged")
        self._doubt.drifts_ns = self._doubt.steady_ns = now_ns

    def still_world_says(self, now_ns: int, *, is_back: bool, stands: bool) -> None:
        """Take note of a turn after that: is the place again where it would be, or does it drift no more?"""
        doubt = self._doubt
        if doubt is not None and doubt.drifts_ns is not None:
            doubt.steady_ns, doubt.drifts_ns = now_ns, None if stands else now_ns
            self._end_doubt(is_back)

    @property
    def is_doubted(self) -> bool:
        """Whether the receiver is not believed."""
        return self._doubt is not None

    @property
    def is_motion_doubted(self) -> bool:
        """Whether course and speed are not believed, so that nothing can be carried on by them."""
        return self._doubt is not None and self._doubt.is_of_motion

    def _is_adrift(self, now_ns: int) -> bool:
        spoke_ns = None if self._doubt is None else self._doubt.drifts_ns
        return spoke_ns is not None and now_ns - spoke_ns <= STILL_WORLD_S * NS_PER_S

    def carried(self, now_ns: int, lat_deg: float, lon_deg: float, sigma_m: float) -> None:
        """Take note of where radar and chart, without the receiver, have the boat."""
        doubt, fix = self._doubt, self._fix
        if doubt is None or fix is None or now_ns - fix[0] > SILENT_S * NS_PER_S or self._is_adrift(now_ns):
            return
        off = _off_m((fix[0], fix[1], fix[2]), self.motion, now_ns, lat_deg, lon_deg)
        if off <= CARRIED_M + 3.0 * sigma_m:
            doubt.n_carried += 1
            self._end_doubt(doubt.n_carried >= CARRIED_TURNS)
        else:
            doubt.n_carried, doubt.steady_ns = 0, now_ns

    def beside(self, now_ns: int, lat_deg: float, lon_deg: float) -> None:
        """Take note of a fix of another receiver."""
        doubt, fix = self._doubt, self._fix
        if doubt is None or fix is None or now_ns - fix[0] > SILENT_S * NS_PER_S or self._is_adrift(now_ns):
            return
        is_near = _off_m(fix, self.motion, now_ns, lat_deg, lon_deg) <= BESIDE_M
        doubt.n_beside = doubt.n_beside + 1 if is_near else 0
        self._end_doubt(doubt.n_beside >= BESIDE_FIXES)

    def _distrust(self, now_ns: int, fix: Fix | None, motion: Motion | None) -> None:
        if self._doubt is None:
            self._doubt = _Doubt(now_ns, now_ns, fix, motion)
        self._doubt.steady_ns, self._doubt.n_carried, self._doubt.n_beside = now_ns, 0, 0

    def _look_back(self, now_ns: int, at_ns: int) -> None:
        """End a doubt where the newest fix is what the old ones led to, or nothing has spoken against it for long."""
        doubt, fix = self._doubt, self._fix
        if doubt is None or fix is None or self._is_adrift(now_ns):
            return
        if doubt.is_of_motion:
            self._end_doubt(True)
            return
        since_s = 0.0 if doubt.fix is None else (at_ns - doubt.fix[0]) / NS_PER_S
        is_back = False
        if doubt.fix is not None and since_s <= BACK_WITHIN_S and self._goes_as(doubt.motion):
            is_back = _off_m(doubt.fix, doubt.motion, at_ns, fix[1], fix[2]) <= BACK_M + BACK_M_S * since_s
        doubt.n_back = doubt.n_back + 1 if is_back else 0
        self._end_doubt(doubt.n_back >= BACK_FIXES or now_ns - doubt.steady_ns > DOUBT_S * NS_PER_S)

    def _goes_as(self, before: Motion | None) -> bool:
        """Return whether the boat is said to go as she went."""
        was, now = before or (0.0, 0.0), self.motion or (0.0, 0.0)
        east = now[1] * math.sin(now[0]) - was[1] * math.sin(was[0])
        north = now[1] * math.cos(now[0]) - was[1] * math.cos(was[0])
        return math.hypot(east, north) <= BACK_MPS

    def _end_doubt(self, is_over: bool) -> None:
        if is_over and not (self._fix is not None and self._way.is_contradicted(self._fix[0])):
            self._doubt = None

    def fault(self, now_ns: int) -> Fault | None:
        """Return what is wrong with the position at a time."""
        silent = self._memory.silent("position", now_ns, SILENT_S)
        if silent is not None:
            return silent
        limit = SILENT_S * NS_PER_S
        if self._no_fix_ns is not None:
            return Fault("position", "stale", self._no_fix_ns)
        if self._fix_time is not None and now_ns - self._fix_time[0] > limit:
            return Fault("position", "stale", self._fix_time[0])
        moving = self.motion is not None and self.motion[1] > UNDER_WAY_MPS
        if moving and self._fix_moved_ns is not None and now_ns - self._fix_moved_ns > limit:
            return Fault("position", "frozen", self._fix_moved_ns)
        if self._doubt is not None:
            return Fault("position", self._doubt.state, self._doubt.since_ns)
        return self._memory.held("position", now_ns)

    def _is_jump(self, last: Fix, at_ns: int, lat_deg: float, lon_deg: float) -> bool:
        elapsed = (at_ns - last[0]) / NS_PER_S
        if elapsed < 0.0:
            return False  # late; its own series puts it in its place
        return _off_m(last, self.motion, at_ns, lat_deg, lon_deg) > JUMP_M + JUMP_MPS * elapsed


def _off_m(fix: Fix, motion: Motion | None, at_ns: int, lat_deg: float, lon_deg: float) -> float:
    """Return how far a place is from where a fix leads to by a time."""
    # On a sphere: a jump is told from none to a metre, not to a millimetre.
    north = math.radians(lat_deg - fix[1]) * EARTH_MEAN_RADIUS_M
    east = math.remainder(math.radians(lon_deg - fix[2]), TAU) * EARTH_MEAN_RADIUS_M * math.cos(math.radians(lat_deg))
    course, speed = motion if motion is not None else (0.0, 0.0)
    ahead = min((at_ns - fix[0]) / NS_PER_S, 60.0) * speed
    return math.hypot(east - ahead * math.sin(course), north - ahead * math.cos(course))
