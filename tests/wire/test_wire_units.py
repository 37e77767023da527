"""Units, signs and letters of NMEA 0183, each against figures written out by hand.

A nautical mile is 1852 m (SI brochure, 9th ed., table 8); a foot 0.3048 m and a statute mile 1609.344 m (international
yard and pound agreement, 1959); a fathom six feet.  Field orders: pynmea2 1.19 and go-nmea (adrianmo).
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

import pytest

from moonless.units import utc_to_ns
from moonless.wire.nmea import NmeaDecoder
from moonless.wire.nmea_events import NoFixSaid, PoseSaid
from moonless.wire.nmea_write import write_ttm
from moonless.wire.sentences import checksum

NOW_NS = utc_to_ns(datetime(2025, 1, 1, 0, 30, tzinfo=UTC))
D = math.radians


def _sealed(body: str) -> str:
    """A sentence with its checksum: the exclusive or of what stands between $ and *."""
    value = 0
    for letter in body:
        value ^= ord(letter)
    return f"${body}*{value:02X}\r\n"


def _said(*bodies: str) -> list[Any]:
    return NmeaDecoder().feed("".join(_sealed(body) for body in bodies).encode("ascii"), NOW_NS)


def _one(body: str) -> Any:
    (event,) = _said(body)
    return event


@pytest.mark.parametrize(
    ("fields", "true_deg"),
    [
        # Correcting a compass heading (a rule of every manual of seamanship): easterly deviation and variation are
        # added, westerly ones taken away.
        ("085.0,3.0,E,7.0,W", 81.0),
        ("085.0,3.0,W,7.0,W", 75.0),
        ("085.0,3.0,W,7.0,E", 89.0),
        ("085.0,3.0,E,7.0,E", 95.0),
        ("085.0,,,7.0,E", 92.0),
        ("358.0,4.0,E,,", None),  # without a variation it is no true heading
        ("358.0,4.0,E,5.0,E", 7.0),
        ("002.0,4.0,W,5.0,W", 353.0),
    ],
)
def test_a_compass_heading_is_corrected_by_deviation_and_variation(fields: str, true_deg: float | None) -> None:
    events = _said(f"HCHDG,{fields}")
    assert [math.degrees(e.pose.heading_true_rad) for e in events] == pytest.approx(
        [] if true_deg is None else [true_deg]
    )


@pytest.mark.parametrize(
    ("lat", "lon", "declination_deg"),
    [
        # WMM2025_TEST_VALUES.txt (NOAA/NCEI), 2025.0, height 0 km: latitude, longitude, declination.
        ("8000.0,N", "00000.0,E", 1.28), ("0000.0,N", "12000.0,E", -0.16), ("8000.0,S", "12000.0,W", 68.78),
    ],
)  # fmt: skip
@pytest.mark.parametrize("body", ["HCHDG,010.0,,,,", "HCHDM,010.0,M", "HCHDG,008.5,1.5,E,44.0,W"])
def test_variation_of_the_place_is_added_when_east(lat: str, lon: str, declination_deg: float, body: str) -> None:
    """The model's variation at the last place goes before what the sentence says of it; east is added."""
    heading = _said(f"GPRMC,003000,A,{lat},{lon},0.1,,010125,,,A", body)[-1]
    off = math.degrees(heading.pose.heading_true_rad) - (10.0 + declination_deg)
    # The table gives 0.01 degrees; the grid that is remembered moves it by up to 0.02.
    assert abs(math.remainder(off, 360.0)) < 0.04
    assert heading.is_magnetic


@pytest.mark.parametrize(
    ("body", "mps"),
    [
        # 10 kn is 18.52 km/h is 5.1444 m/s.
        ("GPVTG,90.0,T,,M,10.0,N,18.52,K,A", 5.144444),
        ("GPVTG,90.0,T,,M,,N,18.52,K,A", 5.144444),
        ("GPVTG,90.0,T,,M,10.0,N,,K,A", 5.144444),
    ],
)
def test_speed_over_ground_in_knots_or_kilometres_an_hour(body: str, mps: float) -> None:
    pose = _one(body).pose
    assert pose.sog == pytest.approx(mps, rel=1e-6) and pose.cog_rad == pytest.approx(D(90.0))


