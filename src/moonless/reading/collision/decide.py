"""One decision a moment: hold, turn, slow, stop or look, and why.

What threatens is put in order by the time left to act: until closest approach, less the time that the boat's own
manoeuvre takes.  The first that must be acted on decides; the manoeuvre chosen clears everything else as well, and the
chart.  Where none does, it is the one that leaves most of what must be kept off.  A manoeuvre that was told stays the
one told while it still does what it was for: a helmsman cannot steer by an order that changes with every turn.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from moonless.chart.dangers.types import Danger
from moonless.frames import wrap_180
from moonless.reading.collision.held_against import HeldAgainst
from moonless.reading.collision.roles import Role
from moonless.reading.collision.safe_speed import SafeSpeed
from moonless.reading.collision.threats import DANGER_S, Threat
from moonless.reading.collision.trial import HOLD_S, Mover, Tried, approach, needed_m, try_out, vector
from moonless.reading.line import Do
from moonless.rules.steering import Sight, turn_discouraged
from moonless.units import NS_PER_S, mps_to_kn

# Large enough to be readily apparent (Rule 8(b) gives no figure; common practice), up to square to the course.
TURNS_DEG = (30, 40, 50, 60, 75, 90)
SLOWINGS = (0.75, 0.5, 0.25, 0.0)
# A turn larger than this is more than is asked of a boat that can slow instead.
LARGE_TURN_DEG = 60
# What was acted on is remembered for so long though it is not seen meanwhile.
ACTED_S = 10.0
# No other order before the last one could be begun, unless that one leaves less than half of what must be kept off.
LEAST_ORDER_S, HARMFUL = 10.0, 0.5
# Slower than this, near what is charted, way is taken off before a turn is told: so one comes alongside.
BERTHING = 2.6
# An order told stands for so long while it does what it is for, though it keeps a little less off than is asked.
STANDS_S, STILL_GOOD = 120.0, 0.8
# A new best replaces the one told only where it keeps off so much more; where nothing clears all, a manoeuvre is told
# only where it leaves so much less risk than to go on does.
BETTER_BY = 1.3
# Where nothing clears all: a pass at this share of the keep-off is e times less of a risk than contact.  Own figure: a
# fifth of a quarter mile, a boat's turning circle and the doubt of a closest approach.
RISK_SHARE = 0.2
# What comes near later than this is met by a later decision; of one who must give way, half of her keep-off is left.
COUNTS_S, GIVES_WAY_SHARE = 300.0, 0.5
# In a channel both keep to their own starboard side (Rule 9(a)): of one met head-on who passes port to port already,
# her closest approach surer than what is kept off, our own manoeuvre leaves so much; she leaves the rest.  Own figure.
NARROW_SHARE = 2.0 / 3.0
# A new course has water for so long at the least; where it has less than it is to be held for, it is worth that share.
LEAST_WATER_S = 60.0
ON_COURSE_DEG, ON_SPEED_KN = 8.0, 1.0
OVER_SPEED_KN, OVER_AGAIN_KN = 1.0, 0.5
STOPPED_KN = 1.0


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do now, SI; ``threat``: what decides."""

    do: Do
    course_rad: float | None  # over ground, to turn to or to keep
    turn_deg: float  # positive to starboard; nought where no turn is told
    speed: float | None  # to slow to
    threat: Threat
    keeps_off_m: float | None  # of everything, once it is done; None: not reckoned
    clears: bool  # False: the best that is possible, and not enough
    role: Role | None
    keeps_right: bool = False  # in a channel, met head-on: Rule 9(a) is told with it
    ends: Danger | None = None  # what the chart has on the new course before what it is for is past


@dataclass(frozen=True, slots=True)
class _Order:
    do: Do
    course_rad: float
    speed: float
    key: str
    told_ns: int


@dataclass(frozen=True, slots=True)
class _Trial:
    """A manoeuvre tried."""

    tried: Tried
    share: float  # of what must be kept off, that it keeps, to 1
    risk: float  # of all passes together and of the water's end, 1: one contact
    ends: Danger | None = None  # the first that the chart has on it before what it is for is past


