"""Targets that other radars track (TTM, TLL, group 128520), placed on the earth.

Rules of this file:
- A target told by range and bearing is placed from the own position, and the heading where the bearing is from the bow,
  at that moment; without them it has no place and is not kept.
- Its place is as good as a small radar's bearing and range are; nobody says them, so usual figures stand for them.
- A target said to be lost is dropped; one not told again for `FORGET_S` too.
- At most `MOST` are kept; the longest silent go first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from moonless.constants import TAU
from moonless.frames import destination
from moonless.reading.situation import OwnState
from moonless.track.types import RadarTarget
from moonless.units import NS_PER_S
from moonless.wire.nmea_events import TargetPlaceSaid, TargetSaid

# Each is sent once a turn of the antenna as a rule.
FORGET_S = 15.0
MOST = 500
# Of a small set's bearing (most of it the heading she is given) and range.  Common practice, no source.
BEARING_SIGMA_RAD = math.radians(1.5)
RANGE_SHARE, LEAST_SIGMA_M = 0.01, 30.0
# Beyond this no boat's radar tracks anything.
FARTHEST_M = 180_000.0

Radar = tuple[str, str]
"""Link and talker."""


@dataclass(frozen=True, slots=True)
class Tracked:
    """A target as last told, and how often it has been."""

    target: RadarTarget
    first_ns: int
    n_told: int
    is_acquiring: bool  # the other radar is not sure of it yet


class RadarTargets:
    """Other radars' targets by radar and number."""

    def __init__(self) -> None:
        self._by_number: dict[tuple[Radar, int], Tracked] = {}

    def add(self, said: TargetSaid | TargetPlaceSaid, radar: Radar, at_ns: int, own: OwnState) -> None:
        """Take in what one radar says of one target."""
        key = (radar, said.number)
        if said.status == "L":
            self._by_number.pop(key, None)
            return
        before = self._by_number.get(key)
        target = _placed(said, radar, at_ns, own)
        if target is None:
            return
        if before is not None and isinstance(said, TargetPlaceSaid) and target.sog is None:
            # TLL tells no motion; the TTM of the same target does.
            if at_ns - before.target.time_ns < FORGET_S * NS_PER_S:
                target = _with_motion(target, before.target)
        elif before is None and len(self._by_number) >= MOST:
            del self._by_number[min(self._by_number, key=lambda k: self._by_number[k].target.time_ns)]
        first, n = (at_ns, 1) if before is None else (before.first_ns, before.n_told + 1)
        self._by_number[key] = Tracked(target, first, n, said.status == "Q")

    def tracked(self, now_ns: int) -> tuple[Tracked, ...]:
        """Return the targets known at a time."""
        for key, one in list(self._by_number.items()):
            if not -FORGET_S * NS_PER_S < now_ns - one.target.time_ns < FORGET_S * NS_PER_S:
                del self._by_number[key]
        return tuple(self._by_number.values())

    def targets(self, now_ns: int) -> tuple[RadarTarget, ...]:
        """Return the same without how they came."""
        return tuple(one.target for one in self.tracked(now_ns))


def _placed(said: TargetSaid | TargetPlaceSaid, radar: Radar, at_ns: int, own: OwnState) -> RadarTarget | None:
    source = " ".join(part for part in radar if part)
    if isinstance(said, TargetPlaceSaid):
        return RadarTarget(source, said.number, at_ns, said.lat_deg, said.lon_deg, name=said.name)
    bearing = said.bearing_rad
    if bearing is not None and said.is_relative:
        bearing = None if own.heading_true_rad is None else bearing + own.heading_true_rad
    if bearing is None or said.range_m is None or own.lat_deg is None or own.lon_deg is None:
        return None
    if said.range_m > FARTHEST_M:
        return None
    lat, lon = destination(own.lat_deg, own.lon_deg, math.degrees(bearing % TAU), said.range_m)
    along = max(LEAST_SIGMA_M, RANGE_SHARE * said.range_m)
    sigma = math.hypot(along, BEARING_SIGMA_RAD * said.range_m) / math.sqrt(2.0)
    course = said.course_rad if said.speed is not None else None
    return RadarTarget(
        source, said.number, at_ns, float(lat), float(lon), course, said.speed, said.name, max(LEAST_SIGMA_M, sigma)
    )


def _with_motion(new: RadarTarget, old: RadarTarget) -> RadarTarget:
    return RadarTarget(
        new.source, new.number, new.time_ns, new.lat_deg, new.lon_deg, old.cog_rad, old.sog, new.name or old.name,
        new.position_sigma_m,
    )  # fmt: skip
