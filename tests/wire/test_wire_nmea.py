"""NMEA 0183: published samples, round trips, noise."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.constants import TAU
from moonless.units import NS_PER_S, kn_to_mps, ns_to_utc, utc_to_ns
from moonless.wire import nmea_write as write
from moonless.wire.nmea import NmeaDecoder
from moonless.wire.nmea_events import (
    AisSaid,
    ClockSaid,
    DepthLostSaid,
    DepthSaid,
    NoFixSaid,
    PoseSaid,
    TargetPlaceSaid,
    TargetSaid,
    WaterSaid,
    WindSaid,
)
from moonless.wire.sentences import checksum, write_sentence

NOW_NS = utc_to_ns(datetime(2027, 1, 15, 12, 0, tzinfo=UTC))


def _said(*lines: str, received_ns: int = NOW_NS) -> list[Any]:
    return NmeaDecoder().feed("".join(line + "\r\n" for line in lines).encode(), received_ns)


# The samples are those that pynmea2 1.19 (tests and types/talker.py), go-nmea (adrianmo) and nmea-kit 0.5 publish;
# values are read off the sentence by the field orders those sources give.


def test_rmc_sample() -> None:
    clock, fix = _said("$GNRMC,220516,A,5133.82,N,00042.24,W,173.8,231.8,130694,004.2,W*6E")
    assert isinstance(clock, ClockSaid)
    assert ns_to_utc(clock.time_ns) == datetime(1994, 6, 13, 22, 5, 16, tzinfo=UTC)
    assert isinstance(fix, PoseSaid)
    assert (fix.time_ns, fix.is_timed, fix.talker) == (clock.time_ns, True, "GN")
    assert fix.pose.lat_deg == pytest.approx(51 + 33.82 / 60, abs=1e-12)
    assert fix.pose.lon_deg == pytest.approx(-42.24 / 60, abs=1e-12)
    assert fix.pose.sog == pytest.approx(173.8 * 1852 / 3600)
    assert fix.pose.cog_rad == pytest.approx(math.radians(231.8))


def test_gga_sample_takes_the_nearest_day() -> None:
    (fix,) = _said("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47")
    assert fix.pose.lat_deg == pytest.approx(48 + 7.038 / 60, abs=1e-12)
    assert fix.pose.lon_deg == pytest.approx(11 + 31.0 / 60, abs=1e-12)
    assert ns_to_utc(fix.time_ns) == datetime(2027, 1, 15, 12, 35, 19, tzinfo=UTC)


def test_a_time_without_date_follows_the_last_date_said() -> None:
    rmc = "$GNRMC,220516,A,5133.82,N,00042.24,W,173.8,231.8,130694,004.2,W*6E"
    gga = write_sentence("GPGGA", ["220517", "5133.82", "N", "00042.24", "W", "1", *[""] * 8])
    fix = _said(rmc, gga)[-1]
    assert ns_to_utc(fix.time_ns) == datetime(1994, 6, 13, 22, 5, 17, tzinfo=UTC)


def test_heading_samples() -> None:
    (hdt,) = _said("$GPHDT,274.07,T*03")
    assert hdt.pose.heading_true_rad == pytest.approx(math.radians(274.07))
    assert (hdt.is_magnetic, hdt.is_timed, hdt.time_ns) == (False, False, NOW_NS)
    # No position yet: the sentence's own 12.6 W serves.
    (hdg,) = _said("$HCHDG,98.3,0.0,E,12.6,W*57")
    assert hdg.pose.heading_true_rad == pytest.approx(math.radians(98.3 - 12.6))
    assert hdg.is_magnetic


def test_compass_is_corrected_by_the_model_where_the_boat_is() -> None:
    # WMM2025 test values (NOAA/NCEI, WMM2025_TEST_VALUES.txt): 2025.0, 28 km... the table's declinations are checked in
    # test_wire_magnetic; here only that the correction is the model's and not the sentence's.
    from moonless.wire.magnetic import variation_at

    lines = [write.write_rmc(NOW_NS, 47.62, -122.35, None, 0.1), "$HCHDG,98.3,0.0,E,12.6,W*57"]
    hdg = _said(*lines)[-1]
    expected = math.radians(98.3) + variation_at(47.62, -122.35, NOW_NS)
    assert hdg.pose.heading_true_rad == pytest.approx(expected)


def test_compass_without_any_variation_is_not_passed_for_true() -> None:
    decoder = NmeaDecoder()
    assert decoder.feed((write.write_hdg(1.0) + "\r\n").encode(), NOW_NS) == []
    assert decoder.counts.no_variation == 1


def test_other_samples() -> None:
    (vtg,) = _said("$GPVTG,45.5,T,67.5,M,30.45,N,56.40,K*4B")
    assert vtg.pose.cog_rad == pytest.approx(math.radians(45.5))
    assert vtg.pose.sog == pytest.approx(kn_to_mps(30.45))
    (vhw,) = _said("$VWVHW,45.0,T,43.0,M,3.5,N,6.4,K*56")
    assert isinstance(vhw, WaterSaid)
    assert vhw.speed == pytest.approx(kn_to_mps(3.5))
    (dpt,) = _said("$SDDPT,0.5,0.5,*7B")
    assert isinstance(dpt, DepthSaid)
    assert (dpt.below_transducer_m, dpt.offset_m, dpt.below_surface_m) == (0.5, 0.5, 1.0)
    (dbt,) = _said("$IIDBT,032.93,f,010.04,M,005.42,F*2C")
    assert (dbt.below_transducer_m, dbt.below_surface_m) == (10.04, None)
    (mwv,) = _said("$WIMWV,12.1,T,10.1,N,A*27")
    assert isinstance(mwv, WindSaid)
    assert (mwv.from_rad, mwv.is_apparent) == (pytest.approx(math.radians(12.1)), False)
    assert mwv.speed == pytest.approx(kn_to_mps(10.1))
    (rot,) = _said("$HEROT,-11.23,A*07")
    assert rot.pose.turn_rate == pytest.approx(math.radians(-11.23) / 60)
    (zda,) = _said("$GPZDA,172809.456,12,07,1996,00,00*57")
    assert ns_to_utc(zda.time_ns) == datetime(1996, 7, 12, 17, 28, 9, 456_000, tzinfo=UTC)


def test_a_sounder_without_bottom_is_alive_and_says_no_depth() -> None:
    for lost in (write.write_dpt(None), write.write_dpt(0.0), write_sentence("SDDBT", ["", "f", "", "M", "", "F"])):
        assert [type(e) for e in _said(lost)] == [DepthLostSaid]


def test_tracked_target_samples() -> None:
    (first,) = _said("$RATTM,02,1.43,170.5,T,0.16,264.4,T,1.42,36.9,N,,T,,,M*2A")
    assert isinstance(first, TargetSaid)
    assert (first.number, first.is_relative, first.status, first.name) == (2, False, "T", None)
    assert first.range_m == pytest.approx(1.43 * 1852)
    assert first.tcpa_s == pytest.approx(36.9 * 60)
    assert first.cpa_m == pytest.approx(1.42 * 1852)
    assert first.speed == pytest.approx(kn_to_mps(0.16))
    (second,) = _said("$RATTM,01,0.2,190.8,T,12.1,109.7,T,0.1,0.5,N,TGT01,T,,100021.00,A*79")
    assert (second.name, second.is_timed) == ("TGT01", True)
    (place,) = _said("$RATLL,1,3646.54266,N,00235.37778,W,test,020915,L,R*78")
    assert isinstance(place, TargetPlaceSaid)
    assert (place.number, place.name, place.status) == (1, "test", "L")
    assert place.lat_deg == pytest.approx(36 + 46.54266 / 60)
    assert place.lon_deg == pytest.approx(-(2 + 35.37778 / 60))


@pytest.mark.parametrize(
    "line",
    [
        "$RATLB,1,XXX*20",
        "$RAOSD,179.0,A,179.0,M,00.0,M,,,N*76",
        "$RARSD,0.00,,2.50,005.0,0.00,,4.50,355.0,,,3.0,N,H*51",
        "$IIRTE,4,1,c,Rte 1,411,412,413,414,415*6F",
        "$IIWPL,5503.4530,N,01037.2742,E,411*6F",
        "$GPAPB,A,A,0.10,R,N,V,V,011,M,DEST,011,M,011,M*3C",
    ],
)
def test_kinds_that_say_nothing_we_need_are_counted(line: str) -> None:
    decoder = NmeaDecoder()
    assert decoder.feed(line.encode() + b"\r\n", NOW_NS) == []
    assert decoder.reader.counts.sentences == 1
    assert sum(decoder.counts.unused.values()) == 1


def test_the_sample_that_is_copied_with_a_wrong_checksum_is_refused() -> None:
    decoder = NmeaDecoder()
    assert decoder.feed(b"$GPAPB,A,A,0.10,R,N,V,V,011,M,DEST,011,M,011,M*82\r\n", NOW_NS) == []
    assert decoder.reader.counts.bad_checksum == 1


def test_no_fix_is_said_and_gives_no_position() -> None:
    (void,) = _said(write.write_rmc(NOW_NS, None, None, None, None))
    assert isinstance(void, NoFixSaid)
    (gga,) = _said(write.write_gga(NOW_NS, None, None))
    assert isinstance(gga, NoFixSaid)
    fields = ["120000", "A", "1000.0", "N", "02000.0", "E", "5.0", "90.0", "150127", "", "", "E"]
    reckoned = write_sentence("GPRMC", fields)
    assert [type(e) for e in _said(reckoned)] == [NoFixSaid]


@pytest.mark.parametrize(
    ("address", "fields"),
    [
        # Mode indicators of NMEA 0183 2.3 and later (pynmea2, go-nmea): A, D, P, R, F are fixes; E reckoned, M by hand,
        # S simulator, N none.  GGA quality: 0 none, 6 reckoned, 7 by hand, 8 simulator; 1 to 5 fixes.
        ("GPRMC", "120000,A,1000.0,N,02000.0,E,5.0,90.0,150127,,,?"),
        ("GPGLL", "1000.0,N,02000.0,E,120000,A,?"),
        ("GPVTG", "90.0,T,,M,5.0,N,9.3,K,?"),
    ],
)
def test_only_a_fix_is_a_position(address: str, fields: str) -> None:
    for mode in "EMSN":
        assert [type(e) for e in _said(write_sentence(address, fields.replace("?", mode).split(",")))] == [NoFixSaid]
    for mode in "ADPRF":
        assert PoseSaid in [type(e) for e in _said(write_sentence(address, fields.replace("?", mode).split(",")))]


def test_only_a_fix_is_a_position_by_quality() -> None:
    for quality in "0678":
        fields = ["120000", "1000.0", "N", "02000.0", "E", quality, *[""] * 8]
        assert [type(e) for e in _said(write_sentence("GPGGA", fields))] == [NoFixSaid]
    for quality in "12345":
        fields = ["120000", "1000.0", "N", "02000.0", "E", quality, *[""] * 8]
        assert [type(e) for e in _said(write_sentence("GPGGA", fields))] == [PoseSaid]


def test_only_a_measured_heading_is_a_heading() -> None:
    assert len(_said(write_sentence("HETHS", ["90.0", "A"]))) == 1
    assert all(_said(write_sentence("HETHS", ["90.0", mode])) == [] for mode in "EMSV")


@pytest.mark.parametrize(
    "fields",
    [
        "GPRMC,120000,A,9100.0,N,02000.0,E,5.0,90.0,150127,,,A",
        "GPRMC,120000,A,1060.0,N,02000.0,E,5.0,90.0,150127,,,A",
        "GPRMC,120000,A,1000.0,X,02000.0,E,5.0,90.0,150127,,,A",
        "GPRMC,120000,A,1000.0,N,19000.0,E,5.0,90.0,150127,,,A",
        "GPRMC,250000,A,1000.0,N,02000.0,E,5.0,90.0,150127,,,A",
        "GPRMC,240000,A,1000.0,N,02000.0,E,5.0,90.0,150127,,,A",
        "GPRMC,126000,A,1000.0,N,02000.0,E,5.0,90.0,150127,,,A",
        "GPRMC,120000,A,1000.0,N,02000.0,E,nan,90.0,150127,,,A",
        "GPRMC,120000,A,1000.0,N,02000.0,E,5.0,361.0,150127,,,A",
        "GPRMC,120000,A,1000.0,N,02000.0,E,5.0,90.0,320127,,,A",
        "HCHDG,98.3,,,190.0,E",
        "GPHDT,1e3,T",
        "GPHDT,-5.0,T",
        "GPHDT,1_0,T",
        "WIMWV,10,R,5,Q,A",
    ],
)
def test_fields_that_cannot_be_are_counted(fields: str) -> None:
    decoder = NmeaDecoder()
    address, *rest = fields.split(",")
    assert decoder.feed(write_sentence(address, rest).encode() + b"\r\n", NOW_NS) == []
    assert sum(decoder.counts.bad_fields.values()) == 1


_latitude = st.floats(-90, 90)
_longitude = st.floats(-180, 180)
_angle = st.floats(0, TAU, exclude_max=True)
# Two-digit years hold from 1980 to 2079; the time is written to the hundredth of a second.
_time = st.integers(315_532_800 * 100, 3_471_292_799 * 100).map(lambda cs: cs * 10_000_000)


@given(
    _time,
    _latitude,
    _longitude,
    _angle,
    st.floats(0, 60),
)
def test_rmc_round_trip(time_ns: int, lat: float, lon: float, cog: float, sog: float) -> None:
    clock, fix = _said(write.write_rmc(time_ns, lat, lon, cog, sog))
    assert clock.time_ns == fix.time_ns == time_ns
    # Five decimals of a minute, two of degrees and knots.
    assert fix.pose.lat_deg == pytest.approx(lat, abs=0.51e-5 / 60)
    assert fix.pose.lon_deg == pytest.approx(lon, abs=0.51e-5 / 60)
    assert abs(math.remainder(fix.pose.cog_rad - cog, TAU)) <= math.radians(0.00501)
    assert fix.pose.sog == pytest.approx(sog, abs=kn_to_mps(0.00501))


@given(_angle, st.floats(-0.5, 0.5), st.floats(0.3, 100), st.floats(0, 50))
def test_other_round_trips(angle: float, rate: float, depth: float, speed: float) -> None:
    said = _said(
        write.write_hdt(angle),
        write.write_rot(rate),
        write.write_dpt(depth, 0.5),
        write.write_mwv(angle, speed),
        write.write_vhw(speed),
        write.write_vtg(angle, speed),
        write.write_zda(NOW_NS),
    )
    hdt, rot, dpt, mwv, vhw, vtg, zda = said
    assert abs(math.remainder(hdt.pose.heading_true_rad - angle, TAU)) <= math.radians(0.00501)
    assert rot.pose.turn_rate == pytest.approx(rate, abs=math.radians(0.00501) / 60)
    assert dpt.below_surface_m == pytest.approx(depth + 0.5, abs=0.00501)
    assert abs(math.remainder(mwv.from_rad - angle, TAU)) <= math.radians(0.0501)
    assert mwv.speed == pytest.approx(speed, abs=kn_to_mps(0.0501))
    assert vhw.speed == pytest.approx(speed, abs=kn_to_mps(0.00501))
    assert vtg.pose.sog == pytest.approx(speed, abs=kn_to_mps(0.00501))
    assert zda.time_ns == NOW_NS


@given(st.integers(0, 99), st.floats(0, 40_000), _angle, st.floats(0, 40), st.none() | st.floats(-3000, 3000))
def test_ttm_and_tll_round_trip(number: int, range_m: float, bearing: float, speed: float, tcpa: float | None) -> None:
    ttm, tll = _said(
        write.write_ttm(
            number,
            range_m=range_m,
            bearing_rad=bearing,
            speed=speed,
            course_rad=bearing,
            cpa_m=None,
            tcpa_s=tcpa,
            name="A,B*C$",
            time_ns=NOW_NS,
        ),
        write.write_tll(number, -10.5, 20.25, name="x", time_ns=NOW_NS),
    )
    assert (ttm.number, ttm.name, ttm.cpa_m, ttm.time_ns) == (number, "ABC", None, NOW_NS)
    assert ttm.range_m == pytest.approx(range_m, abs=0.000_51 * 1852)
    assert (ttm.tcpa_s is None) == (tcpa is None)
    assert tcpa is None or ttm.tcpa_s == pytest.approx(tcpa, abs=3.01)
    assert (tll.lat_deg, tll.lon_deg) == (pytest.approx(-10.5), pytest.approx(20.25))


def test_angle_and_minutes_carry_when_rounded() -> None:
    assert write.write_hdt(math.radians(359.999)).startswith("$HEHDT,0.00,T")
    assert "1000.00000,N" in write.write_gga(NOW_NS, 9.999_999_999, 20.0)


# Field orders as in the samples above; figures by hand: 5.5 kn is 10.186 km/h, 1 NM 1 852 m, a minute of turn 60 s.
WRITTEN = [
    (write.write_vtg(math.radians(54.7), 5.5 * 1852 / 3600), "$GPVTG,54.70,T,,M,5.50,N,10.19,K,A"),
    (write.write_vhw(5.5 * 1852 / 3600), "$VWVHW,,T,,M,5.50,N,10.19,K"),
    (write.write_hdt(math.radians(274.07)), "$HEHDT,274.07,T"),
    (write.write_hdg(math.radians(98.3)), "$HCHDG,98.3,,,,"),
    (write.write_rot(math.radians(-10.0) / 60.0), "$HEROT,-10.00,A"),
    (write.write_rot(None), "$HEROT,,V"),
    (write.write_dpt(4.1, 0.5), "$SDDPT,4.10,0.50,"),
    (write.write_mwv(math.radians(214.8), 0.1 * 1852 / 3600), "$WIMWV,214.8,R,0.1,N,A"),
    (write.write_mwv(math.radians(214.8), 5.0, is_apparent=False), "$WIMWV,214.8,T,9.7,N,A"),
    (write.write_mwv(None, 5.0), "$WIMWV,,R,9.7,N,V"),
    (write.write_gga(NOW_NS, 48.1173, -11.5), "$GPGGA,120000.00,4807.03800,N,01130.00000,W,1,,,,,,,,"),
    (
        write.write_rmc(NOW_NS, -33.5, 151.25, math.pi / 2.0, 1852 / 3600),
        "$GPRMC,120000.00,A,3330.00000,S,15115.00000,E,1.00,90.00,150127,,,A",
    ),
    (
        write.write_ttm(
            7, range_m=926.0, bearing_rad=math.pi, speed=1852 / 360, course_rad=math.pi / 2, cpa_m=185.2,
            tcpa_s=90.0, name="PILE", time_ns=NOW_NS,
        ),
        "$RATTM,07,0.500,180.0,T,10.0,90.0,T,0.100,1.5,N,PILE,T,,120000.00,A",
    ),
    (write.write_tll(7, -33.5, 151.25), "$RATLL,07,3330.00000,S,15115.00000,E,,,T,"),
    (write.write_zda(NOW_NS), "$GPZDA,120000.00,15,01,2027,00,00"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "says"), WRITTEN, ids=[f"{n} {says[1:6]}" for n, (_, says) in enumerate(WRITTEN)])
def test_what_is_written_for_other_displays(line: str, says: str) -> None:
    assert line.strip().split("*")[0] == says


@pytest.mark.parametrize(
    "body",
    ["HCHDG,98.3,0.0,E,12.6,W", "HEHDT,274.07,T", "HETHS,274.07,A", "HEROT,-10.0,A", "GPVTG,54.7,T,,M,5.5,N,10.2,K,A"],
)
def test_a_tagged_time_is_the_time_of_what_is_said(body: str) -> None:
    # Not the time of receipt, which a queue or a file makes later.
    tag = "c:1418169601"
    line = f"\\{tag}*{checksum(tag.encode()):02X}\\${body}*{checksum(body.encode()):02X}"
    (said,) = _said(line)
    assert said.time_ns == said.pose.time_ns == 1_418_169_601 * NS_PER_S


# pyais 3.3.1's own documentation and tests carry these messages; the answers were computed with pyais 3.3.1, so they
# pin the way to the decoder rather than check the decoder.  The type examples below are libais's.
def test_ais_samples() -> None:
    (said,) = _said("!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5C")
    assert isinstance(said, AisSaid)
    report = said.report
    assert (report.mmsi, report.message_type, report.says, report.nav_status) == (477553000, 1, "position", 5)
    assert report.lat_deg == pytest.approx(47.582833, abs=1e-6)
    assert report.lon_deg == pytest.approx(-122.345833, abs=1e-6)
    assert report.cog_rad == pytest.approx(math.radians(51.0))
    assert report.heading_rad == pytest.approx(math.radians(181))
    assert (report.sog, report.second, report.is_own) == (0.0, 15, False)
    (said,) = _said("!AIVDM,1,1,,B,15M67FC000G?ufbE`FepT@3n00Sa,0*5C")
    assert said.report.mmsi == 366053209


def test_ais_message_in_two_sentences() -> None:
    first = "!AIVDM,2,1,1,A,55?MbV02;H;s<HtKR20EHE:0@T4@Dn2222222216L961O5Gf0NSQEp6ClRp8,0*1C"
    second = "!AIVDM,2,2,1,A,88888888880,2*25"
    decoder = NmeaDecoder()
    assert decoder.feed(first.encode() + b"\r\n", NOW_NS) == []
    (said,) = decoder.feed(second.encode() + b"\r\n", NOW_NS)
    report = said.report  # type: ignore[attr-defined]
    assert (report.mmsi, report.name, report.call_sign, report.ship_type) == (351759000, "EVER DIADEM", "3FOF8", 70)
    assert (report.length_m, report.beam_m, report.draught_m) == (295.0, 32.0, 12.2)
    # In either order, and not across a minute.
    (said,) = _said(second, first)
    assert said.report.mmsi == 351759000
    decoder = NmeaDecoder()
    decoder.feed(first.encode() + b"\r\n", NOW_NS)
    assert decoder.feed(second.encode() + b"\r\n", NOW_NS + 60 * NS_PER_S) == []
    decoder.finish(NOW_NS)
    assert decoder.ais.counts.refused["part missing"] == 2
