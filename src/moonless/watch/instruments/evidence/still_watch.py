"""Whether position and heading go with what stands still about the boat: a radar sees its own boat's motion.

Rules of this file:
- Turns are held against one another, some seconds apart: a heading shows in two steps on end, a position over a longer
  way, for a receiver wanders by itself.
- A heading that turns against the still world is told first; while it does, nothing is said of the position.
- A bearing that is out by a steady angle makes the still world drift across the boat's way by that angle of the way
  made good: 10 m in as many seconds at 25 knots and 4 degrees.  So much is no drift of the position.
- What was found goes on adding up until it is gone: trust comes back when place and heading are again what they would
  be had nothing happened.  Where the error stays and grows no more, this watch has no more to say of it.

The figures come from `design/still_world.py`.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from moonless.echo.still_world import Against, Laid, against, lay
from moonless.echo.types import Plots
from moonless.scan.types import Scan
from moonless.units import NS_PER_S
from moonless.watch.instruments.evidence.steady_bearing import SteadyBearing
from moonless.watch.instruments.heading_watch import HeadingWatch
from moonless.watch.instruments.position_watch import PositionWatch

Floats = NDArray[np.float64]

# Turns are looked at so far apart, and steps no longer than this are steps.
EVERY_S, MOST_STEP_S = 2.0, 8.0
# What a position is held against is so old.
BASE_S = (9.0, 14.0)
# A word of the still world needs so many echoes that bear it out, and such a share of all.
LEAST_PAIRED, LEAST_SHARE, MOST_SIGMA_M = 5.0, 0.12, 6.0
# A heading: of two steps on end, each and both; and one so great that it needs no second.
STEP_RAD, TURNED_RAD, LEAP_RAD = math.radians(0.8), math.radians(3.0), math.radians(8.0)
# With it the place moves no farther than this: a turn and a shift together fit what goes with the boat, her wash and
# the rings of her own side lobes.
MOST_ASIDE_M = 15.0
# A position: each of two words on end, their mean, how far they may differ, for a drift goes one way; and one that is
# no drift any more.
EACH_M, DRIFTED_M, ALIKE_M, STANDS_M, STANDS_TURNS = 6.0, 8.0, 10.0, 4.0, 3
# So many times as many echoes must bear the shift, or the turn, out as bear out none.
OUTVOTED = 1.4
# A doubt is begun by no fewer echoes than these, and by so many times what chance pairs: where the sea's strays and
# what moves are most of a turn, some shift or turn always brings a handful of them together.
LEAST_BEGUN, OVER_CHANCE = 8.0, 3.0
# A steady angle by which heading and bearings may be out: what registration looks for.  It is known once it has shown
# in so many words over a way so long, and then is the mean of so many; a word that leaves more than this teaches
# nothing.  Own figures.
MOST_BIAS_RAD, BIAS_WAY_M, BIAS_WORDS, BIAS_MEAN_OF, BIAS_LEFT_M = math.radians(5.0), 40.0, 3, 20, 3.0
# Back, so near and so often on end; errors add up by so much a second.
BACK_M, BACK_MPS, BACK_TURNS = 7.0, 0.1, 2


@dataclass(frozen=True, slots=True, eq=False)
class _Kept:
    laid: Laid
    off_m: Floats  # (2,) of the position, as far as it has been found


@dataclass(slots=True)
class _Heading:
    step_rad: float | None = None  # of the last step
    off_rad: float | None = None  # while it is in doubt
    n_back: int = 0
    n_standing: int = 0


@dataclass(slots=True)
class _Position:
    shift_m: Floats | None = None  # the last word
    bias_rad: float = 0.0  # steady error of bearings, clockwise, as far as the still world has shown it
    n_bias: int = 0  # words that have shown it
    since_ns: int | None = None  # while it is in doubt
    n_back: int = 0
    n_standing: int = 0


@dataclass(slots=True)
class StillWatch:
    """Takes in the echoes of turns; tells the watches of position and heading what they show."""

    position: PositionWatch
    heading: HeadingWatch
    _from_ns: int = 0
    _kept: deque[_Kept] = field(default_factory=deque)
    _of_heading: _Heading = field(default_factory=_Heading)
    _of_position: _Position = field(default_factory=_Position)
    bearing: SteadyBearing = field(default_factory=SteadyBearing)

    def begin_again(self, now_ns: int = 0) -> None:
        """Nothing seen before ``now_ns`` can be compared with what comes: another clock, scale, source or bow mark."""
        self._from_ns = now_ns
        self._kept.clear()
        self._of_heading, self._of_position, self.bearing = _Heading(), _Position(), SteadyBearing()

    def turn(self, scan: Scan, plots: Plots) -> None:
        """Take in the echoes of a turn; ``scan`` bears the pose as it was reported."""
        if int(scan.time_ns.min()) < self._from_ns:
            return
        if (self.heading.is_doubted and self._of_heading.off_rad is None) or (
            self.position.is_doubted and self._of_position.since_ns is None
        ):
            # A leap, found by others, is ended by their evidence; what is laid meanwhile is laid wrongly.
            self.begin_again(scan.end_ns)
            return
        last = self._kept[-1].laid if self._kept else None
        if last is not None and not 0 <= scan.end_ns - last.time_ns <= BASE_S[1] * NS_PER_S:
            self.begin_again()
            last = None
        if last is not None and scan.end_ns - last.time_ns < EVERY_S * NS_PER_S:
            return
        now = lay(scan, plots, None if last is None else last.frame)
        if now is None:
            return
        if last is not None:
            self._hold_heading(last, now)
        while self._kept and now.time_ns - self._kept[0].laid.time_ns > BASE_S[1] * NS_PER_S:
            self._kept.popleft()
        self._kept.append(_Kept(now, self._hold_position(now)))

    def _hold_heading(self, before: Laid, now: Laid) -> None:
        mine, is_step = self._of_heading, now.time_ns - before.time_ns <= MOST_STEP_S * NS_PER_S
        said = _worth(against(before, now)) if is_step else None
        last, mine.step_rad = mine.step_rad, None if said is None else said.turned_rad
        if said is None:
            mine.off_rad = None
            return
        if mine.off_rad is not None:
            mine.off_rad += said.turned_rad
            mine.n_back = mine.n_back + 1 if abs(mine.off_rad) < TURNED_RAD else 0
            mine.n_standing = mine.n_standing + 1 if abs(said.turned_rad) < STEP_RAD else 0
            is_back, stands = mine.n_back >= BACK_TURNS, mine.n_standing >= STANDS_TURNS
            self.heading.still_world_says(now.time_ns, is_back=is_back, stands=stands)
            if is_back or stands:
                mine.off_rad = None
            return
        both = said.turned_rad + (last or 0.0)
        grows = last is not None and last * said.turned_rad > 0.0 and min(abs(last), abs(said.turned_rad)) > STEP_RAD
        is_far = (grows and abs(both) > TURNED_RAD) or abs(both) > LEAP_RAD
        is_alone = math.hypot(said.east_m, said.north_m) <= MOST_ASIDE_M
        if is_far and is_alone and said.paired >= OUTVOTED * said.as_told and _begins(said):
            mine.off_rad, mine.n_back, mine.n_standing = both, 0, 0
            began_ns = before.time_ns if len(self._kept) < 2 else self._kept[-2].laid.time_ns
            self.bearing = SteadyBearing()  # what the compass was out by it is out by no more
            self.heading.turns_alone(now.time_ns, began_ns, both)

    def _hold_position(self, now: Laid) -> Floats:
        """Return how far the position is off, as far as it has been found."""
        mine, none = self._of_position, np.zeros(2)
        is_old = bool(self._kept) and now.time_ns - self._kept[0].laid.time_ns >= BASE_S[0] * NS_PER_S
        base = self._kept[0] if is_old else None
        said = None if base is None else _worth(against(base.laid, now, may_turn=False))
        if base is None or said is None or abs(said.turned_rad) > TURNED_RAD or self.heading.is_doubted:
            mine.shift_m = None
            return none if mine.since_ns is None or not self._kept else self._kept[-1].off_m
        drifted, way = np.array([said.east_m, said.north_m]), now.own_m - base.laid.own_m
        if mine.since_ns is None and not self.position.is_doubted and said.paired >= OVER_CHANCE * said.chance:
            self.bearing.take_in(way, drifted)
        shift = self._less_bias(drifted, way)
        last, mine.shift_m = mine.shift_m, shift
        off: Floats = base.off_m + shift
        far = float(np.hypot(*shift))
        if mine.since_ns is not None:
            since_s = (now.time_ns - mine.since_ns) / NS_PER_S
            is_near = float(np.hypot(*off)) < BACK_M + BACK_MPS * since_s
            mine.n_back = mine.n_back + 1 if is_near else 0
            mine.n_standing = mine.n_standing + 1 if far < STANDS_M else 0
            is_back, stands = mine.n_back >= BACK_TURNS, mine.n_standing >= STANDS_TURNS
            self.position.still_world_says(now.time_ns, is_back=is_back, stands=stands)
            if is_back or stands:
                mine.since_ns = None
            return off
        if far < EACH_M or said.paired < OUTVOTED * said.unmoved or not _begins(said):
            mine.shift_m = None
            return none if far < EACH_M else off
        if last is not None and float(np.hypot(*last)) >= EACH_M and float(np.hypot(*(shift - last))) <= ALIKE_M:
            mean = float(np.hypot(*(0.5 * (shift + last))))
            if mean > max(DRIFTED_M, 2.0 * said.sigma_m):
                mine.since_ns, mine.n_back, mine.n_standing = base.laid.time_ns, 0, 0
                self.position.drifts(now.time_ns, base.laid.time_ns)
        return off

    def _less_bias(self, shift_m: Floats, way_m: Floats) -> Floats:
        """Return a shift less what a steady error of the bearings makes of the boat's way; learn that error."""
        mine, length = self._of_position, float(np.hypot(*way_m))
        if length < 1.0:
            return shift_m
        right = np.array([way_m[1], -way_m[0]]) / length
        angle = float(np.clip(-float(shift_m @ right) / length, -MOST_BIAS_RAD, MOST_BIAS_RAD))
        is_known = mine.n_bias >= BIAS_WORDS
        left: Floats = shift_m + (mine.bias_rad if is_known else angle) * length * right
        if length >= BIAS_WAY_M and float(np.hypot(*left)) < BIAS_LEFT_M and mine.since_ns is None:
            mine.n_bias = min(mine.n_bias + 1, BIAS_MEAN_OF)
            mine.bias_rad += (angle - mine.bias_rad) / mine.n_bias
        return left


def _worth(said: Against | None) -> Against | None:
    """Return a word if it rests on enough."""
    if said is None or said.paired < LEAST_PAIRED or said.share < LEAST_SHARE or said.sigma_m > MOST_SIGMA_M:
        return None
    return said


def _begins(said: Against) -> bool:
    """Whether a word is more than what chance says, so that it may begin a doubt."""
    return said.paired >= max(LEAST_BEGUN, OVER_CHANCE * said.chance)
