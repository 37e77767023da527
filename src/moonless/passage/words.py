"""Times, courses and distances as a brief prints them."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from moonless.boat.compass import Card, compass_deg
from moonless.chart.s57.names import object_name
from moonless.errors import InputError
from moonless.units import DistanceUnit, down, to_distance_unit
from moonless.wire.magnetic import decimal_year, variation_deg


def zone_of(name: str) -> tzinfo:
    """Return a time zone by its IANA name.  Raises InputError if there is none of that name."""
    if name.upper() == "UTC":
        return UTC
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(f"{name!r} is not a time zone; write it as Area/Place or UTC") from None


def _to_minute(time_s: float, zone: tzinfo) -> datetime:
    """Return the moment to the nearest minute: rounded, not cut."""
    return datetime.fromtimestamp(math.floor(time_s / 60.0 + 0.5) * 60.0, zone)


def clock_words(time_s: float, zone: tzinfo, since_s: float | None = None) -> str:
    """Return the time of day, to the nearest minute.

    With its zone where the clocks have changed since ``since_s``: put back, they show a time twice, and a run would
    arrive before it leaves.
    """
    moment = _to_minute(time_s, zone)
    changed = since_s is not None and _to_minute(since_s, zone).utcoffset() != moment.utcoffset()
    return f"{moment:%H:%M} {_zone_words(moment)}" if changed else f"{moment:%H:%M}"


def date_words(time_s: float, zone: tzinfo) -> str:
    """Return date, time and zone."""
    moment = _to_minute(time_s, zone)
    return f"{moment:%a} {moment.day} {moment:%b %Y %H:%M} {_zone_words(moment)}"


def _zone_words(moment: datetime) -> str:
    """Return the name of a moment's zone; many have none but figures, which alone say little."""
    name = f"{moment:%Z}"
    return f"UTC{name}" if name[:1] in ("+", "-") else name


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
        first, second = (moment.replace(tzinfo=zone, fold=fold).timestamp() for fold in (0, 1))
        if first > second:
            raise InputError(f"{text!r} is not there: clocks go forward over it; write it with Z or an offset")
        if first < second:
            raise InputError(f"{text!r} is there twice: clocks go back over it; write it with Z or an offset")
        return first
    return moment.timestamp()


def zone_told(text: str, zone: tzinfo) -> tzinfo:
    """Return the zone that times are told in: the skipper's, or the offset of the time given where that is UTC."""
    told = datetime.fromisoformat(text).tzinfo
    return zone if told is None or zone is not UTC else told


def place_words(lat_deg: float, lon_deg: float) -> str:
    """Return a position in degrees and minutes to a thousandth, rounded: 42°20.100'N 070°59.100'W."""

    def part(value: float, width: int, hands: str) -> str:
        thousandths = round(abs(value) * 60_000.0)
        degrees, rest = divmod(thousandths, 60_000)
        return f"{degrees:0{width}d}°{rest / 1000.0:06.3f}'{hands[0] if value >= 0 else hands[1]}"

    return f"{part(lat_deg, 2, 'NS')} {part(lon_deg, 3, 'EW')}"


def magnetic_words(course_deg: float, lat_deg: float, lon_deg: float, time_s: float) -> str:
    """Return a true course as a magnetic one by the world magnetic model; deviation is not in it."""
    return f"{round(_magnetic_deg(course_deg, lat_deg, lon_deg, time_s)) % 360:03d}°M"


def compass_words(card: Card, course_deg: float, lat_deg: float, lon_deg: float, time_s: float) -> str:
    """Return what to steer by the compass of a deviation card for a true course."""
    return f"{round(compass_deg(card, _magnetic_deg(course_deg, lat_deg, lon_deg, time_s))) % 360:03d}°C"


def variation_words(lat_deg: float, lon_deg: float, time_s: float) -> str:
    """Return the variation at a place and time: "14.2° W"."""
    variation = variation_deg(lat_deg, lon_deg, decimal_year(round(time_s * 1e9)))
    return f"{abs(variation):.1f}° {'E' if variation >= 0 else 'W'}"


def _magnetic_deg(course_deg: float, lat_deg: float, lon_deg: float, time_s: float) -> float:
    return course_deg - variation_deg(lat_deg, lon_deg, decimal_year(round(time_s * 1e9)))


def distance_words(distance_m: float, unit: DistanceUnit) -> str:
    """Return a distance in the skipper's unit."""
    return _in_unit(distance_m, unit, lambda value, places: f"{value:.{places}f}")


def room_words(distance_m: float, unit: DistanceUnit) -> str:
    """Return how far off a thing is passed in the skipper's unit, never more than it is."""
    return _in_unit(distance_m, unit, down)


def _in_unit(distance_m: float, unit: DistanceUnit, figure: Callable[[float, int], str]) -> str:
    value = to_distance_unit(distance_m, unit)
    if unit == "nm":
        return f"{figure(value, 2 if value < 10 else 1)} NM"
    if unit == "cables":
        return f"{figure(value, 1)} cables"
    return f"{figure(value, 0)} {'yd' if unit == 'yards' else 'm'}"


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


def clock_change(zone: tzinfo, start_s: float, end_s: float) -> tuple[float, str] | None:
    """Return when the clocks change between two times and what is said of it; None where they do not."""
    before, after = (datetime.fromtimestamp(t, zone) for t in (start_s, end_s))
    if before.utcoffset() == after.utcoffset():
        return None
    low, high = start_s, end_s
    while high - low > 1.0:
        middle = (low + high) / 2
        if datetime.fromtimestamp(middle, zone).utcoffset() == before.utcoffset():
            low = middle
        else:
            high = middle
    forward = (after.utcoffset() or before.utcoffset()) > (before.utcoffset() or after.utcoffset())  # type: ignore[operator]
    way = "forward" if forward else "back: an hour is there twice"
    return round(high / 60.0) * 60.0, f"clocks go {way}; from here on times are {after:%Z}, before {before:%Z}"
