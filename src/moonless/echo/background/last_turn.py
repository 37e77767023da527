"""What the ground under each box was last turn: the polar grid's own memory, with own motion and turning taken out.

Rules of this file.  Nothing is drawn on a map: each turn every box asks which box of the turn before looked at its
ground, and takes that box's memory over.  So the ground is known as finely as the radar sees it, near and far.  What is
handed on from turn to turn may drift by half a box each time; it is therefore let go within some turns.
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.echo.grid import Grid
from moonless.echo.kernels.ground_kernels import warp_kernel
from moonless.frames import LocalFrame
from moonless.scan.types import Scan

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

EVERY = 2  # boxes overlap their neighbours: every second one tells as much
LEANS = (0.6180339887, 0.7548776662)  # the golden ratio and its kin: multiples of them fill the circle most evenly
SLOW_KEEP = 0.75  # of the slow picture from turn to turn
AGO_EVERY, PICTURES = 6, 2  # the slow picture is kept so often, and so many of them: of 6 to 12 turns ago
SLOW_LOOKS = (1.0 + SLOW_KEEP) / (1.0 - SLOW_KEEP)  # turns it is worth: the variance of such a mean


def _is_same(one: Grid, other: Grid) -> bool:
    """Return whether both cut bearing and range alike, whatever their spokes."""
    return (one.n_row, one.n_col, one.col_cells) == (other.n_row, other.n_col, other.col_cells)


class Ground:
    """Remembers one turn, where boxes were echo and where they were loud, and the slow mean of some turns."""

    def __init__(self) -> None:
        self._scan: Scan | None = None
        self._grid: Grid | None = None
        self._turn = 0
        self._mask: Bools | None = None
        self._loud: Bools | None = None
        self._stood: Bools | None = None  # loud in the last turn and on the same ground in the one before
        self._slow_mask: Bools | None = None
        self._slow_db: NDArray[np.float32] | None = None
        self._ago: deque[NDArray[np.float32]] = deque(maxlen=PICTURES)  # the slow picture of each `AGO_EVERY` turns
        self._since_ago = 0
        self._was: NDArray[np.int32] | None = None  # flat box of last turn under each box of now, -1: none

    def turn_to(self, scan: Scan, grid: Grid) -> None:
        """Find what was under each box of ``scan``.  Unknown poses count as unmoved."""
        old = self._scan
        if old is None or self._grid is None or not _is_same(self._grid, grid) or old.cell_m != scan.cell_m:
            self._mask = self._slow_mask = self._loud = self._stood = self._slow_db = self._was = None
            self._ago.clear()
            self._since_ago = 0
            self._grid = grid
            return
        row = np.minimum(grid.row_edge[:-1], scan.n_spoke - 1)
        old_row = np.minimum(self._grid.row_edge[:-1], old.n_spoke - 1)
        self._grid = grid
        azimuth = np.arange(grid.n_row) * (TAU / grid.n_row)
        poses = [
            (one.lat_deg[at], one.lon_deg[at], one.heading_true_rad[at]) for one, at in ((scan, row), (old, old_row))
        ]
        if all(np.all(np.isfinite(part)) for pose in poses for part in pose):
            frame = LocalFrame(float(poses[1][0][0]), float(poses[1][1][0]))
            (east, north), (old_east, old_north) = (frame.to_plane(lat, lon) for lat, lon, _ in poses)
            bearing, old_heading = poses[0][2] + azimuth, poses[1][2]
        else:
            east = north = old_east = old_north = old_heading = np.zeros(grid.n_row)
            bearing = azimuth
        col_m = grid.col_cells * scan.cell_m
        first_m = scan.first_cell_m + 0.5 * (col_m - scan.cell_m)
        self._was = np.empty((grid.n_row, grid.n_col), dtype=np.int32)
        # A boat moves by less than half a box in a turn, and plain rounding would leave the memory behind for good:
        # so it leans now this way, now that, evenly over the turns.
        lean_row, lean_col = (math.fmod(self._turn * step, 1.0) - 0.5 for step in LEANS)
        self._turn += 1
        warp_kernel(
            east, north, bearing, first_m, col_m, old_east, old_north, old_heading, old.is_received[old_row], lean_row,
            lean_col, self._was,
        )  # fmt: skip

    @property
    def slow_db(self) -> NDArray[np.float32] | None:
        """The mean of the last turns over the ground, as `slow` left it; None: no turn yet."""
        return self._slow_db

    @property
    def slow_before_db(self) -> NDArray[np.float32] | None:
        """The slow picture of 6 to 12 turns ago, over the ground of now, NaN where not looked at; None: not so long."""
        return self._ago[0] if len(self._ago) == PICTURES else None

    @property
    def is_known(self) -> bool:
        """Whether there is a turn before this one."""
        return self._was is not None

    def fresh(self) -> Bools:
        """Return (n_row, n_col) which boxes, of every second in both directions, look at ground that was quiet then.

        What stands still is loud in both turns and drops out; what boils is as likely to spike here as anywhere.
        That is how echoes are kept out of the clutter's statistics without first having to be found.
        """
        assert self._was is not None and self._loud is not None
        out = np.zeros(self._was.shape, dtype=np.bool_)
        was = self._was[::EVERY, ::EVERY]
        out[::EVERY, ::EVERY] = (was >= 0) & ~self._loud.ravel()[was]
        return out

    def is_fresh(self, cells: Ints) -> Bools:
        """Return (n,) which flat boxes look at ground where nothing stood: that was quiet in one of two turns before.

        A crest that lives for two turns is part of the sea: with one turn asked alone a third of what passes in a real
        sea would not be counted (``python -m bench open_sea``).  But an echo that fades and comes back is counted here
        too, so only the loop that closes on the rate asks this, which is bounded; a harbour's tail would be made of
        marks and boats.
        """
        assert self._was is not None and self._stood is not None
        was = self._was.ravel()[cells]
        return np.asarray((was >= 0) & ~self._stood.ravel()[was])

    def again(self, cells: Ints, rows_aside: int = 0, *, slow: bool = False) -> Floats:
        """Return (n,) 1.0 where the ground of flat boxes was echo last turn, 0.0 where not, NaN where not looked at.

        ``rows_aside`` asks for the ground so many rows round at the same range instead; ``slow``: of the slow picture.
        """
        mask = self._slow_mask if slow else self._mask
        if self._was is None or mask is None:
            return np.full(cells.shape, np.nan)
        n_row, n_col = self._was.shape
        row, col = np.divmod(cells, n_col)
        was = self._was[(row + rows_aside) % n_row, col]
        return np.where(was >= 0, mask.ravel()[was], np.nan)

    def slow(self, now_db: NDArray[np.float32]) -> NDArray[np.float32]:
        """Take this turn in and return the mean of the last turns over the ground, dB; of this turn where none was."""
        if self._was is None or self._slow_db is None:
            self._slow_db = now_db
        else:
            before = self._slow_db.ravel()[self._was]
            mixed = np.float32(SLOW_KEEP) * before + np.float32(1.0 - SLOW_KEEP) * now_db
            # What was not received this turn is as it was; what was never looked at is as it is.
            mixed = np.where(np.isfinite(now_db), mixed, before)
            self._slow_db = np.where((self._was >= 0) & np.isfinite(before), mixed, now_db).astype(np.float32)
            at = np.where(self._was >= 0, self._was, 0)
            for k, picture in enumerate(self._ago):
                self._ago[k] = np.where(self._was >= 0, picture.ravel()[at], np.nan).astype(np.float32)
        self._since_ago += 1
        if self._since_ago >= AGO_EVERY or not self._ago:
            self._ago.append(self._slow_db)
            self._since_ago = 0
        return self._slow_db

    def remember(self, scan: Scan, mask: Bools, slow_mask: Bools, loud: Bools) -> None:
        """Keep this turn: boxes over the threshold, now and in the slow picture; boxes noise alone does not lift."""
        if self._was is not None and self._loud is not None:
            # Ground that was not looked at then counts as loud then: it is what this turn says.
            self._stood = loud & np.where(self._was >= 0, self._loud.ravel()[self._was], True)
        else:
            self._stood = loud
        self._scan, self._mask, self._slow_mask, self._loud = scan, mask, slow_mask, loud
