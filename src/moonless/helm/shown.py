"""What is shown now: the newest of everything a source says, for the screens that are there and those that join."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from moonless.clock import steady_s
from moonless.constants import TAU
from moonless.helm.bodies.routes import PlanNowBody
from moonless.helm.bodies.sheet import AgesBody, ChartPlaceBody, ReadingBody, SourceStatusBody, TimeBarBody
from moonless.helm.process.events import ChartReady, Notice, PoseNow, SourceState, TimeBarNow
from moonless.helm.web.protocol import PoseFrame
from moonless.helm.web.reading_frame import Beside, OwnTrack, Tails, reading_body, reading_overdue, standing_body
from moonless.helm.web.spokes import SpokeStore
from moonless.helm.web.wheel_compass import WheelCompass
from moonless.reading.alerts.standing import StandingCalls
from moonless.reading.types import Reading
from moonless.rules.steering import Sight
from moonless.scan.types import Scan
from moonless.units import NS_PER_S
from moonless.watch.types import LinkNow, SpokesNow, Turn, shows_the_past

if TYPE_CHECKING:
    from moonless.helm.web.chart_tiles import ChartTiles


LEAST_OLD_S = 3.0
# A slow antenna takes this long for a turn.
MOST_BETWEEN_S = 3.0


class ShownChart:
    """Where the chart lies, and the workshop of its tiles."""

    def __init__(self) -> None:
        self.chart: ChartReady | None = None
        self.tiles: ChartTiles | None = None
        self._closing: asyncio.Task[None] | None = None

    def take(self, chart: ChartReady) -> None:
        """Show another chart."""
        if self.tiles is None or self.tiles.key != chart.key:
            # Here, so that the screens are served before the geometry library is loaded.
            from moonless.helm.web.chart_tiles import ChartTiles

            if self.tiles is not None:
                self._closing = asyncio.create_task(self.tiles.close())
            self.tiles = ChartTiles(chart.key, chart.paths) if chart.paths else None
        self.chart = chart

    def body(self) -> ChartPlaceBody:
        """Return where the chart lies."""
        key = None if self.chart is None else self.chart.key
        return {"key": key, "url": None if key is None else f"chart/{key}.json"}

    async def close(self) -> None:
        """End the making of tiles."""
        if self.tiles is not None:
            await self.tiles.close()


class ShownPicture:
    """The radar's picture, the pose and the reading; none of it outlives its source."""

    def __init__(self, deviation: Sequence[Sequence[float]] = ()) -> None:
        """``deviation``: the card of the compass at the wheel, see `moonless.boat.compass`."""
        self._compass = WheelCompass(deviation)
        self.store = SpokeStore()
        self.pose: PoseFrame | None = None
        self.reading: ReadingBody | None = None
        self.newest: Reading | None = None  # the same, as it was read
        self.plan: PlanNowBody | None = None
        self._turns = 0
        self._age = ReadingAge()
        self._has_spokes = False
        self._tails = Tails()
        self._own_track = OwnTrack()
        self._standing = StandingCalls()

    def add_spokes(self, spokes: SpokesNow) -> None:
        """Take in spokes as they came."""
        self._has_spokes = True
        self.store.add(spokes)

    def add_turn(self, turn: Turn) -> ReadingBody:
        """Take in a turn; return the body of its reading."""
        if turn.scan is not None and not self._has_spokes:
            # A source without a spoke tap: its turns carry the whole scan at once.
            self.store.add(*_spokes_of(turn.scan))
        if shows_the_past(turn.reading.faults):
            self.store.withdraw()
        self._turns += 1
        self.newest = turn.reading
        self._age.read(turn)
        beside: Beside = {
            "tails": self._tails.add(turn.reading),
            "own_track": self._own_track.add(turn.reading),
            "standing": standing_body(self._standing.add(turn.reading)),
            "plan": self.plan,
            "compass": self._compass.body(turn.reading.own, turn.reading.time_ns),
        }
        self.reading = reading_body(turn, self._turns, beside)
        own = turn.reading.own
        if not self._has_spokes or self.pose is None:
            self.add_pose(PoseNow(own.lat, own.lon, own.heading_deg, own.cog_deg, own.sog_kn, 0.0))
        return self.reading

    def add_pose(self, pose: PoseNow) -> None:
        """Take in the boat's place."""
        values = (pose.lat_deg, pose.lon_deg, pose.heading_deg, pose.cog_deg, pose.sog_kn, pose.age_s)
        self.pose = PoseFrame(*(math.nan if value is None else value for value in values))

    def acknowledge(self, key: str) -> None:
        """The skipper has heard a call: its words go from every screen."""
        standing = standing_body(self._standing.acknowledge(key))
        if self.reading is not None:
            self.reading["standing"] = standing
            # Told at once; from the next turn on the reading says it itself.
            for alert in self.reading.get("alerts", ()):
                if alert["key"] == key and alert["state"] == "unacknowledged":
                    alert["state"] = "acknowledged"

    def begin_again(self) -> None:
        """Forget what was read: the story began again."""
        self.store.clear()
        self._tails.clear()
        self._own_track.clear()
        self._standing.clear()
        self.reading = self.newest = None
        self._age = ReadingAge()

    def begin_source(self, deviation: Sequence[Sequence[float]] = ()) -> None:
        """Forget everything of the source before."""
        self.begin_again()
        self._compass = WheelCompass(deviation)
        self.pose, self.plan, self._has_spokes = None, None, False

    @property
    def sog_kn(self) -> float | None:
        """The boat's speed over ground; None: not known."""
        return None if self.pose is None or math.isnan(self.pose.sog_kn) else self.pose.sog_kn

    def ages(self) -> AgesBody:
        """Return how old the picture and the reading are, for the heartbeat."""
        now, newest = steady_s(), self.store.newest_s
        return {
            "radar_age_s": None if newest is None or not math.isfinite(newest) else round(now - newest, 2),
            "reading_age_s": self._age.of(now),
        }

    def withdraw_if_old(self) -> bool:
        """Take back a reading that has become old with none after it; return True once, when that is done."""
        if self.reading is None or not self._age.is_too_old(steady_s()):
            return False
        self.reading = reading_overdue(self.reading)
        self._standing.clear()
        return True


