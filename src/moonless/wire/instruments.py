"""Whatever the instruments of one link say, decoded: NMEA 0183, NMEA 2000 as text, Signal K.  No I/O.

    decoder = InstrumentDecoder()
    for event in decoder.feed(data, received_ns): ...

Rules of this file:
- What a line is, is told from the line alone, each time: a gateway may pass sentences and frames in one stream.
- A line longer than its kind can be is passed over and counted; what is kept of a stream is bounded by that.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from typing import Literal

from moonless.wire.n2k.decoder import BusDecoder
from moonless.wire.n2k.frames import frame_of
from moonless.wire.nmea import NmeaDecoder
from moonless.wire.nmea_events import Said
from moonless.wire.sentences import MAX_LINE, Sentence
from moonless.wire.signalk.decoder import MAX_MESSAGE, SignalKDecoder

LineKind = Literal["nmea", "bus", "signalk"]

_LINE_END = re.compile(rb"[\r\n]+")
# Sentences that carry a message of the bus.
_WRAPPED = (b"$PCDIN,", b"$MXPGN,")
_SENTENCE_STARTS = b"$!\\"


def kind_of(line: bytes) -> LineKind:
    """Return what a line is; what is neither frame nor JSON goes to the reader of sentences, which counts noise."""
    first = line[:1]
    if first == b"{":
        return "signalk"
    if first in _SENTENCE_STARTS and first:
        return "bus" if line.startswith(_WRAPPED) and frame_of(line) is not None else "nmea"
    return "bus" if frame_of(line) is not None else "nmea"


class InstrumentDecoder:
    """Turns the bytes of one link into events; see the rules of this file.

    ``on_sentence`` and ``on_line`` are given each sentence, and each line of the other kinds, before its events.
    """

    def __init__(
        self,
        on_sentence: Callable[[Sentence], None] | None = None,
        on_line: Callable[[LineKind, bytes], None] | None = None,
    ) -> None:
        self.nmea = NmeaDecoder()
        self.bus = BusDecoder()
        self.signalk = SignalKDecoder()
        self._on_sentence = on_sentence
        self._on_line = on_line
        self._rest = b""
        self._is_skipping = False

    def feed(self, data: bytes, received_ns: int) -> list[Said]:
        """Take in bytes of a stream, cut anywhere."""
        *lines, rest = _LINE_END.split(self._rest + data)
        if self._is_skipping and lines:
            lines = lines[1:]  # the end of the line that was too long
            self._is_skipping = False
        if self._is_skipping or len(rest) > (MAX_MESSAGE if rest[:1] == b"{" else MAX_LINE):
            self.nmea.reader.counts.too_long += not self._is_skipping
            self._is_skipping = True
            rest = b""
        self._rest = rest
        return [event for line in lines for event in self.line(line, received_ns)]

    def datagram(self, data: bytes, received_ns: int) -> list[Said]:
        """Take in one datagram, which holds whole lines, the last one perhaps without its end."""
        return [event for line in _LINE_END.split(data) for event in self.line(line, received_ns)]

    def finish(self, received_ns: int) -> list[Said]:
        """Say that the stream has ended."""
        rest, self._rest, self._is_skipping = self._rest, b"", False
        events = self.line(rest, received_ns)
        self.nmea.ais.finish()
        return events

    def line(self, line: bytes, received_ns: int) -> list[Said]:
        """Take in one line without its end."""
        if line[:1] == b"{":
            said = self.signalk.message(line, received_ns)
            if said is not None:
                self._tell("signalk", line)
                return said
        elif line[:1] not in (b"$", b"!", b"\\") or line.startswith(_WRAPPED):
            frame = frame_of(line)
            if frame is not None:
                self._tell("bus", line)
                return self.bus.frame(frame, received_ns)
        events: list[Said] = []
        for sentence in self.nmea.reader.line(line):
            if self._on_sentence is not None:
                self._on_sentence(sentence)
            events += self.nmea.decode(sentence, received_ns)
        return events

    def troubles(self) -> list[str]:
        """Return what of the bus and of Signal K could not be used, in plain lines."""
        bus, out = self.bus, []
        if bus.counts.bad:
            out.append("messages of the bus not used: " + _listed(bus.counts.bad))
        if bus.packets.broken:
            out.append(f"{bus.packets.broken} fast packets with a frame missing")
        if bus.own.unusable:
            out.append("not usable: " + _listed(bus.own.unusable))
        if bus.addresses.storms:
            out.append(f"address claims without end, {bus.addresses.claims} so far: it is not known who sends what")
        elif bus.addresses.conflicts:
            out.append(f"{bus.addresses.conflicts} addresses claimed by another device")
        if self.signalk.counts.bad:
            out.append("values of Signal K that cannot be: " + _listed(self.signalk.counts.bad))
        return out

    def _tell(self, kind: LineKind, line: bytes) -> None:
        if self._on_line is not None:
            self._on_line(kind, line)


# A damaged stream names many things; a line holds a few.
_MOST_LISTED = 6


def _listed(counts: Counter[str]) -> str:
    most = counts.most_common(_MOST_LISTED)
    more = len(counts) - len(most)
    return ", ".join(f"{what} {n}" for what, n in most) + (f" and {more} more kinds" if more else "")
