"""A run made on paper, with every figure known: what the debrief says of it is held against plain geometry."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC
from typing import Any

import numpy as np
import pytest

from moonless.boat.file import default_boat
from moonless.debrief.ledger import Ledger, ledger_of
from moonless.debrief.report import as_data, debrief
from moonless.debrief.types import Debrief
from moonless.debrief.words import Words, answered_words, level_words, short
from moonless.errors import SourceError
from moonless.frames import LocalFrame
from moonless.passage.way.route import Waypoint
from moonless.units import KNOT_MPS, NS_PER_S, iso_utc
from moonless.watch.afterwards.told import AcknowledgedCall, ToldTurn

FRAME = LocalFrame(10.0, -30.0)
T0 = 1_800_000_000 * NS_PER_S
STEP_S = 2.5
BOAT = default_boat()
KEEP_OFF_M = BOAT.skipper.keep_off_m


def place(east_m: float, north_m: float) -> dict[str, float]:
    lat, lon = FRAME.to_geographic(east_m, north_m)
    return {"lat": lat, "lon": lon}


def turn(k: int, own: tuple[float, float], course: float, sog_kn: float, **given: Any) -> ToldTurn:
    time_ns = T0 + round(k * STEP_S * NS_PER_S)
    line: dict[str, Any] = {
        "time": iso_utc(time_ns),
        "own": {**place(*own), "cog_deg": course, "sog_kn": sog_kn, "heading_deg": course},
        "echoes": [], "missing": [], "hidden": {"type": "FeatureCollection", "features": []},
        "seeing": [{"rcs_m2": r, "range_m": 100.0 * r} for r in (0.5, 2.5, 10.0)], "stopping_m": 50.0,
        "registration": {"heading_bias_deg": 1.0, "east_m": 2.0, "north_m": -1.0, "agrees": True},
        "speed": {"advised_kn": 12.0, "because": "it is dark"}, "faults": [], "calls": [], "instruction": None,
        "performance_db": -1.0, "manoeuvres": None,
    }  # fmt: skip
    depth = given.pop("depth_m", 4.0)
    return ToldTurn(time_ns, line | given, depth, None)


def vessel(own: tuple[float, float], at: tuple[float, float], course: float, sog_kn: float, cpa: Any = None) -> Any:
    return {
        "id": 5, **place(*at), "range_m": math.dist(own, at), "is": "vessel", "sog_kn": sog_kn, "cog_deg": course,
        "cpa_m": None if cpa is None else cpa[0], "tcpa_s": None if cpa is None else cpa[1], "ais": None,
    }  # fmt: skip


def crossing(pass_m: float, own_kn: float = 10.0, n: int = 121) -> list[ToldTurn]:
    """North at ten knots, while she crosses from starboard to the west and passes ahead by ``pass_m`` at half time."""
    out = []
    speed, middle_s = own_kn * KNOT_MPS, (n - 1) / 2 * STEP_S
    for k in range(n):
        t = k * STEP_S - middle_s
        own, her = (0.0, speed * t), (-8.0 * KNOT_MPS * t, pass_m * math.hypot(1, own_kn / 8.0) + 0.0 * t)
        relative_n = her[1] - own[1]
        vel = np.array([-8.0 * KNOT_MPS, -speed])
        off = np.array([her[0], relative_n])
        tcpa = -float(off @ vel) / float(vel @ vel)
        cpa = float(np.hypot(*(off + tcpa * vel)))
        out.append(turn(k, own, 0.0, own_kn, echoes=[vessel(own, her, 270.0, 8.0, (cpa, tcpa))]))
    return out


def looked_back(turns: list[ToldTurn], **given: Any) -> tuple[Ledger, Debrief]:
    run = ledger_of(turns)
    return run, debrief(run, BOAT, "made.mcap", **given)


def test_closest_approach_is_that_of_geometry_between_the_turns() -> None:
    _, found = looked_back(crossing(150.0))
    (met,) = found.meetings
    # Two straight ways: the least distance is the offset square to the relative motion, 150 m as made.
    assert met.closest_m == pytest.approx(150.0, abs=1.0)
    assert met.rule == "Rule 15 or Rule 19" and met.meeting.startswith("crossing from starboard")
    assert met.done == "kept course and speed" and met.risk_ns is not None
    assert "starboard" in met.better and met.better.endswith("m off") and not met.is_open


def test_she_is_nearest_on_the_side_she_passes() -> None:
    _, found = looked_back(crossing(150.0))
    # Square to her way past us, 8 kn west and 10 kn astern: on our port bow, at atan2(10, 8).
    # At the moment itself, which lies between two turns: the bearing changes by 10 degrees from one to the other.
    assert found.meetings[0].bearing_deg == pytest.approx(360.0 - math.degrees(math.atan2(10.0, 8.0)), abs=0.2)


def test_one_who_still_closes_when_last_told_is_not_said_to_have_been_kept_off() -> None:
    told = crossing(KEEP_OFF_M * 0.9)
    cut = next(k for k, one in enumerate(told) if one.line["echoes"][0]["range_m"] < 1.3 * KEEP_OFF_M)
    (met,) = looked_back(told[: cut + 1])[1].meetings
    assert met.is_open and met.closest_m > KEEP_OFF_M and met.better.startswith("cannot be said")


def test_least_seen_and_furthest_off_the_leg_are_the_worst_of_the_run() -> None:
    turns = [
        turn(k, (15.0 if k != 30 else 55.0, 10.0 * k), 0.0, 8.0,
             seeing=[{"rcs_m2": 2.5, "range_m": 120.0 if k == 7 else 400.0}])
        for k in range(101)
    ]  # fmt: skip
    ends = [Waypoint(name, *place(0.0, north).values()) for name, north in (("start", 0.0), ("end", 1000.0))]
    _, found = looked_back(turns, plan=("home", ends, [T0, None]))
    assert (found.radar.seeing_m, found.radar.least_seeing_m) == (400.0, 120.0)
    assert found.radar.least_seeing_ns == turns[7].time_ns
    assert found.plan[1].off_leg_m == pytest.approx(55.0, abs=0.1)


def test_time_inside_the_keep_off_is_that_of_the_chord() -> None:
    _, found = looked_back(crossing(150.0))
    # A straight way past a circle: chord over relative speed.
    relative = math.hypot(8.0, 10.0) * KNOT_MPS
    inside_s = 2.0 * math.sqrt(KEEP_OFF_M**2 - 150.0**2) / relative
    assert found.keep_off_s == pytest.approx(inside_s, abs=2 * STEP_S)


def test_nothing_better_is_told_against_the_rules() -> None:
    # She comes from starboard and passes astern of us.  A turn to port would open the distance at once, and Rule
    # 19(d)(i) of COLREGs tells not to alter to port for a vessel forward of the beam.
    (met,) = looked_back(crossing(-150.0))[1].meetings
    assert met.meeting.startswith("crossing from starboard") and "port" not in met.better


def test_too_late_for_enough_the_best_there_was_is_told() -> None:
    turns = crossing(20.0)
    for one in turns[:52]:  # nothing was told of her closest approach until twenty seconds before
        one.line["echoes"][0]["cpa_m"] = None
    (met,) = looked_back(turns)[1].meetings
    assert met.better.endswith("still inside the keep-off")
    assert met.closest_m + 20.0 < float(met.better.split(" m off")[0].split()[-1]) < KEEP_OFF_M


def test_one_who_is_kept_off_needs_nothing_better() -> None:
    _, found = looked_back(crossing(KEEP_OFF_M + 60.0))
    (met,) = found.meetings
    assert met.better.startswith("nothing") and found.keep_off_s == 0.0 and met.risk_ns is None


def test_what_is_better_does_what_it_says() -> None:
    """Sail the change that is told, and measure."""
    run, found = looked_back(crossing(150.0))
    (met,) = found.meetings
    degrees = float(met.better.split("°")[0].split()[-1]) * (1.0 if "starboard" in met.better else -1.0)
    told_m = float(met.better.split("passes ")[1].split(" m")[0])
    begin = next(k for k in range(len(run.time_ns)) if run.time_ns[k] == met.risk_ns)
    t = run.time_s[begin:] - run.time_s[begin]
    course = math.radians(degrees)
    own = np.column_stack([np.sin(course) * t, np.cos(course) * t]) * 10.0 * KNOT_MPS
    own += [run.east_m[begin], run.north_m[begin]]
    her = np.column_stack([met.east_m, met.north_m])[begin:]
    # Sampled every 2.5 s, a pass at 12.8 kn is at most 8 m nearer between two samples (elementary).
    assert float(np.min(np.hypot(*(her - own).T))) == pytest.approx(told_m, abs=8.0)
    assert told_m >= KEEP_OFF_M


@pytest.mark.parametrize(("ahead_m", "is_near"), [(520.0, True), (540.0, False)])
def test_hidden_water_is_near_while_what_comes_out_of_it_arrives_before_we_lie_still(
    ahead_m: float, is_near: bool
) -> None:
    # Elementary: ten knots are 5.144 m/s, 51.4 m to react in 10 s; 100 m to slow evenly take 2 x 100 / 5.144 = 38.9 s.
    # At 15 kn, 7.72 m/s, a boat comes 48.9 x 7.72 = 377 m in all that time: 151.4 + 377 = 529 m.
    assert (BOAT.skipper.react_s, BOAT.skipper.hidden_boat_speed) == (10.0, 7.72)
    ring = [place(e, ahead_m + n) for e, n in ((-5, 0), (0, 0), (5, 0), (0, 50), (-5, 0))]
    shape = {"properties": {"by": "land"}, "geometry": {"coordinates": [[[p["lon"], p["lat"]] for p in ring]]}}
    turns = [turn(k, (0.0, 0.0), 0.0, 10.0, hidden={"features": [shape]}, stopping_m=151.4) for k in range(41)]
    _, found = looked_back(turns)
    assert found.hidden.near_s == (40 * STEP_S if is_near else 0.0)


def test_pace_hidden_water_and_depth_are_counted_by_the_second() -> None:
    ring = [place(30.0 + e, 100.0 + n) for e, n in ((0, 0), (50, 0), (50, 50), (0, 50), (0, 0))]
    hidden = {
        "features": [
            {"properties": {"by": "land"}, "geometry": {"coordinates": [[[p["lon"], p["lat"]] for p in ring]]}}
        ]
    }
    turns = [
        turn(k, (0.0, 0.0), 0.0, 16.0 if k < 10 else 8.0, hidden=hidden if k < 4 else {"features": []},
             depth_m=BOAT.draught_m + (0.2 if k == 7 else 3.0))
        for k in range(41)
    ]  # fmt: skip
    _, found = looked_back(turns, tide_m=lambda time_ns, lat, lon: 0.8)
    assert found.pace.over_s == 10 * STEP_S and found.pace.most_over_kn == pytest.approx(4.0)
    assert found.pace.because == "it is dark"
    # The nearest corner lies 30 m east and 100 m north.
    assert found.hidden.nearest_m == pytest.approx(math.hypot(30.0, 100.0), abs=0.5)
    assert found.hidden.near_s == 4 * STEP_S
    assert found.depth.least_below_keel_m == pytest.approx(0.2) and found.depth.below_margin_s == STEP_S
    assert found.depth.at_datum_m == pytest.approx(-0.6)


def test_what_is_not_known_is_told_as_not_known() -> None:
    turns = [
        turn(k, (0.0, 5.0 * k), 0.0, 8.0, depth_m=None, hidden=None, seeing=[], performance_db=None,
             speed={"advised_kn": None, "because": "nothing is seen"})
        for k in range(30)
    ]  # fmt: skip
    run, found = looked_back(turns)
    assert found.depth.least_below_keel_m is None and found.hidden.nearest_m is None
    assert found.pace.not_known_s == pytest.approx(29 * STEP_S) and found.radar.performance_db is None
    data = json.loads(json.dumps(as_data(found), allow_nan=False))
    assert data["depth"]["least_below_keel_m"] is None
    assert len(run.time_ns) == 30


def order(do: str, **given: Any) -> dict[str, Any]:
    return {"do": do, "to_deg": None, "to_kn": None, "say": do.upper(), "because": "of her"} | given


def test_orders_are_followed_or_not_by_what_the_boat_did() -> None:
    def run_with(instruction: dict[str, Any], course_then: float, speed_then: float, last: int = 20) -> bool | None:
        turns = [
            turn(k, (0.0, 0.0), course_then if k >= 8 else 0.0, speed_then if k >= 8 else 10.0,
                 instruction=instruction if k <= last else None)
            for k in range(40)
        ]  # fmt: skip
        (one,) = looked_back(turns)[1].orders
        return one.followed

    assert run_with(order("turn", to_deg=40.0), 40.0, 10.0) is True
    assert run_with(order("turn", to_deg=40.0), 0.0, 10.0) is False
    assert run_with(order("turn", to_deg=357.0), 2.0, 10.0) is True  # five degrees, over north
    assert run_with(order("stop"), 0.0, 0.5) is True and run_with(order("stop"), 0.0, 6.0) is False
    assert run_with(order("slow", to_kn=6.0), 0.0, 6.5) is True
    assert run_with(order("hold", to_deg=0.0), 0.0, 10.0) is True
    assert run_with(order("hold", to_deg=0.0), 25.0, 10.0) is False
    assert run_with(order("look"), 0.0, 10.0) is None
    # One that stood for less than a quarter of a minute could not be followed: nothing is held against anybody.
    assert run_with(order("stop"), 0.0, 6.0, last=3) is None


def test_a_call_with_little_time_left_came_late() -> None:
    def said(tcpa_s: float, urgency: int = 3) -> Debrief:
        call = {"key": "echo 5", "kind": "vessel", "urgency": urgency, "say": "Vessel ahead", "echo": 5}
        own, her = (0.0, 0.0), (0.0, 300.0)
        turns = [
            turn(k, own, 0.0, 8.0, echoes=[vessel(own, her, 180.0, 8.0, (20.0, tcpa_s))], calls=[call])
            for k in range(9)
        ]
        return looked_back(turns)[1]

    assert [c.is_late for c in said(30.0).calls] == [True]
    assert [c.is_late for c in said(200.0).calls] == [False]
    assert [c.is_late for c in said(30.0, urgency=2).calls] == [False]


def test_a_matter_said_in_good_time_that_grew_urgent_was_not_late() -> None:
    """Said with five minutes to go, to be acted on with twenty seconds to go: each at its own time."""
    turns = []
    for k in range(113):
        left_s = 300.0 - k * STEP_S
        urgency, say = (4, "Stop.") if left_s <= 20.0 else (2, "Vessel ahead, five minutes.")
        call = {"key": "echo 5", "kind": "vessel", "urgency": urgency, "say": say, "echo": 5}
        told = vessel((0.0, 0.0), (0.0, 10.0 * left_s), 180.0, 19.4, (0.0, left_s))
        turns.append(turn(k, (0.0, 0.0), 0.0, 0.0, echoes=[told], calls=[call]))
    (one,) = looked_back(turns)[1].calls
    assert (one.urgency, one.say, one.is_late, one.left_s) == (4, "Stop.", False, 300.0)
    assert (one.first_ns, one.loudest_ns) == (T0, T0 + 280 * NS_PER_S)
    words = Words(UTC, "nm")
    assert level_words(one, words) == f"act now at {words.clock(T0 + 280 * NS_PER_S)}"


def test_a_call_is_answered_by_its_own_key_and_one_that_asks_for_none_is_not_counted() -> None:
    said = [("echo 5", 3), ("echo 6", 3), ("mark 7", 2)]
    calls = [{"key": key, "kind": "vessel", "urgency": u, "say": key, "echo": None} for key, u in said]
    turns = [turn(k, (0.0, 0.0), 0.0, 8.0, calls=calls if k >= 2 else []) for k in range(9)]
    first_ns = turns[2].time_ns
    answers = [AcknowledgedCall(first_ns + 6 * NS_PER_S, "echo 5"), AcknowledgedCall(first_ns + 9 * NS_PER_S, "echo 5")]
    _, found = looked_back(turns, answers=answers)
    assert [(c.key, c.answered_s) for c in found.calls] == [("echo 5", 6.0), ("echo 6", None), ("mark 7", None)]
    assert [answered_words(c) for c in found.calls] == ["after 6 s", "not", ""]
    told = dict(short(found, Words(UTC, "nm")))
    assert told["Calls answered"] == "1 of 2 that ask for an answer"
    assert "Calls answered" not in dict(short(looked_back(turns)[1], Words(UTC, "nm")))


def test_the_plan_is_held_against_the_track() -> None:
    turns = [turn(k, (15.0, 10.0 * k), 0.0, 8.0) for k in range(101)]
    names = [("start", 0.0), ("middle", 500.0), ("end", 1000.0), ("never", 3000.0)]
    waypoints = [Waypoint(name, *place(0.0, north).values()) for name, north in names]
    planned = [T0, T0 + 60 * NS_PER_S, None, None]
    _, found = looked_back(turns, plan=("home", waypoints, planned))
    assert [w.passed_ns is not None for w in found.plan] == [True, True, True, False]
    assert found.plan[1].off_m == pytest.approx(15.0, abs=0.1) and found.plan[1].off_leg_m == pytest.approx(
        15.0, abs=0.1
    )
    assert found.plan[1].passed_ns == T0 + 50 * round(STEP_S * NS_PER_S)


def test_two_tracks_of_one_hull_are_one_meeting() -> None:
    turns = crossing(150.0)
    for k, one in enumerate(turns):
        if k > 70:
            one.line["echoes"][0]["id"] = 9
    assert len(looked_back(turns)[1].meetings) == 1


def test_sea_that_is_called_a_vessel_now_and_then_is_no_meeting() -> None:
    turns = crossing(150.0)
    for k, one in enumerate(turns):
        if k % 3:
            one.line["echoes"][0]["is"] = "clutter"
    assert looked_back(turns)[1].meetings == ()


def test_what_to_practise_follows_from_the_run() -> None:
    assert looked_back([turn(k, (0.0, 5.0 * k), 0.0, 8.0) for k in range(30)])[1].practise == ()
    whats = [p.what for p in looked_back(crossing(150.0))[1].practise]
    assert whats == ["Will she pass clear, and what do I do about it early"]


def test_a_run_without_a_position_is_refused() -> None:
    lost = [turn(k, (0.0, 0.0), 0.0, 8.0) for k in range(5)]
    for one in lost:
        one.line["own"]["lat"] = one.line["own"]["lon"] = None
    with pytest.raises(SourceError, match="never known"):
        ledger_of(lost)


def test_a_gap_in_the_recording_counts_for_nothing() -> None:
    turns = [turn(k, (0.0, 0.0), 0.0, 16.0) for k in range(10)]
    turns += [replace(t, time_ns=t.time_ns + 600 * NS_PER_S) for t in turns]
    assert looked_back(turns)[1].pace.over_s <= 20 * 5.0
