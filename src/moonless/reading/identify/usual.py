"""What local knowledge says of each place: what was named there, where boats usually anchor, where they usually run.

It speaks for what is known to be there and never against anything: where nothing is known of a place, nothing changes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.reading.chart_around import Known

Floats = NDArray[np.float64]

# A thing that was named at the helm was put where its echo lay: a beam and a boat's error off.
NAMED_SIGMA_M = 20.0
# However many boats were counted there, no more than so many are expected in a square kilometre; own figure.
MOST_PER_M2 = 1e-4
# The words of what lies at anchor or runs here are said from this share of the water's density.
WITHIN = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class KnownHere:
    """What is known at each of some places."""

    named_density: Floats  # (n,) things named, per square metre
    named: tuple[str | None, ...]  # what the nearest that counts is called
    anchored_density: Floats  # (n,) boats that usually lie at anchor, per square metre
    on_way_density: Floats  # (n,) vessels that usually run here, per square metre


def known_here(position_en: Floats, covariance: Floats, known: Known | None) -> KnownHere:
    """Return what is known where tracks are, (n, 2) with their (n, 2, 2) covariances."""
    n = len(position_en)
    if known is None or n == 0:
        return KnownHere(np.zeros(n), (None,) * n, np.zeros(n), np.zeros(n))
    variance = np.trace(covariance, axis1=1, axis2=2) / 2.0 + NAMED_SIGMA_M**2
    named_density, named = _named(position_en, variance, known)
    anchored, on_way = np.zeros(n), np.zeros(n)
    points = shapely.points(position_en)
    for water in known.usual:
        near = np.exp(-0.5 * np.asarray(shapely.distance(water.outline, points)) ** 2 / variance)
        density = near * min(water.per_m2, MOST_PER_M2)
        if water.is_way:
            on_way = np.maximum(on_way, density)
            continue
        anchored = np.maximum(anchored, density)
        named = tuple(
            water.words if words is None and share >= WITHIN else words
            for words, share in zip(named, near.tolist(), strict=True)
        )
    return KnownHere(named_density, named, anchored, on_way)


def _named(position_en: Floats, variance: Floats, known: Known) -> tuple[Floats, tuple[str | None, ...]]:
    """Return the density of named things at each track and the words of the nearest that counts."""
    n = len(position_en)
    if not len(known.words):
        return np.zeros(n), (None,) * n
    squared = np.sum((position_en[:, None, :] - known.point_en[None, :, :]) ** 2, axis=-1) / variance[:, None]
    density = known.confidence[None, :] * np.exp(-0.5 * squared) / (2 * math.pi * variance[:, None])
    best = np.argmax(density, axis=1)
    near = squared[np.arange(n), best] < 9.0
    words = tuple(known.words[int(best[i])] if near[i] else None for i in range(n))
    return np.asarray(density.sum(axis=1)), words
