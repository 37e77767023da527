"""The watch's parts by themselves: AIS table, clocks, wind, choosing between sources."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.boat.file import default_boat
from moonless.frames import destination, geodesic
from moonless.scan.pose import PoseSample
from moonless.units import NS_PER_S
from moonless.watch.instruments.ais_table import FORGET_S, MOST_TARGETS, MOST_WAITING, AisTable
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.instruments.intake import Intake
from moonless.watch.instruments.timebase import TimeBase
from moonless.wire.ais import AisReport
from moonless.wire.nmea_events import DepthLostSaid, DepthSaid, PoseSaid, WindSaid

T0 = 1_800_000_000 * NS_PER_S
POSITION = AisReport(T0, 799000001, 1, "position", False, lat_deg=10.0, lon_deg=20.0, sog=5.0, cog_rad=0.0)
STATIC = AisReport(
    T0, 799000001, 5, "static", False, name="EXAMPLE", ship_type=70,
    to_bow_m=150.0, to_stern_m=50.0, to_port_m=10.0, to_starboard_m=20.0,
)  # fmt: skip


def test_static_and_position_are_joined_and_the_middle_is_told() -> None:
    table = AisTable()
    table.add(STATIC, T0)
    assert table.targets(T0) == ()
    table.add(replace(POSITION, heading_rad=math.radians(90.0)), T0)
    (target,) = table.targets(T0)
    assert (target.name, target.length_m, target.beam_m, target.ship_type) == ("EXAMPLE", 200.0, 30.0, 70)
    # Bow to the east: the middle lies 50 m east and 5 m south of the antenna.
    lat, lon = destination(10.0, 20.0, 90.0, 50.0)
    lat, lon = destination(lat, lon, 180.0, 5.0)
    assert geodesic(target.lat_deg, target.lon_deg, lat, lon)[0] < 0.01


def test_a_boat_whose_bow_is_not_known_is_where_her_antenna_is() -> None:
    table = AisTable()
    table.add(STATIC, T0)
    table.add(replace(POSITION, sog=0.0), T0)
    (target,) = table.targets(T0)
    assert (target.lat_deg, target.lon_deg) == (10.0, 20.0)


def test_the_own_boat_is_known_by_what_her_own_set_says() -> None:
    table = AisTable()
    table.add(replace(POSITION, is_own=True), T0)
    # A second receiver on board hears her as any other.
    table.add(POSITION, T0)
    assert table.targets(T0) == ()
    # A set that was never given a number must not hide another such.
    table.add(replace(POSITION, mmsi=0, is_own=True), T0)
    assert table.targets(T0) == ()
    table.add(replace(POSITION, mmsi=0), T0)
    assert [t.mmsi for t in table.targets(T0)] == [0]


def test_message_24_says_name_and_size_apart() -> None:
    table = AisTable()
    table.add(POSITION, T0)
    table.add(AisReport(T0, 799000001, 24, "static", False, name="EXAMPLE"), T0)
    table.add(replace(STATIC, message_type=24, name=None, call_sign="XX1"), T0)
    (target,) = table.targets(T0)
    assert (target.name, target.length_m) == ("EXAMPLE", 200.0)


def test_the_silent_are_forgotten_and_the_own_boat_left_out() -> None:
    table = AisTable(own_mmsi=799000009)
    table.add(POSITION, T0)
    table.add(replace(POSITION, mmsi=799000009), T0)
    table.add(replace(POSITION, mmsi=799000010, is_own=True), T0)
    table.add(replace(POSITION, mmsi=997990001, message_type=21, says="aid"), T0)
    assert [t.mmsi for t in table.targets(T0)] == [799000001, 997990001]
    assert [t.is_aid for t in table.targets(T0 + 600 * NS_PER_S)] == [True]
    assert table.targets(T0 + 1200 * NS_PER_S) == ()


@given(st.integers(0, 59), st.integers(0, 25))
def test_the_said_second_dates_the_position(second: int, age_s: int) -> None:
    table = AisTable()
    said_ns = T0 + second * NS_PER_S  # T0 is a whole minute
    table.add(replace(POSITION, second=second), said_ns + age_s * NS_PER_S)
    (target,) = table.targets(said_ns + age_s * NS_PER_S)
    assert target.time_ns == said_ns


def test_clocks_that_agree_are_left_alone() -> None:
    times = TimeBase()
    for i in range(20):
        assert times.said(T0 + i * NS_PER_S, T0 + i * NS_PER_S - 300_000_000) == "same"
    assert times.utc(T0) == T0


def test_a_computer_clock_that_is_wrong_is_put_right() -> None:
    times = TimeBase()
    wrong = -86_400 * 365 * NS_PER_S  # a board without a battery, a year behind
    news = []
    for i in range(20):
        late = (i % 5) * 100_000_000  # arrives up to 0.4 s late
        news.append(times.said(T0 + wrong + i * NS_PER_S + late, T0 + i * NS_PER_S))
    assert news == ["moved"] + ["same"] * 19
    assert times.utc(T0 + wrong) == pytest.approx(T0, abs=1)


def test_a_jump_is_told_once() -> None:
    times = TimeBase()
    told = [times.said(T0 + i * NS_PER_S, T0 + i * NS_PER_S + (0 if i < 5 else 7 * NS_PER_S)) for i in range(10)]
    # One word alone may be wrong: the third that agrees is followed.
    assert told == ["same"] * 5 + ["odd", "odd", "jumped", "same", "same"]
    assert times.utc(T0) == T0 + 7 * NS_PER_S
    assert times.received(T0) is False
    assert times.received(T0 - 5 * NS_PER_S) is True


def test_a_radar_with_its_own_time_is_moved_to_the_time_of_receipt() -> None:
    times = TimeBase()
    for i in range(10):
        times.radar(T0 + i * NS_PER_S, [T0 + i * NS_PER_S - 100 * NS_PER_S])
    assert times.radar_offset_ns == 100 * NS_PER_S
    steady = TimeBase()
    steady.radar(T0, [T0 - 50_000_000])
    assert steady.radar_offset_ns == 0


def test_radar_video_that_comes_later_and_later_is_not_made_fresh() -> None:
    times = TimeBase()
    news = [times.radar(T0 + i * NS_PER_S, [T0 + i * NS_PER_S - i * NS_PER_S // 10])[0] for i in range(60)]
    assert news[:20] == ["same"] * 20
    assert news[25:] == ["late"] * 35
    assert times.radar_offset_ns == 0


def _intake() -> Intake:
    return Intake(replace(default_boat(), draught_m=0.8), TimeBase(), FaultWatch())


def _pose(seconds: float, kind: str, talker: str = "GP", *, magnetic: bool = False, **values: float) -> PoseSaid:
    now = T0 + round(seconds * NS_PER_S)
    return PoseSaid(now, now, False, talker, kind, PoseSample(now, **values), magnetic)


def test_a_true_heading_goes_before_a_compass_and_the_compass_steps_in() -> None:
    intake = _intake()
    for i in range(10):
        intake.take([_pose(i, "HDG", heading_true_rad=1.2, magnetic=True)], "a")
        if i < 5:
            intake.take([_pose(i + 0.1, "HDT", heading_true_rad=1.0)], "b")
    at = intake.poses.at(T0 + 4 * NS_PER_S)
    assert at.heading_true_rad[0] == pytest.approx(1.0)
    assert intake.poses.at(T0 + 9 * NS_PER_S).heading_true_rad[0] == pytest.approx(1.2)


def test_two_receivers_are_not_mixed() -> None:
    intake = _intake()
    for i in range(10):
        intake.take([_pose(i, "RMC", lat_deg=10.0, lon_deg=20.0)], "a")
        intake.take([_pose(i + 0.5, "RMC", lat_deg=10.001, lon_deg=20.0)], "b")
    assert intake.poses.at(T0 + 9 * NS_PER_S + NS_PER_S // 2).lat_deg[0] == 10.0


def test_depth_is_told_from_the_waterline_or_not_at_all() -> None:
    intake = _intake()
    stamp = (T0, T0, False, "SD", "DPT")
    assert intake.depth_below_surface_m(T0) is None
    intake.take([DepthSaid(*stamp, 3.0, None)], "a")
    assert intake.depth_below_surface_m(T0) is None
    intake.take([DepthSaid(*stamp, 3.0, 0.5)], "a")
    assert intake.depth_below_surface_m(T0) == 3.5
    intake.take([DepthSaid(*stamp, 3.0, -0.4)], "a")
    # 0.4 m from transducer to keel, and the keel 0.8 m down.
    assert intake.depth_below_surface_m(T0) == pytest.approx(3.4)
    assert intake.depth_below_surface_m(T0 + 10 * NS_PER_S) is None
    intake.take([DepthSaid(*stamp, 3.0, 0.5), DepthLostSaid(*stamp)], "a")
    assert intake.depth_below_surface_m(T0) is None


def test_wind_is_taken_to_the_ground() -> None:
    intake = _intake()
    intake.take([_pose(0, "RMC", lat_deg=10.0, lon_deg=20.0, sog=5.0, cog_rad=0.0)], "a")
    intake.take([_pose(0, "HDT", heading_true_rad=0.0)], "a")
    own = intake.own(T0, frozenset())
    # Steaming north at 5 m/s in a calm: the wind felt comes from ahead at 5 m/s, and there is none.
    intake.take([WindSaid(T0, T0, False, "WI", "MWV", 0.0, 5.0, True)], "a")
    wind = intake.wind(T0, own)
    assert wind is not None
    assert wind.speed == pytest.approx(0.0, abs=1e-9)
    # Beam wind from the west of 5 m/s over the ground is felt from 45 degrees on the port bow.
    intake.take([WindSaid(T0, T0, False, "WI", "MWV", math.radians(315.0), 5.0 * math.sqrt(2), True)], "a")
    wind = intake.wind(T0, own)
    assert wind is not None
    assert (wind.speed, math.degrees(wind.from_rad)) == (pytest.approx(5.0), pytest.approx(270.0))
    intake.take([WindSaid(T0, T0, False, "WI", "MWV", math.radians(90.0), 3.0, False)], "a")
    wind = intake.wind(T0, own)
    assert wind is not None
    assert math.degrees(wind.from_rad) == pytest.approx(90.0)
    assert intake.wind(T0, replace(own, heading_true_rad=None)) is None


# ---- a flood --------------------------------------------------------------------------------------------------------


def test_static_data_of_vessels_never_placed_are_let_go() -> None:
    table = AisTable()
    for n in range(300_000):
        table.add(replace(STATIC, mmsi=200_000_000 + n), T0 + n * 1000)
    assert len(table._waiting) == MOST_WAITING and not table._statics
    # The newest wait, and are joined when their vessel is placed.
    table.add(replace(POSITION, mmsi=200_299_999), T0 + NS_PER_S)
    assert [t.name for t in table.targets(T0 + NS_PER_S)] == ["EXAMPLE"]
    table.targets(T0 + round((FORGET_S + 2.0) * NS_PER_S))
    assert not table._waiting


def test_a_flood_of_positions_is_bounded_and_a_vessel_that_goes_on_stays() -> None:
    table = AisTable()
    table.add(STATIC, T0)
    for n in range(3 * MOST_TARGETS):
        table.add(replace(POSITION, mmsi=200_000_000 + n), T0)
        if n % 1000 == 0:
            table.add(POSITION, T0)
    told = {t.mmsi: t for t in table.targets(T0)}
    assert len(told) == MOST_TARGETS and told[POSITION.mmsi].name == "EXAMPLE"
    assert len(table._statics) == 1
