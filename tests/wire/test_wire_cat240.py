"""ASTERIX category 240: round trips, other people's decoders, damage, and the choices we made."""

from __future__ import annotations

import math
import struct
import zlib
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moonless.constants import SPEED_OF_LIGHT_MPS, TAU
from moonless.errors import InputError
from moonless.units import NS_PER_S
from moonless.wire.cat240 import Cat240Decoder, Summary, Video, decode, encode_summary, encode_video, utc_of_day

# No published example of a category 240 message was found.  This one was constructed by hand from the specification
# (EUROCONTROL-SPEC-0149-240 ed. 1.3) and decoded as below by the independent library asterix-decoder 0.7.11 (PyPI).
CONSTRUCTED = bytes.fromhex("f0002be7c800010200000001200020200000000002fb77b60004000800000802000a142850a0ff80546000")
NOON_NS = 1_800_014_400 * NS_PER_S  # 2027-01-15T12:00:00Z


def made_spoke(n_cell: int = 64, **changes: Any) -> bytes:
    given_: dict[str, Any] = {"azimuth_start_rad": 1.0, "azimuth_end_rad": 1.01, "cell_m": 7.5, "sequence": 7}
    return encode_video((np.arange(n_cell) % 251).astype(np.uint8), **(given_ | changes))


def one_video(data: bytes) -> Video:
    (video,) = decode(data)
    assert isinstance(video, Video)
    return video


def test_constructed_message() -> None:
    assert len(CONSTRUCTED) == 43
    video = one_video(CONSTRUCTED)
    assert (video.sac, video.sic, video.sequence, video.bits, video.start_cell) == (0, 1, 1, 8, 0)
    # 45.0 and 45.17578125 degrees in steps of 360/65536: exact.
    assert video.azimuth_start_lsb * 360 / 65536 == 45.0
    assert video.azimuth_end_lsb * 360 / 65536 == 45.17578125
    assert video.cell_duration_s == pytest.approx(50_034_614e-15, rel=1e-12)
    assert video.cell_m == pytest.approx(50_034_614e-15 * 299_792_458 / 2, rel=1e-12)
    assert video.cells.tolist() == [0, 10, 20, 40, 80, 160, 255, 128]
    assert video.time_of_day_s == 43_200.0


def test_constructed_message_is_what_we_write() -> None:
    cells = np.array([0, 10, 20, 40, 80, 160, 255, 128], dtype=np.uint8)
    again = encode_video(
        cells,
        azimuth_start_rad=math.radians(45.0),
        azimuth_end_rad=math.radians(45.17578125),
        cell_m=7.5,
        sequence=1,
        time_ns=NOON_NS,
    )
    assert again == CONSTRUCTED


@st.composite
def _messages(draw: st.DrawFn) -> tuple[np.ndarray, dict[str, Any]]:
    bits = draw(st.sampled_from([1, 2, 4, 8, 16, 32]))
    n_cell = draw(st.integers(0, 200))
    top = (1 << bits) - 1
    values = draw(st.lists(st.integers(0, top), min_size=n_cell, max_size=n_cell))
    dtype = np.uint8 if bits <= 8 else (np.uint16 if bits == 16 else np.uint32)
    header = draw(st.sampled_from(["femto", "nano"]))
    return np.array(values, dtype=dtype), {
        "bits": bits,
        "azimuth_start_rad": draw(st.integers(0, 65535)) * TAU / 65536,
        "azimuth_end_rad": draw(st.integers(0, 65535)) * TAU / 65536,
        "cell_m": draw(st.floats(0.5, 600.0)),
        "start_cell": draw(st.integers(0, 2**32 - 1)),
        "sequence": draw(st.integers(0, 2**32 - 1)),
        "time_ns": draw(st.none() | st.integers(0, 86_400 * 128 - 1).map(lambda t: t * NS_PER_S // 128)),
        "compress": draw(st.booleans()),
        "header": header,
        "block": draw(st.sampled_from([None, 64, 256] + ([4] if bits * n_cell <= 4 * 8 * 200 else []))),
        "sac": draw(st.integers(0, 255)),
        "sic": draw(st.integers(0, 255)),
    }


def _check(video: Video, cells: np.ndarray, asked: dict[str, Any]) -> None:
    assert video.cells.dtype == cells.dtype
    np.testing.assert_array_equal(video.cells, cells)
    assert (video.sac, video.sic, video.sequence) == (asked["sac"], asked["sic"], asked["sequence"])
    assert video.azimuth_start_lsb == round(asked["azimuth_start_rad"] / TAU * 65536)
    assert video.azimuth_end_lsb == round(asked["azimuth_end_rad"] / TAU * 65536)
    assert (video.start_cell, video.bits) == (asked["start_cell"], asked["bits"])
    # Half a step of the header's duration.
    step_m = (1e-15 if asked["header"] == "femto" else 1e-9) * SPEED_OF_LIGHT_MPS / 2
    assert abs(video.cell_m - asked["cell_m"]) <= step_m * 0.501 + 1e-9
    if asked["time_ns"] is None:
        assert video.time_of_day_s is None
    else:
        assert video.time_of_day_s == round(asked["time_ns"] * 128 / NS_PER_S) / 128


@given(_messages())
def test_round_trip(message: tuple[np.ndarray, dict[str, Any]]) -> None:
    cells, asked = message
    _check(one_video(encode_video(cells, **asked)), cells, asked)


@given(st.lists(_messages(), min_size=1, max_size=4))
def test_several_records_in_a_block(messages: list[tuple[np.ndarray, dict[str, Any]]]) -> None:
    body = b"".join(encode_video(cells, **asked)[3:] for cells, asked in messages)
    found = decode(struct.pack(">BH", 240, len(body) + 3) + body)
    assert len(found) == len(messages)
    for video, (cells, asked) in zip(found, messages, strict=True):
        assert isinstance(video, Video)
        _check(video, cells, asked)


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=255), st.booleans())
def test_summary_round_trip(text: str, timed: bool) -> None:
    (summary,) = decode(encode_summary(text, time_ns=NOON_NS if timed else None, sac=3, sic=4))
    assert summary == Summary(3, 4, text, 43_200.0 if timed else None)


