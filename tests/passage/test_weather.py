"""Wind, sea, rain and visibility enter every range and speed, and worse weather never gives more of either."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from moonless.boat.file import default_boat
from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.errors import InputError
from moonless.frames import LocalFrame
from moonless.passage.go_no_go import HIGHEST_WAVE
from moonless.passage.night import Night
from moonless.passage.pace import expected_seeing_m, held_at, leg_speed_kn
from moonless.passage.plan import make_plan
from moonless.passage.way.route import Route, Waypoint
from moonless.radar.expected import expected_marks
from moonless.radar.types import PointTarget, RadarPose
from moonless.radar.world import World

BOAT = default_boat()
FRAME = LocalFrame(10.0, -140.0)
NM = 1852.0
KNOT = NM / 3600.0


def _route(*plane: tuple[float, float]) -> Route:
    return Route("r", tuple(Waypoint(f"W{k}", *FRAME.to_geographic(*p)) for k, p in enumerate(plane)))


waves = st.floats(0.0, 15.0)
wind = st.floats(0.0, 51.4)
rain = st.one_of(st.just(0.0), st.floats(0.001, 200.0))
sight_m = st.floats(30.0, 50.0 * NM)
bearing = st.floats(0.0, 360.0)
more = st.floats(0.0, 1.0)
sizes = st.sampled_from([(0.5, 0.5), (2.5, 1.0), (10.0, 3.0), (100.0, 8.0)])


@settings(deadline=None, max_examples=150)
@given(waves, wind, rain, sight_m, bearing, st.one_of(st.none(), bearing), more, more, more, more, sizes)
def test_worse_weather_never_gives_a_greater_range_or_a_faster_pace(
    wave: float, blow: float, fall: float, seen: float, course: float, blows_from: float | None,
    a: float, b: float, c: float, d: float, size: tuple[float, float],
) -> None:  # fmt: skip
    better = Night(visibility_m=seen, wave_height_m=wave, wind=blow, wind_from_deg=blows_from, rain_mmh=fall)
    worse = replace(
        better, visibility_m=seen - a * (seen - 30.0), wave_height_m=wave + b * (15.0 - wave),
        wind=blow + c * (51.4 - blow), rain_mmh=fall + d * (200.0 - fall),
    )  # fmt: skip
    assert worse.seen_through_m <= better.seen_through_m and worse.waves_m >= better.waves_m
    distance = np.geomspace(15.0, 12_000.0, 200)
    far, near = (held_at(BOAT, night, course, *size, distance) for night in (better, worse))
    assert not (near & ~far).any()
    assert (expected_seeing_m(BOAT, worse, course) or 0.0) <= (expected_seeing_m(BOAT, better, course) or 0.0)
    assert leg_speed_kn(BOAT, worse, course, None)[0] <= leg_speed_kn(BOAT, better, course, None)[0]
    assert leg_speed_kn(BOAT, worse, course, 300.0)[0] <= leg_speed_kn(BOAT, better, course, 300.0)[0]


def test_the_plan_does_not_hold_far_things_in_a_sea_that_drowns_them() -> None:
    """The model's own chance a turn of a thing of 2.5 m² at 1.1 NM falls as the sea rises; the plan must follow it."""
    world = World.of_land(shapely.MultiPolygon(), frame=FRAME)
    chances, ranges = [], []
    for wave_m in (0.3, 1.0, 2.0, 3.0):
        night = Night(wave_height_m=wave_m)
        one = PointTarget("boat", 0.0, 1.1 * NM, BOAT.skipper.smallest_rcs_m2, BOAT.skipper.smallest_height_m)
        (found,) = expected_marks(world, BOAT.radar, RadarPose(0.0, 0.0, 0.0), 1.5, [one], night.weather)
        chances.append(found.p_detect)
        ranges.append(expected_seeing_m(BOAT, night, 0.0) or 0.0)
    assert chances == sorted(chances, reverse=True) and chances[0] > 0.25 and chances[-1] < 0.05
    assert ranges == sorted(ranges, reverse=True)
    assert ranges[0] < 1.1 * NM and ranges[-1] < 100.0


