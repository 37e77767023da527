"""How much fainter this radar hears than its file says, by what it hears all the time.

A cross-section implied by a level is only as good as the link budget, and a radar with a wet radome, an old magnetron
or a scale learnt amiss hears everything fainter by the same decibels.  The echoes that are hit turn after turn are
things, whatever they are, and things answer with some square metres in the middle; so their middle says by how much.
Only fainter is taken: what seems stronger may be land and ships.  How unsure it still is goes with it: until a few
things have been hit for a while, a level says little.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# The middle cross-section of what stands and goes on these waters, dB over 1 m2, and how many things at the middle of
# the prior are in the balance; own figures, chosen on wild scenes 100 to 150 (python -m bench wild).
THINGS_DB, PRIOR_THINGS = 3.0, 3.0
# What is hit in this share of its turns and so often stands or goes there.
STEADY_SHARE, STEADY_HITS = 0.85, 10
KEEP = 0.65
# One sigma of the offset before anything is heard; it shrinks as the root of the things in the balance.  Own figure.
PRIOR_SIGMA_DB = 8.0


class StrengthCalibration:
    """Learns the offset of all implied cross-sections, turn by turn."""

    def __init__(self) -> None:
        self.offset_db = 0.0  # at most 0: what is implied is so much under what is
        self.sigma_db = PRIOR_SIGMA_DB

    def take_in(self, implied_db: Floats, hit_share: Floats, n_hits: NDArray[np.int64]) -> None:
        """Take in a turn: (n,) cross-sections as implied, without this offset, NaN where not known; records of hits."""
        steady = (hit_share > STEADY_SHARE) & (n_hits > STEADY_HITS) & np.isfinite(implied_db)
        n = int(np.count_nonzero(steady))
        if n:
            now = min(0.0, float(np.median(implied_db[steady])) - THINGS_DB) * n / (n + PRIOR_THINGS)
            self.offset_db = KEEP * self.offset_db + (1.0 - KEEP) * now
            unsure = PRIOR_SIGMA_DB * math.sqrt(PRIOR_THINGS / (n + PRIOR_THINGS))
            self.sigma_db = KEEP * self.sigma_db + (1.0 - KEEP) * unsure
