"""Water under the keel and room over the mast, with the tide of the whole leg."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from moonless.boat.types import Boat
from moonless.chart.dangers.layout import ChartDangers
from moonless.chart.dangers.needs import BRIDGE_MARGIN_M, CABLE_MARGIN_M, Needs, squat_m
from moonless.chart.library import Chart
from moonless.frames import LocalFrame
from moonless.passage.departures import search
from moonless.passage.night import Night
from moonless.passage.plan import make_plan
from moonless.passage.types import LegDanger, Plan
from moonless.passage.water import Water
from moonless.passage.way.leg_dangers import hold, leg_dangers
from moonless.passage.way.route import Route, Waypoint
from moonless.sea.stations import Stations, read_stations
from moonless.sea.tide import tide_between
from moonless.units import kn_to_mps

FRAME = LocalFrame(10.0, -140.0)
NIGHT = Night(wanted_kn=4.0)
DARK = datetime(2031, 3, 24, 7, tzinfo=UTC).timestamp()
ChartWith = Callable[[dict[str, Any]], Chart]


def _route(*plane: tuple[float, float]) -> Route:
    places = [FRAME.to_geographic(east, north) for east, north in plane]
    return Route("run", tuple(Waypoint(f"W{n}", float(lat), float(lon)) for n, (lat, lon) in enumerate(places, 1)))


def _stations(path: Path, *, high_water_m: float | None = 2.6, lat_m: float | None = None) -> Stations:
    """A semidiurnal tide of 1.5 m about 1.5 m over chart datum, right there."""
    datums = {"MSL": 1.5, "MLLW": 0.0}
    if high_water_m is not None:
        datums["MHW"] = high_water_m
    if lat_m is not None:
        datums["LAT"] = lat_m
    record = {
        "kind": "tide",
        "id": "made",
        "name": "Made",
        "latitude": 10.0,
        "longitude": -140.0,
        "harmonic_constituents": [{"name": "M2", "amplitude": 1.5, "phase": 0.0}],
        "datums": datums,
        "chart_datum": "MLLW",
    }
    path.write_text(json.dumps([record]), encoding="utf-8")
    return read_stations([path])


def _when(stations: Stations, tide_m: float, rising: bool) -> float:
    """Return a time after DARK when the tide passes a height."""
    tide = tide_between(stations, 10.0, -140.0)
    times = DARK + np.arange(0.0, 90_000.0, 60.0)
    heights = tide.heights(times)
    passes = (
        (heights[:-1] < tide_m) & (heights[1:] >= tide_m)
        if rising
        else (heights[:-1] > tide_m) & (heights[1:] <= tide_m)
    )
    return float(times[np.flatnonzero(passes)[0]])


def _met(plan: Plan, kind: str) -> list[LegDanger]:
    return [d for d in plan.legs[0].dangers if d.kind == kind]


def test_depths_are_held_against_the_lowest_tide_of_the_leg(made_chart: Chart, boat: Boat, tmp_path: Path) -> None:
    # Falling tide, a leg of more than an hour over the 0.5 m shoal: the end of the leg has the least water.
    stations = _stations(tmp_path / "tides.json")
    depart = _when(stations, 2.4, rising=False)
    plan = make_plan(made_chart, _route((-5500, 2500), (4500, 2500)), boat, depart, NIGHT, stations)
    leg = plan.legs[0]
    tide = tide_between(stations, 10.0, -140.0)
    at_end = float(tide.heights(leg.end_s)[0])
    assert leg.end_s - leg.start_s > 3600.0
    assert leg.water.tide_m is not None and leg.water.tide_m > at_end + 0.3
    assert leg.water.lowest_m == pytest.approx(at_end, abs=0.005)
    (shoal,) = _met(plan, "shoal")
    speed = kn_to_mps(4.0)
    need = boat.draught_m + squat_m(speed, boat.draught_m, 0.5 + at_end) + boat.skipper.depth_margin_m
    assert shoal.margin_m == pytest.approx(0.5 + at_end - need, abs=0.01)


@pytest.mark.parametrize("least_m", [0.75, 1.5, 2.25])
def test_when_the_tide_stands_high_enough(tmp_path: Path, least_m: float) -> None:
    # 1.5 m and 1.5 f cos: above a height for T / pi arccos((least - 1.5) / 1.5 f); M2 has 12.4206 h; f is within four
    # hundredths of one (Schureman, Special Publication 98, table 14).
    stations = _stations(tmp_path / "tides.json")
    spans = Water(stations).enough(10.0, -140.0, least_m, DARK, DARK + 90_000.0)
    assert spans is not None and len(spans) >= 2
    tide = tide_between(stations, 10.0, -140.0)
    whole = [(a, b) for a, b in spans if a > DARK and b < DARK + 90_000.0]
    assert whole
    for begin, end in whole:
        lasts_h = [12.4206 / math.pi * math.acos((least_m - 1.5) / (1.5 * f)) for f in (0.96, 1.04)]
        assert min(lasts_h) - 0.4 <= (end - begin) / 3600.0 <= max(lasts_h) + 0.4
        assert float(tide.heights((begin + end) / 2.0)[0]) > least_m
        assert float(tide.heights(begin - 1200.0)[0]) < least_m and float(tide.heights(end + 1200.0)[0]) < least_m
    assert Water(None).enough(10.0, -140.0, least_m, DARK, DARK + 3600.0) is None


def test_no_tide_is_no_higher_tide(made_chart: Chart, boat: Boat) -> None:
    water = Water(None)
    assert water.range_m(10.0, -140.0, DARK, DARK + 3600.0) == (None, None)
    plan = make_plan(made_chart, _route((-5500, 2500), (4500, 2500)), boat, DARK, NIGHT)
    (shoal,) = _met(plan, "shoal")
    need = boat.draught_m + squat_m(kn_to_mps(4.0), boat.draught_m, 0.5) + boat.skipper.depth_margin_m
    assert shoal.margin_m == pytest.approx(0.5 - need)
    assert "tide not known" in shoal.say


def test_a_window_tells_the_lowest_tide(made_chart: Chart, boat: Boat, tmp_path: Path) -> None:
    stations = _stations(tmp_path / "tides.json")
    depart = _when(stations, 2.4, rising=False)
    route = _route((-5500, 2500), (4500, 2500))
    first = search(made_chart, route, boat, depart, 0.5, NIGHT, stations)[0]
    leg = make_plan(made_chart, route, boat, depart, NIGHT, stations).legs[0]
    assert first.tide_at_least_m == leg.water.lowest_m


@pytest.mark.parametrize(
    ("tide_m", "high_water_m", "weight"),
    [
        # Clearance 3.0 m above mean high water (2.0 m), boat and margin 2.6 m: 0.4 m to spare at high water and below.
        (1.0, 2.0, "note"),
        (2.3, 2.0, "note"),
        # 0.8 m above mean high water: no room.
        (2.8, 2.0, "stops"),
        # No such level in the record: nothing can be taken off.
        (2.8, None, "note"),
    ],
)
def test_a_tide_above_high_water_takes_room_from_under_a_bridge(
    made_chart: Chart, boat: Boat, tmp_path: Path, tide_m: float, high_water_m: float | None, weight: str
) -> None:
    stations = _stations(tmp_path / "tides.json", high_water_m=high_water_m)
    low = replace(boat, air_draught_m=2.1)
    depart = _when(stations, tide_m, rising=False)
    plan = make_plan(made_chart, _route((1900, -1300), (2100, -1300)), low, depart, NIGHT, stations)
    (bridge,) = _met(plan, "bridge")
    assert bridge.weight == weight, bridge.say
    over = 0.0 if high_water_m is None else max(tide_m - high_water_m, 0.0)
    assert bridge.margin_m == pytest.approx(3.0 - over - 2.1 - BRIDGE_MARGIN_M, abs=0.02)
    assert ("above mean high water" in bridge.say) == (over > 0.05)


def _dangers(chart: Chart, boat: Boat, route: Route, kind: str) -> list[LegDanger]:
    """Return one leg's dangers of a kind at 4 kn with no tide known, without the rest of a plan."""
    leg = route.legs[0]
    local = chart.around(10.0, -140.0, 8000.0, frame=FRAME)
    return [d for d in leg_dangers(1, hold(leg, ChartDangers(local), boat), Needs.of(boat, SPEED)) if d.kind == kind]


