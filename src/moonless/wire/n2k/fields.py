"""The fields of one message, decoded by the `nmea2000` library; what is too short or broken is refused.

Rules of this file:
- A message must hold every octet of the fields that are used: the library reads zeros past the end, and a latitude
  of zero is a place.
- "Not available", "out of range" and the reserved values beside them are None.
- Nothing that comes off the bus raises.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date
from functools import lru_cache
from importlib import import_module

Value = float | int | str | date | None
# The library gives a trailing text its room from the length it is told.
_OCTET = 8


class BadMessage(Exception):
    """A message that cannot be decoded."""


class Fields:
    """The fields of one message by the library's names (``latitude``, ``wind_speed`` ...)."""

    def __init__(self, raw: dict[str, object], value: dict[str, object]) -> None:
        self._raw = raw
        self._value = value

    def number(self, name: str) -> float | None:
        """Return a number in the group's own unit (SI, radians; degrees for positions); None: not available."""
        raw = self._raw.get(name)
        if isinstance(raw, bool) or not isinstance(raw, int | float):
            return None
        return float(raw) if math.isfinite(raw) else None

    def code(self, name: str) -> int | None:
        """Return the number that an enumeration stands for, as it is on the bus."""
        raw = self._raw.get(name)
        return raw if isinstance(raw, int) and not isinstance(raw, bool) else None

    def text(self, name: str) -> str | None:
        """Return a text without its padding; None: blank."""
        value = self._value.get(name)
        if not isinstance(value, str):
            return None
        return "".join(c for c in value if c.isprintable()).strip(" @") or None

    def day(self, name: str) -> date | None:
        """Return a date."""
        value = self._value.get(name)
        return value if isinstance(value, date) else None

    def names(self) -> tuple[str, ...]:
        """Return the names of all fields."""
        return tuple(self._raw)


def fields_of(group: int, data: bytes, at_least: int) -> Fields:
    """Return the fields of a message.

    Parameters
    ----------
    at_least : octets that must be there

    Raises BadMessage.
    """
    if len(data) < at_least:
        raise BadMessage("short")
    decode = decoder_of(group)
    if decode is None:
        raise BadMessage("unknown group")
    try:
        message = decode(int.from_bytes(data, "little"), len(data) * _OCTET)
    # Octets from the bus reach deep into a library that promises no single exception for them.
    except Exception as problem:
        raise BadMessage(type(problem).__name__) from problem
    found = getattr(message, "fields", None)
    if found is None:
        raise BadMessage("unknown form")
    return Fields({f.id: f.raw_value for f in found}, {f.id: f.value for f in found})


@lru_cache(maxsize=64)
def decoder_of(group: int) -> Callable[[int, int], object] | None:
    """Return the library's decoder of a group."""
    # Loaded when the first frame comes: its tables take a quarter of a second, and most links are no bus.
    found: Callable[[int, int], object] | None = getattr(import_module("nmea2000.pgns"), f"decode_pgn_{group}", None)
    return found
