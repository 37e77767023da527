"""Slices of bytes played through a chain at the pace of life, or faster; it stands still, goes on, starts again."""

from __future__ import annotations

import logging
import queue
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, Literal, NamedTuple

from moonless.clock import steady_s
from moonless.helm.process.events import Answer, Event, Notice, SourceState
from moonless.helm.process.handler import RequestHandler
from moonless.helm.process.requests import Asked, JumpTo, Pause, PlaybackSpeed, StartAgain
from moonless.helm.process.worker import pose_of, without_scan
from moonless.units import NS_PER_S
from moonless.watch.types import LinkNow, SpokesNow, Turn

if TYPE_CHECKING:
    from moonless.helm.routes.service import RouteService
    from moonless.scan.pose import PoseSample
    from moonless.scan.types import Spoke
    from moonless.watch.live.kept_along import KeptAlong
    from moonless.watch.pipeline.chain import Chain

_log = logging.getLogger(__name__)

# Without a scan by then there is no radar to wait for.
FIRST_SCAN_NS = 6 * NS_PER_S
POSE_NS = 100_000_000
# A story that fell this far behind its pace (a slow computer, a first compilation) goes on from where it is.
BEHIND_S = 0.5
# Before a place that is jumped to, spokes are shown from so long before: a whole turn of a slow radar.
PICTURE_NS = 5 * NS_PER_S


class Piece(NamedTuple):
    """Bytes for the chain."""

    kind: Literal["radar", "nmea", "spokes"]
    data: bytes
    link: str = "nmea"
    is_datagram: bool = False
    spokes: Sequence[Spoke] = ()
    poses: Sequence[PoseSample] = ()


Slice = tuple[int, list[Piece]]
"""When it has all come in (Unix ns), and what came in."""


