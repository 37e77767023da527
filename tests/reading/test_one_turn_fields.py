"""The rest of what a reading says in one turn, field by field, against plain geometry.

Beside `test_one_turn.py`, whose meetings these are: on every own heading, with leeway, to either side.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, RADAR, T0, FakeChart, S, make_boat, make_mark, make_situation, make_track
from test_one_turn import HEADINGS, KNOT, OWN_EAST, OWN_NORTH, Met, unit

from moonless.boat.types import Skipper
from moonless.reading.judge import Judge
from moonless.reading.situation import OwnState
from moonless.reading.types import Fault, Reading
from moonless.track.types import AisTarget

HERE = np.array([OWN_EAST, OWN_NORTH])
SIDES = pytest.mark.parametrize("side", [1, -1], ids=["starboard", "port"])
ALL = pytest.mark.parametrize("heading_deg", HEADINGS)


def _own(heading_deg: float, leeway: float = 0.0, speed: float = 5.0, **more: Any) -> OwnState:
    lat, lon = FRAME.to_geographic(OWN_EAST, OWN_NORTH)
    return OwnState(
        float(lat), float(lon), math.radians(heading_deg), math.radians(heading_deg + leeway), speed, **more
    )


def _at(heading_deg: float, from_bow_deg: float, range_m: float) -> np.ndarray:
    return HERE + range_m * unit(heading_deg + from_bow_deg)


# -- one echo ---------------------------------------------------------------------------------------------------------


@ALL
@SIDES
def test_who_she_is_by_ais(heading_deg: float, side: int) -> None:
    met = Met(heading_deg, heading_deg + 9.0 * side, 4.0, heading_deg + 215.0, 7.0, 800.0, side, 90.0)
    ais = AisTarget(235123456, T0, 10.0, -150.0, name="MADE TENDER", length_m=31.0, nav_status=7)
    reading = met.read(ais=ais, length_m=28.5)
    (echo,) = reading.echoes
    assert echo.ais is not None and (echo.ais.mmsi, echo.ais.name, echo.nav_status) == (235123456, "MADE TENDER", 7)
    assert echo.length_m == 28.5 and not echo.coasting
    (line,) = json.loads(json.dumps(reading.as_dict(), allow_nan=False))["echoes"]
    assert line["ais"] == {"mmsi": 235123456, "name": "MADE TENDER"} and line["length_m"] == 28.5
    (bare,) = met.read().as_dict()["echoes"]
    assert bare["ais"] is None and bare["length_m"] is None and bare["charted_as"] is None


@ALL
@SIDES
@pytest.mark.parametrize("off", [(0.0, 0.0), (6.0, -8.0), (-3.0, 4.0)])
def test_every_figure_of_a_beacon(heading_deg: float, side: int, off: tuple[float, float]) -> None:
    """What stands still is closest where its distance is square to the course, on the run to there."""
    leeway, speed = -7.0, 5.0
    place = _at(heading_deg, side * 40.0, 900.0)
    chart = FakeChart(marks=(make_mark(*map(float, place - off), "7", "BCNLAT"),))
    track = make_track(3, *map(float, place))
    reading = Judge(make_boat(), chart).read(make_situation([track], own=_own(heading_deg, leeway, speed)))
    (echo,) = reading.echoes
    assert echo.kind == "charted" and echo.charted_as is not None
    told = echo.charted_as
    assert (told.object, told.name, told.cell, told.feature) == ("BCNLAT", "7", "TEST", "7")
    assert told.offset_m == pytest.approx(math.hypot(*off), abs=0.05)
    assert echo.range_m == pytest.approx(900.0, abs=0.01)
    assert abs(math.remainder(echo.bearing_deg - (heading_deg + side * 40.0), 360.0)) < 1e-3
    assert echo.relative_bearing_deg == pytest.approx(side * 40.0, abs=1e-3)
    assert (echo.cog_deg, echo.sog_kn, echo.p_moving) == (None, 0.0, 0.01)
    along = math.radians(side * 40.0 - leeway)  # off the course
    assert echo.cpa_m == pytest.approx(abs(900.0 * math.sin(along)), abs=0.01)
    assert echo.tcpa_s == pytest.approx(900.0 * math.cos(along) / speed, abs=0.01)


@ALL
def test_what_is_not_known_is_not_told(heading_deg: float) -> None:
    place = _at(heading_deg, 30.0, 700.0)
    tracks = [make_track(3, *map(float, place), ve=2.0, vn=3.0)]
    still = replace(_own(heading_deg), cog_rad=None, sog=None)
    (echo,) = Judge(make_boat()).read(make_situation(tracks, own=still)).echoes
    assert (echo.cpa_m, echo.tcpa_s, echo.cpa_sigma_m) == (None, None, None)
    assert echo.relative_bearing_deg == pytest.approx(30.0, abs=1e-3) and echo.cog_deg is not None
    blind = replace(_own(heading_deg), heading_true_rad=None)
    told = Judge(make_boat(), FakeChart()).read(make_situation(tracks, own=blind))
    assert told.own.heading_deg is None and told.hidden is None and told.seeing == () and told.seeing_line is None
    assert all(echo.relative_bearing_deg is None for echo in told.echoes)


# -- the boat ---------------------------------------------------------------------------------------------------------


@ALL
def test_what_her_position_rests_on(heading_deg: float) -> None:
    reading = Judge(make_boat()).read(make_situation(own=_own(heading_deg, position_age=1.25)))
    own = reading.own
    assert (own.position_from, own.position_age_s, own.position_sigma_m) == ("receiver", 1.25, None)
    nothing = reading.registration
    assert (nothing.heading_bias_deg, nothing.east_m, nothing.north_m, nothing.sigma_m) == (None, None, None, None)
    assert nothing.agrees is None and nothing.heading_sigma_deg is None
    assert reading.performance_db is None and reading.performance_sigma_db is None


def test_a_fault_is_told_with_its_time() -> None:
    fault = Fault("radar", "silent", T0 - 3 * S)
    line = Judge(make_boat()).read(make_situation(own=_own(40.0), faults=(fault,))).as_dict()
    # 1 900 000 000 s after the epoch less three: date -u -d @1899999997.
    assert line["faults"] == [{"what": "radar", "state": "silent", "since": "2030-03-17T17:46:37.000Z"}]
    assert line["hidden"] is None and line["seeing_line"] is None and line["seeing"] == [] and line["echoes"] == []


# -- what is hidden ---------------------------------------------------------------------------------------------------


def _causes(reading: Reading, places: np.ndarray) -> list[set[str]]:
    assert reading.hidden is not None
    lat, lon = FRAME.to_geographic(places[:, 0], places[:, 1])
    shapes = [(shapely.geometry.shape(f["geometry"]), f["properties"]["by"]) for f in reading.hidden["features"]]
    return [{by for s, by in shapes if s.contains(shapely.Point(x, y))} for x, y in zip(lon, lat, strict=True)]


@ALL
@SIDES
def test_what_hides_water_by_its_own_name(heading_deg: float, side: int) -> None:
    """A mast's sector by the bow, a wall of land over ground, and the near range: each where geometry has it."""
    low, high = sorted((side * 60.0, side * 85.0))
    boat = make_boat(radar=replace(RADAR, blind_sectors_rad=((math.radians(low), math.radians(high)),)))
    # A wall 400 m off on the other quarter, 200 m wide: seen 14 degrees to each side of its middle.
    way, across = unit(heading_deg - side * 120.0), unit(heading_deg - side * 120.0 + 90.0)
    corners = [
        HERE + a * way + b * across for a, b in ((400.0, -100.0), (400.0, 100.0), (450.0, 100.0), (450.0, -100.0))
    ]
    chart = FakeChart(land=shapely.MultiPolygon([shapely.Polygon(corners)]))
    reading = Judge(boat, chart).read(make_situation(own=_own(heading_deg, 12.0)))
    asked = np.array(
        [
            _at(heading_deg, side * 72.0, 600.0),  # in the sector
            _at(heading_deg, side * 55.0, 600.0),  # a beam and more beside it
            _at(heading_deg, side * 90.0, 600.0),
            _at(heading_deg, -side * 72.0, 600.0),  # the same on the other side
            _at(heading_deg, -side * 120.0, 700.0),  # behind the wall
            _at(heading_deg, -side * 120.0, 300.0),  # before it
            _at(heading_deg, -side * 100.0, 700.0),  # 20 degrees off its middle
            _at(heading_deg, 180.0, 10.0),  # nearer than the set's least, 20 m
            _at(heading_deg, 180.0, 200.0),
        ]
    )
    nothing: set[str] = set()
    assert _causes(reading, asked) == [
        {"blind sector"}, nothing, nothing, nothing, {"land"}, nothing, nothing, {"near range"}, nothing
    ]  # fmt: skip


