"""AIS positions bit by bit, by a writer of its own: ITU-R M.1371-5, annex 8, tables of each message.

Longitude and latitude stand in 1/10 000 of a minute, in message 27 in 1/10 of one; speed in tenths of a knot (whole
knots in messages 9 and 27), course in tenths of a degree (whole degrees in 27).
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from moonless.wire.ais import AisAssembler, AisReport
from moonless.wire.sentences import SentenceReader

KNOT = 1852.0 / 3600.0
MMSI = 799_000_123
LAT, LON = -12.345678, 101.234567


def _armoured(bits: str) -> str:
    """Six bits a letter: 48 is added, and 8 more above 39 (NMEA 0183; ITU-R M.1371 shares the six-bit field)."""
    bits += "0" * (-len(bits) % 6)
    return "".join(chr(v + (48 if v < 40 else 56)) for v in (int(bits[i : i + 6], 2) for i in range(0, len(bits), 6)))


def _whole(*fields: tuple[int, int]) -> str:
    """(value, bits): two's complement where below zero."""
    return "".join(format(value & ((1 << n) - 1), f"0{n}b") for value, n in fields)


def _read(bits: str) -> AisReport:
    body = f"AIVDM,1,1,,A,{_armoured(bits)},{-len(bits) % 6}"
    value = 0
    for letter in body:
        value ^= ord(letter)
    (sentence,) = SentenceReader().feed(f"!{body}*{value:02X}\r\n".encode())
    report = AisAssembler().add(sentence, 0)
    assert report is not None
    return report


def _fine(degrees: float) -> int:
    return round(degrees * 600_000.0)


def _message(kind: int) -> str:
    lon, lat = (_fine(LON), 28), (_fine(LAT), 27)
    lonlat = (lon, lat)
    motion_tail = (2345, 12), (231, 9), (30, 6)
    off = (0, 1)
    head = ((kind, 6), (0, 2), (MMSI, 30))
    motion: dict[int, tuple[Any, ...]] = {
        # status, rate of turn, speed, accuracy, place, course, heading, second, manoeuvre, spare, RAIM, radio
        1: ((7, 4), (0, 8), (123, 10), (1, 1), *lonlat, *motion_tail, (0, 2), (0, 3), off, (0, 19)),
        # year, month, day, hour, minute, second, accuracy, place, device, ...
        4: ((2025, 14), (1, 4), (2, 5), (3, 5), (4, 6), (5, 6), (1, 1), lon, lat, (1, 4), (0, 10), (0, 1), (0, 19)),
        # altitude, speed in knots, accuracy, place, course, second, ...
        9: ((300, 12), (123, 10), (1, 1), *lonlat, (2345, 12), (30, 6), (0, 8), off, (0, 3), off, off, (0, 20)),
        # reserved, speed, accuracy, place, course, heading, second, ...
        18: ((0, 8), (123, 10), (1, 1), *lonlat, *motion_tail, (0, 2), (1, 1), (0, 7), (0, 20)),
        19: (
            (0, 8), (123, 10), (1, 1), *lonlat, *motion_tail, (0, 4), (0, 120), (37, 8),
            (12, 9), (4, 9), (2, 6), (3, 6), (1, 4), (0, 1), (0, 1), (0, 1), (0, 4),
        ),
        # kind of aid, name, accuracy, place, dimensions, device, second, off position, ...
        21: (
            (1, 5), (0, 120), (1, 1), *lonlat, (0, 30), (1, 4), (30, 6), off, (0, 8), off, off, off, off,
        ),
        # accuracy, RAIM, status, longitude and latitude in tenths of a minute, knots, degrees, ...
        27: ((1, 1), off, (7, 4), (round(LON * 600.0), 18), (round(LAT * 600.0), 17), (12, 6), (234, 9), off, off),
    }  # fmt: skip
    motion[2] = motion[3] = motion[1]
    return _whole(*head, *motion[kind])


@pytest.mark.parametrize("kind", [1, 2, 3, 4, 9, 18, 19, 21, 27])
def test_every_message_with_a_place_puts_it_where_its_bits_do(kind: int) -> None:
    said = _read(_message(kind))
    assert (said.mmsi, said.message_type) == (MMSI, kind)
    # One count: 1/10 000 of a minute is 1.7e-6 degrees; a tenth of a minute 1.7e-3.
    count = 1.0 / 600.0 if kind == 27 else 1.0 / 600_000.0
    assert said.lat_deg == pytest.approx(LAT, abs=0.51 * count)
    assert said.lon_deg == pytest.approx(LON, abs=0.51 * count)


@pytest.mark.parametrize(("kind", "knots"), [(1, 12.3), (3, 12.3), (9, 123.0), (18, 12.3), (19, 12.3), (27, 12.0)])
def test_speed_and_course_by_their_bits(kind: int, knots: float) -> None:
    said = _read(_message(kind))
    assert said.sog == pytest.approx(knots * KNOT, rel=1e-6)
    assert math.degrees(said.cog_rad or 0.0) == pytest.approx(234.0 if kind == 27 else 234.5)
    if kind in (1, 3, 18, 19):
        assert math.degrees(said.heading_rad or 0.0) == pytest.approx(231.0)
    assert said.nav_status == (7 if kind in (1, 3, 27) else None)


def test_a_class_b_hull_by_its_bits() -> None:
    said = _read(_message(19))
    assert (said.to_bow_m, said.to_stern_m, said.to_port_m, said.to_starboard_m) == (12, 4, 2, 3)
    assert (said.length_m, said.beam_m, said.ship_type) == (16.0, 5.0, 37)


@pytest.mark.parametrize(
    ("count", "deg_min"),
    [(0, 0.0), (-80, -((80 / 4.733) ** 2)), (50, (50 / 4.733) ** 2)],
)
def test_rate_of_turn_by_its_square(count: int, deg_min: float) -> None:
    # M.1371-5, message 1: the count is 4.733 times the root of degrees a minute, minus to port.
    bits = _message(1)
    said = _read(bits[:42] + _whole((count, 8)) + bits[50:])
    assert math.degrees(said.turn_rate or 0.0) * 60.0 == pytest.approx(deg_min, abs=0.51)


# Published: pyais 3.3 README and tests carry this sentence, whose fields are read by several decoders alike.
@pytest.mark.parametrize(
    ("line", "mmsi", "lat", "lon", "knots", "course"),
    [
        ("!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5C", 477553000, 47.582833, -122.345833, 0.0, 51.0),
    ],
)
def test_published_sentences(line: str, mmsi: int, lat: float, lon: float, knots: float, course: float) -> None:
    (sentence,) = SentenceReader().feed(line.encode() + b"\r\n")
    said = AisAssembler().add(sentence, 0)
    assert said is not None and said.mmsi == mmsi
    assert (said.lat_deg, said.lon_deg) == pytest.approx((lat, lon), abs=1e-6)
    assert said.sog == pytest.approx(knots * KNOT)
    assert math.degrees(said.cog_rad or 0.0) == pytest.approx(course)
