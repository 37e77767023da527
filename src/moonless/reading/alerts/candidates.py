"""What is met, missing or ahead this turn and may be worth saying, in the words of the wheel.

Nothing here decides when it is said.  What cannot be believed: `moonless.reading.alerts.doubts`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from moonless.boat.types import Boat
from moonless.chart.dangers.words import danger_words, depth_words
from moonless.chart.s57.names import object_name
from moonless.reading.alerts.brief import NAME_WORDS, brief, brief_name, n_words
from moonless.reading.alerts.orders import order_words
from moonless.reading.alerts.schedule import Candidate
from moonless.reading.collision.decide import Decision
from moonless.reading.collision.stage import Risks
from moonless.reading.collision.threats import Threat
from moonless.reading.contact import Passing
from moonless.reading.identify.mark_watch import MissingMark
from moonless.reading.line import CallKind
from moonless.reading.own import OwnPlane
from moonless.reading.visibility.opening import Opening
from moonless.reading.words import bow_words, distance_words, time_words
from moonless.units import mps_to_kn

# What moves and is hit too seldom to be called a vessel is worth a word when it comes in from ahead, this soon and this
# fast against the boat, unless it is surely sea; own figures.
SOMETHING_S, SOMETHING_SPEED, SOMETHING_AHEAD_RAD, SOMETHING_CONFIDENCE = 90.0, 5.0, math.radians(35.0), 0.9
OPENING_S = 100.0
# A mark that is steered by and is gone goes before all else that is only to be known.
MISSING_WEIGHT = 20.0
SWING_CALL_M = 40.0
# Sooner than this she is as near as she will be.
NOW_S = 5.0
# So much faster than goes with what is seen presses.
PRESSING_KN = 5.0


# What has no room behind an order as it is told else.
_SHORTER = {
    "water that is closed to you": "closed water", "something that you know of": "known danger",
    "water to keep out of": "water to avoid", "a bridge that does not clear": "bridge too low",
    "a bridge that must open": "bridge, closed", "the end of the chart": "the chart ends",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Wheel:
    """Where things are said from."""

    own: OwnPlane
    boat: Boat

    def to(self, east_m: float, north_m: float) -> tuple[float, float]:
        """Return true bearing (rad) and range of a place."""
        rel_e, rel_n = east_m - self.own.east_m, north_m - self.own.north_m
        return math.atan2(rel_e, rel_n), math.hypot(rel_e, rel_n)

    def short(self, bearing_rad: float, range_m: float) -> str:
        """Return direction and distance in as few words as can be."""
        return f"{self.where_bow(bearing_rad)}, {self.far(range_m)}"

    def where_bow(self, bearing_rad: float) -> str:
        """Return the direction in as few words as can be."""
        bow = self.own.heading_rad if self.own.heading_rad is not None else self.own.ahead_rad
        if bow is None:
            return f"bearing {round(math.degrees(bearing_rad)) % 360:03d}"
        return bow_words(bearing_rad - bow)

    def far(self, distance_m: float) -> str:
        """Return a distance in the skipper's unit."""
        return distance_words(distance_m, self.boat.skipper.distance_unit)


def of_threats(wheel: Wheel, risks: Risks) -> list[Candidate]:
    """Return candidates of what is met: of what decides with the order first, of the rest who, where and how near."""
    passings = {p.contact.id: p for p in risks.passings}
    decision = risks.decision
    out: list[Candidate] = of_something(wheel, risks.passings)
    for threat in risks.threats:
        if threat.asks == "clear":
            continue
        leads = decision is not None and decision.threat.key == threat.key
        passing = None if threat.contact is None else passings[threat.contact]
        if passing is None:
            if leads and decision is not None and threat.danger is not None:
                out.append(_of_danger_that_decides(wheel, threat, decision))
            continue
        one = passing.contact
        who, still, bow = _capital(_who(passing, is_brief=True)), _still(passing), wheel.where_bow(one.bearing_rad)
        weight = 60.0 / max(5.0, threat.act_in_s + 30.0)
        role = risks.roles.get(one.id)
        gives = "gives way" if role is not None and role.stand_on == "17(a)(i)" else ""
        far = wheel.far(one.range_m)
        say = brief(who, [(3, still), (0, bow), (4, far), (2, gives), (1, _nearest(wheel, passing, ", "))])
        order, order_say = "", ""
        if leads and decision is not None:
            told = order_words(decision, spoken=True)
            right = ", keep to starboard" if decision.keeps_right and decision.do in ("slow", "stop") else ""
            order_say = brief(f"{told}{right}. {who}", [(2, still), (0, bow), (3, far), (1, gives)])
            order = _order_of(decision)
            if decision.do != "hold":
                say = order_say
        # What does not decide is told and not shouted: one order a moment.
        urgency = threat.urgency if leads else min(threat.urgency, 2)
        kind: CallKind = (
            "vessel" if threat.about == "vessel" else "uncharted" if threat.about == "uncharted" else "mark"
        )
        more = "" if still in say else f"{_capital(still)}."
        out.append(Candidate(threat.key, kind, urgency, say, weight, one.id, order, order_say, more=more))
    if decision is not None and decision.threat.about == "speed":
        say = brief(order_words(decision, spoken=True), [(0, risks.speed.why)])
        over = mps_to_kn((wheel.own.sog or 0.0) - (decision.speed or 0.0))
        urgency = 3 if over > PRESSING_KN else 2
        more = risks.speed.because
        out.append(Candidate("speed", "speed", urgency, say, max(1.0, over), order=_order_of(decision), more=more))
    return out


