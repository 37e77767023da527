"""Whether the heading can be believed: silence, one that jumped, one that stands still while the boat turns, one that
leaves the course over the ground, or turns against all that stands still about the boat (`still_watch`).

A heading that leapt, or went its own way, is in doubt until evidence ends that: it is again what it would be had the
boat turned as the rate of turn, or her course, says; or it goes with the course over the ground for some seconds.
While the still world speaks against it nothing else speaks for it.
Where nothing could tell, a long time without another leap ends it.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from moonless.constants import TAU
from moonless.reading.line import FaultState
from moonless.reading.types import Fault
from moonless.units import NS_PER_S
from moonless.watch.instruments.fault_memory import HOLD_S, FaultMemory
from moonless.watch.instruments.position_watch import SILENT_S, STILL_WORLD_S

# Two headings a tenth of a second apart differ by what a boat turns, 60 degrees a second at the most, or by this, which
# is more than any compass swings between two words.  Own choice.
JUMP_RAD = math.radians(15.0)
JUMP_TURN_RATE = math.radians(60.0)
# A heading is held to be frozen when it stands still to the last digit while the boat turns by this much.
TURNED_RAD = math.radians(4.0)
# By the course over ground, where no rate of turn is said, more is asked: it wanders by itself.
COURSE_TURNED_RAD = math.radians(10.0)
COURSE_TELLS_MPS = 2.0
# How far heading and course may part by a stream or wind across of so much, and by the errors of both; what is more for
# so long is an error of the heading.  A receiver's course is good to a degree or two at these speeds.
ACROSS_MPS, PARTS_RAD, PARTS_S = 1.5, math.radians(5.0), 2.0
LEAVES_MPS = 3.0
# Share of each word by which the usual leeway follows: a receiver speaks once a second, a stream lasts minutes.
LEEWAY_SHARE = 0.05
# A heading that is back lies so near to where the boat would have turned, and longer is not said where that is.
BACK_RAD, BACK_RAD_S, BACK_WITHIN_S, BACK_S = math.radians(8.0), math.radians(0.2), 20.0, 0.5
# A heading that goes with the course so nearly, for so long, is one again.
GOES_WITH_RAD, GOES_WITH_S = math.radians(10.0), 5.0
DOUBT_S = 60.0


@dataclass(slots=True)
class _Doubt:
    """A heading that is not believed: since when, how it showed, and the last that was."""

    state: FaultState
    since_ns: int
    steady_ns: int  # of the last leap, or the last word of the course against it
    heading_rad: float
    turned_rad: float = 0.0  # since then, by the rate of turn or the course
    back_ns: int | None = None
    with_course_ns: int | None = None
    alone_ns: int | None = None  # when the still world last spoke against it; None: it never did


class HeadingWatch:
    """Takes word of headings, and of the turning they should follow."""

    def __init__(self, memory: FaultMemory) -> None:
        self._memory = memory
        self._headings: deque[tuple[int, float]] = deque(maxlen=64)
        self._heading_moved_ns: int | None = None
        self._turned_rad = 0.0
        self._course_turned_rad = 0.0
        self._turn: tuple[int, float] | None = None
        self._doubt: _Doubt | None = None
        self._parted_ns: int | None = None
        self._leeway_rad: float | None = None  # course less heading, while they go together

    def begin_again(self) -> None:
        """After a jump of the clock."""
        self._turn = self._heading_moved_ns = self._doubt = self._parted_ns = self._leeway_rad = None
        self._headings.clear()

    def course(self, now_ns: int, before: tuple[float, float] | None, after: tuple[float, float] | None) -> None:
        """Take note of (course, speed) over the ground, and of those before: how the boat turned, if nothing better
        says it."""
        has_turn_rate = self._turn is not None and now_ns - self._turn[0] < SILENT_S * NS_PER_S
        if not has_turn_rate and before is not None and after is not None:
            slow = min(before[1], after[1]) < COURSE_TELLS_MPS
            turned = 0.0 if slow else math.remainder(after[0] - before[0], TAU)
            self._course_turned_rad += turned
            if self._doubt is not None:
                self._doubt.turned_rad += turned
        if after is not None and self._headings:
            self._hold_against_course(now_ns, *after)

    def heading(self, now_ns: int, heading_rad: float) -> None:
        """Take note of a heading."""
        self._memory.heard("heading", now_ns)
        if self._headings:
            then_ns, last = self._headings[-1]
            step = abs(math.remainder(heading_rad - last, TAU))
            elapsed = max(now_ns - then_ns, 0) / NS_PER_S
            if step > max(JUMP_RAD, JUMP_TURN_RATE * elapsed) and elapsed < HOLD_S:
                self._distrust("jumped", now_ns, now_ns, last)
            self._look_back(now_ns, heading_rad)
            if step > 0.0:
                self._heading_moved_ns, self._turned_rad, self._course_turned_rad = now_ns, 0.0, 0.0
        else:
            self._heading_moved_ns = now_ns
        self._headings.append((now_ns, heading_rad))

    def turning(self, now_ns: int, turn_rate: float) -> None:
        """Take note of the rate of turn: what the heading should have done."""
        if self._turn is not None:
            then_ns, rate = self._turn
            turned = 0.5 * (rate + turn_rate) * min(max(now_ns - then_ns, 0) / NS_PER_S, 2.0)
            self._turned_rad += turned
            if self._doubt is not None:
                self._doubt.turned_rad += turned
        self._turn = (now_ns, turn_rate)

    def turns_alone(self, now_ns: int, since_ns: int, off_rad: float) -> None:
        """Take note that the heading turns, by so much since then, and nothing that stands still does."""
        if self._headings:
            self._distrust("damaged", now_ns, since_ns, self._headings[-1][1] - off_rad)
            assert self._doubt is not None
            self._doubt.alone_ns = now_ns

    def still_world_says(self, now_ns: int, *, is_back: bool, stands: bool) -> None:
        """Take note of a turn after that: is the heading again what it would be, or does it turn no more?"""
        if self._doubt is not None and self._doubt.alone_ns is not None:
            self._doubt.steady_ns, self._doubt.alone_ns = now_ns, None if stands else now_ns
            if is_back:
                self._doubt = self._parted_ns = None

    @property
    def is_doubted(self) -> bool:
        """Whether the heading is not believed."""
        return self._doubt is not None

    def _is_alone(self, now_ns: int) -> bool:
        spoke_ns = None if self._doubt is None else self._doubt.alone_ns
        return spoke_ns is not None and now_ns - spoke_ns <= STILL_WORLD_S * NS_PER_S

    def fault(self, now_ns: int) -> Fault | None:
        """Return what is wrong with the heading at a time."""
        silent = self._memory.silent("heading", now_ns, SILENT_S)
        if silent is not None:
            return silent
        moved = self._heading_moved_ns
        has_turned = abs(self._turned_rad) > TURNED_RAD or abs(self._course_turned_rad) > COURSE_TURNED_RAD
        if moved is not None and now_ns - moved > 1.5 * NS_PER_S and has_turned:
            return Fault("heading", "frozen", moved)
        if self._doubt is not None:
            return Fault("heading", self._doubt.state, self._doubt.since_ns)
        return self._memory.held("heading", now_ns)

    def _hold_against_course(self, now_ns: int, course_rad: float, speed: float) -> None:
        """See whether the heading goes with the course over the ground, where the boat is fast enough to tell."""
        parts = math.remainder(course_rad - self._headings[-1][1], TAU)
        doubt = self._doubt
        if speed < LEAVES_MPS:
            self._parted_ns = None
            return
        if doubt is not None:
            if min(abs(parts), abs(parts - (self._leeway_rad or 0.0))) > GOES_WITH_RAD:
                doubt.with_course_ns = doubt.back_ns = None
                doubt.steady_ns = now_ns
            elif doubt.with_course_ns is None:
                doubt.with_course_ns = now_ns
            elif now_ns - doubt.with_course_ns > GOES_WITH_S * NS_PER_S and not self._is_alone(now_ns):
                self._doubt = self._parted_ns = None
            return
        if abs(parts) <= math.asin(min(1.0, ACROSS_MPS / speed)) + PARTS_RAD:
            self._parted_ns = None
            usual = parts if self._leeway_rad is None else self._leeway_rad
            self._leeway_rad = usual + LEEWAY_SHARE * (parts - usual)
        elif self._leeway_rad is None:
            return  # they never went together: it may be how the compass is fitted, and registration finds that
        elif self._parted_ns is None:
            self._parted_ns = now_ns
        elif now_ns - self._parted_ns >= PARTS_S * NS_PER_S:
            self._distrust("damaged", now_ns, self._parted_ns, course_rad - self._leeway_rad)

    def _distrust(self, state: FaultState, now_ns: int, since_ns: int, heading_rad: float) -> None:
        if self._doubt is None:
            self._doubt = _Doubt(state, since_ns, now_ns, heading_rad)
        self._doubt.steady_ns, self._doubt.with_course_ns = now_ns, None

    def _look_back(self, now_ns: int, heading_rad: float) -> None:
        """End a doubt where the heading is what the boat's turning led to, or nothing spoke against it for long."""
        doubt = self._doubt
        if doubt is None or self._is_alone(now_ns):
            return
        since_s = (now_ns - doubt.since_ns) / NS_PER_S
        off = abs(math.remainder(heading_rad - doubt.heading_rad - doubt.turned_rad, TAU))
        if since_s > BACK_WITHIN_S or off > BACK_RAD + BACK_RAD_S * since_s:
            doubt.back_ns = None
        elif doubt.back_ns is None:
            doubt.back_ns = now_ns
        is_back = doubt.back_ns is not None and now_ns - doubt.back_ns >= BACK_S * NS_PER_S
        if is_back or now_ns - doubt.steady_ns > DOUBT_S * NS_PER_S:
            self._doubt = None
