"""From signal to noise to the chance of being seen."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from moonless.errors import InputError
from moonless.radar.link.budget import DESIGN_PFA
from moonless.radar.types import Swerling

Floats = NDArray[np.float64]

# The lookup table runs over the leading bits of a float32: exponent and three bits of mantissa, steps of 0.4 dB.
TABLE_SHIFT = 20
TABLE_SIZE = 1 << (31 - TABLE_SHIFT)


def albersheim_db(p_detect: float, p_false: float, n_pulse: float = 1.0) -> float:
    """Return the single-pulse signal to noise, dB, that a steady target needs when ``n_pulse`` pulses are added.

    Source
    ------
    Albersheim (1981), as given in the documentation of the sdr library: within 0.2 dB for 1e-7 <= Pfa <= 1e-3,
    0.1 <= Pd <= 0.9, 1 <= N <= 8096.
    """
    a = math.log(0.62 / p_false)
    b = math.log(p_detect / (1.0 - p_detect))
    return -5.0 * math.log10(n_pulse) + (6.2 + 4.54 / math.sqrt(n_pulse + 0.44)) * math.log10(
        a + 0.12 * a * b + 1.7 * b
    )


def p_detect(snr: ArrayLike, n_pulse: float, swerling: Swerling = 1, p_false: float = DESIGN_PFA) -> Floats:
    """Return the probability that ``n_pulse`` added pulses of mean single-pulse ``snr`` (linear) cross the threshold.

    Square-law detector, noise known.  Swerling cases 0 to 4; NaN in gives NaN out.

    Source
    ------
    Noncentral chi-square of 2N degrees for a steady target; the other cases average it over a gamma distribution
    of the power: shape 1 (case 1), 2 (3), N (2), 2N (4).  Swerling 1 and 2 in closed form.  Richards, Fundamentals
    of Radar Signal Processing, ch. 6 (from memory).
    """
    if not n_pulse >= 1.0:
        raise InputError(f"n_pulse must be at least 1, not {n_pulse}")
    level = np.asarray(snr, dtype=np.float64)
    threshold = float(special.gammainccinv(n_pulse, p_false))
    if swerling == 0:
        return _steady(level, n_pulse, threshold)
    if swerling == 2:
        return np.asarray(special.gammaincc(n_pulse, threshold / (1.0 + level)))
    if swerling == 1:
        return _swerling_1(level, n_pulse, threshold)
    shape = 2.0 if swerling == 3 else 2.0 * n_pulse
    # Equal-probability steps resolve the deep fades that decide a high probability of detection.
    middle = (np.arange(400) + 0.5) / 400.0
    power = special.gammaincinv(shape, middle) / shape
    return np.asarray(np.mean(_steady(level[..., np.newaxis] * power, n_pulse, threshold), axis=-1))


def _steady(level: Floats, n_pulse: float, threshold: float) -> Floats:
    # Half a second to import, and only steady and lightly fading targets need it.
    from scipy import stats

    # scipy's ncx2 answers NaN far out in the tail, where the probability is one.
    found = stats.ncx2.sf(2.0 * threshold, 2.0 * n_pulse, 2.0 * n_pulse * np.minimum(level, 1e4))
    return np.where(level > 1e3 + threshold, 1.0, found)


def _swerling_1(level: Floats, n_pulse: float, threshold: float) -> Floats:
    if n_pulse < 1.0 + 1e-9:
        return np.exp(-threshold / (1.0 + level))
    total = np.maximum(n_pulse * level, 1e-12)
    grow = (n_pulse - 1.0) * np.log1p(1.0 / total) - threshold / (1.0 + total)
    below = special.gammainc(n_pulse - 1.0, threshold / (1.0 + 1.0 / total))
    # Near no signal `grow` overflows while `below` underflows; the product is then the false-alarm remainder.
    with np.errstate(over="ignore", invalid="ignore"):
        second = np.exp(grow) * below
    quiet = np.where(np.isfinite(second) & (below > 0.0), second, 0.0)
    first = special.gammaincc(n_pulse - 1.0, threshold)
    found = np.clip(first + quiet, p_false_of(n_pulse, threshold), 1.0)
    return np.where(np.isnan(level), np.nan, found)


def p_false_of(n_pulse: float, threshold: float) -> float:
    """Return the false-alarm probability of a threshold on the sum of ``n_pulse`` unit noise powers."""
    return float(special.gammaincc(n_pulse, threshold))


@lru_cache(maxsize=64)
def required_snr(p_wanted: float, n_pulse: float, swerling: Swerling = 1, p_false: float = DESIGN_PFA) -> float:
    """Return the single-pulse signal to noise, linear, at which ``p_detect`` is ``p_wanted``."""
    low, high = 1e-6, 1e6
    for _ in range(60):
        middle = math.sqrt(low * high)
        if float(p_detect(middle, n_pulse, swerling, p_false)) < p_wanted:
            low = middle
        else:
            high = middle
    return math.sqrt(low * high)


@lru_cache(maxsize=32)
def clutter_weight(n_pulse: float) -> float:
    """Return by how much clutter counts for more than noise.

    Clutter does not change while the beam sweeps over a point, so adding pulses does not average it: what is gained
    against noise from one pulse to ``n_pulse`` is not gained against clutter.
    """
    return required_snr(0.5, 1.0) / required_snr(0.5, n_pulse)


def spike_weight(shape: ArrayLike) -> Floats:
    """Return by how much K-distributed sea of this shape counts for more than even clutter of the same mean.

    The threshold that the K law needs for the design false-alarm rate, over the exponential law's, and of that the
    square root: a detector that follows the sea's local level wins half of it back (in decibels), which is what
    design/detection_in_clutter.py measures.
    """
    levels, weights = _spike_table()
    return np.interp(np.log(np.asarray(shape, dtype=np.float64)), levels, weights)


@lru_cache(maxsize=1)
def _spike_table() -> tuple[Floats, Floats]:
    shapes = np.geomspace(0.3, 60.0, 40)
    low, high = np.full(40, 1.0), np.full(40, 2000.0)
    for _ in range(60):
        # P(power > t) = 2 / Gamma(nu) (nu t)^(nu/2) K_nu(2 sqrt(nu t)), falling with t.
        middle = np.sqrt(low * high)
        y = shapes * middle
        tail = 2.0 / special.gamma(shapes) * y ** (shapes / 2.0) * special.kv(shapes, 2.0 * np.sqrt(y))
        high = np.where(tail < DESIGN_PFA, middle, high)
        low = np.where(tail < DESIGN_PFA, low, middle)
    return np.log(shapes), np.sqrt(np.sqrt(low * high) / -math.log(DESIGN_PFA))


@lru_cache(maxsize=32)
def p_detect_table(n_pulse: float, swerling: Swerling = 1, p_false: float = DESIGN_PFA) -> NDArray[np.float32]:
    """Return (TABLE_SIZE,) probabilities, indexed by the leading bits of a float32 signal to noise."""
    bits = (np.arange(TABLE_SIZE, dtype=np.int64) << TABLE_SHIFT) + (1 << (TABLE_SHIFT - 1))
    # The topmost exponent means infinity or NaN; stop at the largest number.
    level = np.minimum(bits, 0x7F7FFFFF).astype(np.int32).view(np.float32).astype(np.float64)
    # Outside these bounds the answer is the false-alarm probability, or one.
    inside = (level > 1e-4) & (level < 1e6)
    table = np.where(level >= 1e6, 1.0, p_false)
    table[inside] = p_detect(level[inside], n_pulse, swerling, p_false)
    table = np.asarray(np.clip(table, p_false, 1.0), dtype=np.float32)
    table.flags.writeable = False
    return table