@given(st.lists(st.sampled_from(["v", "s", "o"]), min_size=1, max_size=8), st.data())
@settings(deadline=None)
def test_stream_cut_anywhere_gives_the_same(kinds: list[str], data: st.DataObject) -> None:
    parts = {"v": made_spoke(), "s": encode_summary("x"), "o": b"\x30\x00\x08\x80\x01\x02\x03\x04"}
    stream = b"".join(parts[k] for k in kinds)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=10)))
    decoder = Cat240Decoder()
    events = [e for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True) for e in decoder.feed(stream[a:b])]
    rest, unfinished = decoder.finish()
    assert unfinished is None
    assert [type(e) for e in events + rest] == [Video if k == "v" else Summary for k in kinds if k != "o"]
    assert decoder.counts.other_categories[48] == kinds.count("o")
    assert decoder.counts.damaged == 0


@given(st.binary(max_size=300), st.booleans())
def test_arbitrary_bytes_never_crash(data: bytes, begin_as_block: bool) -> None:
    if begin_as_block:
        data = struct.pack(">BH", 240, len(data) + 3) + data
    decode(data)
    decoder = Cat240Decoder()
    decoder.feed(data)
    decoder.finish()


@given(st.data())
@settings(max_examples=150)
def test_damaged_messages_never_crash(data: st.DataObject) -> None:
    message = bytearray(made_spoke(compress=data.draw(st.booleans())) + encode_summary("one"))
    for _ in range(data.draw(st.integers(1, 4))):
        message[data.draw(st.integers(0, len(message) - 1))] = data.draw(st.integers(0, 255))
    decode(bytes(message))


@given(st.binary(min_size=1, max_size=200).filter(lambda b: 240 not in b))
def test_finds_its_way_after_noise(noise: bytes) -> None:
    good = made_spoke()
    decoder = Cat240Decoder()
    events = decoder.feed(good + noise + good * 3 + good) + decoder.finish()[0]
    # Noise may look like the head of another category's block and carry the first of the three away with it.
    assert len(events) >= 4 or decoder.counts.other_categories
    assert decoder.counts.skipped_bytes + sum(decoder.counts.other_categories.values()) > 0


def test_videos_and_summaries_are_counted_apart() -> None:
    decoder = Cat240Decoder()
    decoder.feed(made_spoke() * 3 + encode_summary("set"))
    assert (decoder.counts.videos, decoder.counts.summaries) == (3, 1)


@pytest.mark.parametrize("octets", [1, 2, 3])
def test_a_message_whose_time_is_cut_off_is_damaged(octets: int) -> None:
    # A length that ends inside the time of day: the three octets after it are the next block's.
    whole = made_spoke(time_ns=NOON_NS)
    cut = bytearray(whole[:-octets])
    cut[1:3] = len(cut).to_bytes(2, "big")
    decoder = Cat240Decoder()
    events = decoder.feed(bytes(cut) + made_spoke(sequence=9)) + decoder.finish()[0]
    assert [e.sequence for e in events if isinstance(e, Video)] == [9]
    assert decoder.counts.damaged == 1