@pytest.mark.parametrize(
    ("wave_m", "fall_mmh"), [(0.3, 0.0), (0.5, 0.0), (1.0, 0.0), (0.3, 4.0), (0.3, 16.0), (2.0, 0.0)]
)
def test_where_a_thing_is_held_the_turn_by_turn_model_shows_it(wave_m: float, fall_mmh: float) -> None:
    """At three in four of the range told, looked at into the wind, three turns in four at the least bring an echo."""
    night = Night(wave_height_m=wave_m, rain_mmh=fall_mmh)
    reach = expected_seeing_m(BOAT, night, 0.0)
    assert reach is not None
    one = PointTarget("boat", 0.0, 0.75 * reach, BOAT.skipper.smallest_rcs_m2, BOAT.skipper.smallest_height_m)
    world = World.of_land(shapely.MultiPolygon(), frame=FRAME)
    chances = [
        expected_marks(world, BOAT.radar, RadarPose(0.0, 0.0, 0.0), scale, [one], night.weather)[0].p_detect
        for scale in (0.75, 1.5, 3.0)
    ]
    assert max(chances) > 0.75


def test_a_tenth_of_a_mile_and_three_metres_of_sea_are_no_night_for_thirty_knots() -> None:
    speed, because = leg_speed_kn(BOAT, Night(visibility_m=0.1 * NM, wave_height_m=3.0), 0.0, None)
    assert speed < 9.0
    # In a flat calm the fog alone: half of 185 m; slowing at 0.25 m/s2 after ten seconds: 2 v² + 10 v = 92.6.
    speed, because = leg_speed_kn(BOAT, Night(visibility_m=0.1 * NM), 0.0, None)
    v = (-10.0 + math.sqrt(100.0 + 8.0 * 92.6)) / 4.0
    assert speed == pytest.approx(v / KNOT, abs=0.2) and "stop in half of it" in because


def test_the_looked_at_side_counts() -> None:
    night = Night(wave_height_m=0.5, wind=8.0, wind_from_deg=0.0)
    into, off = expected_seeing_m(BOAT, night, 0.0), expected_seeing_m(BOAT, night, 180.0)
    unknown = expected_seeing_m(BOAT, replace(night, wind_from_deg=None), 180.0)
    assert into is not None and off is not None
    assert into <= off and unknown == into


@pytest.mark.parametrize(
    ("knots", "force"),
    # WMO Manual on Codes, table 1100: 0 below 1 kn, 1: 1-3, 3: 7-10, 5: 17-21, 6: 22-27, 8: 34-40, 12: 64 and over.
    [(0.0, 0), (1.0, 1), (3.9, 1), (7.0, 3), (21.9, 5), (22.0, 6), (34.0, 8), (40.9, 8), (64.0, 12), (99.0, 12)],
)
def test_force_of_the_wind(knots: float, force: int) -> None:
    assert Night(wind=knots * KNOT).beaufort == force


def test_highest_of_a_thousand_waves() -> None:
    # Rayleigh: H_max / H_s = sqrt(ln(N) / 2).
    assert pytest.approx(math.sqrt(math.log(1000.0) / 2.0), abs=0.005) == HIGHEST_WAVE


def test_weather_stands_against_with_its_figure(made_chart: Chart, boat: Boat) -> None:
    night = Night(visibility_m=1.0 * NM, wave_height_m=2.0, wind=12.0, rain_mmh=12.0, wanted_kn=8.0)
    plan = make_plan(made_chart, _route((-5000, -500), (1500, -500)), boat, 1.93e9, night, events=False)
    told = {p.what.split(":")[0]: p for p in plan.points if p.weight == "against"}
    assert {"Visibility", "Wind", "Sea"} <= set(told)
    assert told["Wind"].figure == "23 kn, force 6"
    assert told["Sea"].figure == "3.8 m"  # 1.86 times two, up to a tenth
    assert told["Sea"].limit.startswith(f"{0.3 * boat.length_m:.1f} m")
    assert "rain 12 mm/h" in plan.assumptions[0] and "wind 23 kn" in plan.assumptions[0]
    calm = make_plan(made_chart, _route((-5000, -500), (1500, -500)), boat, 1.93e9, Night(wanted_kn=8.0), events=False)
    assert not {"Visibility", "Wind", "Sea"} & {p.what.split(":")[0] for p in calm.points}


