"""A process beside the helm's own that answers one question after another over a pipe."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess

# So long a process that was told to end is waited for.
ENDS_S = 2.0


class BesideProcess:
    """Rules: the process is a daemon, begun with the first question; `ask` blocks, so it is called from a thread."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None

    def begin(self, work: Callable[..., None], *given: object) -> None:
        """Start ``work(pipe, *given)`` in a process of its own, unless it runs."""
        if self._process is not None:
            return
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe(duplex=True)
        self._process = context.Process(target=work, args=(theirs, *given), daemon=True, name=self._name)
        self._process.start()
        theirs.close()

    def ask(self, question: object) -> object:
        """Return the answer.  Raises EOFError or OSError where the process has ended."""
        assert self._pipe is not None, "a question before the process was begun"
        self._pipe.send(question)
        answer: object = self._pipe.recv()
        return answer

    def end(self) -> None:
        """End the process, if it runs."""
        if self._pipe is not None:
            self._pipe.close()
        if self._process is not None:
            self._process.terminate()
            self._process.join(timeout=ENDS_S)
        self._pipe = self._process = None
