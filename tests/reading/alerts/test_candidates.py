"""Each matter's sentence, number and urgency, against words and figures written out by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise, product
from typing import Any, get_args

import numpy as np
import pytest
from reading_fakes import FRAME, T0, FakeChart, S, make_boat, make_mark, make_situation, make_track

from moonless.boat.types import Skipper
from moonless.chart.dangers.types import Danger, DangerKind
from moonless.reading.alerts import candidates, doubts
from moonless.reading.alerts.brief import MOST_WORDS, n_words
from moonless.reading.alerts.orders import instruction_of, order_words
from moonless.reading.collision.charted_dangers import Ahead, SounderCheck
from moonless.reading.collision.decide import Decider, Decision
from moonless.reading.collision.held_against import HeldAgainst
from moonless.reading.collision.roles import Role
from moonless.reading.collision.safe_speed import SafeSpeed, advise
from moonless.reading.collision.stage import Risks
from moonless.reading.collision.threats import Threat
from moonless.reading.contact import Contact, Passing
from moonless.reading.identify.mark_watch import MissingMark
from moonless.reading.judge import Judge
from moonless.reading.line import FaultState, FaultWhat
from moonless.reading.own import OwnPlane
from moonless.reading.registration.registrar import Agreement
from moonless.reading.registration.stage import CarriedPlace
from moonless.reading.types import AisLabel, ChartedAs, Fault
from moonless.reading.visibility.hidden_boats import HiddenAhead
from moonless.reading.visibility.seeing import RadarPerformance
from moonless.rules.steering import Encounter

KNOT = 1852.0 / 3600.0
D = math.radians


def _own(heading_deg: float = 70.0, sog: float = 5.0) -> OwnPlane:
    return OwnPlane(FRAME, 0.0, 0.0, D(heading_deg), D(heading_deg), sog)


def _wheel(heading_deg: float = 70.0) -> candidates.Wheel:
    return candidates.Wheel(_own(heading_deg), make_boat())


@pytest.mark.parametrize(
    ("what", "state", "urgency", "say"),
    [
        ("radar", "silent", 4, "The radar picture is not coming."),
        ("radar", "frozen", 4, "The radar picture is frozen."),
        ("position", "jumped", 4, "Own position has jumped."),
        ("heading", "stale", 4, "The heading is old."),
        ("clock", "jumped", 3, "The clock has jumped."),
        ("chart", "damaged", 3, "The chart is damaged."),
        ("ais", "silent", 2, "AIS is not coming."),
        ("depth", "silent", 2, "The sounder is not coming."),
    ],
)
def test_faults(what: str, state: str, urgency: int, say: str) -> None:
    (told,) = doubts.of_faults([Fault(what, state, T0)])  # type: ignore[arg-type]
    assert (told.urgency, told.say) == (urgency, say)
    assert told.more == ("What rests on it is withdrawn." if urgency == 4 else "")


def test_a_position_carried_on_is_not_withdrawn() -> None:
    (told,) = doubts.of_faults([Fault("position", "silent", T0)], position_held=True)
    assert (told.say, told.urgency) == ("Own position is not coming.", 4)
    assert told.more == "Radar and chart carry it on."


def test_too_fast_for_what_is_seen() -> None:
    """An order from a knot over, gone on with to half a knot."""
    decider = Decider()

    def told(made_kn: float, advised_kn: float | None = 6.0) -> Decision | None:
        own = _own(sog=made_kn * KNOT)
        seen = HeldAgainst(T0, own, (), make_boat(), "in sight", None, None, 5.0, None)
        advice = SafeSpeed(None if advised_kn is None else advised_kn * KNOT, "Because.")
        return decider.decide(seen, [], {}, advice)

    assert told(6.9) is None
    slow = told(7.1)
    assert slow is not None and slow.do == "slow" and slow.speed == pytest.approx(6.0 * KNOT)
    order = instruction_of(slow, "", "", "Because.")
    assert (order.say, order.to_kn, order.because) == ("SLOW to 6 kn", 6.0, "Because.")
    assert told(6.6) is not None and told(6.4) is None and told(6.6) is None
    stop = told(9.0, 0.4)
    assert stop is not None and stop.do == "stop" and instruction_of(stop, "", "", "x").say == "STOP"
    # Where no speed can be said none is pressed: not known is no permission either.
    assert told(20.0, None) is None


@pytest.mark.parametrize(
    ("do", "course_deg", "turn_deg", "kn", "say", "spoken", "to_deg", "to_kn"),
    [
        ("turn", 165.0, 40.0, 9.0, "TURN STARBOARD 40° to 165", "Turn starboard 40, to one six five", 165.0, None),
        ("turn", 359.7, -30.0, 9.0, "TURN PORT 30° to 000", "Turn port 30, to zero zero zero", 359.7, None),
        # A speed is cut and never rounded up: more than was reckoned would not do.
        ("slow", 10.0, 0.0, 6.9, "SLOW to 6 kn", "Slow to 6 knots", None, 6.0),
        ("stop", 10.0, 0.0, 0.4, "STOP", "Stop", None, 0.0),
        ("hold", 7.0, 0.0, 9.0, "HOLD 007", "Hold zero zero seven", 7.0, None),
    ],
)
def test_an_order_in_words_and_figures(
    do: Any,
    course_deg: float,
    turn_deg: float,
    kn: float,
    say: str,
    spoken: str,
    to_deg: float | None,
    to_kn: float | None,
) -> None:
    decision = Decision(
        do, D(course_deg), turn_deg, kn * KNOT, Threat("echo 7", "vessel", 30.0, "act", 7), 400.0, True, None
    )
    told = instruction_of(decision, "Vessel, port bow", "nearest one cable in one minute", "")
    assert (told.do, told.say, order_words(decision, spoken=True), told.echo) == (do, say, spoken, 7)
    assert told.to_deg == (None if to_deg is None else pytest.approx(to_deg)) and told.to_kn == to_kn
    assert told.because == "Vessel, port bow, nearest one cable in one minute."
    best = instruction_of(replace(decision, clears=False), "Vessel, port bow", "", "")
    assert best.because == "Vessel, port bow. Nothing keeps all off; this keeps off most."
    shoal = Danger("shoal", "stops", "2 m", 278.0, 0.0, "on", 0.0, 0.0)  # a cable and a half: 1.5 x 185.2 m
    runs_at = instruction_of(replace(decision, ends=shoal), "Vessel, port bow", "", "")
    assert runs_at.because == "Vessel, port bow. That course has water too shallow, one and a half cables on."
    in_metres = instruction_of(replace(decision, ends=shoal), "Vessel, port bow", "", "", unit="metres")
    assert in_metres.because.endswith("water too shallow, 300 metres on.")


@pytest.mark.parametrize("stage", ["17(a)(ii)", "17(b)"])
@pytest.mark.parametrize("clears", [True, False])
def test_beside_hold_no_rule_tells_to_act(stage: Any, clears: bool) -> None:
    # Rule 17(a)(ii): may take action; 17(b): shall.  With HOLD on the sheet "act" would be a second order.
    threat = Threat("echo 7", "vessel", 10.0, "act", 7)
    role = Role(Encounter("crossing from port", "15", False, "Keep course and speed."), 0, stage, True)
    held = Decision("hold", 0.0, 0.0, 5.0, threat, 100.0, clears, role)
    said = instruction_of(held, "Vessel, port bow", "", "").because
    assert f"Rule {stage}: " in said and "you may act" not in said and "act as will best help" not in said
    assert ("this course and speed keep clear" in said) == clears
    turned = instruction_of(replace(held, do="turn", turn_deg=40.0), "Vessel, port bow", "", "").because
    assert ("you may act" if stage == "17(a)(ii)" else "act as will best help") in turned


@pytest.mark.parametrize(("made_kn", "urgency"), [(10.9, 2), (11.1, 3)])
def test_five_knots_too_fast_presses(made_kn: float, urgency: int) -> None:
    own = _own(sog=made_kn * KNOT)
    advice = SafeSpeed(6.0 * KNOT, "Because.", "to stop inside what is seen")
    turn = HeldAgainst(T0, own, (), make_boat(), "in sight", None, None, 5.0, None)
    decision = Decider().decide(turn, [], {}, advice)
    risks = Risks((), {}, (), decision, (), None, 100.0, advice, None)
    (told,) = candidates.of_threats(candidates.Wheel(own, make_boat()), risks)
    assert (told.urgency, told.say) == (urgency, "Slow to 6 knots, to stop inside what is seen.")
    assert told.more == "Because."


def _agreement(bias_deg: float, east: float, north: float, known: bool = True, agrees: bool | None = True) -> Agreement:
    state, covariance = np.array([D(bias_deg), east, north]), np.diag([D(0.3) ** 2, 4.0, 4.0])
    return Agreement(state, covariance, known, 1.0, 20, agrees)


@pytest.mark.parametrize(
    ("bias_deg", "say"),
    [
        (4.0, "The compass reads 4 degrees high; put right here."),
        (-4.0, "The compass reads 4 degrees low; put right here."),
        (1.0, None),  # within what a heading sensor is allowed
    ],
)
def test_the_compass(bias_deg: float, say: str | None) -> None:
    # High: it reads more than the heading is.
    told = doubts.of_agreement(_agreement(bias_deg, 0.0, 0.0), make_boat())
    assert [m.say for m in told] == ([] if say is None else [say])
    assert doubts.of_agreement(_agreement(bias_deg, 0.0, 0.0, known=False, agrees=None), make_boat()) == []


@pytest.mark.parametrize(
    ("east", "north", "told_off"),
    [
        (30.0, 40.0, (50, "037")),
        (-30.0, -40.0, (50, "217")),
        (40.0, 0.0, (40, "090")),
        (12.0, 10.0, None),
    ],
)
def test_the_place(east: float, north: float, told_off: tuple[int, str] | None) -> None:
    told = doubts.of_agreement(_agreement(0.0, east, north), make_boat())
    assert len(told) == (told_off is not None)
    if told_off is not None:
        assert told[0].say == f"The reported position is {told_off[0]} metres off; put right here."
        assert told[0].more == f"Off towards {told_off[1]}, by radar and chart."


@pytest.mark.parametrize(
    ("bias_deg", "east", "culprit"),
    [(30.0, 5.0, "the heading is the likeliest."), (1.0, 300.0, "the position is the likeliest."),
     (0.5, 4.0, "the chart is the likeliest.")],
)  # fmt: skip
def test_who_is_wrong_when_nothing_agrees(bias_deg: float, east: float, culprit: str) -> None:
    (told,) = doubts.of_agreement(_agreement(bias_deg, east, 0.0, agrees=False), make_boat())
    assert told.urgency == 3 and culprit in told.more and told.say.startswith("Radar and chart do not agree.")


def test_a_position_by_radar_and_chart() -> None:
    lat, lon = FRAME.to_geographic(0.0, 0.0)
    assert (round(float(lat), 9), round(float(lon), 9)) == (10.0, -150.0)
    (told,) = doubts.of_carried(CarriedPlace(_own(), 21.0, True, None))
    assert told.say == "No position received. By radar and chart, within 40 metres."
    assert told.more == "She is at 10 00.000 north, 150 00.000 west."
    (reckoned,) = doubts.of_carried(CarriedPlace(_own(), 80.0, False, None))
    assert reckoned.say == "No position received. By heading and last speed alone, within 160 metres."
    assert reckoned.weight > told.weight and told.urgency == 3


@pytest.mark.parametrize(
    ("fall_db", "sigma_db", "is_said"),
    [(-6.0, 1.0, True), (-3.9, 1.0, False), (-6.0, 3.5, False), (6.0, 1.0, False)],
)
def test_a_radar_that_sees_worse(fall_db: float, sigma_db: float, is_said: bool) -> None:
    told = doubts.of_performance(RadarPerformance(fall_db, sigma_db, is_shown=True))
    assert doubts.of_performance(RadarPerformance(fall_db, sigma_db, is_shown=False)) == []
    assert bool(told) == is_said
    assert not told or told[0].say == "The radar sees 6 decibels worse than it should."


@pytest.mark.parametrize(("heading_deg", "side"), [(70.0, "starboard"), (130.0, "port")])
def test_a_mark_that_does_not_show(heading_deg: float, side: str) -> None:
    # 600 m on 100 true: three cables and a quarter.
    mark = make_mark(600.0 * math.sin(D(100.0)), 600.0 * math.cos(D(100.0)), "3", "BOYLAT")
    (told,) = candidates.of_missing(_wheel(heading_deg), [MissingMark(mark, 0.9, 7)])
    assert told.say == f"Lateral buoy 3 does not show, {side} bow, three cables."
    assert told.urgency == 2


@pytest.mark.parametrize(
    ("ahead_m", "off_m", "urgency"),
    # A beacon is meant to be passed, but not within 30 m.  At 5 m/s she needs 10 s to react and 15.4 s to stop:
    # 25.4 s before it is the last moment: 45.4 s, 227 m, shouted; 70.4 s, 352 m, an order; 115.4 s, 577 m, told.
    [(220.0, 5.0, 4), (234.0, 5.0, 3), (345.0, -5.0, 3), (360.0, 5.0, 2), (585.0, 5.0, None), (140.0, 35.0, None)],
)
def test_a_beacon_in_the_way(ahead_m: float, off_m: float, urgency: int | None) -> None:
    a = D(70.0)
    east = ahead_m * math.sin(a) + off_m * math.cos(a)
    north = ahead_m * math.cos(a) - off_m * math.sin(a)
    chart = FakeChart(marks=(make_mark(east, north, "7"),))
    turn = make_situation([make_track(1, east, north)], heading_rad=a)
    calls = Judge(make_boat(), chart).read(turn).calls
    assert [c.urgency for c in calls] == ([] if urgency is None else [urgency])
    if calls:
        assert "Lateral beacon 7, dead ahead" in calls[0].say
        assert calls[0].say.startswith("Lateral") == (urgency == 2)


def test_a_buoy_that_has_moved() -> None:
    chart = FakeChart(marks=(make_mark(300.0, 400.0, "9", "BOYLAT", floating=True),), sigma_m=20.0)
    judge = Judge(make_boat(), chart)
    said = []
    for k in range(4):
        turn = make_situation([make_track(1, 300.0, 448.0)], heading_rad=0.0, time_ns=T0 + k * S, sog=1.0)
        said += [c for c in judge.read(turn).calls if "charted place" in c.say]
    (told,) = said
    # A cable is 185 m.  It lies 48 m off, on 034 at 539 m.
    assert told.say == "Lateral buoy 9 off its charted place, starboard bow, three cables."
    assert told.more == "It lies under half a cable from there."
    assert told.urgency == 2


def _solved(need: object, have_m: float) -> float:
    low, high = 0.0, 30.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if need(middle) <= have_m else (low, middle)  # type: ignore[operator]
    return low


def _stop(v: float) -> float:
    """12 m from 2.57 m/s, 40 from 5.14, 120 from 10.29; straight between, past them as the square."""
    table = [(0.0, 0.0), (2.57, 12.0), (5.14, 40.0), (10.29, 120.0)]
    if v >= 10.29:
        return 120.0 * (v / 10.29) ** 2
    (a, x), (b, y) = next((p, q) for p, q in pairwise(table) if p[0] <= v <= q[0])
    return x + (y - x) * (v - a) / (b - a)


@pytest.mark.parametrize("seen_m", [60.0, 150.0, 222.0, 400.0, 700.0])
def test_the_speed_that_stops_within_what_is_seen(seen_m: float) -> None:
    boat = make_boat(skipper=Skipper(react_s=10.0, night_limit=29.0))
    told = advise(boat, seen_m, [])
    want = _solved(lambda v: _stop(v) + 10.0 * v, seen_m) / KNOT
    assert told.advised_kn is not None and want - 0.25 < told.advised_kn <= want + 1e-6
    assert f"Small things are held to {seen_m:.0f} m ahead" in told.because or seen_m % 10


@pytest.mark.parametrize("off_deg", [0.0, 40.0, 60.0])
@pytest.mark.parametrize("away_m", [150.0, 300.0, 500.0])
def test_the_speed_that_goes_with_hidden_water(off_deg: float, away_m: float) -> None:
    """She stops, even slowing, before a boat of 15 knots that came out when she saw it has come to her."""
    boat = make_boat(skipper=Skipper(react_s=10.0, hidden_boat_speed=7.72))
    told = advise(boat, 5000.0, [HiddenAhead(away_m, D(off_deg))])

    def need(v: float) -> float:
        seconds = 10.0 + (2.0 * _stop(v) / v if v > 0 else 0.0)
        return _stop(v) + 10.0 * v + 7.72 * math.cos(D(off_deg)) * seconds

    want = _solved(need, away_m) / KNOT if need(0.0) <= away_m else 0.0
    assert told.advised_kn is not None and want - 0.25 < told.advised_kn <= want + 1e-6
    assert told.because.startswith(f"Water is hidden {away_m:.0f} m ahead")


def _seldom(**changes: Any) -> Passing:
    """Something 600 m ahead of a boat that heads 070, and closes with 10 m/s: there in a minute, 20 m off."""
    passing = {key: changes.pop(key) for key in ("cpa_m", "tcpa_s") if key in changes}
    one = Contact(
        id=5, position_en=(560.0, 200.0), velocity_en=(-5.0, -2.0), covariance=np.eye(4), range_m=600.0,
        bearing_rad=D(75.0), moves=True, kind="clutter", confidence=0.6, p_moving=0.9, length_m=None, charted_as=None,
        ais=None, nav_status=None, why="",
    )  # fmt: skip
    return Passing(replace(one, **changes), passing.get("cpa_m", 20.0), passing.get("tcpa_s", 60.0), 30.0)


def test_what_shows_seldom_and_runs_in_from_ahead_is_told_as_something() -> None:
    (told,) = candidates.of_something(_wheel(70.0), [_seldom(), _seldom(id=6, tcpa_s=50.0)])
    assert (told.key, told.urgency, told.echo) == ("something ahead", 2, 6)
    assert "something may be coming fast" in told.say and "vessel" not in told.say


@pytest.mark.parametrize(
    "changes",
    [
        {"bearing_rad": D(130.0)},  # not ahead
        {"cpa_m": 500.0},  # passes well off
        {"tcpa_s": 89.0, "range_m": 400.0},  # 4.5 m/s: no faster than a sea
        {"tcpa_s": 170.0, "range_m": 1800.0},  # there is time to see more of it
        {"tcpa_s": -20.0},  # past
        {"moves": False},
        {"is_coasting": True},  # not seen this turn
        {"confidence": 0.97},  # surely sea
    ],
)
def test_what_is_not_ahead_near_and_fast_is_not(changes: dict[str, Any]) -> None:
    assert candidates.of_something(_wheel(70.0), [_seldom(**changes)]) == []


def _danger(kind: DangerKind, s57_class: str, along_m: float) -> Danger:
    return Danger(kind, "stops", "", along_m, 0.0, "on", 0.0, along_m, None, s57_class, "A", "1", 1.2)


@pytest.mark.parametrize("do", ["hold", "turn", "slow", "stop"])
@pytest.mark.parametrize("along_m", [80.0, 464.0, 1050.0])
def test_nothing_that_is_spoken_is_longer_than_twelve_words(do: Any, along_m: float) -> None:
    """The issue's own limit, over the longest words each sentence can be made of."""
    wheel, own = _wheel(70.0), _own()
    # The field of a name in AIS message 5 holds twenty characters: ten words at the most.
    long_name = AisLabel(1, "A B C D E F G H I J")
    charted = ChartedAs("BCNISD", "The Outer Long Rock North", "A", "1", 60.0)
    contacts = [
        replace(_seldom().contact, id=number, kind=kind, range_m=along_m, ais=ais, charted_as=mark, moves=False)
        for number, (kind, ais, mark) in enumerate(
            [("vessel", long_name, None), ("vessel", None, None), ("uncharted", None, None), ("charted", None, charted)]
        )
    ]  # type: ignore[arg-type]
    passings = tuple(Passing(one, 463.0, 660.0, 30.0) for one in contacts)
    said: list[str] = []

    def told(threat: Threat) -> None:
        decision = Decision(do, D(165.0), -40.0 if do == "turn" else 0.0, 9.0, threat, 400.0, True, None)
        risks = Risks(passings, {}, (threat,), decision, (), None, 100.0, SafeSpeed(3.0, "", ""), None)
        for one in candidates.of_threats(wheel, risks):
            said.extend(words for words in (one.say, one.order_say) if words)

    for one in contacts:
        told(Threat("echo", "vessel", 30.0, "act", one.id))
    said += [one.say for one in candidates.of_marks(wheel, passings)]
    classes = {"mark": "BCNISD", "structure": "OBSTRN", "rock": "WATTUR", "restricted": "RESARE", "military": "MIPARE"}
    for kind in get_args(DangerKind):
        near = Ahead(_danger(kind, classes.get(kind, "LNDMRK"), along_m), True, f"danger {kind}")
        told(Threat(near.key, "charted danger", 30.0, "act", None, near))
        beside = replace(near, in_way=False)
        risks = Risks((), {}, (), None, (near, beside), None, 100.0, SafeSpeed(None, ""), None)
        said += [one.say for one in candidates.of_dangers(candidates.Wheel(own, make_boat()), risks, 2.1)]
    assert len(said) > 30
    assert [words for words in said if n_words(words) > MOST_WORDS] == []


