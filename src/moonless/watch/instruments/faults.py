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

from collections.abc import Sequence

from moonless.echo.types import EchoPicture
from moonless.reading.line import FaultWhat
from moonless.reading.situation import BearingByMotion
from moonless.reading.types import Fault
from moonless.scan.types import Scan
from moonless.watch.instruments.evidence.still_watch import StillWatch
from moonless.watch.instruments.fault_memory import FaultMemory
from moonless.watch.instruments.heading_watch import HeadingWatch
from moonless.watch.instruments.position_watch import PositionWatch
from moonless.watch.instruments.radar.video import RadarWatch

AIS_SILENT_S = 180.0  # an anchored vessel of class A speaks every three minutes: ITU-R M.1371-5, table 1
DEPTH_SILENT_S = 5.0  # a sounder speaks once a second; own choice


class FaultWatch:
    """Takes word of everything that comes in; says what cannot be believed."""

    def __init__(self) -> None:
        self._memory = FaultMemory()
        self._radar = RadarWatch(self._memory)
        self._position = PositionWatch(self._memory)
        self._heading = HeadingWatch(self._memory)
        self._still = StillWatch(self._position, self._heading)

    # --- what is heard ---------------------------------------------------------------------------------------------

    def begin(self, now_ns: int) -> None:
        """Say that the watch has begun; the first word of anything does as well."""
        self._memory.begin(now_ns)

    def begin_again(self, now_ns: int) -> None:
        """After a jump of the clock: nothing heard before it can be compared with what comes."""
        self._memory.begin_again(now_ns)
        self._radar.begin_again()
        self._position.begin_again()
        self._heading.begin_again()
        self._still.begin_again()

    def heard(self, what: FaultWhat, now_ns: int) -> None:
        """Take note that a thing has spoken."""
        self._memory.heard(what, now_ns)

    def jumped(self, what: FaultWhat, now_ns: int) -> None:
        """Take note of a jump that was seen elsewhere."""
        self._memory.hold(what, "jumped", now_ns)

    def late(self, now_ns: int) -> None:
        """Take note of radar video that is older than it should be when it comes."""
        self._memory.hold("radar", "stale", now_ns)

    def fell_behind(self, now_ns: int, since_ns: int) -> None:
        """Take note that the work on the picture takes too long: it would be told as the past."""
        self._memory.hold("radar", "late", now_ns, since_ns)

    def spoke(self, now_ns: int, azimuth_rad: float) -> None:
        """Take note of the newest spoke of those that came in together."""
        self._radar.spoke(now_ns, azimuth_rad)

    def spokes(self, now_ns: int, azimuth_rad: Sequence[float]) -> None:
        """Take note of where the antenna looked, spoke after spoke."""
        self._radar.spokes(now_ns, azimuth_rad)

    def picture(self, scan: Scan, picture: EchoPicture) -> None:
        """Take note of what a turn shows: does the radar hear, and does the reported pose go with what stands still?

        ``scan`` bears the pose as it was reported.
        """
        self._radar.picture(scan, picture)
        self._still.turn(scan, picture.plots)

    def as_heard(self, scan: Scan, picture: EchoPicture) -> tuple[Scan, EchoPicture]:
        """Return the newest turn and its picture with the bearings on which the radar does not hear as not received."""
        return self._radar.as_heard(scan, picture)

    @property
    def is_motion_doubted(self) -> bool:
        """Whether course and speed over the ground are not believed: nothing can be carried on by them."""
        return self._position.is_motion_doubted

    @property
    def bearing_by_motion(self) -> BearingByMotion | None:
        """By what steady angle bearings are out, as the still world shows it; None: not known."""
        return self._still.bearing.now

    def measured_anew(self) -> None:
        """Take note that the radar's picture is laid otherwise from here on: its metres, or the bow, are put right."""
        self._radar.measured_anew()
        self._still.begin_again()

    def other_source(self, now_ns: int) -> None:
        """Take note that another source of position or heading is followed: it may differ by what is no fault."""
        self._still.begin_again(now_ns)

    def radar_blocks(self, now_ns: int, n_good: int, n_bad: int) -> None:
        """Take note of how many blocks of what came in could be used, and how many not."""
        self._radar.blocks(now_ns, n_good, n_bad)

    def scan(self, scan: Scan, period_s: float | None) -> None:
        """Take note of a turn: is there video at all, and is it the last one's again?"""
        self._radar.scan(scan, period_s)

    def no_fix(self, now_ns: int) -> None:
        """The receiver says it has no position."""
        self._position.no_fix(now_ns)

    def mistimed(self, now_ns: int, *, is_ahead: bool) -> None:
        """Take note of a fix that says a time which is not now, and so was not used."""
        self._position.mistimed(now_ns, is_ahead=is_ahead)

    def position(self, now_ns: int, said_ns: int | None, lat_deg: float, lon_deg: float) -> None:
        """Take note of a fix; ``said_ns``: its own time."""
        self._position.position(now_ns, said_ns, lat_deg, lon_deg)

    def position_beside(self, now_ns: int, lat_deg: float, lon_deg: float) -> None:
        """Take note of a fix of a receiver that is not followed."""
        self._position.beside(now_ns, lat_deg, lon_deg)

    def position_carried(self, now_ns: int, lat_deg: float, lon_deg: float, sigma_m: float) -> None:
        """Take note of where radar and chart, without the receiver, have the boat."""
        self._position.carried(now_ns, lat_deg, lon_deg, sigma_m)

    def motion(self, now_ns: int, course_rad: float | None, speed: float | None) -> None:
        """Take note of course and speed over the ground."""
        before = self._position.motion
        self._position.motion_said(now_ns, course_rad, speed)
        self._heading.course(now_ns, before, self._position.motion)

    def heading(self, now_ns: int, heading_rad: float) -> None:
        """Take note of a heading."""
        self._heading.heading(now_ns, heading_rad)

    def turning(self, now_ns: int, turn_rate: float) -> None:
        """Take note of the rate of turn: what the heading should have done."""
        self._heading.turning(now_ns, turn_rate)

    # --- what is said ----------------------------------------------------------------------------------------------

    def faults(self, now_ns: int) -> tuple[Fault, ...]:
        """Return what cannot be believed at a time."""
        memory = self._memory
        memory.begin(now_ns)
        found = (
            self._radar.fault(now_ns),
            self._position.fault(now_ns),
            self._heading.fault(now_ns),
            memory.held("clock", now_ns),
            memory.once_heard("ais", now_ns, AIS_SILENT_S),
            memory.once_heard("depth", now_ns, DEPTH_SILENT_S),
        )
        return tuple(fault for fault in found if fault is not None)

    @property
    def is_hearing_shown(self) -> bool:
        """Whether the radar has shown that it hears."""
        return self._radar.is_hearing_shown

    @property
    def radar_limit_s(self) -> float:
        """Seconds without a spoke after which the radar is silent."""
        return self._radar.limit_s
