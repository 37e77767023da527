"""The middle of the live loop: one source in, any number of screens out."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from moonless.clock import steady_s
from moonless.constants import TAU
from moonless.errors import MoonlessError
from moonless.helm.controls import FOR_SOURCE, Control
from moonless.helm.events import Answer, ChartReady, Event, Notice, PlanNow, PoseNow, Reply, Source, SourceState
from moonless.helm.fog import FogReminder
from moonless.helm.protocol import PoseFrame
from moonless.helm.session import Session
from moonless.helm.spokes import SpokeStore
from moonless.helm.told import NewCalls, Tails, reading_body
from moonless.helm.voice import Loudspeaker
from moonless.scan.types import Scan
from moonless.units import NS_PER_S
from moonless.watch.types import LinkNow, SpokesNow, Turn

_log = logging.getLogger(__name__)


class Hub:
    """Rules: only `pump` changes what is shown; sessions are told that something is new and take it themselves."""

    def __init__(self, source: Source, loudspeaker: Loudspeaker | None = None) -> None:
        self.source = source
        self.store = SpokeStore()
        self.sessions: set[Session] = set()
        self.chart: ChartReady | None = None
        self.notice: Notice = Notice("starting")
        self.state: SourceState | None = None
        self.pose: PoseFrame | None = None
        self.reading: dict[str, Any] | None = None
        self.loudspeaker = loudspeaker
        self.sight = "unsure"
        self.fog = FogReminder(float(source.boat.get("length_m", 9.0)))
        self._reading_s: float | None = None
        self._silent_until_s = -math.inf
        self._turns = 0
        self._plan: dict[str, Any] | None = None
        self._has_spokes = False
        self._tails = Tails()
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
            self.chart = event
            for session in self.sessions:
                session.chart.put(self.chart_body())
            self._wake()
        elif isinstance(event, Notice):
            self.notice = event
            self.heartbeat()
        elif isinstance(event, LinkNow):
            self._links[event.link] = event
            self.heartbeat()
        elif isinstance(event, PlanNow):
            self._plan = dict(event.body) if event.body["route"] else None
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

    def _take_turn(self, turn: Turn) -> None:
        if turn.scan is not None and not self._has_spokes:
            # A source without a spoke tap: its turns carry the whole scan at once.
            self.store.add(*_spokes_of(turn.scan))
        self._turns += 1
        self._reading_s = steady_s()
        self.reading = reading_body(turn, self._tails.add(turn.reading), self._turns)
        self.reading["plan"] = self._plan
        own = turn.reading.own
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
        if self.loudspeaker is not None and (call["urgency"] >= 4 or not self.is_silent):
            self.loudspeaker.say(call["say"], call["urgency"])

    def _begin_again(self) -> None:
        self.store.clear()
        self._tails.clear()
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
            self.heartbeat()
            return None
        if control.do == "say again":
            if self._last_call is not None:
                self._tell({**self._last_call, "again": True})
            return None
        if control.do == "loudspeaker":
            if self.loudspeaker is None:
                return "this computer has no voice: espeak-ng is not installed"
            self.loudspeaker.is_on = bool(control.value)
            self.heartbeat()
            return None
        if control.do == "fog signal":
            self.fog.switch(bool(control.value), steady_s())
            self._remind()
            self.heartbeat()
            return None
        if control.do == "sight":
            self.sight = str(control.value)
            self.heartbeat()
        if control.do in FOR_SOURCE:
            self.source.do(control.as_dict())
        return {
            "i see it": f"noted: {control.value}",
            "keep in mind": "kept in mind",
        }.get(control.do)

    # ---- out

    @property
    def is_silent(self) -> bool:
        """True while the skipper wants no voice but for what is urgent."""
        return steady_s() < self._silent_until_s

    def hello_body(self) -> dict[str, Any]:
        """Return the first frame's body."""
        return {"protocol": 1, "source": self.source.kind, "boat": dict(self.source.boat)}

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
            "silent_s": round(max(self._silent_until_s - now, 0.0)),
            "loudspeaker": None if self.loudspeaker is None else self.loudspeaker.is_on,
            "sight": self.sight,
            "fog_s": None if (wait := self.fog.wait_s(now)) is None else round(wait),
            "screens": len(self.sessions),
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
            self.heartbeat()

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
        pumping = asyncio.create_task(self.pump())
        try:
            await asyncio.gather(beating, pumping)
        finally:
            for task in (beating, pumping):
                task.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await task


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
        "distance_unit": skipper.distance_unit,
        "free_hand": skipper.free_hand,
        "night_limit_kn": None if skipper.night_limit is None else round(skipper.night_limit * 3600 / 1852, 2),
        "stopping_measured": bool(boat.stopping),
        "local_time_zone": skipper.local_time_zone,
        "blind_sectors_deg": [[math.degrees(a), math.degrees(b)] for a, b in boat.radar.blind_sectors_rad],
    }
