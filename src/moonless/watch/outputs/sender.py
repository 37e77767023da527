"""Where readings go out: datagrams to other displays and servers.  Nothing is sent unless a link for it is named.

Rules of this file:
- A network that is gone costs the watch nothing: sending never waits, and what goes wrong is told once until it works.
- One datagram holds whole lines, and no more than fits one packet.
"""

from __future__ import annotations

import json
import socket
import uuid
from collections.abc import Callable, Sequence
from typing import Literal

from moonless.errors import InputError
from moonless.reading.types import Reading
from moonless.watch.outputs.deltas import DeltaOutput
from moonless.watch.outputs.sentences import SentenceOutput
from moonless.wire.links import LinkSpec, parse_link, reason_of

OutputKind = Literal["nmea", "signalk"]

# Well under what an Ethernet packet carries; a delta that is longer goes as one datagram all the same.
MOST_OCTETS = 1400


def lines_writer(kind: OutputKind) -> Callable[[Reading], list[bytes]]:
    """Return what turns readings into lines of one kind, each with its end."""
    if kind == "nmea":
        sentences = SentenceOutput()
        return lambda reading: [f"{line}\r\n".encode("ascii", "replace") for line in sentences.lines(reading)]
    deltas = DeltaOutput(uuid.uuid4())
    return lambda reading: [
        json.dumps(delta, separators=(",", ":"), allow_nan=False).encode() + b"\n" for delta in deltas.deltas(reading)
    ]


def parse_output(text: str) -> LinkSpec:
    """Return where an output goes.  Raises InputError if that is no udp://HOST:PORT."""
    spec = parse_link(text)
    if spec.kind != "udp":
        raise InputError(f"{text!r}: readings are sent as datagrams; write udp://HOST:PORT")
    return spec


def named_outputs(nmea: Sequence[str], signalk: Sequence[str]) -> tuple[tuple[OutputKind, LinkSpec], ...]:
    """Return the outputs that a command line names.  Raises InputError."""
    return (*(("nmea", parse_output(text)) for text in nmea), *(("signalk", parse_output(text)) for text in signalk))


class Sender:
    """Sends readings of one kind to one place.

    ``say``: told one plain line when sending begins to fail, and when it works again.
    """

    def __init__(self, kind: OutputKind, spec: LinkSpec, say: Callable[[str, bool], None]) -> None:
        self.spec = spec
        self.sent = 0
        self._lines = lines_writer(kind)
        self._say = say
        self._socket: socket.socket | None = None
        self._is_lost = False

    def send(self, reading: Reading) -> None:
        """Send what a reading says."""
        for datagram in packed(self._lines(reading)):
            try:
                self._opened().send(datagram)
            except OSError as problem:
                if not self._is_lost:
                    self._say(f"{self.spec.text}: cannot be sent to: {reason_of(problem)}", False)
                self._is_lost = True
                self.close()
                return
            self.sent += 1
        if self._is_lost:
            self._is_lost = False
            self._say(f"{self.spec.text}: sending", True)

    def close(self) -> None:
        """Let go of the socket."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _opened(self) -> socket.socket:
        if self._socket is None:
            family, kind, _, _, address = socket.getaddrinfo(self.spec.host, self.spec.port, type=socket.SOCK_DGRAM)[0]
            self._socket = socket.socket(family, kind)
            self._socket.setblocking(False)
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
            self._socket.connect(address)
        return self._socket


def packed(lines: list[bytes]) -> list[bytes]:
    """Return lines joined into datagrams."""
    out: list[bytes] = []
    for line in lines:
        if out and len(out[-1]) + len(line) <= MOST_OCTETS:
            out[-1] += line
        else:
            out.append(line)
    return out
