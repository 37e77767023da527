"""The receiver's amplitude curve, learnt from the noise it shows.

Receiver noise has one known distribution.  With ``n`` looks summed, power over mean power is gamma distributed with
shape ``n``; so the spread and the skew of the counts in quiet water tell what a count is worth:

    logarithmic:  count = level + 10 log10(power) / dB-per-count      leans to the left
    linear:       count = level * sqrt(power)                          leans to the right
    square law:   count = level * power                                leans hard to the right
    root:         count = level * power ** (1 / 4)                     nearly even

Where the background was cut to zero before it reached us there is no noise to learn from; the curve is then
assumed, and said to be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

Law = Literal["log", "linear", "square", "root"]
Floats = NDArray[np.float64]

# Decibels that ten times the count are worth, by the laws in which that is a figure: the count goes as a power of the
# echo's power with the exponent 10 over this.
TENFOLD_DB: dict[Law, float] = {"root": 40.0, "linear": 20.0, "square": 10.0}
LOOKS = (1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 16.0, 24.0, 32.0)
# A video word of any length is taken to span this range until the noise has told better.  Common practice of
# logarithmic receivers, no source.
ASSUMED_SPAN_DB = 80.0
# A few echoes among the quiet water spoil the highest quantiles first: they are left out, some more each time, until
# what remains fits a law this well (rms in deviations of the noise).  Own figures.
TOPS = (0.99, 0.95, 0.9, 0.8)
GOOD_FIT = 0.018
# Looks and counts per decibel trade against each other: a few weak echoes among the noise, and five looks pass for
# twelve.  How many pulses a spoke sums is known where the pulse interval is; looks cost so much for each factor e away
# from that.  Where it is not, every number of looks that fits as well but for `AS_GOOD` is held possible.
PULSES_COST = 0.04
AS_GOOD = 0.01
# Some sets keep one pulse of those that a spoke has time for: as dear as so many factors e.  Own figure.
UNSUMMED = 0.1
PULSES_SIGMA = 0.15  # of the looks, when they are known from the pulses: relative
UNKNOWN_SIGMA = 0.2  # of the scale, relative, besides, when they are not: echoes among the noise always lead one way
WORST_FIT = 0.25
# A gap under the lowest count in use that is this many times the usual step between counts is the set's threshold, with
# this share of zeros under it; of counts that carry a share of what is over zero so many must be in use, and the
# lowest be so common against the commonest.  Own figures.
GAP_STEPS, GAP_ZEROS, GAP_SHARE, GAP_LEVELS, GAP_EDGE = 4.0, 0.05, 1e-3, 8, 0.25
# Noise is asked up to this share of its counts; of so many looks, more than any set sums, it spreads least; what is
# then said of its level is no surer than this, relative (rounding and truncation differ by half a count).
STEEP_SHARE, STEEP_LOOKS, STEEP_SIGMA = 0.98, 32.0, 0.3
MAX_SPAN_DB = 150.0  # of a logarithmic word over the noise; common practice is half of it, no source
MAX_POWER_DB = 110.0  # a float32 sum of boxes stays exact enough
_LEVELS: Floats = np.array([0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99])


@dataclass(frozen=True, slots=True, eq=False)
class ReceiverCurve:
    """What a count is worth.  ``noise_counts``: the count of the mean noise power."""

    law: Law
    noise_counts: float
    db_per_count: float  # at the noise level; for a logarithmic receiver everywhere
    looks: float  # of one cell's noise
    is_learnt: bool  # False: the scale is assumed
    is_zeroed: bool  # the background was cut to zero: count 0 says only "below the set's own threshold"
    misfit: float = 0.0  # rms of the fit in standard deviations of the noise, and what its looks cost
    sigma: float = np.nan  # of ``db_per_count``, one standard deviation; NaN where the scale is assumed

    @property
    def db_per_tenfold(self) -> float | None:
        """Decibels that ten times the count are worth; None: of a logarithmic receiver, where that is no figure."""
        return TENFOLD_DB.get(self.law)

    def db(self, full_scale: int) -> NDArray[np.float32]:
        """Return dB above the mean noise for every count 0..full_scale, (full_scale + 1,) float32."""
        counts = np.arange(full_scale + 1, dtype=np.float64)
        if self.is_zeroed:
            first = max(self.noise_counts, 1.0)
            above = np.maximum(counts - first, 0.0) * self.db_per_count + ZEROED_STEP_DB
            out = np.where(counts > 0, above, 0.0)
        elif self.law == "log":
            out = (counts - self.noise_counts) * self.db_per_count
        else:
            factor = TENFOLD_DB[self.law]
            # Count 0 of a linear receiver is "less than half a count".
            out = factor * np.log10(np.maximum(counts, 0.5) / max(self.noise_counts, 0.5))
        return np.minimum(out, MAX_POWER_DB).astype(np.float32)

    def power(self, full_scale: int) -> NDArray[np.float32]:
        """Return power over mean noise power for every count, (full_scale + 1,) float32."""
        return np.power(np.float64(10.0), self.db(full_scale).astype(np.float64) / 10.0).astype(np.float32)


# A count that the set let through its own threshold stands at least this far above the noise it cut.  From a
# false-alarm rate of about 1e-4 of such filters; no source.
ZEROED_STEP_DB = 9.5


def assumed_curve(full_scale: int, noise_counts: float = 1.0, *, is_zeroed: bool = False) -> ReceiverCurve:
    """Return the logarithmic curve that is taken until the noise has told better."""
    return ReceiverCurve("log", noise_counts, ASSUMED_SPAN_DB / full_scale, 1.0, False, is_zeroed)


@lru_cache(maxsize=64)
def _gamma_quantiles(looks: float) -> Floats:
    """Return power over mean at ``_LEVELS`` for noise of that many looks."""
    return np.asarray(special.gammaincinv(looks, _LEVELS) / looks, dtype=np.float64)


def count_quantiles(histogram: Floats, levels: Floats) -> tuple[Floats, float]:
    """Return (quantiles of whole counts as if each were spread evenly over its rounding interval, share of zeros)."""
    above = np.cumsum(histogram, dtype=np.float64) / max(1e-9, float(np.sum(histogram)))
    edges = np.arange(histogram.size, dtype=np.float64) + 0.5
    return np.interp(levels, np.concatenate(([0.0], above)), np.concatenate(([-0.5], edges))), float(above[0])


def learn_curve(histogram: Floats, full_scale: int, pulses: float | None = None) -> ReceiverCurve:
    """Return the curve that the noise tells.  ``histogram`` (full_scale + 1,): how often quiet water showed each count.

    ``pulses``: how many pulses a spoke sums, None where that is not known.
    Falls back to the assumed scale, marked so, when the noise covers too few counts or fits no law.
    """
    if np.sum(histogram) < 500:
        return assumed_curve(full_scale)
    quantiles, zeros = count_quantiles(histogram, _LEVELS)
    if zeros > 0.5 or _is_cut_out(histogram, zeros):
        steep = _in_few_steps(histogram, full_scale, zeros)
        if steep is not None:
            return steep
        (first,) = np.nonzero(np.cumsum(histogram[1:]) > 0.02 * np.sum(histogram[1:]))
        return assumed_curve(full_scale, float(first[0] + 1) if first.size else 1.0, is_zeroed=True)
    # Whatever was cut at zero or at full scale tells nothing of the curve.
    usable = (zeros + 0.02 < _LEVELS) & (quantiles < full_scale - 0.5)
    median = float(np.interp(0.5, _LEVELS, quantiles))
    if np.count_nonzero(usable) < 6 or np.ptp(quantiles[usable]) < 2.5:
        steep = _in_few_steps(histogram, full_scale, zeros)
        if steep is not None:
            return steep
        # Exponential noise: the median lies 1.6 dB below the mean.
        per_db = full_scale / ASSUMED_SPAN_DB
        return assumed_curve(full_scale, median + 1.59 * per_db)
    # Half of what lies between the quantiles of one deviation either side: echoes do not widen it.
    spread = 0.5 * float(np.diff(np.interp([0.1587, 0.8413], _LEVELS, quantiles))[0])
    best: ReceiverCurve | None = None
    for top in TOPS:
        held = usable & (top >= _LEVELS)
        if np.count_nonzero(held) < 6:
            break
        now = _best_law(quantiles, held, max(spread, 1e-9), full_scale, pulses)
        if best is None or now.misfit < best.misfit:
            best = now
        if best.misfit <= GOOD_FIT:
            break
    if best is None or best.misfit > WORST_FIT:
        return assumed_curve(full_scale, median + 1.59 * full_scale / ASSUMED_SPAN_DB)
    return best


def _is_cut_out(histogram: Floats, zeros: float) -> bool:
    """Return whether the set's own threshold shows: after a good share of zeros a gap, then an edge.

    No receiver leaves such a gap by itself, but sets of few levels leave one between any two of them, and a sector
    where the set sends nothing leaves its zeros under a noise that rises from nothing.
    """
    used = 1 + np.flatnonzero(histogram[1:] > GAP_SHARE * float(np.sum(histogram[1:])))
    if zeros < GAP_ZEROS or used.size < GAP_LEVELS:
        return False
    is_edge = float(histogram[used[:3]].mean()) > GAP_EDGE * float(histogram[used].max())
    return is_edge and bool(used[0] > GAP_STEPS * float(np.median(np.diff(used))))


def _in_few_steps(histogram: Floats, full_scale: int, zeros: float) -> ReceiverCurve | None:
    """Return the curve of noise that lies in the lowest few counts of a long word; None: it may be of any law.

    Noise of many looks spreads over some decibels at the least.  Where all of them lie within two or three counts, a
    logarithmic word would span more than any receiver does: so its counts go as a power, and the noise's level is
    the root mean square of them, by the linear law, which is the commoner.
    """
    total = float(np.sum(histogram))
    above = np.cumsum(histogram, dtype=np.float64) / total
    # What is rarer than this may be echoes.
    top = int(np.searchsorted(above, STEEP_SHARE))
    if top < 1 or histogram[1] <= 0.0 or above[top] <= zeros:
        return None
    low, high = special.gammaincinv(STEEP_LOOKS, [max(zeros, 0.02), STEEP_SHARE])
    if 10.0 * math.log10(high / low) / (top + 0.5) * full_scale <= MAX_POWER_DB:
        return None
    counts = np.arange(top + 1, dtype=np.float64)
    level = math.sqrt(float(np.sum(histogram[: top + 1] * counts**2)) / float(np.sum(histogram[: top + 1])))
    per_count = 20.0 / math.log(10.0) / max(level, 0.5)
    return ReceiverCurve("linear", level, per_count, 1.0, True, False, WORST_FIT, STEEP_SIGMA * per_count)


def _best_law(
    quantiles: Floats, held: NDArray[np.bool_], spread: float, full_scale: int, pulses: float | None
) -> ReceiverCurve:
    """Return the law and looks that fit the quantiles ``held`` best, whatever the fit is worth."""
    best: ReceiverCurve | None = None
    seen = quantiles[held]
    known = pulses is not None and pulses >= 1.0
    tried: list[ReceiverCurve] = []
    for looks in sorted({*LOOKS, round(pulses, 1)}) if known and pulses is not None else LOOKS:
        power = _gamma_quantiles(looks)[held]
        db = 10.0 * np.log10(power)
        middle = db - db.mean()
        slope = float(middle @ seen / (middle @ middle))
        level = float(seen.mean() - slope * db.mean())
        trials: list[tuple[Law, float, float, Floats]] = []
        # No receiver spans more: what would is of another law, however well it fits.
        if slope > 0.0 and full_scale - level <= slope * MAX_SPAN_DB:
            trials.append(("log", level, 1.0 / slope, level + slope * db))
        for law, tenfold_db in TENFOLD_DB.items():
            shape = power ** (10.0 / tenfold_db)
            scale = float(shape @ seen / (shape @ shape))
            trials.append((law, scale, tenfold_db / math.log(10.0) / max(scale, 0.5), scale * shape))
        unlike = 0.0
        if known and pulses is not None:
            unlike = PULSES_COST * min(abs(math.log(looks / pulses)), math.log(looks) + UNSUMMED)
        for law, level_counts, per_count, fitted in trials:
            off = fitted - seen
            misfit = math.sqrt(float(off @ off) / off.size) / spread + unlike
            # A log law has one freedom more than the others and must earn it.
            cost = misfit + (0.01 if law == "log" else 0.0)
            now = ReceiverCurve(law, float(level_counts), float(per_count), looks, True, False, cost)
            tried.append(now)
            if best is None or cost < best.misfit:
                best = now
    assert best is not None
    as_good = [one.db_per_count for one in tried if one.law == best.law and one.misfit <= best.misfit + AS_GOOD]
    sigma = (max(as_good) - min(as_good)) / 2.0 if len(as_good) > 1 else 0.0
    # Counts a decibel go as the root of the looks.
    unsure = 0.5 * PULSES_SIGMA if known else UNKNOWN_SIGMA
    return replace(best, sigma=float(np.hypot(sigma, unsure * best.db_per_count)))


def noise_level(curve: ReceiverCurve, median_counts: float) -> float:
    """Return the count of the mean noise power for noise whose median is seen at ``median_counts``."""
    middle = float(special.gammaincinv(curve.looks, 0.5) / curve.looks)
    if curve.law == "log":
        return median_counts - 10.0 * float(np.log10(middle)) / curve.db_per_count
    return float(median_counts / middle ** (10.0 / TENFOLD_DB[curve.law]))