def test_a_length_damaged_to_that_of_two_blocks_costs_one() -> None:
    blocks = [made_spoke(sequence=i, time_ns=NOON_NS) for i in range(4)]
    bad = bytearray(blocks[0])
    bad[1:3] = (len(blocks[0]) + len(blocks[1])).to_bytes(2, "big")
    events = Cat240Decoder().feed(b"".join([bytes(bad), *blocks[1:]]))
    assert [e.sequence for e in events if isinstance(e, Video)] == [1, 2, 3]


@given(st.integers(0, 9), st.data())
@settings(max_examples=150)
def test_one_damaged_octet_costs_one_block(which: int, data: st.DataObject) -> None:
    blocks = [made_spoke(sequence=i, time_ns=NOON_NS) for i in range(10)]
    bad = bytearray(blocks[which])
    at = data.draw(st.integers(0, len(bad) - 1))
    bad[at] ^= data.draw(st.integers(1, 255))
    stream = b"".join([*blocks[:which], bytes(bad), *blocks[which + 1 :]])
    decoder = Cat240Decoder()
    events = decoder.feed(stream) + decoder.finish()[0]
    got = [e.sequence for e in events if isinstance(e, Video)]
    # The damaged one may still read, with another value in it; all others are there.
    assert set(got) >= set(range(10)) - {which}
    assert len(got) <= 10


def test_damaged_content_with_sound_length_costs_one_block() -> None:
    good = made_spoke()
    bad = bytearray(good)
    bad[25] = 99  # resolution code
    decoder = Cat240Decoder()
    assert len(decoder.feed(good + bytes(bad) + good)) == 2
    assert (decoder.counts.damaged, decoder.counts.skipped_bytes) == (1, len(bad))


@pytest.mark.parametrize("octet", [0x80, 0x04, 0x02])
def test_a_record_that_names_an_item_which_there_is_none_of_is_damaged(octet: int) -> None:
    """CAT240 ends with RE and SP in the second octet of its FSPEC: what a third names is not known to be skipped."""
    good = made_spoke()
    assert good[3] & 1 and not good[4] & 1  # two octets
    bad = good[:1] + (len(good) + 1).to_bytes(2, "big") + bytes([good[3], good[4] | 1, octet]) + good[5:]
    decoder = Cat240Decoder()
    assert len(decoder.feed(good + bad + good)) == 2
    assert decoder.counts.damaged == 1


def test_damaged_length_costs_one_block() -> None:
    good = made_spoke()
    bad = bytearray(good)
    bad[1:3] = b"\xff\xf0"
    decoder = Cat240Decoder()
    events = decoder.feed(good + bytes(bad) + good * 2)
    more, unfinished = decoder.finish()
    assert len(events + more) == 3
    assert unfinished is None
    assert decoder.counts.damaged == 1


def test_file_cut_inside_a_block_says_where() -> None:
    good = made_spoke()
    decoder = Cat240Decoder()
    assert len(decoder.feed(good * 2 + good[:-5])) == 2
    events, unfinished = decoder.finish()
    assert events == []
    assert unfinished == (2 * len(good), len(good), len(good) - 5)


def test_datagram_cut_short_is_counted_and_forgotten() -> None:
    decoder = Cat240Decoder()
    assert decoder.datagram(made_spoke()[:-1]) == []
    assert decoder.counts.damaged == 1
    assert len(decoder.datagram(made_spoke())) == 1


def test_unknown_compression_is_counted_not_guessed() -> None:
    message = bytearray(made_spoke())
    message[24] = 0x80  # says compressed; the octets are not zlib
    decoder = Cat240Decoder()
    assert decoder.feed(bytes(message) + made_spoke()) != []
    assert (decoder.counts.unknown_compression, decoder.counts.damaged) == (1, 0)


