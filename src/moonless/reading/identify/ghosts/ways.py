"""What the kinds of ghosts share: how tracks go, how strong and how long each may be, densities of gaps."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.track.types import Track

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# A second way round is weaker by so much; own figure, from the fourth power: sixteen times, 12 dB, before anything is
# lost at the boat's own side.
WEAKER_DB = 10.0
# A thing this long may be the parent of another's ghost; what is shorter answers little on a second way round: it must
# stand so much higher over its ghost.  Own figures.
LIT_M, SMALL_DB = 20.0, 15.0
# Where levels do not say which is the weaker, a ghost is longer than its parent by no more than this.
SHORT_M = 20.0
# Where on a hull the echo is thrown back, one sigma.
HULLS_M, HULL_SHARE = 8.0, 0.25
# Where neither levels nor a motion rule a pair out, of more things than these some pair fits any place, and no more
# ghosts are to be expected in all.  Own figure.
MOST_THINGS = 4
# Speeds of what moves by itself, one sigma each axis, and how well a foretold motion is kept; own figures.
OWN_WAY, FORETOLD_SIGMA = 4.0, 0.8
MOTION_CAP = (0.02, 20.0)


@dataclass(frozen=True, slots=True)
class Ways:
    """How n tracks go over the ground."""

    velocity: Floats  # (n, 2) m/s
    noise: Floats  # (n,) variance of it, each axis
    p_moving: Floats  # (n,) that each moves, as all is considered

    @classmethod
    def of(cls, tracks: tuple[Track, ...], p_moving: Floats | None) -> Ways:
        """``p_moving``: None, as the tracker has it."""
        velocity = np.array([(t.velocity_east, t.velocity_north) for t in tracks]).reshape(-1, 2)
        noise = np.array([(t.covariance[2, 2] + t.covariance[3, 3]) / 2.0 for t in tracks])
        return cls(velocity, noise, np.array([t.p_moving for t in tracks]) if p_moving is None else p_moving)

    def fit(self, which: NDArray[np.int64], foretold: Floats, noise: Floats, is_scaled: Mask | bool = True) -> Floats:
        """Return (m,) how much better a foretold velocity explains a track's than its own would: any, or none at all.

        ``which`` (m,): the tracks; ``foretold`` (m, 2), ``noise`` (m,): its variance, each axis.  That it moves over
        the ground is what the kinds of real things are weighed by too: what lies still is no better explained by a
        ghost that is to lie still, but for its level, where levels are decibels (``is_scaled``).
        """
        velocity, p = self.velocity[which], self.p_moving[which]
        ghost, free = (sigma**2 + noise + self.noise[which] for sigma in (FORETOLD_SIGMA, OWN_WAY))
        off2, speed2 = np.sum((velocity - foretold) ** 2, axis=1), np.sum(velocity**2, axis=1)
        ratio = free / ghost * np.exp(-0.5 * off2 / ghost + 0.5 * speed2 / free)
        stays = np.exp(-0.5 * np.sum(foretold**2, axis=1) / (FORETOLD_SIGMA**2 + noise))
        as_still = np.maximum(stays * np.where(is_scaled, MOTION_CAP[1], 1.0), MOTION_CAP[0])
        return np.asarray(p * np.clip(ratio, *MOTION_CAP) + (1.0 - p) * as_still)


def at_most(level_db: Floats, clipped: Mask | None) -> Floats:
    """Return (n,) how strong each may be: any, at the top of the scale or where it was not seen."""
    at_top = np.isnan(level_db) if clipped is None else np.isnan(level_db) | clipped
    return np.where(at_top, np.inf, level_db)


def lengths(tracks: tuple[Track, ...]) -> Floats:
    """Return (n,) how long each is, as it shows or as AIS tells, whichever is more; 0: neither says."""
    told = [0.0 if t.ais is None or t.ais.length_m is None else t.ais.length_m for t in tracks]
    return np.maximum([t.length_m or 0.0 for t in tracks], told)


def density(gap: Floats, spread: Floats) -> Floats:
    """Return (m,) the normal density per square metre of gaps (m, 2) with covariances (m, 2, 2)."""
    (ee, en), (_, nn) = np.moveaxis(spread, 0, -1)
    determinant = ee * nn - en**2
    squared = (nn * gap[:, 0] ** 2 - 2.0 * en * gap[:, 0] * gap[:, 1] + ee * gap[:, 1] ** 2) / determinant
    return np.asarray(np.exp(-0.5 * squared) / (2.0 * math.pi * np.sqrt(determinant)))
