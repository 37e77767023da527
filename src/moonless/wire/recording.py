"""A run kept: an MCAP file with everything that came in, as it came, and when.

    channel     encoding      one message is
    radar       cat240        one data block (from UDP: one datagram, sound or not)
    nmea        nmea0183      one line with its line end; `sequence` is the number of the link it came by
    bus         frames        the same, of NMEA 2000 frames as text (`docs/formats.md`)
    signalk     json          the same, of Signal K deltas
    readings    json          one line of readings.jsonl
    eye         json          what the skipper saw at an echo (`docs/formats.md`)
    answers     json          what was called and the skipper has answered: time, and key of the matter

Rules of this file:
- ``log_time`` is the time of receipt; ``publish_time`` equals it.
- Where a boat was, and what was said aboard, is its skipper's: the file is for its owner alone.
- What was taken in is the system's half a second later, which outlives this process, and on the disk a second later,
  which outlives a loss of power: the chunk in hand is closed and flushed, and each second synced.  A file without its
  end, as a crash leaves it, is read as far as it goes.
"""

from __future__ import annotations

import contextlib
import dataclasses
import json
import struct
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import IO, Literal

import lz4.frame
import zstandard
from mcap.data_stream import ReadDataStream
from mcap.exceptions import McapError
from mcap.opcode import Opcode
from mcap.records import Channel, Chunk, Metadata
from mcap.stream_reader import get_chunk_data_stream
from mcap.writer import CompressionType, Writer

from moonless.errors import InputError, WireError
from moonless.files import PRIVATE_FILE, flush_to_disk
from moonless.units import NS_PER_S, iso_utc
from moonless.wire.cat240 import Cat240Decoder
from moonless.wire.instruments import kind_of
from moonless.wire.sentences import MAX_LINE
from moonless.wire.signalk.decoder import MAX_MESSAGE

RecordedKind = Literal["radar", "nmea", "bus", "signalk", "readings", "eye", "answers"]

FLUSH_NS, SYNC_NS = NS_PER_S // 2, NS_PER_S
PROFILE = "moonless"
MAGIC = b"\x89MCAP0\r\n"
_ENCODING: dict[RecordedKind, str] = {
    "radar": "cat240",
    "nmea": "nmea0183",
    "bus": "frames",
    "signalk": "json",
    "readings": "json",
    "eye": "json",
    "answers": "json",
}
# One second of radar video is under 2 MB; a chunk this large is only ever closed by the clock.
_CHUNK_BYTES = 16 * 1024 * 1024
# What a cut or damaged file makes its readers raise.
_DAMAGE = (
    McapError, struct.error, zlib.error, zstandard.ZstdError, RuntimeError, ValueError, EOFError, KeyError,
    OverflowError,
)  # fmt: skip
# No record of ours is longer, packed or not; what says it is, is damaged or made to fill the memory.
MAX_RECORD = 64 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Recorded:
    """One message of a recording."""

    kind: RecordedKind
    received_ns: int
    data: bytes
    link: int  # number of the link of instruments


