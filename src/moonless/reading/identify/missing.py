"""Charted marks that should have shown and did not.

For each mark two stories are weighed turn by turn: it stands there and was missed, or it is gone.  A miss speaks for
"gone" by the chance that it would have shown; a mark that shows ends the matter at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# How often an aid is gone or moved when first looked for.  Our own figure, no source.
GONE_BEFORE = 0.03
# One look is never worth more than this: the model of the radar may be wrong, and a hull may lie in the beam.
MOST_SURE = 0.85
# Misses in a row are not independent: a lull in the multipath or a listing buoy lasts for turns.
EACH_MISS = 0.5
# A hit may be something else there, or a stray echo.
SEEN_THOUGH_GONE = 0.08
SAY_ABOVE = 0.95
STOP_BELOW = 0.7
LEAST_LOOKS = 5
# Share of what was learnt that fades each turn in which the place cannot be looked at.
FADE = 0.004
# A mark that would show less often than this is not held against the chart.
WORTH_LOOKING = 0.4


@dataclass(slots=True)
class Watched:
    """One mark's account."""

    log_odds: float
    looks: int = 0
    p_sum: float = 0.0
    is_missing: bool = False

    @property
    def p_gone(self) -> float:
        """Probability that the mark is not where it is charted."""
        return 1.0 / (1.0 + math.exp(-self.log_odds))

    @property
    def p_seen(self) -> float:
        """Mean chance, over the looks, that it would have shown."""
        return self.p_sum / self.looks if self.looks else 0.0


class MissingWatch:
    """Keeps the account of every mark, by cell and feature, so that it outlives a new stretch of chart."""

    def __init__(self) -> None:
        self._marks: dict[tuple[str, str], Watched] = {}

    def of(self, name: tuple[str, str]) -> Watched | None:
        """Return a mark's account, None when it was never looked for."""
        return self._marks.get(name)

    def look(self, names: list[tuple[str, str]], p_detect: Floats, looked: Bools, seen: Bools) -> list[Watched]:
        """Take in one turn and return the accounts, in order.

        ``p_detect``: chance that each shows this turn if it is there; ``looked``: that its place was scanned and
        nothing lies over it; ``seen``: that an echo lies there.
        """
        out = []
        for i, name in enumerate(names):
            mark = self._marks.get(name)
            if mark is None:
                mark = self._marks[name] = Watched(math.log(GONE_BEFORE / (1.0 - GONE_BEFORE)))
            p = min(float(p_detect[i]), MOST_SURE)
            if seen[i]:
                mark.log_odds = max(-6.0, mark.log_odds + math.log(SEEN_THOUGH_GONE / max(p, 0.3)))
                mark.looks, mark.p_sum = 0, 0.0
            elif looked[i] and p >= WORTH_LOOKING:
                mark.looks += 1
                mark.p_sum += p
                mark.log_odds = min(8.0, mark.log_odds - EACH_MISS * math.log(1.0 - p))
            else:
                # What cannot be looked at is slowly known less of.
                mark.log_odds += FADE * (math.log(GONE_BEFORE / (1.0 - GONE_BEFORE)) - mark.log_odds)
            limit = STOP_BELOW if mark.is_missing else SAY_ABOVE
            mark.is_missing = mark.p_gone >= limit and mark.looks >= LEAST_LOOKS
            out.append(mark)
        return out
