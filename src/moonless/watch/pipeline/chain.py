"""The chain, without I/O: bytes in, turns out.

    radar bytes ─► spokes ─► scans ─► echoes ─► tracks ─┐
    NMEA bytes  ─► pose, depth, wind, AIS ──────────────┼─► reading
    the passing of time ─► faults ──────────────────────┘

Rules of this file:
- A turn comes out with each scan; while the radar cannot be believed, or sends nothing, one each second.
- What a fault has taken away is not handed on: no frozen picture as a scan, no position that has jumped.
- Time is the watch's own time line (see `timebase`).  It passes with the bytes and with `tick`, never by itself.
- One thread at a time.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.constants import NAUTICAL_MILE_M, SPEED_OF_LIGHT_MPS, TAU
from moonless.echo.detector import Detector
from moonless.echo.types import EchoPicture
from moonless.frames import LocalFrame
from moonless.radar.types import ScanGrid
from moonless.reading.collision.trial_types import Trial
from moonless.reading.judge import Judge
from moonless.reading.own import own_in_plane
from moonless.reading.registration.registrar import Agreement
from moonless.reading.situation import Held, OwnState, Situation
from moonless.reading.types import Call, Fault
from moonless.reading.visibility.detectable import HiddenWater, visibility
from moonless.rules.steering import Sight
from moonless.scan.assembler import ScanAssembler
from moonless.scan.types import Scan, ScanErrors, Spoke
from moonless.track.settings import PoseErrors
from moonless.track.tracker import Tracker
from moonless.track.types import Track
from moonless.units import NS_PER_S
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.instruments.intake import Chooser, Intake
from moonless.watch.instruments.source_priority import Preferred
from moonless.watch.instruments.tides import TideUnderWay
from moonless.watch.instruments.timebase import TimeBase
from moonless.watch.pipeline.garbage import set_aside
from moonless.watch.types import SpokesNow, Turn
from moonless.wire.cat240 import Cat240Decoder, Video
from moonless.wire.nmea import NmeaDecoder

# The tracks' plane is laid anew when the boat is this far from where it touches the earth, and the tracks are carried
# over: distances across it are still true to some parts in a million.
ANCHOR_M = 20_000.0
LINE_NS = NS_PER_S
# Datagrams come a thousand a second; whether a line is due is looked at this often.
LOOK_NS = NS_PER_S // 20
# A gap longer than this is not filled with a line each second: the recording, or the computer, stood still.
FILL_NS = 600 * NS_PER_S
# Widths are given in whole steps of the antenna's encoder: so many are averaged.  Own figures.
WIDTHS, LEAST_SPOKES, MOST_SPOKES = 16, 16, 16_384
# Between scans of a slow antenna no line is due; past this the radar sends, and makes no picture.
NO_PICTURE_S = 6.0


@dataclass(slots=True)
class ChainCounts:
    """What the chain has done so far."""

    turns: int = 0
    scans: int = 0
    scans_skipped: int = 0  # whole scans passed over because newer ones were waiting
    lines_without_scan: int = 0
    spokes_of_others: int = 0  # of a second radar on the same link, by its data source; they are not mixed in


class Chain:
    """The whole watch from bytes to readings.

    Parameters
    ----------
    chart, knowledge : None: there is none, and nothing is explained by it
    on_spokes : given the spokes of each `feed_radar` as they came, for screens that draw before the turn is whole
    is_late : asked with a scan's end before it is looked into; True passes it over, because a newer one is waiting
    preferred : which source of a thing the skipper has chosen, by the names of links that `feed_nmea` is given
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
    ) -> None:
        self.boat = boat
        self.counts = ChainCounts()
        self.radar = Cat240Decoder()
        self.nmea: dict[str, NmeaDecoder] = {}
        self.sight: Sight = "unsure"
        self.tide_m: float | None = None
        self.way: tuple[tuple[float, float], ...] = ()  # (lat, lon) of the turns of the route still ahead
        self.tide: TideUnderWay | None = None  # predicted; it goes before ``tide_m``
        self._chart = chart
        self._on_spokes = on_spokes
        self._is_late = is_late
        self._times = TimeBase()
        self._faults = FaultWatch()
        self.intake = Intake(boat, self._times, self._faults, preferred)
        set_ = boat.radar
        self._assembler = ScanAssembler(
            _errors(boat, None),
            angle_from=set_.angle_from,
            bow_offset_rad=set_.bow_offset_rad,
            range_offset_m=set_.range_offset_m,
            antenna_forward_m=set_.forward_m,
            antenna_starboard_m=set_.starboard_m,
        )
        self._source = Chooser()  # of several radars on one link, by data source
        self._detector = Detector()
        self._judge = Judge(boat, chart, knowledge)
        self._tracker: Tracker | None = None
        self._laid_out = 0
        # Before the first turn is whole: the widths of its spokes, and how many of them would make a turn.
        self._widths: deque[float] = deque(maxlen=4 * WIDTHS)
        self._first_turn: int | None = None
        self._hidden: Any = None
        self._hidden_water = HiddenWater()
        self._last_line_ns: int | None = None
        self._last_scan_ns: int | None = None
        self._now_ns: int | None = None
        self._chart_since_ns: int | None = None
        self._had_jumped = False
        self._looked_ns = 0

    # --- in --------------------------------------------------------------------------------------------------------

    def feed_radar(self, data: bytes, received_ns: int, *, is_datagram: bool = False) -> list[Turn]:
        """Take in radar bytes: of a stream, cut anywhere, or one datagram."""
        turns = self._pass_to(received_ns)
        counts = self.radar.counts
        bad, n_video = counts.damaged + counts.unknown_compression, counts.videos
        events = self.radar.datagram(data) if is_datagram else self.radar.feed(data)
        bad = counts.damaged + counts.unknown_compression - bad
        self._faults.radar_blocks(self._times.utc(received_ns), len(events), bad)
        now_ns = self._times.utc(received_ns)
        videos = [e for e in events if isinstance(e, Video) and self._source.takes((e.sac, e.sic), 0, now_ns)]
        self.counts.spokes_of_others += counts.videos - n_video - len(videos)
        if not videos:
            return turns
        last = videos[-1]
        if last.time_of_day_s is not None:
            news = self._times.radar(received_ns, last.time_ns(now_ns))
            if news == "jumped":
                self._clock_jumped(now_ns)
            elif news == "late":
                self._faults.late(now_ns)
        shift = self._times.radar_offset_ns
        spokes = []
        for video in videos:
            spoke = video.to_spoke(now_ns)
            spokes.append(spoke if shift == 0 else replace(spoke, time_ns=spoke.time_ns + shift))
        self._faults.spoke(max(now_ns, spokes[-1].time_ns), spokes[-1].azimuth_start_rad)
        if self._on_spokes is not None:
            self._tell_spokes(spokes)
        for spoke in spokes:
            scan = self._assembler.add(spoke, self.intake.poses)
            if scan is not None:
                turns += self._scan(scan, max(now_ns, scan.end_ns))
        return turns

    def feed_nmea(self, data: bytes, received_ns: int, *, link: str = "nmea", is_datagram: bool = False) -> list[Turn]:
        """Take in NMEA bytes of one link: of a stream, cut anywhere, or one datagram."""
        turns = self._pass_to(received_ns)
        decoder = self.nmea.get(link)
        if decoder is None:
            decoder = self.nmea[link] = NmeaDecoder()
        events = decoder.datagram(data, received_ns) if is_datagram else decoder.feed(data, received_ns)
        self.intake.take(events, link)
        news = self.intake.clock_news
        if news != "same":
            self.intake.clock_news = "same"
            now_ns = self._now_ns = self._times.utc(received_ns)
            self._begin_again(now_ns)
            if news == "jumped":
                self._faults.jumped("clock", now_ns)
        return turns

    def tick(self, now_ns: int) -> list[Turn]:
        """Let time pass; ``now_ns`` by the clock of receipt.  Live, call it a few times a second."""
        return self._pass_to(now_ns)

    def finish(self) -> list[Turn]:
        """Say that all sources have ended; return the turn that was going on, if it makes one."""
        scan = self._assembler.flush(self.intake.poses)
        if scan is None or scan.received_fraction < 0.5:
            return []
        return self._scan(scan, max(scan.end_ns, self._now_ns or scan.end_ns))

    def acknowledge(self, call: Call) -> None:
        """Say no more of what a call told until it becomes more urgent."""
        self._judge.acknowledge(call)

    def set_bow_offset(self, bow_offset_rad: float) -> None:
        """Turn the radar's picture against the bow from now on.  Tracks begin anew: they stood in the old picture."""
        by = (bow_offset_rad - self.boat.radar.bow_offset_rad + np.pi) % TAU - np.pi
        self.boat = replace(self.boat, radar=replace(self.boat.radar, bow_offset_rad=bow_offset_rad))
        self._assembler.set_bow_offset(bow_offset_rad)
        self._judge.turned(float(by))
        self._tracker = None

    def try_manoeuvre(self, course_rad: float | None, speed: float | None, delay_s: float = 0.0) -> Trial | str:
        """Return what a course (true, over ground) or speed would bring, against the last turn; None: as now.

        A sentence where none can be tried.
        """
        return self._judge.try_manoeuvre(course_rad, speed, delay_s)

    def own(self, received_ns: int) -> OwnState:
        """Return the boat's own state at a time of receipt, withdrawn where a fault says so."""
        now_ns = self._times.utc(received_ns)
        return self.intake.own(now_ns, _withdrawn(self._faults.faults(now_ns)))

    @property
    def faults(self) -> tuple[Fault, ...]:
        """What cannot be believed, as of the last bytes or tick."""
        return self._faults.faults(self._now_ns) if self._now_ns is not None else ()

    # --- time ------------------------------------------------------------------------------------------------------

    def _pass_to(self, received_ns: int) -> list[Turn]:
        """Let time pass to a time of receipt; return the lines that fell due on the way."""
        if self._times.received(received_ns):
            self._clock_jumped(self._times.utc(received_ns))
        now_ns = self._times.utc(received_ns)
        self._faults.begin(now_ns)
        last_now, self._now_ns = self._now_ns, now_ns
        if last_now is None:
            self._last_line_ns = now_ns
            return []
        turns: list[Turn] = []
        scan = self._assembler.tick(now_ns, self.intake.poses)
        if scan is not None:
            turns += self._scan(scan, now_ns)
        if self._last_line_ns is None or now_ns - self._last_line_ns > FILL_NS:
            self._last_line_ns = now_ns - LINE_NS
        while (due := self._next_line(self._last_line_ns, now_ns)) is not None:
            turns.append(self._line(due))
        return turns

    def _next_line(self, last_ns: int, now_ns: int) -> int | None:
        """Return when the next line without a scan falls due, if by now it does."""
        due = last_ns + LINE_NS
        if due > now_ns or 0 <= now_ns - self._looked_ns < LOOK_NS:
            return None
        line = self._line_due(due, last_ns, now_ns)
        if line is None:
            self._looked_ns = now_ns
        return line

    def _line_due(self, due: int, last_ns: int, now_ns: int) -> int | None:
        # The radar was believed until its limit was up: the first line without a scan tells of the fault.
        for fault in self._faults.faults(now_ns):
            if fault.what == "radar" and fault.state in ("silent", "frozen", "damaged"):
                first = fault.since_ns + round(self._faults.radar_limit_s * NS_PER_S) + 1
                if fault.state != "damaged" and self._last_scan_ns is not None:
                    first = max(first, self._last_scan_ns + LINE_NS)
                due = max(due, first)
                return due if due <= now_ns else None
        picture_ns = self._last_scan_ns if self._last_scan_ns is not None else last_ns
        return due if now_ns - picture_ns > NO_PICTURE_S * NS_PER_S else None

    def _clock_jumped(self, now_ns: int) -> None:
        self._begin_again(now_ns)
        self._faults.jumped("clock", now_ns)

    def _begin_again(self, now_ns: int) -> None:
        """The time line has moved: nothing from before can be compared with what comes."""
        self._assembler.flush(self.intake.poses)
        self._faults.begin_again(now_ns)
        self.intake.forget()
        self._tracker = None
        self._hidden = None
        self._last_scan_ns = None
        self._last_line_ns = now_ns

    # --- turns -----------------------------------------------------------------------------------------------------

    def _scan(self, scan: Scan, now_ns: int) -> list[Turn]:
        self.counts.scans += 1
        if self._is_late is not None and self._is_late(scan.end_ns):
            self.counts.scans_skipped += 1
            return []
        time_ns = scan.end_ns
        if self._last_line_ns is not None and time_ns <= self._last_line_ns:
            # A scan that ends before what was last told: late by a fault of time, or a sliver before a full one.
            if scan.received_fraction < 0.5:
                return []
            time_ns = self._last_line_ns + 1
        self._faults.scan(scan, self._assembler.period_s)
        faults = self._all_faults(now_ns)
        withdrawn = _withdrawn(faults)
        own = self.intake.own(time_ns, withdrawn)
        scan = _cleared(replace(scan, errors=_errors(self.boat, scan)), withdrawn)
        held = self._held(time_ns, faults, own)
        if held is not None:
            own = replace(own, lat_deg=held.lat_deg, lon_deg=held.lon_deg, cog_rad=held.cog_rad, sog=held.sog)
            scan = _carried(scan, time_ns, held)
        is_radar_good = "radar" not in withdrawn
        picture = self._detector.detect(scan) if is_radar_good else None
        if is_radar_good:
            self._lay_plane(own)
        situation = self._situation(time_ns, own, scan if is_radar_good else None, picture, faults, held)
        tracks = self._track(situation)
        self._last_scan_ns = self._last_line_ns = time_ns
        return [self._turn(situation, tracks)]

    def _held(self, time_ns: int, faults: tuple[Fault, ...], own: OwnState) -> Held | None:
        """Return the position that radar and chart carry on while the receiver alone is silent, where it is good."""
        gone = {fault.what: fault.state for fault in faults if fault.state != "disagrees"}
        if gone.get("position") not in ("silent", "stale") or {"radar", "heading", "clock"} & set(gone):
            return None
        if own.heading_true_rad is None:
            return None
        held = self._judge.hold_position(time_ns, own.heading_true_rad)
        return held if held is not None and held.is_good else None

    def _line(self, time_ns: int) -> Turn:
        """Return the turn of a second without a scan."""
        faults = self._all_faults(time_ns)
        own = self.intake.own(time_ns, _withdrawn(faults))
        self._last_line_ns = time_ns
        self.counts.lines_without_scan += 1
        return self._turn(self._situation(time_ns, own, None, None, faults), ())

    def _situation(
        self,
        time_ns: int,
        own: OwnState,
        scan: Scan | None,
        picture: EchoPicture | None,
        faults: tuple[Fault, ...],
        held: Held | None = None,
    ) -> Situation:
        """Return the turn as far as it is known before its echoes are tracked."""
        wind = self.intake.wind(time_ns, own)
        return Situation(
            time_ns=time_ns,
            own=own,
            frame=self._tracker.frame if self._tracker is not None else None,
            scan=scan,
            picture=picture,
            tracks=(),
            ais=self.intake.ais.targets(time_ns),
            faults=faults,
            depth_below_surface_m=self.intake.depth_below_surface_m(time_ns),
            tide_m=self._tide_m(time_ns, own),
            wind_from_rad=None if wind is None else wind.from_rad,
            wind_speed=None if wind is None else wind.speed,
            sight=self.sight,
            way=self.way,
            held=held,
        )

    def _turn(self, situation: Situation, tracks: tuple[Track, ...]) -> Turn:
        reading = self._judge.read(replace(situation, tracks=tracks))
        self._hidden = reading.hidden
        self.counts.turns += 1
        if self._judge.laid_out != self._laid_out:
            # This turn was slow already; the next ones must not be.
            self._laid_out = self._judge.laid_out
            set_aside()
        return Turn(reading, situation.scan, situation.picture, tracks, situation.ais, situation.frame)

    def _tide_m(self, time_ns: int, own: OwnState) -> float | None:
        return self.tide_m if self.tide is None else self.tide.height_m(time_ns, own.lat_deg, own.lon_deg)

    def _lay_plane(self, own: OwnState) -> None:
        """See that there is a tracker, in a plane that touches the earth near the boat."""
        if own.lat_deg is None or own.lon_deg is None or own.heading_true_rad is None:
            return
        if self._tracker is None:
            self._tracker = Tracker(LocalFrame(own.lat_deg, own.lon_deg), pose_errors=_pose_errors(self.boat))
        elif np.hypot(*self._tracker.frame.to_plane(own.lat_deg, own.lon_deg)) > ANCHOR_M:
            self._tracker.reframe(LocalFrame(own.lat_deg, own.lon_deg))

    def _track(self, situation: Situation) -> tuple[Track, ...]:
        """Return the tracks after this turn, in the true frame; none while the echoes cannot be placed on the earth."""
        scan, picture, tracker = situation.scan, situation.picture, self._tracker
        own = own_in_plane(situation)
        if scan is None or picture is None or tracker is None or own is None or own.heading_rad is None:
            return ()
        # What radar and chart say of the reported pose goes into the measurement: from here on there is one frame.
        agreement = self._judge.agree(situation)
        if agreement is None:
            return ()
        plots, there = picture.plots, agreement.put_right(own)
        bearing = plots.heading_true_rad + plots.azimuth_rel_rad - agreement.heading_bias
        self._hidden_water.learn(
            there, self._hidden,
            there.east_m + plots.range_m * np.sin(bearing), there.north_m + plots.range_m * np.cos(bearing),
        )  # fmt: skip
        in_view = visibility(_put_right(scan, agreement), there, self._hidden, self._hidden_water.in_view)
        return tracker.update(
            situation.time_ns, picture.plots, scan.errors,
            ais=situation.ais, p_visible=in_view, correction=agreement.correction,
        )  # fmt: skip

    def _all_faults(self, now_ns: int) -> tuple[Fault, ...]:
        faults = self._faults.faults(now_ns)
        jumped = any(f.what in ("position", "heading") and f.state == "jumped" for f in faults)
        if self._had_jumped and not jumped:
            # What was tracked from a wrong place is not where it seems.
            self._tracker = None
        self._had_jumped = jumped
        chart = self._chart_fault(now_ns)
        return faults if chart is None else (*faults, chart)

    def _chart_fault(self, now_ns: int) -> Fault | None:
        """The chart has ended: no cell covers the boat."""
        if self._chart is None:
            return None
        at = self.intake.poses.at(now_ns)
        if not np.isfinite(at.lat_deg[0]):
            return None
        lat, lon = float(at.lat_deg[0]), float(at.lon_deg[0])
        if any(shapely.intersects_xy(cell.coverage_lonlat, lon, lat) for cell in self._chart.cells):
            self._chart_since_ns = None
            return None
        if self._chart_since_ns is None:
            self._chart_since_ns = now_ns
        return Fault("chart", "silent", self._chart_since_ns)

    # --- the spoke tap ---------------------------------------------------------------------------------------------

    def _tell_spokes(self, spokes: list[Spoke]) -> None:
        assert self._on_spokes is not None
        n_spoke = self._assembler.n_spoke or self._by_width(spokes)
        first = spokes[0]
        same = [s for s in spokes if s.cell_m == first.cell_m and s.first_cell_m == first.first_cell_m]
        if n_spoke is None:
            return  # how wide a spoke is drawn is not known yet
        set_ = self.boat.radar
        time_ns = np.array([s.time_ns for s in same], dtype=np.int64)
        at = self.intake.poses.at(time_ns)
        azimuth = np.array([_middle(s) for s in same]) + set_.bow_offset_rad
        from_bow = set_.angle_from == "bow"
        if from_bow and bool(np.isfinite(at.heading_true_rad).all()):
            azimuth, from_bow = azimuth + at.heading_true_rad, False
        n_cell = max(s.echo.shape[0] for s in same)
        echo = np.zeros((len(same), n_cell), dtype=np.uint8)
        for row, spoke in enumerate(same):
            scaled = spoke.echo if spoke.full_scale == 255 else spoke.echo.astype(np.uint32) * 255 // spoke.full_scale
            echo[row, : spoke.echo.shape[0]] = scaled
        self._on_spokes(
            SpokesNow(
                np.mod(azimuth, TAU),
                from_bow,
                echo,
                n_spoke,
                first.first_cell_m + set_.range_offset_m,
                first.cell_m,
                at.lat_deg,
                at.lon_deg,
                time_ns,
                0.0,
            )
        )


    def _by_width(self, spokes: list[Spoke]) -> int | None:
        """Return how many spokes make a turn, by their own widths: the first turn is drawn before it is whole.

        None before there are enough, or when spokes have no width.
        """
        if self._first_turn is None:
            for spoke in spokes:
                self._widths.append(float(np.mod(spoke.azimuth_end_rad - spoke.azimuth_start_rad, TAU)))
            mean = sum(self._widths) / len(self._widths)
            if len(self._widths) < WIDTHS or not TAU / MOST_SPOKES < mean < TAU / LEAST_SPOKES:
                return None
            self._first_turn = round(TAU / mean)
        return self._first_turn


