"""Values of Signal K by path, each checked for being what its path says."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from moonless.units import utc_to_ns

MOST_MPS = 530.0  # AIS of aircraft


@dataclass(slots=True)
class SignalKCounts:
    """What the decoder has met so far."""

    messages: int = 0
    used: int = 0  # numbers
    old: int = 0  # values too old to be used
    bad: Counter[str] = field(default_factory=Counter)  # by path, or "message"


class BadValue(Exception):
    """A value that cannot be what it should be."""


class Values:
    """Values by path."""

    def __init__(self, said: Mapping[str, object], counts: SignalKCounts) -> None:
        self._said = said
        self._counts = counts

    def has(self, path: str) -> bool:
        """Return whether the path was said, if only as unknown."""
        return path in self._said

    def raw(self, path: str) -> object:
        """Return the value as it came."""
        return self._said.get(path)

    def number(self, path: str, least: float, most: float) -> float | None:
        """Return a number; None: said to be unknown, or not said.  Raises BadValue outside the limits."""
        value = self._said.get(path)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
            raise BadValue(path)
        self._counts.used += 1
        return float(value)

    def text(self, path: str) -> str | None:
        """Return a text; None: blank or not said."""
        value = self._said.get(path)
        return value.strip() or None if isinstance(value, str) else None

    def place(self, path: str) -> tuple[float, float] | None:
        """Return (latitude, longitude) in degrees; None: said to be unknown, or not said."""
        value = self._said.get(path)
        if value is None:
            return None
        if not isinstance(value, dict):
            raise BadValue(path)
        inner = Values(value, self._counts)
        lat, lon = inner.number("latitude", -90.0, 90.0), inner.number("longitude", -180.0, 180.0)
        return None if lat is None or lon is None else (lat, lon)


def opened(said: dict[str, object]) -> dict[str, object]:
    """Return the values with those of the empty path (name, mmsi ...) under their own names."""
    root = said.get("")
    if not isinstance(root, dict):
        return said
    radio = root.get("communication")
    more = {f"communication.{k}": v for k, v in radio.items()} if isinstance(radio, dict) else {}
    return {**root, **more, **said}


def overall(value: object) -> float | None:
    """Return the length of ``design.length``: an object of several lengths, or a number in some servers."""
    overall = value.get("overall") if isinstance(value, dict) else value
    if isinstance(overall, bool) or not isinstance(overall, int | float) or not 0.0 < overall < 600.0:
        return None
    return float(overall)


def source_of(update: Mapping[str, object]) -> str:
    named = update.get("$source")
    if isinstance(named, str):
        return named[:64]
    source = update.get("source")
    if not isinstance(source, dict):
        return ""
    return ".".join(str(source[k]) for k in ("label", "talker", "src") if k in source)[:64]


def moment_of(value: object) -> int | None:
    """Return the Unix time of an RFC 3339 time stamp."""
    if not isinstance(value, str) or len(value) > 40:
        return None
    try:
        moment = datetime.fromisoformat(value)
    except ValueError:
        return None
    if moment.tzinfo is None or not 1980 < moment.year < 2100:
        return None
    return utc_to_ns(moment.astimezone(UTC))


def stamp_of(text: bytes) -> int | None:
    """Return the newest time stamp of a delta, or of a hello; None where it has none."""
    try:
        message = json.loads(text)
    except (ValueError, RecursionError):
        return None
    if not isinstance(message, dict):
        return None
    updates = message.get("updates")
    stamps = (
        [update.get("timestamp") for update in updates if isinstance(update, dict)] if isinstance(updates, list) else []
    )
    moments = [m for m in map(moment_of, [*stamps, message.get("timestamp")]) if m is not None]
    return max(moments, default=None)
