"""What the receiver's counts mean, learnt from quiet water turn by turn: the scale used, its law, its noise.

Kept apart from the boxes: nothing here looks at where an echo stands, only at how often each count comes where nothing
stands.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from moonless.echo.background.receiver_curve import TENFOLD_DB, ReceiverCurve, learn_curve, noise_level
from moonless.scan.types import Scan

ROOMY = 8
# Echoes cut flat lie in a pile at one count: so many times the cells of the count met next below it.  Up to there each
# stronger count is the rarer by every law of clutter and noise; on real video of four levels the pile is twenty times
# as high.  Seen on one row in so many, by so many cells at least.  Own figures.
PILE, PILE_CELLS, PILE_ROWS = 4.0, 20, 4
# With so few cells of quiet water over zero there is nothing to sum up in boxes; the second figure holds it there.
CUT_SHARE, CUT_STAYS = 0.98, 0.95
COUNTS_KEEP = 0.9
LEARN_EVERY = 4  # turns from one fit of the scale to the next, once it is known; the level is read every turn
GAIN_STEP_SHARE = 0.1  # of the noise's own spread
GAIN_STEP_COUNTS = 1.5  # a median that steps farther from turn to turn is a hand on the gain
ENOUGH_COUNTS = 20_000.0


class ReceiverScale:
    """Learns one receiver's scale.  Feed it every turn in order."""

    def __init__(self) -> None:
        self.counts: NDArray[np.float64] | None = None  # of quiet water, over the last turns
        self.is_cut = False  # the set has cut next to all noise from quiet water
        self._curve: ReceiverCurve | None = None
        self._median = 0.0
        self._since_learnt = -1
        self._top = 0  # highest count met
        self._flat = 0  # count at which echoes were seen to be cut flat, 0: at none
        self._full_scale = 0
        self._is_pictured = False

    def by_used_scale(self, scan: Scan) -> Scan:
        """Return the scan with the full scale that the set uses: few levels are often written into a wider word.

        The highest count met so far, where echoes lie cut flat at it (a gain behind the receiver's own limit); else the
        next power of two over it, where the word has room for eight times as much.
        """
        self._top = max(self._top, int(scan.echo.max(initial=0)))
        if 0 < self._top < scan.full_scale and (self._flat == self._top or _is_pile(scan, self._top)):
            self._flat = self._top
            return replace(scan, full_scale=self._top)
        used = (1 << max(self._top, 1).bit_length()) - 1
        return replace(scan, full_scale=used) if used * ROOMY <= scan.full_scale else scan

    def learn(self, scan: Scan, notes: list[str]) -> ReceiverCurve:
        """Return this turn's curve: the best scale learnt so far at this turn's noise level."""
        self._is_pictured = scan.errors.is_pictured
        if scan.full_scale != self._full_scale:
            self._curve = None
            self._since_learnt = -1
            self.counts = None
            self._full_scale = scan.full_scale
        sample = _quiet_counts(scan)
        median = float(np.median(sample)) if sample.size else 0.0
        step = GAIN_STEP_COUNTS
        if sample.size:
            # In a long word the noise itself covers hundreds of counts.
            low, high = np.quantile(sample, (0.16, 0.84))
            step = max(step, GAIN_STEP_SHARE * 0.5 * float(high - low))
        if self.counts is None or abs(median - self._median) > step:
            # The gain was turned, or nothing is known yet: begin afresh, keeping the scale, which is the receiver's.
            self.counts = np.zeros(scan.full_scale + 1)
            self._median = median
        self.counts *= COUNTS_KEEP
        self.counts += np.bincount(sample.ravel(), minlength=scan.full_scale + 1)[: scan.full_scale + 1]
        kept = self._curve
        self._since_learnt += 1
        is_sure = kept is not None and kept.is_learnt and self.counts.sum() > ENOUGH_COUNTS
        if kept is not None and is_sure and 0 < self._since_learnt < LEARN_EVERY:
            self._curve = replace(kept, noise_counts=noise_level(kept, median))
            return self._curve
        self._since_learnt = 0
        now = learn_curve(self.counts, scan.full_scale, _pulses_a_spoke(scan))
        is_news = kept is None or not kept.is_learnt or self.counts.sum() > ENOUGH_COUNTS
        if kept is not None and kept.is_learnt and now.law != kept.law:
            # The law is the receiver's: only a better fit than the one it was learnt from changes it.
            is_news = is_news and now.misfit < kept.misfit
        if now.is_learnt and is_news:
            self._curve = replace(now, noise_counts=noise_level(now, median)) if now.law != "log" else now
        elif kept is not None and kept.is_learnt and not now.is_zeroed:
            self._curve = replace(kept, noise_counts=noise_level(kept, median))
        else:
            notes.append(
                "the background is cut to zero: the echo scale is assumed"
                if now.is_zeroed
                else "the noise does not show the echo scale: it is assumed"
            )
            self._curve = now
        assert self._curve is not None
        return self._curve

    def is_background_cut(self, curve: ReceiverCurve) -> bool:
        """Return whether the set has cut not only the noise's middle but next to all of it from quiet water.

        Of a screen never: its first colour begins well over the noise, and the sea near the boat, drawn in that colour
        and the next, must be gathered in boxes and held against its own floor (`python -m bench picture chain`).
        """
        assert self.counts is not None
        if self._is_pictured:
            return False
        share = float(self.counts[0] / max(float(self.counts.sum()), 1.0))
        self.is_cut = curve.is_zeroed and share >= (CUT_STAYS if self.is_cut else CUT_SHARE)
        return self.is_cut


