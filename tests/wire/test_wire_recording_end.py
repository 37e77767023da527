"""A finished recording as the format's own library reads it, by its index; and what a long one takes of the memory."""

from __future__ import annotations

import io
import struct
import threading
import tracemalloc
import zlib
from pathlib import Path

import pytest
from mcap.reader import make_reader

from moonless.units import NS_PER_S
from moonless.wire.recording import RecordingReader, RecordingWriter, write
from moonless.wire.recording.chunked import ChunkedFile

T0 = 1_930_000_000 * NS_PER_S
STEP_NS = NS_PER_S // 4


def written(path: Path, count: int) -> None:
    writer = RecordingWriter(path, {"1": "udp://0.0.0.0:1"})
    for k in range(count):
        writer.radar(bytes([240, 0, 6, k % 256, 1, 2]), T0 + k * STEP_NS, is_datagram=True)
        writer.nmea(b"$HEHDT,%03d.0,T\r\n" % k, T0 + k * STEP_NS + 1, link=1)
    writer.close()


def test_the_library_finds_every_message_by_the_index(tmp_path: Path) -> None:
    path = tmp_path / "run.mcap"
    written(path, 100)
    with path.open("rb") as file:
        reader = make_reader(file, validate_crcs=True)
        summary = reader.get_summary()
        assert summary is not None and summary.statistics is not None
        topics = {number: channel.topic for number, channel in summary.channels.items()}
        told = summary.statistics
        assert (told.message_count, told.chunk_count, told.metadata_count) == (200, len(summary.chunk_indexes), 1)
        assert {topics[n]: count for n, count in told.channel_message_counts.items()} == {"radar": 100, "nmea": 100}
        assert (told.message_start_time, told.message_end_time) == (T0, T0 + 99 * STEP_NS + 1)
        assert 40 <= told.chunk_count <= 60  # two a second
        lines = [one[2].data for one in reader.iter_messages(topics=["nmea"])]
        assert lines == [b"$HEHDT,%03d.0,T\r\n" % k for k in range(100)]
        assert [one.metadata for one in reader.iter_metadata()] == [{"1": "udp://0.0.0.0:1"}]


def test_each_message_lies_where_its_chunk_says(tmp_path: Path) -> None:
    path = tmp_path / "run.mcap"
    written(path, 20)
    data = path.read_bytes()
    with path.open("rb") as file:
        summary = make_reader(file).get_summary()
    assert summary is not None
    seen = 0
    for chunk in summary.chunk_indexes:
        assert data[chunk.chunk_start_offset] == 0x06  # opcode of a chunk
        ends = chunk.chunk_start_offset + chunk.chunk_length
        assert min(chunk.message_index_offsets.values()) == ends
        for number, at in chunk.message_index_offsets.items():
            opcode, _, channel, octets = struct.unpack_from("<BQHI", data, at)
            assert (opcode, channel) == (0x07, number)
            seen += octets // 16
    assert seen == 40


def test_the_end_sums_as_the_format_says(tmp_path: Path) -> None:
    # The footer's sum goes over the summary and the footer itself, as far as the sum (MCAP specification, "Footer").
    path = tmp_path / "run.mcap"
    written(path, 8)
    data = path.read_bytes()
    opcode, length, begin, _, said = struct.unpack("<BQQQI", data[-8 - 29 : -8])
    assert (opcode, length) == (0x02, 20)
    assert zlib.crc32(data[begin : len(data) - 8 - 4]) == said


def test_a_long_recording_takes_no_more_memory_than_a_short_one() -> None:
    # A quarter of an hour of chunks; kept as the library keeps them they take 0.8 MB.
    file, index = io.BytesIO(), io.BytesIO()
    out = ChunkedFile(file, index, {"radar": "cat240"})

    def keep(count: int) -> None:
        for k in range(count):
            out.add("radar", T0 + k, b"x", 0)
            out.flush()
            file.truncate(0)
            index.truncate(0)

    keep(100)
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    keep(1800)
    grown = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()
    assert grown < 20_000


def test_a_card_that_takes_long_to_sync_keeps_nothing_from_the_system(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    writer = RecordingWriter(tmp_path / "run.mcap")
    goes_on = threading.Event()
    monkeypatch.setattr(write, "flush_to_disk", lambda file: goes_on.wait(60.0))
    for k in range(41):
        writer.nmea(b"%d\n" % k, T0 + k * STEP_NS)
    kept = [int(one.data) for one in RecordingReader(tmp_path / "run.mcap")]
    goes_on.set()
    writer.close()
    # Ten seconds, of which the last half may be in hand.
    assert kept == list(range(len(kept))) and len(kept) >= 41 - 2


def test_a_card_that_cannot_sync_is_told_with_the_next_second(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writer = RecordingWriter(tmp_path / "run.mcap")
    tried = threading.Event()

    def broken(file: object) -> None:
        tried.set()
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(write, "flush_to_disk", broken)
    writer.nmea(b"1\n", T0)
    assert tried.wait(60.0)
    with pytest.raises(OSError, match="Input/output"):
        # The thread may still be ending: it is asked again each second.
        for k in range(2, 2000):
            writer.nmea(b"%d\n" % k, T0 + k * NS_PER_S)
            threading.Event().wait(0.005)
    writer.abandon()
