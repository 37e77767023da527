"""Registration, the first stage of a turn: the chart around the boat, and the boat where radar and chart agree.

reported pose + picture ─► chart laid out ─► expected ─► registrar ─► pose put right
range scale told wrong ─► the factor, by own motion and coast
receiver silent ─► carried on by heading and speed, pulled back by radar and chart
never known     ─► the wide search
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.radar.link.budget import Link, link_budget, scale_of
from moonless.radar.types import Weather
from moonless.reading.chart_around import Place, lay_out
from moonless.reading.expected import Model, Outlook, weather_of
from moonless.reading.own import OwnPlane, own_in_plane
from moonless.reading.registration.bearing_bias import BearingSearch
from moonless.reading.registration.matching import Expected
from moonless.reading.registration.observations import Sightings, sight
from moonless.reading.registration.radar_fix import GIVE_UP_SIGMA_M, GOOD_SIGMA_M, WALK_M, CarriedOn
from moonless.reading.registration.range_scale import RangeScale
from moonless.reading.registration.registrar import Agreement, Registrar
from moonless.reading.situation import Held, Situation
from moonless.track.correction import Correction

# How far the chart is laid out when no scan says how far the radar looks.
LOOK_M = 5556.0
# Where radar and chart have not been squared in so many turns, the bearing alone is looked for.
WIDE_AFTER_TURNS = 4
# A position that radar and chart confirmed within this is one by them, not by reckoning.
FIXED_LATELY_S = 8.0


@dataclass(frozen=True, slots=True)
class CarriedPlace:
    """The boat's place while the receiver says nothing."""

    own: OwnPlane
    sigma_m: float
    is_fixed: bool  # by radar and chart; else by heading and last speed alone
    heading_bias: float | None  # radians; None: not known


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A turn that is placed: the boat put right, the chart around her, and what should be seen from there."""

    situation: Situation
    own: OwnPlane  # put right
    agreement: Agreement
    place: Place | None  # None: no chart covers it
    outlook: Outlook | None  # None: no scan, no chart or no heading
    reach_m: float  # how far the radar looks
    link: Link  # of the range scale that reaches so far
    weather: Weather
    position_sigma_m: float
    carried: CarriedPlace | None = None  # given when the position is one that radar and chart carry on
    carried_age_s: float | None = None  # since radar and chart last confirmed it


@dataclass(frozen=True, slots=True, eq=False)
class Unplaced:
    """A turn whose picture, or own position, a fault withdraws."""

    situation: Situation
    own: OwnPlane | None  # as reported
    carried: CarriedPlace | None = None  # where radar and chart carry the boat on, too vaguely to rest a reading on


@dataclass(frozen=True, slots=True, eq=False)
class _Looked:
    """What should be seen from a place, and what is."""

    place: Place | None
    weather: Weather
    outlook: Outlook | None = None
    pairs: tuple[Sightings, Expected] | None = None  # None: no picture, nothing to hold against the chart


@dataclass(frozen=True, slots=True, eq=False)
class _Agreed:
    """One turn's registration, and what it was held against."""

    time_ns: int
    agreement: Agreement
    looked: _Looked