# -- what is ordered --------------------------------------------------------------------------------------------------


def _least(met: Met, turn_deg: float, speed: float) -> float:
    """Run second by second on another course or at another speed, at once."""
    t = np.arange(0.0, 720.0, 0.25)[:, None]
    gap = met.relative + t * (met.over_ground - speed * unit(met.course_deg + turn_deg))
    return float(np.hypot(gap[:, 0], gap[:, 1]).min())


@ALL
@SIDES
def test_the_changes_that_clear_field_by_field(heading_deg: float, side: int) -> None:
    met = Met(heading_deg, heading_deg, 5.0, heading_deg + side * 155.0, 9.0, 60.0, side, 150.0)
    judge = Judge(make_boat(skipper=Skipper(keep_off_m=320.0)))
    reading = met.read(judge, sight="radar only")
    found, order = reading.manoeuvres, reading.instruction
    assert found is not None and order is not None
    assert (found.keep_off_m, found.echoes) == (320.0, (7,))
    for one in (found.turn, found.slow):
        if one is None:
            continue
        assert one.closest_id == 7 and one.closest_m == pytest.approx(
            _least(met, one.turn_deg, one.speed_kn * KNOT), abs=2.0
        )
        assert one.course_deg == pytest.approx((met.course_deg + one.turn_deg) % 360.0)
        assert one.is_slight == (0.0 < abs(one.turn_deg) < 30.0)
        assert one.closest_m >= 320.0 - 1e-6
    if found.turn is not None:
        assert found.turn.speed_kn == pytest.approx(5.0 / KNOT)
        hand = "starboard" if found.turn.turn_deg > 0 else "port"
        course = f"{round(found.turn.course_deg) % 360:03d}"
        assert found.turn.say.startswith(f"{abs(found.turn.turn_deg):.0f} degrees to {hand}, course {course}: nearest ")
    for one in found.refused:
        assert one.closest_id == 7 and one.closest_m == pytest.approx(
            _least(met, one.turn_deg, one.speed_kn * KNOT), abs=2.0
        )
    assert order.echo == 7
    if order.do == "turn":
        assert found.turn is not None and order.to_kn is None
        assert order.to_deg == pytest.approx((met.course_deg + found.turn.turn_deg) % 360.0)
        hand = "STARBOARD" if found.turn.turn_deg > 0 else "PORT"
        assert order.say == f"TURN {hand} {abs(found.turn.turn_deg):.0f}° to {round(order.to_deg) % 360:03d}"
    else:
        assert order.do in ("slow", "stop") and order.to_deg is None and order.to_kn is not None
        assert _least(met, 0.0, order.to_kn * KNOT) >= 320.0 - 2.0


