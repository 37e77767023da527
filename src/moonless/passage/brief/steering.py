"""What stands under the table that is steered by: water under the keel, courses, where to break off."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo

from moonless.chart.s57.names import object_name
from moonless.passage.brief.selection import and_more
from moonless.passage.types import LegPlan, Plan, Span
from moonless.passage.way.gates import LEAVE_AFTER_S, LEAVE_BEFORE_S
from moonless.passage.way.refuges import refuge_words
from moonless.passage.words import clock_words, variation_words
from moonless.units import down, up


def courses_words(plan: Plan) -> str:
    """Return what the courses are and what is in them."""
    start = plan.legs[0].leg.start
    variation = variation_words(start.lat_deg, start.lon_deg, plan.depart_s)
    words = f"Track and steer are true. Variation {variation} by the World Magnetic Model; "
    if plan.boat is not None and plan.boat.deviation:
        words += "compass is by the deviation card."
    else:
        words += "no deviation card is in the boat file, so no course is by compass."
    if any(leg.steer_deg is None for leg in plan.legs):
        words += " Where no stream is known, the track itself is to be steered."
    return words


def break_off_words(plan: Plan) -> str:
    """Return where one breaks off to, legs with the same answer together, and the charted refuges."""
    out: list[str] = []
    whole = plan.route.length_m
    done, back = 0.0, 0
    for leg in plan.legs:
        if done + leg.leg.length_m / 2 <= whole / 2:
            back = leg.number
        done += leg.leg.length_m
    first, last = plan.legs[0].leg.start.name, plan.legs[-1].leg.end.name
    if back:
        out.append(f"back to {first} on leg{'s 1 to ' + str(back) if back > 1 else ' 1'}")
    if back < len(plan.legs):
        which = f"legs {back + 1} to {len(plan.legs)}" if back + 1 < len(plan.legs) else f"leg {len(plan.legs)}"
        out.append(f"on to {last} on {which}")
    nearest: dict[str, tuple[float, str]] = {}
    for leg in plan.legs:
        for refuge in leg.refuges:
            told = (refuge.off_m, f"{refuge_words(refuge)} of leg {leg.number}")
            nearest[refuge.feature] = min(nearest.get(refuge.feature, told), told)
    if nearest:
        rows = and_more([words for _, words in nearest.values()], MOST_REFUGES, "leg by leg behind")
        out.append(f"refuges, the way into them not planned: {', '.join(rows)}")
    else:
        out.append("no anchorage that is for her and deep enough, and no yacht harbour, is charted within half a mile")
    return "; ".join(out)


# Gates, refuges and traffic told one by one where the way is steered by.
MOST_GATES, MOST_REFUGES, MOST_TRAFFIC = 2, 5, 5
# An end this near the end of what was looked at is no end of its own: times are told in whole minutes.
CUT_S = 60.0


def gate_words(plan: Plan, zone: tzinfo) -> str:
    """Return which legs low water closes, when each is open, and when to leave to pass them all; "": none is."""
    if not plan.gates:
        return ""

    def times(spans: tuple[Span, ...], seen: Span) -> str:
        """Spans in words; of one that goes on past what was looked at, no end is told."""
        said = []
        for begin, end in spans:
            is_cut = end >= seen[1] - CUT_S
            last = f"past {clock_words(end, zone)}" if is_cut else f"to {clock_words(end, zone)}"
            if begin <= seen[0] + CUT_S:
                said.append(f"until {last}" if is_cut else f"until {clock_words(end, zone)}")
            else:
                said.append(f"{clock_words(begin, zone)} {last}")
        return ", ".join(said) or "never within half a day"

    rows = [
        f"leg {gate.leg} needs {up(gate.least_m)} m of tide over chart datum ({gate.by}) and is open "
        f"{times(gate.open, gate.seen)}"
        for gate in plan.gates
    ]
    words = "Closed at low water: " + "; ".join(and_more(rows, MOST_GATES, "leg by leg behind")) + "."
    if plan.leave is not None:
        seen = (plan.depart_s - LEAVE_BEFORE_S, plan.depart_s + LEAVE_AFTER_S)
        leave = f"leave {times(plan.leave, seen)}" if plan.leave else "no departure within half a day does"
        words += f" To pass at these speeds {leave}."
    return words


_TRAFFIC = {
    "fairway": ": do not impede, keep to its starboard side (Rule 9)", "traffic scheme": " (Rule 10)", "ferry": "",
}  # fmt: skip


def traffic_words(plan: Plan) -> str:
    """Return which fairways, traffic schemes and ferry routes the way meets, each once with its legs."""
    met: dict[tuple[str, str], list[int]] = {}
    for leg in plan.legs:
        for danger in leg.dangers:
            if danger.kind in _TRAFFIC:
                name = f" {danger.name}" if danger.name else ""
                numbers = met.setdefault((f"{object_name(danger.object)}{name}", danger.kind), [])
                if leg.number not in numbers:
                    numbers.append(leg.number)
    rows = [f"{what} on {legs_words(numbers)}{_TRAFFIC[kind]}" for (what, kind), numbers in met.items()]
    return "; ".join(and_more(rows, MOST_TRAFFIC, "leg by leg behind")) or "nothing is charted on the way"


def legs_words(numbers: Sequence[int]) -> str:
    """Return legs by their numbers, in order, those that follow each other together: "legs 1 to 4, 6"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]
    return f"leg{'' if len(numbers) == 1 else 's'} {', '.join(words)}"


def under_keel_words(leg: LegPlan, plan: Plan) -> str:
    """Return the least water under the keel on a leg, at its lowest tide; what is not known is said."""
    if leg.least_depth_m is None or plan.boat is None:
        return "not charted"
    tide = leg.water.lowest_m
    left = leg.least_depth_m + (tide or 0.0) - plan.boat.draught_m
    # Down to a tenth: more water than there is must not be printed.
    words = f"{down(left)} m"
    return words if tide is not None else f"{words}, no tide"
