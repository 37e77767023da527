"""Plans over a made chart: what is refused, with place and reason, and what is only told."""

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

from moonless.boat.types import Boat, Skipper
from moonless.chart.dangers.needs import squat_m
from moonless.chart.library import Chart
from moonless.errors import InputError, NoCoverage
from moonless.frames import LocalFrame
from moonless.passage.brief.content import float_plan
from moonless.passage.brief.page import page
from moonless.passage.brief.record import plan_dict
from moonless.passage.departures import best_of, search
from moonless.passage.night import Night
from moonless.passage.pace import fuel_l
from moonless.passage.plan import make_plan, survey
from moonless.passage.scope import pictures
from moonless.passage.types import Plan
from moonless.passage.way.route import Route, Waypoint
from moonless.passage.words import parse_time, zone_of
from moonless.sea.stations import read_stations
from moonless.sky.events import sky_events

FRAME = LocalFrame(10.0, -140.0)
NIGHT = Night(wanted_kn=8.0)
DARK = datetime(2031, 3, 24, 7, tzinfo=UTC).timestamp()  # 22:00 there, a day after new moon


def _route(*plane: tuple[float, float]) -> Route:
    waypoints = []
    for number, (east, north) in enumerate(plane, 1):
        lat, lon = FRAME.to_geographic(east, north)
        waypoints.append(Waypoint(f"W{number}", lat, lon))
    return Route("test run", tuple(waypoints))


def _plan(chart: Chart, boat: Boat, *plane: tuple[float, float]) -> Plan:
    return make_plan(chart, _route(*plane), boat, DARK, NIGHT)


def test_a_clear_run_is_not_refused(made_chart: Chart, boat: Boat) -> None:
    plan = _plan(made_chart, boat, (-5000, -500), (1500, -500))
    assert plan.refused == ()
    assert plan.legs[0].dark.word == "dark night"
    # 6.5 km at 8 knots.
    assert plan.legs[0].end_s - plan.legs[0].start_s == pytest.approx(6500 / (8 * 1852 / 3600), rel=1e-3)


def test_a_speed_put_down_for_the_times_alone_speaks_against(made_chart: Chart, boat: Boat) -> None:
    leg = ((-5000, -500), (1500, -500))
    assert not any("for the times alone" in p.limit for p in _plan(made_chart, boat, *leg).points)
    blind = replace(boat, skipper=replace(boat.skipper, smallest_rcs_m2=1e-9))
    plan = _plan(made_chart, blind, *leg)
    # What stops within the radar's least range of 20 m: 2 v² + 10 v = 20 at 0.25 m/s2 after ten seconds.
    assert blind.radar.min_range_m == 20.0
    assert plan.legs[0].speed_kn == pytest.approx((math.sqrt(260.0) - 10.0) / 4.0 * 3600.0 / 1852.0, abs=0.11)
    told = [p for p in plan.points if "for the times alone" in p.limit]
    assert [p.weight for p in told] == ["against"]
    assert "1e-09 m² is not expected to be held" in told[0].what


@pytest.mark.parametrize(
    ("plane", "kind", "phrase"),
    [
        (((-3000, 2500), (0, 2500)), "shoal", "charted 0.5 m"),
        (((-3000, 500), (3000, 500)), "land", "land Test Cay"),
        (((-3000, 0), (-1000, 0)), "rock", "rock, depth not charted"),
        (((0, -4000), (0, -1000)), "restricted", "entry prohibited"),
        (((1000, -1300), (3000, -1300)), "bridge", "bridge Low Bridge, 3.0 m clear"),
        (((4000, -4000), (8000, -4000)), "chart ends", "no chart covers"),
    ],
)
def test_refusals_name_place_and_reason(
    made_chart: Chart, boat: Boat, plane: tuple[tuple[float, float], ...], kind: str, phrase: str
) -> None:
    refused = _plan(made_chart, boat, *plane).refused
    assert [d for d in refused if d.kind == kind], [d.say for d in refused]
    told = next(d for d in refused if d.kind == kind)
    assert phrase in told.say and "along leg 1" in told.say


def test_where_along(made_chart: Chart, boat: Boat) -> None:
    # The rock stands 1000 m from the start, on the track.
    rock = next(d for d in _plan(made_chart, boat, (-3000, 0), (-1000, 0)).refused if d.kind == "rock")
    assert rock.along_m == pytest.approx(1000, abs=2)
    assert rock.off_m == pytest.approx(0, abs=1)


