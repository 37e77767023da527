"""Whether several sources of one thing say the same: two positions, two headings, two clocks that differ are told.

Rules of this file:
- One source is followed; each other one is held against it, as long as both are fresh.
- A difference past the limit that lasts is a disagreement; one that no seaway makes need not last so long.  Which of
  the two is wrong nobody can say from here: it is told, and nothing is withdrawn for it.
- It is over when the difference has been within the limit for as long, or one of the two has gone.
"""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import dataclass, field
from typing import Literal

from moonless.constants import EARTH_MEAN_RADIUS_M, TAU
from moonless.reading.types import Fault
from moonless.units import NS_PER_S

Compared = Literal["position", "heading", "clock"]

# Two antennas stand 20 m apart at the most, each knows its place to 10 m, and one may speak a second later at 20 knots.
# A compass without its deviation card is 10 degrees off at the worst.  Two clocks: what the watch takes as one.
LIMIT: dict[Compared, float] = {"position": 100.0, "heading": math.radians(15.0), "clock": 2.0}
LASTS_S: dict[Compared, float] = {"position": 5.0, "heading": 10.0, "clock": 5.0}
# In a seaway one compass swings more than the other, and both swing back within half a period; what is further apart
# than they swing, for so long, is no swing.  Own choice.
FAR: dict[Compared, float] = {"position": math.inf, "heading": math.radians(30.0), "clock": math.inf}
FAR_S = 2.0
FRESH_S = 2.5
# More sources than these on one boat are one that changes its name; the longest silent is forgotten.
MOST_SOURCES = 32


@dataclass(slots=True)
class _Other:
    heard_ns: int
    off_since_ns: int | None = None
    far_since_ns: int | None = None
    near_since_ns: int | None = None
    is_told: bool = False  # until it has been near for as long


@dataclass(slots=True)
class _Thing:
    followed: Hashable = None
    heard_ns: int = 0
    value: tuple[float, ...] = ()
    others: dict[Hashable, _Other] = field(default_factory=dict)


class SourceAgreement:
    """Holds the sources of each thing against the one that is followed."""

    def __init__(self) -> None:
        self._things: dict[Compared, _Thing] = {"position": _Thing(), "heading": _Thing(), "clock": _Thing()}

    def said(self, what: Compared, source: Hashable, is_followed: bool, now_ns: int, value: tuple[float, ...]) -> None:
        """Take in what one source says: (lat, lon) in degrees, (heading,) in radians, or (clock offset,) in seconds."""
        thing = self._things[what]
        if is_followed:
            thing.others.pop(source, None)
            thing.followed, thing.heard_ns, thing.value = source, now_ns, value
            return
        other = thing.others.get(source)
        if other is None:
            if len(thing.others) >= MOST_SOURCES:
                del thing.others[min(thing.others, key=lambda s: thing.others[s].heard_ns)]
            other = thing.others[source] = _Other(now_ns)
        other.heard_ns = now_ns
        if not thing.value or now_ns - thing.heard_ns > FRESH_S * NS_PER_S:
            return
        apart = _apart(what, thing.value, value)
        other.far_since_ns = None if apart <= FAR[what] else other.far_since_ns or now_ns
        if apart > LIMIT[what]:
            other.near_since_ns = None
            other.off_since_ns = now_ns if other.off_since_ns is None else other.off_since_ns
            other.is_told |= now_ns - other.off_since_ns >= LASTS_S[what] * NS_PER_S
            other.is_told |= other.far_since_ns is not None and now_ns - other.far_since_ns >= FAR_S * NS_PER_S
            return
        other.near_since_ns = now_ns if other.near_since_ns is None else other.near_since_ns
        if not other.is_told or now_ns - other.near_since_ns >= LASTS_S[what] * NS_PER_S:
            other.off_since_ns, other.is_told = None, False

    def faults(self, now_ns: int) -> tuple[Fault, ...]:
        """Return what disagrees at a time, each thing once."""
        out = []
        for what, thing in self._things.items():
            if not thing.value or now_ns - thing.heard_ns > FRESH_S * NS_PER_S:
                continue
            off = [
                other.off_since_ns
                for other in thing.others.values()
                if other.is_told and other.off_since_ns is not None and now_ns - other.heard_ns <= FRESH_S * NS_PER_S
            ]
            if off:
                out.append(Fault(what, "disagrees", min(off)))
        return tuple(out)


def _apart(what: Compared, a: tuple[float, ...], b: tuple[float, ...]) -> float:
    if what == "position":
        north = math.radians(a[0] - b[0])
        east = math.remainder(math.radians(a[1] - b[1]), TAU) * math.cos(math.radians(a[0]))
        return math.hypot(north, east) * EARTH_MEAN_RADIUS_M
    difference = a[0] - b[0]
    return abs(math.remainder(difference, TAU)) if what == "heading" else abs(difference)