def _order_of(decision: Decision) -> str:
    """Return what two orders must share to be the same to a helmsman: the verb, and the side of a turn."""
    side = "" if decision.do != "turn" else " starboard" if decision.turn_deg > 0 else " port"
    return f"{decision.do}{side}"


def of_something(wheel: Wheel, passings: Sequence[Passing]) -> list[Candidate]:
    """Return the one candidate of what runs in from ahead and is hit too seldom to be called a vessel: the soonest.

    Rule 5 asks for all means of look-out: to wait until it is sure would leave no time.  One key for all of them, or
    every run of crests would speak for itself.
    """
    bow = wheel.own.heading_rad if wheel.own.heading_rad is not None else wheel.own.ahead_rad
    soonest: tuple[float, Passing] | None = None
    for passing in passings:
        one, cpa_m, tcpa_s = passing.contact, passing.cpa_m, passing.tcpa_s
        if one.kind != "clutter" or not one.moves or one.is_coasting or bow is None:
            continue
        if cpa_m is None or tcpa_s is None or not 0.0 < tcpa_s <= SOMETHING_S:
            continue
        ahead = abs(math.remainder(one.bearing_rad - bow, math.tau)) <= SOMETHING_AHEAD_RAD
        fast = math.sqrt(max(one.range_m**2 - cpa_m**2, 0.0)) >= SOMETHING_SPEED * tcpa_s
        near = cpa_m < wheel.boat.skipper.keep_off_m
        unsure = one.confidence <= SOMETHING_CONFIDENCE
        if ahead and fast and near and unsure and (soonest is None or tcpa_s < soonest[0]):
            soonest = (tcpa_s, passing)
    if soonest is None:
        return []
    one = soonest[1].contact
    where = _capital(wheel.where_bow(one.bearing_rad))
    say = brief(where, [(1, wheel.far(one.range_m)), (0, "something may be coming fast")])
    return [Candidate("something ahead", "something", 2, say, SOMETHING_S / max(10.0, soonest[0]), one.id)]


def _of_danger_that_decides(wheel: Wheel, threat: Threat, decision: Decision) -> Candidate:
    assert threat.danger is not None
    words, far = _bare(danger_words(threat.danger.danger)), wheel.far(threat.danger.distance_m)
    say = brief(f"{order_words(decision, spoken=True)}. {_capital(words)} ahead", [(0, far)])
    weight = 60.0 / max(5.0, threat.act_in_s + 30.0)
    return Candidate(threat.key, "charted danger", threat.urgency, say, weight, order=_order_of(decision))


def _bare(words: str) -> str:
    """Return a danger's words behind an order: without their article."""
    if words in _SHORTER:
        return _SHORTER[words]
    article = next((one for one in ("a charted ", "charted ", "a ", "an ") if words.startswith(one)), "")
    return words.removeprefix(article)


def who_words(wheel: Wheel, passing: Passing) -> str:
    """Return who and where, in a few words."""
    where = wheel.short(passing.contact.bearing_rad, passing.contact.range_m)
    return ", ".join(words for words in (_who(passing), _still(passing), where) if words)


def _who(passing: Passing, *, is_brief: bool = False) -> str:
    one = passing.contact
    if one.kind == "vessel":
        name = one.ais.name if one.ais is not None and one.ais.name else "vessel"
        return brief_name(name) if is_brief else name
    if one.kind == "charted" and one.charted_as is not None:
        named = _named(one.charted_as.object, one.charted_as.name or "")
        return named if not is_brief or n_words(named) <= NAME_WORDS else object_name(one.charted_as.object)
    return "something uncharted"


def _still(passing: Passing) -> str:
    return "not moving" if passing.contact.kind == "vessel" and not passing.contact.moves else ""