class Decider:
    """Keeps the order told from turn to turn."""

    def __init__(self) -> None:
        self._order: _Order | None = None
        self._acted_ns: dict[str, int] = {}
        self._was_over = False

    def acted_on(self, time_ns: int) -> frozenset[str]:
        """Return the keys of what was acted on until now or lately."""
        self._acted_ns = {k: ns for k, ns in self._acted_ns.items() if 0 <= time_ns - ns <= ACTED_S * NS_PER_S}
        return frozenset(self._acted_ns)

    def decide(
        self, seen: HeldAgainst, threats: Sequence[Threat], roles: Mapping[int, Role], advice: SafeSpeed
    ) -> Decision | None:
        """Return what to do now; None: nothing is asked."""
        way = seen.way
        if way is None:
            self._order = None
            return None
        acting = [t for t in threats if t.asks == "act"]
        self._acted_ns |= {t.key: seen.time_ns for t in acting}
        over = self._over_speed(way[1], advice)
        if acting:
            decision = self._act(seen, way, acting[0], roles, advice if over else None)
            narrow = _passing_in_channel(seen, way, seen.movers()[0], roles)
            return replace(decision, keeps_right=decision.threat.contact in narrow)
        kept = self._kept_on(seen, way, threats, roles)
        if kept is not None:
            return kept
        self._order = None
        holding = next((t for t in threats if t.asks == "hold"), None)
        if holding is not None:
            role = None if holding.contact is None else roles.get(holding.contact)
            return Decision("hold", way[0], 0.0, way[1], holding, None, True, role)
        if over and advice.speed is not None:
            do: Do = "stop" if mps_to_kn(advice.speed) < STOPPED_KN else "slow"
            threat = Threat("speed", "speed", 0.0, "act")
            return Decision(do, None, 0.0, advice.speed, threat, None, True, None)
        return None

    def _over_speed(self, sog: float, advice: SafeSpeed) -> bool:
        if advice.speed is None:
            self._was_over = False
            return False
        over = mps_to_kn(sog - advice.speed)
        self._was_over = over > OVER_SPEED_KN or (self._was_over and over > OVER_AGAIN_KN)
        return self._was_over

    def _act(
        self,
        seen: HeldAgainst,
        way: tuple[float, float],
        threat: Threat,
        roles: Mapping[int, Role],
        advice: SafeSpeed | None,
    ) -> Decision:
        role = None if threat.contact is None else roles.get(threat.contact)
        movers, _ = seen.movers()
        told = self._still_good(seen, way, movers, roles)
        duty = _is_duty(role)
        if duty and self._order is not None and self._order.do == "hold":
            told = None
        is_berthing = threat.about == "charted danger" and way[1] <= BERTHING
        found = _best(seen, way, movers, roles, advice, stop_first=is_berthing, duty=duty)
        best, share = found.tried, found.share
        order = self._order
        if order is not None and told is not None:
            is_new = seen.time_ns - order.told_ns < LEAST_ORDER_S * NS_PER_S
            if is_new and told.share >= HARMFUL:
                return self._as_told(way, order, told, threat, role)
            # To stop gives time, whatever comes of the doubt (Rule 8(e)): only what clears all takes its place.
            kept = order.do == "stop" or told.share * BETTER_BY >= share
            good = told.share >= STILL_GOOD or (share < 1.0 and kept)
            if good and seen.time_ns - order.told_ns <= STANDS_S * NS_PER_S:
                return self._as_told(way, order, told, threat, role)
        course, speed = way[0] + math.radians(best.turn_deg), best.speed
        do: Do = "turn" if best.turn_deg else "stop" if mps_to_kn(speed) < STOPPED_KN else "slow"
        if not best.turn_deg and speed >= way[1] - 1e-6:
            do = "hold"  # nothing that can be done keeps more off
            # Nobody is told to hold and to keep out of the way in one breath: that it is the best is said instead.
            role = None if duty else role
        self._order = _Order(do, course, speed, threat.key, seen.time_ns)
        is_new = do in ("turn", "slow")
        ends = found.ends if is_new else None
        return Decision(do, course, best.turn_deg, speed, threat, best.closest_m, share >= 1.0, role, ends=ends)

    def _as_told(
        self, way: tuple[float, float], order: _Order, told: _Trial, threat: Threat, role: Role | None
    ) -> Decision:
        turn = wrap_180(math.degrees(order.course_rad - way[0]))
        do = order.do
        if do == "turn" and abs(turn) <= ON_COURSE_DEG:
            do, turn = "hold", 0.0
        if do in ("slow", "stop") and mps_to_kn(way[1] - order.speed) <= ON_SPEED_KN:
            do = "hold"
        closest, ends = told.tried.closest_m, told.ends if do != "stop" else None
        return Decision(do, order.course_rad, turn, order.speed, threat, closest, told.share >= 1.0, role, ends=ends)

    def _still_good(
        self,
        seen: HeldAgainst,
        way: tuple[float, float],
        movers: Sequence[Mover],
        roles: Mapping[int, Role],
    ) -> _Trial | None:
        """Return the order told tried from where she is now; None: none."""
        order = self._order
        if order is None:
            return None
        if order.do == "hold":
            return _try(seen, way, 0.0, way[1], movers, roles, ask_chart=False)
        turn = wrap_180(math.degrees(order.course_rad - way[0])) if order.do == "turn" else 0.0
        speed = min(order.speed, way[1]) if order.do != "turn" else way[1]
        return _try(seen, way, turn, speed, movers, roles)

    def _kept_on(
        self, seen: HeldAgainst, way: tuple[float, float], threats: Sequence[Threat], roles: Mapping[int, Role]
    ) -> Decision | None:
        """Return to keep what was turned to until what it was for is past and clear; None: nothing is kept."""
        order = self._order
        if order is None or seen.time_ns - order.told_ns > 2 * STANDS_S * NS_PER_S:
            return None
        threat = next((t for t in threats if t.key == order.key), None)
        if threat is None or order.do == "hold":
            return None
        turn = wrap_180(math.degrees(order.course_rad - way[0]))
        if order.do == "turn" and abs(turn) > ON_COURSE_DEG:
            # She clears without the whole of it: what was told has been overtaken by what was done.
            return None
        if order.do in ("slow", "stop") and mps_to_kn(way[1] - order.speed) > ON_SPEED_KN:
            return None
        role = None if threat.contact is None else roles.get(threat.contact)
        return Decision("hold", way[0], 0.0, way[1], threat, None, True, role)


