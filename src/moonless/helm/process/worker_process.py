"""A source whose work is done in another process, so that the server answers at once whatever the chain is doing."""

from __future__ import annotations

import asyncio
import logging
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import TypeVar

from moonless.clock import steady_s
from moonless.errors import LinkError
from moonless.helm.bodies.sheet import BoatFactsBody, SourceKind
from moonless.helm.process.events import Event, SourceState
from moonless.helm.process.remembered import Remembered
from moonless.helm.process.requests import Asked, Asker, SourceRequest
from moonless.helm.process.worker import Failed, LastingJob, Left, WatchJob, run, stand_by
from moonless.watch.live.in_hand import InHand
from moonless.watch.types import ChainKept, LinkNow, Turn

# Events that may wait between the pipe and the hub; when the hub cannot follow, the reading thread waits.
WAITING = 512
# A process that dies so often within this is not started again: the same would end it for ever.
MOST_DEATHS, WITHIN_S = 4, 60.0
STARTED_ANEW = "it is started anew, and what was shown is void"
# A watch that gives readings for so long is well: another process begins to stand by; its state can be gone on from.
SPARE_AFTER_S, POISONED_S = 20.0, 15.0
# A process that stands by takes some 350 MB: it is not begun where that would crowd out the watch itself.
SPARE_NEEDS_BYTES = 3 * 1024**3
# What is laid out of a large chart on a busy computer takes 15 s of one turn.
HUNG_S = 30.0
# One that was told to end is gone on with only when the helm still stands after so long.
ENDING_S = 1.0
# Of a sentence that is put aside so much is told.
MOST_SHOWN = 80

_log = logging.getLogger(__name__)

J = TypeVar("J")
Arrived = Event | ChainKept | Failed | None


class _Died(Exception):
    """The process ended by itself, not by a word of its own, or had to be ended."""

    def __init__(self, words: str, *, is_told_to: bool = False) -> None:
        super().__init__(words)
        self.is_told_to = is_told_to


@dataclass(slots=True)
class _Child:
    """A process and our end of its pipe."""

    process: BaseProcess
    pipe: Connection

    @staticmethod
    def begin(target: Callable[[Connection, J], None], job: J, name: str) -> _Child:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe(duplex=True)
        process = context.Process(target=target, args=(theirs, job), daemon=True, name=name)
        process.start()
        theirs.close()
        return _Child(process, ours)

    def send(self, thing: object) -> bool:
        """Return whether it could be handed over."""
        try:
            self.pipe.send(thing)
        except (BrokenPipeError, OSError):
            return False
        return True

    def end(self) -> None:
        self.process.terminate()
        self.process.join(timeout=5.0)