def test_a_low_boat_passes_the_bridge(made_chart: Chart, boat: Boat) -> None:
    low = replace(boat, air_draught_m=2.4)
    assert not [d for d in _plan(made_chart, low, (1000, -1300), (3000, -1300)).refused if d.kind == "bridge"]


def test_off_the_chart_altogether(made_chart: Chart, boat: Boat) -> None:
    plan = make_plan(made_chart, Route("far", (Waypoint("A", 50, 0), Waypoint("B", 50, 1))), boat, DARK, NIGHT)
    assert [d.kind for d in plan.refused] == ["chart ends"]


def test_light_and_its_sector(made_chart: Chart, boat: Boat) -> None:
    # Two's light shows between bearings 045 and 135 from seaward: to a boat west of it, not to one east of it.
    west = _plan(made_chart, boat, (-500, -500), (2500, -500)).legs[0].lights
    assert [x.name for x in west] == ["Two"]
    assert west[0].colour == "green" and west[0].text.startswith("Fl G 4s 5m 3M")
    assert west[0].relative_deg == pytest.approx(math.degrees(math.atan2(3500, 600)) - 90.0, abs=2.5)
    assert _plan(made_chart, boat, (4000, -500), (5500, -500)).legs[0].lights == ()


def test_unlit_beacon_is_left_to_the_radar(made_chart: Chart, boat: Boat) -> None:
    unlit = _plan(made_chart, boat, (-1500, -500), (2500, -500)).legs[0].unlit
    one = next(u for u in unlit if u.name == "One")
    assert one.side == "port"
    assert one.off_m == pytest.approx(650, abs=2)
    assert one.radar_from_m is not None and one.radar_from_m < 1500


def test_a_point_that_opens(made_chart: Chart, boat: Boat) -> None:
    # The cay's south-east corner (1500, 300) hides what lies behind it until it is nearly abeam, 200 m off.
    opens = _plan(made_chart, boat, (-1500, 100), (2500, 100)).legs[0].opens
    nearest = min(opens, key=lambda o: o.distance_m)
    assert nearest.side == "port" and "port bow opens" in nearest.say
    assert nearest.distance_m == pytest.approx(200, abs=40)
    assert nearest.along_m == pytest.approx(3000, abs=150)


def test_unknown_tide_is_said(made_chart: Chart, boat: Boat) -> None:
    plan = _plan(made_chart, boat, (-3000, 2500), (0, 2500))
    assert plan.legs[0].water.tide_m is None
    assert any("tide is not known" in p.what for p in plan.points)


def test_squat_grows_with_speed_and_is_bounded() -> None:
    assert squat_m(0.0, 1.0, 3.0) == 0.0
    assert squat_m(3.0, 1.0, 3.0) < squat_m(4.0, 1.0, 3.0)
    assert squat_m(4.0, 1.0, 1.5) >= squat_m(4.0, 1.0, 3.0)
    assert squat_m(30.0, 1.0, 3.0) == pytest.approx(1.0 / 3.0)


def test_window_prefers_light(made_chart: Chart, boat: Boat) -> None:
    route = _route((-5000, -500), (1500, -500))
    dusk = datetime(2031, 3, 24, 3, tzinfo=UTC).timestamp()  # before sunset there
    found = search(made_chart, route, boat, dusk, 3.0, NIGHT)
    assert len(found) == 7
    assert best_of(found).time_s == dusk
    lux = [d.mean_lux for d in found]
    assert lux == sorted(lux, reverse=True)
    with pytest.raises(InputError, match="can be searched"):
        search(made_chart, route, boat, dusk, 1000.0, NIGHT)


def test_page_and_record(made_chart: Chart, boat: Boat) -> None:
    route = _route((-1500, 100), (2500, 100), (4000, -1000))
    ground = survey(made_chart, route, boat, NIGHT)
    plan = make_plan(made_chart, route, boat, DARK, NIGHT, ground=ground)
    plan = replace(plan, pictures=pictures(ground, boat, NIGHT))
    assert len(plan.pictures) >= 2
    assert all(p.png.startswith(b"\x89PNG") for p in plan.pictures)
    text = page(plan, zone_of("UTC"), "nm")
    assert "Rule 5" in text and "http" not in text.replace("http-equiv", "")
    assert text.count("<figure>") == len(plan.pictures)
    json.dumps(plan_dict(plan), allow_nan=False)
    assert "W1 - W2 - W3" in float_plan(plan, zone_of("UTC"), "nm")


