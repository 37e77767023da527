"""Collision, the fourth stage of a turn: what is met, what the chart has ahead, how fast, and what would clear.

contacts ─► closest approach ─► encounters by the rules ─┐
chart around ─► dangers in the corridor, sounder ────────┼─► manoeuvres that clear
view ─► the speed that goes with what is seen            ┘
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from moonless.boat.types import Boat
from moonless.reading.chart_around import Place, keep_outs_around
from moonless.reading.collision import charted_dangers
from moonless.reading.collision.clearing import Clearing, clearing_changes
from moonless.reading.collision.closest import passings_of
from moonless.reading.collision.encounter import meetings
from moonless.reading.collision.held_against import HeldAgainst
from moonless.reading.collision.safe_speed import NO_VIDEO, SafeSpeed, advise, stopping_line_m
from moonless.reading.contact import Contact, Passing
from moonless.reading.own import OwnPlane
from moonless.reading.registration.stage import Placed
from moonless.reading.visibility.seeing import RadarPerformance
from moonless.reading.visibility.stage import View
from moonless.rules.steering import Encounter

# The corridor of charted dangers looks this long ahead.
CORRIDOR_S = 120.0
# A boat that moves no faster has no way ahead.
WAY_SPEED = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Risks:
    """What a turn threatens, and what keeps clear of it."""

    passings: tuple[Passing, ...]
    encounters: Mapping[int, tuple[Encounter, ...]]  # by contact
    dangers: tuple[charted_dangers.Ahead, ...]  # charted, in the corridor ahead, nearest first
    sounder: charted_dangers.SounderCheck | None
    stopping_m: float | None
    speed: SafeSpeed
    clearing: Clearing | None  # the smallest changes that keep off what comes inside its keep-off


class CollisionStage:
    """Keeps the charted dangers laid out, and what a manoeuvre is tried against."""

    def __init__(self, boat: Boat, knowledge: Any = None) -> None:
        self._boat = boat
        self._knowledge = knowledge
        self._place: Place | None = None
        self._dangers: charted_dangers.Charted | None = None
        self.last_turn: HeldAgainst | None = None  # what a manoeuvre is tried against; None: withdrawn

    def begin_again(self) -> None:
        """Forget the last turn; the charted dangers stay laid out."""
        self.last_turn = None

    def withdraw(self, own: OwnPlane | None) -> float | None:
        """Say that this turn cannot be placed, and no manoeuvre be tried; return the stopping line, where known."""
        self.last_turn = None
        return None if own is None or own.sog is None else stopping_line_m(own.sog, self._boat)

    def weigh(self, placed: Placed, contacts: Sequence[Contact], view: View, performance: RadarPerformance) -> Risks:
        """Return what this turn threatens."""
        self._lay_out(placed)
        own, situation = placed.own, placed.situation
        passings = passings_of(own, contacts)
        self.last_turn = HeldAgainst(
            situation.time_ns, own, passings, self._boat, situation.sight, self._dangers, situation.tide_m,
            placed.position_sigma_m, view.raster,
        )  # fmt: skip
        return Risks(
            passings=passings,
            encounters=meetings(own, passings, situation.sight),
            dangers=self._ahead(placed, contacts),
            sounder=self._sounder(placed),
            stopping_m=None if own.sog is None else stopping_line_m(own.sog, self._boat),
            speed=(
                NO_VIDEO
                if situation.targets_only
                else advise(self._boat, view.seen_ahead_m, view.hidden_ahead, performance.is_shown)
            ),
            clearing=clearing_changes(self.last_turn),
        )

    def _lay_out(self, placed: Placed) -> None:
        """Lay the charted dangers out where the chart was laid out anew."""
        place = placed.place
        if place is self._place:
            return
        self._place, self._dangers = place, None
        if place is not None:
            middle = place.middle_east_m, place.middle_north_m
            keep_outs = keep_outs_around(self._knowledge, place.frame, *middle, place.radius_m)
            self._dangers = charted_dangers.lay_out_dangers(place.chart, keep_outs)

    def _ahead(self, placed: Placed, contacts: Sequence[Contact]) -> tuple[charted_dangers.Ahead, ...]:
        own, way = placed.own, placed.own.ahead_rad
        if self._dangers is None or way is None or own.sog is None or own.sog <= WAY_SPEED:
            return ()
        length = max(own.sog * CORRIDOR_S, stopping_line_m(own.sog, self._boat))
        half = 1.5 * self._boat.beam_m + 5.0
        tide, sigma = placed.situation.tide_m, placed.position_sigma_m
        # A mark that the radar shows is told as an echo.
        told = [contact.charted_as for contact in contacts if contact.charted_as is not None]
        shown = frozenset((one.object, str(one.cell), str(one.feature)) for one in told)
        return charted_dangers.ahead(self._dangers, self._boat, own, way, length, half, tide, sigma, shown)

    def _sounder(self, placed: Placed) -> charted_dangers.SounderCheck | None:
        if self._dangers is None:
            return None
        situation = placed.situation
        return charted_dangers.check_sounder(
            self._dangers, placed.own, situation.depth_below_surface_m, situation.tide_m, placed.position_sigma_m,
        )  # fmt: skip
