"""What holds this turn and may be worth saying, in the words of the wheel.  Nothing here decides when it is said."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from moonless.boat.types import Boat
from moonless.chart.dangers.words import danger_words, depth_words
from moonless.chart.s57.names import object_name
from moonless.frames import wrap_360
from moonless.reading.alerts.orders import order_words
from moonless.reading.alerts.schedule import Candidate
from moonless.reading.collision.charted_dangers import SounderCheck
from moonless.reading.collision.decide import Decision
from moonless.reading.collision.stage import Risks
from moonless.reading.collision.threats import Threat
from moonless.reading.contact import Passing
from moonless.reading.identify.mark_watch import MissingMark
from moonless.reading.line import CallKind
from moonless.reading.own import OwnPlane
from moonless.reading.registration.registrar import Agreement
from moonless.reading.registration.stage import CarriedPlace
from moonless.reading.types import Fault
from moonless.reading.visibility.opening import Opening
from moonless.reading.visibility.seeing import RadarPerformance
from moonless.reading.words import bow_words, direction_words, distance_words, place_words, time_words
from moonless.units import mps_to_kn

# What moves and is hit too seldom to be called a vessel is worth a word when it comes in from ahead, this soon and this
# fast against the boat, unless it is surely sea; own figures.
SOMETHING_S, SOMETHING_SPEED, SOMETHING_AHEAD_RAD, SOMETHING_CONFIDENCE = 90.0, 5.0, math.radians(35.0), 0.9
OPENING_S = 100.0
# A mark that is steered by and is gone goes before all else that is only to be known.
MISSING_WEIGHT = 20.0
SWING_CALL_M = 40.0
BIAS_CALL_DEG = 1.5
OFFSET_CALL_M = 20.0
FALL_CALL_DB = 4.0
# So much faster than goes with what is seen presses.
PRESSING_KN = 5.0

_FAULT_WORDS = {
    "radar": ("the radar picture", 4),
    "position": ("own position", 4),
    "heading": ("the heading", 4),
    "clock": ("the clock", 3),
    "chart": ("the chart", 3),
    "ais": ("AIS", 2),
    "depth": ("the sounder", 2),
}
_SOURCES = {"position": "the position", "heading": "the heading", "clock": "the date and time"}
_STATE_WORDS = {
    "silent": "is not coming",
    "frozen": "is frozen",
    "stale": "is old",
    "jumped": "has jumped",
    "damaged": "is damaged",
    "deaf": "shows no echo of anything, not even the sea",
    "late": "comes late: the computer cannot keep up",
}
_OWN_WORDS = {
    ("position", "damaged"): "drifts against all that stands still",
    ("heading", "damaged"): "does not go with the course, or with what stands still",
}


@dataclass(frozen=True, slots=True)
class Wheel:
    """Where things are said from."""

    own: OwnPlane
    boat: Boat

    def where_short(self, east_m: float, north_m: float) -> str:
        """Return direction and distance of a place in as few words as can be."""
        rel_e, rel_n = east_m - self.own.east_m, north_m - self.own.north_m
        return self.short(math.atan2(rel_e, rel_n), math.hypot(rel_e, rel_n))

    def where_polar(self, bearing_rad: float, range_m: float) -> str:
        """Return direction and distance of a true bearing and range."""
        far = distance_words(range_m, self.boat.skipper.distance_unit)
        bow = self.own.heading_rad if self.own.heading_rad is not None else self.own.ahead_rad
        if bow is None:
            return f"bearing {round(math.degrees(bearing_rad)) % 360:03d}, {far}"
        return f"{direction_words(bearing_rad - bow)}, {far}"

    def short(self, bearing_rad: float, range_m: float) -> str:
        """Return direction and distance in as few words as can be."""
        bow = self.own.heading_rad if self.own.heading_rad is not None else self.own.ahead_rad
        if bow is None:
            return f"bearing {round(math.degrees(bearing_rad)) % 360:03d}, {self.far(range_m)}"
        return f"{bow_words(bearing_rad - bow)}, {self.far(range_m)}"

    def far(self, distance_m: float) -> str:
        """Return a distance in the skipper's unit."""
        return distance_words(distance_m, self.boat.skipper.distance_unit)