def about(wheel: Wheel, risks: Risks, decision: Decision, tide_m: float | None) -> tuple[str, str]:
    """Return who or what decides and where, and how near it comes as things are; "" where that is not reckoned."""
    threat = decision.threat
    if threat.about == "speed":
        return "", ""
    if threat.danger is not None:
        danger = threat.danger.danger
        words = f"{_capital(danger_words(danger))}{depth_words(danger, tide_m)}"
        return f"{words} ahead", wheel.far(threat.danger.distance_m)
    passing = next((p for p in risks.passings if p.contact.id == threat.contact), None)
    if passing is None:
        return "", ""
    return _capital(who_words(wheel, passing)), _nearest(wheel, passing)


def _nearest(wheel: Wheel, passing: Passing, joint: str = " in ") -> str:
    assert passing.cpa_m is not None and passing.tcpa_s is not None
    if passing.tcpa_s < NOW_S:
        return f"nearest {wheel.far(passing.cpa_m)}, now"
    return f"nearest {wheel.far(passing.cpa_m)}{joint}{time_words(passing.tcpa_s)}"


def of_marks(wheel: Wheel, passings: Sequence[Passing]) -> list[Candidate]:
    """Return a candidate for each buoy that lies off its charted place."""
    out = []
    for passing in passings:
        one, charted = passing.contact, passing.contact.charted_as
        if one.kind != "charted" or charted is None or one.confidence < 0.4:
            continue
        if charted.offset_m > SWING_CALL_M and charted.object.startswith("BOY"):
            who = _capital(_who(passing, is_brief=True))
            bow, far = wheel.where_bow(one.bearing_rad), wheel.far(one.range_m)
            say = brief(f"{who} off its charted place", [(0, bow), (1, far)])
            more = f"It lies {wheel.far(charted.offset_m)} from there."
            key = f"moved {charted.cell} {charted.feature}"
            out.append(Candidate(key, "mark moved", 2, say, 1.0, one.id, more=more))
    return out


def of_missing(wheel: Wheel, missing: Sequence[MissingMark]) -> list[Candidate]:
    """Return a candidate for each mark that should show and does not."""
    out = []
    for one in missing:
        mark = one.mark
        who = _capital(_named(mark.object, brief_name(mark.name or "")))
        bearing, range_m = wheel.to(mark.east_m, mark.north_m)
        say = brief(f"{who} does not show", [(0, wheel.where_bow(bearing)), (1, wheel.far(range_m))])
        out.append(Candidate(f"missing {mark.cell} {mark.feature}", "mark missing", 2, say, MISSING_WEIGHT))
    return out


def of_opening(wheel: Wheel, opening: Opening | None, stopping_m: float | None) -> list[Candidate]:
    """Return a candidate when hidden water is about to open close by."""
    if opening is None or opening.in_s > OPENING_S:
        return []
    near = max(2.0 * wheel.boat.skipper.keep_off_m, 3.0 * (stopping_m or 0.0))
    if opening.distance_then_m > near:
        return []
    bow, far = wheel.where_bow(opening.bearing_then_rad), wheel.far(opening.distance_then_m)
    say = brief(f"Hidden water opens in {time_words(opening.in_s)}", [(0, bow), (1, far)])
    spot = f"opening {round(opening.east_m / 300.0)} {round(opening.north_m / 300.0)}"
    return [Candidate(spot, "opening", 2, say, OPENING_S / max(10.0, opening.in_s))]


def of_dangers(wheel: Wheel, risks: Risks, tide_m: float | None) -> list[Candidate]:
    """Return a candidate for what the chart has ahead in the corridor, but for the one that decides."""
    decides = None if risks.decision is None else risks.decision.threat.key
    out: dict[str, Candidate] = {}
    for one in risks.dangers:
        danger, key = one.danger, one.key
        speed = wheel.own.sog or 0.0
        seconds = one.distance_m / speed if speed > 0.3 else math.inf
        if seconds > 120.0 or key == decides:
            continue
        stops = danger.weight == "stops" and danger.kind not in ("unsurveyed", "chart ends")
        # Known before it decides, and not shouted: there is time, or it lies beside the way.
        urgency = 2 if stops or one.in_way else 1
        words, depth = danger_words(danger), depth_words(danger, tide_m)
        where = "ahead" if one.in_way else "close beside the way"
        say = brief(f"{_capital(words)} {where}", [(0, wheel.far(one.distance_m))])
        more = f"{_capital(depth.removeprefix(', '))}." if depth else ""
        candidate = Candidate(key, "charted danger", urgency, say, 60.0 / max(5.0, seconds), more=more)
        # Of one kind the more urgent; of equally urgent ones the nearer, which comes first.
        if words not in out or urgency > out[words].urgency:
            out[words] = candidate
    # Two are enough to say: the most urgent, and of those the nearest.
    return sorted(out.values(), key=lambda m: (-m.urgency, -m.weight))[:2]


def _named(s57_class: str, name: str) -> str:
    return f"{object_name(s57_class)} {name}" if name else object_name(s57_class)


def _capital(sentence: str) -> str:
    return sentence[0].upper() + sentence[1:]
