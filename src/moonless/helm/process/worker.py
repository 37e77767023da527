"""What runs in the watch's own process: bytes through the chain, events out of a pipe.

The server stays quick because none of this runs in it.  Nothing here knows of screens.
"""

from __future__ import annotations

import logging
import queue
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from math import degrees, radians
from multiprocessing.connection import Connection
from typing import Any, Literal, NamedTuple, Protocol

from moonless.clock import steady_s
from moonless.errors import MoonlessError
from moonless.helm.process.events import Answer, Event, Notice, PlanNow, PoseNow, SourceState, TrialNow
from moonless.reading.types import Call
from moonless.units import NS_PER_S, kn_to_mps, mps_to_kn
from moonless.watch.types import LinkNow, SpokesNow, Turn

_log = logging.getLogger(__name__)

# Without a scan by then there is no radar to wait for.
WARM_NS = 6 * NS_PER_S
POSE_NS = 100_000_000
# A story that fell this far behind its pace (a slow computer, a first compilation) goes on from where it is.
BEHIND_S = 0.5


@dataclass(frozen=True, slots=True)
class Failed:
    """The last thing out of the pipe when the work cannot go on."""

    line: str


class Desk:
    """What a skipper asks of the chain, in one place for every kind of job."""

    def __init__(self, chain: Any, knowledge: Any, send: Callable[[Event], None]) -> None:
        self._chain = chain
        self._knowledge = knowledge
        self._send = send
        self._last: Turn | None = None
        # A call is told once and stays on the screens for a while: it may be answered turns later.
        self._calls: deque[Call] = deque(maxlen=64)
        # Course and speed of the skipper's trial, and when it is to begin (Unix ns); None: none is tried.
        self._trial: tuple[float | None, float | None, int] | None = None

    def saw(self, turn: Turn) -> None:
        """Remember the newest turn: answers are about its echoes."""
        self._last = turn
        self._calls.extend(turn.reading.calls)
        if self._trial is not None:
            self._tell_trial()

    def follow(self, plan: Mapping[str, Any]) -> PlanNow:
        """Tell the chain which turns of the route are still ahead, for what opens on it; return the event."""
        now = plan["now"]
        turns = () if now is None else plan["route"][now["leg"] :]
        self._chain.way = tuple((float(turn[0]), float(turn[1])) for turn in turns)
        return PlanNow(plan)

    def take(self, control: Mapping[str, Any]) -> bool:
        """Act on one control; False when it is not for the desk."""
        do, value = control["do"], control["value"]
        if do == "sight":
            self._chain.sight = value
        elif do == "bow offset":
            self._chain.set_bow_offset(radians(value))
        elif do == "trial":
            self._try(value)
        elif do == "acknowledge":
            self._acknowledge(control["say"], control["echo"])
        elif do == "i see it":
            self._keep(control["echo"], str(value), confidence=0.9)
        elif do == "keep in mind":
            self._keep(control["echo"], str(value) or "seen by radar, kept in mind", confidence=None)
        else:
            return False
        return True

    def _try(self, asked: Mapping[str, Any] | None) -> None:
        """Take a trial up, or put it down."""
        if asked is None or self._last is None:
            self._trial = None
            self._send(TrialNow({}))
            return
        course, speed = asked["course_deg"], asked["speed_kn"]
        self._trial = (
            None if course is None else radians(course),
            None if speed is None else kn_to_mps(speed),
            self._last.reading.time_ns + round(asked["delay_s"] * NS_PER_S),
        )
        self._tell_trial()

    def _tell_trial(self) -> None:
        """Tell what the trial brings as of the last turn; its delay runs down, and at its end it begins now."""
        assert self._trial is not None and self._last is not None
        course, speed, begin_ns = self._trial
        told = self._chain.try_manoeuvre(course, speed, max(begin_ns - self._last.reading.time_ns, 0) / NS_PER_S)
        self._send(TrialNow({"say": told} if isinstance(told, str) else told.as_dict()))

    def _acknowledge(self, say: str | None, echo: int | None) -> None:
        for call in reversed(self._calls):
            if call.say == say or (say is None and call.echo == echo):
                self._chain.acknowledge(call)
                return

    def _keep(self, echo_id: int, words: str, confidence: float | None) -> None:
        turn = self._last
        echo = None if turn is None else next((e for e in turn.reading.echoes if e.id == echo_id), None)
        if echo is None or turn is None:
            self._send(Answer("that echo is no longer there"))
            return
        if words == "nothing there" or echo.kind == "vessel":
            # What moves, or is not there, is no local knowledge: it would be met again where it no longer is.
            self._send(Answer(f"noted: {words}; not kept, since it will not stay there"))
            return
        self._knowledge.add(echo.lat, echo.lon, words, seen_ns=turn.reading.time_ns, confidence=confidence)
        self._send(Answer(f"kept in mind: {words}"))


