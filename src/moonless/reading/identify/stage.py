"""Identification, the second stage of a turn: what each echo is, which marks are missing, how the radar performs.

tracks ─► those worth telling ─► evidence ─► kinds ─► pooled over turns ─► contacts
charted marks ─► looked for ─► missing; the radar's performance
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.echo.types import EchoPicture
from moonless.radar.link.budget import scale_of
from moonless.radar.link.detection import clutter_weight
from moonless.reading.chart_around import Place, known_around
from moonless.reading.contact import Contact
from moonless.reading.identify.contacts import contacts_of
from moonless.reading.identify.evidence import (
    Evidence,
    at_full_scale,
    beside_shores,
    clutter_where,
    gather,
    levels,
    on_raised_ground,
    peak_counts,
    pieces_of_shore,
    sea_beside,
    strongest_at,
)
from moonless.reading.identify.explain import FALSE, Explained, explain
from moonless.reading.identify.ghosts.second_traces import late_by
from moonless.reading.identify.history import History
from moonless.reading.identify.mark_watch import Lookout, MissingMark
from moonless.reading.identify.motion import Motion
from moonless.reading.identify.obstructing import obstructions_of, unanswered_hulls
from moonless.reading.identify.past.calibration import StrengthCalibration
from moonless.reading.identify.past.clutter_runs import hit_shares, hopping
from moonless.reading.identify.past.drift import FieldDrift
from moonless.reading.identify.past.standing import Standing
from moonless.reading.identify.past.strays import Strays
from moonless.reading.identify.performance import Performance
from moonless.reading.identify.reported import PoseSigma, worth_telling
from moonless.reading.registration.stage import Placed
from moonless.reading.visibility.hidden_water import Obstruction
from moonless.reading.visibility.seeing import RadarPerformance, curve_for
from moonless.track.types import Track
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]

# What the floor of plain noise may come out at, linear, half a decibel of estimation error included.
NOISE_MARGIN = 1.12
# So near charted land, beside half a beam, an echo is asked for no drift of the sea's.
ASHORE_M = 25.0
# How far the middle of a long echo wanders, as a share of its length up to so much, and how likely a motion is held to
# be that has not yet gone so far; own figures.
WANDER_OF_LENGTH, LONG_WANDER_M, UNSHOWN_MOVES = 0.25, 60.0, 0.45


@dataclass(frozen=True, slots=True, eq=False)
class Identified:
    """What a turn's echoes are."""

    contacts: tuple[Contact, ...]
    missing: tuple[MissingMark, ...]
    obstructions: tuple[Obstruction, ...]
    performance: RadarPerformance


