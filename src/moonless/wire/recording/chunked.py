"""An MCAP file as it grows, chunk by chunk, in memory that does not grow with it.

A finished file ends with an index of its chunks; there are two a second, all night.  The index waits in a file without
a name, which goes when this process does, and is copied when the file is finished.  Kept as objects, as the format's
own library keeps it, it took 3.2 MB an hour.

Source: the MCAP format specification, version 0 (https://mcap.dev/spec); the records are written by its library.
"""

from __future__ import annotations

import contextlib
import struct
import zlib
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from typing import IO

import lz4.frame
from mcap.data_stream import RecordBuilder
from mcap.opcode import Opcode
from mcap.records import (
    Channel,
    Chunk,
    ChunkIndex,
    DataEnd,
    Footer,
    Header,
    McapRecord,
    Message,
    MessageIndex,
    Metadata,
    MetadataIndex,
    Statistics,
    SummaryOffset,
)

from moonless.wire.recording.kinds import MAGIC, RecordedKind

PROFILE = "moonless"
# Of the index copied at a time.
_COPIED_BYTES = 1 << 20


class ChunkedFile:
    """Writes an MCAP file.  One thread at a time; raises OSError where the disk does not take it.

    ``index``: a file of its own to keep the chunks' index in; ``channels``: message encodings by topic.
    """

    def __init__(self, file: IO[bytes], index: IO[bytes], channels: Mapping[RecordedKind, str]) -> None:
        self._file, self._index = file, index
        self._channels = {
            topic: Channel(id=number, topic=topic, message_encoding=encoding, schema_id=0, metadata={})
            for number, (topic, encoding) in enumerate(channels.items(), start=1)
        }
        self._metadata: list[MetadataIndex] = []
        self._counts: Counter[int] = Counter()  # messages by channel
        self._n_chunk = 0
        self._span_ns: tuple[int, int] | None = None  # of all messages
        self._chunk, self._messages = RecordBuilder(), defaultdict[int, list[tuple[int, int]]](list)
        self._file.write(MAGIC + _bytes_of(Header(PROFILE, "moonless")))
        for channel in self._channels.values():
            channel.write(self._chunk)  # the first chunk tells them

    def add_metadata(self, name: str, data: Mapping[str, str]) -> None:
        """Keep words by name."""
        record, at = _bytes_of(Metadata(name=name, metadata=dict(data))), self._file.tell()
        self._metadata.append(MetadataIndex(offset=at, length=len(record), name=name))
        self._file.write(record)

    def add(self, topic: RecordedKind, time_ns: int, data: bytes, sequence: int) -> None:
        """Keep a message in the chunk in hand."""
        number = self._channels[topic].id
        self._messages[number].append((time_ns, self._chunk.count))
        Message(channel_id=number, log_time=time_ns, data=data, publish_time=time_ns, sequence=sequence).write(
            self._chunk
        )

    def flush(self) -> None:
        """Hand the chunk in hand to the file, if there is anything in it."""
        if not self._messages:
            return
        times = [time_ns for of_one in self._messages.values() for time_ns, _ in of_one]
        first, last = min(times), max(times)
        data = _taken(self._chunk)
        packed: bytes = lz4.frame.compress(data)
        out, at = RecordBuilder(), self._file.tell()
        Chunk(
            compression="lz4", data=packed, message_start_time=first, message_end_time=last,
            uncompressed_crc=zlib.crc32(data), uncompressed_size=len(data),
        ).write(out)  # fmt: skip
        length, offsets = out.count, {}
        for number, of_one in self._messages.items():
            offsets[number] = at + out.count
            MessageIndex(channel_id=number, records=of_one).write(out)
            self._counts[number] += len(of_one)
        index = ChunkIndex(
            message_start_time=first, message_end_time=last, chunk_start_offset=at, chunk_length=length,
            message_index_offsets=offsets, message_index_length=out.count - length, compression="lz4",
            compressed_size=len(packed), uncompressed_size=len(data),
        )  # fmt: skip
        self._messages.clear()
        self._n_chunk += 1
        self._span_ns = (
            (first, last) if self._span_ns is None else (min(self._span_ns[0], first), max(self._span_ns[1], last))
        )
        self._file.write(_taken(out))
        self._index.write(_bytes_of(index))

    def finish(self) -> None:
        """Write the file's end.  The file itself stays open."""
        self.flush()
        self._file.write(_bytes_of(DataEnd(0)))
        begin, crc, groups = self._file.tell(), 0, []

        def put(data: bytes) -> None:
            nonlocal crc
            crc = zlib.crc32(data, crc)
            self._file.write(data)

        for opcode, pieces in (
            (Opcode.CHANNEL, map(_bytes_of, self._channels.values())),
            (Opcode.STATISTICS, [_bytes_of(self._statistics())]),
            (Opcode.CHUNK_INDEX, self._index_pieces()),
            (Opcode.METADATA_INDEX, map(_bytes_of, self._metadata)),
        ):
            at = self._file.tell()
            for piece in pieces:
                put(piece)
            groups.append(SummaryOffset(group_opcode=opcode, group_start=at, group_length=self._file.tell() - at))
        offsets_at = self._file.tell()
        for group in groups:
            put(_bytes_of(group))
        # The sum goes on through the footer, as far as itself.
        crc = zlib.crc32(struct.pack("<BQQQ", Opcode.FOOTER, 20, begin, offsets_at), crc)
        self._file.write(
            _bytes_of(Footer(summary_start=begin, summary_offset_start=offsets_at, summary_crc=crc)) + MAGIC
        )
        self._index.close()

    def abandon(self) -> None:
        """Let go of the index of a file that will not be finished."""
        with contextlib.suppress(OSError):
            self._index.close()

    def _index_pieces(self) -> Iterable[bytes]:
        self._index.seek(0)
        return iter(lambda: self._index.read(_COPIED_BYTES), b"")

    def _statistics(self) -> Statistics:
        first, last = self._span_ns or (0, 0)
        return Statistics(
            attachment_count=0, channel_count=len(self._channels), channel_message_counts=dict(self._counts),
            chunk_count=self._n_chunk, message_count=self._counts.total(), message_end_time=last,
            message_start_time=first, metadata_count=len(self._metadata), schema_count=0,
        )  # fmt: skip


def _bytes_of(record: McapRecord) -> bytes:
    out = RecordBuilder()
    record.write(out)
    return _taken(out)


def _taken(out: RecordBuilder) -> bytes:
    data: bytes = out.end()  # type: ignore[no-untyped-call]
    return data
