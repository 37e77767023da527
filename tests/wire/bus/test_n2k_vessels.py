"""Every AIS group of the bus, field by field, by the meanings of ITU-R M.1371-5; each at its limits.

Which group is what (canboat's open table): 129038 class A, 129039 class B, 129040 class B extended, 129041 aid, 129793
base station, 129794 class A static, 129798 aircraft of search and rescue, 129809 and 129810 class B static.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from moonless.wire.ais import AisReport
from moonless.wire.n2k.fields import Fields
from moonless.wire.n2k.vessels import AIS_OCTETS, report_of

KNOT = 1852.0 / 3600.0
MMSI = 235_000_001


def _report(group: int, texts: dict[str, str] | None = None, **raw: Any) -> AisReport:
    values: dict[str, object] = {"userId": MMSI, "messageId": 1, "latitude": 10.5, "longitude": -20.25, **raw}
    report = report_of(group, Fields(values, dict(texts or {})), 7)
    assert report is not None and (report.mmsi, report.message_type, report.received_ns) == (
        MMSI,
        raw.get("messageId", 1),
        7,
    )
    return report


@pytest.mark.parametrize(
    ("group", "says"),
    [(129038, "position"), (129039, "position"), (129040, "position"), (129041, "aid"), (129793, "base"),
     (129794, "static"), (129798, "position"), (129809, "static"), (129810, "static")],
)  # fmt: skip
def test_what_each_group_is(group: int, says: str) -> None:
    assert _report(group).says == says


@pytest.mark.parametrize(
    "group", [129795, 129796, 129797, 129800, 129801, 129802, 129803, 129804, 129805, 129806, 129807]
)
def test_the_others_are_heard_by_who_sends_them(group: int) -> None:
    report = report_of(group, Fields({"sourceId": MMSI, "messageId": 12, "latitude": 1.0, "longitude": 2.0}, {}), 7)
    assert report is not None and (report.mmsi, report.says, report.lat_deg) == (MMSI, "other", None)
    assert report_of(group, Fields({"userId": MMSI, "messageId": 12}, {}), 7) is None


@pytest.mark.parametrize("missing", ["userId", "messageId"])
def test_without_a_number_or_a_type_it_is_nobodys(missing: str) -> None:
    raw: dict[str, object] = {"userId": MMSI, "messageId": 1, "latitude": 1.0, "longitude": 2.0}
    del raw[missing]
    assert report_of(129038, Fields(raw, {}), 7) is None


@pytest.mark.parametrize("group", [129038, 129039, 129040, 129798])
@pytest.mark.parametrize(
    ("stamp", "has_place", "second"),
    # 0 to 59 seconds; 60 not available; 61 typed in, 62 reckoned, 63 no system.
    [(0, True, 0), (59, True, 59), (60, True, None), (61, False, None), (62, False, None), (63, False, None)],
)
def test_a_place_that_nothing_measured_is_none(group: int, stamp: int, has_place: bool, second: int | None) -> None:
    report = _report(group, timeStamp=stamp)
    assert (report.lat_deg, report.lon_deg) == ((10.5, -20.25) if has_place else (None, None))
    assert report.second == second and report.says == ("position" if has_place else "other")


@pytest.mark.parametrize("missing", ["latitude", "longitude"])
def test_half_a_place_is_none(missing: str) -> None:
    report = _report(129038, **{missing: None})
    assert (report.lat_deg, report.lon_deg, report.says) == (None, None, "other")


@pytest.mark.parametrize(
    ("group", "kn", "is_said"),
    # 102.2 is "or more" and 102.3 "not available"; of an aircraft 1022 and 1023.
    [(129038, 102.2, True), (129038, 102.3, False), (129039, 102.3, False), (129040, 102.2, True),
     (129798, 500.0, True), (129798, 1022.0, True), (129798, 1023.0, False), (129041, 3.0, False),
     (129793, 3.0, False), (129038, -1.0, False)],
)  # fmt: skip
def test_speeds(group: int, kn: float, is_said: bool) -> None:
    speed = _report(group, sog=kn * KNOT).sog
    assert speed == (pytest.approx(kn * KNOT) if is_said else None)
    assert _report(group, sog=0.0).sog == (0.0 if group in (129038, 129039, 129040, 129798) else None)


def test_courses_headings_turns_and_states_by_group() -> None:
    raw = {"cog": 1.5, "heading": 2.5, "trueHeading": 3.5, "rateOfTurn": 0.1, "navStatus": 7}
    told = {
        group: (r.cog_rad, r.heading_rad, r.turn_rate, r.nav_status)
        for group in (129038, 129039, 129040, 129041, 129798) for r in [_report(group, **raw)]
    }  # fmt: skip
    assert told == {
        129038: (1.5, 2.5, 0.1, 7), 129039: (1.5, 2.5, None, None), 129040: (1.5, 3.5, None, None),
        129041: (None, None, None, None), 129798: (1.5, 2.5, None, None),
    }  # fmt: skip
    # 708 degrees a minute is the most that is told: 0.20595 rad/s; 15 is "not defined".
    for rate, is_said in ((0.2059, True), (-0.2059, True), (0.2062, False), (-0.2062, False)):
        assert (_report(129038, rateOfTurn=rate).turn_rate is not None) is is_said
    assert math.isclose(math.radians(708.0) / 60.0, 0.20595, rel_tol=1e-4)
    assert _report(129038, navStatus=14).nav_status == 14 and _report(129038, navStatus=15).nav_status is None


@pytest.mark.parametrize(("code", "is_own"), [(0, False), (1, False), (2, True), (3, True), (4, True), (5, False)])
def test_what_the_own_set_sends(code: int, is_own: bool) -> None:
    assert _report(129038, aisTransceiverInformation=code).is_own is is_own


def test_names_types_and_draught() -> None:
    texts = {"name": "MADE UP@@", "callsign": "AB12 ", "atonName": "NO 3"}
    ship = _report(129794, texts, typeOfShip=70, draft=4.5)
    assert (ship.name, ship.call_sign, ship.ship_type, ship.draught_m) == ("MADE UP", "AB12", 70, 4.5)
    none = _report(129794, {"name": "  @@"}, typeOfShip=0, draft=0.0)
    assert (none.name, none.call_sign, none.ship_type, none.draught_m) == (None, None, None, None)
    assert _report(129041, texts).name == "NO 3"


@pytest.mark.parametrize(("flag", "stamp", "adrift"), [(1, 30, True), (1, 60, False), (1, None, False), (0, 30, False)])
def test_aids_that_are_virtual_or_off_their_place(flag: int, stamp: int | None, adrift: bool) -> None:
    """M.1371-5, message 21: off position is told only while the time stamp is one."""
    report = _report(129041, offPositionIndicator=flag, timeStamp=stamp, virtualAtonFlag=flag)
    assert report.is_off_position is adrift and report.is_virtual_aid is (flag == 1)


@pytest.mark.parametrize(
    ("given", "sides"),
    [
        ((200.0, 30.0, 150.0, 20.0), (150.0, 50.0, 10.0, 20.0)),
        # Where the antenna is not said, or cannot be there, it is taken to stand amidships.
        ((200.0, 30.0, None, None), (100.0, 100.0, 15.0, 15.0)),
        ((200.0, 30.0, 201.0, 31.0), (100.0, 100.0, 15.0, 15.0)),
        ((200.0, 30.0, 200.0, 30.0), (200.0, 0.0, 0.0, 30.0)), ((200.0, 30.0, 0.0, 0.0), (0.0, 200.0, 30.0, 0.0)),
        ((200.0, 0.0, 150.0, 20.0), (None,) * 4), ((0.0, 30.0, 150.0, 20.0), (None,) * 4),
        ((None, 30.0, 150.0, 20.0), (None,) * 4),
    ],
)  # fmt: skip
def test_the_hull_about_the_antenna(given: tuple[Any, ...], sides: tuple[Any, ...]) -> None:
    names = ("length", "beam", "positionReferenceFromBow", "positionReferenceFromStarboard")
    report = _report(129794, **dict(zip(names, given, strict=True)))
    assert (report.to_bow_m, report.to_stern_m, report.to_port_m, report.to_starboard_m) == sides


def test_each_group_asks_for_the_octets_of_its_fields() -> None:
    # canboat: up to the last field that is read; 129794 holds the draught at octets 52 and 53.
    assert AIS_OCTETS[129038] == 26 and AIS_OCTETS[129041] == 26 and AIS_OCTETS[129793] == 23
    assert AIS_OCTETS[129794] == 53 and AIS_OCTETS[129798] == 21