@pytest.mark.parametrize("body", ["VWVHW,,T,,M,10.0,N,18.52,K", "VWVHW,,T,,M,,N,18.52,K", "VWVHW,,T,,M,10.0,N,,K"])
def test_speed_through_the_water_in_knots_or_kilometres_an_hour(body: str) -> None:
    assert _one(body).speed == pytest.approx(5.144444, rel=1e-6)


@pytest.mark.parametrize(
    ("unit", "mps"),
    [("N", 10.0 * 1852.0 / 3600.0), ("K", 10.0 / 3.6), ("M", 10.0), ("S", 10.0 * 1609.344 / 3600.0)],
)
@pytest.mark.parametrize(("letter", "is_apparent"), [("R", True), ("T", False)])
def test_wind_in_every_unit(unit: str, mps: float, letter: str, is_apparent: bool) -> None:
    wind = _one(f"WIMWV,315.0,{letter},10.0,{unit},A")
    assert wind.speed == pytest.approx(mps, rel=1e-9) and wind.is_apparent is is_apparent
    assert wind.from_rad == pytest.approx(D(315.0))
    assert _said(f"WIMWV,315.0,{letter},10.0,{unit},V") == []


@pytest.mark.parametrize(
    ("body", "metres"),
    [
        ("IIDBT,,f,10.00,M,,F", 10.0),
        ("IIDBT,32.81,f,,M,,F", 32.81 * 0.3048),
        ("IIDBT,,f,,M,5.0,F", 5.0 * 6.0 * 0.3048),
        ("IIDBT,99.0,f,10.00,M,99.0,F", 10.0),  # metres where all are said
    ],
)
def test_depth_in_metres_feet_and_fathoms(body: str, metres: float) -> None:
    said = _one(body)
    assert said.below_transducer_m == pytest.approx(metres, rel=1e-9)
    assert said.below_surface_m is None and said.offset_m is None


@pytest.mark.parametrize(
    ("offset", "below_surface_m"),
    [("0.5", 8.5), ("-0.5", None), ("0.0", None), ("", None)],
)
def test_only_an_offset_to_the_waterline_gives_depth_from_the_surface(
    offset: str, below_surface_m: float | None
) -> None:
    # DPT: above zero the transducer lies so far below the waterline; below zero it is the keel's, below the transducer.
    said = _one(f"SDDPT,8.0,{offset},100.0")
    assert said.below_transducer_m == 8.0 and said.below_surface_m == below_surface_m
    assert said.offset_m == (float(offset) if offset else None)


@pytest.mark.parametrize(("unit", "metre"), [("N", 1852.0), ("K", 1000.0), ("S", 1609.344), ("", 1852.0)])
@pytest.mark.parametrize("sense", ["T", "R"])
def test_tracked_targets_in_every_unit(unit: str, metre: float, sense: str) -> None:
    said = _one(f"RATTM,07,2.50,045.0,{sense},12.0,200.0,T,0.40,-3.5,{unit},HER,T,,003000,A")
    assert said.range_m == pytest.approx(2.5 * metre)
    assert said.speed == pytest.approx(12.0 * metre / 3600.0)
    assert said.cpa_m == pytest.approx(0.4 * metre)
    assert said.tcpa_s == pytest.approx(-3.5 * 60.0)  # minutes, below zero: past
    assert said.bearing_rad == pytest.approx(D(45.0)) and said.is_relative is (sense == "R")
    assert said.course_rad == pytest.approx(D(200.0))
    assert (said.number, said.name, said.status) == (7, "HER", "T")


@pytest.mark.parametrize(
    ("lat", "lon", "expected"),
    [
        ("4807.038,N", "01131.000,E", (48.1173, 11.516667)),
        ("4807.038,S", "01131.000,W", (-48.1173, -11.516667)),
        ("0000.600,S", "17959.940,W", (-0.01, -179.999)),
    ],
)
@pytest.mark.parametrize("kind", ["RMC", "GGA", "GLL", "TLL"])
def test_places_and_their_letters(kind: str, lat: str, lon: str, expected: tuple[float, float]) -> None:
    body = {
        "RMC": f"GPRMC,003000,A,{lat},{lon},10.0,270.0,010125,,,A",
        "GGA": f"GPGGA,003000,{lat},{lon},1,08,0.9,5.0,M,46.9,M,,",
        "GLL": f"GPGLL,{lat},{lon},003000,A,A",
        "TLL": f"RATLL,3,{lat},{lon},A,003000,T,",
    }[kind]
    said = _said(body)[-1]
    at = said if kind == "TLL" else said.pose
    assert (at.lat_deg, at.lon_deg) == pytest.approx(expected, abs=1e-6)
    if kind == "RMC":
        assert (at.sog, at.cog_rad) == pytest.approx((10.0 * 1852.0 / 3600.0, D(270.0)))


