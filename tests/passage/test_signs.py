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
from moonless.chart.library import Chart
from moonless.frames import LocalFrame
from moonless.passage.corridor import Corridor, squat_m
from moonless.passage.plan import Night, make_plan
from moonless.passage.route import Route, Waypoint
from moonless.passage.types import LegDanger
from moonless.passage.water import Water
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
    return [d for d in Corridor(1, route.legs[0], local, boat).dangers(tide_m, SPEED) if d.kind == kind]


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
        assert f"{abs(spare_m):.1f} m" in told[0].say


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


def test_a_taller_boat_needs_the_bridge_to_be_higher(made_chart: Chart, boat: Boat) -> None:
    # 3.0 m clear; half a metre is left over.
    route = _route((1900, -1300), (2100, -1300))
    weights = [
        _dangers(made_chart, replace(boat, air_draught_m=height), route, "bridge")[0].weight for height in (2.4, 2.6)
    ]
    assert weights == ["note", "stops"]
