"""Foreign chart files are read in a process apart: what a damaged or hostile one does there, it does to itself alone.

Rules of this file:
- The process knows the drivers of `DRIVERS` and no others: none of them opens another file that its own names, or asks
  a server.  Where the system lets it, it has no network at all.
- What comes back is an index without pickles, written to a place that is named; and words, one JSON object a line.
- One that ends, or says nothing for `HANG_S`, costs the source it was reading, in one plain line.
- It is started when it is first needed, serves all of this process, and ends when it has nothing to do.
"""

from __future__ import annotations

import atexit
import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TypedDict

import pyogrio

from moonless.errors import ChartError

DRIVERS = frozenset({"S57", "GPKG", "OpenFileGDB", "ESRI Shapefile", "FlatGeobuf", "GeoJSON", "SQLite", "MEM"})
# The largest layer of a large source takes seconds; a word comes with each.
HANG_S = 600.0

Progress = Callable[[str, float], None]


class ReaderLine(TypedDict, total=False):
    """One line of the reader's."""

    progress: tuple[str, float]
    layers: list[str]
    problem: str
    done: bool


def read_apart(path: Path, draft: Path, progress: Progress | None = None) -> None:
    """Read a source and leave its index at ``draft``.

    Raises ChartError, one line naming the file, if it cannot be read whole.
    """
    _READER.ask(path, {"read": os.path.abspath(path), "draft": os.path.abspath(draft)}, progress)


def layers_apart(path: Path) -> tuple[str, ...]:
    """Return the layers of a source; () where it is none.  Raises ChartError if the reader ends on it."""
    return tuple(_READER.ask(path, {"layers": os.path.abspath(path)}, None)["layers"])


class _Reader:
    """The process apart, as this one sees it.  Any thread may ask; one at a time is answered."""

    def __init__(self) -> None:
        self._asking = threading.Lock()
        self._process: subprocess.Popen[str] | None = None
        self._pid = 0  # of the process that started it: a fork's copy is not the fork's to ask

    def ask(self, path: Path, question: dict[str, str], progress: Progress | None) -> ReaderLine:
        """Return the answer.  Raises ChartError with the reader's own line, or if it has ended."""
        with self._asking:
            answer = self._asked(question, progress)
            if answer is None and self._ended() == 0:
                # It had nothing to do and went just as it was asked.
                answer = self._asked(question, progress)
            if answer is None:
                raise ChartError(
                    f"{path}: the reader of charts ended on it ({_words(self._ended())}): it is damaged, or made to"
                )
        if "problem" in answer:
            # The reader was told the whole path, for it stays in the folder it was started in.
            raise ChartError(answer["problem"].replace(os.path.abspath(path), str(path)))
        return answer

    def _asked(self, question: dict[str, str], progress: Progress | None) -> ReaderLine | None:
        process = self._begun()
        assert process.stdin is not None and process.stdout is not None
        with contextlib.suppress(OSError, ValueError):
            process.stdin.write(json.dumps(question) + "\n")
            process.stdin.flush()
            while True:
                waiting = threading.Timer(HANG_S, process.kill)
                waiting.daemon = True
                waiting.start()
                line = process.stdout.readline()
                waiting.cancel()
                if not line:
                    break
                answer: ReaderLine = json.loads(line)
                if "progress" not in answer:
                    return answer
                if progress is not None:
                    progress(*answer["progress"])
        return None

    def _begun(self) -> subprocess.Popen[str]:
        if self._process is None or self._pid != os.getpid() or self._process.poll() is not None:
            self.end()
            self._process = subprocess.Popen(
                [sys.executable, "-m", "moonless.chart.s57.apart_reader"], env=reader_environment(), text=True,
                encoding="utf-8", stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            )  # fmt: skip
            self._pid = os.getpid()
        return self._process

    def _ended(self) -> int:
        """Return the exit code of one that has ended, or is about to."""
        assert self._process is not None
        try:
            return self._process.wait(5.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            return self._process.wait()

    def end(self) -> None:
        """End it, if it has not ended, and let go of its pipes."""
        process, self._process = self._process, None
        if process is None or self._pid != os.getpid():
            return
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()


_READER = _Reader()
atexit.register(_READER.end)


def reader_environment() -> dict[str, str]:
    """Return what the reader is started with: our own modules, few drivers, and no way to a server."""
    unwanted = ",".join(sorted(set(pyogrio.list_drivers()) - DRIVERS))
    return {
        **os.environ,
        "PYTHONPATH": os.pathsep.join(part for part in sys.path if part),
        "GDAL_SKIP": unwanted,
        "OGR_SKIP": unwanted,
        "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": "none",
        "PROJ_NETWORK": "OFF",
    }


def _words(code: int) -> str:
    if code >= 0:
        return f"exit code {code}"
    try:
        return signal.Signals(-code).name
    except ValueError:
        return f"signal {-code}"
