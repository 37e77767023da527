"""Whether the spokes of one radar come in the order of one antenna: two that send under one name do not.

Nor do those of a picture that is turned over: a marine radar's beam goes round clockwise, seen from above (IEC 62388,
"clockwise"; from memory), and one whose angles are counted the other way shows to port what lies to starboard.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from moonless.constants import TAU
from moonless.units import NS_PER_S

# Spokes that are lost, or come a few places early or late, look less than this apart from the one before.
WILD_RAD = math.radians(12.0)
# A second in which the antenna went back by so much, all small steps together, and more than this share of them back.
BACK_RAD, BACK_SHARE = math.radians(20.0), 0.5
# Over this long so many steps, and this share of all, must be wild: a link that loses bursts makes some.
WINDOW_S, LEAST_WILD, WILD_SHARE = 1.0, 8, 0.25


class SpokeOrder:
    """Counts, second by second, how often the antenna seems to leap and to come back, and which way it goes round."""

    def __init__(self) -> None:
        self._last_rad: float | None = None
        self._last_step = 0.0
        self._began_ns: int | None = None
        self._n = self._n_wild = self._n_small = self._n_back = 0
        self._round_rad = 0.0  # how far clockwise

    def take(self, now_ns: int, azimuth_rad: Sequence[float]) -> int | None:
        """Take in where the antenna looked.

        Return since when there are two of them, or it goes the wrong way round, where a second has shown either.
        """
        for azimuth in azimuth_rad:
            if self._last_rad is not None:
                step = math.remainder(azimuth - self._last_rad, TAU)
                self._n += 1
                # A leap, and a leap back: what one antenna that lost spokes never does.
                self._n_wild += abs(step) > WILD_RAD and abs(self._last_step) > WILD_RAD
                self._last_step = step
                if 0.0 < abs(step) <= WILD_RAD:
                    self._n_small += 1
                    self._n_back += step < 0.0
                    self._round_rad += step
            self._last_rad = azimuth
        if self._began_ns is None:
            self._began_ns = now_ns
            return None
        if now_ns - self._began_ns < WINDOW_S * NS_PER_S:
            return None
        began_ns, is_two = self._began_ns, self._n_wild >= LEAST_WILD and self._n_wild > WILD_SHARE * self._n
        is_turned_over = self._round_rad < -BACK_RAD and self._n_back > BACK_SHARE * self._n_small
        self._began_ns, self._n, self._n_wild = now_ns, 0, 0
        self._n_small, self._n_back, self._round_rad = 0, 0, 0.0
        return began_ns if is_two or is_turned_over else None
