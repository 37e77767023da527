"""The fault watch: what cannot be believed now, and since when.

Rules of this file:
- Each fault is seen within two turns of the antenna or three seconds of its beginning; the limits below leave room
  for the line that tells of it to come.
- ``since`` is when it began, as far as can be known: the last good word, not the moment it was noticed.
- Something never heard is silent since the watch began.  AIS and depth are only missed once they have been heard.
- One fault a thing: silence before staleness, before freezing, before a jump.
- All times are Unix UTC of the watch's own time line (see `timebase`).
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from moonless.constants import EARTH_MEAN_RADIUS_M, TAU
from moonless.reading.types import Fault, FaultState, FaultWhat
from moonless.scan.types import Scan
from moonless.units import NS_PER_S

# Two missed sentences at the slowest usual rate, once a second.
SILENT_S = 2.5
RADAR_SILENT_MOST_S = 2.5
RADAR_SILENT_LEAST_S = 1.0
# When more blocks than not could not be used over this long, what is left is no picture.
DAMAGE_WINDOW_S = 1.0
# Spokes that come while the antenna angle stands still.
AZIMUTH_STILL_S = 1.0
AZIMUTH_STILL_RAD = TAU / 16384
AIS_SILENT_S = 180.0  # an anchored vessel of class A speaks every three minutes: ITU-R M.1371-5, table 1
DEPTH_SILENT_S = 5.0
# A jump is told for so long after the last one; what came back steady is believed again.
HOLD_S = 5.0
# A fix further than this from where the boat must be has jumped: 50 m, and 5 m for each second since the last.
JUMP_M, JUMP_MPS = 50.0, 5.0
# Faster than a degree a millisecond a boat of 6 to 15 m does not turn: 30 degrees between two headings.
JUMP_RAD = math.radians(30.0)
JUMP_TURN_RATE = math.radians(60.0)
# Two turns of noisy video never agree in a whole row.
FROZEN_ROWS = 0.9
FROZEN_MIN_ROWS = 32
# A fix is held to be frozen when it stands still while the receiver says that the boat does not.
UNDER_WAY_MPS = 1.0
# A heading is held to be frozen when it stands still to the last digit while the boat turns by this much.
TURNED_RAD = math.radians(4.0)
# By the course over ground, where no rate of turn is said, more is asked: it wanders by itself.
COURSE_TURNED_RAD = math.radians(10.0)
COURSE_TELLS_MPS = 2.0


@dataclass(slots=True)
class _Held:
    """A fault that is told until a time."""

    state: FaultState
    since_ns: int
    until_ns: int


class FaultWatch:
    """Takes word of everything that comes in; says what cannot be believed."""

    def __init__(self) -> None:
        self._began_ns: int | None = None
        self._heard: dict[FaultWhat, int] = {}
        self._held: dict[FaultWhat, _Held] = {}
        self._period_s: float | None = None
        self._radar_frozen_ns: int | None = None
        self._radar_empty_ns: int | None = None
        self._blocks: tuple[int, int, int] | None = None  # since when, blocks used, blocks not
        self._last_scan: Scan | None = None
        self._azimuth: tuple[int, float] | None = None  # when and where the antenna last moved
        self._fix: tuple[int, float, float] | None = None  # time, lat, lon
        self._fix_time: tuple[int, int] | None = None  # heard, said: when the said time last moved
        self._fix_moved_ns: int | None = None
        self._no_fix_ns: int | None = None
        self._motion: tuple[float, float] | None = None  # course, speed
        self._headings: deque[tuple[int, float]] = deque(maxlen=64)
        self._heading_moved_ns: int | None = None
        self._turned_rad = 0.0
        self._course_turned_rad = 0.0
        self._turn: tuple[int, float] | None = None

    # --- what is heard ---------------------------------------------------------------------------------------------

    def begin(self, now_ns: int) -> None:
        """Say that the watch has begun; the first word of anything does as well."""
        if self._began_ns is None:
            self._began_ns = now_ns

    def heard(self, what: FaultWhat, now_ns: int) -> None:
        """Take note that a thing has spoken."""
        self.begin(now_ns)
        self._heard[what] = max(now_ns, self._heard.get(what, now_ns))

    def jumped(self, what: FaultWhat, now_ns: int) -> None:
        """Take note of a jump that was seen elsewhere."""
        self._hold(what, "jumped", now_ns)

    def late(self, now_ns: int) -> None:
        """Take note of radar video that is older than it should be when it comes."""
        self._hold("radar", "stale", now_ns)

    def begin_again(self, now_ns: int) -> None:
        """After a jump of the clock: nothing heard before it can be compared with what comes."""
        self._heard = dict.fromkeys(self._heard, now_ns)
        self._began_ns = now_ns
        self._held.clear()
        self._fix = self._fix_time = self._azimuth = self._turn = None
        self._fix_moved_ns = self._heading_moved_ns = self._no_fix_ns = None
        self._radar_frozen_ns = self._radar_empty_ns = None
        self._headings.clear()
        self._last_scan = None

    def spoke(self, now_ns: int, azimuth_rad: float) -> None:
        """Take note of the newest spoke of those that came in together."""
        self.heard("radar", now_ns)
        if self._azimuth is not None:
            moved = abs(math.remainder(azimuth_rad - self._azimuth[1], TAU))
            if moved < AZIMUTH_STILL_RAD:
                return
        self._azimuth = (now_ns, azimuth_rad)

    def radar_blocks(self, now_ns: int, n_good: int, n_bad: int) -> None:
        """Take note of how many blocks of what came in could be used, and how many not."""
        began_ns, good, bad = self._blocks if self._blocks is not None else (now_ns, 0, 0)
        good, bad = good + n_good, bad + n_bad
        if now_ns - began_ns < DAMAGE_WINDOW_S * NS_PER_S:
            self._blocks = (began_ns, good, bad)
            return
        if bad > good:
            self.begin(now_ns)
            self._hold("radar", "damaged", now_ns, since_ns=began_ns)
        self._blocks = None

    def scan(self, scan: Scan, period_s: float | None) -> None:
        """Take note of a turn: is there video at all, and is it the last one's again?"""
        self._period_s = period_s
        n_received = int(np.count_nonzero(scan.is_received))
        # A receiver has noise, and round a sending one is the nearest water: a turn without a single count is no calm
        # sea but a set on stand-by, or a broken one.
        if scan.echo.any() or n_received < FROZEN_MIN_ROWS:
            self._radar_empty_ns = None
        elif self._radar_empty_ns is None:
            self._radar_empty_ns = scan.end_ns
        last, self._last_scan = self._last_scan, scan
        if last is None or last.echo.shape != scan.echo.shape:
            self._radar_frozen_ns = None
            return
        both = scan.is_received & last.is_received & scan.echo.any(axis=1)
        n = int(np.count_nonzero(both))
        if n < FROZEN_MIN_ROWS:
            self._radar_frozen_ns = None
            return
        same = np.all(scan.echo[both] == last.echo[both], axis=1)
        if float(np.mean(same)) < FROZEN_ROWS:
            self._radar_frozen_ns = None
        elif self._radar_frozen_ns is None:
            self._radar_frozen_ns = last.end_ns

    def no_fix(self, now_ns: int) -> None:
        """The receiver says it has no position."""
        self.heard("position", now_ns)
        if self._no_fix_ns is None:
            self._no_fix_ns = self._fix[0] if self._fix is not None else now_ns

    def mistimed(self, now_ns: int, *, is_ahead: bool) -> None:
        """Take note of a fix that says a time which is not now, and so was not used."""
        self.heard("position", now_ns)
        self._hold("position", "jumped" if is_ahead else "stale", now_ns)

    def position(self, now_ns: int, said_ns: int | None, lat_deg: float, lon_deg: float) -> None:
        """Take note of a fix; ``said_ns``: its own time."""
        self.heard("position", now_ns)
        self._no_fix_ns = None
        if said_ns is not None and (self._fix_time is None or said_ns != self._fix_time[1]):
            self._fix_time = (now_ns, said_ns)
        last = self._fix
        at_ns = said_ns if said_ns is not None else now_ns
        if last is not None and at_ns == last[0]:
            return
        if last is None or (lat_deg, lon_deg) != last[1:]:
            self._fix_moved_ns = now_ns
        if last is not None and self._is_jump(last, at_ns, lat_deg, lon_deg):
            self._hold("position", "jumped", now_ns)
        self._fix = (at_ns, lat_deg, lon_deg)

    def motion(self, now_ns: int, course_rad: float | None, speed: float | None) -> None:
        """Take note of course and speed over the ground."""
        last = self._motion
        self._motion = None if course_rad is None or speed is None else (course_rad, speed)
        has_turn_rate = self._turn is not None and now_ns - self._turn[0] < SILENT_S * NS_PER_S
        if not has_turn_rate and last is not None and self._motion is not None:
            slow = min(last[1], self._motion[1]) < COURSE_TELLS_MPS
            self._course_turned_rad += 0.0 if slow else math.remainder(self._motion[0] - last[0], TAU)

    def heading(self, now_ns: int, heading_rad: float) -> None:
        """Take note of a heading."""
        self.heard("heading", now_ns)
        if self._headings:
            then_ns, last = self._headings[-1]
            step = abs(math.remainder(heading_rad - last, TAU))
            elapsed = max(now_ns - then_ns, 0) / NS_PER_S
            if step > max(JUMP_RAD, JUMP_TURN_RATE * elapsed) and elapsed < HOLD_S:
                self._hold("heading", "jumped", now_ns)
            if step > 0.0:
                self._heading_moved_ns, self._turned_rad, self._course_turned_rad = now_ns, 0.0, 0.0
        else:
            self._heading_moved_ns = now_ns
        self._headings.append((now_ns, heading_rad))

    def turning(self, now_ns: int, turn_rate: float) -> None:
        """Take note of the rate of turn: what the heading should have done."""
        if self._turn is not None:
            then_ns, rate = self._turn
            self._turned_rad += 0.5 * (rate + turn_rate) * min(max(now_ns - then_ns, 0) / NS_PER_S, 2.0)
        self._turn = (now_ns, turn_rate)

    # --- what is said ----------------------------------------------------------------------------------------------

    def faults(self, now_ns: int) -> tuple[Fault, ...]:
        """Return what cannot be believed at a time."""
        self.begin(now_ns)
        found = (
            self._radar(now_ns),
            self._position(now_ns),
            self._heading(now_ns),
            self._held_fault("clock", now_ns),
            self._once_heard("ais", now_ns, AIS_SILENT_S),
            self._once_heard("depth", now_ns, DEPTH_SILENT_S),
        )
        return tuple(fault for fault in found if fault is not None)

    @property
    def radar_limit_s(self) -> float:
        """Seconds without a spoke after which the radar is silent."""
        turns = 2.0 * self._period_s if self._period_s is not None else RADAR_SILENT_MOST_S
        return min(RADAR_SILENT_MOST_S, max(RADAR_SILENT_LEAST_S, turns))

    def _radar(self, now_ns: int) -> Fault | None:
        held = self._held.get("radar")
        if held is not None and held.state == "damaged" and now_ns <= held.until_ns:
            # Bytes come and cannot be used: more than silence, and worth another look at the radar's settings.
            return Fault("radar", "damaged", held.since_ns)
        silent = self._silent("radar", now_ns, self.radar_limit_s)
        if silent is not None:
            return silent
        if self._azimuth is not None and now_ns - self._azimuth[0] > AZIMUTH_STILL_S * NS_PER_S:
            return Fault("radar", "frozen", self._azimuth[0])
        if self._radar_empty_ns is not None:
            return Fault("radar", "silent", self._radar_empty_ns)
        if self._radar_frozen_ns is not None:
            return Fault("radar", "frozen", self._radar_frozen_ns)
        return self._held_fault("radar", now_ns)

    def _position(self, now_ns: int) -> Fault | None:
        silent = self._silent("position", now_ns, SILENT_S)
        if silent is not None:
            return silent
        limit = SILENT_S * NS_PER_S
        if self._no_fix_ns is not None:
            return Fault("position", "stale", self._no_fix_ns)
        if self._fix_time is not None and now_ns - self._fix_time[0] > limit:
            return Fault("position", "stale", self._fix_time[0])
        moving = self._motion is not None and self._motion[1] > UNDER_WAY_MPS
        if moving and self._fix_moved_ns is not None and now_ns - self._fix_moved_ns > limit:
            return Fault("position", "frozen", self._fix_moved_ns)
        return self._held_fault("position", now_ns)

    def _heading(self, now_ns: int) -> Fault | None:
        silent = self._silent("heading", now_ns, SILENT_S)
        if silent is not None:
            return silent
        moved = self._heading_moved_ns
        has_turned = abs(self._turned_rad) > TURNED_RAD or abs(self._course_turned_rad) > COURSE_TURNED_RAD
        if moved is not None and now_ns - moved > 1.5 * NS_PER_S and has_turned:
            return Fault("heading", "frozen", moved)
        return self._held_fault("heading", now_ns)

    def _silent(self, what: FaultWhat, now_ns: int, limit_s: float) -> Fault | None:
        last = self._heard.get(what, self._began_ns)
        assert last is not None
        return Fault(what, "silent", last) if now_ns - last > limit_s * NS_PER_S else None

    def _once_heard(self, what: FaultWhat, now_ns: int, limit_s: float) -> Fault | None:
        return self._silent(what, now_ns, limit_s) if what in self._heard else None

    def _held_fault(self, what: FaultWhat, now_ns: int) -> Fault | None:
        held = self._held.get(what)
        if held is None:
            return None
        if now_ns > held.until_ns:
            del self._held[what]
            return None
        return Fault(what, held.state, held.since_ns)

    def _hold(self, what: FaultWhat, state: FaultState, now_ns: int, since_ns: int | None = None) -> None:
        held = self._held.get(what)
        began_ns = now_ns if since_ns is None else since_ns
        since = held.since_ns if held is not None and held.state == state and now_ns <= held.until_ns else began_ns
        self._held[what] = _Held(state, since, now_ns + round(HOLD_S * NS_PER_S))

    def _is_jump(self, last: tuple[int, float, float], at_ns: int, lat_deg: float, lon_deg: float) -> bool:
        elapsed = (at_ns - last[0]) / NS_PER_S
        if elapsed < 0.0:
            return False  # late; its own series puts it in its place
        # On a sphere: a jump is told from none to a metre, not to a millimetre.
        north = math.radians(lat_deg - last[1]) * EARTH_MEAN_RADIUS_M
        east = (
            math.remainder(math.radians(lon_deg - last[2]), TAU) * EARTH_MEAN_RADIUS_M * math.cos(math.radians(lat_deg))
        )
        course, speed = self._motion if self._motion is not None else (0.0, 0.0)
        carried = min(elapsed, 60.0) * speed
        off = math.hypot(east - carried * math.sin(course), north - carried * math.cos(course))
        return off > JUMP_M + JUMP_MPS * elapsed