@ALL
@pytest.mark.parametrize(
    ("from_bow_deg", "range_m", "srm", "speed"),
    [(10.0, 600.0, 7.0, 4.0), (10.0, 700.0, 7.0, 4.0), (25.0, 650.0, 9.0, 6.0)],
)
def test_where_only_a_large_turn_clears_it_is_ordered(
    heading_deg: float, from_bow_deg: float, range_m: float, srm: float, speed: float
) -> None:
    """She comes straight for us, met late: run by steps, up to 60 degrees to either side and all slowing fail."""
    met = Met(heading_deg, heading_deg, speed, heading_deg + 180.0 + from_bow_deg, srm, 0.0, 1, range_m / srm)
    keep = make_boat().skipper.keep_off_m
    assert all(_least(met, side * size, speed) < keep for size in (30.0, 40.0, 50.0, 60.0) for side in (1, -1))
    assert all(_least(met, 0.0, share * speed) < keep for share in (0.75, 0.5, 0.25, 0.0))
    clears = next(size for size in (75.0, 90.0) if _least(met, size, speed) >= keep)
    order = met.read(sight="radar only").instruction
    assert order is not None and (order.do, order.echo) == ("turn", 7)
    assert (
        order.to_deg == pytest.approx((heading_deg + clears) % 360.0) and "Nothing keeps all off" not in order.because
    )


@ALL
@pytest.mark.parametrize("leeway", [6.0, -11.0])
def test_the_stand_on_vessel_is_told_to_hold_her_course(heading_deg: float, leeway: float) -> None:
    # From 50 degrees on the port bow straight for us: COLREGs 1972, Rules 15 and 17(a)(i).
    met = Met(heading_deg, heading_deg + leeway, 5.0, heading_deg + 130.0, 7.0, 0.0, 1, 1500.0 / 7.0)
    reading = met.read(sight="in sight")
    order, course = reading.instruction, (heading_deg + leeway) % 360.0
    assert order is not None and (order.do, order.echo, order.to_kn) == ("hold", 7, None)
    assert order.to_deg == pytest.approx(course) and re.fullmatch(r"HOLD [0-3]\d\d", order.say)
    assert abs(math.remainder(float(order.say[-3:]) - course, 360.0)) <= 0.5 + 1e-6
    assert order.because.startswith(
        "Vessel, port bow, eight cables, nearest under half a cable in four minutes. Rule 17(a)(i)"
    )
    (call,) = reading.calls  # 1 500 m at 7 m/s: 214 s
    assert (call.key, call.kind, call.urgency, call.echo) == ("echo 7", "vessel", 2, 7)
    assert call.say == "Vessel, port bow, gives way, nearest under half a cable, four minutes."


