"""WGS 84 to local east/north metres and back; bearings and angle differences.

Bearings run clockwise from north (true), from the bow (relative) or from magnetic north, in [0, 2 pi) or [0, 360).
Differences lie in [-pi, pi) or [-180, 180).  Positions are (lat, lon) degrees; planes are (east, north) metres.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import overload

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import Geod, Transformer

from moonless.constants import TAU
from moonless.errors import InputError

Floats = NDArray[np.float64]
Many = NDArray[np.float64] | NDArray[np.float32] | Sequence[float]

_GEOD = Geod(ellps="WGS84")


@overload
def wrap_tau(angle_rad: float) -> float: ...
@overload
def wrap_tau(angle_rad: Floats) -> Floats: ...
def wrap_tau(angle_rad: float | Floats) -> float | Floats:
    """Return an angle in [0, 2 pi)."""
    wrapped = np.mod(angle_rad, TAU)
    # A tiny negative angle rounds up to 2 pi itself, which is outside the half-open interval.
    wrapped = np.where(wrapped >= TAU, 0.0, wrapped)
    return float(wrapped) if np.ndim(angle_rad) == 0 else wrapped


@overload
def wrap_pi(angle_rad: float) -> float: ...
@overload
def wrap_pi(angle_rad: Floats) -> Floats: ...
def wrap_pi(angle_rad: float | Floats) -> float | Floats:
    """Return an angle difference in [-pi, pi)."""
    wrapped = np.mod(np.asarray(angle_rad) + math.pi, TAU)
    wrapped = np.where(wrapped >= TAU, 0.0, wrapped) - math.pi
    return float(wrapped) if np.ndim(angle_rad) == 0 else wrapped


def wrap_360(angle_deg: float) -> float:
    """Return an angle in [0, 360)."""
    wrapped = angle_deg % 360.0
    return 0.0 if wrapped >= 360.0 else wrapped


def wrap_180(angle_deg: float) -> float:
    """Return an angle difference in [-180, 180)."""
    return wrap_360(angle_deg + 180.0) - 180.0


@overload
def bearing_of(east_m: float, north_m: float) -> float: ...
@overload
def bearing_of(east_m: Floats, north_m: Floats) -> Floats: ...
def bearing_of(east_m: float | Floats, north_m: float | Floats) -> float | Floats:
    """Return the true bearing, radians in [0, 2 pi), of a vector (east, north); 0 for the null vector."""
    if isinstance(east_m, np.ndarray) or isinstance(north_m, np.ndarray):
        return wrap_tau(np.arctan2(east_m, north_m))
    return wrap_tau(math.atan2(east_m, north_m))


@lru_cache(maxsize=64)
def _transformers(lat_deg: float, lon_deg: float) -> tuple[Transformer, Transformer]:
    plane = f"+proj=aeqd +lat_0={lat_deg!r} +lon_0={lon_deg!r} +datum=WGS84 +units=m +no_defs"
    geographic = "+proj=longlat +datum=WGS84 +no_defs"
    return (
        Transformer.from_crs(geographic, plane, always_xy=True),
        Transformer.from_crs(plane, geographic, always_xy=True),
    )


@dataclass(frozen=True, slots=True)
class LocalFrame:
    """A plane of east/north metres touching the earth at (lat, lon).

    Azimuthal equidistant: distance and true bearing from the origin are the geodesic's.  Elsewhere the scale
    across the bearing grows as (d/R)^2/6, 4 parts in a million at 30 km.
    """

    lat_deg: float
    lon_deg: float

    def __post_init__(self) -> None:
        if not (-90.0 <= self.lat_deg <= 90.0 and math.isfinite(self.lon_deg)):
            raise InputError(f"latitude {self.lat_deg}, longitude {self.lon_deg} is not a place on earth")

    @overload
    def to_plane(self, lat_deg: float, lon_deg: float) -> tuple[float, float]: ...
    @overload
    def to_plane(self, lat_deg: Many, lon_deg: Many) -> tuple[Floats, Floats]: ...
    def to_plane(self, lat_deg: ArrayLike, lon_deg: ArrayLike) -> tuple[float | Floats, float | Floats]:
        """Return (east, north) metres; NaN in gives NaN out, shapes are kept."""
        east, north = _transformers(self.lat_deg, self.lon_deg)[0].transform(lon_deg, lat_deg)
        return _finite_or_nan(east), _finite_or_nan(north)

    @overload
    def to_geographic(self, east_m: float, north_m: float) -> tuple[float, float]: ...
    @overload
    def to_geographic(self, east_m: Many, north_m: Many) -> tuple[Floats, Floats]: ...
    def to_geographic(self, east_m: ArrayLike, north_m: ArrayLike) -> tuple[float | Floats, float | Floats]:
        """Return (lat, lon) degrees; NaN in gives NaN out, shapes are kept."""
        lon, lat = _transformers(self.lat_deg, self.lon_deg)[1].transform(east_m, north_m)
        return _finite_or_nan(lat), _finite_or_nan(lon)


def _finite_or_nan(value: float | Floats) -> float | Floats:
    # pyproj answers inf where it cannot transform; infinity must not travel on as a position.
    out = np.asarray(value, dtype=np.float64)
    if out.ndim == 0:
        return float(out) if math.isfinite(out) else math.nan
    return np.where(np.isfinite(out), out, np.nan)


@overload
def geodesic(  # type: ignore[overload-overlap]
    lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float
) -> tuple[float, float]: ...
@overload
def geodesic(
    lat1_deg: float | Many, lon1_deg: float | Many, lat2_deg: float | Many, lon2_deg: float | Many
) -> tuple[Floats, Floats]: ...
def geodesic(
    lat1_deg: ArrayLike, lon1_deg: ArrayLike, lat2_deg: ArrayLike, lon2_deg: ArrayLike
) -> tuple[float | Floats, float | Floats]:
    """Return (distance in metres, initial true bearing in degrees [0, 360)) from the first place to the second."""
    azimuth, _, distance = _GEOD.inv(lon1_deg, lat1_deg, lon2_deg, lat2_deg)
    return distance, np.mod(azimuth, 360.0) if np.ndim(azimuth) else wrap_360(azimuth)


@overload
def destination(  # type: ignore[overload-overlap]
    lat_deg: float, lon_deg: float, bearing_deg: float, distance_m: float
) -> tuple[float, float]: ...
@overload
def destination(
    lat_deg: float | Many, lon_deg: float | Many, bearing_deg: float | Many, distance_m: float | Many
) -> tuple[Floats, Floats]: ...
def destination(
    lat_deg: ArrayLike, lon_deg: ArrayLike, bearing_deg: ArrayLike, distance_m: ArrayLike
) -> tuple[float | Floats, float | Floats]:
    """Return (lat, lon) degrees of the place at a true bearing and distance along the geodesic."""
    lon, lat, _ = _GEOD.fwd(lon_deg, lat_deg, bearing_deg, distance_m)
    return lat, lon
