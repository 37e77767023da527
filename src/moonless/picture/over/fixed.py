"""What is drawn at one place of the screen and goes along with the boat: bearing lines, cursors, symbols.

Such a mark has a colour that echoes have as well, and over the ground it moves as the boat does: it would be told as a
vessel in company.  What gives it away is that it stays while all else goes by.

Rules of this file:
- Nothing is a mark before the picture itself has shown that the boat goes: its echoes, laid over those of some seconds
  before, fit better shifted than unshifted.  A boat that lies still learns none, and a buoy beside her stays an echo.
- A bearing line is told by its form, whether the boat goes or not: pieces in a row from the boat to the scope's edge,
  no wider far off than near by.  Whatever a beam sees is wider the farther off it is, and no row of it goes so far.
- A cell may be another mark's when it has been lit without a break for as long as it took the boat to go well past it.
- A mark is small against that way, and water is round it nearly all the time: what is left lit of a shore that slides
  by has lit cells round it.
- A mark has one strength and one edge, look after look.  A vessel in company stays where she is on the screen as well,
  but no two turns of the antenna show her alike.
- Beside the heading line nothing is learnt: what is met lies there.
- Under a mark the screen shows nothing: not received, never empty.  A mark that is gone is forgotten at once.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from moonless.constants import TAU
from moonless.units import NS_PER_S

Bools = NDArray[np.bool_]
Echo = NDArray[np.uint8]
Image = NDArray[np.float32]

# Frames are looked at so often; a boat at five knots goes a fiftieth of a mile in this.
EVERY_S = 1.0
# Side of the picture in which the boat's way is measured, and how far it must have moved, its pixels, to be counted.
SIDE, LEAST_SHIFT = 256, 2.5
# Shifted it must fit so well, and so much better than unshifted (correlation).  In 100 s of real video of a boat all
# but still the best shift was 0.9 pixels and fitted better by 0.06; of a made one that goes, by 0.4.
LEAST_FIT, BETTER = 0.35, 0.04
# A fit is sought again from a newer picture after this long: by then echoes have changed.
LONGEST_S = 60.0
# The boat has gone past a mark when she has gone so many cells, and so many times the mark's own length.
GONE_CELLS, GONE_TIMES = 12.0, 1.5
# A mark is no longer than this, cells; a shore is.  Own choice: a dash, a symbol, the arm of a cross.
LONGEST_CELLS = 28.0
# The cells round a mark may be lit so often: echoes pass there as anywhere.
RING_LIT = 0.3
# In a mark strength varies by no more (of 255, one standard deviation), and of the cells at its edge no more than such
# a share is lit at one look and not at the next.  In 40 s of real video marks that were drawn had 0 to 8 and, but where
# an echo touched them, 0 to 0.2; small echoes, buoys and vessels, 18 to 98 and 0.45 to 0.97.
STEADY, SHARP, OFTEN = 12.0, 0.3, (0.08, 0.92)
# What is lit now and then is learnt over so many looks; so many looks in a row without light end a mark.
MEMORY, MISSED = 16, 2


# A bearing line: as wide, cells (pixels), either side at the most; lit so long on end, looks; of the way on which it
# can be seen so much is lit, and so many of twelve stretches have some; that way is so much of the scope.  Own choice.
LINE_WIDE, LINE_LOOKS, LINE_LIT, LINE_SPREAD, LINE_FREE = 4.0, 20, 0.25, 0.75, 0.4
STRETCHES = 12
# Rows nearer than this are one line's; nearer to the boat than this share of the scope all lines run into one.
ONE_LINE_ROWS, LINE_FROM = 8, 0.08


class FixedMarks:
    """Learns the marks of one found screen.  Directions are the screen's own."""

    def __init__(self, shape: tuple[int, int]) -> None:
        self._since = np.full(shape, np.inf, np.float32)  # the boat's way, cells, when a cell was lit first of a run
        self._unlit = np.zeros(shape, np.uint8)  # looks without light, in a row
        self._lit = np.zeros(shape, np.uint8)  # looks since the run began
        self._often = np.zeros(shape, np.float32)  # how often it is lit
        self._strength = np.zeros((2, *shape), np.float32)  # mean and variance
        self._gone = 0.0  # the boat's way, cells
        self._marks = np.zeros(shape, np.bool_)
        self._covered = self._marks  # with the glow about them
        self._looked_ns: int | None = None
        self._before: tuple[int, Image] | None = None

    @property
    def gone_cells(self) -> float:
        """How far the boat has gone by the picture, cells."""
        return self._gone

    def look(self, echo: Echo, beside_line: Bools | None, time_ns: int) -> Bools:
        """Take in a frame, (n_spoke, n_cell) by the screen's directions; return the cells that marks cover.

        ``beside_line``: the cells beside the heading line, where nothing is learnt; None: there is none.
        """
        if self._looked_ns is not None and 0 <= time_ns - self._looked_ns < EVERY_S * NS_PER_S:
            return self._covered
        lit = echo > 0
        if beside_line is not None:
            lit &= ~beside_line
        self._unlit = np.where(lit, 0, np.minimum(self._unlit + 1, 250)).astype(np.uint8)
        over = self._unlit >= MISSED
        begins = lit & ~np.isfinite(self._since)
        self._since[begins] = self._gone
        self._since[over] = np.inf
        self._lit = np.where(over, 0, np.minimum(self._lit + 1, 250)).astype(np.uint8)
        self._often += (lit.astype(np.float32) - self._often) / MEMORY
        if self._looked_ns is None:
            self._strength[0] = echo
        off = echo - self._strength[0]
        self._strength[0] += off / MEMORY
        self._strength[1] += (off * off - self._strength[1]) / MEMORY
        self._looked_ns = time_ns
        self._marks &= ~over
        if self._has_gone(echo, time_ns):
            self._marks |= self._found()
        if int(self._lit.max()) >= LINE_LOOKS:
            self._marks |= self._lines()
        self._covered = _wider(self._marks) if self._marks.any() else self._marks
        return self._covered

    def _has_gone(self, echo: Echo, time_ns: int) -> bool:
        """Measure the boat's way; return whether more of it is known now."""
        seen = laid_out(np.where(self._marks, 0, echo).astype(np.uint8))
        if self._before is None:
            self._before = (time_ns, seen)
            return False
        shift = shift_between(self._before[1], seen)
        if shift is None or shift < LEAST_SHIFT:
            if time_ns - self._before[0] > LONGEST_S * NS_PER_S:
                self._before = (time_ns, seen)
            return False
        self._gone += shift * 2.0 * echo.shape[1] / SIDE
        self._before = (time_ns, seen)
        return True

    def _found(self) -> Bools:
        """Return the cells of all that stays while the boat goes by."""
        stays = self._gone - self._since >= GONE_CELLS  # inf: not lit
        out = np.zeros_like(stays)
        if not stays.any():
            return out
        # Twice round, so that a mark over the first row is one.
        n_row = stays.shape[0]
        labels, count = ndimage.label(np.concatenate([stays, stays]), np.ones((3, 3)))
        for number, at in enumerate(ndimage.find_objects(labels, count), 1):
            rows, columns = at
            if rows.start == 0 or rows.start >= n_row:
                continue  # cut, or met a second time
            part = labels[at] == number
            # One cell along a spoke is a pixel; across, as far as it lies from the centre.
            reach = 0.5 * (columns.start + columns.stop)
            length = float(np.hypot(columns.stop - columns.start, (rows.stop - rows.start) * reach * TAU / n_row))
            if length > LONGEST_CELLS:
                continue
            where = np.arange(rows.start, rows.stop) % n_row
            cells = np.ix_(where, np.arange(columns.start, columns.stop))
            if float(np.median(self._gone - self._since[cells][part])) < GONE_TIMES * length:
                continue
            if float(np.sqrt(np.median(self._strength[1][cells][part]))) > STEADY:
                continue
            edge, ring = self._round(rows.start, columns.start, part)
            blurred = (edge > OFTEN[0]) & (edge < OFTEN[1])
            if ring.size and float(ring.mean()) <= RING_LIT and float(blurred.mean()) <= SHARP:
                rr, cc = np.nonzero(part)
                out[(rr + rows.start) % n_row, cc + columns.start] = True
        return out

    def _lines(self) -> Bools:
        """Return the cells of bearing lines."""
        n_row, n_cell = self._often.shape
        stays = self._lit >= LINE_LOOKS
        out = np.zeros_like(stays)
        beside = _rows_off(self._often.shape, LINE_WIDE)
        column = np.arange(n_cell)
        rows = np.arange(n_row)[:, None]
        quiet = self._often <= RING_LIT
        free = quiet[(rows + beside) % n_row, column] & quiet[(rows - beside) % n_row, column]
        narrow = stays & free
        narrow |= np.roll(narrow, 1, axis=0) | np.roll(narrow, -1, axis=0)
        per = n_cell // STRETCHES
        parts = (n_row, STRETCHES, per)
        is_free = free[:, : per * STRETCHES].reshape(parts).mean(axis=2) > 0.5
        has = narrow[:, : per * STRETCHES].reshape(parts).any(axis=2) & is_free
        n_free = free.sum(axis=1)
        is_line = (n_free >= LINE_FREE * n_cell) & ((narrow & free).sum(axis=1) >= LINE_LIT * n_free)
        is_line &= has.sum(axis=1) >= LINE_SPREAD * np.maximum(is_free.sum(axis=1), 1)
        long = np.where(is_line, (narrow & free).sum(axis=1), 0)
        wide = _rows_off(self._often.shape, 0.5 * LINE_WIDE)
        # The middle one of the rows that a line is seen on.
        around = ndimage.maximum_filter1d(long, 2 * ONE_LINE_ROWS + 1, mode="wrap")
        for row in np.flatnonzero(is_line & (long == around)):
            off = np.abs((rows - row + n_row // 2) % n_row - n_row // 2)
            out |= (off <= np.maximum(wide, 1)) & stays & (column >= LINE_FROM * n_cell)
        return out

    def _round(self, row: int, column: int, part: Bools) -> tuple[Image, Image]:
        """Return how often the cells at a mark's edge are lit, and those beyond, four off at the most."""
        wide = np.pad(part, 5)
        edge = ndimage.binary_dilation(wide, np.ones((3, 3)), iterations=2)
        ring = ndimage.binary_dilation(wide, np.ones((3, 3)), iterations=4) & ~edge
        return self._often_at(row - 5, column - 5, edge & ~wide), self._often_at(row - 5, column - 5, ring)

    def _often_at(self, row: int, column: int, where: Bools) -> Image:
        n_row, n_cell = self._often.shape
        rows, columns = np.nonzero(where)
        inside = (columns + column >= 0) & (columns + column < n_cell)
        out: Image = self._often[(rows[inside] + row) % n_row, columns[inside] + column]
        return out


@lru_cache(maxsize=2)
def _rows_off(shape: tuple[int, int], cells: float) -> NDArray[np.intp]:
    """Return for each cell of a spoke how many rows so many cells across are, (n_cell,)."""
    off = np.ceil(cells * shape[0] / (TAU * (np.arange(shape[1]) + 1.0)))
    out: NDArray[np.intp] = np.minimum(off, shape[0] // 8).astype(np.intp)
    return out


def _wider(marks: Bools) -> Bools:
    """Return marks with the cells about them, round over the first row."""
    out = marks | np.roll(marks, 1, axis=0) | np.roll(marks, -1, axis=0)
    out[:, 1:] |= out[:, :-1]
    out[:, :-1] |= marks[:, 1:]
    return out


@lru_cache(maxsize=2)
def _places(shape: tuple[int, int]) -> tuple[NDArray[np.intp], NDArray[np.intp], Bools]:
    """Return of each pixel of the laid out picture its row and cell, and whether it is inside."""
    across = (np.arange(SIDE) + 0.5 - SIDE / 2) * (2.0 * shape[1] / SIDE)
    x, y = across[None, :], across[:, None]
    reach = np.hypot(x, y)
    row = np.rint(np.arctan2(x, -y) / TAU * shape[0]).astype(np.intp) % shape[0]
    return row, np.minimum(reach.astype(np.intp), shape[1] - 1), reach < shape[1]


def laid_out(echo: Echo) -> Image:
    """Return a turn as a picture with the boat in the middle, (SIDE, SIDE); edges stand out, wide echoes do not."""
    row, cell, inside = _places((echo.shape[0], echo.shape[1]))
    image = np.where(inside, echo[row, cell], 0).astype(np.float32)
    image = cv2.GaussianBlur(image, (0, 0), 1.0)
    out: Image = image - cv2.GaussianBlur(image, (0, 0), 6.0)
    return out


def shift_between(before: Image, now: Image) -> float | None:
    """Return how far the echoes have moved, pixels; None where no shift fits clearly better than none at all."""
    (dx, dy), _ = cv2.phaseCorrelate(before, now, cv2.createHanningWindow((SIDE, SIDE), cv2.CV_32F))
    shift = float(np.hypot(dx, dy))
    if shift < 0.5 or shift > SIDE / 4:
        return None
    moved = cv2.warpAffine(before, np.array([[1.0, 0.0, dx], [0.0, 1.0, dy]], np.float32), (SIDE, SIDE))
    fit, unmoved = _alike(moved, now), _alike(before, now)
    return shift if fit >= LEAST_FIT and fit >= unmoved + BETTER else None


def _alike(one: Image, other: Image) -> float:
    size = float(np.sqrt((one * one).sum() * (other * other).sum()))
    return float((one * other).sum()) / size if size > 0.0 else 0.0