class RecordingWriter:
    """Writes a recording.  One thread at a time; call `flush_if_due` also when nothing comes in."""

    def __init__(self, path: Path, links: Mapping[str, str] | None = None) -> None:
        """Begin a file.  ``links``: what the numbers of the links stand for, kept as metadata.

        Raises InputError if the file is there already or cannot be made: a run is never written over.
        """
        self.path = path
        try:
            self._file: IO[bytes] = path.open("xb")
            path.chmod(PRIVATE_FILE)
        except FileExistsError as problem:
            raise InputError(
                f"{path} is there already; a recording is not written over, give another name"
            ) from problem
        except OSError as problem:
            raise InputError(f"{path} cannot be written: {problem.strerror}") from problem
        self._writer = Writer(self._file, chunk_size=_CHUNK_BYTES, compression=CompressionType.LZ4)
        self._writer.start(profile=PROFILE, library="moonless")
        if links:
            self._writer.add_metadata("links", dict(links))
        self._channel = {
            kind: self._writer.register_channel(topic=kind, message_encoding=encoding, schema_id=0)
            for kind, encoding in _ENCODING.items()
        }
        self._flushed_ns: int | None = None
        self._synced_ns = 0
        self._blocks: list[bytes] = []
        self._splitter = Cat240Decoder(on_block=self._blocks.append)
        self._partial: dict[int, bytes] = {}
        self._is_open = True
        self._sync()

    def radar(self, data: bytes, received_ns: int, *, is_datagram: bool) -> None:
        """Keep radar bytes: a datagram as it is, a stream cut into its blocks."""
        if is_datagram:
            self._add("radar", data, received_ns)
            return
        self._splitter.feed(data)
        for block in self._blocks:
            self._add("radar", block, received_ns)
        self._blocks.clear()

    def nmea(self, data: bytes, received_ns: int, *, link: int = 0, is_datagram: bool = False) -> None:
        """Keep what instruments say, line by line, each kind in its channel."""
        *lines, rest = (self._partial.pop(link, b"") + data).split(b"\n")
        for line in lines:
            self._add(kind_of(line.strip()), line + b"\n", received_ns, link)
        if rest and (is_datagram or len(rest) > (MAX_MESSAGE if rest[:1] == b"{" else MAX_LINE)):
            self._add(kind_of(rest.strip()), rest + b"\r\n", received_ns, link)
        elif rest:
            self._partial[link] = rest

    def reading(self, line: Mapping[str, object], received_ns: int) -> None:
        """Keep one reading."""
        self._add("readings", json.dumps(line, separators=(",", ":")).encode(), received_ns)

    def eye(self, line: Mapping[str, object], received_ns: int) -> None:
        """Keep what the skipper saw at an echo."""
        self._add("eye", json.dumps(line, separators=(",", ":")).encode(), received_ns)

    def answer(self, key: str, received_ns: int) -> None:
        """Keep that the skipper has answered a call."""
        line = {"time": iso_utc(received_ns), "key": key}
        self._add("answers", json.dumps(line, separators=(",", ":")).encode(), received_ns)

    def flush_if_due(self, now_ns: int) -> None:
        """Hand what was taken in to the system, and to the disk, if it has waited long enough for either."""
        if self._flushed_ns is None or not 0 <= now_ns - self._flushed_ns < FLUSH_NS:
            self._flushed_ns = now_ns
            self._writer.flush()  # type: ignore[no-untyped-call]
            self._file.flush()
            if not 0 <= now_ns - self._synced_ns < SYNC_NS:
                self._synced_ns = now_ns
                self._sync()

    def close(self) -> None:
        """Finish the file."""
        if self._is_open:
            self._is_open = False
            self._writer.finish()  # type: ignore[no-untyped-call]
            self._sync()
            self._file.close()

    def abandon(self) -> None:
        """Let go of a file that cannot be written any more; what is on the disk stays readable."""
        self._is_open = False
        with contextlib.suppress(OSError):
            self._file.close()

    def _add(self, kind: RecordedKind, data: bytes, received_ns: int, link: int = 0) -> None:
        self._writer.add_message(self._channel[kind], received_ns, data, received_ns, link)
        self.flush_if_due(received_ns)

    def _sync(self) -> None:
        flush_to_disk(self._file)


class RecordingReader:
    """Reads a recording in the order it was written, as far as it goes.

    After reading, ``is_whole`` says whether the file had its end.
    """

    def __init__(self, path: Path) -> None:
        """Open a file.  Raises WireError if it is not a recording."""
        self.path = path
        self.is_whole = False
        self.links: dict[str, str] = {}
        try:
            with path.open("rb") as file:
                head = file.read(len(MAGIC))
        except OSError as problem:
            raise WireError(f"{path} cannot be read: {problem.strerror}") from problem
        if head != MAGIC:
            raise WireError(f"{path} is not a recording: it does not begin as an MCAP file does")

    def only(self, *wanted: RecordedKind, within: tuple[int, int] | None = None) -> Iterator[Recorded]:
        """Yield the messages of some kinds alone; the rest, which is nearly all of a run, is stepped over unread.

        ``within``: received from one time to another, Unix nanoseconds; chunks that lie outside are not even unpacked.
        Raises WireError as iterating does.
        """
        return self._messages(wanted, within)

    def span(self) -> tuple[int, int] | None:
        """Return when the first and the last message were received, Unix nanoseconds; None where there is none.

        Told by the chunks themselves, whose messages are not read.
        """
        first, last = 2**63, 0
        with self.path.open("rb") as file, contextlib.suppress(*_DAMAGE):
            for opcode, head in _records(file, (0, 2**63), heads_only=True):
                if opcode == Opcode.CHUNK:
                    begins, ends = _CHUNK_TIMES.unpack(head)
                    # Empty chunks say 0.
                    if ends > 0:
                        first, last = min(first, begins), max(last, ends)
        return None if last == 0 else (first, last)

    def __iter__(self) -> Iterator[Recorded]:
        """Yield the messages.

        Raises WireError if the file holds none of the channels of a run.
        """
        return self._messages(tuple(_ENCODING), None)

    def _messages(self, wanted: tuple[RecordedKind, ...], within: tuple[int, int] | None) -> Iterator[Recorded]:
        kinds: dict[int, RecordedKind] = {}
        with self.path.open("rb") as file:
            records = _records(file, within)
            while True:
                try:
                    opcode, data = next(records)
                    picked = list(_picked(opcode, data, kinds, wanted, within))
                except StopIteration:
                    self.is_whole = True
                    break
                # A cut file ends in whichever of these the cut happens to cause.
                except _DAMAGE:
                    break
                yield from picked
                if opcode == Opcode.METADATA:
                    self._note_metadata(data)
        self._check_kinds(kinds)

    def _note_metadata(self, data: bytes) -> None:
        with contextlib.suppress(*_DAMAGE):
            record = Metadata.read(ReadDataStream(BytesIO(data)))
            if record.name == "links":
                self.links = dict(record.metadata)

    def _check_kinds(self, kinds: Mapping[int, RecordedKind]) -> None:
        if not kinds and self.is_whole:
            raise WireError(f"{self.path} holds no channel called {', '.join(_ENCODING)}: it is another program's file")


