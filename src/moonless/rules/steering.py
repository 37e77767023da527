"""Who keeps out of whose way, and what to avoid: the steering rules as data and pure functions.

Rules 12 to 15, 17 and 18 hold in sight of one another; Rule 19 when a vessel is known by radar alone in or near
restricted visibility.  Which of them applies is the skipper's switch; where that is "unsure", both are told.
Source: International Regulations for Preventing Collisions at Sea 1972, Part B, Sections II and III.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from moonless.frames import wrap_pi
from moonless.rules.encounters import Meeting, meeting_of

Sight = Literal["in sight", "radar only", "unsure"]
"""The skipper's switch: Rules 11 to 18, Rule 19, or both shown."""


@dataclass(frozen=True, slots=True)
class Encounter:
    """One rule's view of a meeting.  ``gives_way``: that we do; None: the rule asks both."""

    meeting: Meeting | None  # None: Rule 19, which knows no such parts
    rule: str
    gives_way: bool | None
    action: str


_IN_SIGHT: dict[Meeting, tuple[str, bool | None, str]] = {
    "overtaking": ("13", True, "Keep out of the way of the vessel being overtaken."),
    "being overtaken": ("13", False, "The vessel overtaking keeps out of the way; keep course and speed (Rule 17)."),
    "head-on": ("14", None, "Both alter course to starboard and pass port to port."),
    "crossing from starboard": (
        "15",
        True,
        "Keep out of the way, and if the case admits do not cross ahead of her.",
    ),
    "crossing from port": (
        "15",
        False,
        "She keeps out of the way; keep course and speed, and act if she plainly does not (Rule 17).",
    ),
}


# Navigational status of AIS (ITU-R M.1371-5, message 1) that Rule 18 gives a place before a power-driven vessel.
_BEFORE_US: dict[int, tuple[str, str]] = {
    2: ("18(a)(i)", "not under command"),
    3: ("18(a)(ii)", "restricted in her ability to manoeuvre"),
    7: ("18(a)(iii)", "fishing"),
    8: ("18(a)(iv)", "under sail"),
}
_BY_DRAUGHT = 4


def encounters(
    sight: Sight,
    own_heading_rad: float,
    own_speed: float,
    target_bearing_rad: float,
    target_course_rad: float,
    target_speed: float,
    nav_status: int | None = None,
) -> tuple[Encounter, ...]:
    """Return what the rules say of a meeting: Rules 13 to 15 and 18, Rule 19, or both where unsure.

    Taken for power-driven vessels under way.  What is not under command, fishing or sailing is not seen by radar; where
    she says so by AIS (``nav_status``) Rule 18 holds, but for one that overtakes us (Rule 13).
    """
    out = []
    meeting = meeting_of(own_heading_rad, own_speed, target_bearing_rad, target_course_rad, target_speed)
    if sight != "radar only" and meeting is not None:
        rule, gives_way, action = _IN_SIGHT[meeting]
        if meeting not in ("overtaking", "being overtaken") and nav_status in _BEFORE_US:
            rule, what = _BEFORE_US[nav_status]
            gives_way, action = True, f"Keep out of her way: by her AIS she is {what}."
        elif meeting not in ("overtaking", "being overtaken") and nav_status == _BY_DRAUGHT:
            action += " By her AIS she is constrained by her draught: do not impede her (Rule 18(d))."
        out.append(Encounter(meeting, rule, gives_way, action))
    if sight != "in sight":
        out.append(Encounter(None, "19", None, restricted_action(own_heading_rad, target_bearing_rad, meeting)))
    return tuple(out)


def restricted_action(own_heading_rad: float, target_bearing_rad: float, meeting: Meeting | None) -> str:
    """Return what Rule 19(d) says to avoid for a vessel at this bearing."""
    from_bow = wrap_pi(target_bearing_rad - own_heading_rad)
    if abs(from_bow) < math.pi / 2.0:
        if meeting == "overtaking":
            return "Act in ample time to keep clear of the vessel being overtaken."
        return "Act in ample time; avoid altering course to port."
    side = "starboard" if from_bow > 0 else "port"
    return f"Act in ample time; avoid altering course to {side}, towards her."


def turn_discouraged(
    sight: Sight, turn_rad: float, own_heading_rad: float, target_bearing_rad: float, meeting: Meeting | None
) -> str | None:
    """Return why the rules discourage a turn for this vessel, or None.  Positive turns are to starboard."""
    if turn_rad == 0.0:
        return None
    from_bow = wrap_pi(target_bearing_rad - own_heading_rad)
    forward = abs(from_bow) < math.pi / 2.0
    if sight != "in sight":
        if forward and turn_rad < 0.0 and meeting != "overtaking":
            return "Rule 19(d): no alteration to port for a vessel forward of the beam"
        if not forward and turn_rad * from_bow > 0.0:
            return "Rule 19(d): no alteration towards a vessel abeam or abaft the beam"
    if sight != "radar only":
        if meeting == "crossing from port" and turn_rad < 0.0:
            return "Rule 17(c): no alteration to port for a vessel on the port side"
        if meeting == "head-on" and turn_rad < 0.0:
            return "Rule 14: alter to starboard"
        if meeting == "crossing from starboard" and turn_rad < 0.0:
            return "Rule 15: a turn to port crosses ahead of her"
    return None


StandOn = Literal["17(a)(i)", "17(a)(ii)", "17(b)"]
"""Keep course and speed; may act by her own manoeuvre alone; must act as will best aid."""

# Rule 17 gives no times.  So long before her own manoeuvre would come too late a stand-on vessel may act, because the
# other plainly does not; and must, because collision cannot be avoided by the other alone.  Own figures, no source.
MAY_ACT_S, MUST_ACT_S = 60.0, 15.0
_ORDER: dict[StandOn | None, int] = {None: 0, "17(a)(i)": 0, "17(a)(ii)": 1, "17(b)": 2}


def stand_on_stage(act_in_s: float, before: StandOn | None) -> StandOn:
    """Return how far a stand-on vessel has come in Rule 17; it goes forward and never back.

    ``act_in_s``: time left until her own manoeuvre must begin, seconds.
    """
    stage: StandOn = "17(b)" if act_in_s <= MUST_ACT_S else "17(a)(ii)" if act_in_s <= MAY_ACT_S else "17(a)(i)"
    return stage if before is None or _ORDER[stage] >= _ORDER[before] else before
