"""Whether the heading can be believed: silence, one that jumped, one that stands still while the boat turns."""

from __future__ import annotations

import math
from collections import deque

from moonless.constants import TAU
from moonless.reading.types import Fault
from moonless.units import NS_PER_S
from moonless.watch.instruments.fault_memory import HOLD_S, FaultMemory
from moonless.watch.instruments.position_watch import SILENT_S

# Faster than a degree a millisecond a boat of 6 to 15 m does not turn: 30 degrees between two headings.
JUMP_RAD = math.radians(30.0)
JUMP_TURN_RATE = math.radians(60.0)
# A heading is held to be frozen when it stands still to the last digit while the boat turns by this much.
TURNED_RAD = math.radians(4.0)
# By the course over ground, where no rate of turn is said, more is asked: it wanders by itself.
COURSE_TURNED_RAD = math.radians(10.0)
COURSE_TELLS_MPS = 2.0


class HeadingWatch:
    """Takes word of headings, and of the turning they should follow."""

    def __init__(self, memory: FaultMemory) -> None:
        self._memory = memory
        self._headings: deque[tuple[int, float]] = deque(maxlen=64)
        self._heading_moved_ns: int | None = None
        self._turned_rad = 0.0
        self._course_turned_rad = 0.0
        self._turn: tuple[int, float] | None = None

    def begin_again(self) -> None:
        """After a jump of the clock."""
        self._turn = self._heading_moved_ns = None
        self._headings.clear()

    def course(self, now_ns: int, before: tuple[float, float] | None, after: tuple[float, float] | None) -> None:
        """Take note of (course, speed) over the ground, and of those before: how the boat turned, if nothing better
        says it."""
        has_turn_rate = self._turn is not None and now_ns - self._turn[0] < SILENT_S * NS_PER_S
        if not has_turn_rate and before is not None and after is not None:
            slow = min(before[1], after[1]) < COURSE_TELLS_MPS
            self._course_turned_rad += 0.0 if slow else math.remainder(after[0] - before[0], TAU)

    def heading(self, now_ns: int, heading_rad: float) -> None:
        """Take note of a heading."""
        self._memory.heard("heading", now_ns)
        if self._headings:
            then_ns, last = self._headings[-1]
            step = abs(math.remainder(heading_rad - last, TAU))
            elapsed = max(now_ns - then_ns, 0) / NS_PER_S
            if step > max(JUMP_RAD, JUMP_TURN_RATE * elapsed) and elapsed < HOLD_S:
                self._memory.hold("heading", "jumped", now_ns)
            if step > 0.0:
                self._heading_moved_ns, self._turned_rad, self._course_turned_rad = now_ns, 0.0, 0.0
        else:
            self._heading_moved_ns = now_ns
        self._headings.append((now_ns, heading_rad))

    def turning(self, now_ns: int, turn_rate: float) -> None:
        """Take note of the rate of turn: what the heading should have done."""
        if self._turn is not None:
            then_ns, rate = self._turn
            self._turned_rad += 0.5 * (rate + turn_rate) * min(max(now_ns - then_ns, 0) / NS_PER_S, 2.0)
        self._turn = (now_ns, turn_rate)

    def fault(self, now_ns: int) -> Fault | None:
        """Return what is wrong with the heading at a time."""
        silent = self._memory.silent("heading", now_ns, SILENT_S)
        if silent is not None:
            return silent
        moved = self._heading_moved_ns
        has_turned = abs(self._turned_rad) > TURNED_RAD or abs(self._course_turned_rad) > COURSE_TURNED_RAD
        if moved is not None and now_ns - moved > 1.5 * NS_PER_S and has_turned:
            return Fault("heading", "frozen", moved)
        return self._memory.held("heading", now_ns)
