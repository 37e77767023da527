"""What is worth a word, to both sides of every figure that decides it, and the words of what is met."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, T0, make_boat, make_mark

from moonless.boat.types import Skipper
from moonless.chart.dangers.types import Danger
from moonless.reading.alerts import candidates, doubts
from moonless.reading.collision.charted_dangers import Ahead, SounderCheck
from moonless.reading.collision.decide import Decision
from moonless.reading.collision.roles import Role
from moonless.reading.collision.safe_speed import NO_VIDEO
from moonless.reading.collision.stage import Risks
from moonless.reading.collision.threats import Threat
from moonless.reading.contact import Contact, Passing
from moonless.reading.identify.mark_watch import MissingMark
from moonless.reading.own import OwnPlane
from moonless.reading.registration.registrar import Agreement
from moonless.reading.registration.stage import CarriedPlace
from moonless.reading.types import AisLabel, ChartedAs
from moonless.reading.visibility.opening import Opening
from moonless.reading.visibility.seeing import RadarPerformance
from moonless.reading.words import bow_words, distance_words, time_words
from moonless.rules.steering import Encounter

D = math.radians
BOAT = make_boat(skipper=Skipper(keep_off_m=400.0, distance_unit="metres"))
HEADING = D(250.0)


def _wheel(sog: float | None = 5.0, heading: float | None = HEADING) -> candidates.Wheel:
    return candidates.Wheel(OwnPlane(FRAME, 100.0, -200.0, heading, HEADING, sog), BOAT)


def _contact(**change: Any) -> Contact:
    one = Contact(
        id=5, position_en=(0.0, 0.0), velocity_en=(0.0, 0.0), covariance=np.eye(4), range_m=700.0,
        bearing_rad=HEADING + D(20.0), moves=True, kind="vessel", confidence=0.9, p_moving=0.9, length_m=None,
        charted_as=None, ais=None, nav_status=None, why="",
    )  # fmt: skip
    return replace(one, **change)


def _passing(cpa_m: float = 120.0, tcpa_s: float = 90.0, **change: Any) -> Passing:
    return Passing(_contact(**change), cpa_m, tcpa_s, 10.0)


@pytest.mark.parametrize(
    ("change", "is_told"),
    [
        # Ninety seconds ahead at the most, thirty-five degrees to either bow, five metres a second against her.
        ({"tcpa_s": 89.0}, True), ({"tcpa_s": 91.0, "range_m": 900.0}, False), ({"tcpa_s": 0.0}, False),
        ({"bearing_rad": HEADING + D(34.0)}, True), ({"bearing_rad": HEADING + D(36.0)}, False),
        ({"bearing_rad": HEADING - D(34.0)}, True), ({"bearing_rad": HEADING - D(36.0)}, False),
        # 500 m off and 390 m at the closest: 312.9 m on, in 62 s and in 63.
        ({"range_m": 500.0, "cpa_m": 390.0, "tcpa_s": 62.0}, True),
        ({"range_m": 500.0, "cpa_m": 390.0, "tcpa_s": 63.0}, False),
        ({"cpa_m": 399.0, "tcpa_s": 60.0}, True), ({"cpa_m": 401.0, "tcpa_s": 60.0}, False),
        ({"confidence": 0.89}, True), ({"confidence": 0.91}, False), ({"kind": "vessel"}, False),
        ({"moves": False}, False), ({"is_coasting": True}, False),
    ],
)  # fmt: skip
def test_something_that_may_be_coming_fast(change: dict[str, Any], is_told: bool) -> None:
    passing = _passing(**{"kind": "clutter", "confidence": 0.6, "cpa_m": 20.0, "range_m": 700.0, **change})
    found = candidates.of_something(_wheel(), [passing])
    assert bool(found) is is_told
    if found:
        assert (found[0].urgency, found[0].echo, found[0].kind) == (2, 5, "something")


def test_the_soonest_is_said_and_the_sooner_the_weightier() -> None:
    one = {"kind": "clutter", "confidence": 0.6, "cpa_m": 20.0}
    (far,) = candidates.of_something(_wheel(), [_passing(tcpa_s=80.0, **one)])
    (near,) = candidates.of_something(_wheel(), [_passing(tcpa_s=80.0, **one), _passing(tcpa_s=40.0, id=6, **one),
                                                 _passing(tcpa_s=60.0, id=7, **one)])  # fmt: skip
    assert near.echo == 6 and near.weight == pytest.approx(2.0 * far.weight)
    assert near.say == "Starboard bow, 700 metres, something may be coming fast."


def _opening(in_s: float = 50.0, away_m: float = 500.0) -> Opening:
    return Opening(0.0, 0.0, in_s, away_m, HEADING - D(30.0))


@pytest.mark.parametrize(
    ("in_s", "away_m", "stopping_m", "is_told"),
    # A hundred seconds ahead; nearer than twice the skipper's figure, or three times the stopping distance.
    [(99.0, 500.0, 50.0, True), (101.0, 500.0, 50.0, False), (50.0, 795.0, None, True), (50.0, 805.0, None, False),
     (50.0, 805.0, 50.0, False), (50.0, 895.0, 300.0, True), (50.0, 905.0, 300.0, False)],
)  # fmt: skip
def test_hidden_water_that_opens(in_s: float, away_m: float, stopping_m: float | None, is_told: bool) -> None:
    assert bool(candidates.of_opening(_wheel(), _opening(in_s, away_m), stopping_m)) is is_told
    assert candidates.of_opening(_wheel(), None, stopping_m) == []


def test_hidden_water_is_told_with_when_and_where() -> None:
    (soon,) = candidates.of_opening(_wheel(), _opening(30.0), None)
    (late,) = candidates.of_opening(_wheel(), _opening(90.0), None)
    assert soon.say == "Hidden water opens in 30 seconds, port bow, 500 metres."
    assert soon.weight == pytest.approx(3.0 * late.weight) and soon.urgency == 2


_CLASS = {
    "rock": "UWTROC",
    "wreck": "WRECKS",
    "structure": "PILPNT",
    "obstruction": "OBSTRN",
    "unsurveyed": "",
    "chart ends": "",
}


def _ahead(
    along_m: float, *, kind: Any = "rock", weight: Any = "stops", in_way: bool = True, key: str = "k", **more: Any
) -> Ahead:
    danger = Danger(kind, weight, "a rock", along_m, 0.0, "on", 0.0, 0.0, object=_CLASS[kind], **more)
    return Ahead(danger, in_way, key)


def _risks(
    *dangers: Ahead, decision: Decision | None = None, threats: Any = (), passings: Any = (), roles: Any = None
) -> Risks:
    return Risks(tuple(passings), roles or {}, tuple(threats), decision, dangers, None, 80.0, NO_VIDEO, None)


@pytest.mark.parametrize(
    ("ahead", "urgency"),
    [
        (_ahead(595.0), 2), (_ahead(605.0), None), (_ahead(595.0, in_way=False), 2),
        (_ahead(595.0, weight="against"), 2), (_ahead(595.0, weight="against", in_way=False), 1),
        (_ahead(595.0, kind="unsurveyed", in_way=False), 1), (_ahead(595.0, kind="chart ends", in_way=False), 1),
    ],
)  # fmt: skip
def test_what_the_chart_has_ahead_is_known_two_minutes_before(ahead: Ahead, urgency: int | None) -> None:
    found = candidates.of_dangers(_wheel(5.0), _risks(ahead), None)
    assert [c.urgency for c in found] == ([] if urgency is None else [urgency])
    if found:
        assert found[0].say.endswith(f"{'ahead' if ahead.in_way else 'close beside the way'}, 600 metres.")
    # Lying still she comes to nothing.
    for sog in (0.29, None):
        assert candidates.of_dangers(_wheel(sog), _risks(_ahead(10.0)), None) == []
    assert candidates.of_dangers(_wheel(0.31), _risks(_ahead(10.0)), None) != []


def test_two_dangers_are_enough_the_most_urgent_and_the_nearest() -> None:
    rock, wreck, pile = (
        _ahead(500.0, key="a"),
        _ahead(300.0, kind="wreck", key="b"),
        _ahead(400.0, kind="structure", key="c"),
    )
    side = _ahead(100.0, kind="obstruction", weight="against", in_way=False, key="d")
    found = candidates.of_dangers(_wheel(5.0), _risks(side, wreck, pile, rock), None)
    assert [c.key for c in found] == ["b", "c"]
    assert found[0].weight == pytest.approx(1.0) and found[1].weight == pytest.approx(
        0.75
    )  # a minute, and eighty seconds
    # Of one kind the first, unless a later one presses more; what decides is said with the order.
    again = candidates.of_dangers(_wheel(5.0), _risks(_ahead(200.0, key="e"), rock), None)
    assert [c.key for c in again] == ["e"]
    beside = _ahead(200.0, key="e", weight="against", in_way=False)
    assert [c.key for c in candidates.of_dangers(_wheel(5.0), _risks(beside, rock), None)] == ["a"]
    decides = Decision("turn", 0.0, 30.0, 5.0, Threat("b", "charted danger", 5.0, "act"), None, True, None)
    assert [c.key for c in candidates.of_dangers(_wheel(5.0), _risks(wreck, rock, decision=decides), None)] == ["a"]


@pytest.mark.parametrize(
    ("change", "offset_m", "s57_class", "is_told"),
    [({}, 41.0, "BOYLAT", True), ({}, 39.0, "BOYLAT", False), ({}, 80.0, "BCNLAT", False),
     ({"confidence": 0.41}, 80.0, "BOYSPP", True),
     ({"confidence": 0.39}, 80.0, "BOYSPP", False), ({"kind": "uncharted"}, 80.0, "BOYLAT", False)],
)  # fmt: skip
def test_a_buoy_off_its_place(change: dict[str, Any], offset_m: float, s57_class: str, is_told: bool) -> None:
    charted = ChartedAs(s57_class, "4", "T", "9", offset_m)
    passing = _passing(**{"kind": "charted", "charted_as": charted, "moves": False, **change})
    found = candidates.of_marks(_wheel(), [passing, _passing(kind="charted", charted_as=None)])
    assert bool(found) is is_told
    if found:
        assert (found[0].key, found[0].echo, found[0].urgency) == ("moved T 9", 5, 2)
        assert found[0].more == f"It lies {distance_words(offset_m, 'metres')} from there."


def test_a_mark_that_does_not_show_is_told_from_where_the_boat_is() -> None:
    a = HEADING + D(100.0)
    mark = make_mark(100.0 + 600.0 * math.sin(a), -200.0 + 600.0 * math.cos(a), "3", "BOYLAT")
    (told,) = candidates.of_missing(_wheel(), [MissingMark(mark, 0.9, 7)])
    assert told.say == "Lateral buoy 3 does not show, starboard beam, 600 metres."
    # Without a heading or a course no side is said.
    nowhere = candidates.Wheel(OwnPlane(FRAME, 100.0, -200.0, None, None, None), BOAT)
    (told,) = candidates.of_missing(nowhere, [MissingMark(mark, 0.9, 7)])
    assert "bearing 350" in told.say
    by_course = candidates.Wheel(OwnPlane(FRAME, 100.0, -200.0, None, HEADING, 5.0), BOAT)
    (told,) = candidates.of_missing(by_course, [MissingMark(mark, 0.9, 7)])
    assert "starboard beam" in told.say


def _role(stand_on: Any, gives_way: bool | None = False) -> Role:
    return Role(Encounter("crossing from port", "15", gives_way, ""), T0, stand_on, True)


def _met(asks: Any = "watch", *, act_in_s: float = 30.0, about: Any = "vessel", decision: Decision | None = None,
         roles: Any = None, **change: Any) -> list[Any]:  # fmt: skip
    passing = _passing(**change)
    threat = Threat("echo 5", about, act_in_s, asks, 5)
    return candidates.of_threats(_wheel(), _risks(decision=decision, threats=[threat], passings=[passing], roles=roles))


def _turn(turn_deg: float, do: Any = "turn", key: str = "echo 5") -> Decision:
    threat = Threat(key, "vessel", 10.0, "act", 5)
    return Decision(do, HEADING + D(turn_deg), turn_deg, 5.0, threat, None, True, None)


def test_what_is_met_is_told_with_who_where_and_how_near() -> None:
    (told,) = _met()
    assert told.say == "Vessel, starboard bow, 700 metres, nearest 120 metres, two minutes."
    assert (told.kind, told.urgency, told.echo, told.order, told.more) == ("vessel", 2, 5, "", "")
    assert told.weight == pytest.approx(1.0)  # a minute: half of it till the manoeuvre
    (late,) = _met(act_in_s=90.0)
    assert late.weight == pytest.approx(0.5)
    (now,) = _met(act_in_s=-40.0)
    assert now.weight == pytest.approx(12.0)
    (still,) = _met(moves=False, tcpa_s=4.0)
    assert still.say.startswith("Vessel, not moving, starboard bow") and "nearest 120 metres, now" in still.say
    (soon,) = _met(tcpa_s=6.0)
    assert "nearest 120 metres, 10 seconds" in soon.say
    assert _met("clear") == []
    (float_,) = _met(kind="uncharted", about="uncharted", moves=False)
    assert (float_.kind, float_.say[:20]) == ("uncharted", "Something uncharted,")
    (mark,) = _met(kind="charted", about="mark", moves=False, charted_as=ChartedAs("BCNLAT", "7", "T", "1", 3.0))
    assert (mark.kind, mark.say[:17]) == ("mark", "Lateral beacon 7,")
    (named,) = _met(ais=AisLabel(235000001, "ONE TWO THREE FOUR"))
    assert named.say.startswith("ONE TWO THREE, starboard bow")


@pytest.mark.parametrize(("stand_on", "is_said"), [("17(a)(i)", True), ("17(a)(ii)", False), (None, False)])
def test_who_gives_way_is_said_while_she_may_yet(stand_on: Any, is_said: bool) -> None:
    (told,) = _met("hold", roles={5: _role(stand_on)})
    assert ("gives way" in told.say) is is_said


@pytest.mark.parametrize(
    ("turn_deg", "side"), [(30.0, "starboard"), (-30.0, "port"), (0.5, "starboard"), (-0.5, "port")]
)
def test_what_decides_is_said_with_the_order_and_its_side(turn_deg: float, side: str) -> None:
    (told,) = _met("act", decision=_turn(turn_deg), act_in_s=10.0)
    assert told.order == f"turn {side}" and told.say == told.order_say
    assert told.say.startswith(f"Turn {side} ") and told.urgency == 4
    # What does not decide is told and not shouted.
    (other,) = _met("act", decision=_turn(turn_deg, key="echo 9"), act_in_s=10.0)
    assert other.urgency == 2 and other.order == "" and other.say.startswith("Vessel,")
    # While the order is to hold, who and where is said.
    (hold,) = _met("act", decision=_turn(0.0, "hold"), act_in_s=10.0)
    assert hold.say.startswith("Vessel,") and hold.order == "hold" and hold.order_say.startswith("Hold")


def _agreement(
    bias_deg: float, east: float, north: float, sigma_deg: float = 0.3, sigma_m: float = 2.0, agrees: Any = True
) -> Agreement:
    covariance = np.diag([D(sigma_deg) ** 2, sigma_m**2, sigma_m**2])
    return Agreement(np.array([D(bias_deg), east, north]), covariance, True, 1.0, 20, agrees)


def test_a_compass_error_is_told_past_twice_its_own_and_three_times_the_doubt() -> None:
    boat = replace(BOAT, heading_sigma_rad=D(1.5))
    for bias, sigma, is_told in (
        (3.1, 0.3, True),
        (2.9, 0.3, False),
        (4.4, 1.5, False),
        (4.6, 1.5, True),
        (-4.6, 1.5, True),
    ):
        found = doubts.of_agreement(_agreement(bias, 0.0, 0.0, sigma), boat)
        assert bool(found) is is_told
        if found:
            assert (
                found[0].weight == pytest.approx(abs(bias)) and found[0].key == f"bias {'high' if bias > 0 else 'low'}"
            )
    # The doubt of a place, and three times what the receiver is good for.
    for off, sigma, is_told in ((44.0, 15.0, False), (46.0, 15.0, True)):
        assert bool(doubts.of_agreement(_agreement(0.0, 0.0, off, sigma_m=sigma), boat)) is is_told


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_likeliest_culprit_by_what_each_is_good_for(sign: float) -> None:
    boat = replace(BOAT, heading_sigma_rad=D(2.0), position_sigma_m=10.0)
    for bias, east, north, who in ((5.9, 0.0, 29.0, "chart"), (6.1, 0.0, 29.0, "heading"), (5.9, 0.0, 31.0, "position"),
                                   (8.0, 0.0, 45.0, "position"), (8.0, 30.0, 20.0, "heading")):  # fmt: skip
        (told,) = doubts.of_agreement(_agreement(sign * bias, sign * east, sign * north, agrees=False), boat)
        assert told.more.endswith(f"; the {who} is the likeliest.")


def test_how_near_a_carried_place_is_told_and_weighs() -> None:
    for sigma_m, within, weight in ((2.0, 10, 1.1), (40.0, 80, 3.0), (100.0, 200, 6.0)):
        (told,) = doubts.of_carried(CarriedPlace(OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 5.0), sigma_m, True, None))
        assert told.say.endswith(f"within {within} metres.") and told.weight == pytest.approx(weight)


def test_the_sounder_speaks_where_it_cannot_be_right() -> None:
    (shoal,) = doubts.of_sounder(SounderCheck(2.0, 3.5, 9.0, False))
    assert (shoal.urgency, shoal.say) == (3, "The sounder has 2.0 metres, chart and tide at least 3.5.")
    (deep,) = doubts.of_sounder(SounderCheck(12.0, 3.5, 9.0, False))
    assert (deep.urgency, deep.say) == (2, "The sounder has 12.0 metres, chart and tide at most 9.")
    assert doubts.of_sounder(SounderCheck(5.0, 3.5, 9.0, True)) == doubts.of_sounder(None) == []


def test_a_worse_radar_weighs_by_how_much_worse() -> None:
    (told,) = doubts.of_performance(RadarPerformance(-8.0, 1.0, is_shown=True))
    assert told.weight == 8.0 and told.urgency == 2
    assert doubts.of_no_video(False) == [] and doubts.of_no_video(True)[0].urgency == 3


@pytest.mark.parametrize(
    ("deg", "words"),
    [(0.0, "dead ahead"), (2.9, "dead ahead"), (3.2, "starboard bow"), (-3.2, "port bow"), (69.0, "starboard bow"),
     (-71.0, "port beam"), (109.0, "starboard beam"), (-111.0, "port quarter"), (159.0, "starboard quarter"),
     (161.0, "astern"), (-179.0, "astern"), (350.0, "port bow"), (370.0, "starboard bow")],
)  # fmt: skip
def test_where_from_the_bow(deg: float, words: str) -> None:
    assert bow_words(D(deg)) == words


@pytest.mark.parametrize(
    ("metres", "unit", "words"),
    # A cable is a tenth of 1852 m; a yard 0.9144 m.
    [(90.0, "nm", "under half a cable"), (100.0, "nm", "half a cable"), (140.0, "nm", "one cable"),
     (270.0, "nm", "one and a half cables"),
     (463.0, "nm", "two and a half cables"), (650.0, "nm", "three and a half cables"),
     (830.0, "nm", "four cables"), (1750.0, "nm", "nine cables"),
     (1800.0, "nm", "one mile"), (2315.0, "nm", "one and a quarter miles"), (4630.0, "nm", "two and a half miles"),
     (5200.0, "nm", "two and three quarters miles"), (6000.0, "nm", "three miles"), (24000.0, "nm", "13 miles"),
     (3.0, "metres", "10 metres"), (196.0, "metres", "200 metres"), (430.0, "metres", "450 metres"),
     (1234.0, "metres", "1200 metres"),
     (91.44, "yards", "100 yards"), (914.4, "yards", "1000 yards")],
)  # fmt: skip
def test_distances_as_said(metres: float, unit: Any, words: str) -> None:
    assert distance_words(metres, unit) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(3.0, "10 seconds"), (34.0, "30 seconds"), (44.0, "40 seconds"), (46.0, "one minute"), (89.0, "one minute"),
     (91.0, "two minutes"), (720.0, "twelve minutes"), (780.0, "13 minutes")],
)  # fmt: skip
def test_times_as_said(seconds: float, words: str) -> None:
    assert time_words(seconds) == words
