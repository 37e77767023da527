"""The receiver's curve: how echo power becomes an 8-bit count, and back.  The one place that knows it.

A logarithmic receiver: three counts to the decibel, mean receiver noise at count 20.  Count 0 is 6.67 dB below mean
noise and everything weaker; count 255 is 78.3 dB above it and everything stronger (saturation).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

COUNTS_PER_DB = 3.0  # eight bits span 85 dB
NOISE_COUNT = 20.0  # of the mean noise power
FULL_SCALE = 255  # of eight bits


def counts_from_snr(snr: ArrayLike) -> NDArray[np.uint8]:
    """Return receiver counts for power over mean noise power, linear; NaN is refused by the caller."""
    with np.errstate(divide="ignore"):
        level = NOISE_COUNT + COUNTS_PER_DB * 10.0 * np.log10(np.asarray(snr, dtype=np.float64))
    return np.clip(np.rint(level), 0, FULL_SCALE).astype(np.uint8)


def counts_of(snr: ArrayLike) -> NDArray[np.uint8]:
    """Return the counts a mean echo stands at, the mean noise it stands in included."""
    return counts_from_snr(1.0 + np.asarray(snr, dtype=np.float64))


def snr_db_from_counts(counts: ArrayLike) -> NDArray[np.float64]:
    """Return decibels over mean noise for counts; at 0 and 255 the true value may be lower or higher."""
    return (np.asarray(counts, dtype=np.float64) - NOISE_COUNT) / COUNTS_PER_DB
