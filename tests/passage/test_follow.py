"""Following a plan: made positions along a made route."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
import pytest

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.frames import LocalFrame
from moonless.passage.night import Night
from moonless.passage.plan import make_plan
from moonless.passage.way.follow import Follower
from moonless.passage.way.route import Route, Waypoint

FRAME = LocalFrame(10.0, -140.0)


def _at(east: float, north: float) -> tuple[float, float]:
    lat, lon = FRAME.to_geographic(east, north)
    return float(lat), float(lon)


ROUTE = Route(
    "dog leg",
    (Waypoint("A", *_at(-2000, -500)), Waypoint("B", *_at(2000, -500)), Waypoint("C", *_at(2000, -3000))),
)


def test_along_the_first_leg() -> None:
    here = Follower(ROUTE).at(*_at(0, -540), 5.0, 1000.0)
    assert here is not None
    assert here.leg == 1
    assert here.off_track_m == pytest.approx(40.0, abs=0.5)  # south of an eastward track: to starboard
    assert here.to_go_leg_m == pytest.approx(2000, abs=1)
    assert here.to_go_m == pytest.approx(4500, abs=2)
    assert here.arrive_s == pytest.approx(1000 + 4500 / 5.0, abs=1)
    assert here.coming[0].what == "turn"
    assert "90° to starboard, new course 180°" in here.coming[0].say


@pytest.mark.parametrize("course_deg", [20.0, 110.0, 205.0, 300.0])
@pytest.mark.parametrize("along_m", [0.2, 700.0, 1499.8, 1600.0])  # at its ends and past its end too
@pytest.mark.parametrize("off_m", [-60.0, -3.0, 3.0, 60.0])
def test_off_the_leg_to_its_side(course_deg: float, along_m: float, off_m: float) -> None:
    """Square to a straight leg of 1 500 m; past its end the distance is to the end."""
    a = math.radians(course_deg)
    way, starboard = np.array([math.sin(a), math.cos(a)]), np.array([math.cos(a), -math.sin(a)])
    route = Route("one leg", (Waypoint("A", *_at(0.0, 0.0)), Waypoint("B", *_at(*(1500.0 * way)))))
    here = Follower(route).at(*_at(*(along_m * way + off_m * starboard)), 5.0, 0.0)
    assert here is not None
    away = math.hypot(off_m, max(0.0, along_m - 1500.0))
    assert here.off_track_m == pytest.approx(math.copysign(away, off_m), abs=0.5)
    assert here.to_go_leg_m == pytest.approx(max(0.0, 1500.0 - along_m), abs=1.0)


def test_turns_once_and_never_back() -> None:
    follower = Follower(ROUTE)
    assert [follower.at(*_at(e, n), 5.0, 0.0).leg for e, n in ((1900, -500), (1960, -500), (2000, -800))] == [1, 2, 2]  # type: ignore[union-attr]
    assert follower.at(*_at(1900, -500), 5.0, 0.0).leg == 2  # type: ignore[union-attr]


def test_far_off_it_is_not_followed() -> None:
    assert Follower(ROUTE).at(*_at(0, 3000), 5.0, 0.0) is None


def test_a_stopped_boat_has_no_arrival() -> None:
    here = Follower(ROUTE).at(*_at(0, -500), 0.0, 0.0)
    assert here is not None and here.arrive_s is None


def test_the_plan_tells_what_comes(made_chart: Chart, boat: Boat) -> None:
    when = datetime(2031, 3, 24, 7, tzinfo=UTC).timestamp()
    plan = make_plan(made_chart, ROUTE, boat, when, Night(wanted_kn=8.0))
    here = Follower(ROUTE, plan).at(*_at(-1800, -500), 4.0, when)
    assert here is not None
    whats = [n.what for n in here.coming]
    assert "mark" in whats and "turn" in whats
    assert [n.distance_m for n in here.coming] == sorted(n.distance_m for n in here.coming)