def test_compressed_block_cannot_fill_the_memory() -> None:
    bomb = zlib.compress(bytes(50_000_000), 9)
    body = made_spoke(8, block=256)[3:-257]
    # 8 valid cells: no more than 8 octets are unpacked, whatever the stream holds.
    rep = -(-len(bomb) // 256)
    body = body[:21] + b"\x80\x04" + struct.pack(">HBHB", len(bomb), 0, 8, rep) + bomb + bytes(rep * 256 - len(bomb))
    video = one_video(struct.pack(">BH", 240, len(body) + 3) + body)
    assert video.cells.tolist() == [0] * 8


def test_expansion_and_special_purpose_are_skipped() -> None:
    plain = made_spoke(8, time_ns=NOON_NS)
    body = bytearray(plain[3:])
    body[1] |= 0b0000_0110
    body += b"\x03\xaa\xbb" + b"\x02\xcc"
    video = one_video(struct.pack(">BH", 240, len(body) + 3) + bytes(body))
    assert video.cells.tolist() == list(range(8))
    assert video.time_of_day_s == 43_200.0


@pytest.mark.parametrize("timed", [True, False])
def test_item_020_without_its_fspec_bit_is_read(timed: bool) -> None:
    message = bytearray(made_spoke(time_ns=NOON_NS if timed else None))
    assert message[3] & 0b0010_0000, "we never write it so"
    message[3] &= 0b1101_1111
    video = one_video(bytes(message))
    assert video.sequence == 7
    assert video.cells.size == 64


def test_item_020_left_out_altogether_is_unknown() -> None:
    message = made_spoke()
    body = bytes((message[3] & 0b1101_1111,)) + message[4:8] + message[12:]
    video = one_video(struct.pack(">BH", 240, len(body) + 3) + body)
    assert video.sequence is None
    assert video.to_spoke(NOON_NS).sequence == -1


@pytest.mark.parametrize(
    ("tod_s", "reference", "expected_offset_s"),
    [
        (86_399.9, 0.1, -0.2),  # made just before midnight, received just after
        (0.1, 86_399.9, 0.2),  # a radar clock a little ahead
        (43_000.0, 43_200.0, -200.0),
    ],
)
def test_time_of_day_across_midnight(tod_s: float, reference: float, expected_offset_s: float) -> None:
    midnight = 1_800_057_600 * NS_PER_S  # 2027-01-16T00:00:00Z
    reference_ns = midnight + round(reference * NS_PER_S)
    assert utc_of_day(tod_s, reference_ns) - reference_ns == pytest.approx(expected_offset_s * NS_PER_S, abs=1)


@given(st.integers(-43_199, 43_199), st.integers(0, 2_000_000_000))
def test_time_of_day_finds_the_nearest_day(offset_s: int, reference_s: int) -> None:
    true_s = reference_s + offset_s
    assert utc_of_day(float(true_s % 86_400), reference_s * NS_PER_S) == true_s * NS_PER_S


def test_spoke_from_a_message() -> None:
    spoke = one_video(made_spoke(start_cell=4, time_ns=NOON_NS)).to_spoke(NOON_NS + 3 * NS_PER_S)
    assert spoke.time_ns == NOON_NS
    assert spoke.cell_m == pytest.approx(7.5, abs=1e-6)
    assert spoke.first_cell_m == pytest.approx(30.0, abs=1e-5)
    assert spoke.azimuth_start_rad == pytest.approx(1.0, abs=TAU / 65536)
    assert (spoke.full_scale, spoke.sequence) == (255, 7)


def test_wide_cells_are_scaled_to_sixteen_bits() -> None:
    cells = np.array([0, 0x7FFF, 0x8000, 0x1_0000, 0x8000_0000, 0xFFFF_FFFF], dtype=np.uint32)
    spoke = one_video(encode_video(cells, azimuth_start_rad=0, azimuth_end_rad=0, cell_m=1.0)).to_spoke(0)
    assert spoke.full_scale == 0xFFFF
    assert spoke.echo.dtype == np.uint16
    # Rounded to nearest of 65536ths, and full scale stays full scale.
    assert spoke.echo.tolist() == [0, 0, 1, 1, 0x8000, 0xFFFF]


def test_time_of_day_past_a_day_says_nothing() -> None:
    message = bytearray(made_spoke(time_ns=NOON_NS))
    message[-3:] = (90_000 * 128).to_bytes(3, "big")
    video = one_video(bytes(message))
    assert video.time_of_day_s is None
    assert video.time_ns(123) == 123


def test_writer_refuses_what_does_not_fit() -> None:
    cells = np.zeros(8, dtype=np.uint8)
    with pytest.raises(InputError, match="does not fit in 4 bits"):
        encode_video(cells + np.uint8(16), azimuth_start_rad=0, azimuth_end_rad=0, cell_m=1.0, bits=4)
    with pytest.raises(InputError, match="cell of -1"):
        encode_video(cells, azimuth_start_rad=0, azimuth_end_rad=0, cell_m=-1.0)
    with pytest.raises(InputError, match="split the spoke"):
        encode_video(np.zeros(70_000, dtype=np.uint8), azimuth_start_rad=0, azimuth_end_rad=0, cell_m=1.0)
    with pytest.raises(InputError, match="at most 255"):
        encode_summary("x" * 256)


def test_blocks_are_handed_on_as_received() -> None:
    blocks: list[bytes] = []
    decoder = Cat240Decoder(on_block=blocks.append)
    stream = made_spoke() + b"\x30\x00\x05\x80\x01" + encode_summary("s") + made_spoke(12)
    for i in range(0, len(stream), 17):
        decoder.feed(stream[i : i + 17])
    assert blocks == [made_spoke(), encode_summary("s"), made_spoke(12)]


# --- other people's decoders -------------------------------------------------------------------------------------
