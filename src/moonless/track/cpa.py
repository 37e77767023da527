"""Closest point of approach: how close, when, and how sure.

Both vessels are taken to hold course and speed.  NaN in gives NaN out: an unknown target is not a safe one.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from moonless.errors import InputError

# Below this the range is not really changing and the time of closest approach is mostly tracker noise.
MIN_RELATIVE_SPEED = 0.05  # m/s


class Cpa(NamedTuple):
    """Closest approach; fields of shape (...)."""

    distance_m: NDArray[np.float64]
    time_s: NDArray[np.float64]  # negative: already past


class CpaSigma(NamedTuple):
    """One standard deviation of each figure of `Cpa`."""

    distance_m: NDArray[np.float64]
    time_s: NDArray[np.float64]


def cpa(relative_position_m: ArrayLike, relative_velocity: ArrayLike) -> Cpa:
    """Return how close each target will come, and when.

    Parameters
    ----------
    relative_position_m : shape (..., 2), metres; target minus own boat, (east, north)
    relative_velocity : shape (..., 2), metres per second, same frame

    Raises
    ------
    InputError  If a last axis is not 2.

    Source
    ------
    Minimises |p + v t|: t = -(p . v) / (v . v).  Elementary.
    """
    p = _as_planar("relative_position_m", relative_position_m)
    v = _as_planar("relative_velocity", relative_velocity)
    speed_sq = np.sum(v * v, axis=-1)
    steady = speed_sq < MIN_RELATIVE_SPEED**2
    # A steady target is reported at its present range, time zero, so that "close, and soon" calls still come
    # for a vessel keeping pace alongside.
    safe_sq = np.where(steady, 1.0, speed_sq)
    t = np.where(steady, 0.0, -np.sum(p * v, axis=-1) / safe_sq)
    # A NaN position must not turn into a time of zero.
    t = np.where(np.isnan(np.sum(p, axis=-1)), np.nan, t)
    return Cpa(np.linalg.norm(p + v * t[..., np.newaxis], axis=-1), t)


def cpa_sigma(relative_position_m: ArrayLike, relative_velocity: ArrayLike, covariance: ArrayLike) -> CpaSigma:
    """Return one standard deviation of the CPA and its time, to first order, never smaller than the geometry allows.

    Parameters
    ----------
    relative_position_m, relative_velocity : as for `cpa`
    covariance : shape (..., 4, 4) of (east, north, velocity east, velocity north), SI; own part added by the caller

    Method
    ------
    With m = p + v t the miss vector, dm = dp + t dv + v dt and m . v = 0.  The signed miss s = m . n, n the unit
    normal to v, is linear in (p, v) near the solution: ds = n . dp + t n . dv.  It stays smooth through a
    collision course, where |m| does not, so its spread is the honest one.  dt follows from t = -(p . v)/(v . v).
    """
    p = _as_planar("relative_position_m", relative_position_m)
    v = _as_planar("relative_velocity", relative_velocity)
    cov = np.asarray(covariance, dtype=np.float64)
    if cov.shape[-2:] != (4, 4):
        raise InputError(f"covariance must end in shape (4, 4), not {cov.shape}")
    t = cpa(p, v).time_s
    speed_sq = np.sum(v * v, axis=-1)
    steady = speed_sq < MIN_RELATIVE_SPEED**2
    safe_sq = np.where(steady, 1.0, speed_sq)
    speed = np.sqrt(safe_sq)
    normal = np.stack([v[..., 1], -v[..., 0]], axis=-1) / speed[..., np.newaxis]
    range_m = np.linalg.norm(p, axis=-1)
    along = p / np.maximum(range_m, 1e-9)[..., np.newaxis]
    # Keeping pace: the figure reported is the present range, so its spread is that of the range.
    at_p = np.where(steady[..., np.newaxis], along, normal)
    d_distance = np.concatenate([at_p, np.where(steady[..., np.newaxis], 0.0, t[..., np.newaxis] * normal)], axis=-1)
    d_time = np.concatenate(
        [-v / safe_sq[..., np.newaxis], -(p + 2.0 * t[..., np.newaxis] * v) / safe_sq[..., np.newaxis]], axis=-1
    )
    distance_var = np.einsum("...i,...ij,...j->...", d_distance, cov, d_distance)
    time_var = np.einsum("...i,...ij,...j->...", d_time, cov, d_time)
    time_sigma = np.where(steady, np.inf, np.sqrt(np.maximum(time_var, 0.0)))
    return CpaSigma(np.sqrt(np.maximum(distance_var, 0.0)), np.where(np.isnan(t), np.nan, time_sigma))


def _as_planar(name: str, value: ArrayLike) -> NDArray[np.float64]:
    out = np.asarray(value, dtype=np.float64)
    if out.ndim == 0 or out.shape[-1] != 2:
        raise InputError(f"{name} must end in an axis of 2 (east, north), not shape {out.shape}")
    return out