class ReadingAge:
    """How old the newest reading is, counted from the receipt of what it speaks of, and when that is too old.

    A reading comes with each turn of the antenna, or each second: two turns without one, or three seconds if that is
    longer, and the watch is late.
    """

    def __init__(self) -> None:
        self._at_s: float | None = None
        self._last_ns: int | None = None
        self._between_s = 0.0
        self._is_told = False

    def read(self, turn: Turn) -> None:
        """Take note of a new reading."""
        self._at_s = turn.received_s if turn.received_s > 0.0 else steady_s()
        if self._last_ns is not None:
            self._between_s = min(max((turn.reading.time_ns - self._last_ns) / NS_PER_S, 0.0), MOST_BETWEEN_S)
        self._last_ns = turn.reading.time_ns
        self._is_told = False

    def of(self, now_s: float) -> float | None:
        """Return the age in seconds; None: nothing was ever read."""
        return None if self._at_s is None else round(now_s - self._at_s, 2)

    def is_too_old(self, now_s: float) -> bool:
        """Return True once for each reading that has become too old."""
        limit_s = max(LEAST_OLD_S, 2.0 * self._between_s)
        if self._is_told or self._at_s is None or now_s - self._at_s <= limit_s:
            return False
        self._is_told = True
        return True


class SourceStatus:
    """How the source stands: what it is doing, what it goes on without, its links, its end."""

    def __init__(self, without: tuple[str, ...] = ()) -> None:
        self.without = without  # what the watch goes on without, in plain lines
        self.notice = Notice("starting")
        self.state: SourceState | None = None
        self.time_bar: TimeBarNow | None = None  # of a recording
        self.tide_m: float | None = None
        self.sight: Sight = "unsure"
        self.ended: str | None = None
        self._links: dict[str, LinkNow] = {}

    @property
    def is_standing(self) -> bool:
        """Whether the source stands still because someone wants it to: what is shown is known to be of then."""
        return self.state is not None and self.state.paused

    def add_link(self, link: LinkNow) -> None:
        """Take in how one link stands."""
        self._links[link.link] = link

    def end(self, line: str) -> None:
        """The source has ended, and why."""
        self.ended = line
        self.notice = Notice(line)

    def begin_source(self, without: tuple[str, ...]) -> None:
        """Forget the source before; what the skipper set stays."""
        self.without, self.notice, self.state, self.ended = without, Notice("starting"), None, None
        self._links.clear()
        self.time_bar = None

    def bar_body(self) -> TimeBarBody | None:
        """Return the time bar of a recording; None where none is played."""
        bar = self.time_bar
        if bar is None:
            return None
        marks = bar.marks or ()
        return {
            "first_ms": bar.first_ns // 1_000_000,
            "last_ms": bar.last_ns // 1_000_000,
            "is_whole": bar.marks is not None,
            "marks": [
                {"at_ms": m.time_ns // 1_000_000, "kind": m.kind, "urgency": m.urgency, "say": m.say} for m in marks
            ],
        }

    def body(self) -> SourceStatusBody:
        """Return the heartbeat's part."""
        state = self.state
        return {
            "notice": self.notice.text,
            "fraction": self.notice.fraction,
            "ended": self.ended,
            "paused": False if state is None else state.paused,
            "speed": 1.0 if state is None else state.speed,
            "story_ms": None if state is None or state.time_ns is None else state.time_ns // 1_000_000,
            "tide_m": self.tide_m,
            "sight": self.sight,
            "without": list(self.without),
            "links": [{"link": one.link, "state": one.state, "text": one.text} for one in self._links.values()],
        }


def _spokes_of(scan: Scan) -> tuple[SpokesNow, NDArray[np.float64]]:
    """Return a whole scan as spokes, laid on true bearings where the heading is known, and their ages."""
    got = scan.is_received
    heading = scan.heading_true_rad[got]
    from_bow = not bool(np.all(np.isfinite(heading)))
    azimuth = scan.azimuth_rel_rad[got] + (0.0 if from_bow else heading)
    echo = scan.echo[got].astype(np.float32) * (255.0 / scan.full_scale)
    spokes = SpokesNow(
        azimuth_rad=np.mod(azimuth, TAU),
        from_bow=from_bow,
        echo=np.rint(echo).astype(np.uint8),
        n_spoke=scan.n_spoke,
        first_cell_m=scan.first_cell_m,
        cell_m=scan.cell_m,
        lat_deg=scan.lat_deg[got],
        lon_deg=scan.lon_deg[got],
        time_ns=scan.time_ns[got],
        received_s=steady_s(),
    )
    return spokes, (scan.end_ns - scan.time_ns[got]) / NS_PER_S
