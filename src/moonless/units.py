"""Conversions for the edges.  Inside, everything is metres, seconds and radians."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Literal

from moonless.constants import CABLE_M, NAUTICAL_MILE_M, YARD_M

DistanceUnit = Literal["nm", "cables", "yards", "metres"]

KNOT_MPS = NAUTICAL_MILE_M / 3600.0  # by definition
NS_PER_S = 1_000_000_000

_METRES_IN: dict[DistanceUnit, float] = {"nm": NAUTICAL_MILE_M, "cables": CABLE_M, "yards": YARD_M, "metres": 1.0}


def kn_to_mps(speed_kn: float) -> float:
    """Return metres per second for knots."""
    return speed_kn * KNOT_MPS


def mps_to_kn(speed: float) -> float:
    """Return knots for metres per second."""
    return speed / KNOT_MPS


def nm_to_m(distance_nm: float) -> float:
    """Return metres for nautical miles."""
    return distance_nm * NAUTICAL_MILE_M


def m_to_nm(distance_m: float) -> float:
    """Return nautical miles for metres."""
    return distance_m / NAUTICAL_MILE_M


def to_distance_unit(distance_m: float, unit: DistanceUnit) -> float:
    """Return a distance in the skipper's unit."""
    return distance_m / _METRES_IN[unit]


def ns_to_utc(time_ns: int) -> datetime:
    """Return a Unix time in nanoseconds as an aware UTC datetime (to the microsecond)."""
    seconds, rest = divmod(int(time_ns), NS_PER_S)
    return datetime.fromtimestamp(seconds, tz=UTC).replace(microsecond=rest // 1000)


def utc_to_ns(moment: datetime) -> int:
    """Return Unix nanoseconds for an aware datetime.

    Raises ValueError if ``moment`` carries no time zone: a naive time is ambiguous.
    """
    if moment.tzinfo is None:
        raise ValueError(f"{moment.isoformat()} carries no time zone")
    delta = moment - datetime(1970, 1, 1, tzinfo=UTC)
    return ((delta.days * 86_400 + delta.seconds) * 1_000_000 + delta.microseconds) * 1000


def iso_utc(time_ns: int) -> str:
    """Return ISO 8601 in UTC with milliseconds, as readings are stamped."""
    seconds, rest = divmod(int(time_ns), NS_PER_S)
    return f"{datetime.fromtimestamp(seconds, tz=UTC):%Y-%m-%dT%H:%M:%S}.{rest // 1_000_000:03d}Z"