def test_refusal_stands_first_on_the_page(made_chart: Chart, boat: Boat) -> None:
    text = page(_plan(made_chart, boat, (-3000, 500), (3000, 500)), zone_of("UTC"), "nm")
    assert text.index("This route as drawn is refused") < text.index("Go or not")


def test_pdf(made_chart: Chart, boat: Boat) -> None:
    pytest.importorskip("typst")
    from moonless.passage.brief.paper import pdf_bytes

    hard = replace(boat, name='#Odd * [name] "x" $1')
    assert pdf_bytes(_plan(made_chart, hard, (-3000, 500), (3000, 500)), zone_of("UTC"), "nm").startswith(b"%PDF")


def test_the_skippers_limit_holds(made_chart: Chart, boat: Boat) -> None:
    limited = replace(boat, skipper=replace(boat.skipper or Skipper(), night_limit=3.0))
    plan = make_plan(made_chart, _route((-5000, -500), (1500, -500)), limited, DARK, Night(wanted_kn=30.0))
    assert plan.legs[0].speed_kn <= 3.0 * 3600 / 1852 + 1e-6
    assert "limit" in plan.legs[0].because


@pytest.mark.parametrize(
    ("text", "zone", "unix"),
    [
        # RFC 3339 section 5.8: 1996-12-19T16:39:57-08:00 is 1996-12-20T00:39:57Z.
        ("1996-12-19T16:39:57-08:00", "UTC", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC).timestamp()),
        ("1996-12-20T00:39:57Z", "Etc/GMT+8", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC).timestamp()),
        ("1996-12-19T16:39:57", "Etc/GMT+8", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC).timestamp()),
    ],
)
def test_times(text: str, zone: str, unix: float) -> None:
    assert parse_time(text, zone_of(zone)) == unix


@pytest.mark.parametrize("hours", [math.nan, 0.0, -3.0, 1000.0, math.inf])
def test_a_window_without_departures_is_refused(made_chart: Chart, boat: Boat, hours: float) -> None:
    with pytest.raises(InputError, match="can be searched"):
        search(made_chart, _route((-5000, -500), (1500, -500)), boat, DARK, hours, NIGHT, ground=[])


def test_times_not_understood() -> None:
    with pytest.raises(InputError, match="is not a time"):
        parse_time("tonight", UTC)
    with pytest.raises(InputError, match="not a time zone"):
        zone_of("Nowhere/Atall")


@pytest.mark.data
def test_over_a_real_bay(data_dir: Path, boat: Boat, tmp_path: Path) -> None:
    chart = Chart.open([data_dir / "enc" / "US4MD81M"], cache_dir=tmp_path)
    stations = read_stations([data_dir / "tides" / "chesapeake.json"])
    route = Route("bay", (Waypoint("A", 38.95, -76.42), Waypoint("B", 38.87, -76.40), Waypoint("C", 38.78, -76.42)))
    plan = make_plan(chart, route, boat, datetime(2026, 11, 26, 1, tzinfo=UTC).timestamp(), NIGHT, stations)
    assert plan.refused == ()
    assert all(leg.water.tide_m is not None and -0.5 < leg.water.tide_m < 1.5 for leg in plan.legs)
    # Thomas Point Shoal Light, charted Fl WR 5s 13m 16/11M, read by hand from the cell.
    names = {x.name: x for leg in plan.legs for x in leg.lights}
    assert names["Thomas Point Shoal Light"].text == "Fl WR 5s 13m 16/11M"


def test_coverage_is_asked_honestly(made_chart: Chart) -> None:
    with pytest.raises(NoCoverage):
        made_chart.around(0.0, 0.0, 1000.0)


