"""A source whose work is done in another process, so that the server answers at once whatever the chain is doing."""

from __future__ import annotations

import asyncio
import logging
import multiprocessing
import threading
from collections import deque
from collections.abc import AsyncIterator, Callable
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess

from moonless.clock import steady_s
from moonless.errors import LinkError
from moonless.helm.bodies.sheet import BoatFactsBody, SourceKind
from moonless.helm.process.events import Event, SourceState
from moonless.helm.process.remembered import Remembered
from moonless.helm.process.requests import Asked, Asker, SourceRequest
from moonless.helm.process.worker import Failed, WatchJob, run
from moonless.watch.live.in_hand import InHand
from moonless.watch.types import LinkNow, Turn

# Events that may wait between the pipe and the hub; when the hub cannot follow, the reading thread waits.
WAITING = 512
# A process that dies so often within this is not started again: the same would end it for ever.
MOST_DEATHS, WITHIN_S = 4, 60.0
# Of a sentence that is put aside so much is told.
MOST_SHOWN = 80

_log = logging.getLogger(__name__)


class _Died(Exception):
    """The process ended by itself, not by a word of its own."""


class WorkerProcess:
    """Rules: the process is a daemon and ends with us; what it cannot do comes out as one plain line."""

    def __init__(
        self,
        kind: SourceKind,
        job: WatchJob,
        boat: BoatFactsBody,
        again: Callable[[tuple[bytes, ...]], WatchJob] | None = None,
        in_hand: InHand | None = None,
    ) -> None:
        """Make ready.

        ``again``: gives the job with which a process that died by itself is started anew, without the sentences that
        ended one before; None: it is not.  ``in_hand``: where the process notes the sentence it works on.
        """
        self.kind = kind
        self.boat = boat
        self._job = job
        self._again = again
        self._in_hand = in_hand
        self._aside: list[bytes] = []
        self._remembered = Remembered()
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None

    def begin(self) -> None:
        """Start the process now rather than when the first event is asked for."""
        if self._process is not None:
            return
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe(duplex=True)
        process = context.Process(target=run, args=(theirs, self._job), daemon=True, name="moonless-watch")
        self._process = process
        process.start()
        theirs.close()
        self._pipe = ours

    async def events(self) -> AsyncIterator[Event]:
        """Yield what the process sends until it ends; one that died by itself is started anew where it may be.

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
                is_hopeless = len(died_s) == MOST_DEATHS and died_s[-1] - died_s[0] < WITHIN_S
                if self._again is None or is_hopeless:
                    raise LinkError(str(problem)) from problem
                _log.error("%s; it is started anew", problem)
                sentence = b"" if self._in_hand is None else self._in_hand.read().strip()
                if self._in_hand is not None:
                    self._in_hand.put_down()
                if sentence:
                    self._aside.append(sentence)
                self._process, self._job = None, self._again(tuple(self._aside))
                yield LinkNow("watch", "lost", f"{problem}: it is started anew, and what was shown is void")
                yield SourceState(False, 1.0, None, restarted=True)
                if sentence:
                    words = ascii(sentence[:MOST_SHOWN].decode("latin-1"))
                    yield LinkNow("sentence", "lost", f"a sentence that ended the watch is put aside: {words}")
                self.begin()
                for asked in self._remembered.anew():
                    self._send(asked)

    async def _events_of_one(self) -> AsyncIterator[Event]:
        self.begin()
        loop = asyncio.get_running_loop()
        arrived: asyncio.Queue[Event | Failed | None] = asyncio.Queue(maxsize=WAITING)
        is_over = threading.Event()
        pipe, process = self._pipe, self._process
        assert pipe is not None and process is not None

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
            while (item := await arrived.get()) is not None:
                if isinstance(item, Failed):
                    raise LinkError(item.line)
                if isinstance(item, Turn):
                    self._remembered.told(item.reading)
                yield item
            process.join(timeout=1.0)
            if process.exitcode not in (0, None):
                raise _Died(f"the watch's process ended by itself (exit code {process.exitcode})")
        finally:
            is_over.set()
            process.terminate()

    def close(self) -> None:
        """End the process and wait for it, so that its ports and files are free."""
        if self._process is not None:
            self._process.terminate()
            self._process.join(timeout=5.0)

    def do(self, asker: Asker, request: SourceRequest) -> None:
        """Hand a request to the process."""
        self._remembered.asked(request)
        self._send(Asked(asker, request))

    def _send(self, asked: Asked) -> None:
        if self._pipe is not None:
            try:
                self._pipe.send(asked)
            except (BrokenPipeError, OSError):
                return  # it has ended; the hub says so
