"""The middle of the live loop: one source in, any number of screens out."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from moonless.clock import steady_s
from moonless.constants import TAU
from moonless.errors import MoonlessError
from moonless.helm.fog_signal import FogReminder
from moonless.helm.process.events import (
    Answer,
    ChartReady,
    Event,
    Notice,
    Overheard,
    PlanNow,
    PoseNow,
    Reply,
    Source,
    SourceState,
    TideNow,
    TrialNow,
)
from moonless.helm.voice import Loudspeaker
from moonless.helm.web.controls import FOR_SOURCE, Control
from moonless.helm.web.protocol import PoseFrame
from moonless.helm.web.reading_frame import NewCalls, OwnTrack, Tails, reading_body
from moonless.helm.web.session import Session
from moonless.helm.web.spokes import SpokeStore
from moonless.reading.registration.bow_mark import BowDesk
from moonless.scan.types import Scan
from moonless.units import NS_PER_S
from moonless.watch.types import LinkNow, SpokesNow, Turn

if TYPE_CHECKING:
    from moonless.helm.setup.room import SetupRoom
    from moonless.helm.web.chart_tiles import ChartTiles

_log = logging.getLogger(__name__)
# A trial that no screen has touched for so long is over; a screen puts its own down sooner.
TRIAL_S = 90.0


class Hub:
    """Rules: only `pump` changes what is shown; sessions are told that something is new and take it themselves."""

    def __init__(
        self, source: Source, loudspeaker: Loudspeaker | None = None, setup: SetupRoom | None = None
    ) -> None:
        self.source = source
        self.setup = setup
        self.bow = BowDesk()
        self.bow.begin(source.boat.get("bow_offset_deg"))
        self.without: tuple[str, ...] = ()  # what the watch goes on without, in plain lines
        self._pumping: asyncio.Task[None] | None = None
        self.store = SpokeStore()
        self.sessions: set[Session] = set()
        self.chart: ChartReady | None = None
        self.tiles: ChartTiles | None = None
        self.tide_m: float | None = None
        self.notice: Notice = Notice("starting")
        self.state: SourceState | None = None
        self.pose: PoseFrame | None = None
        self.reading: dict[str, Any] | None = None
        self.loudspeaker = loudspeaker
        self.sight = "unsure"
        self.fog = FogReminder(float(source.boat.get("length_m", 9.0)))
        self._reading_s: float | None = None
        self._silent_until_s = -math.inf
        # What a manoeuvre tried would bring; empty: none is tried.  The trial is the helm's: every screen sees it.
        self.trial: dict[str, Any] = {}
        self._trial_asked_s = -math.inf
        self._turns = 0
        self._plan: dict[str, Any] | None = None
        self._has_spokes = False
        self._tails = Tails()
        self._own_track = OwnTrack()
        self._new_calls = NewCalls()
        self._last_call: dict[str, Any] | None = None
        self._links: dict[str, LinkNow] = {}
        self.ended: str | None = None

    # ---- in

    async def pump(self) -> None:
        """Take events from the source until it ends; a source that fails is said on the screens, not hidden."""
        try:
            async for event in self.source.events():
                self.take(event)
            self.ended = "the source has ended"
        except MoonlessError as problem:
            self.ended = str(problem)
            _log.warning("source: %s", problem)
        except asyncio.CancelledError:
            raise
        except Exception as problem:
            # The screens must say that the picture stands; the traceback goes to the log.
            self.ended = f"the source failed: {problem}"
            _log.exception("source failed")
        self.notice = Notice(self.ended)
        self.heartbeat()

    def take(self, event: Event) -> None:
        """Take in one event and tell the sessions."""
        if isinstance(event, SpokesNow):
            self._has_spokes = True
            self.store.add(event)
            self._wake()
        elif isinstance(event, Turn):
            self._take_turn(event)
        elif isinstance(event, PoseNow):
            self._take_pose(event)
        elif isinstance(event, ChartReady):
            self._take_chart(event)
        elif isinstance(event, Overheard):
            if self.setup is not None:
                self.setup.overheard(event)
        elif isinstance(event, TideNow):
            self.tide_m = event.height_m
            self.heartbeat()
        elif isinstance(event, Notice):
            self.notice = event
            self.heartbeat()
        elif isinstance(event, LinkNow):
            self._links[event.link] = event
            self.heartbeat()
        elif isinstance(event, PlanNow):
            self._plan = dict(event.body) if event.body["route"] else None
        elif isinstance(event, TrialNow):
            self.trial = dict(event.body)
            for session in self.sessions:
                session.trial.put(self.trial)
            self._wake()
        elif isinstance(event, Reply):
            for session in self.sessions:
                session.reply(event.body)
        elif isinstance(event, Answer):
            for session in self.sessions:
                session.say(event.line)
        else:
            if event.restarted:
                self._begin_again()
            self.state = event
            self.heartbeat()

    def _take_chart(self, chart: ChartReady) -> None:
        if self.tiles is None or self.tiles.key != chart.key:
            # Here, so that the screens are served before the geometry library is loaded.
            from moonless.helm.web.chart_tiles import ChartTiles

            if self.tiles is not None:
                self._closing = asyncio.create_task(self.tiles.close())
            self.tiles = ChartTiles(chart.key, chart.paths) if chart.paths else None
        self.chart = chart
        for session in self.sessions:
            session.chart.put(self.chart_body())
        self._wake()

    def _take_turn(self, turn: Turn) -> None:
        if turn.scan is not None and not self._has_spokes:
            # A source without a spoke tap: its turns carry the whole scan at once.
            self.store.add(*_spokes_of(turn.scan))
        self._turns += 1
        self._reading_s = steady_s()
        self.reading = reading_body(turn, self._tails.add(turn.reading), self._turns)
        self.reading["own_track"] = self._own_track.add(turn.reading)
        self.reading["plan"] = self._plan
        own = turn.reading.own
        # As the sensor gives it: a source that tells no poses has only the one put right.
        self.bow.turn(turn.reading, own.heading_deg if self.pose is None else self.pose.heading_deg)
        self.reading["bow"] = self.bow.body()
        if not self._has_spokes or self.pose is None:
            self._take_pose(PoseNow(own.lat, own.lon, own.heading_deg, own.cog_deg, own.sog_kn, 0.0))
        for session in self.sessions:
            session.reading.put(self.reading)
        for call in self._new_calls.of(turn.reading):
            self._tell(call)
        self._wake()

    def _take_pose(self, pose: PoseNow) -> None:
        self.pose = PoseFrame(
            *(math.nan if value is None else value for value in (
                pose.lat_deg, pose.lon_deg, pose.heading_deg, pose.cog_deg, pose.sog_kn, pose.age_s,
            ))
        )  # fmt: skip
        for session in self.sessions:
            session.pose.put(self.pose)
        self._wake()

    def _tell(self, call: dict[str, Any]) -> None:
        self._last_call = call
        for session in self.sessions:
            session.calls.put(call)
        self._wake()
        # Silence lets through what is most urgent, and what was just asked to be said again.
        if self.loudspeaker is not None and (call["urgency"] >= 4 or call.get("again") or not self.is_silent):
            self.loudspeaker.say(call["say"], call["urgency"], call["echo"])

    def _begin_again(self) -> None:
        self.bow.begin(self.source.boat.get("bow_offset_deg"))
        self.store.clear()
        self._tails.clear()
        self._own_track.clear()
        if self.trial:
            self.take(TrialNow({}))
        self._new_calls.clear()
        self.reading = None
        self._reading_s = None
        for session in self.sessions:
            session.forget_reading()
        self._wake()

    # ---- asked

    def ask(self, control: Control) -> str | None:
        """Do what a screen asked; return one plain line for it, or None.

        Raises InputError if it cannot be done.
        """
        if control.do == "silence":
            assert isinstance(control.value, float)
            self._silent_until_s = steady_s() + control.value * 60.0
            if control.value > 0 and self.loudspeaker is not None:
                self.loudspeaker.hush(above=4)
            self.heartbeat()
            return None
        if control.do == "listen":
            if self.setup is not None:
                self.setup.keep_listening(self)
            return None
        if control.do in ("take bow", "undo bow"):
            return self._set_bow(control.do == "take bow")
        if control.do == "say again":
            if self._last_call is not None:
                self._tell({**self._last_call, "again": True})
            return None
        if control.do == "loudspeaker":
            if self.loudspeaker is None:
                return "this computer has no voice: espeak-ng is not installed"
            problem, self.loudspeaker.problem = self.loudspeaker.problem, None
            self.loudspeaker.is_on = bool(control.value)
            self.heartbeat()
            return problem
        if control.do == "fog signal":
            self.fog.switch(bool(control.value), steady_s())
            self._remind()
            self.heartbeat()
            return None
        if control.do == "sight":
            self.sight = str(control.value)
            self.heartbeat()
        if control.do == "trial":
            self._trial_asked_s = steady_s()
        if control.do in FOR_SOURCE:
            self.source.do(control.as_dict())
        return {
            "i see it": f"noted: {control.value}",
            "keep in mind": "kept in mind",
        }.get(control.do)

    def _set_bow(self, is_taken: bool) -> str:
        """Take the measured bow offset, or go back; return what has become of it."""
        offset = self.bow.take() if is_taken else self.bow.undo()
        self.source.do({"do": "bow offset", "value": offset, "echo": None, "say": None})
        if self.reading is not None:
            self.reading["bow"] = self.bow.body()
            for session in self.sessions:
                session.reading.put(self.reading)
            self._wake()
        words = f"bow offset {offset:+.2f} degrees"
        if self.setup is None or self.source.kind != "live":
            return f"{words}: applied for now"
        try:
            return f"{words}: {self.setup.keep_bow(offset, '')}"
        except MoonlessError as problem:
            return f"{words}: applied now, and not kept: {problem}"

    def change_source(self, source: Source, without: tuple[str, ...] = ()) -> None:
        """Watch another source from now on; what was shown of the old one is void."""
        old, was = self._pumping, self.source
        self.source, self.without = source, without
        self.chart, self.state, self.pose, self._plan = None, None, None, None
        self.notice, self.ended, self._has_spokes = Notice("starting"), None, False
        self._links.clear()
        self._begin_again()
        for session in self.sessions:
            session.pose.take()
            session.hello.put(self.hello_body())
            session.chart.put(self.chart_body())
        self.heartbeat()
        self._pumping = asyncio.create_task(self._pump_after(old, was))

    async def _pump_after(self, old: asyncio.Task[None] | None, was: Source) -> None:
        """End the old source, so that its ports are free, and take in the new one."""
        if old is not None:
            old.cancel()
            await asyncio.gather(old, return_exceptions=True)
        if (close := getattr(was, "close", None)) is not None:
            await asyncio.to_thread(close)
        await self.pump()

    def tell_heard(self, body: dict[str, Any], fans: list[Any]) -> None:
        """Hand what the set-up hears to the screens."""
        for session in self.sessions:
            session.fans.put(fans)
            session.heard.put(body)
        self._wake()

    # ---- out

    @property
    def is_silent(self) -> bool:
        """True while the skipper wants no voice but for what is urgent."""
        return steady_s() < self._silent_until_s

    def hello_body(self) -> dict[str, Any]:
        """Return the first frame's body."""
        source = self.source
        return {"protocol": 1, "source": source.kind, "boat": dict(source.boat), "setup": self.setup is not None}

    def chart_body(self) -> dict[str, Any]:
        """Return where the chart lies."""
        key = None if self.chart is None else self.chart.key
        return {"key": key, "url": None if key is None else f"chart/{key}.json"}

    def status_body(self) -> dict[str, Any]:
        """Return the heartbeat."""
        now = steady_s()
        newest = self.store.newest_s
        state = self.state
        return {
            "radar_age_s": None if newest is None or not math.isfinite(newest) else round(now - newest, 2),
            "reading_age_s": None if self._reading_s is None else round(now - self._reading_s, 2),
            "notice": self.notice.text,
            "fraction": self.notice.fraction,
            "ended": self.ended,
            "paused": False if state is None else state.paused,
            "speed": 1.0 if state is None else state.speed,
            "story_ms": None if state is None or state.time_ns is None else state.time_ns // 1_000_000,
            "tide_m": self.tide_m,
            "silent_s": round(max(self._silent_until_s - now, 0.0)),
            "loudspeaker": None if self.loudspeaker is None else self.loudspeaker.is_on,
            "sight": self.sight,
            "fog_s": None if (wait := self.fog.wait_s(now)) is None else round(wait),
            "screens": len(self.sessions),
            "without": list(self.without),
            "links": [{"link": one.link, "state": one.state, "text": one.text} for one in self._links.values()],
        }

    def heartbeat(self) -> None:
        """Tell every session how things stand."""
        body = self.status_body()
        for session in self.sessions:
            session.status.put(body)
        self._wake()

    async def beat(self) -> None:
        """Heartbeat once a second, for ever."""
        while True:
            await asyncio.sleep(1.0)
            self._remind()
            self._end_old_trial()
            self.heartbeat()

    def _end_old_trial(self) -> None:
        """A trial whose screen went away must not stand on the others for ever."""
        if self.trial and steady_s() - self._trial_asked_s > TRIAL_S:
            self.source.do({"do": "trial", "value": None, "echo": None, "say": None})
            self.take(TrialNow({}))

    def _remind(self) -> None:
        """Say when the fog signal is due."""
        sog = None if self.pose is None or math.isnan(self.pose.sog_kn) else self.pose.sog_kn
        words = self.fog.due(steady_s(), sog)
        if words is not None:
            self._tell(self._new_calls.own_call(2, words))
            for session in self.sessions:
                session.say(words)

    def join(self, session: Session) -> None:
        """Give a new screen the present."""
        self.sessions.add(session)
        session.hello.put(self.hello_body())
        session.chart.put(self.chart_body())
        if self.trial:
            session.trial.put(self.trial)
        session.status.put(self.status_body())
        if self.pose is not None:
            session.pose.put(self.pose)
        if self.reading is not None:
            session.reading.put(self.reading)
        session.wake()

    def leave(self, session: Session) -> None:
        """Forget a screen."""
        self.sessions.discard(session)

    def _wake(self) -> None:
        for session in self.sessions:
            session.wake()

    async def run(self) -> None:
        """Pump and beat until cancelled."""
        beating = asyncio.create_task(self.beat())
        self._pumping = asyncio.create_task(self.pump())
        try:
            await beating
        finally:
            for task in (beating, self._pumping):
                task.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await task
            if self.setup is not None:
                await self.setup.close(self)
            if self.tiles is not None:
                await self.tiles.close()


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


def hello_boat(boat: Any) -> Mapping[str, Any]:
    """Return what the front end needs of a `moonless.boat.types.Boat`."""
    skipper = boat.skipper
    return {
        "name": boat.name,
        "length_m": boat.length_m,
        "beam_m": boat.beam_m,
        "keep_off_m": skipper.keep_off_m,
        "draught_m": boat.draught_m,
        "air_draught_m": boat.air_draught_m,
        "depth_margin_m": skipper.depth_margin_m,
        "distance_unit": skipper.distance_unit,
        "free_hand": skipper.free_hand,
        "night_limit_kn": None if skipper.night_limit is None else round(skipper.night_limit * 3600 / 1852, 2),
        "stopping_measured": bool(boat.stopping),
        "local_time_zone": skipper.local_time_zone,
        "bow_offset_deg": round(math.degrees(boat.radar.bow_offset_rad), 4),
        "assumed": list(boat.assumed),
        "blind_sectors_deg": [[math.degrees(a), math.degrees(b)] for a, b in boat.radar.blind_sectors_rad],
    }