SPEED = kn_to_mps(4.0)
ACROSS = ((1000.0, -1300.0), (3000.0, -1300.0))


def test_every_span_that_is_met_speaks(chart_with: ChartWith, boat: Boat) -> None:
    # Along the seam of a high and a low span: either may be passed under, so both are told and the low one stops.
    spans = [shapely.box(1990, -1500, 2010, -1300), shapely.box(1990, -1300, 2010, -1100)]
    chart = chart_with({"BRIDGE": (spans, {"VERCLR": [9.0, 2.0], "CATBRG": ["1", "1"]})})
    met = _dangers(chart, boat, _route((1000, -1290), (3000, -1310)), "bridge")
    assert sorted(d.weight for d in met) == ["note", "stops"]
    assert [d.weight for d in _dangers(chart, boat, _route((1000, -1400), (3000, -1400)), "bridge")] == ["note"]


@pytest.mark.parametrize(
    ("given", "weight", "phrase"),
    [
        # Opening: closed too low, open high enough, or open height not charted: it must open, which no chart promises.
        ({"VERCCL": [2.0], "VERCOP": [30.0], "CATBRG": ["5"]}, "against", "must open"),
        ({"VERCCL": [2.0], "CATBRG": ["5"]}, "against", "must open"),
        ({"VERCCL": [2.0], "VERCOP": [3.0], "CATBRG": ["5"]}, "stops", "the boat needs"),
        ({"VERCCL": [9.0], "VERCOP": [30.0], "CATBRG": ["5"]}, "note", "9.0 m clear"),
        # Fixed, and nothing charted: as one without room.
        ({"CATBRG": ["1"]}, "stops", "clearance not charted"),
    ],
)
def test_bridges_that_open(
    chart_with: ChartWith, boat: Boat, given: dict[str, list[object]], weight: str, phrase: str
) -> None:
    chart = chart_with({"BRIDGE": ([shapely.box(1990, -1500, 2010, -1100)], given)})
    (bridge,) = _dangers(chart, boat, _route(*ACROSS), "bridge")
    assert (bridge.weight, phrase in bridge.say) == (weight, True), bridge.say


