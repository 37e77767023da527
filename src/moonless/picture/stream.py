"""Frame after frame of one screen, as the spokes of a turning antenna.  No I/O.

    stream = PictureStream(told)
    out = stream.put(picture, time_ns)     out.spokes, out.errors, out.said

Rules of this file:
- Nothing is sent before everything that must be known is known, and nothing while it is in doubt.
- Only what the screen painted anew since the frame before is sent, with the times between the two: where the antenna
  has been is told by what has changed.  A picture that is painted all at once is sent as a whole turn.
- A picture that stands still is sent no more: a frozen screen is a silent radar, and the watch says so.
- Scope, bow and range are looked after in every frame.  Where the rings are gone from their places, or a figure that
  gave the range has changed and cannot be read, nothing is sent until it is found again.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from moonless.picture.geometry.edges import Picture
from moonless.picture.geometry.find import NoScope
from moonless.picture.lay import Layer
from moonless.picture.look import look
from moonless.picture.told import PictureErrors, Told
from moonless.picture.types import FoundScope, PictureScan
from moonless.picture.watch import RangeWatch, follow_bow, rings_hold
from moonless.scan.types import Spoke
from moonless.units import NS_PER_S

# Frames in a row that must fail before the scope is sought anew; the first of them is not sent.
LOST_FRAMES = 2
# A cell has changed when its strength has by so much of 255.
CHANGED = 70
# The arc that holds nearly all that has changed is the sweep's, if it is no more than this share of a turn.
SWEEP_SHARE, ARC_SHARE = 0.94, 0.8
BLOCKS = 128
# Fewer changed cells than this in a whole frame are the camera's grain; more of them in one arc are the sweep.
LEAST_CHANGED = 12
STILL_S = 4.0
LONGEST_STEP_S = 3.0


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
        self._last_ns: int | None = None
        self._sent_ns: int | None = None
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
            self._bow = follow_bow(unrolled, self.found, self._bow)
        scan = self._layer.lay_unrolled(unrolled, self._bow)
        out.scan = scan
        self._send(scan, time_ns, out)
        self._last, self._last_ns = scan, time_ns
        return out

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
        self._layer = None
        self._last = self._last_ns = self._sent_ns = self._changed_ns = None
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
        last, last_ns = self._last, self._last_ns
        n = scan.echo.shape[0]
        every = np.arange(n)
        if last is None or last_ns is None or last.range_m != scan.range_m or last.echo.shape != scan.echo.shape:
            # The first picture: all of it, as of one moment; how old each part of it is nobody knows.
            self._emit(scan, every, np.full(n, time_ns), 1.0, out)
            self._sent_ns = self._changed_ns = time_ns
            return
        moved = np.abs(scan.echo.astype(np.int16) - last.echo.astype(np.int16)) >= CHANGED
        moved &= scan.shown & last.shown
        by_block = moved.reshape(BLOCKS, n // BLOCKS, -1).sum(axis=(1, 2)).astype(np.float64)
        if by_block.sum() < LEAST_CHANGED:
            if self._changed_ns is not None and time_ns - self._changed_ns > STILL_S * NS_PER_S:
                self._say(out, "the screen stands still: nothing is sent")
            return
        self._changed_ns = time_ns
        step_s = (time_ns - (self._sent_ns if self._sent_ns is not None else last_ns)) / NS_PER_S
        begin_ns = time_ns - round(min(step_s, LONGEST_STEP_S) * NS_PER_S)
        self._sent_ns = time_ns
        arc = sweep_arc(by_block)
        if arc is None:
            rows, share = every, 0.5
        else:
            first, many = arc
            per = n // BLOCKS
            rows, share = (first * per + np.arange(many * per)) % n, 0.5 / max(many, 1)
        times = begin_ns + np.round(np.linspace(0.0, 1.0, rows.size) * (time_ns - begin_ns)).astype(np.int64)
        self._emit(scan, rows, times, max(share * step_s, 0.05), out)

    def _emit(
        self, scan: PictureScan, rows: NDArray[np.intp], times: NDArray[np.int64], time_sigma_s: float, out: StreamOut
    ) -> None:
        out.spokes = scan.spokes(times, rows, self._sequence)
        self._sequence += scan.echo.shape[0]
        out.errors = PictureErrors(scan.range_sigma_m, scan.azimuth_sigma_rad, time_sigma_s)


def sweep_arc(by_block: NDArray[np.float64]) -> tuple[int, int] | None:
    """Return (first block, number of blocks) of the shortest arc with nearly all that has changed; None: all round.

    The antenna turns clockwise, so the arc's first block was painted first.
    """
    n = by_block.size
    # A few stray cells must not stretch the arc.
    total = float(by_block.sum())
    double = np.concatenate([[0.0], np.cumsum(np.concatenate([by_block, by_block]))])
    for many in range(1, round(ARC_SHARE * n) + 1):
        held = double[many : many + n] - double[:n]
        first = int(np.argmax(held))
        if held[first] >= SWEEP_SHARE * total:
            return first, many
    return None
