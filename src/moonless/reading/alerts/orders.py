"""The decision in words: the one order on the sheet, and as it is spoken."""

from __future__ import annotations

import math
import re

from moonless.chart.dangers.words import danger_words
from moonless.frames import wrap_360
from moonless.reading.collision.decide import Decision
from moonless.reading.collision.roles import Role
from moonless.reading.types import Instruction
from moonless.reading.words import distance_words
from moonless.units import DistanceUnit, mps_to_kn

_VERB = re.compile(r"(Turn (starboard|port)|Slow to|Stop|Hold [a-z])\b")
_DIGIT = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def order_words(decision: Decision, *, spoken: bool = False) -> str:
    """Return the order, verb first: ``TURN STARBOARD 40° to 165``, or spoken ``Turn starboard 40, to one six five``."""
    if decision.do == "turn":
        side, course = "starboard" if decision.turn_deg > 0 else "port", _course_words(decision.course_rad or 0.0)
        by = f"{abs(decision.turn_deg):.0f}"
        if spoken:
            return f"Turn {side} {by}, to {' '.join(_DIGIT[int(c)] for c in course)}"
        return f"TURN {side.upper()} {by}° to {course}"
    if decision.do == "slow":
        kn = _whole_knots(decision.speed or 0.0)
        return f"Slow to {kn} knots" if spoken else f"SLOW to {kn} kn"
    if decision.do == "stop":
        return "Stop" if spoken else "STOP"
    if decision.do == "hold":
        course = _course_words(decision.course_rad or 0.0)
        return f"Hold {' '.join(_DIGIT[int(c)] for c in course)}" if spoken else f"HOLD {course}"
    return "Look out" if spoken else "LOOK"


def gives_order(spoken: str) -> bool:
    """Return whether a spoken sentence gives an order: it begins with its verb."""
    return _VERB.match(spoken) is not None


def _course_words(course_rad: float) -> str:
    """Return a course as three figures."""
    return f"{round(wrap_360(math.degrees(course_rad))) % 360:03d}"


def _whole_knots(speed: float) -> int:
    """Return a speed as whole knots, rounded down: never more than was reckoned."""
    return max(0, math.floor(mps_to_kn(speed) + 1e-6))


def _asks(role: Role, decision: Decision) -> str:
    """Return what the rule asks now, in its own sense and never against the order; shown on touch and not spoken."""
    if decision.do == "hold" and role.stand_on in ("17(a)(ii)", "17(b)"):
        # She may act, or must: where to hold is the order, it is said why that is to act as the rule asks.
        is_late = role.stand_on == "17(b)"
        fails = "She alone can no longer avoid you" if is_late else "She does not keep clear as she must"
        if decision.clears:
            return f"{fails}: this course and speed keep clear. Hold them until she is past."
        return f"{fails}, and no turn or less way keeps more off: hold, and be ready to act at once."
    if role.stand_on == "17(a)(ii)":
        return "She does not keep clear as she must: you may act, and not to port for one on your port side (17(c))."
    if role.stand_on == "17(b)":
        return "She alone can no longer avoid you: act as will best help."
    return role.encounter.action


# Where the skipper has not said it, and Rules 11 to 18 are told: what they rest on.
SIGHT_TAKEN = " Taken as in sight of one another, the night as clear: say so if she is not seen."


def instruction_of(
    decision: Decision,
    who: str,
    nearest: str,
    speed_because: str,
    *,
    sight_is_taken: bool = False,
    unit: DistanceUnit = "nm",
) -> Instruction:
    """Return the public instruction.

    ``who`` decides and where it is; ``nearest``: how near it comes as things are; ``sight_is_taken``: nobody has said
    whether vessels are in sight of one another.
    """
    role = decision.role
    if decision.threat.about == "speed":
        because = speed_because
    else:
        because = f"{who}, {nearest}." if nearest else f"{who}."
        if not decision.clears:
            # Before the rule, which is told on touch: it must be known at a glance.
            because += " Nothing keeps all off; this keeps off most."
        if decision.ends is not None:
            # A course to avoid one thing by is told with what it runs at.
            far = distance_words(decision.ends.along_m, unit)
            because += f" That course has {danger_words(decision.ends)}, {far} on."
        if decision.keeps_right:
            because += " Keep to the starboard side of the channel (Rule 9(a))."
        if role is not None:
            because += f" Rule {role.stand_on or role.encounter.rule}: {_asks(role, decision)}"
            if sight_is_taken and role.encounter.meeting is not None:
                because += SIGHT_TAKEN
    to_deg = to_kn = None
    if decision.do in ("turn", "hold") and decision.course_rad is not None:
        to_deg = wrap_360(math.degrees(decision.course_rad))
    elif decision.do in ("slow", "stop") and decision.speed is not None:
        to_kn = 0.0 if decision.do == "stop" else float(_whole_knots(decision.speed))
    return Instruction(decision.do, to_deg, to_kn, order_words(decision), because, decision.threat.contact)