class WorkerProcess:
    """Rules: the processes are daemons and end with us; what the job cannot do comes out as one plain line.

    A job that lasts (`LastingJob`) is gone on with when its process dies, from the state it handed out last; once it
    runs well a second process stands by for that, with everything loaded.
    """

    def __init__(
        self,
        kind: SourceKind,
        job: WatchJob,
        boat: BoatFactsBody,
        lasts: LastingJob | None = None,
        in_hand: InHand | None = None,
    ) -> None:
        """Make ready.

        ``lasts``: the job again, where it is to be gone on with when its process dies; None: it is not.
        ``in_hand``: where the process notes the sentence it works on.
        """
        self.kind = kind
        self.boat = boat
        self._job = job
        self._lasts = lasts
        self._in_hand = in_hand
        self._aside: list[bytes] = []
        self._remembered = Remembered()
        self._kept: ChainKept | None = None
        self._child: _Child | None = None
        self._spare: _Child | None = None
        self._well_s: float | None = None  # since when this process has given readings

    def begin(self) -> None:
        """Start the process now rather than when the first event is asked for."""
        if self._child is None:
            self._child = _Child.begin(run, self._job, "moonless-watch")

    async def events(self) -> AsyncIterator[Event]:
        """Yield what the process sends until it ends; one that died by itself is gone on with where it may be.

        Raises LinkError with its last line if it failed, or died again and again.
        """
        died_s: deque[float] = deque(maxlen=MOST_DEATHS)
        while True:
            try:
                async for event in self._events_of_one():
                    yield event
                return
            except _Died as problem:
                died_s.append(steady_s())
                if problem.is_told_to:
                    # Whoever ends all of a computer's processes ends the helm too, which is not to begin anything now.
                    await asyncio.sleep(ENDING_S)
                is_hopeless = len(died_s) == MOST_DEATHS and died_s[-1] - died_s[0] < WITHIN_S
                if self._lasts is None or is_hopeless:
                    raise LinkError(str(problem)) from problem
                _log.error("%s; it is started anew", problem)
                sentence = b"" if self._in_hand is None else self._in_hand.read().strip()
                if self._in_hand is not None:
                    self._in_hand.put_down()
                if sentence:
                    self._aside.append(sentence)
                self._go_on(self._lasts)
                yield LinkNow("watch", "lost", f"{problem}: {STARTED_ANEW}")
                yield SourceState(False, 1.0, None, restarted=True)
                if sentence:
                    words = ascii(sentence[:MOST_SHOWN].decode("latin-1"))
                    yield LinkNow("sentence", "lost", f"a sentence that ended the watch is put aside: {words}")

    def _go_on(self, job: LastingJob) -> None:
        """Let the process that stands by go on, or a new one where there is none."""
        if self._well_s is None or steady_s() - self._well_s < POISONED_S:
            # It died on what it was to go on from, or on what came with it.
            self._kept = None
        left, spare = Left(tuple(self._aside), self._kept), self._spare
        self._child, self._spare, self._well_s = None, None, None
        if spare is not None and spare.process.is_alive() and spare.send(left):
            self._child = spare
        else:
            self._job = job.going_on(left)
            self.begin()
        for asked in self._remembered.anew():
            self._send(asked)

    def _took_turn(self, turn: Turn) -> LinkNow | None:
        """Take note of a turn; return the line that a watch begun anew is well, with its first."""
        self._remembered.told(turn.reading)
        is_first, now_s = self._well_s is None, steady_s()
        self._well_s = now_s if self._well_s is None else self._well_s
        if self._lasts is not None and self._spare is None and now_s - self._well_s > SPARE_AFTER_S and has_room():
            self._spare = _Child.begin(stand_by, self._lasts, "moonless-spare")
        return LinkNow("watch", "open", "the watch goes on") if is_first else None

    async def _events_of_one(self) -> AsyncIterator[Event]:
        self.begin()
        loop = asyncio.get_running_loop()
        arrived: asyncio.Queue[Arrived] = asyncio.Queue(maxsize=WAITING)
        is_over = threading.Event()
        assert self._child is not None
        pipe, process = self._child.pipe, self._child.process

        def read() -> None:
            while not is_over.is_set():
                try:
                    item = pipe.recv()
                except (EOFError, OSError):
                    item = None
                try:
                    asyncio.run_coroutine_threadsafe(arrived.put(item), loop).result()
                except RuntimeError:
                    return  # the loop has closed
                if item is None:
                    return

        threading.Thread(target=read, daemon=True, name="moonless-pipe").start()
        try:
            while (item := await self._next(arrived, process)) is not None:
                if isinstance(item, Failed):
                    raise LinkError(item.line)
                if isinstance(item, ChainKept):
                    self._kept = item.after(self._kept)
                    continue
                yield item
                if isinstance(item, Turn) and (line := self._took_turn(item)) is not None:
                    yield line
            process.join(timeout=1.0)
            if process.exitcode:
                words = f"the watch's process ended by itself (exit code {process.exitcode})"
                raise _Died(words, is_told_to=process.exitcode == -signal.SIGTERM)
        finally:
            is_over.set()
            process.terminate()

    async def _next(self, arrived: asyncio.Queue[Arrived], process: BaseProcess) -> Arrived:
        """Return what comes next; a watch that was well and says nothing any more hangs, and is ended.

        It speaks ten times a second, whatever comes in.
        """
        if self._lasts is None or self._well_s is None or not arrived.empty():
            return await arrived.get()
        try:
            return await asyncio.wait_for(arrived.get(), HUNG_S)
        except TimeoutError:
            process.kill()
            raise _Died(f"the watch's process has said nothing for {HUNG_S:g} s and was ended") from None

    def close(self) -> None:
        """End the processes and wait for them, so that their ports and files are free."""
        for one in (self._child, self._spare):
            if one is not None:
                one.end()
        self._spare = None

    def do(self, asker: Asker, request: SourceRequest) -> None:
        """Hand a request to the process."""
        self._remembered.asked(request)
        self._send(Asked(asker, request))

    def _send(self, asked: Asked) -> None:
        # One that has ended takes nothing; the hub says so.
        if self._child is not None:
            self._child.send(asked)


def has_room() -> bool:
    """Return whether the computer has memory for a process that stands by; where that cannot be told it has."""
    try:
        return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") >= SPARE_NEEDS_BYTES
    except (AttributeError, ValueError, OSError):
        return True
