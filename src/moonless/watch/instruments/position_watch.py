"""Whether the position can be believed: silence, no fix, an old or frozen one, one that jumped."""

from __future__ import annotations

import math

from moonless.constants import EARTH_MEAN_RADIUS_M, TAU
from moonless.reading.types import Fault
from moonless.units import NS_PER_S
from moonless.watch.instruments.fault_memory import FaultMemory

# Two missed sentences at the slowest usual rate, once a second.
SILENT_S = 2.5
# A fix further than this from where the boat must be has jumped: 50 m, and 5 m for each second since the last.
JUMP_M, JUMP_MPS = 50.0, 5.0
# A fix is held to be frozen when it stands still while the receiver says that the boat does not.
UNDER_WAY_MPS = 1.0


class PositionWatch:
    """Takes word of fixes, and of the motion they should follow."""

    def __init__(self, memory: FaultMemory) -> None:
        self.motion: tuple[float, float] | None = None  # course (rad) and speed (m/s) over the ground, as last said
        self._memory = memory
        self._fix: tuple[int, float, float] | None = None  # time, lat, lon
        self._fix_time: tuple[int, int] | None = None  # heard, said: when the said time last moved
        self._fix_moved_ns: int | None = None
        self._no_fix_ns: int | None = None

    def begin_again(self) -> None:
        """After a jump of the clock."""
        self._fix = self._fix_time = None
        self._fix_moved_ns = self._no_fix_ns = None

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
        if last is not None and self._is_jump(last, at_ns, lat_deg, lon_deg):
            self._memory.hold("position", "jumped", now_ns)
        self._fix = (at_ns, lat_deg, lon_deg)

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
        return self._memory.held("position", now_ns)

    def _is_jump(self, last: tuple[int, float, float], at_ns: int, lat_deg: float, lon_deg: float) -> bool:
        elapsed = (at_ns - last[0]) / NS_PER_S
        if elapsed < 0.0:
            return False  # late; its own series puts it in its place
        # On a sphere: a jump is told from none to a metre, not to a millimetre.
        north = math.radians(lat_deg - last[1]) * EARTH_MEAN_RADIUS_M
        east = (
            math.remainder(math.radians(lon_deg - last[2]), TAU) * EARTH_MEAN_RADIUS_M * math.cos(math.radians(lat_deg))
        )
        course, speed = self.motion if self.motion is not None else (0.0, 0.0)
        carried = min(elapsed, 60.0) * speed
        off = math.hypot(east - carried * math.sin(course), north - carried * math.cos(course))
        return off > JUMP_M + JUMP_MPS * elapsed
