"""In a channel: when the boat is in one, how near marks and boats that meet in it may come, and what is said."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, T0, FakeChart, S, make_boat, make_mark, make_situation, make_track

from moonless.boat.types import Skipper
from moonless.chart.channels import lay_out_channels
from moonless.chart.types import Feature, Mark
from moonless.reading.collision.closest import passings_of
from moonless.reading.collision.decide import Decider
from moonless.reading.collision.held_against import HeldAgainst
from moonless.reading.collision.keep_off import keep_off_m
from moonless.reading.collision.plan_ahead import plan_ahead
from moonless.reading.collision.safe_speed import NO_VIDEO
from moonless.reading.collision.threats import threats_of
from moonless.reading.contact import Contact
from moonless.reading.judge import Judge
from moonless.reading.own import OwnPlane

NORTH = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 7.0)
BOAT = make_boat(skipper=Skipper(keep_off_m=200.0))


def _lateral(east: float, north: float, hand: int) -> Mark:
    """A lateral beacon; CATLAM 1 port hand, 2 starboard hand (S-57 appendix A)."""
    return replace(make_mark(east, north, f"{hand} {north:.0f}"), attributes={"CATLAM": hand})


def _contact(number: int, east: float, north: float, **change: Any) -> Contact:
    values: dict[str, Any] = {
        "id": number, "position_en": (east, north), "velocity_en": (0.0, 0.0), "covariance": np.eye(4),
        "range_m": math.hypot(east, north), "bearing_rad": math.atan2(east, north) % math.tau, "moves": False,
        "kind": "charted", "confidence": 0.9, "p_moving": 0.0, "length_m": None, "charted_as": None, "ais": None,
        "nav_status": None, "why": "", "n_hits": 20,
    }  # fmt: skip
    return Contact(**{**values, **change})


def _width(chart: Any, own: OwnPlane) -> float | None:
    assert own.ahead_rad is not None
    return lay_out_channels(chart).width_m(own.east_m, own.north_m, own.ahead_rad)


@pytest.mark.parametrize(
    ("own", "width_m"),
    [
        (NORTH, 90.0),
        (replace(NORTH, north_m=500.0), 90.0),  # just through the gate, the next one not yet near
        (replace(NORTH, east_m=60.0), None),  # she runs outside it
        (replace(NORTH, north_m=-400.0), None),  # it is far ahead yet
        (replace(NORTH, heading_rad=math.pi / 2, cog_rad=math.pi / 2), None),  # across
    ],
)
def test_she_is_in_the_channel_when_she_runs_between_its_marks(own: OwnPlane, width_m: float | None) -> None:
    # By hand: beacons 45 m to either hand, a quarter of a mile ahead.
    chart: Any = FakeChart(marks=(_lateral(-45.0, 300.0, 1), _lateral(45.0, 300.0, 2)))
    assert _width(chart, own) == (None if width_m is None else pytest.approx(width_m))


@pytest.mark.parametrize("hands", [(1, 1), (2, 2)])
def test_two_marks_of_one_hand_are_no_gate(hands: tuple[int, int]) -> None:
    chart: Any = FakeChart(marks=(_lateral(-45.0, 300.0, hands[0]), _lateral(45.0, 300.0, hands[1])))
    assert _width(chart, NORTH) is None


@pytest.mark.parametrize(("half_m", "width_m"), [(50.0, 100.0), (900.0, None)])
@pytest.mark.parametrize("s57", ["FAIRWY", "DRGARE"])
def test_a_charted_fairway_is_a_channel_unless_it_is_as_wide_as_open_water(
    s57: str, half_m: float, width_m: float | None
) -> None:
    area = Feature(s57, "TEST", "way", shapely.box(-half_m, -1000.0, half_m, 1000.0), {}, 10_000)
    chart: Any = FakeChart(depths=(area,))
    found = _width(chart, NORTH)
    assert found == (None if width_m is None else pytest.approx(width_m))


@pytest.mark.parametrize(
    ("change", "open_m", "channel_m"),
    [
        ({}, 30.0, 15.0),  # a mark is run at within 15 m, where it is one to steer by
        ({"kind": "uncharted"}, 100.0, 30.0), ({"kind": "vessel"}, 70.0, 30.0),  # a third of 90 m
        ({"kind": "vessel", "moves": True}, 200.0, 30.0),
    ],
)  # fmt: skip
def test_how_near_things_may_come_in_a_channel(change: dict[str, Any], open_m: float, channel_m: float) -> None:
    one = _contact(1, 0.0, 500.0, **change)
    assert keep_off_m(one, BOAT, 7.0) == pytest.approx(open_m)
    assert keep_off_m(one, BOAT, 7.0, channel=90.0) == pytest.approx(channel_m)


def _turn(contacts: list[Contact], channel: float | None, k: float = 0.0) -> HeldAgainst:
    keep_off = {c.id: keep_off_m(c, BOAT, NORTH.sog, channel=channel) for c in contacts}
    return HeldAgainst(
        T0 + int(k * S), NORTH, passings_of(NORTH, contacts), BOAT, "in sight", None, None, 5.0, None, keep_off
    )


def _asked(contact: Contact, channel: float | None, decider: Decider | None = None, k: float = 0.0) -> str | None:
    turn = _turn([contact], channel, k)
    acted_on = frozenset() if decider is None else decider.acted_on(turn.time_ns)
    threats = threats_of(turn, {}, frozenset({contact.id}), (), acted_on)
    if decider is not None:
        decider.decide(turn, threats, {}, NO_VIDEO)
    return threats[0].asks if threats else None


@pytest.mark.parametrize(
    ("east_m", "channel", "asks"), [(25.0, None, "act"), (25.0, 90.0, None), (8.0, 90.0, "act"), (40.0, None, None)]
)
def test_a_beacon_of_the_channel_is_called_when_the_boat_runs_at_it(
    east_m: float, channel: float | None, asks: str | None
) -> None:
    assert _asked(_contact(1, east_m, 250.0), channel) == asks


def test_what_passes_close_in_a_channel_is_told_and_asks_for_nothing() -> None:
    meets = {"kind": "vessel", "moves": True, "velocity_en": (0.0, -3.0)}
    assert _asked(_contact(1, 50.0, 700.0, **meets), 90.0) == "watch"
    assert _asked(_contact(1, 50.0, 700.0, **meets), None) == "act"
    assert _asked(_contact(1, 80.0, 250.0, kind="uncharted"), 90.0) == "watch"
    assert _asked(_contact(1, 110.0, 250.0, kind="uncharted"), 90.0) is None


def test_what_lies_at_the_edge_of_the_way_does_not_come_and_go() -> None:
    # 30 m are kept off a mark: 29 m off brings an order, and 35 m off does not end it, though it would bring none.
    decider = Decider()
    assert _asked(_contact(1, 35.0, 250.0), None, decider, 0.0) is None
    assert _asked(_contact(1, 29.0, 250.0), None, decider, 2.5) == "act"
    assert [_asked(_contact(1, 35.0, 250.0), None, decider, 2.5 * k) for k in (2, 3, 4)] == ["act"] * 3
    assert _asked(_contact(1, 50.0, 250.0), None, decider, 12.5) is None
    # Long after it was acted on it is a new matter.
    assert _asked(_contact(1, 35.0, 250.0), None, decider, 40.0) is None


def test_a_mark_the_route_goes_by_is_one_to_steer_by_and_one_it_runs_over_is_not() -> None:
    lat, lon = FRAME.to_geographic(np.array([0.0]), np.array([900.0]))
    plan = plan_ahead(NORTH, [(float(lat[0]), float(lon[0]))])
    assert plan is not None
    assert plan.passes(25.0, 400.0) and not plan.passes(9.0, 400.0) and not plan.passes(600.0, 400.0)


@pytest.mark.parametrize(("east_m", "do"), [(-24.0, "slow"), (24.0, "stop")])
def test_who_passes_port_to_port_in_a_channel_is_slowed_for_and_not_stopped_for(east_m: float, do: str) -> None:
    # Rule 9(a): each keeps to her own starboard side; Rule 14(a): port to port.  30 m are kept off in 90 m of channel.
    banks = [shapely.box(min(s, 20 * s), -3000.0, max(s, 20 * s), 3000.0) for s in (-47.0, 47.0)]
    shoals = tuple(Feature("DEPARE", "TEST", f"bank {k}", one, {"DRVAL1": 0.2}, 10_000) for k, one in enumerate(banks))
    way = Feature("FAIRWY", "TEST", "way", shapely.box(-45.0, -3000.0, 45.0, 3000.0), {}, 10_000)
    deep = Feature("DEPARE", "TEST", "deep", shapely.box(-47.0, -3000.0, 47.0, 3000.0), {"DRVAL1": 5.0}, 10_000)
    judge: Any = Judge(BOAT, FakeChart(depths=(*shoals, deep, way)))
    order = judge.read(make_situation([make_track(1, east_m, 700.0, 0.0, -4.0)], sight="in sight")).instruction
    assert order is not None and order.do == do and "Rule 14:" in order.because
    assert ("(Rule 9(a))" in order.because) == (do == "slow")
