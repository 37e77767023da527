"""Closed forms of detection: what a threshold costs and what it should find.

Power is in units of the mean noise power unless said otherwise.  "Looks" are independent samples summed.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special, stats

Floats = NDArray[np.float64]
Fluctuation = Literal[0, 1, 3]
"""Swerling cases whose amplitude holds through one dwell: steady, many scatterers, one big and many small."""


def ca_multiplier(n_reference: int, p_false: float) -> float:
    """Return the factor on the mean of ``n_reference`` cells (square law, exponential noise, one look).

    Source: alpha = N (Pfa^(-1/N) - 1); Richards, Fundamentals of Radar Signal Processing, ch. 6.
    """
    return float(n_reference * (p_false ** (-1.0 / n_reference) - 1.0))


def os_false_alarm(n_reference: int, rank: int, multiplier: float) -> float:
    """Return the false-alarm rate of ``multiplier`` times the ``rank``-th smallest of ``n_reference`` cells.

    Source: Pfa = N!/(N-k)! Gamma(N-k+alpha+1)/Gamma(N+alpha+1); Richards, Fundamentals of Radar Signal
    Processing, ch. 6 (order statistics).
    """
    n, k = n_reference, rank
    log_p = (
        special.gammaln(n + 1)
        - special.gammaln(n - k + 1)
        + special.gammaln(n - k + multiplier + 1)
        - special.gammaln(n + multiplier + 1)
    )
    return float(np.exp(log_p))


def os_multiplier(n_reference: int, rank: int, p_false: float) -> float:
    """Return the factor on the ``rank``-th smallest of ``n_reference`` cells for a false-alarm rate."""
    return float(
        optimize.brentq(lambda t: math.log(os_false_alarm(n_reference, rank, t)) - math.log(p_false), 1e-6, 1e6)
    )


def noise_threshold(looks: float, p_false: float) -> float:
    """Return the mean power over ``looks`` that noise alone passes with probability ``p_false``."""
    return float(special.gammainccinv(looks, p_false) / looks)


def p_detect(snr: ArrayLike, looks: int, threshold: float, fluctuation: Fluctuation) -> Floats:
    """Return the probability that the mean of ``looks`` square-law looks passes ``threshold``.

    Parameters
    ----------
    snr : mean signal power over mean noise power of one look, linear; unequal looks enter by their mean
    looks : looks summed
    threshold : of the mean power, in mean noise powers
    fluctuation : 0 steady; 1 exponential and 3 chi-square with four degrees from turn to turn
    Source
    ------
    Steady: the sum of looks is noncentral chi-square (Marcum).  Swerling cases by averaging that over the
    amplitude's law; Gauss-Laguerre, 400 nodes.  For one look and case 1 this is Pfa^(1/(1+S)).
    """
    snr_array = np.atleast_1d(np.asarray(snr, dtype=np.float64))

    def steady(s: Floats) -> Floats:
        return np.asarray(stats.ncx2.sf(2.0 * looks * threshold, 2 * looks, 2.0 * looks * np.maximum(s, 1e-12)))

    if fluctuation == 0:
        return steady(snr_array)
    shape = 1.0 if fluctuation == 1 else 2.0
    # Equal slices of probability, finer in the weak half where the step from missed to found lies.
    edges = np.linspace(0.0, 1.0, 801)
    middle = stats.gamma.ppf(0.5 * (edges[1:] + edges[:-1]), shape) / shape
    return np.asarray([float(np.mean(steady(s * middle))) for s in snr_array])


@lru_cache(maxsize=256)
def _texture(shape: float) -> tuple[Floats, Floats]:
    """Return (texture values with mean 1, weights) of a gamma texture; dense in both tails."""
    # Half of the nodes in equal slices of the logarithm of the upper-tail probability, half in the lower.
    tail = np.logspace(-9, math.log10(0.5), 120)
    edges = np.concatenate(([0.0], tail, 1.0 - tail[::-1][1:], [1.0]))
    middle = 0.5 * (edges[1:] + edges[:-1])
    return np.asarray(special.gammainccinv(shape, middle) / shape), np.diff(edges)


def k_survival(power: ArrayLike, looks: float, shape: float, reference_looks: float = math.inf) -> Floats:
    """Return P(clutter / reference > power) of K-distributed clutter with mean 1.

    Parameters
    ----------
    power : (n,) over the mean
    looks : independent speckle looks in the tested sum
    shape : of the gamma texture; inf: plain noise
    reference_looks : looks in the reference that the cell is divided by; inf: the mean is known exactly
    Source
    ------
    Compound form: gamma speckle of ``looks`` on a gamma texture of ``shape``; Ward, Tough and Watts, Sea Clutter.
    """
    t = np.atleast_1d(np.asarray(power, dtype=np.float64))
    texture, weight = (np.ones(1), np.ones(1)) if math.isinf(shape) else _texture(shape)
    reference, share = (np.ones(1), np.ones(1)) if math.isinf(reference_looks) else _texture(round(reference_looks, 3))
    argument = looks * t[:, None, None] * reference[None, None, :] / np.maximum(texture[None, :, None], 1e-300)
    return np.asarray(np.einsum("ijk,j,k->i", special.gammaincc(looks, argument), weight, share))


@lru_cache(maxsize=4096)
def k_quantile_db(p_above: float, looks: float, shape: float, reference_looks: float = math.inf) -> float:
    """Return the level in dB above the mean that K clutter over its reference passes with probability ``p_above``."""
    grid_db = np.linspace(-60.0, 60.0, 481)
    survival = k_survival(10.0 ** (grid_db / 10.0), looks, shape, reference_looks)
    log_survival = np.log(np.maximum(survival, 1e-300))
    # Decreasing, so interpolate on its negative.
    return float(np.interp(-math.log(p_above), -log_survival, grid_db))