def of_faults(faults: Sequence[Fault], position_held: bool = False, range_factor: float = 1.0) -> list[Candidate]:
    """Return a candidate for each fault.

    ``position_held``: radar and chart carry the position on.  ``range_factor``: by which the set's ranges were taken.
    """
    out = []
    for fault in faults:
        words, urgency = _FAULT_WORDS[fault.what]
        if fault.what == "radar" and fault.state == "disagrees":
            say = (
                f"True ranges are {range_factor:g} times what the radar tells, by own motion and the coast. "
                "They are put right here, not on the radar's own screen."
            )
            out.append(Candidate(f"fault {fault.what} {fault.state}", "fault", 3, say))
            continue
        if fault.state == "disagrees":
            say = (
                f"Two sources of {_SOURCES.get(fault.what, words)} do not agree; the one followed may be the wrong one."
            )
            out.append(Candidate(f"fault {fault.what} {fault.state}", "fault", min(urgency, 3), say))
            continue
        say = f"{words[0].upper()}{words[1:]} {_OWN_WORDS.get((fault.what, fault.state), _STATE_WORDS[fault.state])}."
        if fault.what == "position" and position_held:
            say += " Radar and chart carry it on."
        elif urgency == 4:
            say += " What rests on it is withdrawn."
        out.append(Candidate(f"fault {fault.what} {fault.state}", "fault", urgency, say))
    return out


def of_no_video(targets_only: bool) -> list[Candidate]:
    """Return a candidate where there is no radar video, only another radar's targets."""
    if not targets_only:
        return []
    say = "No radar video: only what another radar tracks is known. What it does not track is not seen."
    return [Candidate("no video", "fault", 3, say)]


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
        who = who_words(wheel, passing)
        weight = 60.0 / max(5.0, threat.act_in_s + 30.0)
        role = risks.roles.get(passing.contact.id)
        gives = ", gives way" if role is not None and role.stand_on == "17(a)(i)" else ""
        say, order, order_say = f"{_capital(who)}{gives}, {_nearest(wheel, passing)}.", "", ""
        if leads and decision is not None:
            order, order_say = _order_of(decision), f"{order_words(decision, spoken=True)}. {_capital(who)}{gives}."
            if decision.do != "hold":
                say = order_say
        # What does not decide is told and not shouted: one order a moment.
        urgency = threat.urgency if leads else min(threat.urgency, 2)
        kind: CallKind = (
            "vessel" if threat.about == "vessel" else "uncharted" if threat.about == "uncharted" else "mark"
        )
        out.append(Candidate(threat.key, kind, urgency, say, weight, passing.contact.id, order, order_say))
    if decision is not None and decision.threat.about == "speed":
        say = f"{order_words(decision, spoken=True)}. {risks.speed.because}"
        over = mps_to_kn((wheel.own.sog or 0.0) - (decision.speed or 0.0))
        urgency = 3 if over > PRESSING_KN else 2
        out.append(Candidate("speed", "speed", urgency, say, max(1.0, over), order=_order_of(decision)))
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
    say = f"{wheel.short(one.bearing_rad, one.range_m)}, something may be coming fast: look there."
    return [Candidate("something ahead", "something", 2, _capital(say), SOMETHING_S / max(10.0, soonest[0]), one.id)]


def _of_danger_that_decides(wheel: Wheel, threat: Threat, decision: Decision) -> Candidate:
    assert threat.danger is not None
    words = danger_words(threat.danger.danger)
    say = f"{order_words(decision, spoken=True)}. {_capital(words)} ahead, {wheel.far(threat.danger.distance_m)}."
    kind = threat.danger.danger.kind
    weight = 60.0 / max(5.0, threat.act_in_s + 30.0)
    return Candidate(f"danger {kind}", "charted danger", threat.urgency, say, weight, order=_order_of(decision))


