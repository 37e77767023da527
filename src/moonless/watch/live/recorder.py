"""The run kept by a thread of its own: a slow card or a full one stops the recording, never the watch.

Rules of this file:
- What is to be kept waits in a queue; `MOST_WAITING_BYTES` of it at the most.  What no longer fits is left out, counted
  and told.
- A recording that cannot be written has stopped, and that is told.  It goes on by itself, in a file of its own beside
  the first, once the disk takes it again.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping
from pathlib import Path

from moonless.errors import InputError
from moonless.watch.types import LinkState
from moonless.wire.recording import RecordingWriter

# A busy radar brings a megabyte a second: half a minute of a card that stalls.
MOST_WAITING_BYTES = 32 * 1024 * 1024
LOOK_S = 0.5
RETRY_S = 3.0

Write = Callable[[RecordingWriter], None]


class Recorder:
    """Keeps what comes in and what is read, off the watch's own thread."""

    def __init__(
        self,
        path: Path,
        links: Mapping[str, str],
        say: Callable[[str, LinkState, str], None],
        now_ns: Callable[[], int],
    ) -> None:
        """Begin a file.  Raises InputError if it cannot be made."""
        self._first, self._links, self._say, self._now_ns = path, dict(links), say, now_ns
        self._writer: RecordingWriter | None = RecordingWriter(path, links)
        self._waiting: deque[tuple[int, Write]] = deque()
        self._waiting_bytes = self._left_out = 0
        self._is_over = False
        self._wake = threading.Condition()
        self._thread = threading.Thread(target=self._work, name="moonless-recording", daemon=True)
        self._thread.start()

    def add(self, n_bytes: int, write: Write) -> None:
        """Have something written.  Never blocks."""
        with self._wake:
            if self._waiting_bytes + n_bytes > MOST_WAITING_BYTES:
                self._left_out += n_bytes
                return
            self._waiting.append((n_bytes, write))
            self._waiting_bytes += n_bytes
            self._wake.notify()

    def close(self, wait_s: float = 10.0) -> None:
        """Write what waits and finish the file, as far as that takes no longer than this."""
        with self._wake:
            self._is_over = True
            self._wake.notify()
        self._thread.join(wait_s)

    # --- the thread ------------------------------------------------------------------------------------------------

    def _work(self) -> None:
        while True:
            with self._wake:
                if not self._waiting and not self._is_over:
                    self._wake.wait(LOOK_S)
                work, is_over = list(self._waiting), self._is_over
                self._waiting.clear()
                self._waiting_bytes, left_out = 0, self._left_out
                self._left_out = 0
            if left_out:
                self._tell("lost", f"recording leaves out {left_out} bytes: the disk is too slow")
            for _, write in work:
                self._try(write)
            self._try(lambda writer: writer.flush_if_due(self._now_ns()))
            if is_over:
                self._try(lambda writer: writer.close())
                return
            if left_out and self._writer is not None:
                self._tell("open", "recording goes on")
            if self._writer is None:
                self._wait_for_room()

    def _try(self, write: Write) -> None:
        if self._writer is None:
            return
        try:
            write(self._writer)
        except OSError as problem:
            self._writer.abandon()
            self._writer = None
            self._tell("lost", f"recording has stopped: {problem.strerror or problem}")

    def _wait_for_room(self) -> None:
        """Try again in a while, in a file of its own: the one that broke off is read as far as it goes."""
        with self._wake:
            if not self._is_over:
                self._wake.wait_for(lambda: self._is_over, RETRY_S)
            self._waiting.clear()  # of a time that is not kept
            self._waiting_bytes = self._left_out = 0
            if self._is_over:
                return
        path = next(p for n in range(2, 10_000) if not (p := self._first.with_stem(f"{self._first.stem}-{n}")).exists())
        try:
            self._writer = RecordingWriter(path, self._links)
        except (InputError, OSError):
            # What a full disk left of the try is nobody's run.
            path.unlink(missing_ok=True)
            return
        self._tell("open", f"recording goes on in {path.name}")

    def _tell(self, state: LinkState, words: str) -> None:
        self._say(str(self._first), state, f"{self._first}: {words}")
