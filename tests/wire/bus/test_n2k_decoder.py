"""NMEA 2000 decoded: against published decodes, against a second library over real logs, and each group's rules."""

from __future__ import annotations

import math
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from bench.made import bus as made
from bench.peers.bus import LOGS, compare_logs, compare_published
from hypothesis import given
from hypothesis import strategies as st
from n2k import messages as peer
from n2k.message import Message

from moonless.constants import TAU
from moonless.units import NS_PER_S
from moonless.wire.magnetic import variation_at
from moonless.wire.n2k.decoder import BusDecoder
from moonless.wire.n2k.fields import Fields
from moonless.wire.n2k.frames import Frame, frame_of
from moonless.wire.n2k.vessels import report_of
from moonless.wire.nmea_events import (
    AisSaid,
    AttitudeSaid,
    ClockSaid,
    DepthLostSaid,
    DepthSaid,
    NoFixSaid,
    PoseSaid,
    Said,
    TargetSaid,
    WaterSaid,
    WindSaid,
)

NOW_NS = 1_900_000_000 * NS_PER_S


# --- published decodes ------------------------------------------------------------------------------------------------


@pytest.mark.data
def test_every_field_of_the_published_decodes(data_dir: Path) -> None:
    # canboat's own check values (Apache-2.0): single messages with their decoded fields.
    checked: Counter[int] = Counter()
    for group, name, is_same in compare_published(data_dir / "n2k" / "decoded"):
        assert is_same, f"{group} {name}"
        checked[group] += 1
    # What the published decode leaves out is "not available".
    assert set(checked) == {129029, 126992, 127251, 129039, 60928}
    assert sum(checked.values()) >= 55


# --- a second library over the real logs ------------------------------------------------------------------------------


@pytest.mark.data
@pytest.mark.parametrize("name", LOGS)
def test_a_second_library_reads_the_real_logs_alike(name: str, data_dir: Path) -> None:
    checked: Counter[int] = Counter()
    for group, field, is_alike in compare_logs(data_dir / "n2k" / name):
        assert is_alike, f"{group} {field}"
        checked[group] += 1
    assert sum(checked.values()) > 400


# --- groups into events -----------------------------------------------------------------------------------------------


def _say(decoder: BusDecoder, message: Message, source: int = 3, now_ns: int = NOW_NS) -> list[Said]:
    out: list[Said] = []
    for line in made.lines_of(message, source, now_ns):
        said = decoder.line(line.rstrip(), now_ns)
        assert said is not None
        out += said
    return out


@given(st.floats(-85, 85), st.floats(-179.9, 179.9), st.integers(0, 86_399))
def test_position_with_its_time(lat: float, lon: float, second: int) -> None:
    time_ns = NOW_NS // (86_400 * NS_PER_S) * 86_400 * NS_PER_S + second * NS_PER_S + 250_000_000
    clock, fix = _say(BusDecoder(), made.gnss(time_ns, lat, lon), now_ns=time_ns + 60_000_000)
    assert isinstance(clock, ClockSaid) and isinstance(fix, PoseSaid)
    assert clock.time_ns == fix.time_ns == time_ns and fix.is_timed and (fix.talker, fix.kind) == ("3", "129029")
    assert fix.pose.lat_deg == pytest.approx(lat, abs=1e-9) and fix.pose.lon_deg == pytest.approx(lon, abs=1e-9)


@pytest.mark.parametrize("method", [0, 6, 7, 8, 14, 15])
def test_no_fix_is_no_position_not_by_the_rapid_group_either(method: int) -> None:
    decoder = BusDecoder()
    lost = made.gnss(NOW_NS, 50.0, -4.0)
    lost.data[31] = method << 4  # octet 31: type and method
    assert [type(e) for e in _say(decoder, lost)] == [NoFixSaid]
    rapid = peer.create_n2k_lat_long_rapid_message(peer.LatLonRapid(latitude=50.0, longitude=-4.0))
    assert [type(e) for e in _say(decoder, rapid)] == [NoFixSaid]
    assert _say(decoder, made.motion(1.0, 2.0)) == []
    # Another receiver is another matter; and so is this one a while later.
    assert [type(e) for e in _say(decoder, rapid, source=9)] == [PoseSaid]
    assert [type(e) for e in _say(decoder, rapid, now_ns=NOW_NS + 6 * NS_PER_S)] == [PoseSaid]
    _say(decoder, lost)
    _say(decoder, made.gnss(NOW_NS, 50.0, -4.0))
    assert [type(e) for e in _say(decoder, rapid)] == [PoseSaid]


