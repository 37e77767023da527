"""What is to be written down, written by a thread of its own: a slow card holds up no turn of the watch."""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable

from moonless.errors import MoonlessError
from moonless.helm.process.events import Answer, Event
from moonless.helm.process.requests import Asker

_log = logging.getLogger(__name__)
# A card that takes nothing any more must not fill the memory with what waits for it.
MOST_WAITING = 100


class Keeper:
    """Writes one thing after the other; ``send`` is called from its thread."""

    def __init__(self, send: Callable[[Event], None]) -> None:
        self._send = send
        self._waiting: queue.Queue[tuple[Asker, str, Callable[[], object]]] = queue.Queue(MOST_WAITING)
        self._thread: threading.Thread | None = None

    def keep(self, asker: Asker, said: str, write: Callable[[], object]) -> None:
        """Have something written; ``said`` is answered once it is, else why it is not.  Never blocks."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, daemon=True, name="moonless-keeper")
            self._thread.start()
        try:
            self._waiting.put_nowait((asker, said, write))
        except queue.Full:
            self._send(Answer(asker, "not kept: the disk does not take what waits for it already"))

    def _work(self) -> None:
        while True:
            asker, said, write = self._waiting.get()
            try:
                write()
            except MoonlessError as problem:
                said = f"not kept: {problem}"
            except Exception as problem:
                _log.exception("something could not be kept")
                said = f"not kept: {problem!r}"
            self._send(Answer(asker, said))
