"""Which way figures are rounded: water, air and room that there is down, what is needed up.  Elementary."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.frames import LocalFrame
from moonless.passage.brief.page import page
from moonless.passage.brief.record import plan_dict
from moonless.passage.night import Night
from moonless.passage.plan import make_plan
from moonless.passage.types import Plan
from moonless.passage.way.route import Route, Waypoint
from moonless.passage.words import room_words
from moonless.units import DistanceUnit, down, to_distance_unit, up

FRAME = LocalFrame(10.0, -140.0)
WHEN = datetime(2031, 3, 24, 7, tzinfo=UTC).timestamp()
FIGURES = st.floats(-2e4, 2e4)


@given(FIGURES, st.integers(0, 2))
def test_down_is_never_more_and_up_never_less_and_both_are_near(value: float, places: int) -> None:
    step = 10.0**-places
    low, high = float(down(value, places)), float(up(value, places))
    assert value - step - 1e-9 < low <= value + 2e-6
    assert value - 2e-6 <= high < value + step + 1e-9
    assert down(value, places) != "-0" and not re.fullmatch(r"-0\.0+", down(value, places) + up(value, places))


@given(st.integers(-5000, 5000))
def test_a_figure_that_is_whole_in_its_places_stays_what_it_is(tenths: int) -> None:
    # Held as it comes of a sum: not the nearest double.
    value = tenths / 10.0 + 0.1 + 0.2 - 0.3
    assert float(down(value)) == float(up(value)) == tenths / 10.0


@given(st.floats(0.0, 3e4), st.sampled_from(["nm", "cables", "yards", "metres"]))
def test_room_is_never_said_to_be_more(distance_m: float, unit: DistanceUnit) -> None:
    assert float(room_words(distance_m, unit).split()[0]) <= to_distance_unit(distance_m, unit) + 2e-6


def _plan(chart: Chart, boat: Boat, *places: tuple[float, float]) -> Plan:
    points = []
    for number, place in enumerate(places):
        lat, lon = FRAME.to_geographic(*place)
        points.append(Waypoint(f"p{number}", float(lat), float(lon)))
    return make_plan(chart, Route("r", tuple(points)), boat, WHEN, Night(wanted_kn=7.96))


@pytest.fixture
def tight_chart(chart_with: Callable[[Any], Chart]) -> Chart:
    """Return water of 3.29 m with a bridge of 6.67 m over it, a rock, and an unlit beacon 59.96 m off the track."""
    return chart_with(
        {
            "DEPARE": ([shapely.box(-6000, -6000, 6000, 6000)], {"DRVAL1": [3.29], "DRVAL2": [5.0]}),
            "M_QUAL": ([shapely.box(-6000, -6000, 6000, 6000)], {"CATZOC": [3]}),
            "BRIDGE": ([shapely.LineString([(2000, -3800), (2000, -3200)])], {
                "OBJNAM": ["Low Bridge"], "VERCLR": [6.67], "CATBRG": ["1"],
            }),
            "UWTROC": ([shapely.Point(0, -3437)], {"VALSOU": [2.68], "WATLEV": [3]}),
            "BCNLAT": ([shapely.Point(-1000, -3559.96)], {"OBJNAM": ["Post"]}),
            "LIGHTS": ([shapely.Point(5000, 5000)], {"LITCHR": [2], "VALNMR": [1.0]}),
        }
    )  # fmt: skip


def test_no_figure_of_the_brief_is_rounded_to_the_unsafe_side(tight_chart: Chart, boat: Boat) -> None:
    plan = _plan(tight_chart, replace(boat, air_draught_m=6.03, draught_m=0.91), (-3000, -3500), (4000, -3500))
    text = re.sub(r"\s+", " ", page(plan, UTC, "nm"))
    leg = plan.legs[0]
    assert leg.least_depth_m == pytest.approx(2.68) or leg.least_depth_m == pytest.approx(3.29)
    # JSON is not rounded at all.
    data = json.loads(json.dumps(plan_dict(plan)))["legs"][0]
    assert data["least_depth_m"] == leg.least_depth_m
    assert f"Least depth {math.floor(leg.least_depth_m * 10) / 10:.1f} m" in text
    # Water of 3.29 m, air of 6.67 m for a boat that needs 6.03 and half a metre; a rock under 2.68 m.
    assert "6.6 m clear" in text and "needs 6.6 m" in text  # 6.53 up
    assert "charted 2.6 m" in text and "charted 2.7 m" not in text
    assert "3.3 m" not in text and "6.7 m clear" not in text
    assert "59 m to" in text and "60 m to" not in text
    assert "at 7.9 kn" in text and "8.0 kn" not in text


def test_what_is_too_little_is_rounded_up(tight_chart: Chart, boat: Boat) -> None:
    low = _plan(tight_chart, replace(boat, air_draught_m=7.01), (1000, -3500), (3000, -3500))
    bridge = next(d for d in low.refused if d.kind == "bridge")
    point = next(p for p in low.points if p.weight == "stops" and "Low Bridge" in p.what)
    assert bridge.margin_m == pytest.approx(6.67 - 7.51) and point.figure == "0.9 m too little"
    deep = _plan(tight_chart, replace(boat, draught_m=2.41), (-3000, -4500), (-1000, -4500))
    shoal = next(d for d in deep.refused if d.kind == "shoal")
    assert shoal.margin_m is not None
    said = re.search(r"charted 3\.2 m, tide not known: ([\d.]+) m too little", shoal.say)
    assert said is not None and float(said[1]) >= -shoal.margin_m > float(said[1]) - 0.1
    assert np.isfinite(shoal.margin_m)
