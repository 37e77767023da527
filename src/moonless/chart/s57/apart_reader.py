"""What runs apart: foreign chart files to indexes, one question a line in, one answer a line out (see `apart`)."""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import IO

from moonless.chart.s57.apart import ReaderLine

# With nothing asked for so long it ends: a watch runs all night and opens its charts once.
IDLE_S = 20.0
# Of Linux: own users, own network with nothing in it.
CLONE_NEWUSER, CLONE_NEWNET = 0x10000000, 0x40000000


def leave_network() -> None:
    """Go where there is no network, if the system lets a process do so by itself."""
    if sys.platform == "linux":
        with contextlib.suppress(OSError, AttributeError):
            ctypes.CDLL(None, use_errno=True).unshare(CLONE_NEWUSER | CLONE_NEWNET)


def answer(question: dict[str, str], say: Callable[[ReaderLine], None]) -> ReaderLine:
    """Return the answer to one question; ``say``: sends words on the way."""
    import pyogrio

    from moonless.chart.index import build, save
    from moonless.chart.s57.source import read_source
    from moonless.errors import MoonlessError

    if "layers" in question:
        try:
            return {"layers": [str(name) for name, _ in pyogrio.list_layers(question["layers"])]}
        except (RuntimeError, ValueError, OSError):
            return {"layers": []}
    path = Path(question["read"])
    try:
        save(*build(read_source(path, lambda name, share: say({"progress": (name, share)}))), Path(question["draft"]))
    except MoonlessError as problem:
        return {"problem": str(problem)}
    except Exception as problem:
        # One flipped bit makes the geometry library raise anything.
        return {"problem": f"{path}: cannot be read: {problem}"}
    return {"done": True}


def main(asked: IO[str], told: IO[str]) -> None:
    """Answer until nobody asks any more."""
    leave_network()

    def say(words: ReaderLine) -> None:
        told.write(json.dumps(words) + "\n")
        told.flush()

    while True:
        idle = threading.Timer(IDLE_S, os._exit, (0,))
        idle.daemon = True
        idle.start()
        line = asked.readline()
        idle.cancel()
        if not line:
            return
        say(answer(json.loads(line), say))


if __name__ == "__main__":
    main(sys.stdin, sys.stdout)