def _middle(spoke: Spoke) -> float:
    return spoke.azimuth_start_rad + 0.5 * float(np.mod(spoke.azimuth_end_rad - spoke.azimuth_start_rad, TAU))


def _withdrawn(faults: tuple[Fault, ...]) -> frozenset[str]:
    return frozenset(fault.what for fault in faults if fault.state != "disagrees")


def _cleared(scan: Scan, withdrawn: frozenset[str]) -> Scan:
    """Return the scan without the position or heading that cannot be believed."""
    unknown = np.full(scan.n_spoke, np.nan)
    if {"position", "clock"} & withdrawn:
        scan = replace(scan, lat_deg=unknown, lon_deg=unknown.copy())
    if {"heading", "clock"} & withdrawn:
        scan = replace(scan, heading_true_rad=unknown.copy())
    return scan


def _put_right(scan: Scan, agreement: Agreement) -> Scan:
    """Return the scan with each spoke's heading as the registration has it; places stay as they were reported."""
    return replace(scan, heading_true_rad=scan.heading_true_rad - agreement.taken_out[0])


def _carried(scan: Scan, time_ns: int, held: Held) -> Scan:
    """Return the scan with each spoke's place from the position that is carried on."""
    frame = LocalFrame(held.lat_deg, held.lon_deg)
    before_s = (scan.time_ns - time_ns) / NS_PER_S
    lat, lon = frame.to_geographic(held.velocity[0] * before_s, held.velocity[1] * before_s)
    return replace(scan, lat_deg=np.asarray(lat), lon_deg=np.asarray(lon))


def _errors(boat: Boat, scan: Scan | None) -> ScanErrors:
    """Return the error figures of the boat's radar on the scale the scan seems to be taken on."""
    set_ = boat.radar
    reach_m = NAUTICAL_MILE_M if scan is None else ScanGrid(1, scan.n_cell, scan.first_cell_m, scan.cell_m).max_range_m
    # Radars send video to the edge of the scale or a cell past it.
    pulse = set_.pulse_for(reach_m / NAUTICAL_MILE_M / 1.02)
    return ScanErrors(
        set_.beam_horizontal_rad,
        0.5 * SPEED_OF_LIGHT_MPS * pulse.length_s,
        set_.azimuth_sigma_rad,
        set_.range_sigma_m,
        pulse_interval_s=1.0 / pulse.prf_hz if pulse.prf_hz > 0.0 else None,
    )


def _pose_errors(boat: Boat) -> PoseErrors:
    return PoseErrors(
        heading_sigma_rad=boat.heading_sigma_rad,
        position_sigma_m=boat.position_sigma_m,
        antenna_height_m=boat.radar.height_m,
    )
