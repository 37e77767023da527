"""The plan at the helm, along a made route."""

from __future__ import annotations

from types import SimpleNamespace

from moonless.helm.routes.following import FollowedRoute
from moonless.passage.way.route import Route, Waypoint
from moonless.reading.types import Own, Reading, Registration, SpeedAdvice

ROUTE = Route("out", (Waypoint("A", 10.0, -140.0), Waypoint("B", 10.0, -139.98), Waypoint("C", 10.02, -139.98)))
BOAT = SimpleNamespace(skipper=SimpleNamespace(night_limit=None))

NOTHING = Registration(None, None, None, None, None)


def _reading(own: Own) -> Reading:
    return Reading(10**18, own, (), (), None, (), None, None, NOTHING, SpeedAdvice(None, "not known"))


def test_next_turn_is_told() -> None:
    reading = _reading(Own(10.0001, -139.99, 90.0, 12.0, 90.0))
    told = FollowedRoute(ROUTE, None, BOAT).at(reading)
    assert [p[2] for p in told["route"]] == ["A", "B", "C"]
    assert told["now"]["leg"] == 1
    assert told["now"]["coming"][0]["what"] == "turn"
    assert "to port, new course 000°" in told["now"]["coming"][0]["say"]
    # North of an eastward track: to port of it, negative.
    assert told["now"]["off_track_m"] < 0
    assert told["now"]["arrive_ms"] > reading.time_ns // 1_000_000


def test_a_boat_that_nobody_can_place_is_not_on_the_plan() -> None:
    reading = _reading(Own(None, None, None, None, None))
    assert FollowedRoute(ROUTE, None, BOAT).at(reading)["now"] is None


def test_far_off_it_is_not_followed() -> None:
    reading = _reading(Own(11.0, -139.99, 90.0, 12.0, 90.0))
    assert FollowedRoute(ROUTE, None, BOAT).at(reading)["now"] is None
