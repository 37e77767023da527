"""The regular grid of a turn's spokes: how many make a turn, where the first lies, how fast the antenna turns."""

from __future__ import annotations

import math
from collections import deque

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.units import NS_PER_S

# Fewer spokes than this are no picture of anything.
MIN_SPOKES = 8
# The rows of a scan follow another number of spokes a turn at once when it is so much off, and a smaller lasting change
# when the median of the last turns shows it: antennas driven by the wind give two or three in a hundred more or fewer
# from turn to turn (seen in real video: 808 to 830), and what is learnt of the picture must outlive that.
OTHER_COUNT, DRIFTED_COUNT, COUNT_TURNS = 0.1, 0.02, 5


class SpokeGrid:
    """Learns the grid from each turn, and counts which of its rows the turn going on has seen."""

    def __init__(self) -> None:
        self.n_spoke: int | None = None
        self.phase_rad = 0.0  # of the first row, as the antenna angle is sent
        self.rate = 0.0  # rad/s, not signed; 0: not known
        self._counts_off: deque[float] = deque(maxlen=COUNT_TURNS)  # spokes a turn, as the last turns showed them
        self._seen = bytearray()
        self._n_seen = 0

    @property
    def period_s(self) -> float | None:
        """Seconds a turn takes; None while not known."""
        return TAU / self.rate if self.rate > 0.0 else None

    @property
    def is_full(self) -> bool:
        """True when every row of the turn going on was seen."""
        return self.n_spoke is not None and self._n_seen >= self.n_spoke

    def begin(self) -> None:
        """Begin another turn."""
        self._seen = bytearray(self.n_spoke or 0)
        self._n_seen = 0

    def see(self, centre_rad: float) -> None:
        """Count the row of a spoke, by its antenna angle as sent."""
        n = self.n_spoke
        if n is not None:
            row = round((centre_rad - self.phase_rad) * n / TAU) % n
            if not self._seen[row]:
                self._seen[row] = 1
                self._n_seen += 1

    def learn(
        self, u: NDArray[np.float64], time_ns: NDArray[np.int64], angles: tuple[NDArray[np.float64], ...]
    ) -> None:
        """Learn spokes a turn from their spacing, and the rate of turning from time.

        ``u``, ``time_ns``: (n,) unwrapped angle and time of a turn's spokes, in order of ``u``.  ``angles``: as sent,
        and from the bow.  A set that counts from north steps evenly in one of the two while the boat turns, by whether
        it corrects the angle of each spoke or turns a whole picture: the evener one is asked.
        """
        n = min((_count_by_steps(angle) for angle in angles), key=lambda found: found[1])[0]
        if n >= MIN_SPOKES:
            self._settle_count(n)
        span_s = float(time_ns.max() - time_ns.min()) / NS_PER_S
        turned = float(u[-1] - u[0])
        if span_s > 0.05 and turned > 0.5:
            self.rate = turned / span_s

    def _settle_count(self, n: float) -> None:
        """Take or leave the number of spokes that one turn showed."""
        held = self.n_spoke
        if held is None or abs(n - held) > OTHER_COUNT * held:
            self.n_spoke = round(n)
            self._counts_off.clear()
            return
        self._counts_off.append(n)
        middle = float(np.median(self._counts_off))
        if len(self._counts_off) == COUNT_TURNS and abs(middle - held) > max(0.8, DRIFTED_COUNT * held):
            self.n_spoke = round(middle)
            self._counts_off.clear()


def _count_by_steps(azimuth: NDArray[np.float64]) -> tuple[float, float]:
    """Return (spokes a turn by the spacing of one turn's spokes, how uneven it is); (0, inf) where none shows."""
    steps = np.abs(np.mod(np.diff(azimuth) + math.pi, TAU) - math.pi)
    steps = steps[steps > 1e-5]  # a tenth of a step of the 16-bit angle: the rest are duplicates
    if not steps.size:
        return 0.0, math.inf
    # Lost spokes leave steps of two or three; the mean of the single ones is exact over a whole turn, where a median
    # would be bound to the angle's own steps.
    middle = float(np.median(steps))
    single = steps[(steps > 0.5 * middle) & (steps < 1.5 * middle)]
    return (TAU / float(np.mean(single)), float(np.std(single)) / middle) if single.size else (0.0, math.inf)