# Octets before a record: what it is, and its length.  Before a chunk's data: its first and last time.  Before a
# message's data: channel, sequence, two times.
_RECORD_HEAD, _CHUNK_TIMES, _MESSAGE_HEAD = struct.Struct("<BQ"), struct.Struct("<QQ"), 22
# Records that hold what is read here; the rest (indices of millions of messages, among others) is stepped over.
_READ = {Opcode.CHUNK, Opcode.CHANNEL, Opcode.MESSAGE, Opcode.METADATA}


def _records(
    file: IO[bytes], within: tuple[int, int] | None, *, heads_only: bool = False
) -> Iterator[tuple[int, bytes]]:
    """Yield (opcode, data) of the records that are read, to the end of the file; ``heads_only``: of chunks the times.

    A length may say anything: nothing is read past the end, and memory is taken by what is there.  Of a chunk that lies
    outside ``within`` only the first is read, which tells the channels.  Raises what a damaged file causes.
    """
    size = file.seek(0, 2)
    at, n_chunk = len(MAGIC), 0
    file.seek(at)
    while True:
        opcode, length = _RECORD_HEAD.unpack(file.read(_RECORD_HEAD.size))
        at += _RECORD_HEAD.size + length
        if length > MAX_RECORD or at > size:
            raise ValueError("a record is cut, or larger than any of ours")
        is_read = opcode in _READ
        head = b""
        if opcode == Opcode.CHUNK:
            head, n_chunk = file.read(min(length, _CHUNK_TIMES.size)), n_chunk + 1
            first, last = _CHUNK_TIMES.unpack(head)
            is_read = n_chunk == 1 or within is None or (last >= within[0] and first <= within[1])
        if heads_only and opcode == Opcode.CHUNK:
            yield opcode, head
        elif is_read:
            yield opcode, head + file.read(length - len(head))
        file.seek(at)
        if opcode == Opcode.FOOTER:
            if file.read(len(MAGIC)) != MAGIC:
                raise ValueError("the file does not end as it should")
            return


def _unpacked(chunk: Chunk) -> Chunk:
    """Return a chunk with its data unpacked: here, because a small packed one may hold gigabytes of nothing."""
    data, most = chunk.data, max(1, min(chunk.uncompressed_size, MAX_RECORD))
    if chunk.compression == "lz4":
        data = lz4.frame.LZ4FrameDecompressor().decompress(data, max_length=most)
    elif chunk.compression == "zstd":
        data = zstandard.ZstdDecompressor().stream_reader(data).read(most)
    if len(data) != chunk.uncompressed_size:
        raise ValueError("a chunk is cut, or larger than any of ours")
    return dataclasses.replace(chunk, compression="", data=data)


def _note_channel(channel: Channel, kinds: dict[int, RecordedKind]) -> None:
    kind = next((k for k in _ENCODING if channel.topic == k), None)
    if kind is not None:
        kinds[channel.id] = kind


def _picked(
    opcode: int,
    record: bytes,
    kinds: dict[int, RecordedKind],
    wanted: tuple[RecordedKind, ...],
    within: tuple[int, int] | None,
) -> Iterator[Recorded]:
    """Yield the messages of the wanted kinds in a record, which may be a chunk of them; note the channels it tells."""
    first, last = within or (0, 2**63)
    if opcode == Opcode.CHUNK:
        chunk = Chunk.read(ReadDataStream(BytesIO(record)))
        # What a chunk says of itself is checked, so that half a chunk is never taken for a whole one.
        stream, size = get_chunk_data_stream(_unpacked(chunk), validate_crc=True)
        data, at = stream.read(size), 0
    else:
        data, at = _RECORD_HEAD.pack(opcode, len(record)) + record, 0
    picked = {number for number, kind in kinds.items() if kind in wanted}
    while at < len(data):
        opcode, length = _RECORD_HEAD.unpack_from(data, at)
        at += _RECORD_HEAD.size
        if at + length > len(data):
            raise ValueError("a record in a chunk is cut")
        if opcode == Opcode.MESSAGE:
            number, sequence, log_ns, _ = struct.unpack_from("<HIQQ", data, at)
            if number in picked and first <= log_ns <= last:
                yield Recorded(kinds[number], log_ns, data[at + _MESSAGE_HEAD : at + length], sequence)
        elif opcode == Opcode.CHANNEL:
            _note_channel(Channel.read(ReadDataStream(BytesIO(data[at : at + length]))), kinds)
            picked = {number for number, kind in kinds.items() if kind in wanted}
        at += length
