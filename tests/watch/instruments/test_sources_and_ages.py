"""How old a word may be, how far two sources may part, and a wind that is told from north: by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest

from moonless.boat.file import default_boat
from moonless.reading.situation import OwnState
from moonless.sea.stations import Harmonic, Stations, TideStation
from moonless.units import NS_PER_S
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.instruments.intake import Intake
from moonless.watch.instruments.radar_targets import RadarTargets
from moonless.watch.instruments.source_agreement import SourceAgreement
from moonless.watch.instruments.tides import TideUnderWay
from moonless.watch.instruments.timebase import TimeBase
from moonless.wire.nmea_events import TargetPlaceSaid, TargetSaid, WindSaid

T0 = 1_900_000_000 * NS_PER_S
D = math.radians


def _at(seconds: float) -> int:
    return T0 + round(seconds * NS_PER_S)


# An anchored vessel of class A speaks every three minutes: ITU-R M.1371-5, table 1.  A sounder's limit is our own.
@pytest.mark.parametrize(("what", "still_s", "silent_s"), [("ais", 179.0, 181.0), ("depth", 4.9, 5.1)])
def test_what_has_spoken_and_falls_silent_is_told(what: Any, still_s: float, silent_s: float) -> None:
    watch = FaultWatch()
    watch.heard(what, T0)
    assert [f for f in watch.faults(_at(still_s)) if f.what == what] == []
    (told,) = [f for f in watch.faults(_at(silent_s)) if f.what == what]
    assert (told.state, told.since_ns) == ("silent", T0)


@pytest.mark.parametrize(
    ("followed", "other", "is_told"),
    [
        # Fifteen degrees is the most that two compasses may part; north is no edge.
        (359.0, 1.0, False), (1.0, 359.0, False), (10.0, 24.0, False), (10.0, 26.0, True), (352.0, 8.5, True),
    ],
)  # fmt: skip
def test_two_headings_that_part(followed: float, other: float, is_told: bool) -> None:
    agreement = SourceAgreement()
    for k in range(30):
        agreement.said("heading", "one", True, _at(k), (D(followed),))
        agreement.said("heading", "two", False, _at(k), (D(other),))
        told = [(f.what, f.state) for f in agreement.faults(_at(k))]
        # It must last for ten seconds: one swings more than the other.
        assert told == ([("heading", "disagrees")] if is_told and k >= 10 else []), k


@pytest.mark.parametrize(("off_m", "is_told"), [(90.0, False), (110.0, True)])
@pytest.mark.parametrize("is_north", [True, False])
def test_two_positions_that_part(off_m: float, is_told: bool, is_north: bool) -> None:
    # A minute of latitude is a mile; at 60 degrees a minute of longitude is half of one.
    minutes = off_m / 1852.0
    other = (60.0 + minutes / 60.0, 20.0) if is_north else (60.0, 20.0 + 2.0 * minutes / 60.0)
    agreement = SourceAgreement()
    for k in range(12):
        agreement.said("position", "one", True, _at(k), (60.0, 20.0))
        agreement.said("position", "two", False, _at(k), other)
    assert bool(agreement.faults(_at(11))) is is_told


def _own(heading_deg: float) -> OwnState:
    return OwnState(50.0, 20.0, D(heading_deg), D(heading_deg), 5.0)


@pytest.mark.parametrize("heading_deg", [0.0, 200.0])
def test_a_wind_told_from_north_does_not_turn_with_the_bow(heading_deg: float) -> None:
    intake = Intake(default_boat(), TimeBase(), FaultWatch())
    intake.take([WindSaid(T0, T0, False, "bus", "130306", D(30.0), 6.0, False, is_from_north=True)], "a")
    wind = intake.wind(T0, _own(heading_deg))
    assert wind is not None and (math.degrees(wind.from_rad), wind.speed) == (pytest.approx(30.0), 6.0)
    intake.take([WindSaid(T0, T0, False, "bus", "130306", D(30.0), 6.0, False)], "a")
    wind = intake.wind(T0, _own(heading_deg))
    assert wind is not None and math.degrees(wind.from_rad) == pytest.approx((heading_deg + 30.0) % 360.0)
    # A wind of ten seconds ago is no wind of now.
    assert intake.wind(_at(9.9), _own(heading_deg)) is not None and intake.wind(_at(10.1), _own(heading_deg)) is None


@pytest.mark.parametrize("heading_deg", [0.0, 130.0])
def test_another_radars_target_by_its_bearing_from_the_bow(heading_deg: float) -> None:
    def said(status: str, is_relative: bool = True) -> TargetSaid:
        motion = (5.0, D(90.0), 100.0, 60.0)
        return TargetSaid(T0, T0, False, "RA", "TTM", 4, 1852.0, D(40.0), is_relative, *motion, None, status)

    for is_relative, bearing_deg in ((True, heading_deg + 40.0), (False, 40.0)):
        targets = RadarTargets()
        targets.add(said("T", is_relative), ("a", "RA"), T0, _own(heading_deg))
        (one,) = targets.targets(T0)
        # A mile is a minute of latitude, and at 50 degrees 1 / cos 50 of longitude; to the ellipsoid's half per cent.
        north, east = (one.lat_deg - 50.0) * 60.0, (one.lon_deg - 20.0) * 60.0 * math.cos(D(50.0))
        assert (north, east) == pytest.approx((math.cos(D(bearing_deg)), math.sin(D(bearing_deg))), abs=0.008)
        assert targets.targets(_at(14.0)) != () and targets.targets(_at(16.0)) == ()
    targets = RadarTargets()
    targets.add(said("T"), ("a", "RA"), T0, _own(heading_deg))
    targets.add(said("L"), ("a", "RA"), T0, _own(heading_deg))
    assert targets.targets(T0) == ()  # she says it is lost
    targets.add(said("T"), ("a", "RA"), T0, OwnState(50.0, 20.0, None, None, None))
    assert targets.targets(T0) == ()  # from the bow, and where that points is not known


@pytest.mark.parametrize(
    ("said_s", "is_timed", "taken_s"),
    [
        (-6.0, True, -6.0),  # six seconds old, and told as that old
        (-6.0, False, 0.0),  # it does not say when: as of now
        (-90.0, True, 0.0),  # a clock of its own
        (4.0, True, 0.0),  # never from what is to come
    ],
)
def test_another_radars_target_is_of_when_it_says(said_s: float, is_timed: bool, taken_s: float) -> None:
    intake = Intake(default_boat(), TimeBase(), FaultWatch())
    said = TargetPlaceSaid(T0, _at(said_s), is_timed, "RA", "TLL", 4, 50.0, 20.0, None, "T")
    intake.take([said], "a")
    (one,) = intake.others.targets(T0)
    assert one.time_ns == _at(taken_s)


def test_the_tide_under_way_is_that_of_now() -> None:
    # One constituent about its mean is a cosine of M2's speed, 28.9841042 degrees an hour (Schureman, table 2): of
    # three heights a quarter of an hour apart the outer two come to twice the cosine of that angle times the middle.
    level = TideStation("a", "Invented", 10.0, -30.0, "MLLW", 1.5, (Harmonic("M2", 1.0, 0.4),), None, {"MLLW": 0.0})
    tide = TideUnderWay(Stations({"a": level}, {}))
    heights = [tide.height_m(_at(900.0 * k), 10.01, -30.0) for k in range(30)]
    above = [h - 1.5 for h in heights if h is not None]
    assert len(above) == 30 and max(above) - min(above) > 1.5
    twice = 2.0 * math.cos(D(28.9841042 / 4.0))
    for before, now, after in zip(above, above[1:], above[2:], strict=False):
        assert before + after == pytest.approx(twice * now, abs=1e-3)
