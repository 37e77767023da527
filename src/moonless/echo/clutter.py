"""What the background does, bearing by bearing and ring by ring, learnt turn by turn.

Rules of this file.  The map lies round the boat, north up: sea clutter goes with range and with the wind's
bearing, so it travels with the boat but does not turn with her.  What stands over the ground is remembered by
``memory.py``.  A bin learns two things: the level, and how far its boxes stray above their local reference.  The
second decides the threshold: noise strays little, spiky sea much.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from moonless.constants import TAU
from moonless.echo.grid import Grid
from moonless.echo.theory import k_quantile_db

Floats = NDArray[np.float64]

N_SECTOR = 24
N_RING = 16
RATIO_LOW_DB = -10.0
RATIO_STEP_DB = 0.25
N_RATIO = 280  # up to +60 dB
LEVEL_KEEP = 0.6  # of the level from turn to turn
SHAPE_KEEP = 0.9  # of the counts of strays: ten turns
# The strays at these rates are measured; the design rate lies on the line through them in (-ln p)^TAIL_POWER, which
# noise, K clutter of shape 0.5 to 10 and patches smaller and larger than the box follow (design/echo_tail.py).
MEASURED_RATES = (0.1, 0.04, 0.02, 0.01, 0.004)
TAIL_POWER = 0.42
ENOUGH = 4000.0  # boxes; until a bin has seen so many it leans on its whole ring
LEVEL_SHARE = 0.4
BLIND_PULSES = 2.0  # a set is blind while it sends, and while its receiver recovers; common practice, no source
# On the first turn echoes cannot be told from spikes at all.  Water as quiet as the receiver is then taken to stray as
# the receiver does, however many echoes lie in the patch: its threshold may rise this far above the least, and by so
# much more as the patch's own clutter rises above noise.  Own figures.
QUIET_SPAN_DB, CLUTTER_SPAN_DB, CLUTTER_SCALE_DB = 4.0, 16.0, 3.0
# Later the strays are known, but marks and boats that flicker are among them, and many in a patch of quiet water would
# hide each other.  Spikes need a sea that shows over the noise between them, so the bound stays, wider.  Own figure.
LATER_SPAN = 1.5
MOST_DB = 60.0  # what stands so far above all round it is shown whatever the sea does


def _tail_scale(rate: Floats | float) -> Floats:
    return np.asarray(np.power(-np.log(rate), TAIL_POWER), dtype=np.float64)


class ClutterMap:
    """The learnt background of one scan geometry."""

    def __init__(self, grid: Grid, looks: float, p_false: float) -> None:
        self.grid = grid
        self.p_false = p_false
        # Rings grow outward: near the boat the clutter falls fast.
        share = (np.arange(grid.n_col) + 0.5) / max(1, grid.n_col)
        self.ring_of_col = np.minimum((N_RING * np.sqrt(share)).astype(np.int64), N_RING - 1)
        blind = min(grid.n_col - 1, round(BLIND_PULSES * grid.pulse_cells / grid.col_cells))
        self.first_ring = min(int(self.ring_of_col[blind]) + 1, N_RING // 2)
        self.level_db: NDArray[np.float32] | None = None  # (N_SECTOR, N_RING)
        self.turns = 0
        self.strays = np.zeros((N_SECTOR, N_RING, N_RATIO), dtype=np.float64)
        # No background strays less than summed noise against a perfectly known mean.
        self.least_db = k_quantile_db(p_false, looks, math.inf) - k_quantile_db(0.5, looks, math.inf)

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
        known = np.isfinite(strip_db[:, 0])
        for s in np.unique(sector[known]):
            rows = strip_db[np.flatnonzero(known & (sector == s))[::2]]
            for k in range(N_RING):
                part = rows[:, edges[k] : edges[k + 1]].ravel()
                if part.size:
                    rank = int(LEVEL_SHARE * (part.size - 1))
                    now[s, k] = np.partition(part, rank)[rank]
        # Nearest of all the set is blind, and what is not seen there says nothing of the rings farther out.
        now[:, self.first_ring :] = np.fmin.accumulate(now[:, self.first_ring :], axis=1)
        if self.level_db is None:
            self.level_db = now
        else:
            before = np.where(np.isfinite(self.level_db), self.level_db, now)
            mixed = LEVEL_KEEP * before + (1.0 - LEVEL_KEEP) * now
            self.level_db = np.where(np.isfinite(now), mixed, self.level_db).astype(np.float32)
        # Not known anywhere yet: noise.
        return np.nan_to_num(self.level_db, nan=0.0)

    def update_strays(
        self, ratio_db: NDArray[np.float32], usable: NDArray[np.bool_], sector: NDArray[np.int64]
    ) -> None:
        """Count this turn's box-over-reference ratios where ``usable``: received, and no lasting echo.

        The first turn cannot know what is an echo; what it counted is dropped when the second comes.
        """
        if self.turns == 1:
            self.strays[:] = 0.0
        self.turns += 1
        index = np.clip((ratio_db - np.float32(RATIO_LOW_DB)) * np.float32(1.0 / RATIO_STEP_DB), 0, N_RATIO - 1)
        base = (sector[:, None] * N_RING + self.ring_of_col[None, :]) * N_RATIO
        flat = base[usable] + index[usable].astype(np.int64)
        self.strays *= SHAPE_KEEP
        self.strays += np.bincount(flat, minlength=self.strays.size).reshape(self.strays.shape)

    @property
    def loud_db(self) -> float:
        """How far over its floor a box stands that noise alone lifts so far once in a hundred times."""
        return self.least_db * float(_tail_scale(0.01) / _tail_scale(self.p_false)) + RATIO_STEP_DB

    def thresholds_db(self, *p_false: float) -> tuple[Floats, ...]:
        """Return the threshold of box over reference for each false-alarm rate, (N_SECTOR, N_RING) dB."""
        pooled = ndimage.uniform_filter(self.strays, size=(3, 3, 1), mode=("wrap", "nearest", "nearest")) * 9.0
        ring = self.strays.sum(axis=0, keepdims=True)
        have = pooled.sum(axis=2, keepdims=True)
        lean = np.maximum(0.0, ENOUGH - have) / np.maximum(ring.sum(axis=2, keepdims=True), 1.0)
        counts = pooled + lean * ring
        cumulative = np.cumsum(counts, axis=2)
        total = cumulative[:, :, -1]
        # Echoes are in the first turn's counts: it leans on the rates that a few echoes do not reach.
        rates = np.asarray(MEASURED_RATES if self.turns > 1 else MEASURED_RATES[:2])
        levels = np.stack([_level_of(counts, cumulative, total, 1.0 - p) for p in rates])
        median = _level_of(counts, cumulative, total, 0.5)
        scale = _tail_scale(rates)
        lean_from = scale - scale.mean()
        slope = np.tensordot(lean_from, levels, axes=1) / float(lean_from @ lean_from)
        out = []
        for rate in p_false:
            threshold = levels.mean(axis=0) + slope * (_tail_scale(rate) - scale.mean())
            least = self.least_db * float(_tail_scale(rate) / _tail_scale(self.p_false))
            most = np.full(median.shape, MOST_DB)
            span = self._span_db()
            bound = least + (span if self.turns <= 1 else LATER_SPAN * span)
            if self.turns > 1:
                bound[:, : self.first_ring] = MOST_DB  # the edge of blindness is no sea
            most = np.minimum(most, bound)
            seen = np.clip(threshold, median + least, np.maximum(most, median + least))
            out.append(np.where(total > 200.0, seen, 1.1 * least))
        return tuple(out)

    def _span_db(self) -> Floats:
        """Return (N_SECTOR, N_RING) how far above the least the threshold may rise, by the clutter's own level."""
        level = np.zeros((N_SECTOR, N_RING)) if self.level_db is None else np.nan_to_num(self.level_db, nan=0.0)
        rough = 1.0 - np.exp(-np.maximum(level - 0.5, 0.0) / CLUTTER_SCALE_DB)
        return np.asarray(QUIET_SPAN_DB + CLUTTER_SPAN_DB * rough, dtype=np.float64)


def _level_of(counts: Floats, cumulative: Floats, total: Floats, share: float) -> Floats:
    """Return the dB level below which ``share`` of the counts lie, interpolated within its step."""
    wanted = share * total
    index = np.argmax(cumulative >= wanted[:, :, None], axis=2)
    here = np.take_along_axis(counts, index[:, :, None], axis=2)[:, :, 0]
    above = np.take_along_axis(cumulative, index[:, :, None], axis=2)[:, :, 0]
    part = 1.0 - (above - wanted) / np.maximum(here, 1e-9)
    return np.asarray(RATIO_LOW_DB + (index + np.clip(part, 0.0, 1.0)) * RATIO_STEP_DB)