def _best(
    seen: HeldAgainst,
    way: tuple[float, float],
    movers: Sequence[Mover],
    roles: Mapping[int, Role],
    advice: SafeSpeed | None,
    *,
    stop_first: bool = False,
    duty: bool = False,
) -> _Trial:
    """Return the smallest manoeuvre that clears, or the one that leaves least risk, if that is much less than going on.

    ``duty``: a rule asks us to act, so that to go on as now is chosen only where all else does harm.
    """
    tries: list[tuple[float, float]] = []
    if advice is not None and advice.speed is not None:
        tries.append((0.0, min(advice.speed, way[1])))  # asked for anyway
    if stop_first:
        tries.append((0.0, 0.0))
    # Of the same size to starboard first: what the rules ask of most meetings.
    tries += [(side * size, way[1]) for size in TURNS_DEG if size <= LARGE_TURN_DEG for side in (1.0, -1.0)]
    tries += [(0.0, share * way[1]) for share in SLOWINGS]
    tries += [(side * size, way[1]) for size in TURNS_DEG if size > LARGE_TURN_DEG for side in (1.0, -1.0)]
    best: _Trial | None = None
    for turn, speed in tries:
        found = _try(seen, way, turn, speed, movers, roles)
        if found is None:
            continue
        if found.share >= 1.0:
            return found
        if best is None or found.risk < 0.95 * best.risk:
            best = found
    stay = _try(seen, way, 0.0, way[1], movers, roles, ask_chart=False)
    assert stay is not None
    # A turn that leaves nearly as much risk is one more thing to go wrong.
    if best is not None and (best.risk * BETTER_BY < stay.risk or not _goes_clear(seen, way)):
        return best
    if stay.share >= 1.0:
        return stay
    # Nothing keeps more off: less way on gives more time (Rule 8(e)), where it does no harm.
    stop = _try(seen, way, 0.0, 0.0, movers, roles, ask_chart=False)
    if stop is not None and stop.risk <= 1.1 * stay.risk:
        return stop
    # Rule 16, 8(e): keeping out of the way is a turn or less way, though going on would do a little better.
    return best if duty and best is not None and HARMFUL * best.risk <= stay.risk else stay


