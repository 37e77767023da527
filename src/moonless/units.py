"""Conversions for the edges.  Inside, everything is metres, seconds and radians."""

from __future__ import annotations

import math
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


# Rounding of a computer's own, far under any figure that is told: 3.3 in metres may be held as 3.2999999.
_OWN_ROUNDING = 1e-6


def down(value: float, places: int = 1) -> str:
    """Return a figure in words, never more than it is: water, air and room that there is, range that is seen.

    >>> down(3.29), down(3.3), down(-0.04), down(59.9, 0)
    ('3.2', '3.3', '-0.1', '59')
    """
    step = 10.0**places
    return f"{math.floor(value * step + _OWN_ROUNDING * step) / step + 0.0:.{places}f}"


def up(value: float, places: int = 1) -> str:
    """Return a figure in words, never less than it is: water, air and room that is needed, the way she takes to stop.

    >>> up(3.21), up(3.2), up(-0.04), up(59.1, 0)
    ('3.3', '3.2', '0.0', '60')
    """
    step = 10.0**places
    return f"{math.ceil(value * step - _OWN_ROUNDING * step) / step + 0.0:.{places}f}"


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
