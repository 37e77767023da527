"""The chain, without I/O: bytes in, turns out, through named stages.

    radar bytes ─► decode ─► assembly ─► detection ─► correction, tracking ─► judging ─► turn
                     │          ▲                            ▲                   ▲
                     └─► spoke feed (screens)                │                   │
    instrument bytes ─► decode ─► intake: pose, depth, wind, AIS, targets ───────┤
    the passing of time ─► line times, faults ─► integrity ──────────────────────┘

Each stage is a file of this folder, or the room it is named after; what one hands to the next is a record, and none
looks back.

Rules of this file:
- A turn comes out with each scan; while the radar cannot be believed, or sends nothing, one each second.
- What a fault has taken away is not handed on: no frozen picture as a scan, no position that has jumped.
- Time is the watch's own time line (see `timebase`).  It passes with the bytes and with `tick`, never by itself.
- One thread at a time.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.constants import TAU
from moonless.echo.detector import Detector
from moonless.reading.judge import Judge
from moonless.reading.situation import Held, OwnState, Situation
from moonless.reading.trial_types import Trial
from moonless.reading.types import Fault
from moonless.rules.steering import Sight
from moonless.scan.pose import PoseSample
from moonless.scan.types import Scan, Spoke
from moonless.track.types import Former
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.instruments.intake import Intake
from moonless.watch.instruments.source_priority import Preferred
from moonless.watch.instruments.tides import TideUnderWay
from moonless.watch.instruments.timebase import TimeBase
from moonless.watch.pipeline.assembly import assembler_for, believed, carried_on, scan_errors
from moonless.watch.pipeline.decode import InstrumentDecoding, RadarDecoding
from moonless.watch.pipeline.integrity import Integrity, withdrawn
from moonless.watch.pipeline.line_times import LineTimes
from moonless.watch.pipeline.spoke_feed import SpokeFeed
from moonless.watch.pipeline.target_tracks import TargetTracks
from moonless.watch.pipeline.tracking import Tracking
from moonless.watch.runtime.garbage import SetAside
from moonless.watch.screen.transcribe import with_picture
from moonless.watch.types import SpokesNow, Turn, shows_the_past

# A turn that breaks off before this share of its rows came in is no scan.
LEAST_RECEIVED = 0.5


@dataclass(slots=True)
class ChainCounts:
    """What the chain has done so far."""

    turns: int = 0
    scans: int = 0
    scans_skipped: int = 0  # whole scans passed over because newer ones were waiting
    scans_late: int = 0  # whose reading took too long to be told as the present
    lines_without_scan: int = 0
    spokes_of_others: int = 0  # of a second radar on the same link, by its data source; they are not mixed in


@dataclass(slots=True)
class Given:
    """What people and files give the watch, set at any time."""

    sight: Sight = "unsure"
    way: tuple[tuple[float, float], ...] = ()  # (lat, lon) of the turns of the route still ahead
    tide_m: float | None = None  # above chart datum; None: not known
    tide: TideUnderWay | None = None  # predicted; it goes before ``tide_m``

    def tide_height_m(self, time_ns: int, own: OwnState) -> float | None:
        """Return the height of tide at the boat; None: not known."""
        return self.tide_m if self.tide is None else self.tide.height_m(time_ns, own.lat_deg, own.lon_deg)


class Chain:
    """The whole watch from bytes to readings.

    Parameters
    ----------
    chart, knowledge : None: there is none, and nothing is explained by it
    on_spokes : given the spokes of each `feed_radar` as they came, for screens that draw before the turn is whole
    is_late : asked with a scan's end before it is looked into; True passes it over, because a newer one is waiting
    preferred : which source of a thing the skipper has chosen, by the names of links that `feed_nmea` is given
    radar_named : there is to be radar video; without it another radar's targets are all there is, if they come
    """

    def __init__(
        self,
        boat: Boat,
        chart: Chart | None = None,
        knowledge: Knowledge | None = None,
        *,
        on_spokes: Callable[[SpokesNow], None] | None = None,
        is_late: Callable[[int], bool] | None = None,
        preferred: Preferred | None = None,
        radar_named: bool = False,
    ) -> None:
        self.boat = boat
        self.given = Given()
        self.counts = ChainCounts()
        self._is_late = is_late
        times, faults = TimeBase(), FaultWatch()
        self.instruments = InstrumentDecoding(Intake(boat, times, faults, preferred))
        self.radar = RadarDecoding(times, faults)
        self._lines = LineTimes(times, faults)
        self._integrity = Integrity(faults, self.instruments.intake, chart)
        self._targets = TargetTracks(self.instruments.intake.others, radar_named)
        self._spoke_feed = SpokeFeed(on_spokes)
        self._assembler = assembler_for(boat)
        self._detector = Detector()
        self._judge = Judge(boat, chart, knowledge)
        self._tracking = Tracking(boat, self._judge)
        self._set_aside = SetAside()

    # --- in --------------------------------------------------------------------------------------------------------

    def feed_radar(self, data: bytes, received_ns: int, *, is_datagram: bool = False) -> list[Turn]:
        """Take in radar bytes: of a stream, cut anywhere, or one datagram."""
        turns = self._pass_to(received_ns)
        decoded = self.radar.decode(data, received_ns, is_datagram=is_datagram)
        self.counts.spokes_of_others += decoded.of_others
        spokes = decoded.spokes
        if not spokes:
            return turns
        now_ns = self._lines.times.utc(received_ns)
        if decoded.clock == "jumped":
            self._clock_jumped(now_ns)
        elif decoded.clock == "late":
            self._integrity.watch.late(now_ns)
        return turns + self._take_spokes(spokes, now_ns)

    def feed_spokes(self, spokes: Sequence[Spoke], poses: Sequence[PoseSample] = ()) -> list[Turn]:
        """Take in spokes that came by another door than category 240, with what they say of the boat's own pose.

        Their own times are the times of receipt.  What is said beside them by instruments goes before ``poses``.
        """
        if not spokes:
            return []
        turns = self._pass_to(spokes[-1].time_ns)
        self.intake.take_poses(poses)
        return turns + self._take_spokes(list(spokes), self._lines.times.utc(spokes[-1].time_ns))

    def _take_spokes(self, spokes: list[Spoke], now_ns: int) -> list[Turn]:
        turns: list[Turn] = []
        spokes = self.radar.range_factors.put_right(spokes)
        self._targets.expects_video = True
        last_ns = max(now_ns, spokes[-1].time_ns)
        self._integrity.watch.spoke(last_ns, spokes[-1].azimuth_start_rad)
        self._integrity.watch.spokes(last_ns, [spoke.azimuth_start_rad for spoke in spokes])
        poses = self.intake.poses
        if self._spoke_feed.is_heard and not shows_the_past(self._integrity.watch.faults(now_ns)):
            self._spoke_feed.send(spokes, self._assembler.n_spoke, poses, self.boat.radar)
        for spoke in spokes:
            scan = self._assembler.add(spoke, poses)
            if scan is not None:
                turns += self._read_scan(scan, max(now_ns, scan.end_ns))
        return turns

    def feed_nmea(self, data: bytes, received_ns: int, *, link: str = "nmea", is_datagram: bool = False) -> list[Turn]:
        """Take in what instruments say on one link: of a stream, cut anywhere, or one datagram."""
        turns = self._pass_to(received_ns)
        clock = self.instruments.decode(data, received_ns, link, is_datagram=is_datagram)
        if clock != "same":
            now_ns = self._lines.now_ns = self._lines.times.utc(received_ns)
            self._begin_again(now_ns)
            if clock == "jumped":
                self._integrity.watch.jumped("clock", now_ns)
        return turns

    def tick(self, now_ns: int) -> list[Turn]:
        """Let time pass; ``now_ns`` by the clock of receipt.  Live, call it a few times a second."""
        return self._pass_to(now_ns)

    def finish(self) -> list[Turn]:
        """Say that all sources have ended; return the turn that was going on, if it makes one."""
        scan = self._assembler.flush(self.intake.poses)
        if scan is None or scan.received_fraction < LEAST_RECEIVED:
            return []
        return self._read_scan(scan, max(scan.end_ns, self._lines.now_ns or scan.end_ns))

    def fell_behind(self, received_ns: int) -> list[Turn]:
        """Say that the work on what came in then has taken too long; return the line that withdraws the picture."""
        now_ns = self._lines.times.utc(received_ns)
        self._integrity.watch.fell_behind(now_ns, self._lines.pictured_ns or now_ns)
        self.counts.scans_late += 1
        return [self._read_without_scan(max(now_ns, (self._lines.last_ns or now_ns) + 1))]

    # --- asked -----------------------------------------------------------------------------------------------------

    def acknowledge(self, key: str) -> None:
        """Say no more of what a call with this key told until it becomes more urgent."""
        self._judge.acknowledge(key)

    def take_up(self, former: tuple[Former, ...], answered: Mapping[str, int]) -> None:
        """Go on for a watch that ended: the numbers of its tracks, the calls that were answered and their urgencies."""
        self._tracking.take_up(former)
        self._judge.answered_before(answered)

    def set_bow_offset(self, bow_offset_rad: float) -> None:
        """Turn the radar's picture against the bow from now on.  Tracks begin anew: they stood in the old picture."""
        by = (bow_offset_rad - self.boat.radar.bow_offset_rad + np.pi) % TAU - np.pi
        self.boat = replace(self.boat, radar=replace(self.boat.radar, bow_offset_rad=bow_offset_rad))
        self._assembler.set_bow_offset(bow_offset_rad)
        self._judge.turned(float(by))
        self._integrity.watch.measured_anew()
        self._tracking.forget()

    def hand_on_spokes(self, is_on: bool) -> None:
        """Hand spokes to the screens from now on, or no more: laying them out is half the work of reading a turn."""
        self._spoke_feed.is_quiet = not is_on

    def try_manoeuvre(self, course_rad: float | None, speed: float | None, delay_s: float = 0.0) -> Trial | str:
        """Return what a course (true, over ground) or speed would bring, against the last turn; None: as now.

        A sentence where none can be tried.
        """
        return self._judge.try_manoeuvre(course_rad, speed, delay_s)

    def own(self, received_ns: int) -> OwnState:
        """Return the boat's own state at a time of receipt, withdrawn where a fault says so."""
        now_ns = self._lines.times.utc(received_ns)
        return self.intake.own(now_ns, withdrawn(self._integrity.watch.faults(now_ns)))

    @property
    def intake(self) -> Intake:
        """What the instruments have said."""
        return self.instruments.intake

    @property
    def faults(self) -> tuple[Fault, ...]:
        """What cannot be believed, as of the last bytes or tick."""
        return self._integrity.watch.faults(self._lines.now_ns) if self._lines.now_ns is not None else ()

    # --- time ------------------------------------------------------------------------------------------------------

    def _pass_to(self, received_ns: int) -> list[Turn]:
        """Let time pass to a time of receipt; return the lines that fell due on the way."""
        if self._lines.times.received(received_ns):
            self._clock_jumped(self._lines.times.utc(received_ns))
        now_ns = self._lines.times.utc(received_ns)
        self._integrity.watch.begin(now_ns)
        if self._lines.pass_to(now_ns):
            return []
        scan = self._assembler.tick(now_ns, self.intake.poses)
        turns = [] if scan is None else self._read_scan(scan, now_ns)
        while (due_ns := self._lines.next_due(now_ns)) is not None:
            turns.append(self._read_without_scan(due_ns))
        return turns

    def _clock_jumped(self, now_ns: int) -> None:
        self._begin_again(now_ns)
        self._integrity.watch.jumped("clock", now_ns)

    def _begin_again(self, now_ns: int) -> None:
        """The time line has moved: nothing from before can be compared with what comes."""
        self._assembler.flush(self.intake.poses)
        self._integrity.watch.begin_again(now_ns)
        self.intake.forget()
        self._tracking.begin_again()
        self._lines.begin_again(now_ns)

    # --- turns -----------------------------------------------------------------------------------------------------

    def _read_scan(self, scan: Scan, now_ns: int) -> list[Turn]:
        """Take a scan through detection, correction, tracking and judging."""
        self.counts.scans += 1
        if self._is_late is not None and self._is_late(scan.end_ns):
            self.counts.scans_skipped += 1
            if self._lines.has_no_picture(now_ns):
                self._integrity.watch.fell_behind(now_ns, self._lines.pictured_ns or now_ns)
            return []
        time_ns, last_ns = scan.end_ns, self._lines.last_ns
        if last_ns is not None and time_ns <= last_ns:
            # A scan that ends before what was last told: late by a fault of time, or a sliver before a full one.
            if scan.received_fraction < LEAST_RECEIVED:
                return []
            time_ns = last_ns + 1
        self._integrity.watch.scan(scan, self._assembler.period_s)
        faults = self._faults_at(now_ns)
        situation = self._placed(time_ns, scan, faults)
        if all(fault.state in ("deaf", "disagrees") for fault in faults if fault.what == "radar"):
            assert situation.scan is not None
            # A deaf radar is listened to all the same: that it hears again is shown by its picture and by nothing else.
            picture = self._detector.detect(situation.scan)
            self._integrity.watch.picture(scan, picture)
            heard, picture = self._integrity.watch.as_heard(situation.scan, picture)
            situation = replace(
                situation, scan=heard, picture=picture, faults=self._faults_at(now_ns),
                is_hearing_shown=self._integrity.watch.is_hearing_shown,
            )  # fmt: skip
        gone = withdrawn(situation.faults)
        if "radar" in gone or gone - withdrawn(faults):
            # What this very picture has taken away it was laid by.
            situation = replace(situation, scan=None, picture=None)
        else:
            self._tracking.lay_plane(situation.own)
        situation = replace(situation, frame=self._tracking.frame)
        situation = replace(situation, tracks=self._tracking.update(situation, self.intake.others.targets(time_ns)))
        self._lines.scanned(time_ns)
        turn = self._judged(situation)
        factor = self._judge.range_factor
        if factor is not None:
            self._put_range_right(factor, time_ns)
        return [turn]

    def _put_range_right(self, factor: float, time_ns: int) -> None:
        """Take the set's metres by a factor from the next spoke on.  All that was made of the old ones is of no use."""
        self.radar.range_factors.found(factor, time_ns)
        self._integrity.watch.measured_anew()
        self._judge.begin_again()
        self._tracking.begin_again()

    def _read_without_scan(self, time_ns: int) -> Turn:
        """Return the turn of a second without a scan."""
        faults = self._faults_at(time_ns)
        own = self.intake.own(time_ns, withdrawn(faults))
        self._lines.last_ns = time_ns
        self.counts.lines_without_scan += 1
        situation = self._situation(time_ns, own, faults)
        frame = self._targets.frame_at(own) if self._targets.are_all(time_ns) else None
        if frame is not None:
            tracks = self._targets.tracks(situation.ais, frame, time_ns)
            situation = replace(situation, frame=frame, tracks=tracks, targets_only=True)
        return self._judged(situation)

    def _faults_at(self, now_ns: int) -> tuple[Fault, ...]:
        faults = self._integrity.faults(now_ns)
        if self._targets.are_all(now_ns):
            # No video is to come: that it does not is no fault, and what is then not known is said.
            faults = tuple(fault for fault in faults if fault.what != "radar")
        since_ns = self.radar.range_factors.since_ns
        if since_ns is not None and not any(fault.what == "radar" for fault in faults):
            faults = (*faults, Fault("radar", "disagrees", since_ns))
        if self._integrity.has_come_back(faults):
            self._tracking.forget()
        return faults

    def _placed(self, time_ns: int, scan: Scan, faults: tuple[Fault, ...]) -> Situation:
        """Return the turn with its scan and own boat where they can be believed to be, before anything is detected."""
        gone = withdrawn(faults)
        own = self.intake.own(time_ns, gone)
        errors = with_picture(scan_errors(self.boat, scan), self.radar.picture)
        scan = believed(replace(scan, errors=errors), gone)
        held = self._held(time_ns, faults, own)
        if held is not None:
            own = replace(own, lat_deg=held.lat_deg, lon_deg=held.lon_deg, cog_rad=held.cog_rad, sog=held.sog)
            scan = carried_on(scan, time_ns, held)
        return replace(self._situation(time_ns, own, faults), scan=scan, held=held)

    def _held(self, time_ns: int, faults: tuple[Fault, ...], own: OwnState) -> Held | None:
        """Return the position that radar and chart carry on while the receiver alone cannot be believed."""
        gone = withdrawn(faults)
        if {"radar", "heading", "clock"} & gone or self._integrity.watch.is_motion_doubted:
            return None
        if "position" not in gone or own.heading_true_rad is None:
            return None
        held = self._judge.hold_position(time_ns, own.heading_true_rad)
        if held is None or not held.is_good:
            return None
        self._integrity.watch.position_carried(time_ns, held.lat_deg, held.lon_deg, held.sigma_m)
        return held

    def _situation(self, time_ns: int, own: OwnState, faults: tuple[Fault, ...]) -> Situation:
        """Return the turn as far as it is known without the radar."""
        wind = self.intake.wind(time_ns, own)
        return Situation(
            time_ns=time_ns,
            own=own,
            frame=self._tracking.frame,
            scan=None, picture=None, tracks=(),
            ais=self.intake.ais.targets(time_ns),
            faults=faults,
            depth_below_surface_m=self.intake.depth_below_surface_m(time_ns),
            tide_m=self.given.tide_height_m(time_ns, own),
            wind_from_rad=None if wind is None else wind.from_rad,
            wind_speed=None if wind is None else wind.speed,
            sight=self.given.sight,
            way=self.given.way,
            range_factor=self.radar.range_factors.now,
            bearing_by_motion=self._integrity.watch.bearing_by_motion,
        )  # fmt: skip

    def _judged(self, situation: Situation) -> Turn:
        reading = self._judge.read(situation)
        self.counts.turns += 1
        self._set_aside.after(self._judge.laid_out)
        return Turn(
            reading, situation.scan, situation.picture, situation.tracks, situation.ais, situation.frame,
            depth_below_surface_m=situation.depth_below_surface_m,
        )  # fmt: skip
