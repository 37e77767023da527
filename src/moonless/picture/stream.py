"""Frame after frame of one screen, as the spokes of a turning antenna.  No I/O.

    stream = PictureStream(told)
    out = stream.put(picture, time_ns)     out.spokes, out.errors, out.said

Rules of this file:
- Nothing is sent before everything that must be known is known, and nothing while it is in doubt.
- Only what the screen painted anew since the frame before is sent, with the times between the two: where the antenna
  has been is told by what has changed (`sweep`).  A picture that is painted all at once is sent as a whole turn.
- What a screen showed when it was first looked at is of nobody knows when: it is not sent.
- A picture that stands still is sent no more: a frozen screen is a silent radar, and the watch says so.
- Scope, bow and range are looked after in every frame.  Where the rings are gone from their places, or a figure that
  gave the range has changed and cannot be read, nothing is sent until it is found again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.picture.geometry.edges import Picture
from moonless.picture.geometry.find import NoScope
from moonless.picture.lay import Layer
from moonless.picture.look import look
from moonless.picture.over.fixed import FixedMarks
from moonless.picture.sweep import LEAST_CHANGED, Sweep
from moonless.picture.told import PictureErrors, Told
from moonless.picture.types import FoundScope, PictureScan
from moonless.picture.watch import RangeWatch, follow_bow, rings_hold
from moonless.scan.types import Spoke
from moonless.units import NS_PER_S

# Frames in a row that must fail before the scope is sought anew; the first of them is not sent.
LOST_FRAMES = 2
# A cell has changed when its strength has by so much of 255; so near the heading line, cells, it changes by itself.
CHANGED, BESIDE_LINE = 40, 9.0
STILL_S = 4.0
# A heading line that moves by less than this is one that is not seen exactly: it is followed by a part of the way.
BOW_STILL_RAD, BOW_PART = 0.006, 0.15


@dataclass(slots=True)
class StreamOut:
    """What one frame has brought.  ``said``: plain lines for a person, each once."""

    spokes: list[Spoke] = field(default_factory=list)
    errors: PictureErrors | None = None
    said: list[str] = field(default_factory=list)
    scan: PictureScan | None = None


class PictureStream:
    """See the rules of this file.  One thread at a time."""

    def __init__(self, told: Told | None = None) -> None:
        self.told = told or Told()
        self.found: FoundScope | None = None
        self.n_frame = 0
        self._layer: Layer | None = None
        self._bow: float | None = None
        self._range: RangeWatch | None = None
        self._size = (0, 0)
        self._lost = 0
        self._last: PictureScan | None = None
        self._sweep = Sweep()
        self._fixed: FixedMarks | None = None
        self._changed_ns: int | None = None
        self._told_line = ""
        self._sequence = 0

    @property
    def is_reading(self) -> bool:
        """Whether a scope is found and everything about it is known."""
        return self._layer is not None

    def put(self, picture: Picture, time_ns: int) -> StreamOut:
        """Take in a frame, (height, width, 3) blue green red."""
        out = StreamOut()
        self.n_frame += 1
        size = (picture.shape[1], picture.shape[0])
        if self._layer is None or size != self._size:
            self._size = size
            self._look(picture, time_ns, out)
            if self._layer is None:
                return out
        assert self._layer is not None and self.found is not None
        unrolled = self._layer.unroller.unroll(picture)
        if not rings_hold(unrolled, self.found):
            self._lost += 1
            if self._lost >= LOST_FRAMES:
                self._forget()
                self._say(out, "the scope is not where it was: looking for it again")
            return out
        self._lost = 0
        if self._range is not None and not self._check_range(picture, out):
            return out
        if self._bow is not None:
            self._bow = self._steadied(self._bow, follow_bow(unrolled, self.found, self._bow))
        scan = self._without_marks(self._layer.lay_unrolled(unrolled, self._bow), time_ns)
        out.scan = scan
        self._send(scan, time_ns, out)
        self._last = scan
        return out

    def _without_marks(self, scan: PictureScan, time_ns: int) -> PictureScan:
        """Return a turn without what is drawn at one place of the screen: not received there."""
        beside = None if scan.from_north else on_screen(scan, _beside_line(scan.echo.shape))
        if self._fixed is None:
            self._fixed = FixedMarks((scan.echo.shape[0], scan.echo.shape[1]))
        covered = self._fixed.look(on_screen(scan, scan.echo), beside, time_ns)
        if not covered.any():
            return scan
        covered = np.roll(covered, -scan.first_row, axis=0)
        return replace(scan, echo=np.where(covered, 0, scan.echo).astype(np.uint8), shown=scan.shown & ~covered)

    @staticmethod
    def _steadied(last: float, now: float) -> float:
        off = math.remainder(now - last, TAU)
        return (last + (off if abs(off) > BOW_STILL_RAD else BOW_PART * off)) % TAU

    def _look(self, picture: Picture, time_ns: int, out: StreamOut) -> None:
        self._forget()
        try:
            found = look(picture, self.told)
        except NoScope as problem:
            self._say(out, str(problem))
            return
        self.found = found
        if found.asks:
            self._say(out, "must be told: " + "; ".join(found.asks))
            return
        self._layer = Layer.make(found)
        self._bow = found.bow_rad
        self._range = RangeWatch.make(picture, found)
        lines = f"{found.rings} rings; {'; '.join(found.notes)}"
        self._say(out, f"the scope is found: {lines}")

    def _forget(self) -> None:
        self._layer = self._fixed = None
        self._last = self._changed_ns = None
        self._lost = 0

    def _say(self, out: StreamOut, line: str) -> None:
        if line != self._told_line:
            self._told_line = line
            out.said.append(line)

    def _check_range(self, picture: Picture, out: StreamOut) -> bool:
        """Look at the figures that gave the range; return whether the range is known."""
        assert self._range is not None and self.found is not None
        news = self._range.look(picture, self.found)
        if news == "same":
            return True
        self._forget()
        if self.told.range_nm is not None:
            # What was told holds for the scale it was told of.
            self.told = Told(None, self.told.up, self.told.echo_at, self.told.not_echo_at)
        self._say(out, "the figures beside the scope have changed: reading the range again")
        self._look(picture, 0, out)
        return self._layer is not None

    def _send(self, scan: PictureScan, time_ns: int, out: StreamOut) -> None:
        last = self._last
        if last is None or last.range_m != scan.range_m or last.echo.shape != scan.echo.shape:
            self._sweep = Sweep()
            changed = np.zeros(scan.echo.shape[0], np.int64)
            self._changed_ns = time_ns
        else:
            changed = changed_rows(last, scan)
        painted = self._sweep.step(changed, time_ns)
        if int(changed.sum()) >= LEAST_CHANGED:
            self._changed_ns = time_ns
        elif self._changed_ns is not None and time_ns - self._changed_ns > STILL_S * NS_PER_S:
            self._say(out, "the screen stands still: nothing is sent")
        if painted is None:
            return
        rows = (painted.rows - scan.first_row) % scan.echo.shape[0]
        out.spokes = scan.spokes(painted.time_ns, rows, self._sequence)
        self._sequence += scan.echo.shape[0]
        out.errors = PictureErrors(scan.range_sigma_m, scan.azimuth_sigma_rad, painted.time_sigma_s)


def changed_rows(last: PictureScan, scan: PictureScan) -> NDArray[np.int64]:
    """Return how many cells have changed in each direction of the screen, (n_spoke,), clockwise from its up."""
    moved = np.abs(on_screen(scan, scan.echo).astype(np.int16) - on_screen(last, last.echo)) >= CHANGED
    moved &= on_screen(scan, scan.shown) & on_screen(last, last.shown)
    if not scan.from_north:
        beside = _beside_line(moved.shape)
        for first in {last.first_row, scan.first_row}:
            moved &= ~np.roll(beside, first, axis=0)
    counts: NDArray[np.int64] = moved.sum(axis=1, dtype=np.int64)
    return counts


@lru_cache(maxsize=2)
def _beside_line(shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Return what lies beside a line along row 0."""
    angle = (np.arange(shape[0]) / shape[0] + 0.5) % 1.0 * TAU - 0.5 * TAU
    along = np.arange(1.0, shape[1] + 1.0)
    beside: NDArray[np.bool_] = (np.abs(np.sin(angle))[:, None] * along < BESIDE_LINE) & (np.cos(angle) > 0.0)[:, None]
    return beside


def on_screen(scan: PictureScan, values: NDArray[Any]) -> NDArray[Any]:
    """Return a scan's rows in the screen's own directions."""
    return np.roll(values, scan.first_row, axis=0)