@pytest.mark.parametrize(
    ("given", "weight"),
    [
        # VERCSA is the safe clearance, electric distance taken off; VERCLR alone gets CABLE_MARGIN_M more.
        ({"VERCSA": [4.2 + BRIDGE_MARGIN_M + 0.01]}, "note"),
        ({"VERCSA": [4.2 + BRIDGE_MARGIN_M - 0.01]}, "stops"),
        ({"VERCLR": [4.2 + CABLE_MARGIN_M + 0.01]}, "note"),
        ({"VERCLR": [4.2 + CABLE_MARGIN_M - 0.01]}, "stops"),
        ({"OBJNAM": ["No figure"]}, "stops"),
    ],
)
def test_overhead_cables(chart_with: ChartWith, boat: Boat, given: dict[str, list[object]], weight: str) -> None:
    chart = chart_with({"CBLOHD": ([shapely.LineString([(2500, -1500), (2500, -1100)])], given)})
    tall = replace(boat, air_draught_m=4.2)
    (cable,) = _dangers(chart, tall, _route((2300, -1300), (2700, -1300)), "cable")
    assert cable.weight == weight, cable.say


@pytest.mark.parametrize(
    ("catzoc", "fixed_m", "share"),
    # S-57 appendix A, chapter 2, CATZOC: A1 0.5 m + 1 %, A2 and B 1 m + 2 %, C 2 m + 5 %; D and U no better than C.
    [(1, 0.5, 0.01), (2, 1.0, 0.02), (3, 1.0, 0.02), (4, 2.0, 0.05), (5, 2.0, 0.05), (6, 2.0, 0.05)],
)
def test_a_bad_survey_asks_for_more_water(
    chart_with: ChartWith, boat: Boat, catzoc: int, fixed_m: float, share: float
) -> None:
    # Squat at 4 kn is 0.5 V^2 / 100 = 0.08 m in water of twice the draught and more.
    need = boat.draught_m + 0.08 + boat.skipper.depth_margin_m
    least = (need + fixed_m) / (1.0 - share)
    assert least > 2 * boat.draught_m
    areas = [shapely.box(-6000, -6000, 6000, 0), shapely.box(-6000, 0, 6000, 6000)]
    depths = {"DRVAL1": [least + 0.02, least - 0.02], "DRVAL2": [9.0, 9.0]}
    whole = [shapely.box(-6000, -6000, 6000, 6000)]
    chart = chart_with({"M_QUAL": (whole, {"CATZOC": [catzoc]}), "DEPARE": (areas, depths)})
    assert _dangers(chart, boat, _route((-5000, -4000), (-4000, -4000)), "shoal") == []
    (told,) = _dangers(chart, boat, _route((-5000, 4000), (-4000, 4000)), "shoal")
    assert told.weight == "against" and "survey's own" in told.say


