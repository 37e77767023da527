"""By what steady angle bearings are out, from the boat's own way alone: no chart, no AIS.

Bearings that are out by an angle make the still world drift across the boat's way by that angle of the way made good.
Each word of the still world is such a drift over a way of some seconds; a line through the origin is laid through them,
by least squares, weighted by the way.  Source: elementary.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.reading.situation import BearingByMotion

Floats = NDArray[np.float64]

# A way shorter than this says nothing; words overlap, so that this many are worth one; each word fades by this share.
LEAST_WAY_M, WORDS_PER_INDEPENDENT, KEEP = 20.0, 5.0, 0.98
# What a receiver's wander and the echoes leave of a word, one sigma at the least, and how well a bearing can be known
# this way at all: a compass that lags in a turn and a course over the ground that is rounded stay.  Own figures.
LEAST_LEFT_M, LEAST_SIGMA_RAD = 2.0, math.radians(0.3)
# So many words before anything is said, and no angle less sure than this is.
LEAST_WORDS, MOST_SIGMA_RAD = 8, math.radians(3.0)
# A word that leaves more is of something else.
MOST_LEFT_M, MOST_ANGLE_RAD = 12.0, math.radians(15.0)


class SteadyBearing:
    """Adds the words up."""

    def __init__(self) -> None:
        self._words = 0
        self._sums = np.zeros(4)  # way squared, way times drift, drift squared and along squared, faded
        self._weight = 0.0

    def take_in(self, way_m: Floats, shift_m: Floats) -> None:
        """Take in how the reported place went against the still world, (2,) east and north, over a way (2,)."""
        length = float(np.hypot(*way_m))
        if length < LEAST_WAY_M:
            return
        right = np.array([way_m[1], -way_m[0]]) / length
        drift, along = -float(shift_m @ right), float(shift_m @ way_m) / length
        if abs(along) > MOST_LEFT_M or abs(drift) > MOST_LEFT_M + MOST_ANGLE_RAD * length:
            return
        self._words += 1
        self._sums = KEEP * self._sums + np.array([length**2, length * drift, drift**2, along**2])
        self._weight = KEEP * self._weight + 1.0

    @property
    def now(self) -> BearingByMotion | None:
        """The angle, clockwise, and its sigma; None: not known well enough to be of use."""
        if self._words < LEAST_WORDS:
            return None
        way2, cross, drift2, along2 = (float(v) for v in self._sums)
        bias = cross / way2
        left2 = max(LEAST_LEFT_M**2, max(drift2 - bias * cross, along2) / self._weight)
        sigma = math.hypot(LEAST_SIGMA_RAD, math.sqrt(left2 * WORDS_PER_INDEPENDENT / way2))
        return BearingByMotion(bias, sigma) if sigma <= MOST_SIGMA_RAD else None
