"""Numbers as a helmsman says them."""

from __future__ import annotations

import math

from moonless.constants import CABLE_M, NAUTICAL_MILE_M, YARD_M
from moonless.frames import wrap_pi
from moonless.units import DistanceUnit

_COUNT = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def bow_words(relative_rad: float) -> str:
    """Return where from the bow in two words, as shouted at the wheel."""
    off = math.degrees(wrap_pi(relative_rad))
    side, angle = "starboard" if off > 0 else "port", abs(off)
    if angle <= 3.0:
        return "dead ahead"
    part = "bow" if angle <= 70.0 else "beam" if angle <= 110.0 else "quarter" if angle <= 160.0 else ""
    return f"{side} {part}" if part else "astern"


def distance_words(distance_m: float, unit: DistanceUnit = "nm") -> str:
    """Return a distance as said at the wheel: cables under a mile and miles past it, or metres, or yards."""
    if unit in ("metres", "yards"):
        value = distance_m / (YARD_M if unit == "yards" else 1.0)
        step = 10 if value < 200 else 50 if value < 1000 else 100
        return f"{max(step, round(value / step) * step):.0f} {unit}"
    if distance_m < 0.5 * CABLE_M:
        return "under half a cable"
    if distance_m < 0.75 * CABLE_M:
        return "half a cable"
    if distance_m < 0.95 * NAUTICAL_MILE_M:
        halves = round(2.0 * distance_m / CABLE_M)
        whole, half = divmod(halves, 2)
        if half and whole == 1:
            return "one and a half cables"
        if half and whole < 4:
            return f"{_COUNT[whole]} and a half cables"
        cables = round(distance_m / CABLE_M)
        return "one cable" if cables == 1 else f"{_COUNT[cables]} cables"
    miles = distance_m / NAUTICAL_MILE_M
    if miles < 3.0:
        quarters = round(4.0 * miles)
        whole, part = divmod(quarters, 4)
        tail = {0: "", 1: " and a quarter", 2: " and a half", 3: " and three quarters"}[part]
        return f"{_COUNT[whole]}{tail} mile{'s' if quarters != 4 else ''}"
    return f"{_COUNT[round(miles)] if miles < 12 else f'{miles:.0f}'} miles"


def time_words(seconds: float) -> str:
    """Return a stretch of time as said at the wheel."""
    if seconds < 45.0:
        return f"{max(10, round(seconds / 10.0) * 10)} seconds"
    minutes = round(seconds / 60.0)
    if minutes <= 1:
        return "one minute"
    return f"{_COUNT[minutes] if minutes <= 12 else minutes} minutes"


def place_words(lat_deg: float, lon_deg: float) -> str:
    """Return a position as degrees and decimal minutes."""

    def part(value: float, width: int, positive: str, negative: str) -> str:
        thousandths = round(abs(value) * 60_000.0)
        degrees, rest = divmod(thousandths, 60_000)
        return f"{degrees:0{width}d} {rest / 1000.0:06.3f} {positive if value >= 0 else negative}"

    return f"{part(lat_deg, 2, 'north', 'south')}, {part(lon_deg, 3, 'east', 'west')}"
