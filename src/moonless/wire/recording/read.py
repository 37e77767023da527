"""A recording read in the order it was written, as far as it goes."""

from __future__ import annotations

import contextlib
import dataclasses
import struct
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import IO

import lz4.frame
import zstandard
from mcap.data_stream import ReadDataStream
from mcap.exceptions import McapError
from mcap.opcode import Opcode
from mcap.records import Channel, Chunk, Metadata
from mcap.stream_reader import get_chunk_data_stream

from moonless.errors import WireError
from moonless.wire.recording.kinds import ENCODING, MAGIC, RecordedKind

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
        return self._messages(tuple(ENCODING), None)

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
            raise WireError(f"{self.path} holds no channel called {', '.join(ENCODING)}: it is another program's file")


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
    kind = next((k for k in ENCODING if channel.topic == k), None)
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
