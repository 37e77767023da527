"""What is met, and how long there is to act: vessels, still things, and what the chart has ahead."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from moonless.boat.types import Boat
from moonless.chart.dangers.types import swept_m
from moonless.reading.collision.charted_dangers import Ahead
from moonless.reading.collision.held_against import HeldAgainst
from moonless.reading.collision.keep_off import keep_off_m
from moonless.reading.collision.roles import Role
from moonless.reading.collision.safe_speed import stop_distance, stopping_line_m
from moonless.reading.contact import Passing

About = Literal["vessel", "uncharted", "mark", "charted danger", "speed"]

# A helmsman takes so long over a turn.  Own figure.
TURN_S = 20.0
# Acted on so long before the manoeuvre must begin: "in ample time" (Rule 8(a), 16); the rules give no figure.
GIVE_WAY_S, STILL_S, DANGER_S = 150.0, 45.0, 40.0
NOW_S = 20.0
# Where her closest approach is less sure than what must be kept off (a channel, far ahead) no order is given while
# there is so much more time: it would come and go with the doubt.  Own figure, twice what the slowest order takes.
WAIT_S = 60.0
# What was acted on goes on being so until it is so much farther off the way than what brings an order: what lies at the
# very edge must not come and go with each turn.
WIDER = 1.5
# An order that would begin when she is all but past, and by so little too near, would change nothing.
LATE_S, HARDLY_INSIDE = 12.0, 0.8


@dataclass(frozen=True, slots=True)
class Threat:
    """One thing that is met, and how long there is to act."""

    key: str
    about: About
    act_in_s: float  # until our own manoeuvre must begin
    asks: Literal["act", "hold", "watch", "clear"]  # clear: kept off already, and not yet past
    contact: int | None = None
    danger: Ahead | None = None

    @property
    def urgency(self) -> int:
        """4 act now, 3 act soon, 2 know it, 1 in passing."""
        if self.asks != "act":
            return 2 if self.asks in ("hold", "watch") else 1
        return 4 if self.act_in_s <= NOW_S else 3


def need_s(boat: Boat, sog: float | None) -> float:
    """Return the time that the boat's own manoeuvre takes: to react, and to turn or to stop, whichever is shorter."""
    speed = sog or 0.0
    stop_s = 2.0 * float(stop_distance(speed, boat.stopping)) / speed if speed > 0.1 else 0.0
    return boat.skipper.react_s + min(TURN_S, max(stop_s, 5.0))


def threats_of(
    seen: HeldAgainst,
    roles: Mapping[int, Role],
    sure: frozenset[int],
    ahead: Sequence[Ahead],
    acted_on: Collection[str] = (),
    avoided: Collection[int] = (),
) -> list[Threat]:
    """Return what is met, soonest to act first.

    ``acted_on``: keys of what was acted on lately; ``avoided``: contacts that the route's next turn keeps off.
    """
    own, boat = seen.own, seen.boat
    need = need_s(boat, own.sog)
    out = []
    for passing in seen.passings:
        one = passing.contact
        if passing.cpa_m is None or passing.tcpa_s is None or one.confidence < 0.5 or one.id not in sure:
            continue
        if one.id in avoided:
            threat = _close_by(seen, passing, passing.tcpa_s - need)
        else:
            threat = _of_passing(seen, passing, roles.get(one.id), need, acted_on)
        if threat is not None:
            out.append(threat)
    speed = own.sog or 0.0
    swept = swept_m(boat, seen.position_sigma_m)
    for near in ahead:
        stops = near.in_way and near.danger.weight == "stops"
        acted = near.key in acted_on and near.danger.off_m <= WIDER * swept
        if not (stops or acted) or near.danger.kind in ("unsurveyed", "chart ends"):
            continue
        # The stopping line, not the middle of the boat, must stay short of it.
        margin = near.distance_m - stopping_line_m(speed, boat)
        act_in = margin / speed if speed > 0.3 else math.inf
        if act_in <= 2.0 * DANGER_S:
            asks: Literal["act", "watch"] = "act" if act_in <= DANGER_S else "watch"
            out.append(Threat(near.key, "charted danger", act_in, asks, None, near))
    return sorted(out, key=lambda t: t.act_in_s)


def _of_passing(
    seen: HeldAgainst, passing: Passing, role: Role | None, need: float, acted_on: Collection[str]
) -> Threat | None:
    one = passing.contact
    assert passing.cpa_m is not None and passing.tcpa_s is not None
    keep_off = seen.keep_off_of(one.id)
    act_in = passing.tcpa_s - need
    key = f"echo {one.id}"
    is_late = 0.0 <= passing.tcpa_s < LATE_S and passing.cpa_m > HARDLY_INSIDE * keep_off and key not in acted_on
    if role is not None:
        if not role.is_risk or is_late:
            return _close_by(seen, passing, act_in) or Threat(key, "vessel", math.inf, "clear", one.id)
        if role.encounter.gives_way is False:
            acts = role.stand_on != "17(a)(i)"
            return Threat(key, "vessel", act_in, "act" if acts else "hold", one.id)
        is_open = _is_open(passing, keep_off, act_in) and key not in acted_on
        return Threat(key, "vessel", act_in, "act" if act_in <= GIVE_WAY_S and not is_open else "watch", one.id)
    if key in acted_on and not one.moves:
        keep_off *= WIDER
    if not (passing.cpa_m < keep_off and passing.tcpa_s > 0.0):
        return _close_by(seen, passing, act_in)
    if one.kind == "vessel":
        # No rule names her role (she lies still, or is not in sight yet): she is kept off like any thing.
        act = act_in <= (GIVE_WAY_S if one.moves else STILL_S)
        return Threat(key, "vessel", act_in, "act" if act else "watch", one.id) if act_in <= 2 * GIVE_WAY_S else None
    about: About = "uncharted" if one.kind == "uncharted" else "mark"
    if one.kind not in ("uncharted", "charted") or act_in > 2.0 * STILL_S:
        return None
    return Threat(key, about, act_in, "act" if act_in <= STILL_S else "watch", one.id)


def _is_open(passing: Passing, keep_off: float, act_in: float) -> bool:
    """Return whether it cannot be told yet that she comes inside, and waiting costs nothing."""
    return act_in > WAIT_S and passing.cpa_sigma_m is not None and passing.cpa_sigma_m > keep_off


def _close_by(seen: HeldAgainst, passing: Passing, act_in: float) -> Threat | None:
    """Return what passes within the channel's keep-off of open water: to be known, and nothing to be done."""
    one = passing.contact
    assert passing.cpa_m is not None and passing.tcpa_s is not None
    if one.kind not in ("vessel", "uncharted") or not 0.0 < passing.tcpa_s <= 2.0 * GIVE_WAY_S:
        return None
    if passing.cpa_m >= keep_off_m(one, seen.boat, seen.own.sog):
        return None
    return Threat(f"echo {one.id}", "vessel" if one.kind == "vessel" else "uncharted", act_in, "watch", one.id)