def test_rate_of_turn_is_degrees_a_minute_and_minus_to_port() -> None:
    assert _one("HEROT,-30.0,A").pose.turn_rate == pytest.approx(-D(0.5))
    assert _one("HEROT,12.0,A").pose.turn_rate == pytest.approx(D(0.2))
    assert _said("HEROT,12.0,V") == []


PLACE = "4807.038,N,01131.000,E"


@pytest.mark.parametrize(
    ("body", "is_fix"),
    [
        # Status A valid, V not; mode A and D fixes, E reckoned, M typed in, S played, N none; quality 0 none, 1 and 2
        # fixes, 6 reckoned, 7 typed in, 8 simulated (NMEA 0183 as go-nmea and pynmea2 have it).
        *[(f"GPRMC,003000,{status},{PLACE},10.0,270.0,010125,,,{mode}", status == "A" and mode in "AD")
          for status in "AV" for mode in "ADEMSN"],
        *[(f"GPGLL,{PLACE},003000,{status},{mode}", status == "A" and mode in "AD")
          for status in "AV" for mode in "ADEMSN"],
        (f"GPGLL,{PLACE},003000,V", False),
        *[(f"GPGGA,003000,{PLACE},{quality},08,0.9,5.0,M,46.9,M,,", quality in "12") for quality in "0126780"],
        *[(f"GPVTG,90.0,T,,M,10.0,N,18.52,K,{mode}", mode in "AD") for mode in "ADEMSN"],
    ],
)  # fmt: skip
def test_what_is_no_fix_gives_neither_place_nor_motion(body: str, is_fix: bool) -> None:
    poses = [said.pose for said in _said(body) if isinstance(said, PoseSaid)]
    assert bool(poses) is is_fix
    assert is_fix or any(isinstance(said, NoFixSaid) for said in _said(body))


@pytest.mark.parametrize(
    ("body", "is_told"), [("HETHS,90.0,A", True), *[(f"HETHS,90.0,{mode}", False) for mode in "EMSV"]]
)
def test_a_heading_that_is_reckoned_or_played_is_none(body: str, is_told: bool) -> None:
    assert bool(_said(body)) is is_told


def test_another_radars_course_from_the_bow_is_no_course() -> None:
    said = _one("RATTM,07,2.50,045.0,T,12.0,200.0,R,0.40,-3.5,N,HER,T,,003000,A")
    assert said.course_rad is None and said.speed == pytest.approx(12.0 * 1852.0 / 3600.0)


def test_a_target_sent_out_is_in_miles_knots_and_minutes() -> None:
    # Half a mile, ten knots, three tenths of a mile in a minute and a half, past: by hand.
    line = write_ttm(
        3,
        range_m=926.0,
        bearing_rad=D(45.0),
        speed=5.144444,
        course_rad=D(270.0),
        cpa_m=555.6,
        tcpa_s=-90.0,
        name="HER",
    )
    assert line.partition("*")[0] == "$RATTM,03,0.500,45.0,T,10.0,270.0,T,0.300,-1.5,N,HER,T,,,A"


@pytest.mark.parametrize("tag", ["c:1000", "c:1420072201", "c:1735691401"])  # never set, ten years late, and right
def test_a_tag_from_another_day_does_not_move_a_position_there(tag: str) -> None:
    # 1735691401 is 2025-01-01 00:30:01 UTC: date -u -d @1735691401.
    dated = _sealed(f"GPRMC,003000,A,{PLACE},10.0,270.0,010125,,,A")
    tagged = f"\\{tag}*{checksum(tag.encode()):02X}\\" + _sealed(f"GPGGA,003001,{PLACE},1,08,0.9,5.0,M,46.9,M,,")
    said = NmeaDecoder().feed((dated + tagged).encode("ascii"), NOW_NS)[-1]
    assert said.time_ns == utc_to_ns(datetime(2025, 1, 1, 0, 30, 1, tzinfo=UTC))