def test_magnetic_angles_are_made_true_by_the_model() -> None:
    decoder = BusDecoder()
    assert _say(decoder, made.heading(1.0, is_magnetic=True)) == []
    assert decoder.own.unusable["a magnetic angle before the variation is known"] == 1
    (by_said,) = _say(decoder, made.heading(1.0, is_magnetic=True, variation=0.1))
    assert isinstance(by_said, PoseSaid) and by_said.is_magnetic
    assert by_said.pose.heading_true_rad == pytest.approx(1.1, abs=1e-9)
    _say(decoder, made.gnss(NOW_NS, 50.0, -4.0))
    variation = variation_at(50.0, -4.0, NOW_NS)
    (by_model,) = _say(decoder, made.heading(1.0, is_magnetic=True, variation=0.1))
    assert isinstance(by_model, PoseSaid)
    assert by_model.pose.heading_true_rad == pytest.approx((1.0 + variation) % TAU, abs=1e-9)
    (course,) = _say(decoder, made.motion(2.0, 3.0, is_magnetic=True))
    assert isinstance(course, PoseSaid)
    assert course.pose.cog_rad == pytest.approx(2.0 + variation, abs=1e-9) and course.pose.sog == pytest.approx(3.0)
    (true,) = _say(decoder, made.heading(1.0))
    assert isinstance(true, PoseSaid) and not true.is_magnetic and true.pose.heading_true_rad == pytest.approx(1.0)


def test_depth_and_its_offset() -> None:
    (said,) = _say(BusDecoder(), made.depth(4.5, 0.6))
    assert isinstance(said, DepthSaid)
    assert (said.below_transducer_m, said.offset_m, said.below_surface_m) == pytest.approx((4.5, 0.6, 5.1))
    # All ones in a signed field: -1 mm, sent for "not available" by two of the real boats in the logs.
    (said,) = _say(BusDecoder(), made.depth(4.5, -0.001))
    assert isinstance(said, DepthSaid) and said.offset_m is None
    (lost,) = _say(BusDecoder(), made.depth(None, 0.6))
    assert isinstance(lost, DepthLostSaid)


def test_wind_by_reference() -> None:
    decoder = BusDecoder()
    _say(decoder, made.gnss(NOW_NS, 50.0, -4.0))
    got = {r: _say(decoder, made.wind(7.0, 1.5, r)) for r in range(5)}
    flat = {r: (e.from_rad, e.is_apparent, e.is_from_north) for r, (e,) in got.items() if isinstance(e, WindSaid)}
    north = (1.5 + variation_at(50.0, -4.0, NOW_NS)) % TAU
    expected = {
        0: (1.5, False, True),
        1: (north, False, True),
        2: (1.5, True, False),
        3: (1.5, False, False),
        4: (1.5, False, False),
    }
    assert flat.keys() == expected.keys()
    for reference, (angle, *flags) in expected.items():
        assert flat[reference][0] == pytest.approx(angle, abs=1e-4) and list(flat[reference][1:]) == flags


def test_rate_of_turn_attitude_speed() -> None:
    (turn,) = _say(BusDecoder(), peer.create_n2k_rate_of_turn_message(peer.RateOfTurn(rate_of_turn=-0.02)))
    assert isinstance(turn, PoseSaid) and turn.pose.turn_rate == pytest.approx(-0.02, abs=1e-7)
    (lies,) = _say(BusDecoder(), peer.create_n2k_attitude_message(peer.Attitude(yaw=None, pitch=0.05, roll=-0.1)))
    assert isinstance(lies, AttitudeSaid)
    assert (lies.roll_rad, lies.pitch_rad, lies.yaw_rad) == (pytest.approx(-0.1), pytest.approx(0.05), None)
    boat = peer.BoatSpeed(water_referenced=3.2, ground_referenced=None, swrt=peer.types.N2kSpeedWaterReferenceType(0))
    (water,) = _say(BusDecoder(), peer.create_n2k_boat_speed_message(boat))
    assert isinstance(water, WaterSaid) and water.speed == pytest.approx(3.2)


def _target(reference: int = 0, status: int = 2) -> bytes:
    """Return 128520 by hand, from the open database's field table (canboat): see the widths beside the values."""
    import struct

    bits = status | 0 << 2 | 1 << 3 | reference << 4 | 0b11 << 6
    body = struct.pack("<BHB", 1, 17, bits)
    body += struct.pack("<Hi", 15_708, 185_200)  # bearing 1.5708 rad, 1852.00 m
    body += struct.pack("<HH", 31_416, 514)  # course 3.1416 rad, 5.14 m/s
    body += struct.pack("<ii", 46_300, 360_000)  # CPA 463.00 m, TCPA 360.000 s
    return body + struct.pack("<I", 360_000_000) + bytes([5, 1]) + b"ABC" + bytes([0xFC])


def test_tracked_target() -> None:
    decoder = BusDecoder()
    (said,) = decoder.frame(Frame(128520, 20, 255, _target(), True), NOW_NS)
    assert isinstance(said, TargetSaid)
    assert (said.number, said.name, said.status, said.is_relative) == (17, "ABC", "T", False)
    numbers = (said.range_m, said.bearing_rad, said.speed, said.course_rad, said.cpa_m, said.tcpa_s)
    assert numbers == pytest.approx((1852.0, 1.5708, 5.14, 3.1416, 463.0, 360.0))
    (lost,) = decoder.frame(Frame(128520, 20, 255, _target(status=3), True), NOW_NS)
    assert isinstance(lost, TargetSaid) and lost.status == "L"
    (blind,) = decoder.frame(Frame(128520, 20, 255, _target(reference=2), True), NOW_NS)
    assert isinstance(blind, TargetSaid) and blind.bearing_rad is None and blind.course_rad is None


