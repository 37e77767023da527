"""Times, courses and distances as a brief prints them."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from moonless.chart.s57.names import object_name
from moonless.errors import InputError
from moonless.units import DistanceUnit, to_distance_unit


def zone_of(name: str) -> tzinfo:
    """Return a time zone by its IANA name.  Raises InputError if there is none of that name."""
    if name.upper() == "UTC":
        return UTC
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(f"{name!r} is not a time zone; write it as Area/Place or UTC") from None


def clock_words(time_s: float, zone: tzinfo) -> str:
    """Return the time of day, to the minute."""
    return f"{datetime.fromtimestamp(time_s, zone):%H:%M}"


def date_words(time_s: float, zone: tzinfo) -> str:
    """Return date, time and zone."""
    moment = datetime.fromtimestamp(time_s, zone)
    return f"{moment:%a} {moment.day} {moment:%b %Y %H:%M} {moment:%Z}"


def parse_time(text: str, zone: tzinfo) -> float:
    """Return Unix seconds of an ISO time; without an offset it is local to ``zone``.

    Raises InputError with the form wanted.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        form = "write 2031-03-02T19:00, with Z or +01:00 where it is not local"
        raise InputError(f"{text!r} is not a time; {form}") from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    return moment.timestamp()


def distance_words(distance_m: float, unit: DistanceUnit) -> str:
    """Return a distance in the skipper's unit."""
    value = to_distance_unit(distance_m, unit)
    if unit == "nm":
        return f"{value:.2f} NM" if value < 10 else f"{value:.1f} NM"
    if unit == "cables":
        return f"{value:.1f} cables"
    return f"{value:.0f} {'yd' if unit == 'yards' else 'm'}"


def course_words(degrees: float | None) -> str:
    """Return three figures and true, or a dash."""
    return "—" if degrees is None else f"{round(degrees) % 360:03d}°T"


def relative_words(degrees: float) -> str:
    """Return a bearing from the bow as a look-out would say it."""
    off = abs(degrees)
    side = "starboard" if degrees > 0 else "port"
    if off < 5:
        return "right ahead"
    if off > 175:
        return "right astern"
    where = "bow" if off < 67.5 else "beam" if off < 112.5 else "quarter"
    return f"{off:.0f}° on the {side} {where}" if where != "beam" else f"on the {side} beam"


def object_words(name: str | None, object_class: str) -> str:
    """Return a charted thing's name, or what it is where it has none."""
    return name or f"{object_name(object_class)} without a name"


def sentence(words: str) -> str:
    """Return words with a capital first letter, the rest as it is."""
    return words[:1].upper() + words[1:]