class RegistrationStage:
    """Keeps what radar and chart say of the reported pose from turn to turn."""

    def __init__(self, boat: Boat, chart: Chart | None = None) -> None:
        self._boat = boat
        self._chart = chart
        self._place: Place | None = None
        self._place_asked: tuple[object, ...] | None = None
        self.laid_out = 0  # stretches of chart laid out so far
        self.begin_again()

    def begin_again(self) -> None:
        """Forget what was learnt of the pose; the chart stays laid out."""
        self._registrar = Registrar(self._boat)
        self._bearing = BearingSearch(self._boat)
        self._range_scale = RangeScale()
        self._unknown_turns = 0
        self._model = Model(self._boat)
        self._carried: CarriedOn | None = None
        self._last_good: tuple[OwnPlane, int] | None = None
        self._agreed: _Agreed | None = None

    @property
    def range_factor(self) -> float | None:
        """By how much the scan's ranges are to be taken; None: as they are, as far as is known."""
        return self._range_scale.found

    def turned(self, by_rad: float) -> None:
        """Say that the radar's picture has been turned clockwise against the bow: what was found turns with it."""
        self._registrar.turned(by_rad)
        self._bearing = BearingSearch(self._boat)

    def hold_position(self, time_ns: int, heading_rad: float) -> Held | None:
        """Return the position as radar and chart carry it on, before a turn's echoes are placed; None: it cannot be."""
        if self._last_good is None or self._chart is None or time_ns < self._last_good[1]:
            return None
        if self._carried is None:
            self._carried = CarriedOn(self._boat, self._registrar.now, *self._last_good)
        self._carried.carry(time_ns, heading_rad, None)
        return self._carried.held()

    def agree(self, situation: Situation) -> tuple[Agreement, OwnPlane] | None:
        """Hold this turn's picture against the chart; return what was found and the boat put right; None: none."""
        reported = _reported(situation)
        if reported is None:
            return None
        agreement = self._agree(situation, reported).agreement
        return agreement, agreement.put_right(reported)

    def put_in_place(self, situation: Situation) -> Placed | Unplaced:
        """Return the turn with the boat put right, or what is left of it where a fault withdraws picture or place."""
        reported = _reported(situation)
        if reported is None:
            own = own_in_plane(situation)
            return Unplaced(situation, own, self._carry_on(situation) if own is None else None)
        held = self._carried if situation.held is not None else None
        agreed = self._agreed
        if agreed is None or agreed.time_ns != situation.time_ns:
            agreed = self._agree(situation, reported)
        self._agreed = None
        agreement = agreed.agreement
        own, carried = agreement.put_right(reported), None
        if held is not None:
            held.correct(agreement)
        else:
            self._last_good = (reported, situation.time_ns)
        if situation.held is not None:
            is_fixed = situation.held.age_s < FIXED_LATELY_S
            carried = CarriedPlace(own, agreement.position_sigma_m, is_fixed, None)
        reach = _reach_m(situation)
        return Placed(
            situation, own, agreement, agreed.looked.place, agreed.looked.outlook, reach,
            link_budget(self._boat.radar, scale_of(reach)), agreed.looked.weather,
            agreement.position_sigma_m if agreement.is_known else self._boat.position_sigma_m,
            carried, None if held is None else held.age_s,
        )  # fmt: skip

    def _place_for(self, own: OwnPlane, reach_m: float) -> Place | None:
        """Return the chart around the boat, laid out anew when she has come too far."""
        if self._chart is None:
            return None
        if self._place is not None and self._place.serves(own.frame, own.east_m, own.north_m, reach_m):
            return self._place
        asked = (own.frame, round(own.east_m, -2), round(own.north_m, -2), reach_m)
        if self._place is None and asked == self._place_asked:
            return None
        self._place_asked = asked
        self._place = lay_out(self._chart, own.frame, own.east_m, own.north_m, reach_m)
        self.laid_out += 1
        return self._place

    def _agree(self, situation: Situation, reported: OwnPlane) -> _Agreed:
        """Find the chart around the boat and make radar and chart agree there."""
        held = self._carried if situation.held is not None else None
        if held is None:
            self._back_from(self._carried)
            self._carried = None
        registrar = self._registrar if held is None else held.registrar
        agreement = registrar.now
        looked = self._look(situation, reported, agreement)
        if looked.pairs is not None and looked.place is not None:
            if held is None:
                self._look_at_range_scale(situation, looked.pairs[0], reported)
                agreement = registrar.update(situation.time_ns, *looked.pairs)
                if agreement.is_belied_by(situation.bearing_by_motion):
                    registrar.forget()
                    agreement = registrar.now
                agreement = self._look_wide(situation, reported, looked.place, looked.pairs, agreement)
            else:
                agreement = registrar.update(situation.time_ns, *looked.pairs, WALK_M, GOOD_SIGMA_M)
        if agreement.correction is None and self._bearing.correction is not None:
            # No picture this turn: what was found stands.
            last = self._bearing.correction
            stands = Correction.settled(last.state, last.covariance)
            agreement = replace(agreement, bearing=self._bearing.now, correction=stands)
        self._agreed = _Agreed(situation.time_ns, agreement, looked)
        return self._agreed

    def _look(
        self,
        situation: Situation,
        own: OwnPlane,
        agreement: Agreement,
        held_en: tuple[float, float] | None = None,
    ) -> _Looked:
        """Return what should be seen from about here, and what is; ``held_en``: the place while none is reported."""
        scan, picture, weather = situation.scan, situation.picture, weather_of(situation)
        reach = _reach_m(situation)
        place = self._place_for(own, reach)
        if place is None or scan is None or own.heading_rad is None:
            return _Looked(place, weather)
        outlook = self._model.look(agreement.put_right(own), place, reach, weather)
        pairs = None if picture is None else (sight(scan, picture, own.frame, held_en), _expected(place, outlook))
        return _Looked(place, weather, outlook, pairs)

    def _look_at_range_scale(self, situation: Situation, seen: Sightings, own: OwnPlane) -> None:
        """Ask own motion and coast whether the picture's metres are metres."""
        chart = self._chart
        if situation.scan is not None and chart is not None:
            self._range_scale.update(
                situation.scan, seen, own,
                lambda reach_m: lay_out(chart, own.frame, own.east_m, own.north_m, reach_m),
            )  # fmt: skip

    def _look_wide(
        self,
        situation: Situation,
        reported: OwnPlane,
        place: Place,
        pairs: tuple[Sightings, Expected],
        agreement: Agreement,
    ) -> Agreement:
        """Look further than the registrar does, while it has never known anything.

        Either the coast as a whole lies far off and fits closely there, and the registrar begins from it; or the bias
        of bearings alone is found.
        """
        if agreement.correction is not None:
            return agreement
        self._unknown_turns += 1
        if self._unknown_turns < WIDE_AFTER_TURNS:
            return agreement
        by_motion = situation.bearing_by_motion
        bearing = self._bearing.update(situation.time_ns, pairs[0], reported, place, situation.ais, by_motion)
        guess = self._bearing.whole_fix
        if guess is not None:
            begun = self._registrar.begin_from(situation.time_ns, *pairs, guess)
            if begun is not None:
                if not begun.is_belied_by(by_motion):
                    return begun
                self._registrar.forget()
        return replace(agreement, bearing=bearing, correction=self._bearing.correction)

    def _back_from(self, carried: CarriedOn | None) -> None:
        """Go on with what was learnt of the heading while the receiver was silent."""
        if carried is not None and carried.registrar.now.is_known:
            self._registrar.start_from(carried.registrar.now, carried.time_ns)

    def _carry_on(self, situation: Situation) -> CarriedPlace | None:
        """Go on finding the boat by radar and chart while the receiver is silent; None where that is lost too."""
        if self._last_good is None or any(f.what == "clock" for f in situation.faults):
            return None
        if self._carried is None:
            self._carried = CarriedOn(self._boat, self._registrar.now, *self._last_good)
        heading = situation.own.heading_true_rad
        if any(f.what == "heading" and f.state != "disagrees" for f in situation.faults):
            heading = None
        own = self._carried.carry(situation.time_ns, heading, situation.own.sog)
        registrar = self._carried.registrar
        agreement = registrar.coast(situation.time_ns, WALK_M)
        right = agreement.put_right(own)
        is_fixed = False
        if situation.scan is not None and situation.picture is not None and heading is not None:
            pairs = self._look(situation, own, agreement, (own.east_m, own.north_m)).pairs
            if pairs is not None:
                agreement = registrar.update(situation.time_ns, *pairs, WALK_M)
                is_fixed = agreement.n_used > 0
                right = agreement.put_right(own)
                self._carried.correct(agreement)
        if agreement.position_sigma_m > GIVE_UP_SIGMA_M:
            return None
        bias = agreement.heading_bias if agreement.is_known else None
        return CarriedPlace(right, agreement.position_sigma_m, is_fixed, bias)


def _reported(situation: Situation) -> OwnPlane | None:
    """Return the boat as reported; None where a fault withdraws the picture or the position."""
    if any(f.what == "radar" and f.state != "disagrees" for f in situation.faults):
        return None
    return own_in_plane(situation)


def _reach_m(situation: Situation) -> float:
    return LOOK_M if situation.scan is None else situation.scan.max_range_m


def _expected(place: Place, outlook: Outlook) -> Expected:
    """Return what the registration may hold on to: the edge of land, and the marks that should show by themselves."""
    fixed = np.flatnonzero((outlook.mark_p > 0.5) & ~outlook.mark_merged)
    sigma = np.hypot(place.mark_sigma_m[fixed], place.mark_swing_m[fixed])
    return Expected(outlook.edge, outlook.edge_normal, place.mark_en[fixed], sigma)
