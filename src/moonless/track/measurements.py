"""Plots to places over the ground, each with what is sure about it alone and what it shares with its whole turn."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.echo.types import Plots
from moonless.frames import LocalFrame
from moonless.scan.types import ScanErrors
from moonless.track.correction import Correction
from moonless.track.settings import PoseErrors
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Placed plots, shape (n,) first.

    A measured place is  z = true place + shared_jacobian @ shared + own noise,  where ``shared`` is
    (heading error, position error east, north) with covariance `shared_covariance`: the same draw for all plots.
    """

    plot: NDArray[np.int64]  # index into the plots given
    place_m: Floats  # (n, 2) east, north
    noise: Floats  # (n, 2, 2) covariance of what is new in each plot
    shared_jacobian: Floats  # (n, 2, 3)
    ahead_s: Floats  # (n,) plot time minus tracker time
    range_m: Floats  # (n,) ground range
    bearing_rad: Floats  # (n,) clockwise from the plane's north
    own_m: Floats  # (n, 2)
    strength_db: Floats  # (n,) over the floor; 0 where not known

    def __len__(self) -> int:
        return int(self.plot.shape[0])


def shared_covariance(errors: ScanErrors, pose: PoseErrors, correction: Correction | None = None) -> Floats:
    """Return (3, 3) of (heading rad, position east m, north m): the errors all plots of a turn have in common.

    ``correction``: what was taken out of the reported pose; its covariance is then what is left of heading, antenna
    alignment and position.
    """
    if correction is not None:
        return correction.covariance + np.diag([0.0, errors.range_sigma_m**2, errors.range_sigma_m**2])
    heading = pose.heading_sigma_rad**2 + errors.azimuth_sigma_rad**2
    # The picture's range offset acts along each bearing; as a position error on both axes it is never understated.
    position = pose.position_sigma_m**2 + errors.range_sigma_m**2
    return np.diag([heading, position, position])


def measure(
    time_ns: int, plots: Plots, errors: ScanErrors, frame: LocalFrame, pose: PoseErrors, glint_sigma_m: float,
    correction: Correction | None = None,
) -> Measured:  # fmt: skip
    """Place each plot by its own range and azimuth and the boat's pose at its own moment, less ``correction``.

    Plots without a finite range, azimuth, heading or own position cannot be placed and are left out.
    Own motion is taken out plot by plot, so a turn of the boat within one antenna turn does not shear the picture.
    """
    slant = np.asarray(plots.range_m, dtype=np.float64)
    east, north = frame.to_plane(np.asarray(plots.own_lat_deg), np.asarray(plots.own_lon_deg))
    own = np.stack([np.atleast_1d(east), np.atleast_1d(north)], axis=-1).reshape(-1, 2)
    bearing = plots.heading_true_rad + plots.azimuth_rel_rad + _north_here(plots, frame)
    if correction is not None:
        bearing, own = bearing - correction.state[0], own - correction.state[1:]
    usable = np.isfinite(slant) & np.isfinite(bearing) & np.all(np.isfinite(own), axis=1)
    index = np.flatnonzero(usable)
    slant, bearing, own = slant[index], bearing[index], own[index]
    ground = np.sqrt(np.maximum(slant**2 - pose.antenna_height_m**2, 0.0))
    s, c = np.sin(bearing), np.cos(bearing)
    place = own + ground[:, None] * np.stack([s, c], axis=-1)

    # Where a detector gives no spread: a sixth of beam and pulse.  Common practice between a bare cell (1 / sqrt 12)
    # and the tenth of a beam that a strong echo allows; no source.
    sigma_r = _or_else(plots.range_sigma_m[index], errors.pulse_m / 6.0)
    sigma_a = _or_else(plots.azimuth_sigma_rad[index], errors.beam_rad / 6.0)
    # The eye of an echo wanders over a hull; about a sixth of her length, one sigma (as IMO A.823(19) App. 3
    # takes glint, from memory).  Unresolved hulls get the small-craft figure.
    hull = np.hypot(np.nan_to_num(plots.range_extent_m[index]), np.nan_to_num(plots.cross_extent_m[index]))
    glint = np.maximum(glint_sigma_m, hull / 6.0)
    along = sigma_r**2 + glint**2
    across = (ground * np.hypot(sigma_a, pose.heading_jitter_rad)) ** 2 + glint**2
    noise = np.empty((index.size, 2, 2))
    noise[:, 0, 0] = along * s * s + across * c * c
    noise[:, 1, 1] = along * c * c + across * s * s
    noise[:, 0, 1] = noise[:, 1, 0] = (along - across) * s * c

    jacobian = np.zeros((index.size, 2, 3))
    # Too large a heading turns every place clockwise about the boat: east by r cos b, north by -r sin b.
    jacobian[:, 0, 0], jacobian[:, 1, 0] = ground * c, -ground * s
    jacobian[:, 0, 1] = jacobian[:, 1, 2] = 1.0
    ahead = (plots.time_ns[index] - time_ns) / NS_PER_S
    strength = np.nan_to_num(plots.strength_db[index].astype(np.float64), nan=0.0)
    return Measured(index, place, noise, jacobian, ahead.astype(np.float64), ground, bearing, own, strength)


def _north_here(plots: Plots, frame: LocalFrame) -> float:
    """Return the bearing of true north in the plane where the boat is: the meridian convergence, 0 at the origin.

    20 km east of it at 55 degrees north it is a quarter of a degree, as much as a good compass errs.
    """
    known = np.flatnonzero(np.isfinite(plots.own_lat_deg) & np.isfinite(plots.own_lon_deg))
    if known.size == 0:
        return 0.0
    lat, lon = float(plots.own_lat_deg[known[0]]), float(plots.own_lon_deg[known[0]])
    step = 0.01 if lat < 89.0 else -0.01
    east, north = frame.to_plane(np.array([lat, lat + step]), np.array([lon, lon]))
    return math.atan2((east[1] - east[0]) * step, (north[1] - north[0]) * step)


def _or_else(value: Floats, otherwise: float) -> Floats:
    return np.where(np.isfinite(value) & (value > 0.0), value, otherwise)
