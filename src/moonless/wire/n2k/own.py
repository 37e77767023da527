"""What the boat's own instruments say on the bus: one reader for each group, fields in, events out.

Rules of this file:
- A position is believed only from a receiver that says it has a fix: after group 129029 said that there is none (or a
  reckoned, typed-in or simulated one), what the same device sends as rapid position (129025) or as course and speed
  (129026) is none either.
- A heading or course "magnetic" is made true by the World Magnetic Model at the last known position; before there is
  one by the variation said on the bus; without either it is counted and not given on.  A reference that is neither
  true nor magnetic gives nothing.
- A depth offset of -1 mm is a device that fills a signed field with ones for "not available"; it is none.
- The clock is believed from a receiver of satellites or radio, not from a crystal aboard.

Source of the groups' fields: the open canboat database, as the `nmea2000` library carries it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime

from moonless.constants import TAU
from moonless.scan.pose import PoseSample
from moonless.units import NS_PER_S, utc_to_ns
from moonless.wire.magnetic import variation_at
from moonless.wire.n2k.fields import Fields
from moonless.wire.nmea_events import (
    AttitudeSaid,
    ClockSaid,
    DepthLostSaid,
    DepthSaid,
    NoFixSaid,
    PoseSaid,
    Said,
    TargetSaid,
    TargetStatus,
    WaterSaid,
    WindSaid,
)

# A receiver says 129029 once a second; after this its last word on the fix is not its word any more.
NO_FIX_HOLDS_S = 5.0
# Methods of 129029: 1 GNSS, 2 differential, 3 precise, 4 and 5 RTK.  0 none, 6 reckoned, 7 typed in, 8 simulated.
_FIXED = frozenset({1, 2, 3, 4, 5})
_TRUE, _MAGNETIC = 0, 1
# Sources of 126992: satellites and radio.  3 to 5 are clocks aboard.
_CLOCKS = frozenset({0, 1, 2})
# References of 130306: 0 from true north and 1 from magnetic north, over the ground; 2 apparent; 3 and 4 from the bow,
# with the boat's own motion taken out.
_WIND_TRUE_NORTH, _WIND_MAGNETIC_NORTH, _WIND_APPARENT = 0, 1, 2
_WIND_FROM_BOW = frozenset({3, 4})
_TRACK_STATUS: dict[int, TargetStatus] = {0: "L", 1: "Q", 2: "T", 3: "L"}  # cancelled, acquiring, tracking, lost


@dataclass(frozen=True, slots=True)
class Stamp:
    """Who said it, and when it came."""

    received_ns: int
    device: str
    kind: str  # the group, as a number

    def said(self, time_ns: int | None = None) -> tuple[int, int, bool, str, str]:
        """Return what every event begins with; ``time_ns``: its own time."""
        is_timed = time_ns is not None
        return self.received_ns, self.received_ns if time_ns is None else time_ns, is_timed, self.device, self.kind


@dataclass(slots=True)
class OwnGroups:
    """Remembers what one group needs from another."""

    unusable: Counter[str] = field(default_factory=Counter)  # by reason
    no_fix: int = 0
    _place: tuple[float, float] | None = None
    _variation: float | None = None
    _no_fix_ns: dict[str, int] = field(default_factory=dict)  # by device

    def read(self, group: int, f: Fields, stamp: Stamp) -> list[Said]:
        """Return what a message says."""
        return _READERS[group](self, f, stamp)

    # --- position, course, speed, time -----------------------------------------------------------------------------

    def _rapid_position(self, f: Fields, stamp: Stamp) -> list[Said]:
        lat, lon = f.number("latitude"), f.number("longitude")
        if lat is None or lon is None or self._has_no_fix(stamp):
            return self._lost(stamp)
        return [self._position(stamp, None, lat, lon)]

    def _gnss(self, f: Fields, stamp: Stamp) -> list[Said]:
        lat, lon = f.number("latitude"), f.number("longitude")
        if f.code("method") not in _FIXED or lat is None or lon is None:
            self._no_fix_ns[stamp.device] = stamp.received_ns
            return self._lost(stamp)
        self._no_fix_ns.pop(stamp.device, None)
        time_ns = _moment(f)
        events: list[Said] = [] if time_ns is None else [ClockSaid(*stamp.said(time_ns))]
        return [*events, self._position(stamp, time_ns, lat, lon)]

    def _position(self, stamp: Stamp, time_ns: int | None, lat: float, lon: float) -> PoseSaid:
        self._place = (lat, lon)
        said = stamp.said(time_ns)
        return PoseSaid(*said, PoseSample(said[1], lat, lon))

    def _lost(self, stamp: Stamp) -> list[Said]:
        self.no_fix += 1
        return [NoFixSaid(*stamp.said())]

    def _has_no_fix(self, stamp: Stamp) -> bool:
        last = self._no_fix_ns.get(stamp.device)
        return last is not None and 0 <= stamp.received_ns - last < NO_FIX_HOLDS_S * NS_PER_S

    def _course_speed(self, f: Fields, stamp: Stamp) -> list[Said]:
        sog = f.number("sog")
        if sog is None or self._has_no_fix(stamp):
            return []
        course, _ = self._true(f.number("cog"), f.code("cogReference"), stamp)
        return [PoseSaid(*stamp.said(), PoseSample(stamp.received_ns, cog_rad=course, sog=sog))]

    def _system_time(self, f: Fields, stamp: Stamp) -> list[Said]:
        if f.code("source") not in _CLOCKS:
            self.unusable["a clock that no receiver sets"] += 1
            return []
        time_ns = _moment(f)
        return [] if time_ns is None else [ClockSaid(*stamp.said(time_ns))]

    # --- heading and attitude --------------------------------------------------------------------------------------

    def _heading(self, f: Fields, stamp: Stamp) -> list[Said]:
        heading, reference = f.number("heading"), f.code("reference")
        said_variation = f.number("variation")
        if said_variation is not None:
            self._variation = said_variation
        if heading is None:
            return []
        if reference == _MAGNETIC:
            heading += f.number("deviation") or 0.0
        true, is_magnetic = self._true(heading, reference, stamp)
        if true is None:
            return []
        return [PoseSaid(*stamp.said(), PoseSample(stamp.received_ns, heading_true_rad=true), is_magnetic)]

    def _magnetic_variation(self, f: Fields, stamp: Stamp) -> list[Said]:
        variation = f.number("variation")
        if variation is not None:
            self._variation = variation
        return []

    def _rate_of_turn(self, f: Fields, stamp: Stamp) -> list[Said]:
        rate = f.number("rate")
        return [] if rate is None else [PoseSaid(*stamp.said(), PoseSample(stamp.received_ns, turn_rate=rate))]

    def _attitude(self, f: Fields, stamp: Stamp) -> list[Said]:
        roll, pitch, yaw = f.number("roll"), f.number("pitch"), f.number("yaw")
        if roll is None and pitch is None and yaw is None:
            return []
        return [AttitudeSaid(*stamp.said(), roll, pitch, yaw)]

    def _true(self, angle: float | None, reference: int | None, stamp: Stamp) -> tuple[float | None, bool]:
        """Return (true angle in [0, 2 pi), whether it was magnetic)."""
        if angle is None:
            return None, False
        if reference == _TRUE:
            return angle % TAU, False
        if reference != _MAGNETIC:
            self.unusable["an angle from neither true nor magnetic north"] += 1
            return None, False
        variation = self._variation
        if self._place is not None:
            variation = variation_at(*self._place, stamp.received_ns)
        if variation is None:
            self.unusable["a magnetic angle before the variation is known"] += 1
            return None, True
        return (angle + variation) % TAU, True

    # --- water and wind --------------------------------------------------------------------------------------------

    def _speed(self, f: Fields, stamp: Stamp) -> list[Said]:
        speed = f.number("speedWaterReferenced")
        return [] if speed is None else [WaterSaid(*stamp.said(), speed)]

    def _depth(self, f: Fields, stamp: Stamp) -> list[Said]:
        depth = f.number("depth")
        # A sounder that has lost the bottom says "not available", some say 0.
        if not depth:
            return [DepthLostSaid(*stamp.said())]
        offset = f.number("offset")
        return [DepthSaid(*stamp.said(), depth, None if offset is None or abs(offset + 0.001) < 1e-6 else offset)]

    def _wind(self, f: Fields, stamp: Stamp) -> list[Said]:
        speed, angle, reference = f.number("windSpeed"), f.number("windAngle"), f.code("reference")
        if speed is None or angle is None:
            return []
        if reference == _WIND_APPARENT or reference in _WIND_FROM_BOW:
            return [WindSaid(*stamp.said(), angle % TAU, speed, reference == _WIND_APPARENT)]
        if reference not in (_WIND_TRUE_NORTH, _WIND_MAGNETIC_NORTH):
            self.unusable["a wind of no known reference"] += 1
            return []
        true, _ = self._true(angle, _TRUE if reference == _WIND_TRUE_NORTH else _MAGNETIC, stamp)
        return [] if true is None else [WindSaid(*stamp.said(), true, speed, False, is_from_north=True)]

    # --- another radar's targets -----------------------------------------------------------------------------------

    def _target(self, f: Fields, stamp: Stamp) -> list[Said]:
        number, distance = f.code("targetId"), f.number("distance")
        if number is None:
            return []
        bearing, _ = self._true(f.number("bearing"), f.code("bearingReference"), stamp)
        course, _ = self._true(f.number("course"), f.code("bearingReference"), stamp)
        cpa = f.number("cpa")
        return [
            TargetSaid(
                *stamp.said(),
                number,
                distance if distance is not None and distance >= 0.0 else None,
                bearing,
                False,
                f.number("speed"),
                course,
                cpa if cpa is not None and cpa >= 0.0 else None,
                f.number("tcpa"),
                f.text("name"),
                _TRACK_STATUS.get(f.code("trackStatus") or 0),
            )
        ]


def _moment(f: Fields) -> int | None:
    """Return the Unix time of a date and the seconds since its midnight."""
    day, seconds = f.day("date"), f.number("time")
    # Below 86401: 60 is a leap second.  A receiver without a fix says the first of January 1970, or its own epoch.
    if day is None or seconds is None or not 0.0 <= seconds < 86_401.0 or not 1980 < day.year < 2100:
        return None
    return utc_to_ns(datetime(day.year, day.month, day.day, tzinfo=UTC)) + round(seconds * NS_PER_S)


_Reader = Callable[[OwnGroups, Fields, Stamp], list[Said]]
_READERS: dict[int, _Reader] = {
    126992: OwnGroups._system_time,
    127250: OwnGroups._heading,
    127251: OwnGroups._rate_of_turn,
    127257: OwnGroups._attitude,
    127258: OwnGroups._magnetic_variation,
    128259: OwnGroups._speed,
    128267: OwnGroups._depth,
    128520: OwnGroups._target,
    129025: OwnGroups._rapid_position,
    129026: OwnGroups._course_speed,
    129029: OwnGroups._gnss,
    130306: OwnGroups._wind,
}
# Octets that hold the fields read above.
OWN_OCTETS = {
    126992: 8, 127250: 8, 127251: 5, 127257: 7, 127258: 6, 128259: 3, 128267: 7, 128520: 26,
    129025: 8, 129026: 6, 129029: 33, 130306: 6,
}  # fmt: skip
assert OWN_OCTETS.keys() == _READERS.keys()