def to_counts(db: NDArray[np.float32], curve: ReceiverCurve) -> NDArray[np.float32]:
    """Return the receiver counts of dB above noise."""
    if curve.law == "log" or curve.is_zeroed:
        return np.asarray(curve.noise_counts + db / curve.db_per_count, dtype=np.float32)
    return np.asarray(curve.noise_counts * np.power(10.0, db / TENFOLD_DB[curve.law]), dtype=np.float32)


def _is_pile(scan: Scan, top: int) -> bool:
    """Return whether cells pile up at the highest count."""
    cells = np.bincount(scan.echo[::PILE_ROWS].ravel(), minlength=top + 1)
    below = cells[1:top][np.flatnonzero(cells[1:top])[-1:]]
    return bool(cells[top] >= max(PILE_CELLS, PILE * int(below.sum())))


def _pulses_a_spoke(scan: Scan) -> float | None:
    """Return how many pulses a spoke sums, at least one; None where the interval or the turn's length is not known."""
    interval_s = scan.errors.pulse_interval_s
    times = scan.time_ns[scan.is_received]
    if interval_s is None or interval_s <= 0.0 or times.size < 2:
        return None
    spoke_s = (int(times.max()) - int(times.min())) / 1e9 / (scan.n_spoke - 1)
    return max(1.0, spoke_s / interval_s) if spoke_s > 0.0 else None


def _quiet_counts(scan: Scan) -> NDArray[np.integer]:
    """Return a sample of counts from the quiet parts of the scan: where the highest counts of a patch are lowest.

    The middle of a patch says little: spiky sea leaves most of it at the noise.
    """
    n_sector, n_ring = 16, 16
    rows = np.flatnonzero(scan.is_received)
    if rows.size < n_sector or scan.n_cell < n_ring:
        return np.asarray(scan.echo[rows].ravel())
    row_step = max(1, rows.size // (n_sector * 24))
    col_step = max(1, scan.n_cell // (n_ring * 32))
    sample = scan.echo[rows[::row_step]][:, ::col_step]
    r, c = sample.shape[0] // n_sector, sample.shape[1] // n_ring
    sample = sample[: r * n_sector, : c * n_ring]
    n_level = 4096 if scan.full_scale > 4095 else scan.full_scale + 1
    shift = max(0, int(scan.full_scale).bit_length() - 12)
    row_bin = np.arange(r * n_sector, dtype=np.int64) // r * n_ring
    patch = row_bin[:, None] + (np.arange(c * n_ring, dtype=np.int64) // c)[None, :]
    flat = (patch * n_level + (sample >> shift)).ravel()
    counts = np.bincount(flat, minlength=n_sector * n_ring * n_level).reshape(n_sector * n_ring, n_level)
    cumulative = np.cumsum(counts, axis=1)
    high = np.argmax(cumulative >= 0.97 * r * c, axis=1).astype(np.float64)
    middle = np.argmax(cumulative >= 0.5 * r * c, axis=1).astype(np.float64)
    smooth = ndimage.uniform_filter(high.reshape(n_sector, n_ring), 3, mode=("wrap", "nearest")).ravel()
    low = np.quantile(smooth, 0.06)
    step = 0.06 * max(float(np.median((high - middle)[smooth <= low])), 1.0)
    quiet = smooth <= low + step
    return np.asarray(sample.ravel()[quiet[patch.ravel()]])
