"""Where the antenna is, by what a screen has painted anew from frame to frame.

    changed cells by direction       |....|######|..........|     #: painted since the frame before
                                     edge before  edge now

Rules of this file:
- Directions are the screen's own, clockwise from its up; what turns with the bow would look painted anew.
- A sweep is believed when three arcs in a row join end to beginning at one speed; until then nothing is handed on.
- From then on each arc begins where the last one ended: no direction is handed on twice in a turn, none left out.
- Where a frame brings too little change, its arc is left to the next frame: a screen that stands still gives nothing.
- A picture that is painted all at once is told by frames that bring far more change than the others.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.units import NS_PER_S

Floats = NDArray[np.float64]

# Directions told apart: 1.4 degrees, 10 ms of an antenna that turns in 2.5 s.
BLOCKS = 256
# Fewer changed cells than this in a whole frame are the camera's grain.
LEAST_CHANGED = 12
# Arcs that join: so near of end and beginning, and of their speeds, as shares of a turn and of each other.
JOINT, SAME_SPEED, IN_A_ROW = 0.04, 0.35, 3
# A frame may bring so much of a turn; with more, nobody can say how often the antenna went round.
MOST_OF_TURN = 0.8
# What one direction may say for or against having been painted, and how far a speed may change from frame to frame.
MOST_SAID, SPEED_SLACK = 3.0, 0.06
# Changes beyond the arc in so many directions are not the sweep's; so many such frames end it.
BEYOND, MOST_DOUBTS = 0.25, 3
# A narrower arc is no sweep's: a line that flickers.  An antenna turns in ten seconds at the slowest.
NARROWEST, SLOWEST = 0.05, 0.1
LEARN_PAINTED, LEARN_IDLE = 0.4, 0.2
# Frames looked at before a picture is taken to be painted at once, and how much more change such a painting brings.
FRAMES_SOUGHT, MANY_TIMES = 7, 4.0
LONGEST_STEP_S = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Painted:
    """What was painted: directions in the order of painting, (n,) of ``n_row``, and when each was, Unix nanoseconds."""

    rows: NDArray[np.intp]
    time_ns: NDArray[np.int64]
    time_sigma_s: float


class Sweep:
    """Follows one screen.  Give it every frame's changes, in order."""

    def __init__(self) -> None:
        self._edge: int | None = None  # block where the next arc begins; None: no sweep is known
        self._edge_ns = 0
        self._rate = 0.0  # blocks a second
        self._painted = np.zeros(BLOCKS)  # changed cells of a direction when the sweep passes, and when it does not
        self._idle = np.zeros(BLOCKS)
        self._doubts = 0
        self._arcs: list[tuple[int, int, float]] = []  # first block, blocks, seconds
        self._totals: deque[float] = deque(maxlen=10)
        self._sought = 0
        self._last_ns: int | None = None

    @property
    def is_turning(self) -> bool:
        """Whether a sweep is known."""
        return self._edge is not None

    def step(self, changed: NDArray[np.int64], now_ns: int) -> Painted | None:
        """Take in how many cells of each direction have changed since the frame before, (n_row,).

        Return what was painted; None while that is not known, or nothing was.
        """
        last_ns, self._last_ns = self._last_ns, now_ns
        blocks = changed.reshape(BLOCKS, -1).sum(axis=1).astype(np.float64)
        if last_ns is None or now_ns - last_ns > LONGEST_STEP_S * NS_PER_S:
            self._edge = None
            self._arcs.clear()
            return None
        if blocks.sum() < LEAST_CHANGED:
            return None
        if self._edge is not None:
            return self._follow(blocks, now_ns, changed.size)
        return self._seek(blocks, last_ns, now_ns, changed.size)

    def _seek(self, blocks: Floats, last_ns: int, now_ns: int, n_row: int) -> Painted | None:
        self._sought += 1
        self._totals.append(float(blocks.sum()))
        step_s = (now_ns - last_ns) / NS_PER_S
        arc = arc_of(blocks)
        if arc is None:
            self._arcs.clear()
        else:
            first, many = arc
            if self._arcs and not self._joins(self._arcs[-1], first, many / step_s):
                self._arcs.clear()
            self._arcs.append((first, many, step_s))
            if len(self._arcs) >= IN_A_ROW:
                self._begin(blocks, now_ns)
                return None
        if self._sought < FRAMES_SOUGHT or blocks.sum() < MANY_TIMES * max(float(np.percentile(self._totals, 40)), 3.0):
            return None
        rows = np.arange(n_row)
        times = last_ns + np.round(np.linspace(0.0, 1.0, n_row) * (now_ns - last_ns)).astype(np.int64)
        return Painted(rows, times, 0.5 * step_s)

    @staticmethod
    def _joins(before: tuple[int, int, float], first: int, speed: float) -> bool:
        off = (first - before[0] - before[1] + BLOCKS // 2) % BLOCKS - BLOCKS // 2
        was = before[1] / before[2]
        return abs(off) <= JOINT * BLOCKS and abs(speed - was) <= SAME_SPEED * was

    def _begin(self, blocks: Floats, now_ns: int) -> None:
        """A sweep is known from here on."""
        first, many, _ = self._arcs[-1]
        self._edge, self._edge_ns = (first + many) % BLOCKS, now_ns
        start, taken = self._arcs[0], sum(s for _, _, s in self._arcs[1:])
        # From the end of the first arc to the end of the last: their own ends are told better than their lengths.
        turned = (first + many - start[0] - start[1]) % BLOCKS
        self._rate = turned / taken
        inside = np.zeros(BLOCKS, np.bool_)
        inside[(first + np.arange(many)) % BLOCKS] = True
        self._painted[:] = max(float(np.mean(np.minimum(blocks[inside], _cap(blocks)))), 1.0)
        self._idle[:] = max(float(np.mean(np.minimum(blocks[~inside], _cap(blocks)))), 0.05)
        self._doubts = 0
        self._arcs.clear()
        self._totals.clear()
        self._sought = 0

    def _follow(self, blocks: Floats, now_ns: int, n_row: int) -> Painted | None:
        assert self._edge is not None
        due = self._rate * (now_ns - self._edge_ns) / NS_PER_S
        if due > MOST_OF_TURN * BLOCKS:
            self._edge = None
            return None
        order = (self._edge + np.arange(BLOCKS)) % BLOCKS
        said = self._said(blocks)[order]
        least, most = max(round(0.5 * due) - 1, 1), min(round(1.5 * due) + 2, BLOCKS - 1)
        ends = np.arange(least, most + 1)
        for_end = np.concatenate([[0.0], np.cumsum(said)])[ends] * 2.0
        expected = 0.5 * ((ends - due) / (SPEED_SLACK * due + 1.0)) ** 2
        many = int(ends[np.argmax(for_end - expected)])
        beyond = said[many + 3 : BLOCKS - 2]
        if beyond.size and float(np.mean(beyond > 0.0)) > BEYOND:
            self._doubts += 1
            if self._doubts >= MOST_DOUBTS:
                self._edge = None
                return None
            many = max(round(due), 1)
        else:
            self._doubts = 0
            self._learn(blocks, order, many)
            if self._rate < SLOWEST * BLOCKS:
                self._edge = None
                return None
            self._rate += 0.2 * (many * NS_PER_S / (now_ns - self._edge_ns) - self._rate)
        per = n_row // BLOCKS
        rows = (self._edge * per + np.arange(many * per)) % n_row
        share = (np.arange(many * per) + 0.5) / (many * per)
        times = self._edge_ns + np.round(share * (now_ns - self._edge_ns)).astype(np.int64)
        self._edge, self._edge_ns = (self._edge + many) % BLOCKS, now_ns
        return Painted(rows, times, max(1.5 / self._rate, 0.03))

    def _said(self, blocks: Floats) -> Floats:
        """Return for each direction how much its changes speak for its having been painted: a log ratio of chances."""
        painted, idle = np.maximum(self._painted, 0.3), np.maximum(self._idle, 0.05)
        painted = np.maximum(painted, 2.0 * idle)
        out: Floats = np.clip(blocks * np.log(painted / idle) - (painted - idle), -MOST_SAID, MOST_SAID)
        return out

    def _learn(self, blocks: Floats, order: NDArray[np.intp], many: int) -> None:
        held = np.minimum(blocks, _cap(blocks))
        inside, outside = order[1 : many - 1], order[many + 1 : BLOCKS - 1]
        self._painted[inside] += LEARN_PAINTED * (held[inside] - self._painted[inside])
        self._idle[outside] += LEARN_IDLE * (held[outside] - self._idle[outside])


def _cap(blocks: Floats) -> float:
    """Return what one direction counts at the most: one strong shore is not the whole sweep."""
    there = blocks[blocks > 0]
    return 3.0 * float(np.median(there)) if there.size else 1.0


def arc_of(blocks: Floats) -> tuple[int, int] | None:
    """Return (first block, number of blocks) of the arc that was painted; None where what has changed is no one arc.

    The antenna turns clockwise, so the arc's first block was painted first.
    """
    n = blocks.size
    if not blocks.any():
        return None
    # Half of what the direction has in which the middle one of all changes lies: grain, however wide, has less.
    rising = np.sort(blocks)
    level = 0.5 * float(rising[np.searchsorted(np.cumsum(rising), 0.5 * rising.sum())])
    worth = np.minimum(blocks / level, 1.0) - 0.25
    double = np.concatenate([[0.0], np.cumsum(np.concatenate([worth, worth]))])
    longest = round(MOST_OF_TURN * n)
    best = max(
        ((float(np.max(double[many : many + n] - double[:n])), many) for many in range(1, longest + 1)),
        key=lambda found: found[0],
    )  # fmt: skip
    many = best[1]
    first = int(np.argmax(double[many : many + n] - double[:n])) % n
    inside = np.zeros(n, np.bool_)
    inside[(first + np.arange(many)) % n] = True
    is_lit = np.minimum(blocks / level, 1.0) > 0.25
    # All round alike is no arc.
    if not NARROWEST * n <= many < longest or np.mean(is_lit[inside]) < 0.5 or np.mean(is_lit[~inside]) > BEYOND:
        return None
    return first, many
