"""Compiled: what lies about a place: strays, other tracks in the way.

`moonless.track.kernels.reference` is the definition.

Shapes: N tracks, J plots, K strays.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@njit(cache=True, nogil=True)
def density_kernel(
    place: Floats, reach: Floats, least: Floats, stray: Floats, weight: Floats, strength: Floats
) -> Floats:
    """Return (J,) weight of strays (K, 2) per square metre within ``reach`` (J,) of each place (J, 2).

    Only those as strong as ``least`` (J,) count.  The strays come in order of easting, so that only those abeam need be
    looked at.
    """
    out = np.zeros(place.shape[0])
    n = stray.shape[0]
    for j in range(place.shape[0]):
        total = 0.0
        limit = reach[j] * reach[j]
        begin, end = 0, n
        while begin < end:
            middle = (begin + end) // 2
            if stray[middle, 0] < place[j, 0] - reach[j]:
                begin = middle + 1
            else:
                end = middle
        for k in range(begin, n):
            if stray[k, 0] > place[j, 0] + reach[j]:
                break
            d0 = place[j, 0] - stray[k, 0]
            d1 = place[j, 1] - stray[k, 1]
            if d0 * d0 + d1 * d1 <= limit and strength[k] >= least[j]:
                total += weight[k]
        out[j] = total / (math.pi * limit)
    return out


@njit(cache=True, nogil=True)
def neighbours_kernel(
    place: Floats,
    exists: Floats,
    real: Bools,
    length: Floats,
    own: Floats,
    beam: float,
    pulse: float,
    most: float,
    hide: float,
) -> tuple[Floats, Floats]:
    """Return (seen (N,), blend (N, 2, 2)): what other tracks do to the seeing of each.

    ``seen``: probability that a track gives a plot of its own, as far as others hinder it: two echoes closer than
    beam and pulse run into one (Koch and van Keuk 1997: exp(-ln 2 (dr^2 / pulse^2 + da^2 / beam^2))), at most
    ``most``; and a hull nearer on the same bearing hides what is behind with probability ``hide``.
    ``blend``: how far the one common plot of such a pair may lie from either, as a covariance.
    Only tracks that are ``real`` hinder and are excused: a doubtful one must earn its own plots.
    """
    n = place.shape[0]
    seen = np.ones(n)
    blend = np.zeros((n, 2, 2))
    distance = np.empty(n)
    azimuth = np.empty(n)
    for i in range(n):
        d0, d1 = place[i, 0] - own[0], place[i, 1] - own[1]
        distance[i] = math.sqrt(d0 * d0 + d1 * d1)
        azimuth[i] = math.atan2(d0, d1)
    for i in range(n):
        if not real[i]:
            continue
        for k in range(n):
            if k == i or not real[k]:
                continue
            dr = distance[i] - distance[k]
            da = abs(azimuth[i] - azimuth[k])
            if da > math.pi:
                da = 2.0 * math.pi - da
            u = (dr / pulse) ** 2 + (da / beam) ** 2
            if u < 10.0:
                joined = most * exists[k] * math.exp(-math.log(2.0) * u)
                seen[i] *= 1.0 - joined
                d0, d1 = place[k, 0] - place[i, 0], place[k, 1] - place[i, 1]
                blend[i, 0, 0] += 0.25 * joined * d0 * d0
                blend[i, 1, 1] += 0.25 * joined * d1 * d1
                blend[i, 0, 1] += 0.25 * joined * d0 * d1
                blend[i, 1, 0] += 0.25 * joined * d0 * d1
            half = 0.5 * length[k]
            if dr > half and half > 0.0 and da * distance[k] < half:
                seen[i] *= 1.0 - hide * exists[k]
    return seen, blend
