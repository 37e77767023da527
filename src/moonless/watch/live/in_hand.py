"""The sentence in hand: what a watch was working on when it died can be read by the process that started it.

A codec in another language, or memory that runs out, ends a process without a word.  What was in hand then stands in
memory that both share; the watch begun anew puts it aside.
"""

from __future__ import annotations

from collections.abc import Iterator
from multiprocessing import get_context
from typing import Any

MOST_BYTES = 8192
# A chunk of more lines than this is a flood, and taken whole and unnoted until something was put aside: noting costs.
MANY_LINES = 64


class InHand:
    """Written by the watch, read by who started it.  Crosses to a process that is being started, and nowhere else."""

    def __init__(self) -> None:
        self._bytes: Any = get_context("spawn").RawArray("B", MOST_BYTES)
        self._length: Any = get_context("spawn").RawValue("I", 0)

    def take_up(self, sentence: bytes) -> None:
        """Note what is taken in hand."""
        sentence = sentence[:MOST_BYTES]
        self._length.value = 0
        self._bytes[: len(sentence)] = sentence
        self._length.value = len(sentence)

    def put_down(self) -> None:
        """Note that it is done."""
        self._length.value = 0

    def read(self) -> bytes:
        """Return what is in hand; empty: nothing."""
        return bytes(self._bytes[: self._length.value])


class WholeLines:
    """Cuts what comes on a link into lines, each with its end; what has no end yet waits for it."""

    def __init__(self) -> None:
        self._rest: dict[int, bytes] = {}

    def cut(self, link: int, data: bytes) -> Iterator[bytes]:
        """Yield the lines that are whole now."""
        data = self._rest.pop(link, b"") + data
        *lines, rest = data.splitlines(keepends=True) or [b""]
        if rest.endswith((b"\n", b"\r")) or len(rest) >= MOST_BYTES:
            lines.append(rest)
        elif rest:
            self._rest[link] = rest
        yield from lines
