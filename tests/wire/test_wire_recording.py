"""Recordings: what went in comes out, and a crash loses at most the last second."""

from __future__ import annotations

import struct
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from moonless.errors import InputError, WireError
from moonless.units import NS_PER_S
from moonless.wire.cat240 import Cat240Decoder, Video, encode_video
from moonless.wire.recording import Recorded, RecordingReader, RecordingWriter

T0 = 1_800_000_000 * NS_PER_S
BLOCK = encode_video(np.arange(64, dtype=np.uint8), azimuth_start_rad=1.0, azimuth_end_rad=1.1, cell_m=5.0)


def _write(path: Path, seconds: int = 10, close: bool = True) -> RecordingWriter:
    writer = RecordingWriter(path, {"0": "tcp://gateway:2000"})
    for tenth in range(seconds * 10):
        now = T0 + tenth * NS_PER_S // 10
        writer.radar(BLOCK, now, is_datagram=True)
        writer.nmea(b"$GPHDT,274.07,T*03\r\n", now)
        if tenth % 10 == 0:
            writer.reading({"time": str(tenth)}, now)
    if close:
        writer.close()
    return writer


def test_what_went_in_comes_out(tmp_path: Path) -> None:
    path = tmp_path / "run.mcap"
    _write(path)
    reader = RecordingReader(path)
    got = list(reader)
    assert reader.is_whole
    assert reader.links == {"0": "tcp://gateway:2000"}
    assert [r.kind for r in got].count("radar") == 100
    assert [r.kind for r in got].count("readings") == 10
    assert got[0] == Recorded("radar", T0, BLOCK, 0)
    assert got[1] == Recorded("nmea", T0, b"$GPHDT,274.07,T*03\r\n", 0)


def test_some_kinds_alone_are_what_is_left_of_all(tmp_path: Path) -> None:
    path = tmp_path / "run.mcap"
    _write(path)
    got = list(RecordingReader(path))
    wanted = [r for r in got if r.kind in ("nmea", "readings")]
    reader = RecordingReader(path)
    assert list(reader.only("nmea", "readings")) == wanted and reader.is_whole
    first, last = T0 + 3 * NS_PER_S, T0 + 5 * NS_PER_S
    some = [r for r in got if r.kind == "radar" and first <= r.received_ns <= last]
    assert list(RecordingReader(path).only("radar", within=(first, last))) == some and len(some) == 21
    # A file cut in the middle is read as far as it goes, by both.
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    cut = RecordingReader(path)
    assert list(cut.only("nmea")) == [r for r in RecordingReader(path) if r.kind == "nmea"] and not cut.is_whole


def test_streams_are_cut_into_blocks_and_lines(tmp_path: Path) -> None:
    path = tmp_path / "run.mcap"
    writer = RecordingWriter(path)
    stream, lines = BLOCK * 3, b"one\r\ntwo\r\nthr"
    for at in range(0, len(stream), 50):
        writer.radar(stream[at : at + 50], T0 + at, is_datagram=False)
    for at in range(0, len(lines), 4):
        writer.nmea(lines[at : at + 4], T0 + at, link=2)
    writer.close()
    got = list(RecordingReader(path))
    assert [r.data for r in got if r.kind == "radar"] == [BLOCK] * 3
    assert [(r.data, r.link) for r in got if r.kind == "nmea"] == [(b"one\r\n", 2), (b"two\r\n", 2)]


def test_a_crash_loses_at_most_the_last_second(tmp_path: Path) -> None:
    path = tmp_path / "run.mcap"
    writer = _write(path, seconds=10, close=False)
    # As a crash leaves it: what is on the disk now, without the end.
    left = tmp_path / "left.mcap"
    left.write_bytes(path.read_bytes())
    writer.close()
    reader = RecordingReader(left)
    got = list(reader)
    assert not reader.is_whole
    assert got[-1].received_ns >= T0 + 9 * NS_PER_S - NS_PER_S // 10


@pytest.mark.parametrize("fraction", [0.05, 0.33, 0.5, 0.77, 0.98])
def test_a_cut_file_is_read_as_far_as_it_goes(tmp_path: Path, fraction: float) -> None:
    path = tmp_path / "run.mcap"
    _write(path)
    data = path.read_bytes()
    for shift in range(12):
        cut = tmp_path / "cut.mcap"
        cut.write_bytes(data[: int(len(data) * fraction) + shift])
        reader = RecordingReader(cut)
        got = list(reader)
        assert not reader.is_whole
        whole = list(RecordingReader(path))
        assert got == whole[: len(got)]


