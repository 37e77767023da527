"""ASTERIX category 240 (radar video), edition 1.3: a decoder that does no I/O, and the encoder.

    decoder = Cat240Decoder()
    for video in decoder.feed(chunk): ...      # a file or TCP: blocks one after the other, cut anywhere
    for video in decoder.datagram(packet): ... # UDP: whole blocks
    unfinished = decoder.finish()              # at the end of a file: is it cut inside a block?

Rules of this file:
- Nothing that comes off a wire raises.  What cannot be used is counted in `Counts` and skipped.
- Blocks of other categories are skipped by their length and counted.
- After damage the decoder looks for the next place where a whole block of category 240 reads without a fault.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

from moonless.wire.cat240_encode import encode_summary, encode_video
from moonless.wire.cat240_records import (
    BITS_OF_CODE,
    CATEGORY,
    Cells,
    DamagedRecord,
    Summary,
    UnknownCompression,
    Video,
    read_records,
)
from moonless.wire.times import utc_of_day

__all__ = [
    "BITS_OF_CODE",
    "CATEGORY",
    "Cat240Decoder",
    "Cells",
    "Counts",
    "Event",
    "Summary",
    "Unfinished",
    "Video",
    "decode",
    "encode_summary",
    "encode_video",
    "utc_of_day",
]

Event = Video | Summary

_HEAD = 3  # category, length
# The shortest block worth the name: head, one FSPEC octet, data source, message type.
_SHORTEST_240 = _HEAD + 4
_SHORTEST_OTHER = _HEAD + 2
# Categories in use, so that noise is seldom taken for a block to pass over.  From the list of published categories,
# from memory; a category that is missing here is passed over as damage instead.
_CATEGORIES = frozenset(
    (*range(1, 35), 48, *range(61, 66), 128, 129, 150, 159, *range(200, 206), *range(236, 250), 252, 253, 255)
)


@dataclass(slots=True)
class Counts:
    """What a decoder has met so far."""

    blocks: int = 0  # of category 240, read whole
    videos: int = 0
    summaries: int = 0
    damaged: int = 0  # blocks of category 240, or places in the stream, that could not be read
    skipped_bytes: int = 0  # octets thrown away for damage
    unknown_compression: int = 0  # whole blocks whose video is packed by something other than zlib
    other_categories: Counter[int] = field(default_factory=Counter)


class Unfinished(NamedTuple):
    """A stream that ends inside a block."""

    offset: int  # of the block, from the start of the stream
    wanted: int  # octets the block should have
    got: int  # octets there are


class Cat240Decoder:
    """Turns octets into video and summary messages.

    ``on_block`` is given every sound block of category 240 as it was received; the recorder uses it.
    """

    def __init__(self, on_block: Callable[[bytes], None] | None = None) -> None:
        self.counts = Counts()
        self._on_block = on_block
        self._buffer = b""
        self._offset = 0  # of the buffer's first octet in the stream
        self._lost = False  # looking for a block to begin at

    def feed(self, data: bytes) -> list[Event]:
        """Take in the next octets of a stream; return the messages that are now whole."""
        self._buffer = self._buffer + data if self._buffer else bytes(data)
        return self._advance(ending=False)

    def datagram(self, data: bytes) -> list[Event]:
        """Take in one datagram, which holds whole blocks; what does not is damage."""
        self._buffer = bytes(data)
        self._lost = False
        events = self._to_the_end()
        if self._buffer:
            self.counts.damaged += not self._lost
            self.counts.skipped_bytes += len(self._buffer)
        self._buffer = b""
        self._lost = False
        self._offset = 0
        return events

    def finish(self) -> tuple[list[Event], Unfinished | None]:
        """Say that the stream has ended; return the last messages, and the block it broke off in."""
        events = self._to_the_end()
        unfinished = None
        rest = len(self._buffer)
        if rest and not self._lost:
            wanted = int.from_bytes(self._buffer[1:3], "big") if rest >= _HEAD else _HEAD
            unfinished = Unfinished(self._offset, wanted, rest)
        elif rest:
            self.counts.skipped_bytes += rest
        self._buffer = b""
        self._lost = False
        return events, unfinished

    def _to_the_end(self) -> list[Event]:
        events = self._advance(ending=True)
        # A block that reaches past the end is cut off, or its length is damaged: then sound blocks follow inside it.
        while self._buffer and not self._lost and (inside := _next_sound(self._buffer, 1)) is not None:
            self.counts.damaged += 1
            self.counts.skipped_bytes += inside
            self._buffer = self._buffer[inside:]
            self._offset += inside
            events += self._advance(ending=True)
        return events

    def _advance(self, ending: bool) -> list[Event]:
        events: list[Event] = []
        data = self._buffer
        at = 0
        end = len(data)
        while end - at >= _HEAD:
            step = self._find(data, at, end, ending) if self._lost else self._step(data, at, end, events)
            if step is None:
                break
            at += step
        self._buffer = data[at:] if at else data
        self._offset += at
        return events

    def _step(self, data: bytes, at: int, end: int, events: list[Event]) -> int | None:
        """Read the block at ``at``.  Return the octets dealt with, or None to wait for more."""
        length = data[at + 1] << 8 | data[at + 2]
        stop = at + length
        if data[at] != CATEGORY:
            if length < _SHORTEST_OTHER or data[at] not in _CATEGORIES:
                return self._lose(1)
            if stop > end:
                return None
            if not _may_begin_block(data, stop, end):
                return self._lose(1)
            self.counts.other_categories[data[at]] += 1
            return length
        if length < _SHORTEST_240:
            return self._lose(1)
        if stop > end:
            return None  # unfinished, or a length that is damaged: `finish` and `datagram` say which
        try:
            found = read_records(data, at + _HEAD, stop)
        except UnknownCompression:
            self.counts.blocks += 1
            self.counts.unknown_compression += 1
            self._report(data, at, stop)
            return length
        except DamagedRecord:
            is_next = stop == end or _may_be_block(data, stop, end)
            if is_next and _next_sound(data[at:stop], 1) is None:
                # The length is sound, only the content is not: the next block is where it should be.  A damaged length
                # may end where another block does: then a sound one lies inside.
                self.counts.damaged += 1
                self.counts.skipped_bytes += length
                return length
            return self._lose(1)
        self.counts.blocks += 1
        for event in found:
            if type(event) is Video:
                self.counts.videos += 1
            else:
                self.counts.summaries += 1
        events += found
        self._report(data, at, stop)
        return length

    def _find(self, data: bytes, at: int, end: int, ending: bool) -> int | None:
        """Look for a block that reads whole.  Return the octets thrown away, or None to wait for more."""
        begin = at
        at = data.find(CATEGORY, at, end)
        while at >= 0:
            if _may_be_block(data, at, end):
                if at + (data[at + 1] << 8 | data[at + 2]) > end and not ending:
                    break  # it may be one yet
                if _is_sound(data, at, end):
                    self._lost = False
                    self.counts.skipped_bytes += at - begin
                    return at - begin
            elif end - at <= _SHORTEST_240 and not ending:
                break
            at = data.find(CATEGORY, at + 1, end)
        thrown = (end if at < 0 else at) - begin
        self.counts.skipped_bytes += thrown
        return thrown or None

    def _lose(self, n: int) -> int:
        self._lost = True
        self.counts.damaged += 1
        self.counts.skipped_bytes += n
        return n

    def _report(self, data: bytes, at: int, stop: int) -> None:
        if self._on_block is not None:
            self._on_block(data[at:stop])


def decode(data: bytes) -> list[Event]:
    """Return the messages of whole blocks in ``data``; see `Cat240Decoder` to know what was not usable."""
    return Cat240Decoder().datagram(data)


def _may_begin_block(data: bytes, at: int, end: int) -> bool:
    """Say whether a block of any category could begin here, as far as the octets go; the end of the data may be one."""
    if end - at < _HEAD:
        return at >= end or data[at] in _CATEGORIES
    if data[at] == CATEGORY:
        return end - at <= _SHORTEST_240 or _may_be_block(data, at, end)
    return data[at] in _CATEGORIES and (data[at + 1] << 8 | data[at + 2]) >= _SHORTEST_OTHER


def _may_be_block(data: bytes, at: int, end: int) -> bool:
    """A cheap look at length, FSPEC and message type: it keeps a search through video from trying every 0xF0."""
    if end - at <= _SHORTEST_240 or data[at] != CATEGORY:
        return False
    if data[at + 1] << 8 | data[at + 2] < _SHORTEST_240:
        return False
    first = data[at + _HEAD]
    if first & 0b1100_0000 != 0b1100_0000:
        return False
    return data[at + _HEAD + (4 if first & 1 else 3)] in (1, 2)


def _is_sound(data: bytes, at: int, end: int) -> bool:
    stop = at + (data[at + 1] << 8 | data[at + 2])
    if stop > end:
        return False
    try:
        read_records(data, at + _HEAD, stop)
    except UnknownCompression:
        return True
    except DamagedRecord:
        return False
    return True


def _next_sound(data: bytes, at: int) -> int | None:
    """Return where the next block that reads whole begins."""
    end = len(data)
    at = data.find(CATEGORY, at)
    while at >= 0:
        if _may_be_block(data, at, end) and _is_sound(data, at, end):
            return at
        at = data.find(CATEGORY, at + 1)
    return None