def test_unlit_marks_come_up_later_in_a_sea(made_chart: Chart, boat: Boat) -> None:
    def first(night: Night) -> float:
        plan = make_plan(made_chart, _route((-5000, 60), (2000, 60)), boat, 1.93e9, night, events=False)
        one = next(u for u in plan.legs[0].unlit if u.name == "One")
        return 7000.0 if one.radar_from_m is None else one.radar_from_m

    calm, rough = first(Night()), first(Night(wave_height_m=2.0, rain_mmh=10.0))
    assert calm < rough


@pytest.mark.parametrize(
    ("given_", "phrase"),
    [
        ({"visibility_m": math.nan}, "visibility nan is not between"),
        ({"visibility_m": 0.0}, "visibility 0 is not between"),
        ({"visibility_m": math.inf}, "visibility inf is not between"),
        ({"wave_height_m": math.nan}, "wave height nan is not between 0 and 15 m"),
        ({"wave_height_m": -0.1}, "wave height -0.1 is not between"),
        ({"wave_height_m": 500.0}, "wave height 500 is not between 0 and 15 m"),
        ({"wind": -1.0}, "wind -1.9"),
        ({"wind": math.nan}, "wind nan"),
        ({"wind_from_deg": 361.0}, "wind direction 361"),
        ({"wind_from_deg": math.nan}, "wind direction nan"),
        ({"rain_mmh": -1.0}, "rain -1 is"),
        ({"rain_mmh": math.nan}, "rain nan"),
        ({"cloud": math.nan}, "cloud nan is not between 0"),
        ({"cloud": 1.1}, "cloud 1.1 is not between 0"),
        ({"wanted_kn": math.nan}, "speed nan kn"),
        ({"wanted_kn": 0.0}, "speed 0 kn"),
    ],
)
def test_a_night_that_cannot_be_is_refused(given_: dict[str, float], phrase: str) -> None:
    with pytest.raises(InputError, match=phrase):
        Night(**given_)  # type: ignore[arg-type]


@pytest.mark.parametrize("visibility_nm", [0.1, 10.0])
def test_a_light_without_a_charted_range_is_not_seen(
    chart_with: Callable[[Any], Chart], boat: Boat, visibility_nm: float
) -> None:
    figures = {"LITCHR": [2], "SIGPER": [4.0], "SIGGRP": ["(1)"], "COLOUR": ["4"], "HEIGHT": [5.0]}
    chart = chart_with({"LIGHTS": ([shapely.Point(3000, 100)], figures)})
    night = Night(wanted_kn=4.0, visibility_m=visibility_nm * NM)
    plan = make_plan(chart, _route((-500, 0), (2900, 0)), boat, 1.93e9, night, events=False)
    leg = plan.legs[0]
    assert leg.lights == ()
    assert [(u.name, u.text, u.side) for u in leg.unranged] == [("Two", "Fl G 4s 5m", "port")]
    # Counted neither for nor against.
    assert not [p for p in plan.points if ("ight" in p.what and "Two" in p.what) or p.what.startswith("Lights")]
    assert all("range is not charted" not in p.what for p in plan.points)


def test_one_light_seen_on_three_legs_is_one_light(made_chart: Chart, boat: Boat) -> None:
    route = _route((-500, -500), (500, -500), (1500, -500), (2500, -500))
    plan = make_plan(made_chart, route, boat, 1.93e9, Night(wanted_kn=4.0), events=False)
    assert sum(len(leg.lights) for leg in plan.legs) == 3
    assert [p.figure for p in plan.points if p.what == "Lights seen from the track"] == ["1"]