def test_damage_in_the_middle_is_not_taken_for_data(tmp_path: Path) -> None:
    path = tmp_path / "run.mcap"
    _write(path)
    data = bytearray(path.read_bytes())
    whole = list(RecordingReader(path))
    for at in range(len(data) // 3, len(data) // 3 + 200, 7):
        bad = bytearray(data)
        bad[at] ^= 0xFF
        path.write_bytes(bad)
        got = list(RecordingReader(path))
        # Read up to the damage, or past damage in what only serves to find things fast.
        assert got == whole[: len(got)]


def test_not_a_recording_is_said(tmp_path: Path) -> None:
    path = tmp_path / "x.mcap"
    path.write_bytes(b"something else")
    with pytest.raises(WireError, match="is not a recording"):
        RecordingReader(path)
    with pytest.raises(WireError, match="cannot be read"):
        RecordingReader(tmp_path / "none.mcap")


def test_a_run_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "run.mcap"
    _write(path, seconds=1)
    with pytest.raises(InputError, match="is there already"):
        RecordingWriter(path)


# Magic and records as the MCAP specification lays them out: opcode, length of 8 bytes little-endian, content.
MAGIC = b"\x89MCAP0\r\n"


@pytest.mark.parametrize("length", [2**63 - 1, 2**64 - 1, 2**40, 2**31])
def test_a_length_that_cannot_be_takes_no_memory(tmp_path: Path, length: int) -> None:
    path = tmp_path / "run.mcap"
    writer = _write(path, seconds=2, close=False)
    writer.flush_if_due(T0 + 60 * NS_PER_S)
    sound = len(list(RecordingReader(path)))
    assert sound > 30
    with path.open("ab") as file:
        file.write(b"\x06" + length.to_bytes(8, "little") + b"x" * 100)
    reader = RecordingReader(path)
    tracemalloc.start()
    try:
        assert len(list(reader)) == sound and not reader.is_whole
        assert tracemalloc.get_traced_memory()[1] < 20e6
    finally:
        tracemalloc.stop()
        writer.close()


@pytest.mark.parametrize("name", ["lz4", "zstd"])
def test_a_small_chunk_that_unpacks_to_gigabytes_is_left(tmp_path: Path, name: str) -> None:
    import lz4.frame
    import zstandard

    nothing = bytes(200 * 2**20)
    packed = lz4.frame.compress(nothing) if name == "lz4" else zstandard.compress(nothing)
    said = name.encode()
    body = (
        struct.pack("<QQQI", 0, 0, len(nothing), 0)
        + struct.pack("<I", len(said)) + said + struct.pack("<Q", len(packed)) + packed
    )  # fmt: skip
    path = tmp_path / "run.mcap"
    path.write_bytes(MAGIC + b"\x01" + struct.pack("<Q", 8) + bytes(8) + b"\x06" + struct.pack("<Q", len(body)) + body)
    del nothing
    reader = RecordingReader(path)
    tracemalloc.start()
    try:
        assert list(reader) == [] and not reader.is_whole
        assert tracemalloc.get_traced_memory()[1] < 150e6
    finally:
        tracemalloc.stop()


def test_a_length_inside_a_record_is_held_to_the_file(tmp_path: Path) -> None:
    # A channel's topic that says it has four gigabytes.
    path = tmp_path / "run.mcap"
    body = struct.pack("<HHI", 1, 0, 2**32 - 1) + b"radar"
    path.write_bytes(MAGIC + b"\x04" + struct.pack("<Q", len(body)) + body)
    tracemalloc.start()
    try:
        assert list(RecordingReader(path)) == []
        assert tracemalloc.get_traced_memory()[1] < 5e6
    finally:
        tracemalloc.stop()


def test_a_recording_is_for_its_owner_alone(tmp_path: Path) -> None:
    _write(tmp_path / "run.mcap", seconds=1)
    assert (tmp_path / "run.mcap").stat().st_mode & 0o777 == 0o600


# Made by the recorders of their time: the first and the one that took in the bus and Signal K.
@pytest.mark.parametrize("name", ["three-channels", "five-channels", "five-channels-cut"])
def test_recordings_of_earlier_versions_are_read(name: str) -> None:
    reader = RecordingReader(Path(__file__).parent / "recordings" / f"{name}.mcap")
    got = list(reader)
    blocks = [one for one in got if one.kind == "radar"]
    spokes = [
        video.to_spoke(0) for one in blocks for video in Cat240Decoder().datagram(one.data) if isinstance(video, Video)
    ]
    assert [spoke.sequence for spoke in spokes] == list(range(32))
    assert all(spoke.echo[0] == spoke.sequence for spoke in spokes)
    assert np.diff([one.received_ns for one in blocks]).tolist() == [NS_PER_S // 4] * 31
    assert [one.data for one in got if one.kind == "nmea"] == [b"$GPHDT,274.07,T*03\r\n"] * 32
    more = 0 if name == "three-channels" else 8
    assert [sum(one.kind == kind for one in got) for kind in ("bus", "signalk", "readings")] == [more, more, 8]
    assert reader.is_whole == ("cut" not in name) and reader.links == {"0": "udp://0.0.0.0:10110"}
