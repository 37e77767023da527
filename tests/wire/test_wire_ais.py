"""AIS: what is not available is not known, and parts that do not belong together stay apart."""

from __future__ import annotations

import math
from typing import Any

import pytest

from moonless.units import NS_PER_S, kn_to_mps
from moonless.wire.ais import AisAssembler, AisReport, encode_ais
from moonless.wire.sentences import SentenceReader

GOOD = {"type": 1, "mmsi": 799000001, "lat": 10.5, "lon": -20.25, "speed": 12.3, "course": 45.6, "heading": 50}


def _read(lines: list[str], assembler: AisAssembler | None = None, at_ns: int = 0) -> list[AisReport]:
    assembler = assembler or AisAssembler()
    sentences = SentenceReader().feed(("\r\n".join(lines) + "\r\n").encode())
    reports = [assembler.add(sentence, at_ns) for sentence in sentences]
    return [report for report in reports if report is not None]


def _said(**change: Any) -> AisReport:
    (report,) = _read(encode_ais({**GOOD, "second": 30, **change}))
    return report


def test_a_position_as_it_was_written() -> None:
    said = _said()
    assert (said.says, said.mmsi, said.second, said.is_own) == ("position", 799000001, 30, False)
    assert (said.lat_deg, said.lon_deg) == (pytest.approx(10.5, abs=1e-6), pytest.approx(-20.25, abs=1e-6))
    assert said.sog == pytest.approx(kn_to_mps(12.3))
    assert math.degrees(said.cog_rad or 0.0) == pytest.approx(45.6)
    assert math.degrees(said.heading_rad or 0.0) == pytest.approx(50.0)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        # ITU-R M.1371-5, annex 8, message 1: the value of each field that says "not available".
        ({"lat": 91.0, "lon": 181.0}, "lat_deg"), ({"speed": 102.3}, "sog"), ({"course": 360.0}, "cog_rad"),
        ({"heading": 511}, "heading_rad"), ({"turn": -128}, "turn_rate"), ({"second": 60}, "second"),
        ({"status": 15}, "nav_status"),
    ],
)  # fmt: skip
def test_what_is_not_available_is_not_known(change: dict[str, Any], field: str) -> None:
    assert getattr(_said(**change), field) is None


@pytest.mark.parametrize(("change", "value"), [({"speed": 0.0}, 0.0), ({"course": 0.0}, 0.0), ({"heading": 0}, 0.0)])
def test_nought_is_a_value(change: dict[str, Any], value: float) -> None:
    field = {"speed": "sog", "course": "cog_rad", "heading": "heading_rad"}[next(iter(change))]
    assert getattr(_said(**change), field) == value


@pytest.mark.parametrize("second", [61, 62, 63])
@pytest.mark.parametrize("kind", [1, 3, 18])
def test_a_position_nobody_measured_is_none(kind: int, second: int) -> None:
    # ITU-R M.1371-5, time stamp: 61 by hand, 62 reckoned, 63 the position system does not work.
    said = _said(type=kind, second=second)
    assert (said.says, said.lat_deg, said.lon_deg) == ("other", None, None)
    assert _said(type=kind, second=59).says == "position"
    assert _said(type=kind, second=60).says == "position"


def test_an_aid_keeps_its_place() -> None:
    # An aid's place is surveyed; its time stamp says how the off-position word is to be taken.
    aid: dict[str, str | int | float | bytes] = {
        "type": 21, "mmsi": 997990001, "lat": 10.5, "lon": -20.25, "name": "MADE", "off_position": True,
    }  # fmt: skip
    (still,) = _read(encode_ais({**aid, "second": 61}))
    assert (still.says, still.lat_deg is not None, still.is_off_position) == ("aid", True, False)
    (adrift,) = _read(encode_ais({**aid, "second": 5}))
    assert adrift.is_off_position


STATIC: dict[str, str | int | float | bytes] = {
    "type": 5,
    "mmsi": 799000001,
    "shipname": "EXAMPLE",
    "to_bow": 10,
    "to_stern": 5,
    "to_port": 2,
    "to_starboard": 2,
}


def test_a_hull_of_no_size_is_of_unknown_size() -> None:
    (said,) = _read(encode_ais(STATIC))
    assert (said.says, said.name, said.length_m, said.beam_m) == ("static", "EXAMPLE", 15.0, 4.0)
    (bare,) = _read(encode_ais({**STATIC, "to_bow": 0, "to_stern": 0, "to_port": 0, "to_starboard": 0}))
    assert (bare.length_m, bare.beam_m) == (None, None)
    (bow,) = _read(encode_ais({**STATIC, "to_bow": 0}))
    assert bow.length_m == 5.0


def test_parts_of_two_messages_are_not_joined() -> None:
    first, second = encode_ais(STATIC, sequence=1)
    assert _read([first, second]) != []
    assert _read([second, first]) != []  # whatever came first
    other = encode_ais(STATIC, sequence=2)
    channel = encode_ais(STATIC, sequence=1, channel="B")
    for stranger in (other[1], channel[1], encode_ais(STATIC, own=True, sequence=1)[1]):
        assert _read([first, stranger]) == []
    # A part that came ten seconds ago belongs to nothing any more.
    assembler = AisAssembler()
    assert _read([first], assembler, 0) == []
    assert _read([second], assembler, 11 * NS_PER_S) == []
    assert assembler.counts.refused["part missing"] == 1
    assembler = AisAssembler()
    assert _read([first], assembler, 0) == []
    assert len(_read([second], assembler, 9 * NS_PER_S)) == 1


def test_what_cannot_be_read_is_counted() -> None:
    assembler = AisAssembler()
    assert _read(["!AIVDM,1,1,,A,,0*26", "!AIVDM,2,3,1,A,15,0*39", "!AIVDM,x,1,,A,15,0*1F"], assembler) == []
    assert sum(assembler.counts.refused.values()) == assembler.counts.sentences


def _sealed(body: str) -> str:
    total = 0
    for octet in body.encode():
        total ^= octet
    return f"!{body}*{total:02X}"


def test_a_message_cut_anywhere_gives_no_half_position() -> None:
    # Six bits a letter; longitude ends with bit 89, latitude with bit 116 (ITU-R M.1371-5, message 1).
    (whole,) = encode_ais({**GOOD, "second": 30})
    payload = whole.split(",")[5]
    for letters in range(1, len(payload)):
        assembler = AisAssembler()
        said = _read([_sealed(f"AIVDM,1,1,,A,{payload[:letters]},0")], assembler)
        assert len(said) + sum(assembler.counts.refused.values()) == 1
        for report in said:
            assert (report.lat_deg is None) == (report.lon_deg is None)
            if letters * 6 < 89:
                assert report.lat_deg is None


@pytest.mark.parametrize("fields", ["", "1", "1,1", "1,1,,A", "1,1,,A,177KQJ5000G?tO`K>RA1wUbN0TKH"])
def test_a_sentence_of_too_few_fields_is_counted(fields: str) -> None:
    assembler = AisAssembler()
    assert _read([_sealed(f"AIVDM,{fields}")], assembler) == []
    assert assembler.counts.refused["fields"] == assembler.counts.sentences == 1
