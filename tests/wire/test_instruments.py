"""One link of any kind: sentences, frames and deltas told apart line by line."""

from __future__ import annotations

import json

from hypothesis import given
from hypothesis import strategies as st

from moonless.units import NS_PER_S
from moonless.wire.instruments import InstrumentDecoder, kind_of
from moonless.wire.nmea_events import PoseSaid
from moonless.wire.sentences import MAX_LINE, write_sentence
from moonless.wire.signalk.decoder import MAX_MESSAGE

NOW_NS = 1_900_000_000 * NS_PER_S
HDT = write_sentence("HEHDT", ("90.0", "T")).encode()
FRAME = b"(1900000000.000000) can0 09F11204#00583DFF7FFF7FFC"  # 127250, heading 1.5704 rad, true
DELTA = json.dumps({"updates": [{"values": [{"path": "navigation.headingTrue", "value": 1.5}]}]}).encode()


def test_one_stream_of_three_kinds_cut_anywhere() -> None:
    stream = b"\r\n".join([b"noise", HDT, FRAME, DELTA, b"more noise", HDT, b""])
    for cut in range(0, len(stream), 7):
        decoder = InstrumentDecoder()
        said = decoder.feed(stream[:cut], NOW_NS) + decoder.feed(stream[cut:], NOW_NS)
        kinds = [(e.kind, round(e.pose.heading_true_rad or 0.0, 3)) for e in said if isinstance(e, PoseSaid)]
        assert kinds == [("HDT", 1.571), ("127250", 1.57), ("SK", 1.5), ("HDT", 1.571)]
        assert decoder.nmea.reader.counts.noise_lines == 2


def test_kinds() -> None:
    assert [kind_of(line) for line in (HDT, FRAME, DELTA, b"", b"noise")] == ["nmea", "bus", "signalk", "nmea", "nmea"]
    assert kind_of(b"$PCDIN,01F119,00000000,0F,2AAF00D1067414FF*59") == "bus"
    assert kind_of(b"$PCDIN,01F119,00000000,0F,2AAF00D1067414FF*00") == "nmea"


def test_a_line_without_end_is_bounded_and_passed_over() -> None:
    decoder = InstrumentDecoder()
    for _ in range(2000):
        decoder.feed(b"x" * 1000, NOW_NS)
        assert len(decoder._rest) <= MAX_LINE
    for _ in range(400):
        decoder.feed(b"{" * 1000, NOW_NS)
        assert len(decoder._rest) <= MAX_MESSAGE
    said = decoder.feed(b"\n" + HDT + b"\n", NOW_NS)
    assert [e.kind for e in said] == ["HDT"]
    assert decoder.nmea.reader.counts.too_long == 1


@given(st.lists(st.sampled_from([HDT, FRAME, DELTA, b"$GPRMC,,V", b"{", b"09F"]) | st.binary(max_size=60), max_size=30))
def test_any_stream_raises_nothing(lines: list[bytes]) -> None:
    decoder = InstrumentDecoder()
    decoder.feed(b"\n".join(lines), NOW_NS)
    decoder.finish(NOW_NS)
    for line in lines:
        InstrumentDecoder().datagram(line, NOW_NS)


def test_what_could_not_be_used_is_told_in_plain_lines() -> None:
    decoder = InstrumentDecoder()
    assert decoder.troubles() == []
    decoder.feed(b"(1900000000.000000) can0 09F11204#0058\r\n" * 3, NOW_NS)  # a heading of two bytes
    assert decoder.troubles() == ["messages of the bus not used: short 3"]


def test_the_very_first_line_of_a_stream_is_heard_and_the_first_after_its_end() -> None:
    decoder = InstrumentDecoder()
    assert [e.kind for e in decoder.feed(HDT + b"\r\n", NOW_NS)] == ["HDT"]
    decoder.feed(b"x" * (MAX_LINE + 1), NOW_NS)
    decoder.finish(NOW_NS)
    assert [e.kind for e in decoder.feed(HDT + b"\r\n", NOW_NS)] == ["HDT"]
    # A line that is as long as one may be is a line.
    assert decoder.nmea.reader.counts.too_long == 1