def test_short_messages_are_refused_not_read_as_zero() -> None:
    decoder = BusDecoder()
    assert decoder.frame(Frame(129025, 1, 255, bytes(4), True), NOW_NS) == []
    assert decoder.frame(Frame(129029, 1, 255, bytes(30), True), NOW_NS) == []
    assert decoder.counts.bad["short"] == 2


def _class_a(**more: Any) -> Message:
    t = peer.types
    values: dict[str, Any] = dict(
        message_id=t.N2kAISMessageID(1), repeat=t.N2kAISRepeat(0), user_id=999_000_001, latitude=50.5, longitude=-4.25,
        accuracy=True, raim=False, seconds=30, cog=1.0, sog=5.0, heading=1.1, rot=0.01,
        ais_transceiver_information=t.N2kAISTransceiverInformation(0), nav_status=t.N2kAISNavStatus(0), sid=1,
    )  # fmt: skip
    return peer.create_n2k_ais_class_a_position_message(peer.AISClassAPositionReport(**(values | more)))


def test_ais_position() -> None:
    (said,) = _say(BusDecoder(), _class_a())
    assert isinstance(said, AisSaid)
    r = said.report
    assert (r.mmsi, r.message_type, r.says, r.is_own, r.second, r.nav_status) == (
        999_000_001,
        1,
        "position",
        False,
        30,
        0,
    )
    assert (r.lat_deg, r.lon_deg, r.cog_rad, r.sog, r.heading_rad) == pytest.approx((50.5, -4.25, 1.0, 5.0, 1.1))
    assert r.turn_rate == pytest.approx(0.01, abs=2e-5)


@pytest.mark.parametrize("second", [61, 62, 63])
def test_a_position_nobody_measured_is_none(second: int) -> None:
    (said,) = _say(BusDecoder(), _class_a(seconds=second))
    assert isinstance(said, AisSaid) and said.report.lat_deg is None and said.report.says == "other"


@pytest.mark.parametrize(("code", "is_own"), [(0, False), (1, False), (2, True), (3, True), (4, True)])
def test_what_the_own_set_sends_is_own(code: int, is_own: bool) -> None:
    info = peer.types.N2kAISTransceiverInformation(code)
    (said,) = _say(BusDecoder(), _class_a(ais_transceiver_information=info))
    assert isinstance(said, AisSaid) and said.report.is_own is is_own


@pytest.mark.data
def test_the_moored_boat_lies_still(data_dir: Path) -> None:
    # GPSD's log: 215 s at a berth.  Positions of two groups and AIS's own agree to tens of metres.
    decoder = BusDecoder()
    fixes: dict[str, list[tuple[float, float]]] = {}
    for line in (data_dir / "n2k" / "moored-boat-can.log").read_bytes().splitlines():
        frame = frame_of(line)
        assert frame is not None and frame.time_ns is not None
        for event in decoder.frame(frame, frame.time_ns):
            if isinstance(event, PoseSaid) and event.pose.lat_deg is not None and event.pose.lon_deg is not None:
                fixes.setdefault(event.kind, []).append((event.pose.lat_deg, event.pose.lon_deg))
            if isinstance(event, AisSaid) and event.report.is_own and event.report.lat_deg is not None:
                assert event.report.lon_deg is not None
                fixes.setdefault("own AIS", []).append((event.report.lat_deg, event.report.lon_deg))
    assert fixes.keys() == {"129025", "129029", "own AIS"}
    lat0, lon0 = fixes["129029"][0]
    for places in fixes.values():
        for lat, lon in places:
            away = math.hypot((lat - lat0) * 111_120.0, (lon - lon0) * 111_120.0 * math.cos(math.radians(lat0)))
            assert away < 40.0


@pytest.mark.parametrize("group", [129039, 129794, 129041])
def test_where_the_antenna_stands_on_a_ship(group: int) -> None:
    # ITU-R M.1371-5, message 5: A to the bow, B to the stern, C to port, D to starboard; the bus says length and beam
    # with what lies before and to starboard of the antenna (canboat).  200 by 30 m, 150 abaft the bow, 20 in.
    aid = group == 129041
    raw: dict[str, object] = {
        "lengthDiameter" if aid else "length": 200.0,
        "beamDiameter" if aid else "beam": 30.0,
        "positionReferenceFromTrueNorthFacingEdge" if aid else "positionReferenceFromBow": 150.0,
        "positionReferenceFromStarboardEdge" if aid else "positionReferenceFromStarboard": 20.0,
        "userId": 235000001, "messageId": 5,
    }  # fmt: skip
    report = report_of(group, Fields(raw, {}), NOW_NS)
    assert report is not None
    assert (report.to_bow_m, report.to_stern_m, report.to_port_m, report.to_starboard_m) == (150.0, 50.0, 10.0, 20.0)