def test_no_doubt_is_longer_than_twelve_words() -> None:
    said = [
        one.say
        for what, state, held in product(get_args(FaultWhat), get_args(FaultState), (True, False))
        for one in doubts.of_faults([Fault(what, state, T0)], held, 0.5)
    ]
    said += [one.say for one in doubts.of_agreement(_agreement(-12.0, 300.0, 5.0, agrees=None), make_boat())]
    said += [one.say for one in doubts.of_agreement(_agreement(1.0, 300.0, 5.0, agrees=False), make_boat())]
    said += [one.say for one in doubts.of_carried(CarriedPlace(_own(), 80.0, False, None))]
    said += [one.say for one in doubts.of_performance(RadarPerformance(-12.0, 1.0, is_shown=True))]
    said += [one.say for one in doubts.of_sounder(SounderCheck(12.1, 20.0, 45.0, False)) + doubts.of_no_video(True)]
    limits = [advise(make_boat(skipper=Skipper(night_limit=limit)), 100.0, []).why for limit in (0.5, None)]
    limits += [advise(make_boat(), 5000.0, [HiddenAhead(50.0, 0.0, edge)]).why for edge in (True, False)]
    said += [f"Slow to 12 knots, {why}." for why in limits]
    assert [words for words in said if n_words(words) > MOST_WORDS] == [] and all(limits)
