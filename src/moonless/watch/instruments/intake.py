"""What the boat's instruments say, taken in: which of several sources is believed, and what becomes of it.

Rules of this file:
- Of several sources of one thing the best kind is followed, and of equals the first; another takes over when it has
  been silent for `TAKE_OVER_S`.  Two receivers mixed would make a boat that jumps from antenna to antenna.
- A true heading goes before a compass, whatever its kind.
- Where a source that is not followed says something else than the one that is, again and again, both cannot be right:
  that is a fault of its own ("disagrees"), and takes nothing away (see `moonless.watch.instruments.source_agreement`).
- One clock is followed as one position is: two receivers' dates may be seconds apart.
- A position that says its own time is believed while that time is the watch's to `MISTIMED_S`: put down where the boat
  was, or will be, it would be carried on from there as if it were now.  Until a receiver has said a date, the time of
  day of the position followed serves as its clock.
- What says its time only by a tag (a heading, a speed) is believed to the same measure.  A tag ahead of now, or so far
  behind that its clock was never set, is no time: the sentence counts from its receipt, and where tags go on so, that
  is told as two clocks that disagree.
- A source that the skipper has chosen goes before all others while it speaks (see `source_priority`).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, replace

from moonless.boat.types import Boat
from moonless.constants import TAU
from moonless.reading.situation import OwnState
from moonless.scan.pose import PoseSample, PoseSeries
from moonless.units import NS_PER_S
from moonless.watch.instruments.ais_table import AisTable
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.instruments.radar_targets import RadarTargets
from moonless.watch.instruments.source_agreement import SourceAgreement
from moonless.watch.instruments.source_priority import POLAR_SET, TAKE_OVER_S, Preferred, What, is_chosen, rank
from moonless.watch.instruments.timebase import ClockNews, TimeBase
from moonless.wire.nmea_events import (
    AisSaid,
    ClockSaid,
    DepthLostSaid,
    DepthSaid,
    NoFixSaid,
    PoseSaid,
    Said,
    TargetPlaceSaid,
    TargetSaid,
    WindSaid,
)

# Wind and depth older than this are not known any more.
OLDEST_WIND_S = 10.0
OLDEST_DEPTH_S = 5.0
# Course and speed may come from another sentence than the position, and stop by themselves: carried on for longer than
# a position is, they are the speed of a boat that may have stopped.
OLDEST_MOTION_S = 3.0
# The time line agrees with the receiver's clock to two seconds (see `timebase`); a sentence takes up to one to come.
MISTIMED_S = 3.0
# A tag may be ahead by what two clocks that agree differ; and one more than this behind has no clock.
AHEAD_S, NO_CLOCK_S = 2.0, 60.0

Source = tuple[str, str, str]
"""Link, talker, kind."""


class Chooser:
    """Follows one source of several; see the rules of this file."""

    def __init__(self) -> None:
        self.has_changed = False  # what was taken last is another source than the one before
        self._followed: Hashable | None = None
        self._rank = 0
        self._last_ns = 0

    def would_take(self, source: Hashable, rank: int, now_ns: int) -> bool:
        """Say whether a source is the one to follow now; ``rank``: 0 is the best kind."""
        is_free = self._followed is None or now_ns - self._last_ns > TAKE_OVER_S * NS_PER_S
        return source == self._followed or is_free or rank < self._rank

    def is_of(self, device: tuple[str, str]) -> bool:
        """Say whether what is followed comes from a link and talker: its other sentences are no second opinion."""
        return isinstance(self._followed, tuple) and self._followed[:2] == device

    def takes(self, source: Hashable, rank: int, now_ns: int) -> bool:
        """Follow a source if it is the one to follow now; say whether it is."""
        if not self.would_take(source, rank, now_ns):
            return False
        self.has_changed = self._followed is not None and source != self._followed
        self._followed, self._rank, self._last_ns = source, rank, now_ns
        return True


@dataclass(frozen=True, slots=True)
class Wind:
    """Wind over the ground."""

    from_rad: float  # true
    speed: float


class Intake:
    """Takes in what NMEA sentences said."""

    def __init__(self, boat: Boat, times: TimeBase, faults: FaultWatch, preferred: Preferred | None = None) -> None:
        self.ais = AisTable(boat.mmsi)
        self._boat = boat
        self._preferred: Preferred = preferred or {}
        self._times = times
        self._faults = faults
        self.others = RadarTargets()
        self.clock_news: ClockNews = "same"
        self._is_dated = False
        self.odd_times = 0  # tags whose time could not be
        self.forget()

    def forget(self) -> None:
        """Drop what was taken in before a clock jumped; who AIS says is about ages out by itself."""
        self.poses = PoseSeries()
        self._followed: defaultdict[What, Chooser] = defaultdict(Chooser)
        self.agreement = SourceAgreement()
        self._turn_rate: tuple[int, float] | None = None
        self._depth: tuple[int, float | None] | None = None
        self._wind: tuple[int, WindSaid] | None = None

    def take(self, events: Iterable[Said], link: str) -> None:
        """Take in events of one link."""
        for event in events:
            self._take(event, link)

    def take_poses(self, poses: Iterable[PoseSample]) -> None:
        """Take in what a recorded set says of the boat's own pose; any instrument goes before it."""
        for pose in poses:
            self._take(PoseSaid(pose.time_ns, pose.time_ns, False, "", POLAR_SET, pose), "radar")

    def _take(self, event: Said, link: str) -> None:
        source = (link, event.talker, event.kind)
        if isinstance(event, ClockSaid):
            self._date(event, source)
            return
        now_ns = self._times.utc(event.received_ns)
        if isinstance(event, PoseSaid):
            event = self._tagged(event, now_ns)
            at_ns = event.time_ns if event.is_timed else now_ns
            if event.is_timed and event.pose.lat_deg is not None and not self._is_timely(event, source, now_ns):
                return
            now_ns = self._times.utc(event.received_ns)
            self._pose(replace(event.pose, time_ns=at_ns), event, source, now_ns)
        elif isinstance(event, NoFixSaid):
            if self._followed["position"].takes(source, 9, now_ns):
                self._faults.no_fix(now_ns)
        elif isinstance(event, AisSaid):
            self._faults.heard("ais", now_ns)
            self.ais.add(event.report, event.time_ns if event.is_timed else now_ns - event.age_ns)
        elif isinstance(event, TargetSaid | TargetPlaceSaid):
            off_s = (event.time_ns - now_ns) / NS_PER_S
            at_ns = event.time_ns if event.is_timed and off_s > -NO_CLOCK_S else now_ns
            self.others.add(event, (link, event.talker), min(at_ns, now_ns), self.own(now_ns, frozenset()))
        elif isinstance(event, DepthLostSaid):
            # Over deep water that is no fault; but the last depth found is not the depth here.
            self._faults.heard("depth", now_ns)
            self._depth = None
        elif isinstance(event, DepthSaid):
            self._faults.heard("depth", now_ns)
            depth = self._below_surface(event)
            if depth is not None or self._depth is None or self._depth[1] is None:
                self._depth = (now_ns, depth)
        elif isinstance(event, WindSaid):
            self._wind = (now_ns, event)

    def _date(self, event: ClockSaid, source: Source) -> None:
        is_followed = self._followed["date"].takes(source, self._rank("date", source), event.received_ns)
        off_s = (event.time_ns - event.received_ns) / NS_PER_S
        # One receiver says its date in several sentences: they are not held against each other.
        self.agreement.said("clock", source[:2], is_followed, self._times.utc(event.received_ns), (off_s,))
        if is_followed:
            self._is_dated = True
            self._clock(event.received_ns, event.time_ns)

    def _clock(self, received_ns: int, said_ns: int) -> None:
        news = self._times.said(received_ns, said_ns)
        if news == "odd":
            self.odd_times += 1
        elif news != "same":
            self.clock_news = news

    def _tagged(self, event: PoseSaid, now_ns: int) -> PoseSaid:
        """Return what was said without a time that it cannot be true at, where only its tag says one."""
        if not event.is_timed or event.pose.lat_deg is not None:
            return event
        off_s = (event.time_ns - now_ns) / NS_PER_S
        if -NO_CLOCK_S <= off_s <= AHEAD_S:
            # Ahead by what the clocks may differ is now: a time to come would hide what is said until then.
            return replace(event, time_ns=min(event.time_ns, now_ns))
        self.odd_times += 1
        self.agreement.said("clock", ("tags", event.talker), False, now_ns, (off_s,))
        return replace(event, time_ns=now_ns, is_timed=False)

    def _is_timely(self, event: PoseSaid, source: Source, now_ns: int) -> bool:
        """Say whether a position's own time can be now; if it cannot and it is the one followed, that is a fault."""
        if not self._followed["position"].would_take(source, self._rank("position", source), now_ns):
            return True  # not followed, so nothing hangs on it
        if not self._is_dated:
            self._clock(event.received_ns, event.time_ns)
            now_ns = self._times.utc(event.received_ns)
        off_ns = event.time_ns - now_ns
        if abs(off_ns) <= MISTIMED_S * NS_PER_S:
            return True
        self._faults.mistimed(now_ns, is_ahead=off_ns > 0)
        return False

    def _pose(self, pose: PoseSample, event: PoseSaid, source: Source, now_ns: int) -> None:
        taken: dict[str, float | None] = {}
        if pose.lat_deg is not None and pose.lon_deg is not None:
            is_followed = self._followed["position"].takes(source, self._rank("position", source), now_ns)
            self.agreement.said("position", source[:2], is_followed, now_ns, (pose.lat_deg, pose.lon_deg))
            if is_followed:
                taken |= {"lat_deg": pose.lat_deg, "lon_deg": pose.lon_deg}
                self._note_change("position", now_ns)
                self._faults.position(now_ns, pose.time_ns if event.is_timed else None, pose.lat_deg, pose.lon_deg)
            elif not self._followed["position"].is_of(source[:2]):
                self._faults.position_beside(now_ns, pose.lat_deg, pose.lon_deg)
        if pose.sog is not None and self._followed["motion"].takes(source, self._rank("motion", source), now_ns):
            taken |= {"sog": pose.sog, "cog_rad": pose.cog_rad}
            self._faults.motion(now_ns, pose.cog_rad, pose.sog)
        if pose.heading_true_rad is not None:
            rank_ = self._rank("heading", source, event.is_magnetic)
            is_followed = self._followed["heading"].takes(source, rank_, now_ns)
            self.agreement.said("heading", source[:2], is_followed, now_ns, (pose.heading_true_rad,))
            if is_followed:
                heading = (pose.heading_true_rad + self._boat.heading_offset_rad) % TAU
                taken["heading_true_rad"] = heading
                self._note_change("heading", now_ns)
                self._faults.heading(now_ns, heading)
        if pose.turn_rate is not None and self._followed["turn"].takes(source, self._rank("turn", source), now_ns):
            taken["turn_rate"] = pose.turn_rate
            self._turn_rate = (pose.time_ns, pose.turn_rate)
            self._faults.turning(now_ns, pose.turn_rate)
        if taken:
            self.poses.add(PoseSample(pose.time_ns, **taken))

    def _note_change(self, what: What, now_ns: int) -> None:
        if self._followed[what].has_changed:
            self._faults.other_source(now_ns)

    def _rank(self, what: str, source: Source, is_magnetic: bool = False) -> int:
        link, talker, kind = source
        return rank(what, kind, is_magnetic, is_chosen(what, link, talker, self._preferred))

    def _below_surface(self, said: DepthSaid) -> float | None:
        if said.below_surface_m is not None:
            return said.below_surface_m
        if said.offset_m is not None and said.offset_m < 0.0:
            # Depth below the keel; the boat file knows how deep that is.
            return said.below_transducer_m + said.offset_m + self._boat.draught_m
        return None

    # --- what is known at a time -----------------------------------------------------------------------------------

    def own(self, now_ns: int, withdrawn: frozenset[str]) -> OwnState:
        """Return the boat's own state; ``withdrawn``: what a fault has taken away."""
        at = self.poses.at(now_ns)
        has_place = not {"position", "clock"} & withdrawn
        has_heading = not {"heading", "clock"} & withdrawn
        moved_ns = self.poses.last_motion_ns
        has_motion = has_place and moved_ns is not None and now_ns - moved_ns <= OLDEST_MOTION_S * NS_PER_S
        turn = self._turn_rate
        is_turn_known = turn is not None and has_heading and abs(now_ns - turn[0]) < 3 * NS_PER_S
        return OwnState(
            _known(at.lat_deg[0], has_place),
            _known(at.lon_deg[0], has_place),
            _known(at.heading_true_rad[0], has_heading),
            _known(at.cog_rad[0], has_motion),
            _known(at.sog[0], has_motion),
            turn[1] if turn is not None and is_turn_known else None,
            _known(at.position_age[0], True),
        )

    def depth_below_surface_m(self, now_ns: int) -> float | None:
        """Return the depth from the waterline; None when old or not said."""
        if self._depth is None or now_ns - self._depth[0] > OLDEST_DEPTH_S * NS_PER_S:
            return None
        return self._depth[1]

    def wind(self, now_ns: int, own: OwnState) -> Wind | None:
        """Return the wind over the ground; None when old, or when what is needed to know it is not known."""
        if self._wind is None or now_ns - self._wind[0] > OLDEST_WIND_S * NS_PER_S or own.heading_true_rad is None:
            return None
        said = self._wind[1]
        from_rad = said.from_rad if said.is_from_north else said.from_rad + own.heading_true_rad
        if not said.is_apparent:
            return Wind(from_rad % TAU, said.speed)
        if own.sog is None or (own.cog_rad is None and own.sog > 0.5):
            return None
        # The wind felt blows towards; take off the head wind the boat makes herself.
        course = own.cog_rad or 0.0
        east = -said.speed * math.sin(from_rad) + own.sog * math.sin(course)
        north = -said.speed * math.cos(from_rad) + own.sog * math.cos(course)
        return Wind(math.atan2(-east, -north) % TAU, math.hypot(east, north))


def _known(value: float, is_there: bool) -> float | None:
    return float(value) if is_there and math.isfinite(value) else None