def who_words(wheel: Wheel, passing: Passing) -> str:
    """Return who and where, in a few words."""
    one = passing.contact
    where = wheel.short(one.bearing_rad, one.range_m)
    if one.kind == "vessel":
        name = one.ais.name if one.ais is not None and one.ais.name else "vessel"
        return f"{name}{'' if one.moves else ', not moving'}, {where}"
    if one.kind == "charted" and one.charted_as is not None:
        return f"{_named(one.charted_as.object, one.charted_as.name)}, {where}"
    return f"something not charted, {where}"


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


def _nearest(wheel: Wheel, passing: Passing) -> str:
    assert passing.cpa_m is not None and passing.tcpa_s is not None
    return f"nearest {wheel.far(passing.cpa_m)} in {time_words(max(0.0, passing.tcpa_s))}"


def of_marks(wheel: Wheel, passings: Sequence[Passing]) -> list[Candidate]:
    """Return a candidate for each buoy that lies off its charted place."""
    out = []
    for passing in passings:
        one, charted = passing.contact, passing.contact.charted_as
        if one.kind != "charted" or charted is None or one.confidence < 0.4:
            continue
        if charted.offset_m > SWING_CALL_M and charted.object.startswith("BOY"):
            name = _named(charted.object, charted.name)
            where = wheel.where_polar(one.bearing_rad, one.range_m)
            say = f"{name} lies {wheel.far(charted.offset_m)} from its charted place: {where}."
            key = f"moved {charted.cell} {charted.feature}"
            out.append(Candidate(key, "mark moved", 2, _capital(say), 1.0, one.id))
    return out


def of_missing(wheel: Wheel, missing: Sequence[MissingMark]) -> list[Candidate]:
    """Return a candidate for each mark that should show and does not."""
    out = []
    for one in missing:
        mark = one.mark
        say = f"{_named(mark.object, mark.name)} does not show: {wheel.where_short(mark.east_m, mark.north_m)}."
        out.append(Candidate(f"missing {mark.cell} {mark.feature}", "mark missing", 2, _capital(say), MISSING_WEIGHT))
    return out


def of_opening(wheel: Wheel, opening: Opening | None, stopping_m: float | None) -> list[Candidate]:
    """Return a candidate when hidden water is about to open close by."""
    if opening is None or opening.in_s > OPENING_S:
        return []
    near = max(2.0 * wheel.boat.skipper.keep_off_m, 3.0 * (stopping_m or 0.0))
    if opening.distance_then_m > near:
        return []
    where = wheel.short(opening.bearing_then_rad, opening.distance_then_m)
    say = f"Hidden water opens in {time_words(opening.in_s)}, {where}."
    spot = f"opening {round(opening.east_m / 300.0)} {round(opening.north_m / 300.0)}"
    return [Candidate(spot, "opening", 2, say, OPENING_S / max(10.0, opening.in_s))]


def of_agreement(agreement: Agreement, boat: Boat) -> list[Candidate]:
    """Return candidates of heading or position that had to be put right, and of radar and chart that do not agree."""
    out = []
    if agreement.agrees is False:
        out.append(
            Candidate(
                "disagrees",
                "disagreement",
                3,
                "Radar and chart do not agree. Position, heading or chart is wrong; "
                + _likely(agreement, boat)
                + " Do not trust the chart under the radar.",
            )
        )
        return out
    if not agreement.is_known:
        return out
    bias = math.degrees(agreement.heading_bias)
    if abs(bias) > max(
        BIAS_CALL_DEG, 2.0 * math.degrees(boat.heading_sigma_rad), 3 * math.degrees(agreement.heading_sigma)
    ):
        way = "high" if bias > 0 else "low"
        say = (
            f"The compass reads {abs(bias):.0f} degrees {way} against radar and chart; the picture is put right for it."
        )
        out.append(Candidate(f"bias {way}", "heading bias", 2, say, abs(bias)))
    offset = math.hypot(agreement.state[1], agreement.state[2])
    if offset > max(OFFSET_CALL_M, 3.0 * boat.position_sigma_m, 3.0 * agreement.position_sigma_m):
        # The reported position is off in the sense of the state; the boat lies the other way.
        bearing = wrap_360(math.degrees(math.atan2(agreement.state[1], agreement.state[2])))
        say = (
            f"The reported position is {offset:.0f} metres off towards {bearing:03.0f} by radar and chart; "
            "the picture is put right for it."
        )
        out.append(Candidate("offset", "position offset", 2, say, offset / OFFSET_CALL_M))
    return out