class PacedPlayer:
    """Plays slices through a chain and sends what comes of them down the pipe.

    Parameters
    ----------
    what : what is played, for the notice at its end
    is_compiling : True while kernels are being compiled; turns without a scan are not sent meanwhile
    can_jump : whether what is played can be begun at any time of its own; `jump_ns` is then where it was asked to go
        on, None for its beginning
    """

    def __init__(
        self,
        pipe: Connection,
        speed: float,
        what: str,
        is_compiling: Callable[[], bool] = lambda: False,
        *,
        can_jump: bool = False,
    ) -> None:
        self.routes: RouteService | None = None
        self.jump_ns: int | None = None
        self._can_jump = can_jump
        self._is_compiling = is_compiling
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

    def play(
        self,
        slices: Iterable[Slice],
        chain: Chain,
        handler: RequestHandler,
        begin_ns: int | None = None,
        kept: KeptAlong | None = None,
    ) -> None:
        """Play to the end, then stand; return when asked to start again, or to go on elsewhere.

        ``begin_ns``: what comes before is read as fast as it goes, and nothing of it is told: it is what tracks and
        registration have to know by then.  ``kept``: where the chain's states are kept along the way.
        """
        self._restart = False
        self._pipe.send(SourceState(self._is_paused, self._speed, None, restarted=True))
        pose_ns = state_ns = 0
        origin: tuple[float, int] | None = None
        is_first_scan = True
        began_ns: int | None = None
        last: Turn | None = None
        for end_ns, pieces in slices:
            if begin_ns is not None and end_ns < begin_ns:
                self._listen(handler, 0.0)
                if self._restart:
                    return
                chain.hand_on_spokes(end_ns >= begin_ns - PICTURE_NS)
                last = next(reversed(self._feed(chain, pieces, end_ns)), last)
                continue
            chain.hand_on_spokes(True)
            if last is not None:
                # It may stand still here: this turn is then all there is to see.
                self._pipe.send(SourceState(self._is_paused, self._speed, end_ns))
                self._send_turn(last, handler)
                last, is_first_scan = None, False
            began_ns = end_ns if began_ns is None else began_ns
            is_first_scan = is_first_scan and end_ns - began_ns < FIRST_SCAN_NS
            if is_first_scan:
                # The first turn is played as fast as it goes: someone is waiting for a picture.
                self._listen(handler, 0.0)
                origin = (steady_s(), end_ns)
            else:
                origin = self._wait(handler, end_ns, origin or (steady_s(), end_ns))
            if self._restart:
                return
            turns = self._feed(chain, pieces, end_ns)
            if turns and kept is not None:
                kept.after(chain, end_ns)
            for turn in turns:
                if turn.scan is None and self._is_compiling():
                    # Scans are passed over until then: a reading without echoes would look like empty water.
                    continue
                is_first_scan = is_first_scan and turn.scan is None
                self._send_turn(turn, handler)
            if end_ns - pose_ns >= POSE_NS:
                pose_ns = end_ns
                self._pipe.send(pose_of(chain.own(end_ns)))
            if end_ns - state_ns >= NS_PER_S:
                state_ns = end_ns
                self._pipe.send(SourceState(self._is_paused, self._speed, end_ns))
        self._stand_at_end(handler, state_ns or None)

    def _send_turn(self, turn: Turn, handler: RequestHandler) -> None:
        handler.saw(turn)
        if self.routes is not None:
            self._pipe.send(handler.follow(self.routes.at(turn.reading)))
        self._pipe.send(without_scan(turn))
        self._pipe.send(Notice(""))

    def _stand_at_end(self, handler: RequestHandler, end_ns: int | None) -> None:
        self._is_paused = True
        self._pipe.send(Notice(f"{self._what} has ended; start it again with the controls"))
        self._pipe.send(SourceState(True, self._speed, end_ns))
        while not self._restart:
            self._listen(handler, 0.2)
        self._is_paused = False

    def _feed(self, chain: Chain, pieces: list[Piece], end_ns: int) -> list[Turn]:
        """Hand a slice to the chain; what goes wrong in it is said on the screens, and the watch goes on."""
        turns: list[Turn] = []
        try:
            for piece in pieces:
                if piece.kind == "spokes":
                    turns += chain.feed_spokes(piece.spokes, piece.poses)
                elif piece.kind == "radar":
                    turns += chain.feed_radar(piece.data, end_ns, is_datagram=piece.is_datagram)
                else:
                    turns += chain.feed_nmea(piece.data, end_ns, link=piece.link, is_datagram=piece.is_datagram)
            if not pieces:
                turns += chain.tick(end_ns)
        except Exception as problem:
            # As the live watch does: one bad turn must not end the watch, nor pass unsaid.
            _log.exception("the watch failed")
            self._is_failing = True
            self._pipe.send(LinkNow("watch", "lost", f"The watch failed on what came in and goes on: {problem!r}"))
            return turns
        if turns and self._is_failing:
            self._is_failing = False
            self._pipe.send(LinkNow("watch", "open", "the watch is well again"))
        return turns

    def _wait(self, handler: RequestHandler, at_ns: int, origin: tuple[float, int]) -> tuple[float, int]:
        """Wait until the story's time has come, listening meanwhile; return the pace's origin, moved if need be."""
        while True:
            before = (self._speed, self._is_paused)
            due_s = origin[0] + (at_ns - origin[1]) / NS_PER_S / self._speed
            left = due_s - steady_s()
            self._listen(handler, 0.1 if self._is_paused else max(min(left, 0.1), 0.0))
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

    def _listen(self, handler: RequestHandler, wait_s: float) -> None:
        """Take what was asked, waiting at most so long for it; hand on what other threads have to say."""
        while not self._later.empty():
            self._pipe.send(self._later.get())
        if not self._pipe.poll(wait_s):
            return
        while self._pipe.poll(0.0):
            self._take(self._pipe.recv(), handler)

    def _take(self, asked: Asked, handler: RequestHandler) -> None:
        asker, request = asked
        if isinstance(request, Pause):
            self._is_paused = request.is_on
        elif isinstance(request, PlaybackSpeed):
            self._speed = request.times
        elif isinstance(request, StartAgain):
            self._restart, self.jump_ns = True, None
        elif isinstance(request, JumpTo) and self._can_jump:
            self._restart, self.jump_ns = True, request.time_ns
        elif not (self.routes is not None and self.routes.take(asked)) and not handler.take(asked):
            self._pipe.send(Answer(asker, "this source cannot do that"))
