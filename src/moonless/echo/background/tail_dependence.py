"""How far the exceedances go with their local reference, and how far they do not.

Where clutter is a fluctuating multiple of its local mean, a reference that reads 3 dB higher means strays 3 dB
higher.  Where crests of much the same height stand now closely, now far apart, their median wanders by many decibels
and the crests do not go with it; in noise the reference strays from the one true mean by chance alone, and to go with
it is loss.  So it is measured: among the boxes that stand highest over their floor, how far is the floor off the mean
of its bin?  If the exceedances go with it, no farther than elsewhere.  For a tail that falls by a factor e in ``b`` dB,

    share that they go with it = share gone so far + b (mean offset of those that pass, less of all) / its variance

At the edge of a shower or of the sea a floor lies farther off the mean of its bin than is usual: it is left alone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.echo.background.amplitude_tail import TAIL_POWER, score
from moonless.echo.kernels.floor_kernels import settle_kernel

Floats = NDArray[np.float64]

N_BAND = 4  # three of range, and the shaded rows
RATE = 0.01  # of the boxes that are asked: those that pass at this rate
KEEP = 0.7  # of the share from turn to turn
ENOUGH = 40_000  # boxes asked: of more, every second tells as much
LEAST_PASSED = 80.0  # boxes
USUAL = 2.0  # deviations within which an offset is usual; twice as far off a floor is left alone
LEAST_VARIANCE_DB2 = 0.01
# dB by which a line falls for a factor e of the rate, per dB of its width
_FALL = TAIL_POWER * float(-np.log(RATE)) ** (TAIL_POWER - 1.0)


class FloorLean:
    """The share of its own offset that each band's floor keeps; 1 until measured."""

    def __init__(self, n_sector: int, ring_of_col: NDArray[np.int64]) -> None:
        """``n_sector``: bins of bearing, the shaded one last."""
        self.ring_of_col = ring_of_col
        self.n_ring = int(ring_of_col[-1]) + 1
        self.n_sector = n_sector
        self.share = np.ones(N_BAND)
        self._spread = np.zeros(N_BAND)
        self._told = np.zeros(N_BAND)
        band = np.minimum(np.arange(self.n_ring) * (N_BAND - 1) // self.n_ring, N_BAND - 2)
        self._band = np.tile(band, (n_sector, 1))
        self._band[-1] = N_BAND - 1

    def settle(
        self,
        floor_db: NDArray[np.float32],
        threshold_db: NDArray[np.float32],
        candidate_db: NDArray[np.float32],
        sector: NDArray[np.int64],
    ) -> NDArray[np.float32]:
        """Draw floors and thresholds, (n_row, n_col), toward their bin's mean floor; return each floor's offset, dB."""
        edges = np.searchsorted(self.ring_of_col, np.arange(self.n_ring))
        width = np.diff(np.concatenate((edges, [self.ring_of_col.size])))
        by_row = np.add.reduceat(floor_db, edges, axis=1, dtype=np.float64)
        total = np.zeros((self.n_sector, self.n_ring))
        np.add.at(total, sector, by_row)
        rows = np.bincount(sector, minlength=self.n_sector)[:, None] * width[None, :]
        around, many = _around(total), _around(rows.astype(np.float64))
        mean = (around / np.maximum(many, 1.0)).astype(np.float32)
        offset = np.empty_like(floor_db)
        settle_kernel(
            mean, (1.0 - self.share[self._band]).astype(np.float32),
            (USUAL * self._spread[self._band]).astype(np.float32), sector, self.ring_of_col,
            floor_db, threshold_db, candidate_db, offset,
        )  # fmt: skip
        return offset

    def learn(
        self,
        ratio_db: NDArray[np.float32],
        offset_db: NDArray[np.float32],
        asked: NDArray[np.bool_],
        sector: NDArray[np.int64],
        middle: Floats,
        width: Floats,
    ) -> None:
        """Take one turn in: boxes over their settled floor where ``asked``, by each bin's line (``clutter.py``)."""
        row, col = np.nonzero(asked)
        if row.size > ENOUGH:
            row, col = row[::2], col[::2]
        bin_of = sector[row] * self.n_ring + self.ring_of_col[col]
        offset = offset_db[row, col].astype(np.float64)
        passed = ratio_db[row, col] >= (middle + width * float(score(RATE))).ravel()[bin_of]
        band = self._band.ravel()[bin_of]
        fall = _FALL * width.ravel()[bin_of]
        for k in range(N_BAND):
            here = band == k
            n = np.count_nonzero(here)
            if n == 0:
                continue
            off = offset[here]
            # From quartiles: the few bins that an edge runs through do not make wide offsets usual.
            low, high = np.quantile(off[:: max(1, n // 4000)], (0.25, 0.75))
            spread = (high - low) / 1.349
            usual = np.abs(off) <= USUAL * spread
            chosen = usual & passed[here]
            many = np.count_nonzero(chosen)
            if many < LEAST_PASSED:
                continue
            variance = max(float(np.var(off[usual])), LEAST_VARIANCE_DB2)
            step = float(fall[here][chosen].mean()) * float(off[chosen].mean() - off[usual].mean()) / variance
            keep = KEEP if self._told[k] else 0.0
            self._spread[k] = keep * self._spread[k] + (1.0 - keep) * spread
            self.share[k] = float(np.clip(self.share[k] + (1.0 - keep) * step, 0.0, 1.0))
            self._told[k] += 1.0


def _around(bins: Floats) -> Floats:
    """Return sums over each bin and its neighbours; bearings wrap, shaded bins have neighbours in range only."""
    out = bins.copy()
    out[:, 1:] += bins[:, :-1]
    out[:, :-1] += bins[:, 1:]
    open_ = out[:-1]
    out[:-1] = open_ + np.roll(open_, 1, axis=0) + np.roll(open_, -1, axis=0)
    return out
