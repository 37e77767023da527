"""NMEA 0183 sentences out of a stream of bytes, with their tag blocks; and sentences written.

    \\g:1-2-73874,n:157036,s:r003669945,c:1241544035*4A\\!AIVDM,1,1,,B,15N4cJ`005Jrek0H@9n`DW5608EP,0*13<CR><LF>
    |-- tag block ------------------------------------||-- sentence ------------------------------|

Rules of this file:
- A sentence without a right checksum is not believed.  Line noise that eats the end of a sentence also eats its
  checksum, and "27" left of "274.07" is a heading too.
- Noise between sentences is passed over.  Whatever was passed over or refused is counted.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import reduce
from operator import xor

# A sentence has at most 82 characters; tag blocks and the longer ones of practice stay well under this.
MAX_LINE = 1024

_SENTENCE = re.compile(rb"(?:\\([^\\\r\n]*)\\)?([$!])([^*$!\r\n]*)\*([0-9A-Fa-f]{2})")
_LINE_END = re.compile(rb"[\r\n]+")


# A tag's time lies between 1980, when GPS time begins, and 2100: past that no clock on a boat is right, and in some
# centuries nanoseconds do not fit in 64 bits.
EARLIEST_NS, LATEST_NS = 315_532_800 * 1_000_000_000, 4_102_444_800 * 1_000_000_000


@dataclass(frozen=True, slots=True)
class Tag:
    """A tag block: who sent the sentence, and when."""

    time_ns: int | None  # c: Unix time, given in seconds or milliseconds
    source: str | None  # s:
    group: str | None  # g: part-of-total-group


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence whose checksum was right."""

    start: str  # "$" or "!"
    talker: str  # GP, II, AI ...; "P" for a maker's own
    kind: str  # RMC, HDT ...
    fields: tuple[str, ...]  # after the address
    tag: Tag | None
    raw: bytes  # from start to checksum, without tag block and line end


@dataclass(slots=True)
class LineCounts:
    """What the reader of sentences has met so far."""

    sentences: int = 0
    bad_checksum: int = 0
    no_checksum: int = 0  # lines that hold the beginning of a sentence and no checksum
    bad_tag: int = 0  # tag blocks with a wrong checksum; their sentences are used without them
    too_long: int = 0
    noise_lines: int = 0  # lines without any sentence


class SentenceReader:
    """Takes bytes cut anywhere and gives sentences."""

    def __init__(self) -> None:
        self.counts = LineCounts()
        self._buffer = b""
        self._skipping = False

    def feed(self, data: bytes) -> list[Sentence]:
        """Take in bytes; return the sentences of the lines that are now whole."""
        *lines, rest = _LINE_END.split(self._buffer + data)
        if self._skipping and lines:
            lines = lines[1:]  # the end of the line that was too long
            self._skipping = False
        if self._skipping or len(rest) > MAX_LINE:
            self.counts.too_long += not self._skipping
            self._skipping = True
            rest = b""
        self._buffer = rest
        return [sentence for line in lines for sentence in self.line(line)]

    def finish(self) -> list[Sentence]:
        """Say that the stream, or datagram, has ended; return what its last line held."""
        rest, self._buffer, self._skipping = self._buffer, b"", False
        return self.line(rest)

    def line(self, line: bytes) -> list[Sentence]:
        """Return the sentences of one line: one, as a rule."""
        if not line.strip(b" \x00"):
            return []
        if len(line) > MAX_LINE:
            self.counts.too_long += 1
            return []
        found = []
        matched = False
        for match in _SENTENCE.finditer(line):
            matched = True
            block, start, body, written = match.groups()
            if checksum(body) != int(written, 16):
                self.counts.bad_checksum += 1
                continue
            self.counts.sentences += 1
            tag = self._tag(block) if block is not None else None
            found.append(_sentence(start, body, tag, match.group(0)[len(block) + 2 if block is not None else 0 :]))
        if not matched:
            if b"$" in line or b"!" in line:
                self.counts.no_checksum += 1
            else:
                self.counts.noise_lines += 1
        return found

    def _tag(self, block: bytes) -> Tag | None:
        body, star, written = block.rpartition(b"*")
        try:
            if not star or checksum(body) != int(written, 16):
                raise ValueError
        except ValueError:
            self.counts.bad_tag += 1
            return None
        values = dict(part.split(b":", 1) for part in body.split(b",") if b":" in part)
        time_ns = None
        seconds = values.get(b"c", b"")
        if seconds.isdigit() and len(seconds) < 15:
            # Seconds as a rule; some write milliseconds, which as seconds would lie in the year 33658.
            time_ns = int(seconds) * (1_000_000 if len(seconds) > 11 else 1_000_000_000)
            if not EARLIEST_NS <= time_ns < LATEST_NS:
                self.counts.bad_tag += 1
                time_ns = None
        return Tag(time_ns, _text(values.get(b"s")), _text(values.get(b"g")))


def checksum(body: bytes) -> int:
    """Return the exclusive or of the characters between the start and the asterisk."""
    return reduce(xor, body, 0)


def write_sentence(address: str, fields: Iterable[str], *, start: str = "$") -> str:
    """Return a sentence with its checksum, without line end; ``address`` is talker and kind."""
    body = ",".join((address, *fields))
    return f"{start}{body}*{checksum(body.encode('ascii')):02X}"


def _sentence(start: bytes, body: bytes, tag: Tag | None, raw: bytes) -> Sentence:
    address, *fields = body.decode("ascii", errors="replace").split(",")
    if address.startswith("P"):
        talker, kind = "P", address[1:]
    else:
        talker, kind = address[:-3], address[-3:]
    return Sentence(start.decode("ascii"), talker, kind, tuple(fields), tag, raw)


def _text(value: bytes | None) -> str | None:
    return None if value is None else value.decode("ascii", errors="replace")