class IdentifyStage:
    """Keeps what is known of tracks and marks from turn to turn."""

    def __init__(self, boat: Boat, knowledge: Knowledge | None = None) -> None:
        self._boat = boat
        self._knowledge = knowledge
        self.begin_again()

    def begin_again(self) -> None:
        """Forget all tracks and marks."""
        self._place: Place | None = None
        self._history = History()
        self._motion = Motion()
        self._standing = Standing()
        self._strays = Strays()
        self._drift = FieldDrift()
        self._calibration = StrengthCalibration()
        self._lookout = Lookout(self._boat)
        self._performance = Performance(self._boat.radar)

    def identify(self, placed: Placed) -> Identified:
        """Return what the echoes of a turn are, and which marks are missing."""
        if placed.place is not self._place:
            # The chart was laid out anew, and its marks bear other numbers.
            self._place = placed.place
            self._history.forget()
        correction = placed.agreement.correction
        if correction is not None and correction.is_anew:
            # Where tracks were by the old registration is no word on whether they have moved.
            self._motion, self._standing = Motion(), Standing()
        evidence, explained = self._explain(placed)
        picture = placed.situation.picture
        return Identified(
            contacts_of(evidence, explained, placed.place),
            self._look(placed, evidence, explained),
            (
                *obstructions_of(evidence, explained, picture is not None and picture.is_cut),
                *unanswered_hulls(placed.situation, evidence, placed.own, placed.place),
            ),
            RadarPerformance(self._performance.offset_db, self._performance.sigma_db, self._performance.is_shown),
        )

    def _told(self, placed: Placed) -> tuple[Track, ...]:
        """Return the tracks that are told."""
        situation, own, radar = placed.situation, placed.own, self._boat.radar
        if own.heading_rad is None:
            return ()
        return worth_telling(
            situation.tracks,
            own,
            radar.min_range_m,
            math.inf if situation.scan is None else placed.reach_m,
            radar.beam_horizontal_rad,
            placed.link.pulse_m,
            PoseSigma(
                math.hypot(self._boat.position_sigma_m, radar.range_sigma_m),
                math.hypot(self._boat.heading_sigma_rad, radar.azimuth_sigma_rad),
            ),
            situation.picture is not None and situation.picture.is_cut,
        )

    def _pose_sigma(self, placed: Placed) -> PoseSigma:
        agreement = placed.agreement
        if agreement.is_known:
            return PoseSigma(agreement.position_sigma_m, agreement.heading_sigma)
        if agreement.bearing is not None:
            return PoseSigma(self._boat.position_sigma_m, agreement.bearing.sigma)
        return PoseSigma(self._boat.position_sigma_m, self._boat.heading_sigma_rad)

    def _explain(self, placed: Placed) -> tuple[Evidence, list[Explained]]:
        situation, own, place, outlook = placed.situation, placed.own, placed.place, placed.outlook
        tracks = self._told(placed)
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
        own_en = (own.east_m, own.north_m)
        plot_en = None if situation.picture is None else _own_plots(tracks, _places(placed, situation.picture))
        moves = self._motion.p_moving(situation.time_ns, ids, moved, sigma, tracked, fresh, own_en, plot_en)
        roamed = self._motion.roamed_m(ids)
        # Until it has gone farther than its echo's middle wanders, a motion is the tracker's guess; AIS needs no proof.
        wander = sigma + WANDER_OF_LENGTH * np.minimum([t.length_m or 0.0 for t in tracks], LONG_WANDER_M)
        # What has not been watched for three turns yet is taken at its word for how far it has come.
        age_s = np.array([(situation.time_ns - t.started_ns) / NS_PER_S for t in tracks])
        came = np.where(roamed > 0.0, roamed, 0.5 * age_s * np.array([t.speed for t in tracks]))
        is_shown = (came >= wander) | np.array([t.ais is not None for t in tracks], dtype=np.bool_)
        # What is hit so seldom that it may be many things is none the stiller for having got nowhere.
        is_shown |= hopping(hit_shares(tracks)) > 0.5
        moves = np.where(is_shown, moves, np.minimum(moves, UNSHOWN_MOVES))
        known = known_around(self._knowledge, own.frame, own.east_m, own.north_m, placed.reach_m)
        # Where the receiver's scale is not known no strength tells what a thing is.
        is_scaled = situation.picture is None or situation.picture.db_per_count is not None
        is_scaled = is_scaled and not situation.targets_only
        curve = None
        if is_scaled:
            wave_m = placed.weather.wave_height_m
            curve = curve_for(self._boat.radar, placed.reach_m, self._boat.skipper.smallest_height_m, wave_m)
        of_shore = answered = clipped = peak = stray = None
        if situation.picture is not None:
            clipped = at_full_scale(tracks, situation.picture)
            self._strays.take_in(situation.picture, situation.tracks)
            stray = self._strays.likelihood(np.array([t.strength_db for t in tracks]), clipped)
            peak = peak_counts(tracks, situation.picture)
            answered = self._ground_under(placed, situation.picture, tracks, moved, fresh)
            of_shore = pieces_of_shore(tracks, situation.picture, self._standing.in_chain)
            if place is None and situation.scan is not None:
                of_shore |= beside_shores(moved, own, situation.scan, situation.picture)
                of_shore |= on_raised_ground(tracks, situation.picture)
        evidence = gather(
            tracks, own, place, self._boat, self._pose_sigma(placed), moved, known, rough, moves, curve, level, roamed,
            ring, of_shore, answered, clipped, peak, self._late(placed, ids, sigma), stray,
            self._fields(placed, ids), self._calibration.offset_db, self._calibration.sigma_db,
            self._history.likeliest(ids) == FALSE,
        )  # fmt: skip
        # Land answers with anything.
        off_land = (evidence.shore_distance_m > 2.0 * ASHORE_M) & ~evidence.of_shore
        implied = np.where(off_land & ~evidence.clipped, evidence.rcs_db + self._calibration.offset_db, np.nan)
        self._calibration.take_in(implied, evidence.hit_share, np.array([t.n_hits for t in tracks], dtype=np.int64))
        p = None if outlook is None else np.nan_to_num(outlook.mark_p, nan=0.0)
        gone = None if place is None else self._lookout.gone(place)
        mark_db = None if outlook is None else self._performance.strength_db(outlook.mark_snr)
        explained = self._history.pool(evidence.ids, explain(evidence, place, p, gone, mark_db), fresh)
        return evidence, explained

    def _fields(self, placed: Placed, ids: NDArray[np.int64]) -> Floats:
        """Return (n,) how densely patches of a field that drifts as each told track does lie about it."""
        situation, own, place = placed.situation, placed.own, placed.place
        tracks = situation.tracks
        place_en = np.array([(t.east_m, t.north_m) for t in tracks]).reshape(-1, 2)
        ashore = np.zeros(len(tracks), dtype=np.bool_)
        if situation.picture is not None:
            ashore |= pieces_of_shore(tracks, situation.picture, self._standing.in_chain)
        if place is not None and len(tracks):
            away = np.hypot(place_en[:, 0] - own.east_m, place_en[:, 1] - own.north_m)
            near = ASHORE_M + 0.5 * self._boat.radar.beam_horizontal_rad * away
            ashore |= place.on_land(place_en) | (place.shore.distance(place_en) < near)
        density = self._drift.density(tracks, (own.east_m, own.north_m), ashore)
        of = {t.id: float(d) for t, d in zip(tracks, density, strict=True)}
        return np.array([of.get(i, 0.0) for i in ids.tolist()], dtype=np.float64)

    def _late(self, placed: Placed, ids: NDArray[np.int64], sigma_m: Floats) -> Floats | None:
        """Return (n,) the log odds of each being heard one pulse late; None without a scan."""
        scan = placed.situation.scan
        if scan is None:
            return None
        interval_m, unsure = late_by(scan.errors.pulse_interval_s)
        return self._motion.late_log_odds(ids, interval_m, sigma_m) - unsure

    def _ground_under(
        self,
        placed: Placed,
        picture: EchoPicture,
        tracks: tuple[Track, ...],
        place_en: Floats,
        is_fresh: NDArray[np.bool_],
    ) -> Floats:
        """Return (n,) how often the ground under each track had answered before it came; remember this turn's plots."""
        time_ns, own, beam_rad = placed.situation.time_ns, placed.own, self._boat.radar.beam_horizontal_rad
        own_en = np.array([own.east_m, own.north_m])
        self._standing.enter(own.frame)
        self._standing.take_in(time_ns, _places(placed, picture), own_en, beam_rad)
        length = np.array([math.nan if t.length_m is None else t.length_m for t in tracks])
        return self._standing.share(
            time_ns, np.array([t.id for t in tracks], dtype=np.int64), place_en, np.array([t.speed for t in tracks]),
            length, np.hypot(*(place_en - own_en).T), is_fresh, beam_rad,
        )  # fmt: skip

    def _look(self, placed: Placed, evidence: Evidence, explained: list[Explained]) -> tuple[MissingMark, ...]:
        """Look for the marks, learn the radar's performance from them, and return those missing."""
        place, outlook, own = placed.place, placed.outlook, placed.own
        scan, picture = placed.situation.scan, placed.situation.picture
        if place is None or outlook is None or scan is None or picture is None:
            return ()
        plots, places = picture.plots, _places(placed, picture)
        sound = np.isfinite(places).all(axis=1)
        sigma = np.column_stack([plots.range_sigma_m, plots.range_m * plots.azimuth_sigma_rad])
        scale = scale_of(scan.max_range_m)
        hits = placed.link.hits
        # The model knows no shower; the picture does.
        rough_db = clutter_where(place.mark_en, own, scan, picture)
        rough = np.maximum(10.0 ** (np.nan_to_num(rough_db, nan=0.0) / 10.0) - NOISE_MARGIN, 0.0)
        tonight = self._performance.p_detect(outlook.mark_snr / (1.0 + clutter_weight(hits) * rough), hits)
        looked = self._lookout.look(
            own, place, outlook, places[sound], sigma[sound], scan, picture, tonight, placed.position_sigma_m
        )
        gone = self._lookout.gone(place)
        self._performance.take_in(place, outlook, looked, gone, evidence, explained, picture, scale, scan.n_spoke)
        return self._lookout.missing(place, looked, explained)


def _own_plots(tracks: tuple[Track, ...], places: Floats) -> Floats:
    """Return (n, 2) where this turn's echo of each lies, of all plots' ``places`` (p, 2); NaN without one."""
    out = np.full((len(tracks), 2), np.nan)
    for i, t in enumerate(tracks):
        if t.last_plot is not None:
            out[i] = places[t.last_plot]
    return out


def _places(placed: Placed, picture: EchoPicture) -> Floats:
    """Return (p, 2) where the plots lie, put right; NaN where a heading or position is not known."""
    plots = picture.plots
    east, north = placed.own.frame.to_plane(plots.own_lat_deg, plots.own_lon_deg)
    bearing = plots.azimuth_rel_rad + plots.heading_true_rad
    rel = np.column_stack([plots.range_m * np.sin(bearing), plots.range_m * np.cos(bearing)])
    own_en = np.column_stack([np.atleast_1d(east), np.atleast_1d(north)]).reshape(-1, 2)
    return placed.agreement.place(rel, own_en)
