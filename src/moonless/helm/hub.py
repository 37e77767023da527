"""The middle of the live loop: one source in, any number of screens out.

source ─► Hub.take ─► what is shown (`shown`), calls (`announcer`), trials ─► sessions
screen ─► Hub.ask  ─► the helm itself, or the source, with the number of the screen that asked
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
from typing import TYPE_CHECKING

from moonless.errors import MoonlessError
from moonless.helm.announcer import Announcer
from moonless.helm.bodies.setup import HeardBody
from moonless.helm.bodies.sheet import AffairsBody, HelloBody
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
    TimeBarNow,
    TrialNow,
)
from moonless.helm.process.requests import (
    HELM,
    Acknowledge,
    Asker,
    EndTrial,
    HelmRequest,
    KeepInMind,
    KeepListening,
    RemindOfFogSignal,
    Request,
    SayAgain,
    SeenByEye,
    SetBowOffset,
    SetSight,
    Silence,
    TakeBowOffset,
    TryManoeuvre,
    UseLoudspeaker,
)
from moonless.helm.shown import ShownChart, ShownPicture, SourceStatus
from moonless.helm.trials import Trials
from moonless.helm.voice import Loudspeaker
from moonless.helm.web.protocol import VERSION, FanFrame
from moonless.helm.web.screens import Screens
from moonless.helm.web.session import Session
from moonless.helm.web.spokes import SpokeStore
from moonless.reading.registration.bow_mark import BowMark
from moonless.watch.types import LinkNow, SpokesNow, Turn

if TYPE_CHECKING:
    from moonless.helm.setup.service import SetupService

_log = logging.getLogger(__name__)

WATCH_LATE = "Nothing new is read. What was shown is withdrawn."


class Hub:
    """Rules: only `pump` changes what is shown; sessions are told that something is new and take it themselves; what
    one screen asked is answered to that screen alone."""

    def __init__(
        self,
        source: Source,
        loudspeaker: Loudspeaker | None = None,
        setup: SetupService | None = None,
        without: tuple[str, ...] = (),
    ) -> None:
        self.source = source
        self.setup = setup
        self.bow = BowMark()
        self.bow.begin(source.boat.get("bow_offset_deg"))
        self.screens = Screens()
        self.chart = ShownChart()
        self.picture = ShownPicture(source.boat.get("deviation", ()))
        self.status = SourceStatus(without)
        self.announcer = Announcer(self.screens, loudspeaker, float(source.boat.get("length_m", 9.0)))
        self.trials = Trials()
        self._pumping: asyncio.Task[None] | None = None

    @property
    def store(self) -> SpokeStore:
        """The radar's picture, which sessions read for themselves."""
        return self.picture.store

    # ---- in

    async def pump(self) -> None:
        """Take events from the source until it ends; a source that fails is said on the screens, not hidden."""
        line = "the source has ended"
        try:
            async for event in self.source.events():
                try:
                    self.take(event)
                except Exception as problem:
                    # One event that cannot be shown is told and left out; the next one is shown.
                    _log.exception("an event could not be shown")
                    self.status.add_link(LinkNow("helm", "lost", f"the helm could not show what was read: {problem}"))
        except MoonlessError as problem:
            line = str(problem)
            _log.warning("source: %s", problem)
        except asyncio.CancelledError:
            raise
        except Exception as problem:
            # The screens must say that the picture stands; the traceback goes to the log.
            line = f"the source failed: {problem}"
            _log.exception("source failed")
        self.status.end(line)
        self.heartbeat()

    def take(self, event: Event) -> None:
        """Take in one event and tell the sessions."""
        if isinstance(event, SpokesNow):
            self.picture.add_spokes(event)
            self.screens.wake()
        elif isinstance(event, Turn):
            self._take_turn(event)
        elif isinstance(event, PoseNow):
            self.picture.add_pose(event)
            self._show_pose()
        elif isinstance(event, ChartReady):
            self.chart.take(event)
            self._show_chart()
        elif isinstance(event, PlanNow):
            self.picture.plan = event.body if event.body["route"] else None
        elif isinstance(event, Overheard):
            if self.setup is not None:
                self.setup.overheard(event)
        elif isinstance(event, TrialNow | Reply | Answer):
            self._take_answer(event)
        else:
            self._take_status(event)

    def _take_answer(self, event: TrialNow | Reply | Answer) -> None:
        """Hand an answer to the screen that asked, and to no other."""
        asked = self.screens.one(event.asker)
        if isinstance(event, TrialNow):
            # A screen that has gone, or has put its trial down meanwhile, has none.
            if event.asker in self.trials:
                self.trials.add(event.asker, event.body)
                self._show_trials()
        elif asked is None:
            return
        elif isinstance(event, Reply):
            asked.reply(event.body)
        else:
            asked.say(event.line)

    def _take_status(self, event: TideNow | Notice | LinkNow | SourceState | TimeBarNow) -> None:
        if isinstance(event, TideNow):
            self.status.tide_m = event.height_m
        elif isinstance(event, TimeBarNow):
            self.status.time_bar = event
        elif isinstance(event, Notice):
            self.status.notice = event
        elif isinstance(event, LinkNow):
            self.status.add_link(event)
        else:
            if event.restarted:
                self._begin_again()
            self.status.state = event
        self.heartbeat()

    def _take_turn(self, turn: Turn) -> None:
        before = self.picture.pose
        body = self.picture.add_turn(turn)
        # As the sensor gives it: a source that tells no poses has only the one put right.
        heading = turn.reading.own.heading_deg if before is None else before.heading_deg
        self.bow.turn(turn.reading, heading)
        body["bow"] = self.bow.body()
        if self.picture.pose is not before:
            self._show_pose()
        self._show_reading()
        self.announcer.add_turn(turn.reading)

    def _begin_again(self) -> None:
        self.bow.begin(self.source.boat.get("bow_offset_deg"))
        self.picture.begin_again()
        self.trials.clear()
        self._show_trials()
        for session in self.screens:
            session.forget_reading()
        self.screens.wake()

    # ---- asked

    def ask(self, request: Request, asker: Asker = HELM) -> str | None:
        """Do what a screen asked; return one plain line for it, or None.

        Raises InputError if it cannot be done.
        """
        if isinstance(request, HelmRequest):
            return self._ask_helm(request)
        if isinstance(request, SetSight):
            self.status.sight = request.sight
            self.heartbeat()
        if isinstance(request, TryManoeuvre):
            self.trials.touch(asker)
        if isinstance(request, Acknowledge):
            self.picture.acknowledge(request.key)
            self._show_reading()
        self.source.do(asker, request)
        if isinstance(request, EndTrial):
            self._end_trial(asker)
        if isinstance(request, SeenByEye):
            return f"noted: {request.what}"
        return "kept in mind" if isinstance(request, KeepInMind) else None

    def _ask_helm(self, request: HelmRequest) -> str | None:
        line = None
        if isinstance(request, Silence):
            self.announcer.silence(request.minutes)
        elif isinstance(request, SayAgain):
            self.announcer.say_again()
        elif isinstance(request, UseLoudspeaker):
            line = self.announcer.use_loudspeaker(request.is_on)
        elif isinstance(request, RemindOfFogSignal):
            self.announcer.remind_of_fog_signal(request.is_on, self.picture.sog_kn)
        elif isinstance(request, KeepListening):
            if self.setup is not None:
                self.setup.keep_listening(self)
            return None
        else:
            return self._set_bow(isinstance(request, TakeBowOffset))
        self.heartbeat()
        return line

    def _set_bow(self, is_taken: bool) -> str:
        """Take the measured bow offset, or go back; return what has become of it."""
        offset = self.bow.take() if is_taken else self.bow.undo()
        self.source.do(HELM, SetBowOffset(offset))
        if self.picture.reading is not None:
            self.picture.reading["bow"] = self.bow.body()
            self._show_reading()
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
        self.source = source
        self.chart.chart = None
        self.picture.begin_source(source.boat.get("deviation", ()))
        self.status.begin_source(without)
        self._begin_again()
        for session in self.screens:
            session.out.pose.take()
            session.out.hello.put(self.hello_body())
            session.out.chart.put(self.chart.body())
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

    # ---- out

    def hello_body(self) -> HelloBody:
        """Return the first frame's body."""
        source = self.source
        return {"protocol": VERSION, "source": source.kind, "boat": source.boat, "setup": self.setup is not None}

    def status_body(self) -> AffairsBody:
        """Return the heartbeat."""
        return {
            **self.picture.ages(),
            **self.status.body(),
            **self.announcer.body(),
            "screens": len(self.screens),
        }

    def heartbeat(self) -> None:
        """Tell every session how things stand."""
        body = self.status_body()
        for session in self.screens:
            session.out.status.put(body)
        self.screens.wake()

    def show_heard(self, body: HeardBody, fans: list[FanFrame]) -> None:
        """Hand what the set-up hears to the screens."""
        for session in self.screens:
            session.out.fans.put(fans)
            session.out.heard.put(body)
        self.screens.wake()

    def _show_pose(self) -> None:
        pose = self.picture.pose
        if pose is not None:
            for session in self.screens:
                session.out.pose.put(pose)
            self.screens.wake()

    def _show_reading(self) -> None:
        reading = self.picture.reading
        if reading is not None:
            for session in self.screens:
                session.out.reading.put(reading)
            self.screens.wake()

    def _show_chart(self) -> None:
        for session in self.screens:
            session.out.chart.put(self.chart.body())
        self.screens.wake()

    def _show_trials(self) -> None:
        for session in self.screens:
            session.show_trial(self.trials.of(session.number))
        self.screens.wake()

    def _end_trial(self, asker: Asker) -> None:
        self.trials.end(asker)
        self._show_trials()

    # ---- screens and time

    def join(self, session: Session) -> None:
        """Give a new screen the present."""
        self.screens.join(session)
        out, picture = session.out, self.picture
        out.hello.put(self.hello_body())
        out.chart.put(self.chart.body())
        session.show_trial(self.trials.of(session.number))
        out.status.put(self.status_body())
        if picture.pose is not None:
            out.pose.put(picture.pose)
        if picture.reading is not None:
            out.reading.put(picture.reading)
        session.wake()

    def leave(self, session: Session) -> None:
        """Forget a screen; what it tried must not stand on the others."""
        self.screens.leave(session)
        if session.number in self.trials:
            self.source.do(session.number, EndTrial())
            self._end_trial(session.number)

    async def beat(self) -> None:
        """Heartbeat once a second, for ever."""
        while True:
            await asyncio.sleep(1.0)
            self.announcer.tick(self.picture.sog_kn)
            self.withdraw_if_old()
            self.end_old_trials()
            self.heartbeat()

    def withdraw_if_old(self) -> None:
        """A watch that has stopped speaking must not leave its last word standing as the present."""
        if not self.status.is_standing and self.picture.withdraw_if_old():
            self._show_reading()
            self.announcer.announce_own("fault watch late", 4, WATCH_LATE)

    def end_old_trials(self) -> None:
        """A trial that its screen no longer touches must not stand on the others for ever."""
        for asker in self.trials.old():
            self.source.do(asker, EndTrial())
            self._end_trial(asker)

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
            await self.chart.close()
