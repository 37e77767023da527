"""Roles kept from first risk to past and clear, how far to keep off, and an order that stands."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, T0, FakeChart, S, make_boat, make_situation, make_track

from moonless.boat.types import Skipper
from moonless.reading.alerts.orders import SIGHT_TAKEN
from moonless.reading.chart_around import outline_of
from moonless.reading.collision.closest import passings_of
from moonless.reading.collision.decide import Decider
from moonless.reading.collision.held_against import HeldAgainst, KeptAsTold
from moonless.reading.collision.keep_off import PIER_M, keep_off_m, piers
from moonless.reading.collision.roles import Roles
from moonless.reading.collision.safe_speed import NO_VIDEO
from moonless.reading.collision.threats import threats_of
from moonless.reading.contact import Contact, Passing
from moonless.reading.judge import Judge
from moonless.reading.own import OwnPlane
from moonless.reading.types import ChartedAs, Reading
from moonless.rules.steering import stand_on_stage

OWN = OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0)  # north at 5 m/s
NM = 1852.0


def _met(east: float, north: float, ve: float, vn: float, tcpa_s: float, cpa_m: float = 50.0, **change: Any) -> Passing:
    """A vessel where and as said; her closest approach is given, not reckoned."""
    values: dict[str, Any] = {
        "id": 7, "position_en": (east, north), "velocity_en": (ve, vn), "covariance": np.eye(4),
        "range_m": math.hypot(east, north), "bearing_rad": math.atan2(east, north) % math.tau, "moves": True,
        "kind": "vessel", "confidence": 0.9, "p_moving": 1.0, "length_m": None, "charted_as": None, "ais": None,
        "nav_status": None, "why": "", "n_hits": 20,
    }  # fmt: skip
    return Passing(Contact(**{**values, **change}), cpa_m, tcpa_s, 10.0)


def _rule(roles: Roles, k: float, passing: Passing, sight: Any = "in sight") -> str | None:
    found = roles.update(T0 + int(k * S), OWN, [passing], sight, {7: 400.0}, 20.0)
    return found[7].encounter.rule if 7 in found else None


def test_a_later_change_of_bearing_does_not_make_an_overtaking_vessel_a_crossing_one() -> None:
    # COLREGs Rule 13(d): any subsequent alteration of the bearing does not relieve her of the duty.
    roles = Roles()
    assert _rule(roles, 0, _met(-300.0, -600.0, 2.0, 9.0, 150.0)) == "13"  # from abaft our beam, faster
    assert _rule(roles, 10, _met(-500.0, 100.0, 4.0, 5.0, 100.0)) == "13"  # on the bow by now
    fresh = Roles()
    assert _rule(fresh, 10, _met(-500.0, 100.0, 4.0, 5.0, 100.0)) == "15"


@pytest.mark.parametrize("course", [0.0, 2.0, 4.5])
def test_what_comes_at_a_boat_that_lies_still_is_met(course: float) -> None:
    # A receiver leaves the course out while the boat hardly moves.  By hand: 600 m off at 5 m/s, 100 m abeam, in 120 s.
    ahead, aside = np.array([math.sin(course), math.cos(course)]), np.array([math.cos(course), -math.sin(course)])
    place = -600.0 * ahead + 100.0 * aside
    one = _met(place[0], place[1], 5.0 * ahead[0], 5.0 * ahead[1], math.nan).contact
    still = OwnPlane(FRAME, 0.0, 0.0, 1.0, None, 0.1)
    (met,) = passings_of(still, [one])
    assert met.cpa_m == pytest.approx(100.0) and met.tcpa_s == pytest.approx(120.0)
    # Under way with no course nothing can be said.
    (unknown,) = passings_of(OwnPlane(FRAME, 0.0, 0.0, 1.0, None, 3.0), [one])
    assert unknown.cpa_m is None and unknown.tcpa_s is None


def test_a_role_ends_when_she_is_past_and_clear_and_not_before() -> None:
    roles = Roles()
    assert _rule(roles, 0, _met(600.0, 600.0, -5.0, 0.0, 120.0)) == "15"
    assert _rule(roles, 110, _met(60.0, 40.0, -5.0, 0.0, -5.0)) == "15"  # past, and still within her keep-off
    assert _rule(roles, 140, _met(-200.0, -300.0, -5.0, 0.0, -30.0)) is None


def test_a_role_outlives_a_turn_on_which_she_is_told_as_something_else() -> None:
    roles = Roles()
    assert _rule(roles, 0, _met(600.0, 600.0, -5.0, 0.0, 120.0)) == "15"
    assert _rule(roles, 3, _met(590.0, 590.0, -5.0, 0.0, 117.0, kind="clutter")) == "15"
    assert _rule(roles, 6, _met(580.0, 580.0, -5.0, 0.0, 114.0)) == "15"


def test_what_is_told_as_something_else_for_some_turns_was_no_vessel() -> None:
    roles = Roles()
    assert _rule(roles, 0, _met(600.0, 600.0, -5.0, 0.0, 120.0)) == "15"
    told = [_rule(roles, 2.5 * k, _met(600.0, 600.0, 0.0, 0.0, 120.0, kind="charted")) for k in range(1, 5)]
    assert told == ["15", "15", None, None]


def _under(roles: Roles, k: float, course_deg: float, passing: Passing) -> str | None:
    own = OwnPlane(FRAME, 0.0, 0.0, math.radians(course_deg), math.radians(course_deg), 7.0)
    found = roles.update(T0 + int(k * S), own, [passing], "in sight", {7: 400.0}, 20.0)
    return found[7].encounter.rule if 7 in found else None


def test_our_own_turn_may_bring_a_duty_and_takes_none_away() -> None:
    # She runs south, 1200 m north-north-west of us.  On 020 she crosses from port (Rule 15: she gives way); when we
    # have turned to meet her head to head, Rule 14 asks both.  While the boat still swings nothing is found anew.
    south = _met(-150.0, 1200.0, 0.0, -3.0, 120.0)
    roles = Roles()
    assert _under(roles, 0.0, 20.0, south) == "15" and _under(roles, 2.5, 10.0, south) == "15"
    assert _under(roles, 5.0, 356.0, south) == "15" and _under(roles, 7.5, 355.0, south) == "14"
    # The other way round: met head to head, our turn to starboard leaves her on the port bow, and us our duty.
    roles = Roles()
    assert _under(roles, 0.0, 355.0, south) == "14"
    assert [_under(roles, 2.5 * k, 40.0, south) for k in (1, 2, 3)] == ["14"] * 3
    # Rule 13(d): one who overtakes us stays the overtaking vessel, wherever we turn.
    astern = _met(-300.0, -600.0, 2.0, 9.0, 150.0)
    roles = Roles()
    assert _under(roles, 0.0, 0.0, astern) == "13"
    assert [_under(roles, 2.5 * k, 180.0, _met(-300.0, 600.0, 2.0, -9.0, 100.0)) for k in (1, 2)] == ["13"] * 2


def test_no_role_before_her_track_is_sure_unless_there_is_no_time() -> None:
    assert _rule(Roles(), 0, _met(600.0, 600.0, -5.0, 0.0, 120.0, n_hits=4)) is None
    assert _rule(Roles(), 0, _met(600.0, 600.0, -5.0, 0.0, 120.0, n_hits=5)) == "15"
    assert _rule(Roles(), 0, _met(200.0, 200.0, -5.0, 0.0, 40.0, n_hits=1)) == "15"


@pytest.mark.parametrize(("miles", "rule"), [(1.9, "15"), (2.1, None)])
def test_where_nobody_said_so_she_is_in_sight_within_the_range_of_her_lights(miles: float, rule: str | None) -> None:
    # COLREGs Rule 22(c): masthead and all-round lights of a vessel under 12 m are visible at two miles.
    far = miles * NM / math.sqrt(2.0)
    assert _rule(Roles(), 0, _met(far, far, -9.0, -4.0, 400.0), "unsure") == rule


@pytest.mark.parametrize(
    ("sigma_m", "tcpa_s", "asks"),
    # 25.4 s are needed at 5 m/s: 10 to react, 15.4 to stop.  In a channel 30 m are kept off.
    [(20.0, 140.0, "act"), (80.0, 140.0, "watch"), (80.0, 86.0, "watch"), (80.0, 84.0, "act")],
)
def test_no_order_by_a_doubt_larger_than_what_is_kept_off_while_there_is_time(
    sigma_m: float, tcpa_s: float, asks: str
) -> None:
    passing = replace(_met(0.0, 1000.0, 0.0, -3.0, tcpa_s, 10.0), cpa_sigma_m=sigma_m)
    keep_off = {7: 30.0}
    roles = Roles().update(T0, OWN, [passing], "in sight", keep_off, 25.4)
    seen = HeldAgainst(T0, OWN, (passing,), make_boat(), "in sight", None, None, 5.0, None, keep_off)
    (threat,) = threats_of(seen, roles, frozenset({7}), ())
    assert (roles[7].encounter.rule, threat.asks) == ("14", asks)
    # What was acted on goes on: no order is taken back for a turn's doubt.
    (threat,) = threats_of(seen, roles, frozenset({7}), (), {"echo 7"})
    assert threat.asks == "act"


def test_by_radar_only_rule_19_alone_is_told() -> None:
    # Rule 19 for vessels not in sight of one another; Rule 11: 12 to 18 only in sight.
    assert _rule(Roles(), 0, _met(600.0, 600.0, -5.0, 0.0, 120.0), "radar only") == "19"


def test_rule_17_goes_forward_and_never_back() -> None:
    # 17(a)(i), (a)(ii), (b); the times are our own.
    stage = stand_on_stage(200.0, None)
    assert stage == "17(a)(i)"
    stage = stand_on_stage(50.0, stage)
    assert stage == "17(a)(ii)" and stand_on_stage(200.0, stage) == "17(a)(ii)"
    assert stand_on_stage(10.0, stage) == "17(b)" and stand_on_stage(100.0, "17(b)") == "17(b)"


@pytest.mark.parametrize(
    ("tcpa_s", "stage"),
    # Our manoeuvre takes 20 s: a minute before it must begin we may act, and a quarter of a minute before it we must.
    [(81.0, "17(a)(i)"), (79.0, "17(a)(ii)"), (36.0, "17(a)(ii)"), (34.0, "17(b)")],
)
@pytest.mark.parametrize("is_first", [True, False])
def test_how_far_rule_17_has_come_is_told_by_the_time_that_is_left(tcpa_s: float, stage: str, is_first: bool) -> None:
    roles = Roles()
    if not is_first:
        roles.update(T0, OWN, [_met(-600.0, 600.0, 5.0, 0.0, 120.0)], "in sight", {7: 400.0}, 20.0)
    found = roles.update(T0 + 5 * S, OWN, [_met(-400.0, 400.0, 5.0, 0.0, tcpa_s)], "in sight", {7: 400.0}, 20.0)
    assert found[7].encounter.meeting == "crossing from port" and found[7].stand_on == stage


@pytest.mark.parametrize(
    ("change", "sog", "room", "metres"),
    [
        ({}, 7.0, math.inf, 400.0),  # the skipper's own figure in open water
        ({}, 7.0, 1500.0, 400.0), ({}, 7.0, 600.0, 200.0), ({}, 7.0, 90.0, 60.0),  # a third of the room
        ({"moves": False}, 2.0, math.inf, 40.0), ({"moves": False}, 7.0, math.inf, 105.0),
        ({"moves": False}, 15.0, math.inf, 140.0),
        ({"kind": "uncharted"}, 2.0, math.inf, 60.0), ({"kind": "uncharted"}, 6.0, math.inf, 150.0),
        ({"kind": "uncharted"}, 15.0, math.inf, 200.0), ({"kind": "charted"}, 7.0, math.inf, 30.0),
    ],
)  # fmt: skip
def test_how_far_to_keep_off(change: dict[str, Any], sog: float, room: float, metres: float) -> None:
    boat = make_boat(skipper=Skipper(keep_off_m=400.0))
    assert keep_off_m(_met(0.0, 900.0, 0.0, -5.0, 90.0, **change).contact, boat, sog, room) == pytest.approx(metres)


def test_between_a_bridges_piers_nothing_is_ordered_and_at_one_of_them_it_is() -> None:
    # A span of 30 m, 150 m ahead, at 3 m/s; its middle, 15 m from either pier, is for us (common practice, no source).
    bridge = shapely.LineString([(-60.0, 150.0), (60.0, 150.0)])
    place: Any = SimpleNamespace(bridge_outline=outline_of([bridge]))
    own = replace(OWN, sog=3.0)
    for aside, is_ordered in ((0.0, False), (3.0, False), (10.0, True)):
        charted = ChartedAs("PYLONS", None, "TEST", "1", 0.0)
        two = [
            _met(aside + e, 150.0, 0.0, 0.0, 50.0, id=i, kind="charted", moves=False, charted_as=charted).contact
            for i, e in ((7, -15.0), (8, 15.0))
        ]
        assert piers(two, place) == {7, 8} and not piers(two, None)
        assert not piers([replace(one, position_en=(0.0, 400.0)) for one in two], place)  # a pylon of a power line
        keep_off = {7: PIER_M, 8: PIER_M}
        seen = HeldAgainst(T0, own, passings_of(own, two), make_boat(), "in sight", None, None, 5.0, None, keep_off)
        assert bool(threats_of(seen, {}, frozenset({7, 8}), ())) == is_ordered


def _read(judge: Judge, k: float, north: float, heading_deg: float = 0.0, sight: Any = "unsure") -> Reading:
    heading = math.radians(heading_deg)
    return judge.read(
        make_situation(
            [make_track(1, 0.0, north, 0.0, -5.0)], heading_rad=heading, time_ns=T0 + int(k * S), sight=sight
        )
    )


def test_an_order_stands_and_becomes_hold_once_it_is_done() -> None:
    # Head-on at ten metres a second, 1400 m off.
    judge = Judge(make_boat(skipper=Skipper(keep_off_m=300.0)), FakeChart())
    first = _read(judge, 0.0, 1400.0).instruction
    assert first is not None and first.do == "turn" and first.to_deg is not None
    # Half a minute on and nothing done: not another figure, but the same course to turn to.
    again = _read(judge, 5.0, 1350.0).instruction
    assert again is not None and (again.do, again.to_deg) == ("turn", pytest.approx(first.to_deg))
    done = _read(judge, 10.0, 1300.0, heading_deg=first.to_deg)
    assert done.instruction is not None and done.instruction.do == "hold" and done.manoeuvres is None


def test_what_the_rule_rests_on_is_said_where_nobody_has_said_it() -> None:
    boat = make_boat(skipper=Skipper(keep_off_m=300.0))
    for sight, is_said in (("unsure", True), ("in sight", False), ("radar only", False)):
        order = _read(Judge(boat, FakeChart()), 0.0, 1400.0, sight=sight).instruction
        assert order is not None and (SIGHT_TAKEN in order.because) == is_said


def test_an_order_outlives_three_turns_on_which_its_float_is_told_as_clutter() -> None:
    # Rule 8(a): action shall be positive.  What is steered round is not clutter on one turn and a float on the next.
    kept, asked = KeptAsTold(), []
    for k, kind in enumerate(["uncharted", *["clutter"] * 4]):
        told = _met(0.0, 200.0 - 12.0 * k, 0.0, 0.0, 40.0 - 2.5 * k, 10.0, kind=kind, moves=False)
        (passing,) = kept.keep([told], {"echo 7"} if k else ())
        seen = HeldAgainst(T0, OWN, (passing,), make_boat(), "in sight", None, None, 5.0, None, {7: 60.0})
        asked.append([t.asks for t in threats_of(seen, {}, frozenset({7}), ())])
        assert len(seen.movers()[0]) == len(asked[-1])
    assert asked == [["act"]] * 4 + [[]]
    # Past, or never acted on, it is what it is told as.
    for acted_on, tcpa_s in (({"echo 7"}, -1.0), (set[str](), 30.0)):
        kept = KeptAsTold()
        kept.keep([_met(0.0, 200.0, 0.0, 0.0, 40.0, kind="uncharted")], ())
        (passing,) = kept.keep([_met(0.0, 190.0, 0.0, 0.0, tcpa_s, kind="clutter")], acted_on)
        assert passing.contact.kind == "clutter"


def test_nobody_is_told_to_hold_and_to_keep_out_of_the_way() -> None:
    # Rule 15: one from starboard 230 m off, crossing ahead; Rule 16: take substantial action to keep well clear; Rule
    # 8(e): slacken speed or take all way off.  One astern bars the turn, and going on keeps a little more off.
    own = replace(OWN, cog_rad=math.radians(5.0), heading_rad=math.radians(5.0), sog=4.1)
    astern = _met(0.0, -83.0, 3.6, 2.1, 5.0, id=8).contact
    crossing = _met(143.0, 182.0, -2.6, -5.5, 20.0).contact
    met, keep_off = passings_of(own, [crossing, astern]), {7: 460.0, 8: 460.0}
    roles = Roles().update(T0, own, met, "in sight", keep_off, 20.0)
    seen = HeldAgainst(T0, own, met, make_boat(), "in sight", None, None, 5.0, None, keep_off)
    threats = [t for t in threats_of(seen, roles, frozenset(keep_off), ()) if t.contact == 7]
    order = Decider().decide(seen, threats, roles, NO_VIDEO)
    assert order is not None and order.role is not None and order.role.encounter.rule == "15"
    assert order.do in ("slow", "stop") and not order.clears


def test_no_large_turn_is_told_for_a_little_more_water_where_nothing_keeps_all_off() -> None:
    # Own boat 005 at 8 knots.  One passes 84 m off in half a minute; another has just passed astern, 69 m off.
    # By hand: square to starboard the first would pass 114 m off and the second 43 m, nearer than either by going on.
    def vessel(i: int, away: float, bearing: float, knots: float, course: float, tcpa_s: float) -> Passing:
        (e, n), (ve, vn) = (
            (r * math.sin(math.radians(b)), r * math.cos(math.radians(b)))
            for r, b in ((away, bearing), (knots * 0.5144, course))
        )
        return _met(e, n, ve, vn, tcpa_s, id=i)

    own = replace(OWN, cog_rad=math.radians(5.0), heading_rad=math.radians(5.0), sog=8.0 * 0.5144)
    seen = [vessel(7, 330.0, 32.0, 11.9, 205.0, 31.0), vessel(8, 69.0, 206.0, 8.0, 60.0, 0.0)]
    seen += [vessel(9, 665.0, 4.0, 8.9, 150.0, 76.0), vessel(10, 780.0, 34.0, 10.0, 275.0, 108.0)]
    met, keep_off = passings_of(own, [one.contact for one in seen]), dict.fromkeys((7, 8, 9, 10), 463.0)
    roles = Roles().update(T0, own, met, "in sight", keep_off, 20.0)
    held = HeldAgainst(T0, own, met, make_boat(), "in sight", None, None, 5.0, None, keep_off)
    threats = [t for t in threats_of(held, roles, frozenset(keep_off), ()) if t.contact == 7]
    order = Decider().decide(held, threats, roles, NO_VIDEO)
    assert order is not None and not order.clears and abs(order.turn_deg) < 60.0
