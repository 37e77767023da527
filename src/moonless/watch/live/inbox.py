"""What has come in and waits for the watch's thread: a bounded queue for each link, and what the watch is asked to do.

Rules of this file:
- No link takes another's room: a flood on one costs that one, and what is left of it is its newest.
- Radar video that has waited longer than `MOST_RADAR_S` behind its newest is left out, the oldest first: rows that
  were not looked into are unknown, and a picture that is seconds old is no picture.
- What is left out is counted, link by link, so that it can be told.
- A file waits for nobody: it is kept to `MOST_FILE_BYTES`.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from heapq import merge

from moonless.units import NS_PER_S
from moonless.watch.pipeline.chain import Chain

# How often time passes for the chain when nothing comes in.
TICK_S = 0.1
MOST_FILE_BYTES = 32 * 1024 * 1024
# Radar video that waits: below the age at which it would be late.
MOST_RADAR_S = 1.5
# A line of 115 200 baud fills this in eleven seconds, a bus as text in more than one.
MOST_INSTRUMENT_BYTES = 128 * 1024
# Radar datagrams received within this are worked on together: a few degrees of a turn at the most.
JOIN_NS = 20_000_000
RADAR = 0

Work = Callable[[Chain], None]


@dataclass(frozen=True, slots=True)
class Item:
    """Bytes as they were received."""

    data: bytes
    received_ns: int
    is_datagram: bool
    link: int  # 0: the radar, from 1: the NMEA links


@dataclass(slots=True)
class _Waiting:
    """What waits of one link."""

    items: deque[Item] = field(default_factory=deque)
    n_bytes: int = 0


class Inbox:
    """Filled from the loop, emptied by the watch's thread.  ``files``: links that are files, by their numbers."""

    def __init__(self, files: frozenset[int] = frozenset()) -> None:
        self.is_stopping = False
        self.is_over = False  # nothing more comes in
        self._files = files
        self._links: dict[int, _Waiting] = {}
        self._left_out: dict[int, int] = {}
        self._asked: deque[Work] = deque()
        self._wake = threading.Condition()

    def put(self, item: Item) -> int:
        """Add what came; return how many older bytes of the link were left out for it.  Never blocks for long."""
        with self._wake:
            link = self._links.setdefault(item.link, _Waiting())
            link.items.append(item)
            link.n_bytes += len(item.data)
            n_left_out = self._leave_out(link)
            self._wake.notify()
        return n_left_out

    def give_back(self, items: list[Item]) -> int:
        """Put back what was taken and not worked on, in front of what came since; return how many bytes that left out.

        Work on one scan may take long: what was taken with it is held to the same bounds as what came meanwhile.
        """
        n_left_out = 0
        with self._wake:
            for item in reversed(items):
                link = self._links.setdefault(item.link, _Waiting())
                link.items.appendleft(item)
                link.n_bytes += len(item.data)
            for link in self._links.values():
                n_left_out += self._leave_out(link)
        return n_left_out

    def _leave_out(self, link: _Waiting) -> int:
        n_left_out = 0
        while len(link.items) > 1 and self._is_too_much(link, link.items[-1]):
            size = len(link.items.popleft().data)
            link.n_bytes -= size
            n_left_out += size
        if n_left_out:
            number = link.items[-1].link
            self._left_out[number] = self._left_out.get(number, 0) + n_left_out
        return n_left_out

    def _is_too_much(self, link: _Waiting, newest: Item) -> bool:
        if newest.link in self._files:
            return link.n_bytes > MOST_FILE_BYTES
        if newest.link == RADAR:
            waited_ns = newest.received_ns - link.items[0].received_ns
            return waited_ns > MOST_RADAR_S * NS_PER_S or link.n_bytes > MOST_FILE_BYTES
        return link.n_bytes > MOST_INSTRUMENT_BYTES

    def ask(self, work: Work) -> None:
        """Add something to do with the chain, before the next bytes."""
        with self._wake:
            self._asked.append(work)
            self._wake.notify()

    def end(self) -> None:
        """Nothing more comes in; what waits is still worked on."""
        with self._wake:
            self.is_over = True
            self._wake.notify()

    def stop(self) -> None:
        """Work on nothing more."""
        with self._wake:
            self.is_stopping = True
            self._wake.notify()

    def take(self, wait_s: float = TICK_S) -> tuple[list[Item], list[Work]]:
        """Return all that waits, in order of receipt; wait for it at most so long."""
        with self._wake:
            if not (self._asked or self.is_stopping or self.is_over or any(w.items for w in self._links.values())):
                self._wake.wait(wait_s)
            items = list(merge(*(w.items for w in self._links.values()), key=lambda item: item.received_ns))
            for waiting in self._links.values():
                waiting.items.clear()
                waiting.n_bytes = 0
            asked = list(self._asked)
            self._asked.clear()
        return items, asked

    def take_left_out(self) -> dict[int, int]:
        """Return the bytes that were left out since this was last asked, link by link."""
        with self._wake:
            left_out, self._left_out = self._left_out, {}
        return left_out


def joined(items: list[Item]) -> list[Item]:
    """Return the items with runs of radar datagrams made one: each is whole blocks, and one feed is cheaper than many.

    A run is told by its last time of receipt, so it is kept short: a radar that sends no time of day has only that.
    """
    out: list[Item] = []
    run: list[Item] = []
    for item in [*items, None]:
        is_more = item is not None and item.link == RADAR and item.is_datagram
        if item is not None and is_more and (not run or item.received_ns - run[0].received_ns <= JOIN_NS):
            run.append(item)
            continue
        if len(run) == 1:
            out.append(run[0])
        elif run:
            out.append(Item(b"".join(i.data for i in run), run[-1].received_ns, False, RADAR))
        run = [item] if item is not None and is_more else []
        if item is not None and not is_more:
            out.append(item)
    return out