def test_glow_stands_to_the_course(made_chart: Chart, boat: Boat) -> None:
    lat, lon = FRAME.to_geographic(6000.0, -500.0)
    far = FRAME.to_geographic(60_000.0, -500.0)
    night = Night(wanted_kn=8.0, glows=(Waypoint("the mill", float(lat), float(lon)), Waypoint("far town", *far)))
    east = make_plan(made_chart, _route((-5000, -500), (1500, -500)), boat, DARK, night).legs[0].dark.glow
    assert len(east) == 1 and "glow of the mill right ahead" in east[0] and "small lights before it are lost" in east[0]
    west = make_plan(made_chart, _route((1500, -500), (-5000, -500)), boat, DARK, night).legs[0].dark.glow
    assert "right astern" in west[0] and "lost" not in west[0]


def test_the_moon_that_sets_before_or_after_the_run_is_told_as_that(made_chart: Chart, boat: Boat) -> None:
    lat, lon = FRAME.to_geographic(0.0, 0.0)
    moonset = next(e.time_s for e in sky_events(float(lat), float(lon), DARK, DARK + 86_400.0) if e.kind == "moonset")
    route = _route((-1000, -500), (1000, -500))

    def told(depart_s: float) -> list[tuple[str, str, str]]:
        points = make_plan(made_chart, route, boat, depart_s, NIGHT).points
        return [(p.weight, p.what.split(":")[0], p.figure) for p in points if p.what.startswith("moonset")]

    lasts_s = make_plan(made_chart, route, boat, moonset - 3_000.0, NIGHT).legs[-1].end_s - (moonset - 3_000.0)
    (after,) = told(moonset - lasts_s - 600.0)
    assert after == ("note", "moonset soon after arrival", "10 min")
    (under_way,) = told(moonset - 60.0)
    assert under_way == ("against", "moonset under way", "1 min after leaving")
    assert told(moonset + 300.0) == []


def test_fuel_is_read_between_the_readings_and_not_past_them(boat: Boat) -> None:
    measured = replace(boat, fuel_lph_at_kn=((8.0, 10.0), (4.0, 2.0)))
    assert fuel_l(measured, 6.0, 1.5) == pytest.approx(9.0)  # 6 litres an hour
    assert fuel_l(measured, 4.0, 2.0) == pytest.approx(4.0) and fuel_l(measured, 8.0, 0.5) == pytest.approx(5.0)
    assert fuel_l(measured, 3.9, 1.0) is None and fuel_l(measured, 8.1, 1.0) is None
    assert fuel_l(replace(boat, fuel_lph_at_kn=((4.0, 2.0),)), 4.0, 1.0) is None


def test_a_leg_burns_what_its_hours_burn(made_chart: Chart, boat: Boat) -> None:
    # Ten litres an hour at whatever speed.
    (leg,) = _plan(
        made_chart, replace(boat, fuel_lph_at_kn=((0.5, 10.0), (40.0, 10.0))), (-5000, -500), (1500, -500)
    ).legs
    assert 120.0 < leg.end_s - leg.start_s < 7200.0
    assert leg.fuel_l == pytest.approx(10.0 * (leg.end_s - leg.start_s) / 3600.0)


@pytest.mark.parametrize(
    ("category", "orient", "leads"),
    # CATLIT 4 leading, 12 rear, 1 directional function (S-57 Appendix A, chapter 2).
    [("4", 90.0, True), ("12", 91.5, True), ("4", 93.0, False), ("4", 270.0, False), ("1", 90.0, False)],
)
def test_a_leading_light_leads_on_its_own_bearing(
    chart_with: Callable[[Any], Chart], boat: Boat, category: str, orient: float, leads: bool
) -> None:
    figures = {"LITCHR": [2], "SIGPER": [4.0], "SIGGRP": ["(1)"], "COLOUR": ["4"], "VALNMR": [3.0], "HEIGHT": [5.0]}
    chart = chart_with({"LIGHTS": ([shapely.Point(3000, 100)], {**figures, "CATLIT": [category], "ORIENT": [orient]})})
    plan = _plan(chart, boat, (-500, 0), (2500, 0))
    (light,) = plan.legs[0].lights
    assert light.leading is leads
    assert [p.figure for p in plan.points if p.what == "Lights seen from the track"] == ["1"]


