"""The judge: one situation in, one reading out.

The order of work: find the boat and the chart around her, make radar and chart agree, ask what should be seen from
there, explain the echoes, see what is missing and what is hidden, say how far is seen and how fast that lets her go,
and choose what is worth saying.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.constants import TAU
from moonless.echo.types import EchoPicture
from moonless.frames import wrap_360
from moonless.radar.link.budget import link_budget
from moonless.radar.link.detection import clutter_weight
from moonless.radar.types import Weather
from moonless.reading import geojson
from moonless.reading.alerts import candidates
from moonless.reading.alerts.schedule import Caller, Matter
from moonless.reading.chart_around import Place, keep_outs_around, known_around, lay_out
from moonless.reading.collision import charted_dangers
from moonless.reading.collision.manoeuvre import Seen, smallest, try_manoeuvre
from moonless.reading.collision.safe_speed import advise, stopping_line_m
from moonless.reading.collision.trial_types import Trial
from moonless.reading.identify.evidence import (
    Evidence,
    clutter_where,
    gather,
    levels,
    pieces_of_shore,
    sea_beside,
    strongest_at,
)
from moonless.reading.identify.explain import Explained, explain
from moonless.reading.identify.history import History
from moonless.reading.identify.mark_watch import Lookout
from moonless.reading.identify.motion import Motion
from moonless.reading.identify.performance import Performance
from moonless.reading.identify.reported import PoseSigma, worth_telling
from moonless.reading.own import OwnPlane, own_in_plane
from moonless.reading.publish import meetings, relative_covariance, tell
from moonless.reading.registration.bearing_bias import BearingSearch
from moonless.reading.registration.observations import Sightings, sight
from moonless.reading.registration.radar_fix import GIVE_UP_SIGMA_M, GOOD_SIGMA_M, WALK_M, CarriedOn
from moonless.reading.registration.registrar import Agreement, Expected, Registrar
from moonless.reading.situation import Held, Situation
from moonless.reading.types import Call, Echo, Missing, Own, Reading, Registration, Seeing, SpeedAdvice
from moonless.reading.visibility import hidden_boats, hidden_water
from moonless.reading.visibility.expected import Model, Outlook
from moonless.reading.visibility.opening import Opening, next_opening
from moonless.reading.visibility.raster import Waters
from moonless.reading.visibility.seeing import CROSS_SECTIONS_M2, Curve, clutter_at, curve_for, scale_of, seeing_line
from moonless.reading.visibility.sight_lines import N_BEARINGS, bearing_index
from moonless.scan.types import Scan
from moonless.track.correction import Correction
from moonless.units import NS_PER_S, mps_to_kn

Floats = NDArray[np.float64]

# How far the chart is laid out when no scan says how far the radar looks.
LOOK_M = 5556.0
# After a silence this long, or when time goes back, what was remembered is not of this run.
BREAK_S = 120.0
# Half the width of the way ahead whose seeing line limits the speed.
WAY_RAD = math.radians(6.0)
# The keep-off corridor looks this long ahead.
CORRIDOR_S = 120.0
# What the floor of plain noise may come out at, linear, half a decibel of estimation error included.
NOISE_MARGIN = 1.12
# Less of the picture than this with a floor learnt: nothing can be said of how far things are seen.
RECEIVED_SHARE = 0.5
# A position that radar and chart confirmed within this is one by them, not by reckoning.
FIXED_LATELY_S = 8.0
# Where radar and chart have not been squared in so many turns, the bearing alone is looked for.
WIDE_AFTER_TURNS = 4
NOTHING_KNOWN = Registration(None, None, None, None, None)


@dataclass(frozen=True, slots=True, eq=False)
class _Agreed:
    """One turn's registration, and what it was held against."""

    time_ns: int
    agreement: Agreement
    place: Place | None
    outlook: Outlook | None


