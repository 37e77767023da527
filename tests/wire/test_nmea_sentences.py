"""Sentences out of bytes: cut anywhere, damaged, over-long, with tag blocks; nothing crashes."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from moonless.units import NS_PER_S, utc_to_ns
from moonless.wire import nmea_write as write
from moonless.wire.nmea import NmeaDecoder
from moonless.wire.sentences import MAX_LINE, SentenceReader, checksum

NOW_NS = utc_to_ns(datetime(2027, 1, 15, 12, 0, tzinfo=UTC))


def _said(*lines: str, received_ns: int = NOW_NS) -> list[Any]:
    return NmeaDecoder().feed("".join(line + "\r\n" for line in lines).encode(), received_ns)


@given(st.binary(max_size=400))
def test_arbitrary_bytes_never_crash(data: bytes) -> None:
    decoder = NmeaDecoder()
    decoder.feed(data, NOW_NS)
    decoder.finish(NOW_NS)


_KINDS = ["RMC", "GGA", "GLL", "VTG", "HDT", "HDG", "ROT", "ZDA", "DPT", "DBT", "MWV", "VHW", "TTM", "TLL"]
_ODD = ["", "A", "V", "N", "1", "12", "-3.5", "120000", "4807.038", "E", "T", "nan", "1e9", "\u00e9", "x" * 30]


@given(st.sampled_from(_KINDS), st.lists(st.sampled_from(_ODD), max_size=16))
def test_arbitrary_fields_never_crash(kind: str, fields: list[str]) -> None:
    body = ",".join([f"GP{kind}", *fields]).encode("latin-1")
    NmeaDecoder().feed(b"$" + body + b"*%02X\r\n" % checksum(body), NOW_NS)


@given(st.lists(st.integers(1, 80), max_size=8))
def test_lines_cut_anywhere_give_the_same(cuts: list[int]) -> None:
    stream = b"".join(
        line.encode() + b"\r\n"
        for line in (write.write_rmc(NOW_NS, 10.0, 20.0, 1.0, 3.0), write.write_hdt(0.5), write.write_zda(NOW_NS))
    )
    decoder, at, events = NmeaDecoder(), 0, []
    for cut in [*cuts, len(stream)]:
        events += decoder.feed(stream[at : at + cut], NOW_NS)
        at += cut
    assert [e.kind for e in events] == ["RMC", "RMC", "HDT", "ZDA"]


@given(st.binary(max_size=60).filter(lambda b: not set(b) & set(b"$!*\\\r\n")))
def test_noise_before_a_sentence_is_passed_over(noise: bytes) -> None:
    events = NmeaDecoder().feed(noise + b"$GPHDT,274.07,T*03\r\n", NOW_NS)
    assert len(events) == 1


def test_a_sentence_that_lost_its_end_is_not_believed() -> None:
    decoder = NmeaDecoder()
    assert decoder.feed(b"$GPHDT,27\r\n$GPHDT,27$GPHDT,274.07,T*03\r\n", NOW_NS)[0].kind == "HDT"
    assert decoder.reader.counts.no_checksum == 1


def test_over_long_lines_are_dropped_and_the_next_is_read() -> None:
    reader = SentenceReader()
    for _ in range(5):
        assert reader.feed(b"x" * (MAX_LINE // 2)) == []
    assert len(reader.feed(b"tail\r\n$GPHDT,274.07,T*03\r\n")) == 1
    assert reader.counts.too_long == 1
    # And every one after it.
    assert len(reader.feed(b"$GPHDT,274.07,T*03\r\n$GPHDT,275.07,T*02\r\n")) == 2
    # What looks like a sentence in the tail of such a line is no line of its own.
    assert reader.feed(b"x" * (MAX_LINE + 1)) == []
    assert reader.feed(b"x$GPHDT,1.0,T*34\r\n") == []


def test_tag_block_gives_the_time() -> None:
    tag = "c:1418169601,s:station,g:1-1-5"
    line = f"\\{tag}*{checksum(tag.encode()):02X}\\$GPHDT,274.07,T*03"
    (hdt,) = _said(line)
    assert (hdt.time_ns, hdt.is_timed) == (1_418_169_601 * NS_PER_S, True)
    decoder = NmeaDecoder()
    (hdt,) = decoder.feed(line.replace("station", "statiom").encode() + b"\r\n", NOW_NS)
    assert not hdt.is_timed
    assert decoder.reader.counts.bad_tag == 1