# -- what is said -----------------------------------------------------------------------------------------------------

_FIGURES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def _heard(say: str) -> tuple[str, float, float, str]:
    """What one at the wheel takes from a spoken turn: hand, degrees, course, and who and where."""
    found = re.fullmatch(r"Turn (port|starboard) (\d+), to (\w+) (\w+) (\w+)\. (.+)", say)
    assert found is not None, say
    course = int("".join(str(_FIGURES.index(word)) for word in found.groups()[2:5]))
    return found[1], float(found[2]), float(course), found[6]


@ALL
@SIDES
@pytest.mark.parametrize(
    ("unit_name", "far"), [("nm", "five cables"), ("metres", "950 metres"), ("yards", "1000 yards")]
)  # 940 m: 5.08 cables; 1 028 yards
def test_a_turn_is_spoken_with_its_hand_and_course(heading_deg: float, side: int, unit_name: Any, far: str) -> None:
    """Rule 19(d)(i) by radar alone: to starboard for one forward of the beam, on whichever bow she is."""
    met = Met(heading_deg, heading_deg, 5.0, heading_deg + 180.0 + side * 25.0, 9.0, 0.0, 1, 940.0 / 9.0)
    reading = met.read(Judge(make_boat(skipper=Skipper(distance_unit=unit_name))), sight="radar only")
    order = reading.instruction
    (call,) = reading.calls
    assert order is not None and order.do == "turn" and order.to_deg is not None
    hand, degrees, course, who = _heard(call.say)
    assert (hand, call.kind, call.echo) == ("starboard", "vessel", 7)
    assert order.to_deg == pytest.approx((heading_deg + degrees) % 360.0)
    assert abs(math.remainder(course - order.to_deg, 360.0)) <= 0.5 + 1e-6
    assert who == f"Vessel, {'starboard' if side > 0 else 'port'} bow, {far}."
    # That turn clears; 10 degrees less is no turn that clears, or is less than 30 (Rule 8(b)).
    keep = make_boat().skipper.keep_off_m
    assert _least(met, degrees, 5.0) >= keep - 1e-6
    assert degrees <= 30.0 or _least(met, degrees - 10.0, 5.0) < keep


@ALL
@SIDES
@pytest.mark.parametrize(("off_deg", "part"), [(30.0, "bow"), (90.0, "beam"), (130.0, "quarter")])
def test_a_buoy_off_its_place_is_told_where_it_is(heading_deg: float, side: int, off_deg: float, part: str) -> None:
    # 48 m off its place is a quarter of a cable; 556 m is three cables.
    place = _at(heading_deg, side * off_deg, 555.6)
    charted = place + 48.0 * unit(heading_deg + 77.0)
    chart = FakeChart(marks=(make_mark(*map(float, charted), "9", "BOYLAT", floating=True),), sigma_m=20.0)
    judge, said = Judge(make_boat(), chart), []
    for k in range(4):
        turn = make_situation([make_track(1, *map(float, place))], own=_own(heading_deg, -9.0, 1.0), time_ns=T0 + k * S)
        said += [c for c in judge.read(turn).calls if c.kind == "mark moved"]
    (told,) = said
    hand = "starboard" if side > 0 else "port"
    assert told.say == f"Lateral buoy 9 off its charted place, {hand} {part}, three cables."
    assert (told.more, told.urgency, told.echo) == ("It lies under half a cable from there.", 2, 1)


@ALL
@SIDES
def test_water_that_opens_is_told_on_its_side(heading_deg: float, side: int) -> None:
    """A wall 20 to 300 m off the course and 300 to 340 m ahead: passed at 5 m/s after 60 to 68 seconds."""
    course = heading_deg + 10.0 * side
    way, across = unit(course), unit(course + 90.0 * side)
    ring = [HERE + a * way + b * across for a, b in ((300, 20), (300, 300), (340, 300), (340, 20))]
    chart = FakeChart(land=shapely.MultiPolygon([shapely.Polygon(ring)]))
    reading = Judge(make_boat(), chart).read(make_situation(own=_own(heading_deg, 10.0 * side)))
    (call,) = reading.calls
    hand = "starboard" if side > 0 else "port"
    assert (call.kind, call.urgency, call.echo) == ("opening", 2, None)
    assert re.fullmatch(rf"Hidden water opens in one minute, {hand} (bow|beam), (half a|one) cable\.", call.say), (
        call.say
    )
    order = reading.instruction
    assert order is not None and (order.do, order.to_deg, order.to_kn) == ("look", None, None)
    assert order.say in (f"LOOK {hand} bow", f"LOOK {hand} beam") and order.because.startswith(call.say[:-1])
    # How far small things are seen is not known without a picture: no speed is said to go with it.
    assert reading.speed.advised_kn is None and "not known" in reading.speed.because
