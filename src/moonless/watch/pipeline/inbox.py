"""What has come in and waits for the watch's thread: bytes, bounded, and what it is asked to do."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from moonless.watch.pipeline.chain import Chain

# How often time passes for the chain when nothing comes in.
TICK_S = 0.1
# Bytes wait here while the chain works.  At 1 MB a second this is half a minute; past it the oldest are dropped, and
# counted: a watch half a minute behind is no watch.
MAX_WAITING_BYTES = 32 * 1024 * 1024
# Radar datagrams received within this are worked on together: a few degrees of a turn at the most.
JOIN_NS = 20_000_000

Work = Callable[[Chain], None]


@dataclass(frozen=True, slots=True)
class Item:
    """Bytes as they were received."""

    data: bytes
    received_ns: int
    is_datagram: bool
    link: int  # 0: the radar, from 1: the NMEA links


class Inbox:
    """Filled from the loop, emptied by the watch's thread."""

    def __init__(self) -> None:
        self.newest_ns = 0  # of receipt
        self.is_stopping = False
        self.is_over = False  # nothing more comes in
        self._items: deque[Item] = deque()
        self._waiting_bytes = 0
        self._asked: deque[Work] = deque()
        self._wake = threading.Condition()

    def put(self, item: Item) -> int:
        """Add what came; return how many older bytes were dropped for it.  Never blocks for long."""
        n_dropped = 0
        with self._wake:
            self.newest_ns = max(self.newest_ns, item.received_ns)
            self._items.append(item)
            self._waiting_bytes += len(item.data)
            while self._waiting_bytes > MAX_WAITING_BYTES and len(self._items) > 1:
                size = len(self._items.popleft().data)
                self._waiting_bytes -= size
                n_dropped += size
            self._wake.notify()
        return n_dropped

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

    def take(self) -> tuple[list[Item], list[Work]]:
        """Return all that waits; wait for it at most `TICK_S`."""
        with self._wake:
            if not (self._items or self._asked or self.is_stopping or self.is_over):
                self._wake.wait(TICK_S)
            items, asked = list(self._items), list(self._asked)
            self._items.clear()
            self._asked.clear()
            self._waiting_bytes = 0
        return items, asked


def joined(items: list[Item]) -> list[Item]:
    """Return the items with runs of radar datagrams made one: each is whole blocks, and one feed is cheaper than many.

    A run is told by its last time of receipt, so it is kept short: a radar that sends no time of day has only that.
    """
    out: list[Item] = []
    run: list[Item] = []
    for item in [*items, None]:
        is_more = item is not None and item.link == 0 and item.is_datagram
        if item is not None and is_more and (not run or item.received_ns - run[0].received_ns <= JOIN_NS):
            run.append(item)
            continue
        if len(run) == 1:
            out.append(run[0])
        elif run:
            out.append(Item(b"".join(i.data for i in run), run[-1].received_ns, False, 0))
        run = [item] if item is not None and is_more else []
        if item is not None and not is_more:
            out.append(item)
    return out
