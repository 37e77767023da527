"""Which way the plan's figures go: streams on ebb and flood, poor sight, what stops and what only warns."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import shapely

from moonless.boat.types import Boat
from moonless.chart.dangers.layout import ChartDangers
from moonless.chart.dangers.needs import Needs, squat_m
from moonless.chart.library import Chart
from moonless.frames import LocalFrame
from moonless.passage.night import Night
from moonless.passage.plan import make_plan
from moonless.passage.types import LegDanger
from moonless.passage.water import Water
from moonless.passage.way.leg_dangers import hold, leg_dangers
from moonless.passage.way.route import Route, Waypoint
from moonless.sea.stations import Stations, read_stations

FRAME = LocalFrame(10.0, -140.0)
NOON = datetime(2026, 3, 1, 12, tzinfo=UTC).timestamp()
HOUR = 3600.0
NM = 1852.0
ChartWith = Callable[[dict[str, Any]], Chart]


def _route(*plane: tuple[float, float]) -> Route:
    places = [FRAME.to_geographic(east, north) for east, north in plane]
    return Route("run", tuple(Waypoint(f"W{n}", float(lat), float(lon)) for n, (lat, lon) in enumerate(places, 1)))


def _streams(path: Path) -> Stations:
    """S2 turns with the sun: full flood at 0 and 12 h UTC, full ebb six hours from them."""
    record = {
        "kind": "current", "id": "made", "name": "Made", "latitude": 10.0, "longitude": -140.0,
        "harmonic_constituents": [{"name": "S2", "amplitude": 1.5, "phase": 0.0}],
        "current": {"flood_direction": 40.0, "ebb_direction": 235.0, "mean_flow": -0.3},
    }  # fmt: skip
    path.write_text(json.dumps([record]), encoding="utf-8")
    return read_stations([path])


def test_the_stream_sets_with_the_flood_and_back_with_the_ebb(tmp_path: Path) -> None:
    water = Water(_streams(tmp_path / "s.json"))
    flood, ebb = water.at(10.0, -140.0, NOON), water.at(10.0, -140.0, NOON + 6 * HOUR)
    # 1.5 kn and a mean flow of 0.3 kn with the ebb.
    assert (flood.stream_set_deg, flood.stream_drift_kn) == (pytest.approx(40.0), pytest.approx(1.2, abs=0.01))
    assert (ebb.stream_set_deg, ebb.stream_drift_kn) == (pytest.approx(235.0), pytest.approx(1.8, abs=0.01))
    # Slack where 1.5 cos(30 t) = 0.3: 2.62 h after full flood, not 3.
    slack_h = math.degrees(math.acos(0.3 / 1.5)) / 30.0
    before = water.at(10.0, -140.0, NOON + (slack_h - 0.2) * HOUR)
    after = water.at(10.0, -140.0, NOON + (slack_h + 0.2) * HOUR)
    assert before.stream_set_deg == pytest.approx(40.0) and after.stream_set_deg == pytest.approx(235.0)


def test_a_leg_is_steered_up_stream_and_slower_against_it(made_chart: Chart, boat: Boat, tmp_path: Path) -> None:
    """The current triangle by its two components: what is steered and the stream make the track and the speed good."""
    stations = _streams(tmp_path / "s.json")
    route = _route((-2000, -1800), (-1000, -1800))
    fair = make_plan(made_chart, route, boat, NOON, Night(wanted_kn=4.0), stations).legs[0]
    foul = make_plan(made_chart, route, boat, NOON + 6 * HOUR, Night(wanted_kn=4.0), stations).legs[0]
    assert fair.speed_kn > 4.5 and foul.speed_kn < 3.0
    for leg, (set_deg, drift_kn) in ((fair, (40.0, 1.2)), (foul, (235.0, 1.8))):
        assert leg.steer_deg is not None
        steered, set_to = math.radians(leg.steer_deg), math.radians(set_deg)
        # Eastward at 4 kn through the water: across the track nothing is left over.
        north = 4.0 * math.cos(steered) + drift_kn * math.cos(set_to)
        east = 4.0 * math.sin(steered) + drift_kn * math.sin(set_to)
        # The stream turns a little while she goes: its middle is told to a hundredth of a knot.
        assert north == pytest.approx(0.0, abs=0.02) and east == pytest.approx(leg.speed_kn, abs=0.02)
        assert leg.end_s - leg.start_s == pytest.approx(1000.0 / (leg.speed_kn * NM / HOUR), rel=1e-3)


def test_the_stream_of_a_leg_is_that_of_its_middle(made_chart: Chart, boat: Boat, tmp_path: Path) -> None:
    # Ten kilometres at 4 kn through the water: its middle comes 1.35 / 2 h after the start.  1.5 cos(30 t) - 0.3 kn.
    route = _route((-5000, -1800), (5000, -1800))
    leg = make_plan(made_chart, route, boat, NOON + HOUR, Night(wanted_kn=4.0), _streams(tmp_path / "s.json")).legs[0]
    middle_h = 1.0 + 10_000.0 / (4.0 * NM) / 2.0
    told = 1.5 * math.cos(math.radians(30.0 * middle_h)) - 0.3
    assert leg.water.stream_drift_kn == pytest.approx(told, abs=0.02)


@pytest.mark.parametrize(("visibility_nm", "is_poor"), [(1.9, True), (2.1, False), (10.0, False), (0.3, True)])
def test_poor_visibility_speaks_against_going(
    made_chart: Chart, boat: Boat, visibility_nm: float, is_poor: bool
) -> None:
    night = Night(wanted_kn=4.0, visibility_m=visibility_nm * NM)
    plan = make_plan(made_chart, _route((-2000, -4000), (-1000, -4000)), boat, NOON, night)
    told = [p for p in plan.points if "Rule 19" in p.what]
    assert [p.weight for p in told] == (["against"] if is_poor else [])
    assert not told or told[0].figure == f"{visibility_nm:.1f} NM"


SPEED = 4.0 * NM / HOUR


def _dangers(chart: Chart, boat: Boat, route: Route, kind: str, tide_m: float | None = None) -> list[LegDanger]:
    local = chart.around(10.0, -140.0, 8000.0, frame=FRAME)
    held = hold(route.legs[0], ChartDangers(local), boat)
    return [d for d in leg_dangers(1, held, Needs.of(boat, SPEED, tide_m)) if d.kind == kind]


ALONG = ((-5000.0, -4000.0), (-3000.0, -4000.0))
WHOLE = [shapely.box(-6000, -6000, 6000, 6000)]


@pytest.mark.parametrize(
    ("spare_m", "weight"),
    # Of CATZOC A1 the survey may be out by 0.5 m and 1 %: within that it warns, with too little it stops.
    [(-0.02, "stops"), (-1.0, "stops"), (0.02, "against"), (0.45, "against"), (0.60, None)],
)
@pytest.mark.parametrize("tide_m", [None, 0.0, 0.7, -0.4])
def test_a_shoal_stops_and_a_doubtful_one_warns(
    chart_with: ChartWith, boat: Boat, spare_m: float, weight: str | None, tide_m: float | None
) -> None:
    # What she needs: draught, margin, and squat of 0.5 V^2 / 100 at 4 kn, twice that in under two draughts.
    depth = boat.draught_m + boat.skipper.depth_margin_m + 0.08 + spare_m - (tide_m or 0.0)
    if depth + (tide_m or 0.0) < 2.0 * boat.draught_m:
        depth += 0.08
    area = [shapely.box(-4500, -4500, -3500, -3500), shapely.box(-6000, -6000, 6000, 6000)]
    rest = [area[0], shapely.difference(area[1], area[0])]
    chart = chart_with({"DEPARE": (rest, {"DRVAL1": [depth, 20.0], "DRVAL2": [depth + 2.0, 50.0]})})
    told = [
        *_dangers(chart, boat, _route(*ALONG), "shoal", tide_m),
        *_dangers(chart, boat, _route(*ALONG), "dries", tide_m),
    ]
    assert [d.weight for d in told] == ([] if weight is None else [weight])
    if told:
        assert told[0].margin_m == pytest.approx(spare_m, abs=0.005)
        assert told[0].along_m == pytest.approx(500.0, abs=2.0) and told[0].side == "on"
        # Too little up to a tenth, room that is left down.
        tenth = math.ceil(-spare_m * 10.0) if spare_m < 0.0 else math.floor(spare_m * 10.0)
        assert f"{tenth / 10.0:.1f} m" in told[0].say


@pytest.mark.parametrize(
    ("catzoc", "sigma_m"),
    # S-57 CATZOC, position accuracy at 95 %: A2 20 m, B 50 m; one sigma of two axes is that over sqrt(-2 ln 0.05).
    [(2, 20.0 / 2.448), (3, 50.0 / 2.448)],
)
@pytest.mark.parametrize("is_near", [True, False])
def test_a_rock_stops_as_far_off_as_it_may_be_misplaced(
    chart_with: ChartWith, boat: Boat, catzoc: int, sigma_m: float, is_near: bool
) -> None:
    """The boat's own 25 m either side, and one sigma of the chart's."""
    off = 25.0 + sigma_m + (-0.5 if is_near else 0.5)
    chart = chart_with({
        "DSID": ([], {"DSPM_CSCL": [12000]}),
        "UWTROC": ([shapely.Point(-4000.0, -4000.0 + off)], {"VALSOU": [0.2], "WATLEV": [3]}),
        "M_QUAL": (WHOLE, {"CATZOC": [catzoc]}),
    })  # fmt: skip
    (told,) = _dangers(chart, boat, _route(*ALONG), "rock")
    assert told.weight == ("stops" if is_near else "against"), told.say
    assert told.off_m == pytest.approx(off, abs=0.1)


def test_squat_grows_as_the_square_of_speed_and_doubles_in_shallow_water() -> None:
    # Barrass, open water: C_b V^2 / 100 with C_b 0.5: 0.08 m at 4 kn, 0.32 m at 8; doubled under twice the draught.
    assert squat_m(4.0 * NM / HOUR, 1.5, 10.0) == pytest.approx(0.08)
    assert squat_m(8.0 * NM / HOUR, 1.5, 10.0) == pytest.approx(0.32)
    assert squat_m(4.0 * NM / HOUR, 1.5, 2.9) == pytest.approx(0.16)
    assert squat_m(30.0 * NM / HOUR, 1.5, 10.0) == pytest.approx(0.5)  # never more than a third of the draught


@pytest.mark.parametrize("north", [True, False])
def test_what_lies_beside_is_told_on_its_side(chart_with: ChartWith, boat: Boat, north: bool) -> None:
    at = -4000.0 + (60.0 if north else -60.0)
    chart = chart_with({"UWTROC": ([shapely.Point(-4000.0, at)], {"VALSOU": [0.2], "WATLEV": [3]})})
    (east,) = _dangers(chart, boat, _route(*ALONG), "rock")
    (west,) = _dangers(chart, boat, _route(*ALONG[::-1]), "rock")
    assert (east.side, west.side) == (("port", "starboard") if north else ("starboard", "port"))
    assert east.side in east.say and west.side in west.say
    assert (east.along_m, west.along_m) == pytest.approx((1000.0, 1000.0), abs=2.0)


@pytest.mark.parametrize("back", [False, True])
def test_unlit_marks_are_told_on_their_side_and_where(chart_with: ChartWith, boat: Boat, back: bool) -> None:
    # A leg of 3 km eastward, or back; from its start to its end a beacon every 50 m, by turns 90 m north and south.
    places = [(-1500.0 + 50.0 * k, 90.0 if k % 2 else -90.0) for k in range(61)]
    names = [f"B{k}" for k in range(61)]
    chart = chart_with({"BCNLAT": ([shapely.Point(e, n - 1800.0) for e, n in places], {"OBJNAM": names})})
    route = _route((1500, -1800), (-1500, -1800)) if back else _route((-1500, -1800), (1500, -1800))
    told = {u.name: u for u in make_plan(chart, route, boat, NOON, Night(wanted_kn=4.0)).legs[0].unlit}
    assert set(told) == set(names)
    for name, (east, north) in zip(names, places, strict=True):
        assert told[name].side == ("port" if (north > 0) != back else "starboard"), name
        # The leg is looked at every hundred metres.
        assert told[name].along_m == pytest.approx(1500.0 - east if back else east + 1500.0, abs=51.0)
        assert told[name].off_m == pytest.approx(90.0, abs=0.5)


def test_a_taller_boat_needs_the_bridge_to_be_higher(made_chart: Chart, boat: Boat) -> None:
    # 3.0 m clear; half a metre is left over.
    route = _route((1900, -1300), (2100, -1300))
    weights = [
        _dangers(made_chart, replace(boat, air_draught_m=height), route, "bridge")[0].weight for height in (2.4, 2.6)
    ]
    assert weights == ["note", "stops"]


@pytest.mark.parametrize(
    ("off_m", "weight"),
    [
        (0.0, "stops"),
        (5.4, "stops"),
        (5.6, "against"),
        (149.0, "against"),
        (151.0, None),
    ],
)
def test_a_pile_beside_the_track(chart_with: ChartWith, boat: Boat, off_m: float, weight: str | None) -> None:
    # The boat is 3 m broad and known to 4 m: what stands within half of the one and the other stops; no light is on
    # it, so it is looked out for as far as it is told.
    assert boat.beam_m == 3.0 and boat.position_sigma_m == 4.0
    chart = chart_with({"PILPNT": ([shapely.Point(-4000.0, -4000.0 + off_m)], {"OBJNAM": ["x"]})})
    told = _dangers(chart, boat, _route(*ALONG), "structure")
    assert [d.weight for d in told] == ([] if weight is None else [weight])


@pytest.mark.parametrize(
    ("off_m", "weight"), [(0.0, "stops"), (24.0, "stops"), (30.0, "note"), (200.0, "note"), (240.0, None)]
)
def test_land_beside_the_track(chart_with: ChartWith, boat: Boat, off_m: float, weight: str | None) -> None:
    # Told to half of the keep-off, a quarter of a mile.
    island = shapely.box(-4200.0, -4000.0 + off_m, -3800.0, -3000.0)
    chart = chart_with({"LNDARE": ([island], {"OBJNAM": ["Made Cay"]})})
    told = _dangers(chart, boat, _route(*ALONG), "land")
    assert [d.weight for d in told] == ([] if weight is None else [weight])
    assert all("Made Cay" in d.say for d in told)


def _sidereal_deg(unix: float) -> float:
    """Mean sidereal time at Greenwich: Meeus, Astronomical Algorithms, 2nd ed., 12.4."""
    return (280.46061837 + 360.98564736629 * (unix / 86_400.0 + 2_440_587.5 - 2_451_545.0)) % 360.0


@pytest.mark.parametrize("hour_angle_deg", [-60.0, 60.0])
def test_on_which_side_the_moon_stands(hour_angle_deg: float) -> None:
    """Meeus' example 47.a and 48.a: 1992 April 12, 0h TD, right ascension 134.688, declination 13.768, 0.68 lit.

    On the equator, where her hour angle is minus 60 degrees, she stands in the east, 29 degrees up and more.
    """
    from moonless.passage.dark import dark_at, moon_words

    unix = datetime(1992, 4, 12, tzinfo=UTC).timestamp() - 59.0
    lon = (134.688469 + hour_angle_deg - _sidereal_deg(unix) + 180.0) % 360.0 - 180.0
    a, d = math.radians(hour_angle_deg), math.radians(13.768367)
    up = math.degrees(math.asin(math.cos(d) * math.cos(a)))
    azimuth = math.degrees(math.atan2(-math.cos(d) * math.sin(a), math.sin(d))) % 360.0
    for course in (0.0, 75.0, 200.0, 310.0):
        dark = dark_at(0.0, lon, unix, course, 0.0)
        assert dark.moon_lit_percent == pytest.approx(68.0, abs=1.1)
        # Her parallax is a degree at the horizon; towards it she stands so much lower.
        assert dark.moon_altitude_deg == pytest.approx(up - 0.99 * math.cos(math.radians(up)), abs=0.05)
        assert dark.moon_relative_deg is not None
        off = math.remainder(azimuth - course, 360.0)
        assert abs(math.remainder(dark.moon_relative_deg - off, 360.0)) < 0.3
        words = moon_words(dark)
        assert 67 <= int(words.split("%")[0].split()[-1]) <= 69
        if 10.0 < abs(off) < 170.0:
            assert ("starboard" if off > 0 else "port") in words and ("port" if off > 0 else "starboard") not in words
        assert ("ahead" if abs(off) <= 45 else "behind" if abs(off) >= 135 else "abeam") in words


@pytest.mark.parametrize(
    ("relative_deg", "altitude_deg", "words"),
    [
        (
            30.0,
            10.0,
            "moon 50% lit, 10° up, ahead to starboard: glare on the water, things ahead stand dark against it",
        ),
        (-30.0, 40.0, "moon 50% lit, 40° up, ahead to port: ahead"),
        (-90.0, 40.0, "moon 50% lit, 40° up, abeam to port"),
        (150.0, 40.0, "moon 50% lit, 40° up, behind to starboard: it lights what lies ahead"),
        (-175.0, 40.0, "moon 50% lit, 40° up, behind: it lights what lies ahead"),
        (None, -3.0, "moon down"),
    ],
)
def test_words_of_the_moon(relative_deg: float | None, altitude_deg: float, words: str) -> None:
    from moonless.passage.dark import moon_words
    from moonless.passage.types import DarkAt

    assert moon_words(DarkAt(0.0, "moonlit night", 0.05, -30.0, altitude_deg, relative_deg, 50.0)) == words


@pytest.mark.parametrize("visibility_nm", [10.0, 5.0, 2.0])
def test_where_a_light_is_seen_from(made_chart: Chart, boat: Boat, visibility_nm: float) -> None:
    """A green light at (3000, 100), 5 m up, nominal 3 NM, shown from 45 to 135 degrees as borne from the sea.

    Luminous range by Allard's law, the nominal range being that of 10 NM (a transmission of 0.05 over the visibility,
    threshold 0.2 microlux): less than the 2.12 NM times the root of 5 m over which the curve of the earth shows it.
    """
    plan = make_plan(
        made_chart, _route((-5500, 0), (5500, 0)), boat, NOON, Night(wanted_kn=4.0, visibility_m=visibility_nm * NM)
    )
    (seen,) = plan.legs[0].lights

    def light(miles: float, visibility: float) -> float:
        return 0.05 ** (miles / visibility) / miles**2

    low, high = 0.01, 30.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if light(middle, visibility_nm) > light(3.0, 10.0) else (low, middle)
    assert seen.range_m == pytest.approx(low * NM, rel=0.01)
    # Along the track, at north 0: first where she is that far off, last where she bears 45 degrees, at east 2900.
    first = 3000.0 - math.sqrt((low * NM) ** 2 - 100.0**2)
    assert seen.first_along_m == pytest.approx(first + 5500.0, abs=60.0)
    assert seen.last_along_m == pytest.approx(2900.0 + 5500.0, abs=60.0)
    bearing = math.degrees(math.atan2(3000.0 - first, 100.0))
    assert seen.bearing_deg == pytest.approx(bearing, abs=0.3)
    # Eastward: she stands to port, below zero.
    assert seen.relative_deg == pytest.approx(bearing - 90.0, abs=0.3) and seen.relative_deg < 0.0
    assert seen.nearest_m == pytest.approx(math.hypot(100.0, 100.0), abs=45.0)
    assert seen.colour == "green"
    # Westward on the same track she is behind land's side of her sector until she bears 135: never.
    back = make_plan(
        made_chart, _route((5500, 0), (3200, 0)), boat, NOON, Night(wanted_kn=4.0, visibility_m=visibility_nm * NM)
    )
    assert back.legs[0].lights == ()


def test_a_stream_that_no_course_can_meet_refuses(made_chart: Chart, boat: Boat, tmp_path: Path) -> None:
    # Full flood of 1.2 kn sets 040 at noon, less 0.15 kn either way for the mean flow: at half a knot she is carried
    # off a track across it.  Refused like a rock, so that the command ends with its own code and no departure is best.
    stations = _streams(tmp_path / "streams.json")
    route = _route((-1000.0, -1000.0), (0.0, -1800.0))
    slow, fast = (
        make_plan(made_chart, route, boat, NOON, Night(wanted_kn=speed), stations, events=False) for speed in (0.5, 8.0)
    )
    assert [(d.kind, d.weight) for d in slow.refused] == [("stream", "stops")]
    assert any(p.weight == "stops" and "stream" in p.what for p in slow.points)
    assert fast.refused == ()