def test_half_way_and_moonset_are_told(made_chart: Chart, boat: Boat) -> None:
    plan = _plan(made_chart, boat, (-5000, -500), (1500, -500))
    half = next(p for p in plan.points if "sooner to go on" in p.what)
    # 6.5 km in one leg at one speed: half of it is 1.75 NM along.
    assert half.limit == "leg 1, 1.75 NM along"
    # USNO convention through Skyfield: find a moonset there and leave a quarter of an hour before it.
    lat, lon = FRAME.to_geographic(0.0, 0.0)
    moonset = next(e.time_s for e in sky_events(float(lat), float(lon), DARK, DARK + 86_400.0) if e.kind == "moonset")
    told = make_plan(made_chart, _route((-5000, -500), (1500, -500)), boat, moonset - 900.0, NIGHT).points
    assert any(p.what == "moonset under way" and p.figure.startswith("15 min") for p in told)


def test_an_unlit_mark_beside_two_legs_is_counted_once(chart_with: Callable[[Any], Chart], boat: Boat) -> None:
    chart = chart_with({"BCNLAT": ([shapely.Point(0, -3900)], {"OBJNAM": ["One"], "RADREFL": [1]})})
    plan = _plan(chart, boat, (-3000, -4000), (0, -4000), (3000, -4000))
    assert [len(leg.unlit) for leg in plan.legs] == [1, 1]
    assert len({mark.thing for leg in plan.legs for mark in leg.unlit}) == 1
    said = [p.figure for p in plan.points if p.what == "Unlit marks the radar should hold near the track"]
    assert said == ["1"]


PONTOON = shapely.box(-4000.0, -4004.0, -3900.0, -3996.0)


@pytest.mark.parametrize(
    ("end", "given", "told"),
    [
        # The boat is 3 m broad and known to 4 m: what stands within 5.5 m refuses, but where she comes to lie at it.
        ((-4004.0, -4000.0), {"PONTON": ([PONTOON], {"OBJNAM": ["x"]})}, [("berth", "against")]),
        ((-4001.0, -4000.0), {"PONTON": ([PONTOON], {"OBJNAM": ["x"]})}, [("structure", "stops")]),
        # The route goes on past it.
        ((-3000.0, -4008.0), {"PONTON": ([PONTOON], {"OBJNAM": ["x"]})}, [("structure", "stops")]),
        # CATSLC by S-57's list: 4 a pier, 8 rip rap, which nobody lies at.
        ((-4004.0, -4000.0), {"SLCONS": ([PONTOON], {"CATSLC": [4]})}, [("berth", "against")]),
        ((-4004.0, -4000.0), {"SLCONS": ([PONTOON], {"CATSLC": [8]})}, [("structure", "stops")]),
        # What is left of a pier under water is nothing to lie at.
        (
            (-4004.0, -4000.0), {"SLCONS": ([PONTOON], {"CATSLC": [4], "WATLEV": [3]})}, [("structure", "stops")]
        ),
        # Land behind the pier is no more to her than the pier; a bare shore refuses.
        (
            (-4004.0, -4000.0),
            {"SLCONS": ([PONTOON], {"CATSLC": [4]}), "LNDARE": ([shapely.box(-3995.0, -4100.0, -3800.0, -3900.0)],
             {"OBJNAM": ["Made Cay"]})},
            [("berth", "against"), ("berth", "against")],
        ),
        (
            (-4004.0, -4000.0),
            {"LNDARE": ([shapely.box(-3995.0, -4100.0, -3800.0, -3900.0)], {"OBJNAM": ["Made Cay"]})},
            [("land", "stops")],
        ),
    ],
)  # fmt: skip
@pytest.mark.parametrize("is_back", [False, True])
def test_where_a_route_begins_or_ends_she_lies_alongside(
    chart_with: Callable[[Any], Chart], boat: Boat, end: tuple[float, float], given: Any, told: list[tuple[str, str]],
    is_back: bool,
) -> None:  # fmt: skip
    chart = chart_with(given)
    route = _route((-4400.0, -4008.0 if end[0] > -3999.0 else -4000.0), end)
    route = route.reversed() if is_back else route
    plan = make_plan(chart, route, boat, DARK, Night(wanted_kn=12.0))
    met = [(d.kind, d.weight) for d in plan.legs[0].dangers if d.kind in ("berth", "structure", "land")]
    assert met == told
    assert plan.legs[0].speed_kn == (5.0 if told[0][0] == "berth" else 12.0)
