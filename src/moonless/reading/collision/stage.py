"""Collision, the fourth stage of a turn: what is met, what the chart has ahead, how fast, and what would clear.

contacts ─► closest approach ─► encounters by the rules ─┐
chart around ─► dangers in the corridor, sounder ────────┼─► manoeuvres that clear
view ─► the speed that goes with what is seen            ┘
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from moonless.boat.types import Boat
from moonless.chart.channels import Channels, lay_out_channels
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.reading.chart_around import Place, keep_outs_around
from moonless.reading.collision import charted_dangers
from moonless.reading.collision.clearing import Clearing, clearing_changes
from moonless.reading.collision.closest import passings_of
from moonless.reading.collision.decide import Decider, Decision
from moonless.reading.collision.held_against import HeldAgainst, KeptAsTold
from moonless.reading.collision.keep_off import PIER_M, STEERED_BY_M, keep_off_m, piers, room_m
from moonless.reading.collision.plan_ahead import LATE_M, PlanAhead, plan_ahead
from moonless.reading.collision.roles import Role, Roles, is_sure
from moonless.reading.collision.safe_speed import NO_VIDEO, SafeSpeed, advise, stopping_line_m
from moonless.reading.collision.threats import Threat, need_s, threats_of
from moonless.reading.collision.trial import Tried
from moonless.reading.contact import Contact, Passing
from moonless.reading.own import OwnPlane
from moonless.reading.registration.stage import Placed
from moonless.reading.visibility.seeing import RadarPerformance
from moonless.reading.visibility.stage import View

# The corridor of charted dangers looks this long ahead.
CORRIDOR_S = 120.0
# A boat that moves no faster has no way ahead.
WAY_SPEED = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Risks:
    """What a turn threatens, and what keeps clear of it."""

    passings: tuple[Passing, ...]
    roles: Mapping[int, Role]  # by contact, kept until past and clear
    threats: tuple[Threat, ...]  # soonest to act first
    decision: Decision | None
    dangers: tuple[charted_dangers.Ahead, ...]  # charted, in the corridor ahead, nearest first
    sounder: charted_dangers.SounderCheck | None
    stopping_m: float | None
    speed: SafeSpeed
    clearing: Clearing | None  # the smallest changes that keep off what comes inside its keep-off


class CollisionStage:
    """Keeps the charted dangers laid out, and what a manoeuvre is tried against."""

    def __init__(self, boat: Boat, knowledge: Knowledge | None = None) -> None:
        self._boat = boat
        self._knowledge = knowledge
        self._place: Place | None = None
        self._dangers: charted_dangers.Charted | None = None
        self._channels: Channels | None = None
        self.last_turn: HeldAgainst | None = None  # what a manoeuvre is tried against; None: withdrawn
        self._roles, self._decider, self._keys = Roles(), Decider(), charted_dangers.DangerKeys()
        self._as_told = KeptAsTold()

    def begin_again(self) -> None:
        """Forget the last turn, roles and orders; the charted dangers stay laid out."""
        self.last_turn = None
        self._roles, self._decider, self._keys = Roles(), Decider(), charted_dangers.DangerKeys()
        self._as_told = KeptAsTold()

    def withdraw(self, own: OwnPlane | None) -> float | None:
        """Say that this turn cannot be placed, and no manoeuvre be tried; return the stopping line, where known."""
        self.last_turn = None
        return None if own is None or own.sog is None else stopping_line_m(own.sog, self._boat)

    def weigh(self, placed: Placed, contacts: Sequence[Contact], view: View, performance: RadarPerformance) -> Risks:
        """Return what this turn threatens."""
        self._lay_out(placed)
        own, situation = placed.own, placed.situation
        told = passings_of(own, contacts)
        acted_on = self._decider.acted_on(situation.time_ns)
        passings = self._as_told.keep(told, acted_on)
        contacts = [passing.contact for passing in passings]
        room = room_m(view.raster, own.ahead_rad)
        plan = plan_ahead(own, situation.way)
        channel = None
        if self._channels is not None and own.ahead_rad is not None:
            channel = self._channels.width_m(own.east_m, own.north_m, own.ahead_rad)
        keep_off = {c.id: keep_off_m(c, self._boat, own.sog, room, channel) for c in contacts}
        if plan is not None:
            keep_off |= {c.id: STEERED_BY_M for c in contacts if c.kind == "charted" and plan.passes(*c.position_en)}
        keep_off |= dict.fromkeys(piers(contacts, placed.place), PIER_M)
        self.last_turn = turn = HeldAgainst(
            situation.time_ns, own, passings, self._boat, situation.sight, self._dangers, situation.tide_m,
            placed.position_sigma_m, view.raster, keep_off, channel is not None,
        )  # fmt: skip
        dangers = self._ahead(placed, contacts, plan)
        speed = (
            NO_VIDEO
            if situation.targets_only
            else advise(self._boat, view.seen_ahead_m, view.hidden_ahead, performance.is_shown)
        )
        need = need_s(self._boat, own.sog)
        roles = self._roles.update(situation.time_ns, own, told, situation.sight, keep_off, need)
        sure = frozenset(p.contact.id for p in passings if is_sure(p) and not self._left_behind(p, plan, own))
        avoided = frozenset(p.contact.id for p in passings if _avoided(p, plan, own, keep_off[p.contact.id]))
        threats = threats_of(turn, roles, sure, dangers, acted_on, avoided)
        decision = self._decider.decide(turn, threats, roles, speed)
        return Risks(
            passings=passings,
            roles=roles,
            threats=tuple(threats),
            decision=decision,
            dangers=dangers,
            sounder=self._sounder(placed),
            stopping_m=None if own.sog is None else stopping_line_m(own.sog, self._boat),
            speed=speed,
            clearing=_offered(turn, decision),
        )

    def _lay_out(self, placed: Placed) -> None:
        """Lay the charted dangers out where the chart was laid out anew."""
        place = placed.place
        if place is self._place:
            return
        self._place, self._dangers, self._channels = place, None, None
        if place is not None:
            middle = place.middle_east_m, place.middle_north_m
            keep_outs = keep_outs_around(self._knowledge, place.frame, *middle, place.radius_m)
            self._dangers = charted_dangers.lay_out_dangers(place.chart, keep_outs)
            self._channels = lay_out_channels(place.chart)

    def _ahead(
        self, placed: Placed, contacts: Sequence[Contact], plan: PlanAhead | None
    ) -> tuple[charted_dangers.Ahead, ...]:
        own, way = placed.own, placed.own.ahead_rad
        if self._dangers is None or way is None or own.sog is None or own.sog <= WAY_SPEED:
            return ()
        length = max(own.sog * CORRIDOR_S, stopping_line_m(own.sog, self._boat))
        if plan is not None:
            # What the next turn avoids is not ahead, unless the turn is missed.
            length = max(min(length, plan.to_turn_m + LATE_M), 2.0 * self._boat.length_m)
        half = 1.5 * self._boat.beam_m + 5.0
        tide, sigma = placed.situation.tide_m, placed.position_sigma_m
        # A mark that the radar shows is told as an echo.
        told = [contact.charted_as for contact in contacts if contact.charted_as is not None]
        shown = frozenset((one.object, str(one.cell), str(one.feature)) for one in told)
        found = charted_dangers.ahead(self._dangers, self._boat, own, way, length, half, tide, sigma, shown)
        return self._keys.name(own, placed.situation.time_ns, found)

    def _left_behind(self, passing: Passing, plan: PlanAhead | None, own: OwnPlane) -> bool:
        """Return whether the route's next turn leaves a still thing as far off as in open water: not worth a word."""
        return _avoided(passing, plan, own, keep_off_m(passing.contact, self._boat, own.sog))

    def _sounder(self, placed: Placed) -> charted_dangers.SounderCheck | None:
        if self._dangers is None:
            return None
        situation = placed.situation
        return charted_dangers.check_sounder(
            self._dangers, placed.own, situation.depth_below_surface_m, situation.tide_m, placed.position_sigma_m,
        )  # fmt: skip


def _avoided(passing: Passing, plan: PlanAhead | None, own: OwnPlane, keep_off: float) -> bool:
    """Return whether the route's next turn keeps off a still thing that the bow points at."""
    contact, ahead = passing.contact, own.ahead_rad
    if plan is None or contact.moves or ahead is None:
        return False
    return plan.avoids(*contact.position_en, keep_off, ahead, own)


def _offered(turn: HeldAgainst, decision: Decision | None) -> Clearing | None:
    """Return the changes offered: none beside an order to hold, and the order's own in the place of its kind."""
    if decision is None or decision.do not in ("turn", "slow", "stop"):
        return None
    offered = clearing_changes(turn)
    if offered is None or decision.keeps_off_m is None or decision.speed is None:
        return offered
    own = Tried(decision.turn_deg, decision.speed, 0.0, decision.keeps_off_m, decision.threat.contact, None)
    if decision.do == "turn":
        return replace(offered, turn=own)
    return replace(offered, turn=None, slow=own)
