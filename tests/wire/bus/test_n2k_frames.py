"""Frames of the bus as text, fast packets, addresses: the dialects, and what damage does."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moonless.units import NS_PER_S
from moonless.wire.n2k.addresses import MAX_NAMES, STORM_CLAIMS, Addresses
from moonless.wire.n2k.assemble import FastPackets, split_fast
from moonless.wire.n2k.decoder import BusDecoder
from moonless.wire.n2k.frames import Frame, candump_line, frame_of, join_identifier, split_identifier

NOW_NS = 1_800_000_000 * NS_PER_S

# One frame, group 129025 from address 2, in each dialect.  The dialects are those that can-utils writes and that the
# nmea2000 library's input_formats.py gives examples of; the identifier's bits are SAE J1939-21's.
OCTETS = bytes.fromhex("36729A16021AB80D")
SAME = [
    b"(1410714882.622188) can0 09F80102#36729A16021AB80D",
    b"  can0  09F80102   [8]  36 72 9A 16 02 1A B8 0D",
    b" (1410714882.622188)  can0  09F80102   [8]  36 72 9A 16 02 1A B8 0D",
    b"<0x09f80102> [8] 36 72 9a 16 02 1a b8 0d ",
    b"2014-09-14T17:14:42.622188Z,2,129025,2,255,8,36,72,9a,16,02,1a,b8,0d",
    b"2014-09-14-17:14:42.622188,2,129025,2,255,8,36,72,9a,16,02,1a,b8,0d",
    b"17:14:42.622 R 09F80102 36 72 9A 16 02 1A B8 0D",
    b"09F80102 36 72 9A 16 02 1A B8 0D",
    b"A171442.622 02FF2 1F801 36729A16021AB80D",
    b"T09F80102836729A16021AB80D",
    b"T09F80102836729A16021AB80D1A2B",
]


@pytest.mark.parametrize("line", SAME)
def test_one_frame_in_every_dialect(line: bytes) -> None:
    frame = frame_of(line)
    assert frame is not None
    assert (frame.group, frame.source, frame.destination, frame.data) == (129025, 2, 255, OCTETS)
    if b"1410714882" in line or line.startswith(b"2014"):
        assert frame.time_ns == 1_410_714_882_622_188_000


def test_sentences_that_carry_messages() -> None:
    # The samples of the nmea2000 library's documentation, with the answer its own decoder gives.
    frame = frame_of(b"$PCDIN,01F119,00000000,0F,2AAF00D1067414FF*59")
    assert frame == Frame(127257, 15, 255, bytes.fromhex("2AAF00D1067414FF"), True, None)
    frame = frame_of(b"$MXPGN,01F801,2801,C1308AC40C5DE343*19")
    assert frame == Frame(129025, 1, 255, bytes.fromhex("C1308AC40C5DE343")[::-1], False, None)
    assert frame_of(b"$PCDIN,01F119,00000000,0F,2AAF00D1067414FF*58") is None


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"(1410714882.622188) can0 123#36729A16021AB80D",  # 11 bits
        b"(1410714882.622188) can0 09F80102#36729A16021AB80",  # cut
        b"(1410714882.622188) can0 29F80102#36729A16021AB80D",  # an error frame's flag
        b"(1410714882.622188) can0 09F80102#36729A16021AB80D00",  # nine octets
        b"  can0  09F80102   [8]  36 72 9A 16",
        b"2014-09-14T17:14:42.622188Z,2,129025,2,255,8,36,72",
        b"2014-19-14T17:14:42.622188Z,2,129025,2,255,8,36,72,9a,16,02,1a,b8,0d",
        b"2014-09-14T17:14:42.622188Z,0,262161,0,0,2,01,0e",  # a gateway's own
        b"T09F80102736729A16021AB80D",
        b"A171442.622 02FF2 FF801 36729A16021AB80D",
        b"$GPRMC,220516,A,5133.82,N,00042.24,W,173.8,231.8,130694,004.2,W*70",
        b"09F80102" + b" 36" * 9,
        b"09F80102 36" * 200,
    ],
)
def test_what_is_no_frame(line: bytes) -> None:
    assert frame_of(line) is None


@given(st.binary(max_size=200))
@settings(deadline=None)
def test_any_octets_are_a_frame_or_none(line: bytes) -> None:
    frame = frame_of(line)
    assert frame is None or (0 <= frame.source <= 255 and len(frame.data) <= 223)


@given(st.integers(0, 0x1FFFFFFF), st.binary(max_size=8), st.integers(0, 2**34))
@settings(deadline=None)
def test_a_frame_written_is_the_frame_read(identifier: int, data: bytes, seconds: int) -> None:
    frame = frame_of(candump_line(identifier, data, seconds * NS_PER_S + 7000, "can0").rstrip())
    group, source, destination = split_identifier(identifier)
    assert frame == Frame(group, source, destination, data, False, seconds * NS_PER_S + 7000)
    priority = identifier >> 26
    assert split_identifier(join_identifier(group, source, destination, priority)) == (group, source, destination)


@given(st.binary(min_size=1, max_size=223), st.integers(0, 7))
@settings(deadline=None)
def test_fast_packets_come_back_whole(message: bytes, sequence: int) -> None:
    packets = FastPackets()
    got = [packets.add(129029, 3, 255, frame, NOW_NS) for frame in split_fast(message, sequence)]
    assert got[-1] == message and got[:-1] == [None] * (len(got) - 1)
    assert (packets.broken, packets.strays, packets.waiting) == (0, 0, 0)


@given(st.binary(min_size=14, max_size=223), st.data())
@settings(deadline=None)
def test_half_a_fast_packet_is_never_one(message: bytes, data: st.DataObject) -> None:
    frames = split_fast(message, 2)
    lost = data.draw(st.integers(0, len(frames) - 1))
    packets = FastPackets()
    damaged = frames[:lost] + frames[lost + 1 :]
    if data.draw(st.booleans()):  # one that comes twice before the last, or two that change places, is no better
        twice = 0 < lost < len(frames) - 1
        damaged = [*frames[:lost], frames[lost], *frames[lost:]] if twice else [*frames[1:], frames[0]]
    assert all(packets.add(129029, 3, 255, frame, NOW_NS) is None for frame in damaged)


def test_fast_packets_of_two_devices_do_not_mix() -> None:
    packets = FastPackets()
    one, other = split_fast(b"a" * 20, 1), split_fast(b"b" * 20, 1)
    got = [
        packets.add(129029, source, 255, frame, NOW_NS)
        for pair in zip(one, other, strict=True)
        for source, frame in zip((1, 2), pair, strict=True)
    ]
    assert [g for g in got if g] == [b"a" * 20, b"b" * 20]


def test_a_fast_packet_a_second_late_is_given_up() -> None:
    packets = FastPackets()
    first, second, third = split_fast(bytes(20), 1)
    packets.add(129029, 1, 255, first, NOW_NS)
    assert packets.add(129029, 1, 255, second, NOW_NS + NS_PER_S) is None
    assert packets.add(129029, 1, 255, third, NOW_NS + NS_PER_S) is None
    assert packets.broken == 1


def _name(number: int) -> bytes:
    return number.to_bytes(8, "little")


def test_a_device_keeps_its_label_when_its_address_changes() -> None:
    a = Addresses()
    assert a.label(5) == "5"
    a.claim(5, _name(100), NOW_NS)
    assert a.label(5) == "5"
    a.claim(5, _name(50), NOW_NS)  # a NAME that wins the address
    assert a.label(5) == "5b" and a.conflicts == 1
    a.claim(9, _name(100), NOW_NS)
    assert (a.label(9), a.label(5)) == ("5", "5b")


def test_a_storm_of_claims_is_said_and_bounded() -> None:
    a = Addresses()
    for i in range(STORM_CLAIMS):
        a.claim(i % 250, _name(i), NOW_NS + i)
    assert not a.is_storm(NOW_NS + 1000)
    for i in range(50_000):
        a.claim(i % 256, _name(1000 + i), NOW_NS + i * 100_000)
    last = NOW_NS + 50_000 * 100_000
    assert a.is_storm(last) and not a.is_storm(last + 6 * NS_PER_S)
    assert len(a._name_at) <= 256 and len(a._label_of) <= MAX_NAMES


@given(st.lists(st.tuples(st.integers(0, 0x1FFFFFFF), st.binary(max_size=8)), max_size=40))
@settings(deadline=None)
def test_any_frames_raise_nothing_and_stay_bounded(frames: list[tuple[int, bytes]]) -> None:
    decoder = BusDecoder()
    for identifier, data in frames:
        decoder.frame(Frame(*split_identifier(identifier), data, False), NOW_NS)
    assert decoder.counts.frames == len(frames)


def test_a_flood_of_unknown_groups_is_bounded() -> None:
    decoder = BusDecoder()
    for i in range(20_000):
        decoder.frame(Frame(i * 13 % 0x3FFFF, i % 256, 255, bytes(8), False), NOW_NS + i)
    assert len(decoder.counts.unused) <= 257
    assert sum(decoder.counts.unused.values()) > 19_000


@pytest.mark.data
@pytest.mark.parametrize(
    "name",
    [
        "candump-a.txt",
        "candump-b.txt",
        "candump-c.log",
        "moored-boat-can.log",
        "motor-yacht.plain.txt",
        "sailing-boat.plain.txt",
    ],
)
def test_every_line_of_the_real_logs_is_read(name: str, data_dir: Path) -> None:
    unread = [
        line
        for line in (data_dir / "n2k" / name).read_bytes().splitlines()
        if line.strip() and not line.startswith(b"#") and frame_of(line) is None
    ]
    # What is left are records of the logger's own (groups above 0x3FFFF), words, and a line cut at the file's end.
    plain = [line.split(b",") for line in unread if line[:2] == b"20" and line.count(b",") > 3]
    assert all(int(parts[2]) > 0x3FFFF for parts in plain)
    assert len(unread) - len(plain) <= 6
