"""What a skipper asks of the chain, done in the watch's own process; one place for every kind of job."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import radians
from typing import TYPE_CHECKING

from msgspec import to_builtins

from moonless.clock import steady_s
from moonless.helm.bodies.routes import PlanNowBody
from moonless.helm.bodies.sheet import TrialFound
from moonless.helm.process.events import Answer, Event, PlanNow, TrialNow
from moonless.helm.process.keeper import Keeper
from moonless.helm.process.requests import (
    Acknowledge,
    Asked,
    Asker,
    EndTrial,
    GoOn,
    KeepInMind,
    SeenByEye,
    SetBowOffset,
    SetSight,
    ToldByDay,
    TryManoeuvre,
)
from moonless.units import NS_PER_S, kn_to_mps
from moonless.watch.afterwards.by_eye import eye_line
from moonless.watch.types import Turn

if TYPE_CHECKING:
    from moonless.chart.local_knowledge.knowledge import Knowledge
    from moonless.watch.pipeline.chain import Chain

_log = logging.getLogger(__name__)

# Trials worked out with every turn: one a screen, the newest ones; and how much of a processor all may take, which is
# the watch's as well.
MOST_TRIALS, MOST_SHARE = 4, 0.25


@dataclass(frozen=True, slots=True)
class _Trial:
    """Course (rad) and speed (m/s) over the ground, None: as now, and when it begins (Unix ns)."""

    course_rad: float | None
    speed: float | None
    begin_ns: int


class TrialDesk:
    """Works out what screens try, in a thread of its own, so that no finger on a dial holds up a turn.

    A screen's newest trial is worked out and those before it are not; all together take no more than `MOST_SHARE` of
    the thread's time.  What a trial brings is sent again with every reading.
    """

    def __init__(self, chain: Chain, send: Callable[[Event], None]) -> None:
        """``send`` is called from this thread and from those that ask."""
        self._chain = chain
        self._send = send
        self._now_ns: int | None = None  # of the newest reading
        self._trials: dict[Asker, _Trial] = {}  # the newest last
        self._due: dict[Asker, None] = {}  # in the order they are worked out
        self._wake, self._rest = threading.Condition(), threading.Event()
        self._thread: threading.Thread | None = None

    def saw(self, time_ns: int) -> None:
        """A reading was made: what is tried is worked out against it."""
        with self._wake:
            self._now_ns = time_ns
            if self._trials:
                self._due.update(dict.fromkeys(self._trials))
                self._wake.notify()

    def begin(self, asker: Asker, asked: TryManoeuvre) -> None:
        """Let a screen try something from now on.  Never blocks for long."""
        ended: list[Asker] = []
        with self._wake:
            self._trials.pop(asker, None)
            if self._now_ns is None:
                ended = [asker]
            else:
                while len(self._trials) >= MOST_TRIALS:
                    ended.append(next(iter(self._trials)))
                    del self._trials[ended[-1]]
                self._trials[asker] = _Trial(
                    None if asked.course_deg is None else radians(asked.course_deg),
                    None if asked.speed_kn is None else kn_to_mps(asked.speed_kn),
                    self._now_ns + round(asked.delay_s * NS_PER_S),
                )
                self._due[asker] = None
                self._wake.notify()
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, daemon=True, name="moonless-trials")
                self._thread.start()
        for one in ended:
            self._send(TrialNow(one, None))

    def end(self, asker: Asker) -> None:
        """A screen tries nothing more."""
        with self._wake:
            self._trials.pop(asker, None)
            self._due.pop(asker, None)
        self._send(TrialNow(asker, None))

    def _work(self) -> None:
        while True:
            with self._wake:
                self._wake.wait_for(lambda: self._due)
                asker = next(iter(self._due))
                del self._due[asker]
                trial, now_ns = self._trials.get(asker), self._now_ns
            if trial is None or now_ns is None:
                continue
            began_s = steady_s()
            body = self._found(trial, now_ns)
            with self._wake:
                is_newest = self._trials.get(asker) is trial
            if is_newest:
                self._send(TrialNow(asker, body))
            self._rest.wait((steady_s() - began_s) * (1.0 / MOST_SHARE - 1.0))

    def _found(self, trial: _Trial, now_ns: int) -> TrialFound:
        """Return what a trial brings as of the last turn; its delay runs down, and at its end it begins now."""
        try:
            found = self._chain.try_manoeuvre(trial.course_rad, trial.speed, max(trial.begin_ns - now_ns, 0) / NS_PER_S)
        except Exception:
            _log.exception("a trial could not be worked out")
            found = "No trial: it could not be worked out."
        return {"say": found} if isinstance(found, str) else to_builtins(found)


class RequestHandler:
    """Acts on the chain for the screens; what became of a request is sent to the screen that asked."""

    def __init__(
        self,
        chain: Chain,
        knowledge: Knowledge | None,
        send: Callable[[Event], None],
        record_seen: Callable[[Mapping[str, object]], None] = lambda line: None,
        record_answer: Callable[[str], None] = lambda key: None,
        later: Callable[[Event], None] | None = None,
    ) -> None:
        """Act on ``chain``.

        ``record_seen`` keeps what the skipper saw at an echo with the run, ``record_answer`` the key of a call that he
        answered; where none is kept they do nothing.
        ``later`` sends from any thread; None: ``send`` does.
        """
        self._record_seen = record_seen
        self._record_answer = record_answer
        self._chain = chain
        self._knowledge = knowledge
        self._send = send
        self._keeper = Keeper(later or send)
        self._last: Turn | None = None
        self._trials = TrialDesk(chain, later or send)

    def saw(self, turn: Turn) -> None:
        """Remember the newest turn: answers are about its echoes."""
        self._last = turn
        self._trials.saw(turn.reading.time_ns)

    def follow(self, plan: PlanNowBody) -> PlanNow:
        """Give the chain the turns of the route that are still ahead, for what opens on it; return the event."""
        now = plan["now"]
        turns = () if now is None else plan["route"][now["leg"] :]
        self._chain.given.way = tuple((float(turn[0]), float(turn[1])) for turn in turns)
        return PlanNow(plan)

    def take(self, asked: Asked) -> bool:
        """Act on one request; False when it is not for the chain."""
        asker, request = asked
        if isinstance(request, SetSight):
            self._chain.given.sight = request.sight
        elif isinstance(request, SetBowOffset):
            # The same again, as a watch begun anew is asked, must not cost the tracks.
            if radians(request.offset_deg) != self._chain.boat.radar.bow_offset_rad:
                self._chain.set_bow_offset(radians(request.offset_deg))
        elif isinstance(request, TryManoeuvre):
            self._trials.begin(asker, request)
        elif isinstance(request, EndTrial):
            self._trials.end(asker)
        elif isinstance(request, GoOn):
            self._chain.take_up(request.former, request.answered)
        elif isinstance(request, Acknowledge):
            self._chain.acknowledge(request.key)
            self._record_answer(request.key)
        elif isinstance(request, ToldByDay):
            self._saw_there(request.echo, request.what)
        elif isinstance(request, SeenByEye):
            self._saw_there(request.echo, request.what)
            self._keep(asker, request.echo, request.what, confidence=0.9)
        elif isinstance(request, KeepInMind):
            self._keep(asker, request.echo, request.words or "seen by radar, kept in mind", confidence=None)
        else:
            return False
        return True

    def _saw_there(self, echo: int, what: str) -> None:
        line = None if self._last is None else eye_line(self._last.reading, echo, what)
        if line is not None:
            self._record_seen(line)

    def _keep(self, asker: Asker, echo_id: int, words: str, confidence: float | None) -> None:
        turn = self._last
        echo = None if turn is None else next((e for e in turn.reading.echoes if e.id == echo_id), None)
        if echo is None or turn is None:
            self._send(Answer(asker, "that echo is no longer there"))
        elif words == "nothing there" or echo.kind == "vessel":
            # What moves, or is not there, is no local knowledge: it would be met again where it no longer is.
            self._send(Answer(asker, f"noted: {words}; not kept, since it will not stay there"))
        elif self._knowledge is None:
            self._send(Answer(asker, f"noted: {words}; not kept, since this watch has no local knowledge"))
        else:
            add, seen_ns = self._knowledge.add, turn.reading.time_ns
            self._keeper.keep(
                asker, f"kept in mind: {words}",
                lambda: add(echo.lat, echo.lon, words, seen_ns=seen_ns, confidence=confidence),
            )  # fmt: skip