def test_unsurveyed_water_stops(chart_with: ChartWith, boat: Boat) -> None:
    chart = chart_with({"UNSARE": ([shapely.box(-3000, -4500, -2000, -3500)], {"OBJNAM": ["x"]})})
    (told,) = _dangers(chart, boat, _route((-5000, -4000), (-1000, -4000)), "unsurveyed")
    assert told.weight == "stops" and told.along_m == pytest.approx(2000.0, abs=2.0)


def test_an_area_without_depth_stops(chart_with: ChartWith, boat: Boat) -> None:
    areas = [shapely.box(-6000, -6000, 6000, -4200), shapely.box(-6000, -4200, 6000, 6000)]
    chart = chart_with({"DEPARE": (areas, {"DRVAL1": [math.nan, 20.0], "DRVAL2": [math.nan, 50.0]})})
    assert [d.weight for d in _dangers(chart, boat, _route((-5000, -4500), (-4000, -4500)), "unsurveyed")] == ["stops"]


def test_charted_water_without_a_depth_area_stops(chart_with: ChartWith, boat: Boat) -> None:
    # The chart covers it and says nothing of it: that is not deep water.
    chart = chart_with({"DEPARE": ([shapely.box(-6000, -6000, -4500, 6000)], {"DRVAL1": [20.0], "DRVAL2": [50.0]})})
    (told,) = _dangers(chart, boat, _route((-5000, -4000), (-4000, -4000)), "unsurveyed")
    assert told.weight == "stops" and "no depth along 500 m" in told.say
    assert told.along_m == pytest.approx(500.0, abs=2.0)
    assert _dangers(chart, boat, _route((-5500, -4000), (-4600, -4000)), "unsurveyed") == []


def test_areas_that_reach_past_the_coverage_vouch_for_nothing(chart_with: ChartWith, boat: Boat) -> None:
    chart = chart_with({"M_COVR": ([shapely.box(-6000, -6000, 0, 6000)], {"CATCOV": [1]})})
    ends = _dangers(chart, boat, _route((-1000, 2500), (1000, 2500)), "chart ends")
    assert [d.weight for d in ends] == ["stops"]
    assert ends[0].along_m == pytest.approx(1000.0, abs=2.0)
    assert [d.weight for d in _dangers(chart, boat, _route((500, 2500), (1000, 2500)), "chart ends")] == ["stops"]


@pytest.mark.parametrize(
    ("code", "lat_m", "step_m"),
    [
        # Soundings below LAT (23), tide above MLLW: the station's own datums tell the step between them.
        (23, -0.4, 0.4),
        # The same datum (12), and a chart that does not say: nothing to add.
        (12, -0.4, 0.0),
        (None, -0.4, 0.0),
        # Another datum, and a station that does not know it: told, since the sum may be out either way.
        (23, None, None),
    ],
)
def test_tide_and_soundings_stand_on_one_datum(
    chart_with: ChartWith, boat: Boat, tmp_path: Path, code: int | None, lat_m: float | None, step_m: float | None
) -> None:
    head = {} if code is None else {"DSID": ([], {"DSPM_CSCL": [12000], "DSPM_SDAT": [code]})}
    chart = chart_with(head)
    stations = _stations(tmp_path / "tides.json", lat_m=lat_m)
    depart = _when(stations, 1.5, rising=True)
    plan = make_plan(chart, _route((-3000, 2500), (-2000, 2500)), boat, depart, NIGHT, stations)
    leg = plan.legs[0]
    tide = tide_between(stations, 10.0, -140.0)
    lowest = float(tide.heights(leg.start_s)[0])
    assert leg.water.lowest_m == pytest.approx(lowest + (step_m or 0.0), abs=0.005)
    told = [p.what for p in plan.points if "depths stand below LAT, the tide above MLLW" in p.what]
    assert bool(told) == (step_m is None)
