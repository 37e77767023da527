"""The decision in words: the one order on the sheet, and as it is spoken."""

from __future__ import annotations

import math

from moonless.frames import wrap_360
from moonless.reading.collision.decide import STOPPED_KN, Decision, course_words, whole_knots
from moonless.reading.collision.roles import Role
from moonless.reading.types import Instruction
from moonless.units import mps_to_kn

_DIGIT = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def order_words(decision: Decision, *, spoken: bool = False) -> str:
    """Return the order, verb first: ``TURN STARBOARD 40° to 165``, or spoken ``Turn starboard 40, to one six five``."""
    if decision.do == "turn":
        side, course = "starboard" if decision.turn_deg > 0 else "port", course_words(decision.course_rad or 0.0)
        by = f"{abs(decision.turn_deg):.0f}"
        if spoken:
            return f"Turn {side} {by}, to {' '.join(_DIGIT[int(c)] for c in course)}"
        return f"TURN {side.upper()} {by}° to {course}"
    if decision.do == "slow":
        kn = whole_knots(decision.speed or 0.0)
        return f"Slow to {kn} knots" if spoken else f"SLOW to {kn} kn"
    if decision.do == "stop":
        return "Stop" if spoken else "STOP"
    if decision.do == "hold":
        course = course_words(decision.course_rad or 0.0)
        return f"Hold {' '.join(_DIGIT[int(c)] for c in course)}" if spoken else f"HOLD {course}"
    return "Look out" if spoken else "LOOK"


def _asks(role: Role) -> str:
    """Return what the rule asks now, in its own sense; it is shown on touch and not spoken."""
    if role.stand_on == "17(a)(ii)":
        return "She does not keep clear as she must: you may act, and not to port for one on your port side (17(c))."
    if role.stand_on == "17(b)":
        return "She alone can no longer avoid you: act as will best help."
    return role.encounter.action


def instruction_of(decision: Decision, who: str, nearest: str, speed_because: str) -> Instruction:
    """Return the public instruction.  ``who`` decides and where it is; ``nearest``: how near it comes as things are."""
    role, threat = decision.role, decision.threat
    if threat is not None and threat.about == "speed":
        because = speed_because
    else:
        because = f"{who}, {nearest}." if nearest else f"{who}."
        if role is not None:
            because += f" Rule {role.stand_on or role.encounter.rule}: {_asks(role)}"
        if not decision.clears:
            because += " Nothing that can be done keeps everything off; this keeps off most."
    turns = decision.do in ("turn", "hold") and decision.course_rad is not None
    slows = decision.do in ("slow", "stop")
    return Instruction(
        decision.do,
        wrap_360(math.degrees(decision.course_rad)) if turns and decision.course_rad is not None else None,
        (0.0 if mps_to_kn(decision.speed) < STOPPED_KN else float(whole_knots(decision.speed)))
        if slows and decision.speed is not None
        else None,
        order_words(decision),
        because,
    )