def _passing_in_channel(
    seen: HeldAgainst, way: tuple[float, float], movers: Sequence[Mover], roles: Mapping[int, Role]
) -> frozenset[int]:
    """Return those met head-on in a channel who pass port to port as things are, and surely so."""
    if not seen.in_channel:
        return frozenset()
    sigma = {p.contact.id: p.cpa_sigma_m for p in seen.passings}
    out = []
    for mover in movers:
        role, doubt = roles.get(mover.id), sigma.get(mover.id)
        if role is None or role.encounter.meeting != "head-on" or doubt is None or doubt > seen.keep_off_of(mover.id):
            continue
        place, relative = np.array(mover.position_en), np.array(mover.velocity_en) - np.array(vector(*way))
        miss = place - relative * (place @ relative) / max(float(relative @ relative), 1e-9)
        if miss @ np.array([math.cos(way[0]), -math.sin(way[0])]) < 0.0:  # on the port hand
            out.append(mover.id)
    return frozenset(out)


def _is_duty(role: Role | None) -> bool:
    """Return whether a rule asks us to act for her: to keep out of the way (13, 15, 18), or both of us (14, 19)."""
    return role is not None and role.encounter.gives_way is not False


def _goes_clear(seen: HeldAgainst, way: tuple[float, float]) -> bool:
    """Return whether the chart has nothing that refuses to go on as now, within the time of a manoeuvre."""
    return seen.refuses(way[0], way[1], 0.0, DANGER_S) is None


def _try(
    seen: HeldAgainst,
    way: tuple[float, float],
    turn_deg: float,
    speed: float,
    movers: Sequence[Mover],
    roles: Mapping[int, Role],
    *,
    ask_chart: bool = True,
) -> _Trial | None:
    """Return a manoeuvre tried; None where it is refused."""
    heading = seen.own.heading_rad if seen.own.heading_rad is not None else way[0]
    sight = "in sight" if seen.sight == "unsure" else seen.sight
    for mover in movers:
        role = roles.get(mover.id)
        if role is None or not turn_deg:
            continue
        bearing = math.atan2(*mover.position_en)
        by: Sight = "radar only" if role.encounter.meeting is None else "in sight"
        if turn_discouraged(by, math.radians(turn_deg), heading, bearing, role.encounter.meeting) is not None:
            return None

    keep_off = seen.boat.skipper.keep_off_m
    narrow = _passing_in_channel(seen, way, movers, roles)
    share = np.array([NARROW_SHARE if m.id in narrow else _share_of(roles.get(m.id)) for m in movers])
    need = (needed_m(movers, keep_off) * share).clip(min=1.0)
    after = vector(way[0] + math.radians(turn_deg), speed)
    gaps = approach(vector(*way), after, 0.0, movers)
    # Held until those are past that it is for, and no longer: what a bay has at its end is met by a later decision.
    now = approach(vector(*way), vector(*way), 0.0, movers)
    is_for = (now.distance_m < need) & (now.time_s <= COUNTS_S)
    held_s = float(np.clip(gaps.time_s[is_for], HOLD_S, COUNTS_S).max(initial=HOLD_S))
    tried = try_out(*way, turn_deg, speed, 0.0, movers, sight, None, keep_off)
    if tried.refused is not None:
        return None
    water, danger = 1.0, None
    if ask_chart and speed > 0.0:
        danger = seen.first_danger(way[0] + math.radians(turn_deg), speed, 0.0, held_s)
        if danger is not None:
            if danger.along_m < LEAST_WATER_S * speed:
                return None
            water = danger.along_m / (held_s * speed)
    if not movers:
        return _Trial(tried, min(1.0, water), 1.0 - min(1.0, water), danger)
    counts = gaps.time_s <= COUNTS_S
    kept = np.where(counts, gaps.distance_m / need, 1.0)
    # What is nearer than its keep-off already is as near as it is: here its whole keep-off is asked.
    asked = np.array([m.keep_off_m or keep_off for m in movers]) * share
    risk = np.where(counts, np.exp(-gaps.distance_m / (RISK_SHARE * asked.clip(min=1.0))), 0.0)
    return _Trial(tried, float(min(1.0, water, kept.min())), float(risk.sum() + 1.0 - min(1.0, water)), danger)


def _share_of(role: Role | None) -> float:
    """Return how much of her keep-off our own manoeuvre must leave: of one who gives way herself, half."""
    if role is not None and role.encounter.gives_way is False and role.stand_on == "17(a)(i)":
        return GIVES_WAY_SHARE
    return 1.0
