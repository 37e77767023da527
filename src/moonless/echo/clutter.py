"""What the background does, bearing by bearing and ring by ring, learnt turn by turn.

Rules of this file.  The map lies round the boat, north up: sea clutter goes with range and with the wind's
bearing, so it travels with the boat but does not turn with her.  What stands over the ground is remembered by
``evidence.py``.  A bin learns two things: the level, and how far its cells stray above their local reference.  The
second decides the threshold: noise strays little, spiky sea much.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from moonless.constants import TAU
from moonless.echo.grid import Grid
from moonless.echo.theory import k_quantile_db

Floats = NDArray[np.float64]

N_SECTOR = 24
N_RING = 16
RATIO_LOW_DB = -16.0
RATIO_STEP_DB = 0.25
N_RATIO = 160  # up to +24 dB
LEVEL_KEEP = 0.6  # of the level from turn to turn
SHAPE_KEEP = 0.9  # of the counts of strays: ten turns
P_BODY = 0.04  # the stray level that is measured; the rest of the tail is K clutter's (design/echo_tail.py)
_SHAPES = (math.inf, 30.0, 10.0, 5.0, 3.0, 2.0, 1.4, 1.0, 0.7, 0.5, 0.35, 0.25)


@dataclass(frozen=True, slots=True, eq=False)
class TailTable:
    """From how far 4 % of cells stray to how far the design rate strays, both in dB above the median."""

    body_db: Floats
    design_db: Floats

    def threshold_db(self, body_db: Floats) -> Floats:
        """Return the design level above the median for the measured level."""
        return np.interp(body_db, self.body_db, self.design_db)


def tail_table(looks: float, reference_looks: float, p_false: float) -> TailTable:
    """Return the table for boxes of ``looks`` over a reference of ``reference_looks``."""
    body, design = [], []
    for shape in _SHAPES:
        median = k_quantile_db(0.5, looks, shape, reference_looks)
        body.append(k_quantile_db(P_BODY, looks, shape, reference_looks) - median)
        design.append(k_quantile_db(p_false, looks, shape, reference_looks) - median)
    return TailTable(np.maximum.accumulate(body), np.maximum.accumulate(design))


class ClutterMap:
    """The learnt background of one scan geometry."""

    def __init__(self, grid: Grid, table: TailTable) -> None:
        self.grid = grid
        self.table = table
        self.ring_of_col = np.minimum(np.arange(grid.n_col) * N_RING // max(1, grid.n_col), N_RING - 1)
        self.level_db: NDArray[np.float32] | None = None  # (N_SECTOR, N_RING)
        self.strays = np.zeros((N_SECTOR, N_RING, N_RATIO), dtype=np.float64)
        self.turns = 0

    def sector_of_row(self, heading_rad: Floats) -> NDArray[np.int64]:
        """Return (n_row,) the true sector of each block row; an unknown heading counts as north."""
        azimuth = np.arange(self.grid.n_row) * (TAU / self.grid.n_row)
        true = azimuth + np.where(np.isfinite(heading_rad), heading_rad, 0.0)
        return np.asarray(np.floor(np.mod(true, TAU) / TAU * N_SECTOR), dtype=np.int64) % N_SECTOR

    def update_level(self, strip_db: NDArray[np.float32], sector: NDArray[np.int64]) -> NDArray[np.float32]:
        """Take this turn's levels in and return the background level, (N_SECTOR, N_RING) dB above noise.

        A bin's level is its lower two fifths: echoes that fill less than half of it do not lift it.  Outward
        the sea falls away, so a ring that stands above all rings inside it is land or rain and keeps the inner level.
        """
        now = np.full((N_SECTOR, N_RING), np.nan, dtype=np.float32)
        edges = np.searchsorted(self.ring_of_col, np.arange(N_RING + 1))
        for s in np.unique(sector):
            rows = strip_db[sector == s][:, :]
            rows = rows[np.isfinite(rows[:, 0])]
            if rows.shape[0] == 0:
                continue
            for k in range(N_RING):
                part = rows[:, edges[k] : edges[k + 1]].ravel()
                if part.size:
                    now[s, k] = np.partition(part, int(0.4 * (part.size - 1)))[int(0.4 * (part.size - 1))]
        now = np.fmin.accumulate(now, axis=1)
        if self.level_db is None:
            self.level_db = now
        else:
            known = np.isfinite(now)
            before = np.where(np.isfinite(self.level_db), self.level_db, now)
            self.level_db = np.where(known, LEVEL_KEEP * before + (1.0 - LEVEL_KEEP) * now, self.level_db).astype(
                np.float32
            )
        # Not known anywhere yet: noise.
        return np.nan_to_num(self.level_db, nan=0.0)

    def threshold_db(self) -> tuple[Floats, Floats]:
        """Return (threshold, median) of box over reference, (N_SECTOR, N_RING) dB each."""
        pooled = ndimage.uniform_filter(self.strays, size=(3, 3, 1), mode=("wrap", "nearest", "nearest")) * 9.0
        ring = self.strays.sum(axis=0, keepdims=True)
        # Until a bin has seen enough it leans on its whole ring.
        enough = 4000.0
        have = pooled.sum(axis=2, keepdims=True)
        lean = np.maximum(0.0, enough - have) / np.maximum(ring.sum(axis=2, keepdims=True), 1.0)
        counts = pooled + lean * ring
        total = counts.sum(axis=2)
        median = _level_of(counts, total, 0.5)
        body = _level_of(counts, total, 1.0 - P_BODY)
        # With nothing seen, plain noise.
        seen = total > 200.0
        spread = np.where(seen, body - median, self.table.body_db[0])
        middle = np.where(seen, median, 0.0)
        return middle + self.table.threshold_db(spread), middle

    def update_strays(
        self, ratio_db: NDArray[np.float32], usable: NDArray[np.bool_], sector: NDArray[np.int64]
    ) -> None:
        """Count this turn's box-over-reference ratios where ``usable``."""
        index = np.clip((ratio_db - RATIO_LOW_DB) / RATIO_STEP_DB, 0, N_RATIO - 1)
        rows, cols = np.nonzero(usable)
        flat = (sector[rows] * N_RING + self.ring_of_col[cols]) * N_RATIO + index[rows, cols].astype(np.int64)
        now = np.bincount(flat, minlength=N_SECTOR * N_RING * N_RATIO).reshape(self.strays.shape)
        self.strays *= SHAPE_KEEP
        self.strays += now
        self.turns += 1


def _level_of(counts: Floats, total: Floats, share: float) -> Floats:
    """Return the dB level below which ``share`` of the counts lie, interpolated within its step."""
    cumulative = np.cumsum(counts, axis=2)
    wanted = share * total
    index = np.argmax(cumulative >= wanted[:, :, None], axis=2)
    here = np.take_along_axis(counts, index[:, :, None], axis=2)[:, :, 0]
    above = np.take_along_axis(cumulative, index[:, :, None], axis=2)[:, :, 0]
    part = 1.0 - (above - wanted) / np.maximum(here, 1e-9)
    return RATIO_LOW_DB + (index + np.clip(part, 0.0, 1.0)) * RATIO_STEP_DB
