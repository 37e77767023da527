"""How close and when: closest approach with its sigma."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Below this the range is not really changing and the time of closest approach is tracker noise.
MIN_RELATIVE_SPEED = 0.05  # m/s


class Approach(NamedTuple):
    """Closest approach when both hold course and speed.  All fields share one shape."""

    distance_m: Floats
    time_s: Floats  # negative: already past; 0 where the range does not change
    sigma_m: Floats


def closest_approach(position_en: Floats, velocity_en: Floats, covariance: Floats) -> Approach:
    """Return distance, time and sigma of the closest approach of targets relative to the boat.

    ``position_en``, ``velocity_en``: shape (n, 2), target minus own, metres and m/s over the ground.
    ``covariance``: (n, 4, 4) of east, north, velocity east, velocity north, own errors included.  The sigma holds
    the geometry fixed at its best estimate (first order: at the closest approach, time does not change distance);
    where the distance is small beside the sigma the true distribution is one-sided and this overstates it.
    Source: minimises |p + v t|.  Elementary.
    """
    speed_sq = np.sum(velocity_en**2, axis=-1)
    steady = speed_sq < MIN_RELATIVE_SPEED**2
    time = np.where(steady, 0.0, -np.sum(position_en * velocity_en, axis=-1) / np.where(steady, 1.0, speed_sq))
    miss = position_en + velocity_en * time[:, None]
    distance = np.hypot(miss[:, 0], miss[:, 1])
    # Straight through the boat: the miss has no direction; take the one across the relative motion.
    across = np.column_stack([velocity_en[:, 1], -velocity_en[:, 0]])
    length = np.hypot(across[:, 0], across[:, 1])
    across = across / np.where(length > 0, length, 1.0)[:, None]
    unit = np.where((distance > 1.0)[:, None], miss / np.maximum(distance, 1e-9)[:, None], across)
    pp = covariance[:, :2, :2]
    pv = covariance[:, :2, 2:]
    vv = covariance[:, 2:, 2:]
    t = time[:, None, None]
    spread = pp + t * (pv + np.swapaxes(pv, 1, 2)) + t * t * vv
    variance = np.einsum("ni,nij,nj->n", unit, spread, unit)
    return Approach(distance, time, np.sqrt(np.maximum(variance, 0.0)))


def range_and_bearing(east_m: float, north_m: float) -> tuple[float, float]:
    """Return range in metres and true bearing in radians [0, 2 pi) of an offset."""
    return math.hypot(east_m, north_m), math.atan2(east_m, north_m) % math.tau
