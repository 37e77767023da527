"""Figures of a debrief as a skipper reads them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from moonless.debrief.calls import CallTold, OrderTold
from moonless.debrief.figures import WaypointPassed
from moonless.debrief.types import Debrief
from moonless.passage.words import course_words, date_words, distance_words
from moonless.units import NS_PER_S, DistanceUnit, ns_to_utc

# The least urgency that asks for an answer: a warning does, a caution does not (`reading.alerts.states`).
ASKS_ANSWER = 3


@dataclass(frozen=True, slots=True)
class Words:
    """Says times and distances in the skipper's way."""

    zone: tzinfo
    unit: DistanceUnit

    def clock(self, time_ns: int | None) -> str:
        """Return the time of day to the second."""
        return "—" if time_ns is None else f"{ns_to_utc(time_ns).astimezone(self.zone):%H:%M:%S}"

    def minute(self, time_ns: int) -> str:
        """Return the time of day to the minute."""
        return f"{ns_to_utc(time_ns).astimezone(self.zone):%H:%M}"

    def date(self, time_ns: int) -> str:
        """Return date, time and zone."""
        return date_words(time_ns / NS_PER_S, self.zone)

    def far(self, distance_m: float | None) -> str:
        """Return a distance: metres near by, the skipper's unit beyond."""
        if distance_m is None:
            return "not known"
        return f"{distance_m:.0f} m" if distance_m < 600.0 else distance_words(distance_m, self.unit)

    def span(self, seconds: float) -> str:
        """Return a stretch of time."""
        if seconds < 90.0:
            return f"{seconds:.0f} s"
        minutes, rest = divmod(round(seconds), 60)
        return f"{minutes} min" if rest == 0 else f"{minutes} min {rest} s"

    def bearing(self, degrees: float) -> str:
        """Return a true bearing."""
        return course_words(degrees)


_LEVEL = {4: "act now", 3: "act soon", 2: "know it", 1: "in passing"}


def level_words(call: CallTold, words: Words) -> str:
    """Return how urgent a matter became, and when if that was later than it was first said."""
    level = _LEVEL.get(call.urgency, str(call.urgency))
    return level if call.loudest_ns == call.first_ns else f"{level} at {words.clock(call.loudest_ns)}"


def short(found: Debrief, words: Words) -> list[tuple[str, str]]:
    """Return what a skipper reads first: what is asked, and the answer."""
    out = [
        (
            "Run",
            f"{words.far(found.length_m)} in {words.span((found.ends_ns - found.begins_ns) / NS_PER_S)}, "
            f"{found.turns} turns of the radar",
        )
    ]
    if found.meetings:
        near = found.meetings[0]
        out.append(("Nearest vessel", f"{near.who}, {words.far(near.closest_m)} off at {words.clock(near.closest_ns)}"))
        out.append(("Inside the keep-off", words.span(found.keep_off_s)))
    else:
        out.append(
            ("Nearest vessel", "none that moved came within one and a half keep-offs, of those the radar showed")
        )
    over = found.pace
    out.append(
        (
            "Faster than went with what was seen",
            f"{words.span(over.over_s)}" + (f", by up to {over.most_over_kn:.1f} kn" if over.over_s else ""),
        )
    )
    if over.not_known_s > 1.0:
        out.append(("No speed could be advised", words.span(over.not_known_s)))
    out.append(
        (
            "Hidden water nearer than it takes to stop",
            words.span(found.hidden.near_s)
            + (
                ""
                if found.hidden.nearest_m is None or found.hidden.nearest_m == float("inf")
                else f"; nearest {words.far(found.hidden.nearest_m)} at {words.clock(found.hidden.nearest_ns)}"
            ),
        )
    )
    out.append(("Least water under the keel", depth_words(found, words)))
    counted = [o for o in found.orders if o.followed is not None]
    late = sum(c.is_late for c in found.calls)
    out.append(
        (
            "Orders",
            f"{len(found.orders)} given, {sum(o.followed is True for o in counted)} of {len(counted)} that can be "
            f"judged followed within 35 s; {late} call{'' if late == 1 else 's'} came late",
        )
    )
    asked = [c for c in found.calls if c.urgency >= ASKS_ANSWER]
    if any(c.answered_s is not None for c in found.calls):
        out.append(
            (
                "Calls answered",
                f"{sum(c.answered_s is not None for c in asked)} of {len(asked)} that ask for an answer",
            )
        )
    out.append(("Marks missing", ", ".join(m.name or m.object for m in found.marks) or "none of those looked for"))
    return out


def depth_words(found: Debrief, words: Words) -> str:
    """Return the depth margin in words."""
    depth = found.depth
    if depth.least_below_keel_m is None:
        return "not known: no sounder spoke"
    out = f"{depth.least_below_keel_m:.1f} m at {words.clock(depth.least_ns)}"
    if depth.at_datum_m is not None:
        out += f"; with the tide at chart datum it would be {depth.at_datum_m:.1f} m"
    if depth.below_margin_s > 0.0:
        out += f"; {words.span(depth.below_margin_s)} with less than your margin"
    return out


def answered_words(call: CallTold) -> str:
    """Return how soon a call was answered; what asks for no answer and got none has no word."""
    if call.answered_s is not None:
        return f"after {call.answered_s:.0f} s"
    return "not" if call.urgency >= ASKS_ANSWER else ""


def followed_words(order: OrderTold) -> str:
    """Return whether an order was followed."""
    return {True: "followed", False: "not followed", None: "cannot be told"}[order.followed]


def radar_words(found: Debrief, words: Words) -> list[str]:
    """Return how the radar saw, a line each."""
    radar, where = found.radar, found.registered
    out = []
    if radar.performance_db is None:
        out.append("How it performs against its own figures was never known: too few charted marks showed alone.")
    else:
        out.append(
            f"By the charted marks it performed {radar.performance_db:+.1f} dB against its own figures on average, "
            f"{radar.worst_db:+.1f} dB at worst."
        )
    if radar.seeing_m is not None:
        out.append(
            f"A small boat would have been held from {words.far(radar.seeing_m)} (median), from "
            f"{words.far(radar.least_seeing_m)} at {words.clock(radar.least_seeing_ns)}."
        )
    if where.bias_deg is not None:
        agreed = (
            "" if where.agreed_share is None else f" Radar and chart agreed for {where.agreed_share:.0%} of the run."
        )
        out.append(f"Heading {where.bias_deg:+.1f}° off, scattering by {where.bias_spread_deg:.1f}°.{agreed}")
    if where.east_m is not None and where.north_m is not None:
        out.append(
            f"Position {_signed(where.east_m)} m east, {_signed(where.north_m)} m north of where radar and chart agree."
        )
    out += [f"Fault: {what} {state} for {words.span(seconds)}." for what, state, seconds in radar.faults]
    return out


def _signed(metres: float) -> str:
    """Return whole metres with their sign; nought has none."""
    return f"{round(metres):+d}" if round(metres) else "0"


def passed_words(one: WaypointPassed, words: Words) -> tuple[str, str, str, str]:
    """Return name, when passed, against the plan, and how far off."""
    if one.passed_ns is None:
        return one.name, "not passed", "", words.far(one.off_m)
    late = ""
    if one.planned_ns is not None:
        seconds = (one.passed_ns - one.planned_ns) / NS_PER_S
        late = f"{words.span(abs(seconds))} {'late' if seconds > 0 else 'early'}"
    return (
        one.name,
        words.clock(one.passed_ns),
        late,
        f"{words.far(one.off_m)} off, {words.far(one.off_leg_m)} off its leg",
    )
