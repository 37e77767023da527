"""Side-lobe echoes: at the range of something very strong, on any bearing, weaker by the lobes there and back."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import RadarSet

Floats = NDArray[np.float64]

# How many side-lobe echoes of strong things to expect per square metre, and how well their level is foretold; own
# figures.
LOBES_PER_M2, LOBE_SIGMA_DB = 2e-6, 6.0


def side_lobes(level_db: Floats | None, ring_db: Floats | None, radar: RadarSet) -> Floats:
    """Return (n,) per square metre, how many side-lobe echoes as strong as each are to be expected at its range.

    ``level_db`` of each, ``ring_db`` of the strongest thing at its range on any bearing; both over noise.
    """
    if level_db is None or ring_db is None:
        return np.zeros(0 if level_db is None else len(level_db))
    off = [level_db - ring_db - 2.0 * lobe for lobe in (radar.side_lobe_near_db, radar.side_lobe_far_db)]
    match = np.max([np.exp(-0.5 * (one / LOBE_SIGMA_DB) ** 2) for one in off], axis=0)
    return np.asarray(LOBES_PER_M2 * match)