def _likely(agreement: Agreement, boat: Boat) -> str:
    heading = abs(agreement.heading_bias) / max(boat.heading_sigma_rad, 1e-3)
    position = float(np.hypot(agreement.state[1], agreement.state[2])) / max(boat.position_sigma_m, 1.0)
    if max(heading, position) < 3.0:
        return "the chart is the likeliest."
    return "the heading is the likeliest." if heading > position else "the position is the likeliest."


def of_carried(carried: CarriedPlace) -> list[Candidate]:
    """Return the candidate of a position carried on by radar and chart, or by reckoning alone."""
    own, sigma_m = carried.own, carried.sigma_m
    lat, lon = own.frame.to_geographic(own.east_m, own.north_m)
    by = "by radar and chart" if carried.is_fixed else "by heading and last speed alone"
    say = f"No position from the receiver. {_capital(by)} she is at {place_words(float(lat), float(lon))}, "
    say += f"within {max(10, round(2.0 * sigma_m, -1)):.0f} metres."
    return [Candidate("fix", "position", 3, say, 1.0 + sigma_m / 20.0)]


def of_performance(performance: RadarPerformance) -> list[Candidate]:
    """Return a candidate when the radar sees worse than its figures say."""
    fall_db = performance.offset_db
    if not performance.is_shown or fall_db > -max(FALL_CALL_DB, 2.0 * performance.sigma_db):
        return []
    say = (
        f"The radar sees {-fall_db:.0f} decibels worse than it should: a wet or icy scanner, mistuning, "
        "or a rising sea. Small things show later."
    )
    return [Candidate("performance", "radar performance", 2, say, -fall_db)]


def of_dangers(wheel: Wheel, risks: Risks, course_rad: float, tide_m: float | None) -> list[Candidate]:
    """Return a candidate for what the chart has ahead in the corridor, but for the one that decides."""
    decides = None if risks.decision is None else risks.decision.threat.key
    out: dict[str, Candidate] = {}
    for one in risks.dangers:
        danger, key = one.danger, f"danger {one.danger.kind}"
        speed = wheel.own.sog or 0.0
        seconds = one.distance_m / speed if speed > 0.3 else math.inf
        if seconds > 120.0 or (key == decides and one.in_way):
            continue
        stops = danger.weight == "stops" and danger.kind not in ("unsurveyed", "chart ends")
        # Known before it decides, and not shouted: there is time, or it lies beside the way.
        urgency = 2 if stops or one.in_way else 1
        where = wheel.short(course_rad, one.distance_m)
        beside = "" if one.in_way else ", close beside the way"
        words = danger_words(danger)
        say = f"{_capital(words)}{depth_words(danger, tide_m)} ahead, {where.split(', ', 1)[-1]}{beside}."
        candidate = Candidate(key, "charted danger", urgency, say, 60.0 / max(5.0, seconds))
        # Of one kind the more urgent; of equally urgent ones the nearer, which comes first.
        if words not in out or urgency > out[words].urgency:
            out[words] = candidate
    # Two are enough to say: the most urgent, and of those the nearest.
    return sorted(out.values(), key=lambda m: (-m.urgency, -m.weight))[:2]


def of_sounder(check: SounderCheck | None) -> list[Candidate]:
    """Return a candidate when sounder and chart cannot both be right."""
    if check is None or check.agrees:
        return []
    shoaler = check.sounded_m < check.expected_least_m
    limit = f"at least {check.expected_least_m:.1f}" if shoaler else f"at most {check.expected_most_m:.0f}"
    say = f"The sounder has {check.sounded_m:.1f} metres where chart and tide make {limit}."
    return [Candidate("sounder", "sounder", 3 if shoaler else 2, say + " Position or chart is wrong.")]


def _named(s57_class: str, name: str | None) -> str:
    return f"{object_name(s57_class)} {name}" if name else object_name(s57_class)


def _capital(sentence: str) -> str:
    return sentence[0].upper() + sentence[1:]
