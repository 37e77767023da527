"""The role of each vessel that is met: found at first risk, and kept until she is past and clear.

Rules 13 to 15, 17 and 18 hold in sight of one another (Rule 11), Rule 19 in or near restricted visibility.  Where the
skipper has not said which, a vessel within the range at which her lights must show (Rule 22) is taken as in sight, for
the night is taken as clear until he says otherwise; farther off no role is given.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from moonless.constants import NAUTICAL_MILE_M
from moonless.frames import wrap_pi
from moonless.reading.contact import Passing
from moonless.reading.own import OwnPlane
from moonless.rules.steering import Encounter, Sight, StandOn, encounters, stand_on_stage
from moonless.units import NS_PER_S

# Rule 22: masthead and all-round lights of the smallest vessels show two miles.
LIGHTS_SHOW_M = 2.0 * NAUTICAL_MILE_M
# Risk is looked for so far ahead in time.  Own figure.
MEET_S = 480.0
# Past and clear: the closest approach is over for so long, and she opens.  Own figure.
PAST_S = 15.0
# A vessel not told for so long has gone: her role goes with her.
LOST_S = 40.0
# One told as something else on so many turns running was none.  Own figure.
ELSE_TURNS = 3
# Our own turn by so much makes another meeting of it, which may bring a duty and takes none away.  Own figures.
TURNED_RAD, STEADY_RAD = math.radians(12.0), math.radians(2.0)
LEAST_CONFIDENCE = 0.5
# A track hit on fewer turns than this may be nothing; the risk of waiting is some turns, ten seconds at 24 rpm.  She is
# met at once where she would be here within `NO_WAITING_S`.
SURE_HITS, NO_WAITING_S = 5, 60.0


@dataclass(frozen=True, slots=True)
class Role:
    """What we are to a vessel: by which rule, since when, and how far a stand-on vessel has come in Rule 17."""

    encounter: Encounter
    since_ns: int
    stand_on: StandOn | None  # None: we do not stand on
    is_risk: bool  # she still comes inside her keep-off


@dataclass(slots=True)
class _Kept:
    role: Role
    last_ns: int
    course_rad: float | None  # our own when the role was found
    n_else: int = 0  # turns running on which she was told as something else


class Roles:
    """Keeps the roles from turn to turn."""

    def __init__(self) -> None:
        self._kept: dict[int, _Kept] = {}
        self._sight: Sight = "unsure"
        self._last_course_rad: float | None = None

    def update(
        self,
        time_ns: int,
        own: OwnPlane,
        passings: Sequence[Passing],
        sight: Sight,
        keep_off_m: Mapping[int, float],
        need_s: float,
    ) -> dict[int, Role]:
        """Return the role towards each vessel that is met, by contact.

        ``keep_off_m``: by contact; ``need_s``: the time that our own manoeuvre takes.
        """
        if sight != self._sight:
            # The skipper has seen, or lost sight: the other section of the rules holds.
            self._kept.clear()
            self._sight = sight
        told = {p.contact.id for p in passings}
        is_steady = _within(own.ahead_rad, self._last_course_rad, STEADY_RAD)
        self._last_course_rad = own.ahead_rad
        for passing in passings:
            keep_off = keep_off_m.get(passing.contact.id, 0.0)
            self._one(time_ns, own, passing, sight, keep_off, need_s)
            if is_steady:
                self._meet_anew(own, passing, sight)
        for key in [k for k, kept in self._kept.items() if time_ns - kept.last_ns > LOST_S * NS_PER_S]:
            del self._kept[key]
        return {key: kept.role for key, kept in self._kept.items() if key in told}

    def _one(self, time_ns: int, own: OwnPlane, passing: Passing, sight: Sight, keep_off: float, need_s: float) -> None:
        contact, kept = passing.contact, self._kept.get(passing.contact.id)
        if passing.cpa_m is None or passing.tcpa_s is None:
            return
        if kept is not None:
            opens = passing.tcpa_s < -PAST_S or (passing.tcpa_s < 0.0 and contact.range_m > keep_off)
            if opens:
                del self._kept[contact.id]
                return
            if contact.kind != "vessel":
                # Told as something else for a turn: she keeps her role until she is past, or was something else.
                kept.n_else += 1
                if kept.n_else >= ELSE_TURNS:
                    del self._kept[contact.id]
                return
            kept.n_else = 0
            inside = _comes_inside(passing, keep_off)
            stage = kept.role.stand_on
            if kept.role.encounter.gives_way is False:
                stage = stand_on_stage(passing.tcpa_s - need_s, stage) if inside else stage
            kept.role = replace(kept.role, is_risk=inside and passing.tcpa_s > -5.0, stand_on=stage)
            kept.last_ns = time_ns
            return
        if contact.kind != "vessel" or contact.confidence < LEAST_CONFIDENCE or not is_sure(passing):
            return
        if not (0.0 < passing.tcpa_s <= MEET_S and _comes_inside(passing, keep_off)):
            return
        met = meeting_now(own, passing, sight)
        if met is not None:
            stage = stand_on_stage(passing.tcpa_s - need_s, None) if met.gives_way is False else None
            self._kept[contact.id] = _Kept(Role(met, time_ns, stage, True), time_ns, own.ahead_rad)

    def _meet_anew(self, own: OwnPlane, passing: Passing, sight: Sight) -> None:
        """Where we stood on and have turned since: what the rules ask on the new course, if it is more.

        By Rule 13(d) no change of bearing takes a duty away; no rule has our own turn keep one from us.
        """
        kept = self._kept.get(passing.contact.id)
        if kept is None or kept.role.stand_on != "17(a)(i)" or kept.role.encounter.meeting == "being overtaken":
            return
        if _within(own.ahead_rad, kept.course_rad, TURNED_RAD):
            return
        met = meeting_now(own, passing, sight)
        if met is not None and met.gives_way is not False:
            kept.role, kept.course_rad = replace(kept.role, encounter=met, stand_on=None), own.ahead_rad


def _within(first_rad: float | None, second_rad: float | None, limit_rad: float) -> bool:
    return first_rad is not None and second_rad is not None and abs(wrap_pi(first_rad - second_rad)) <= limit_rad


def is_sure(passing: Passing) -> bool:
    """Return whether a contact has been hit often enough to be called, or there is no time to wait."""
    soon = passing.tcpa_s is not None and 0.0 <= passing.tcpa_s <= NO_WAITING_S
    return soon or passing.contact.n_hits >= SURE_HITS


def meeting_now(own: OwnPlane, passing: Passing, sight: Sight) -> Encounter | None:
    """Return the one rule that holds for a vessel as she stands now; None: none does, or motion is not known."""
    ahead, contact = own.ahead_rad, passing.contact
    course = contact.course_rad
    if ahead is None or own.sog is None or course is None:
        return None
    if sight == "unsure":
        if contact.range_m > LIGHTS_SHOW_M:
            return None
        sight = "in sight"
    heading = own.heading_rad if own.heading_rad is not None else ahead
    said = encounters(sight, heading, own.sog, contact.bearing_rad, course, contact.speed, contact.nav_status)
    return said[0] if said else None


def _comes_inside(passing: Passing, keep_off: float) -> bool:
    assert passing.cpa_m is not None
    # The sure part of the doubt: a vessel that may come inside by half her sigma does.
    doubt = min(0.5 * (passing.cpa_sigma_m or 0.0), 0.25 * keep_off)
    return not math.isnan(passing.cpa_m) and passing.cpa_m - doubt < keep_off