class Job(Protocol):
    """Something to do in the watch's process."""

    def run(self, pipe: Connection) -> None:
        """Do it until told to stop or the pipe closes."""
        ...


def run(pipe: Connection, job: Job) -> None:
    """Do a job; the target of the watch's process."""
    try:
        job.run(pipe)
    except MoonlessError as problem:
        pipe.send(Failed(str(problem)))
    except (BrokenPipeError, EOFError, ConnectionResetError, KeyboardInterrupt):
        pass


class Piece(NamedTuple):
    """Bytes for the chain."""

    kind: Literal["radar", "nmea"]
    data: bytes
    link: str = "nmea"
    is_datagram: bool = False


Slice = tuple[int, list[Piece]]
"""When it has all come in (Unix ns), and what came in."""


class Paced:
    """Plays slices through a chain at the pace of life, or faster; stands still, goes on, starts again."""

    def __init__(
        self, pipe: Connection, speed: float, what: str, is_compiling: Callable[[], bool] = lambda: False
    ) -> None:
        self._is_compiling = is_compiling
        self.routes: Any = None  # moonless.helm.routes.requests.Routes
        self._later: queue.SimpleQueue[Event] = queue.SimpleQueue()
        self._pipe = pipe
        self._speed = speed
        self._what = what
        self._is_paused = False
        self._restart = False
        self._is_failing = False

    def on_spokes(self, spokes: SpokesNow) -> None:
        """Hand spokes on as they come."""
        self._pipe.send(replace(spokes, received_s=steady_s()))

    def later(self, event: Event) -> None:
        """Send an event from any thread: the pipe itself is one thread's alone."""
        self._later.put(event)

    def play(self, slices: Iterable[Slice], chain: Any, desk: Desk) -> None:
        """Play to the end, then stand; return when asked to start again."""
        self._restart = False
        self._pipe.send(SourceState(self._is_paused, self._speed, None, restarted=True))
        pose_ns = state_ns = 0
        origin: tuple[float, int] | None = None
        is_warming = True
        began_ns: int | None = None
        for end_ns, pieces in slices:
            began_ns = end_ns if began_ns is None else began_ns
            is_warming = is_warming and end_ns - began_ns < WARM_NS
            if is_warming:
                # The first turn is played as fast as it goes: someone is waiting for a picture.
                self._listen(desk, 0.0)
                origin = (steady_s(), end_ns)
            else:
                origin = self._wait(desk, end_ns, origin or (steady_s(), end_ns))
            if self._restart:
                return
            for one in self._feed(chain, pieces, end_ns):
                if one.scan is None and self._is_compiling():
                    # Scans are passed over until then: a reading without echoes would look like empty water.
                    continue
                is_warming = is_warming and one.scan is None
                desk.saw(one)
                if self.routes is not None:
                    self._pipe.send(desk.follow(self.routes.at(one.reading)))
                self._pipe.send(slim(one))
                self._pipe.send(Notice(""))
            if end_ns - pose_ns >= POSE_NS:
                pose_ns = end_ns
                self._pipe.send(pose_of(chain.own(end_ns)))
            if end_ns - state_ns >= NS_PER_S:
                state_ns = end_ns
                self._pipe.send(SourceState(self._is_paused, self._speed, end_ns))
        self._is_paused = True
        self._pipe.send(Notice(f"{self._what} has ended; start it again with the controls"))
        self._pipe.send(SourceState(True, self._speed, state_ns or None))
        while not self._restart:
            self._listen(desk, 0.2)
        self._is_paused = False

    def _feed(self, chain: Any, pieces: list[Piece], end_ns: int) -> list[Turn]:
        """Hand a slice to the chain; what goes wrong in it is said on the screens, and the watch goes on."""
        told: list[Turn] = []
        try:
            for piece in pieces:
                if piece.kind == "radar":
                    told += chain.feed_radar(piece.data, end_ns, is_datagram=piece.is_datagram)
                else:
                    told += chain.feed_nmea(piece.data, end_ns, link=piece.link, is_datagram=piece.is_datagram)
            if not pieces:
                told += chain.tick(end_ns)
        except Exception as problem:
            # As the live watch does: one bad turn must not end the watch, nor pass unsaid.
            _log.exception("the watch failed")
            self._is_failing = True
            self._pipe.send(LinkNow("watch", "lost", f"The watch failed on what came in and goes on: {problem!r}"))
            return told
        if told and self._is_failing:
            self._is_failing = False
            self._pipe.send(LinkNow("watch", "open", "the watch is well again"))
        return told

    def _wait(self, desk: Desk, at_ns: int, origin: tuple[float, int]) -> tuple[float, int]:
        """Wait until the story's time has come, listening meanwhile; return the pace's origin, moved if need be."""
        while True:
            before = (self._speed, self._is_paused)
            due_s = origin[0] + (at_ns - origin[1]) / NS_PER_S / self._speed
            left = due_s - steady_s()
            self._listen(desk, 0.1 if self._is_paused else max(min(left, 0.1), 0.0))
            if self._restart:
                return origin
            if before != (self._speed, self._is_paused):
                self._pipe.send(SourceState(self._is_paused, self._speed, at_ns))
                origin = (steady_s(), at_ns)
            elif self._is_paused or left < -BEHIND_S:
                origin = (steady_s(), at_ns)
                if not self._is_paused:
                    return origin
            elif steady_s() >= due_s:
                return origin

    def _listen(self, desk: Desk, wait_s: float) -> None:
        """Take what was asked, waiting at most so long for it; hand on what other threads have to say."""
        while not self._later.empty():
            self._pipe.send(self._later.get())
        if not self._pipe.poll(wait_s):
            return
        while self._pipe.poll(0.0):
            control = self._pipe.recv()
            do = control["do"]
            if do in ("pause", "go on"):
                self._is_paused = do == "pause"
            elif do == "speed":
                self._speed = float(control["value"])
            elif do == "start again":
                self._restart = True
            elif not (self.routes is not None and self.routes.take(control)) and not desk.take(control):
                self._pipe.send(Answer(f"this source cannot do this: {do}"))


def slim(turn: Turn) -> Turn:
    """Return a turn without what screens do not draw: it crosses between processes."""
    return replace(turn, scan=None, picture=None, tracks=(), ais=(), frame=None)


def pose_of(own: Any) -> PoseNow:
    """Return a `moonless.reading.situation.OwnState` in the screens' units."""

    def deg(value: float | None) -> float | None:
        return None if value is None else degrees(value)

    return PoseNow(
        own.lat_deg,
        own.lon_deg,
        deg(own.heading_true_rad),
        deg(own.cog_rad),
        None if own.sog is None else mps_to_kn(own.sog),
        own.position_age,
    )
