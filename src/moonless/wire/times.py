"""Times of day made whole: both radar video and NMEA say the time without saying the day."""

from __future__ import annotations

from moonless.units import NS_PER_S

DAY_S = 86_400  # a day without a leap second


def utc_of_day(time_of_day_s: float, reference_ns: int) -> int:
    """Return the Unix time, in ns, of a time of day, on whichever day is nearest to ``reference_ns``.

    Nearest, not the same date: a record made at 23:59:59.9 and received at 00:00:00.1 belongs to yesterday.
    """
    day_ns = DAY_S * NS_PER_S
    offset = (round(time_of_day_s * NS_PER_S) - reference_ns) % day_ns
    if offset >= day_ns // 2:
        offset -= day_ns
    return reference_ns + offset
