"""How the exceedances of one kind of background go on beyond what a few boxes show: measured far out, then followed.

An exceedance's score says how far it lies along its own bin's line (``clutter.py``). If every line were right and
every tail straight, a share ``p`` of scores would exceed ``score(p)``. Noise and K clutter of any shape come close,
spiky crests and counts of an unknown scale do not: so the scores of a whole kind are counted, and the design rate,
which lies beyond all counts, is found along the curve that the counted rates lie on:

    quantile = a + b ((-ln p)^bend - 1) / bend      bend 0: Weibull and gamma; 1: Pareto, in decibels; the truth between
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Noise, K clutter of shape 0.5 to 10 and patches smaller and larger than the box lie on a straight line in (-ln p) to
# this power (design/echo/tail.py): where a kind has told nothing yet, it is taken to do the same.
TAIL_POWER = 0.42
SCORE_STEP = 0.02
N_SCORE = 500
RATES: Floats = np.array([0.1, 0.04, 0.02, 0.01, 0.004, 0.0015, 0.0006, 0.0002, 0.0001])
SURE_RATES = 5  # the first of them; a few echoes among the exceedances do not reach these
BENDS: Floats = np.linspace(-0.5, 1.2, 18)
BEND_SIGMA = 0.2  # of what the bend may be, about TAIL_POWER, before anything is measured; own figure
# Strays that touch are one: a spike fills several boxes, of which every second in both directions is counted.
BOXES_A_STRAY = 3.0
LEAST_COUNT = 12.0  # exceedances counted at a rate for it to be asked
CURVE_MISFIT = 0.05  # of ln p, what no curve of this form follows better; own figure
DUE, PRIOR = 1.0, 1.0  # exceedances
# The rate is changed by no more: boats not yet known for such are among the farthest exceedances, and may cost no
# more than the half or whole decibel that such a factor is worth.  Own figure.
BELIEVED = (0.5, 3.0)
BEYOND = 1e-9  # what lies beyond this rate, as the sure rates foretell it, is an echo and no exceedance


def score(rate: Floats | float) -> Floats:
    """Return the score that is exceeded at ``rate``, by the line that bins are taken to follow."""
    return np.asarray(np.power(-np.log(rate), TAIL_POWER), dtype=np.float64)


def index_of_score(scores: Floats) -> NDArray[np.int64]:
    """Return the bin of each score in a count of ``N_SCORE``."""
    return np.clip(scores / SCORE_STEP, 0, N_SCORE - 1).astype(np.int64)


def _curves(rate: Floats) -> Floats:
    """Return (bends, rates) where each rate lies along each bend's curve."""
    x = -np.log(rate)[None, :]
    bend = np.where(np.abs(BENDS) < 1e-9, 1e-9, BENDS)[:, None]
    return np.asarray((x**bend - 1.0) / bend)


def _quantiles(counts: Floats, rates: Floats) -> Floats:
    """Return the scores exceeded at ``rates``, interpolated within a step."""
    above = np.cumsum(counts[::-1])[::-1] / counts.sum()
    edge = np.arange(counts.size) * SCORE_STEP
    # Falling: interpolate on the rising negative, in the logarithm of the rate.
    keep = above > 0.0
    return np.asarray(np.interp(-np.log(rates), -np.log(above[keep]), edge[keep]))


def _follow(counts: Floats, rates: Floats, wanted: Floats) -> Floats:
    """Return the scores at ``wanted`` rates along the curve of the ``rates`` that are measured."""
    total = float(counts.sum())
    rates = rates[(total * rates >= LEAST_COUNT) | (np.arange(rates.size) < 3)]
    seen = _quantiles(counts, rates)
    depth = -np.log(rates)
    steep = np.gradient(depth, np.maximum.accumulate(seen + 1e-6 * np.arange(seen.size)))
    sigma = np.sqrt(BOXES_A_STRAY / np.maximum(total * rates, 1.0) + CURVE_MISFIT**2)
    weight = (np.maximum(steep, 0.1) / sigma) ** 2
    weight /= weight.sum()
    # Weighted least squares for every bend at once.
    x = _curves(rates)
    x_mean, seen_mean = x @ weight, float(seen @ weight)
    x_off, seen_off = x - x_mean[:, None], seen - seen_mean
    slope = np.maximum((x_off * seen_off) @ weight / ((x_off**2) @ weight), 1e-3)
    misfit = ((slope[:, None] * x_off - seen_off) ** 2) @ (np.maximum(steep, 0.1) / sigma) ** 2
    best = int(np.argmin(misfit + ((BENDS - TAIL_POWER) / BEND_SIGMA) ** 2))
    return np.asarray(seen_mean + slope[best] * (_curves(wanted)[best] - x_mean[best]))


def tail_scores(counts: Floats, wanted: Floats) -> Floats:
    """Return the score that each of the ``wanted`` rates exceeds.

    ``counts`` (N_SCORE,): how often each score was seen among all boxes of one kind.  With too few to tell, the line
    that bins are taken to follow.
    """
    wanted = np.asarray(wanted, dtype=np.float64)
    if counts.sum() * RATES[2] < LEAST_COUNT:
        return score(wanted)
    sure = _follow(counts, RATES[:SURE_RATES], np.array([BEYOND]))[0]
    kept = counts.copy()
    kept[int(np.clip(sure / SCORE_STEP, 1, N_SCORE - 1)) :] = 0.0
    # Where some at least are due: do they come oftener than the curve has it?  Believed as far as they are many.
    total = float(kept.sum())
    deep = max(float(wanted[wanted > BEYOND].min(initial=1.0)), DUE * BOXES_A_STRAY / total)
    at = _follow(kept, RATES, np.append(wanted, deep))
    seen = float(kept[int(np.clip(at[-1] / SCORE_STEP, 0, N_SCORE - 1)) :].sum()) / BOXES_A_STRAY
    oftener = float(np.clip((seen + PRIOR) / (deep * total / BOXES_A_STRAY + PRIOR), *BELIEVED))
    if abs(oftener - 1.0) < 0.1:
        return at[:-1]
    # Rates that are counted need no more.
    return _follow(kept, RATES, np.where(wanted < RATES[SURE_RATES - 1], wanted / oftener, wanted))