class Judge:
    """Turns situations into readings, one each turn, remembering what it must between them."""

    def __init__(self, boat: Boat, chart: Any = None, knowledge: Any = None) -> None:
        self._boat = boat
        self._chart = chart
        self._knowledge = knowledge
        self._place: Place | None = None
        self._dangers: charted_dangers.Charted | None = None
        self._place_asked: tuple[Any, ...] | None = None
        self.laid_out = 0  # stretches of chart laid out so far
        self._flats = hidden_boats.Flats()
        self._caller = Caller()
        self._start_anew()

    def _start_anew(self) -> None:
        self._registrar = Registrar(self._boat)
        self._bearing = BearingSearch(self._boat)
        self._unknown_turns = 0
        self._model = Model(self._boat)
        self._history = History()
        self._motion = Motion()
        self._lookout = Lookout(self._boat)
        self._performance = Performance(self._boat.radar)
        self._last_ns: int | None = None
        self._seen: Seen | None = None  # what a manoeuvre is tried against; None: withdrawn
        self._was_over_speed = False
        self._opening: Opening | None = None
        self._opening_ns = 0
        self._carried: CarriedOn | None = None
        self._last_good: tuple[OwnPlane, int] | None = None
        self._agreed: _Agreed | None = None

    def acknowledge(self, call: Call) -> None:
        """Say no more of what a call told until it becomes more urgent."""
        self._caller.acknowledge(call)

    def hold_position(self, time_ns: int, heading_rad: float) -> Held | None:
        """Return the position as radar and chart carry it on, before a turn's echoes are placed; None: it cannot be.

        Ask it once a turn, while the receiver is silent, and give the answer back in `Situation` where it is good.
        """
        if self._last_good is None or self._chart is None or time_ns < self._last_good[1]:
            return None
        if self._carried is None:
            self._carried = CarriedOn(self._boat, self._registrar.now, *self._last_good)
        self._carried.carry(time_ns, heading_rad, None)
        return self._carried.held()

    def agree(self, situation: Situation) -> Agreement | None:
        """Hold this turn's picture against the chart, before its plots are tracked; None: nothing can be placed.

        What it knows (`Agreement.correction`) is to be taken out of the plots.  Give the same situation, with the
        tracks, to `read` after it.
        """
        reported = self._begin(situation)
        return None if reported is None else self._agree(situation, reported).agreement

    def _begin(self, situation: Situation) -> OwnPlane | None:
        """Return the boat as reported; None where a fault withdraws the picture or the position."""
        if self._last_ns is not None and not 0 <= situation.time_ns - self._last_ns <= BREAK_S * NS_PER_S:
            self._start_anew()
        self._last_ns = situation.time_ns
        if any(f.what == "radar" and f.state != "disagrees" for f in situation.faults):
            return None
        return own_in_plane(situation)

    def read(self, situation: Situation) -> Reading:
        """Return what the skipper is told about this turn.  The tracks stand in the true frame (`agree`)."""
        reported = self._begin(situation)
        if reported is None:
            return self._withdrawn(situation, own_in_plane(situation))
        scan, picture = situation.scan, situation.picture
        reach = scan.max_range_m if scan is not None else LOOK_M
        weather = _weather(situation)
        held = self._carried if situation.held is not None else None
        agreed = self._agreed
        if agreed is None or agreed.time_ns != situation.time_ns:
            agreed = self._agree(situation, reported)
        self._agreed = None
        agreement, place, outlook = agreed.agreement, agreed.place, agreed.outlook
        own = agreement.put_right(reported)
        if held is not None:
            held.correct(agreement)
        else:
            self._last_good = (reported, situation.time_ns)
        pulse_m = scan.errors.pulse_m if scan is not None else link_budget(self._boat.radar, scale_of(reach)).pulse_m
        curve = curve_for(self._boat.radar, reach, self._boat.skipper.smallest_height_m, weather.wave_height_m)
        evidence, explained = self._explain(situation, own, agreement, place, outlook, curve)
        missing: tuple[Missing, ...] = ()
        if outlook is not None and place is not None and scan is not None and picture is not None:
            missing = self._look(own, agreement, place, outlook, evidence, explained, scan, picture)
        water = None
        if place is not None and own.heading_rad is not None:
            water = hidden_water.fill(
                self._boat, own, place, reach, evidence, explained,
                None if outlook is None else outlook.shadow_height_m, curve, self._performance.offset_db, scan, picture,
                pulse_m,
            )  # fmt: skip
        line = self._seeing_line(situation, own, curve)
        echoes = tell(own, evidence, explained, place)
        stopping = None if own.sog is None else stopping_line_m(own.sog, self._boat)
        advice = self._advise(own, line, water, situation.tide_m)
        registration = _registration(agreement, situation.held is not None)
        self._seen = Seen(
            situation.time_ns, own, echoes, relative_covariance(evidence), self._boat, situation.sight, self._dangers,
            situation.tide_m, self._sigma_m(agreement), water,
        )  # fmt: skip
        calls = self._calls(
            situation, own, place, echoes, missing, agreement, registration, advice, water, reach, stopping
        )
        return Reading(
            time_ns=situation.time_ns,
            own=_own(situation, own, agreement, None if held is None else held.age_s),
            echoes=echoes,
            missing=missing,
            hidden=None if water is None else hidden_water.polygons(own, water, reach),
            seeing=self._seeing(situation, own, curve),
            seeing_line=None if line is None else _line_polygon(own, _cut(line, water, reach)),
            stopping_m=stopping,
            registration=registration,
            speed=advice,
            faults=situation.faults,
            calls=calls,
            performance_db=None if situation.scan is None else self._performance.offset_db,
            performance_sigma_db=None if situation.scan is None else self._performance.sigma_db,
            manoeuvres=smallest(self._seen),
        )

    def try_manoeuvre(self, course_rad: float | None, speed: float | None, delay_s: float = 0.0) -> Trial | str:
        """Return what a course (true, over ground) or speed would bring, against the last turn; None: as now.

        A sentence where none can be tried.
        """
        if self._seen is None:
            return "No trial: own position, course or speed is not known."
        return try_manoeuvre(self._seen, course_rad, speed, delay_s)

    def _sigma_m(self, agreement: Agreement) -> float:
        return agreement.position_sigma_m if agreement.is_known else self._boat.position_sigma_m

    def turned(self, by_rad: float) -> None:
        """Say that the radar's picture has been turned clockwise against the bow: what was found turns with it."""
        self._registrar.turned(by_rad)
        self._bearing = BearingSearch(self._boat)

    # -- the parts, in order --------------------------------------------------------------------------------------

    def _place_for(self, own: OwnPlane, reach_m: float) -> Place | None:
        if self._chart is None:
            return None
        if self._place is not None and self._place.serves(own.frame, own.east_m, own.north_m, reach_m):
            return self._place
        asked = (own.frame, round(own.east_m, -2), round(own.north_m, -2), reach_m)
        if self._place is None and asked == self._place_asked:
            return None
        self._place_asked = asked
        self._place = lay_out(self._chart, own.frame, own.east_m, own.north_m, reach_m)
        self._dangers = (
            None
            if self._place is None
            else charted_dangers.lay_out_dangers(
                self._place.chart,
                keep_outs_around(self._knowledge, own.frame, own.east_m, own.north_m, self._place.radius_m),
            )
        )
        self._history.forget()
        self.laid_out += 1
        return self._place

    def _agree(self, situation: Situation, reported: OwnPlane) -> _Agreed:
        """Find the chart around the boat and make radar and chart agree there."""
        scan, picture = situation.scan, situation.picture
        reach = scan.max_range_m if scan is not None else LOOK_M
        place, outlook = self._place_for(reported, reach), None
        held = self._carried if situation.held is not None else None
        if held is None:
            self._back_from(self._carried)
            self._carried = None
        registrar = self._registrar if held is None else held.registrar
        agreement = registrar.now
        if place is not None and scan is not None and reported.heading_rad is not None:
            outlook = self._model.look(agreement.put_right(reported), place, reach, _weather(situation))
            if picture is not None:
                seen = sight(scan, picture, reported.frame)
                expected = _expected(place, outlook)
                if held is None:
                    agreement = registrar.update(situation.time_ns, seen, expected)
                    agreement = self._look_wide(situation, reported, place, seen, expected, agreement)
                else:
                    agreement = registrar.update(situation.time_ns, seen, expected, WALK_M, GOOD_SIGMA_M)
        if agreement.correction is None and self._bearing.correction is not None:
            # No picture this turn: what was found stands.
            last = self._bearing.correction
            stands = Correction.settled(last.state, last.covariance)
            agreement = replace(agreement, bearing=self._bearing.now, correction=stands)
        if agreement.correction is not None and agreement.correction.is_anew:
            # Where tracks were by the old registration is no word on whether they have moved.
            self._motion = Motion()
        self._agreed = _Agreed(situation.time_ns, agreement, place, outlook)
        return self._agreed

    def _look_wide(
        self,
        situation: Situation,
        reported: OwnPlane,
        place: Place,
        seen: Sightings,
        expected: Expected,
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
        bearing = self._bearing.update(situation.time_ns, seen, reported, place, situation.ais)
        guess = self._bearing.whole_fix
        if guess is not None:
            begun = self._registrar.begin_from(situation.time_ns, seen, expected, guess)
            if begun is not None:
                return begun
        return replace(agreement, bearing=bearing, correction=self._bearing.correction)

    def _back_from(self, carried: CarriedOn | None) -> None:
        """Go on with what was learnt of the heading while the receiver was silent."""
        if carried is not None and carried.registrar.now.is_known:
            self._registrar.start_from(carried.registrar.now, carried.time_ns)

    def _explain(
        self,
        situation: Situation,
        own: OwnPlane,
        agreement: Agreement,
        place: Place | None,
        outlook: Outlook | None,
        curve: Curve,
    ) -> tuple[Evidence, list[Explained]]:
        reach = situation.scan.max_range_m if situation.scan is not None else LOOK_M
        tracks = (
            ()
            if own.heading_rad is None
            else worth_telling(
                situation.tracks,
                own,
                self._boat.radar.min_range_m,
                math.inf if situation.scan is None else reach,
                self._boat.radar.beam_horizontal_rad,
                link_budget(self._boat.radar, scale_of(reach)).pulse_m,
                PoseSigma(
                    math.hypot(self._boat.position_sigma_m, self._boat.radar.range_sigma_m),
                    math.hypot(self._boat.heading_sigma_rad, self._boat.radar.azimuth_sigma_rad),
                ),
                situation.picture is not None and situation.picture.is_cut,
            )
        )
        pose = PoseSigma(self._boat.position_sigma_m, self._boat.heading_sigma_rad)
        if agreement.is_known:
            pose = PoseSigma(agreement.position_sigma_m, agreement.heading_sigma)
        elif agreement.bearing is not None:
            pose = PoseSigma(self._boat.position_sigma_m, agreement.bearing.sigma)
        moved = np.array([(t.east_m, t.north_m) for t in tracks]).reshape(-1, 2)
        rough = level = ring = None
        if situation.scan is not None and situation.picture is not None:
            rough = clutter_where(moved, own, situation.scan, situation.picture)
            level = levels(tracks, rough, situation.picture)
            ring = strongest_at(moved, own, situation.scan, situation.picture)
            rough = np.fmin(rough, sea_beside(moved, own, situation.scan, situation.picture))
        ids = np.array([t.id for t in tracks], dtype=np.int64)
        tracked = np.array([t.p_moving for t in tracks])
        fresh = np.array([t.last_plot is not None or t.misses_in_a_row == 0 for t in tracks], dtype=np.bool_)
        away = np.hypot(moved[:, 0] - own.east_m, moved[:, 1] - own.north_m)
        sigma = 4.0 + 0.15 * self._boat.radar.beam_horizontal_rad * away
        self._motion.enter(own.frame)
        moves = self._motion.p_moving(situation.time_ns, ids, moved, sigma, tracked, fresh)
        roamed = self._motion.roamed_m(ids)
        known = known_around(self._knowledge, own.frame, own.east_m, own.north_m, reach)
        # Where the receiver's scale is not known no strength tells what a thing is.
        is_scaled = situation.picture is None or situation.picture.db_per_count is not None
        scale = curve if is_scaled else None
        of_shore = None if situation.picture is None else pieces_of_shore(tracks, situation.picture)
        evidence = gather(
            tracks, own, place, self._boat, pose, moved, known, rough, moves, scale, level, roamed, ring, of_shore
        )
        p = None if outlook is None else np.nan_to_num(outlook.mark_p, nan=0.0)
        gone = None if place is None else self._lookout.gone(place)
        mark_db = None if outlook is None else self._performance.strength_db(outlook.mark_snr)
        explained = self._history.pool(evidence.ids, explain(evidence, place, p, gone, mark_db), fresh)
        return evidence, explained

    def _look(
        self,
        own: OwnPlane,
        agreement: Agreement,
        place: Place,
        outlook: Outlook,
        evidence: Evidence,
        explained: list[Explained],
        scan: Scan,
        picture: EchoPicture,
    ) -> tuple[Missing, ...]:
        """Look for the marks, learn the radar's performance from them, and return those missing."""
        plots = picture.plots
        east, north = own.frame.to_plane(plots.own_lat_deg, plots.own_lon_deg)
        bearing = plots.azimuth_rel_rad + plots.heading_true_rad
        rel = np.column_stack([plots.range_m * np.sin(bearing), plots.range_m * np.cos(bearing)])
        places = agreement.place(rel, np.column_stack([np.atleast_1d(east), np.atleast_1d(north)]).reshape(-1, 2))
        sigma_m = self._sigma_m(agreement)
        sound = np.isfinite(places).all(axis=1)
        sigma = np.column_stack([plots.range_sigma_m, plots.range_m * plots.azimuth_sigma_rad])
        scale = scale_of(scan.max_range_m)
        hits = link_budget(self._boat.radar, scale).hits
        # The model knows no shower; the picture does.
        rough_db = clutter_where(place.mark_en, own, scan, picture)
        rough = np.maximum(10.0 ** (np.nan_to_num(rough_db, nan=0.0) / 10.0) - NOISE_MARGIN, 0.0)
        tonight = self._performance.p_detect(outlook.mark_snr / (1.0 + clutter_weight(hits) * rough), hits)
        looked = self._lookout.look(own, place, outlook, places[sound], sigma[sound], scan, picture, tonight, sigma_m)
        gone = self._lookout.gone(place)
        self._performance.take_in(place, outlook, looked, gone, evidence, explained, picture, scale, scan.n_spoke)
        return self._lookout.missing(place, looked, own, explained)

    def _seeing_line(self, situation: Situation, own: OwnPlane, curve: Curve) -> Floats | None:
        """Return the seeing line on each true bearing, before land cuts it; None without a picture."""
        scan, picture = situation.scan, situation.picture
        if scan is None or picture is None or own.heading_rad is None:
            return None
        clutter = clutter_at(
            picture.clutter_db, scan.first_cell_m, scan.cell_m, own.heading_rad, curve.range_m, N_BEARINGS
        )
        skipper = self._boat.skipper
        return seeing_line(
            curve, skipper.smallest_rcs_m2, self._performance.cautious_db, clutter, self._boat.radar.min_range_m
        )

    def _seeing(self, situation: Situation, own: OwnPlane, curve: Curve) -> tuple[Seeing, ...]:
        """Return how far each size is held; none where nothing was received or it cannot be laid out."""
        picture = situation.picture
        if situation.scan is None or picture is None or own.heading_rad is None:
            return ()
        if not np.isfinite(picture.clutter_db).mean() > RECEIVED_SHARE:
            return ()
        least = self._boat.radar.min_range_m
        return tuple(Seeing(s, curve.held_to_m(s, self._performance.cautious_db, least)) for s in CROSS_SECTIONS_M2)

    def _advise(self, own: OwnPlane, line: Floats | None, water: Waters | None, tide_m: float | None) -> SpeedAdvice:
        way = own.ahead_rad
        seen = None
        if line is not None and way is not None:
            middle, span = bearing_index(way), round(WAY_RAD / TAU * N_BEARINGS)
            seen = float(np.median(line[(middle + np.arange(-span, span + 1)) % N_BEARINGS]))
        if water is None or self._place is None:
            return advise(self._boat, seen, [], self._performance.is_shown)
        flats = self._flats.mask(self._place, tide_m, own, water)
        return advise(self._boat, seen, hidden_boats.ahead(own, water, flats), self._performance.is_shown)

    def _calls(
        self,
        situation: Situation,
        own: OwnPlane,
        place: Place | None,
        echoes: tuple[Echo, ...],
        missing: tuple[Missing, ...],
        agreement: Agreement,
        registration: Registration,
        advice: SpeedAdvice,
        water: Waters | None,
        reach: float,
        stopping: float | None,
    ) -> tuple[Call, ...]:
        wheel = candidates.Wheel(own, self._boat)
        found: list[Matter] = candidates.of_faults(situation.faults, situation.held is not None)
        if situation.held is not None:
            found += candidates.of_fix(own, agreement.position_sigma_m, situation.held.age_s < FIXED_LATELY_S)
        found += candidates.of_echoes(wheel, echoes, meetings(own, echoes, situation.sight))
        found += candidates.of_missing(wheel, missing)
        over, self._was_over_speed = candidates.of_speed(own, advice, self._was_over_speed)
        found += over
        found += candidates.of_agreement(agreement, self._boat, registration.agrees)
        found += candidates.of_performance(self._performance.fall_db, self._performance.sigma_db)
        if place is not None and water is not None:
            # What opens is looked for every few seconds: it changes slowly, and costs a dozen sweeps.
            if not 0 <= situation.time_ns - self._opening_ns < 5 * NS_PER_S:
                way = _way(situation, own)
                self._opening = next_opening(place.land_edges, own, water.intervals(), min(reach, 4000.0), way)
                self._opening_ns = situation.time_ns
            found += candidates.of_opening(wheel, self._opening, stopping)
        if self._dangers is not None:
            found += self._keep_off(situation, own, wheel, agreement, echoes)
        return self._caller.choose(situation.time_ns, found)

    def _keep_off(
        self,
        situation: Situation,
        own: OwnPlane,
        wheel: candidates.Wheel,
        agreement: Agreement,
        echoes: tuple[Echo, ...],
    ) -> list[Matter]:
        assert self._dangers is not None
        found: list[Matter] = []
        sigma = self._sigma_m(agreement)
        way = own.ahead_rad
        if way is not None and own.sog is not None and own.sog > 0.5:
            length = max(own.sog * CORRIDOR_S, stopping_line_m(own.sog, self._boat))
            half = 1.5 * self._boat.beam_m + 5.0
            told = [echo.charted_as for echo in echoes if echo.charted_as is not None]
            shown = frozenset((str(one.cell), str(one.feature)) for one in told)
            ahead = charted_dangers.ahead(
                self._dangers, self._boat, own, way, length, half, situation.tide_m, sigma, shown
            )
            found += candidates.of_dangers(wheel, ahead, way, situation.tide_m)
        check = charted_dangers.check_sounder(
            self._dangers, own, situation.depth_below_surface_m, situation.tide_m, sigma
        )
        return found + candidates.of_sounder(check)

    def _withdrawn(self, situation: Situation, own: OwnPlane | None) -> Reading:
        found = candidates.of_faults(situation.faults)
        registration = NOTHING_KNOWN
        self._seen = None
        if own is None:
            registration, said = self._carry_on(situation)
            found += said
        return Reading(
            time_ns=situation.time_ns,
            own=_own(situation, own),
            echoes=(),
            missing=(),
            hidden=None,
            seeing=(),
            seeing_line=None,
            stopping_m=stopping_line_m(own.sog, self._boat) if own is not None and own.sog is not None else None,
            registration=registration,
            speed=SpeedAdvice(None, "The radar picture or own position is withdrawn, so no speed can be said."),
            faults=situation.faults,
            calls=self._caller.choose(situation.time_ns, found),
        )

    def _carry_on(self, situation: Situation) -> tuple[Registration, list[Matter]]:
        """Go on finding the boat by radar and chart while the receiver is silent; say so, with the sigma."""
        if self._last_good is None or any(f.what == "clock" for f in situation.faults):
            return NOTHING_KNOWN, []
        if self._carried is None:
            self._carried = CarriedOn(self._boat, self._registrar.now, *self._last_good)
        heading = situation.own.heading_true_rad
        if any(f.what == "heading" and f.state != "disagrees" for f in situation.faults):
            heading = None
        own = self._carried.carry(situation.time_ns, heading, situation.own.sog)
        registrar = self._carried.registrar
        agreement = registrar.coast(situation.time_ns, WALK_M)
        right = agreement.put_right(own)
        scan, picture = situation.scan, situation.picture
        is_fixed = False
        if scan is not None and picture is not None and heading is not None:
            place = self._place_for(own, scan.max_range_m)
            if place is not None:
                outlook = self._model.look(agreement.put_right(own), place, scan.max_range_m, _weather(situation))
                seen = sight(scan, picture, own.frame, (own.east_m, own.north_m))
                agreement = registrar.update(situation.time_ns, seen, _expected(place, outlook), WALK_M)
                is_fixed = agreement.n_used > 0
                right = agreement.put_right(own)
                self._carried.correct(agreement)
        sigma = agreement.position_sigma_m
        if sigma > GIVE_UP_SIGMA_M:
            return NOTHING_KNOWN, []
        bias = math.degrees(agreement.heading_bias) if agreement.is_known else None
        return Registration(bias, None, None, sigma, None), candidates.of_fix(right, sigma, is_fixed)


def _expected(place: Place, outlook: Outlook) -> Expected:
    """Return what the registration may hold on to: the edge of land, and the marks that should show by themselves."""
    fixed = np.flatnonzero((outlook.mark_p > 0.5) & ~outlook.mark_merged)
    sigma = np.hypot(place.mark_sigma_m[fixed], place.mark_swing_m[fixed])
    return Expected(outlook.edge, outlook.edge_normal, place.mark_en[fixed], sigma)


def _weather(situation: Situation) -> Weather:
    if situation.wind_speed is None:
        return Weather()
    # A small boat's waters are sheltered: half a metre at 10 m/s, by the square.  Own choice, no source; what the sea
    # really returns is read from the picture.
    wave = min(2.0, 0.005 * situation.wind_speed**2 + 0.05)
    return Weather(wave, situation.wind_from_rad or 0.0, situation.wind_speed)


def _registration(agreement: Agreement, is_held: bool = False) -> Registration:
    if not agreement.is_known:
        # An offset that is not known cannot be said to agree.
        agrees = False if agreement.agrees is False else None
        if agreement.bearing is not None:
            bias, sigma = math.degrees(agreement.bearing.bias), math.degrees(agreement.bearing.sigma)
            return Registration(bias, None, None, None, agrees, heading_sigma_deg=sigma)
        return Registration(None, None, None, None, agrees)
    return Registration(
        heading_bias_deg=math.degrees(agreement.heading_bias),
        # While the receiver is silent there is nothing that an offset would be from.
        east_m=None if is_held else float(agreement.state[1]),
        north_m=None if is_held else float(agreement.state[2]),
        sigma_m=agreement.position_sigma_m,
        agrees=agreement.agrees is not False,
        heading_sigma_deg=math.degrees(agreement.heading_sigma),
    )


def _way(situation: Situation, own: OwnPlane) -> Floats | None:
    """Return the turns of the route still ahead in the plane; None while no route is followed."""
    if not situation.way:
        return None
    lat, lon = np.array(situation.way, dtype=np.float64).T
    return np.column_stack(own.frame.to_plane(lat, lon))


def _cut(line: Floats, water: Waters | None, reach: float) -> Floats:
    """Return the seeing line cut off where land begins or water is hidden by land, a vessel or a blind sector."""
    cut = np.minimum(line, reach)
    if water is None:
        return cut
    shut = water.land | ((water.cause >= 1) & (water.cause <= 3))
    first = np.where(shut.any(axis=1), np.argmax(shut, axis=1) * water.cell_m, np.inf)
    return np.minimum(cut, np.maximum(first, water.cell_m))


def _line_polygon(own: OwnPlane, line: Floats) -> dict[str, Any]:
    bearing = np.arange(N_BEARINGS) * TAU / N_BEARINGS
    # Every degree is enough for the eye; the nearer of the two is kept, so that the line never shows too much.
    reach = np.minimum(line[0::2], line[1::2])
    ring = np.column_stack([own.east_m + reach * np.sin(bearing[0::2]), own.north_m + reach * np.cos(bearing[0::2])])
    return geojson.polygon([geojson.ring_lonlat(own.frame, ring)])


def _own(
    situation: Situation, own: OwnPlane | None, agreement: Agreement | None = None, held_age_s: float | None = None
) -> Own:
    """Return the boat as put right by the registration; None where a fault withdraws it."""
    gone = {f.what for f in situation.faults if f.state != "disagrees"}
    told, held = situation.own, situation.held
    if held is not None:
        gone.discard("position")
    lost = own is None or "position" in gone or "clock" in gone
    lat = lon = None
    heading = None if "heading" in gone else told.heading_true_rad
    if own is not None and not lost:
        lat, lon = (float(v) for v in own.frame.to_geographic(own.east_m, own.north_m))
        heading = own.heading_rad
    sigma = None if lost or agreement is None or not agreement.is_known else agreement.position_sigma_m
    return Own(
        lat=lat,
        lon=lon,
        cog_deg=None if told.cog_rad is None or lost else wrap_360(math.degrees(told.cog_rad)),
        sog_kn=None if told.sog is None or lost else mps_to_kn(told.sog),
        heading_deg=None if heading is None else wrap_360(math.degrees(heading)),
        position_from=None if lost else "receiver" if held is None else "radar and chart",
        position_sigma_m=sigma,
        position_age_s=None if lost else told.position_age if held is None else held_age_s,
    )
