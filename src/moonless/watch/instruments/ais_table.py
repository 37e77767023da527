"""Who is about, as AIS says: reports gathered into targets.

Rules of this file:
- Static data (name, size) and positions come apart and are joined by MMSI; a target is told of once it has a position.
- The position told is the middle of the hull, not the antenna: on a large ship they are a hundred metres apart.
- The own boat is left out: by the number the boat file gives, and by the one that the own set says is its own (VDO),
  for a second receiver hears the own set as it hears every other.
- A vessel not heard for `FORGET_S` is dropped; an aid for `FORGET_AID_S`.
- Static data of a vessel without a position waits for it so long, and at most `MOST_WAITING` do; of targets
  `MOST_TARGETS` are kept.  The longest not heard of goes first: a real vessel is heard again within seconds.
"""

from __future__ import annotations

import math

from moonless.constants import TAU
from moonless.frames import destination
from moonless.track.types import AisTarget
from moonless.units import NS_PER_S
from moonless.wire.ais import AisReport

# Three minutes is the slowest a vessel reports its position (ITU-R M.1371-5, table 1); two of them missed.
FORGET_S = 420.0
# Aids report every three minutes as a rule.
FORGET_AID_S = 900.0
# Own choice: ten times what a busy roadstead has (1 000 targets), and no burden to memory.
MOST_TARGETS = MOST_WAITING = 10_000
# Below this the course of a vessel says nothing about where its bow points.
COURSE_TELLS_MPS = 1.0
# The said second belongs to the minute of receipt or the one before; older than this it is not believed.
OLDEST_SAID_S = 30.0


class AisTable:
    """Targets by MMSI."""

    def __init__(self, own_mmsi: int | None = None) -> None:
        self._own = set() if own_mmsi is None else {own_mmsi}
        self._positions: dict[int, tuple[int, AisReport]] = {}
        self._statics: dict[int, AisReport] = {}  # of those with a position
        self._waiting: dict[int, tuple[int, AisReport]] = {}  # static data received before a position, oldest first

    def add(self, report: AisReport, now_ns: int) -> None:
        """Take in one report received at ``now_ns`` (UTC)."""
        if report.is_own and report.mmsi > 0:  # 0: a set that was never given a number; another's may be 0 as well
            self._own.add(report.mmsi)
        if report.says in ("position", "aid", "base") and report.lat_deg is not None:
            self._place(report, now_ns)
        if report.says in ("static", "aid") or report.message_type == 19:
            if report.mmsi in self._positions:
                self._statics[report.mmsi] = _joined(self._statics.get(report.mmsi), report)
            else:
                _, before = self._waiting.pop(report.mmsi, (0, None))
                self._waiting[report.mmsi] = (now_ns, _joined(before, report))
                if len(self._waiting) > MOST_WAITING:
                    del self._waiting[next(iter(self._waiting))]

    def _place(self, report: AisReport, now_ns: int) -> None:
        self._positions.pop(report.mmsi, None)
        self._positions[report.mmsi] = (_position_time(report, now_ns), report)
        if report.mmsi in self._waiting:
            self._statics[report.mmsi] = self._waiting.pop(report.mmsi)[1]
        if len(self._positions) > MOST_TARGETS:
            longest = next(iter(self._positions))
            del self._positions[longest]
            self._statics.pop(longest, None)

    def targets(self, now_ns: int) -> tuple[AisTarget, ...]:
        """Return the targets known at a time, the own boat left out."""
        for mmsi, (time_ns, report) in list(self._positions.items()):
            limit = FORGET_AID_S if report.says == "aid" else FORGET_S
            if not -limit * NS_PER_S < now_ns - time_ns < limit * NS_PER_S:
                del self._positions[mmsi]
                self._statics.pop(mmsi, None)
        while self._waiting:
            mmsi, (since_ns, _) = next(iter(self._waiting.items()))
            if 0 <= now_ns - since_ns < FORGET_S * NS_PER_S:
                break
            del self._waiting[mmsi]
        return tuple(
            self._target(time_ns, report)
            for time_ns, report in self._positions.values()
            if report.says != "base" and not report.is_own and report.mmsi not in self._own
        )

    def _target(self, time_ns: int, report: AisReport) -> AisTarget:
        static = self._statics.get(report.mmsi, report)
        lat, lon = _middle(report, static)
        return AisTarget(
            mmsi=report.mmsi,
            time_ns=time_ns,
            lat_deg=lat,
            lon_deg=lon,
            cog_rad=report.cog_rad,
            sog=report.sog,
            heading_rad=report.heading_rad,
            name=static.name or report.name,
            length_m=static.length_m,
            beam_m=static.beam_m,
            ship_type=static.ship_type,
            nav_status=report.nav_status,
            is_aid=report.says == "aid",
            is_virtual_aid=report.is_virtual_aid,
            is_own=report.is_own,
        )


def _position_time(report: AisReport, now_ns: int) -> int:
    """Return when the position was true: the said UTC second nearest before receipt, if it is believable."""
    if report.second is None:
        return now_ns
    age_s = (now_ns / NS_PER_S - report.second) % 60.0
    return now_ns - round(age_s * NS_PER_S) if age_s <= OLDEST_SAID_S else now_ns


def _joined(old: AisReport | None, new: AisReport) -> AisReport:
    """Parts A and B of message 24 say different things; what the newer does not say stays."""
    if old is None:
        return new
    from dataclasses import replace

    kept = {
        name: getattr(old, name)
        for name in ("name", "call_sign", "ship_type", "draught_m")
        if getattr(new, name) is None
    }
    if new.length_m is None:
        kept |= {side: getattr(old, side) for side in ("to_bow_m", "to_stern_m", "to_port_m", "to_starboard_m")}
    return replace(new, **kept)


def _middle(report: AisReport, static: AisReport) -> tuple[float, float]:
    lat, lon = report.lat_deg, report.lon_deg
    assert lat is not None and lon is not None
    bow = report.heading_rad
    if bow is None and report.sog is not None and report.sog > COURSE_TELLS_MPS:
        bow = report.cog_rad
    if bow is None or static.length_m is None:
        return lat, lon
    assert static.to_bow_m is not None and static.to_stern_m is not None
    ahead = 0.5 * (static.to_bow_m - static.to_stern_m)
    right = 0.5 * ((static.to_starboard_m or 0.0) - (static.to_port_m or 0.0))
    away = math.hypot(ahead, right)
    if away < 0.5:
        return lat, lon
    lat2, lon2 = destination(lat, lon, math.degrees((bow + math.atan2(right, ahead)) % TAU), away)
    return float(lat2), float(lon2)
