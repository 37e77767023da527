"""How many connections there may be, and for how long one may stand without a word.

    listening socket ─► Gate.taken(peer, socket) ─► server
                        Guard ─► Gate.let_in(peer)      the one who asked may talk to this helm

Rules of this file:
- A connection is a stranger's until `Guard` has let it in.  A stranger has `STRANGER_S`, whatever it does: also one
  that never speaks, never ends its handshake, or asks and is refused.
- Of strangers an address has `MOST_OF_ADDRESS` and all have `MOST_STRANGERS`.  One more pushes out the oldest, so that
  a new screen, which speaks at once, gets in beside any number that stand silent.
- Who was let in counts apart, so strangers cannot use up what screens need.
- Of those let in, too many push out what is no feed, the oldest first, then of the feeds on which nothing was ever said
  the newest but this one, then the one that has said nothing for longest.  A screen that stands is not lost to a page
  that is opened in a loop; the server's pings end those whose other end is gone.

The limits are own choices: the page opens six connections at once (browsers' custom, from memory), a helm has ten
screens, and a process has 1 024 files on most systems.

Works where the event loop takes connections from the socket itself (all but Windows).
"""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import logging
import socket
from dataclasses import dataclass

from moonless.clock import steady_s

_log = logging.getLogger(__name__)
STRANGER_S = 10.0
MOST_OF_ADDRESS = 32
MOST_STRANGERS = 128
MOST_LET_IN_OF_ADDRESS = 64
MOST_LET_IN = 320

Peer = tuple[str, int]  # (address, port), as the server tells who asks


@dataclass(eq=False, slots=True)
class _Connection:
    sock: socket.socket
    host: str
    since_s: float
    is_feed: bool = False
    heard_s: float | None = None  # when it last spoke on its feed

    @property
    def is_closed(self) -> bool:
        return self.sock.fileno() < 0

    @property
    def worth(self) -> tuple[int, float]:
        """What is least is pushed out first."""
        if not self.is_feed:
            return 0, self.since_s
        return (1, -self.since_s) if self.heard_s is None else (2, self.heard_s)

    def end(self) -> None:
        # The loop owns the socket and closes it when it sees this end.
        with contextlib.suppress(OSError):
            self.sock.shutdown(socket.SHUT_RDWR)


class Gate:
    """The connections that stand, by who is at their other end; see the rules of this file."""

    def __init__(self) -> None:
        self._strangers: dict[Peer, _Connection] = {}  # the oldest first
        self._let_in: dict[Peer, _Connection] = {}
        self._turned_away = 0

    def taken(self, peer: Peer, sock: socket.socket) -> None:
        """Note a connection that was just taken, and end what it pushes out."""
        new = self._strangers[peer] = _Connection(sock, _counted_as(peer[0]), steady_s())
        self._forget_closed()
        of_address = [p for p, one in self._strangers.items() if one.host == new.host]
        for pushed in (of_address[:-MOST_OF_ADDRESS], list(self._strangers)[:-MOST_STRANGERS]):
            for one in pushed:
                self._end_stranger(one)

    def let_in(self, peer: Peer, *, is_feed: bool = False) -> None:
        """The one at the other end may talk to this helm.  Another of its own goes when it has too many."""
        found = self._strangers.pop(peer, None)
        if found is None:
            if is_feed and (standing := self._let_in.get(peer)) is not None:
                standing.is_feed = True  # a page's connection, kept and now its feed
            return
        self._forget_closed()
        self._let_in[peer], found.is_feed = found, is_feed
        others = [p for p in self._let_in if p != peer]
        others.sort(key=lambda p: self._let_in[p].worth)
        same = [p for p in others if self._let_in[p].host == found.host]
        for pushed in (same[: -(MOST_LET_IN_OF_ADDRESS - 1)], others[: -(MOST_LET_IN - 1)]):
            for one in pushed:
                if (old := self._let_in.pop(one, None)) is not None:
                    old.end()

    def heard(self, peer: Peer) -> None:
        """The one at the other end has spoken on its feed."""
        if (one := self._let_in.get(peer)) is not None:
            one.heard_s = steady_s()

    async def run(self) -> None:
        """End strangers whose time is over, once a second, and say in the log that there were some, once a minute."""
        while True:
            for _ in range(60):
                await asyncio.sleep(1.0)
                self.end_overdue()
            if self._turned_away:
                _log.warning("%d connections that no screen of ours opened were ended", self._turned_away)
                self._turned_away = 0

    def end_overdue(self) -> None:
        """End strangers whose time is over."""
        now = steady_s()
        self._forget_closed()
        for peer in [p for p, one in self._strangers.items() if now - one.since_s > STRANGER_S]:
            self._end_stranger(peer)

    @property
    def counts(self) -> tuple[int, int]:
        """Return (strangers, let in) that stand now."""
        self._forget_closed()
        return len(self._strangers), len(self._let_in)

    def _end_stranger(self, peer: Peer) -> None:
        if (one := self._strangers.pop(peer, None)) is not None:
            self._turned_away += 1
            one.end()

    def _forget_closed(self) -> None:
        for standing in (self._strangers, self._let_in):
            for peer in [p for p, one in standing.items() if one.is_closed]:
                del standing[peer]


class GatedSocket(socket.socket):
    """A listening socket that tells a gate of each connection taken from it."""

    gate: Gate

    def accept(self) -> tuple[socket.socket, tuple[str, int]]:
        """Take a connection, as `socket.socket.accept` does."""
        sock, address = super().accept()
        self.gate.taken((str(address[0]), int(address[1])), sock)
        return sock, address


def _counted_as(host: str) -> str:
    """An IPv6 network gives each device as many addresses as it likes: the /64 is counted."""
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return host
    if address.version == 6 and address.ipv4_mapped is None:
        return str(ipaddress.ip_network((address, 64), strict=False))
    return str(address)
