"""Plots to tracks over the ground: the turn of the crank.

A multi-Bernoulli filter.  Each track carries the probability that there is something at all, and how it moves as a
mixture of four models; plots are shared out by marginal association probabilities (belief propagation), and what no
track explains begins a new one.  `docs/track.md` says why this design.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from moonless.echo.types import Plots
from moonless.frames import LocalFrame
from moonless.scan.types import ScanErrors
from moonless.track import correction as correcting
from moonless.track import reframe
from moonless.track.ais_association import Fusion
from moonless.track.correction import Correction
from moonless.track.hulls import join_hulls, learn_shapes, plot_shapes
from moonless.track.kernels import motion_kernels as motion
from moonless.track.kernels import plot_kernels as meeting
from moonless.track.kernels import share_kernels as sharing
from moonless.track.learnt.clutter_density import ClutterDensity
from moonless.track.learnt.noise_scale import NoiseScale
from moonless.track.learnt.turn_rotation import TurnRotation
from moonless.track.management import existence
from moonless.track.management.former import take_up
from moonless.track.management.ghosts import note_ghosts
from moonless.track.management.handover import hand_over
from moonless.track.management.initiation import initiate, is_wild_plot
from moonless.track.measurements import Measured, measure, shared_covariance
from moonless.track.published import published_tracks
from moonless.track.settings import PoseErrors, TrackerSettings
from moonless.track.track_store import TrackStore
from moonless.track.types import AisTarget, Former, RadarTarget, Track
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
PVisible = Callable[[Floats, Floats], Floats]
"""(east, north) of the places asked, shape (n,) -> probability that an echo there would be seen, (n,)."""

# After a longer silence than this all tracks start anew: what lies still is where it was after a position lost for some
# minutes, what moves may be anywhere.  A long silence is gone through in steps, each short enough for a turn's curve.
MAX_SILENCE_S = 300.0
MAX_STEP_S = 10.0
# Turns of belief propagation and the change below which it has settled.
BELIEF_TURNS = 60
BELIEF_TOLERANCE = 1e-4
# A plot counts as a track's own when its share is at least this.
OWN_SHARE = 0.3
# Weight of the newest plot in a track's smoothed strength.
SMOOTHING = 0.2


class Tracker:
    """Follows every echo of a run.  Stateful: feed it turn after turn, in order of time."""

    def __init__(
        self,
        frame: LocalFrame,
        *,
        pose_errors: PoseErrors | None = None,
        settings: TrackerSettings | None = None,
        former: tuple[Former, ...] = (),
    ) -> None:
        """Begin.  ``former``: tracks of a watch that ended, whose numbers are taken up where they are found again."""
        self.frame = frame
        self.pose_errors = pose_errors or PoseErrors()
        self.settings = settings or TrackerSettings()
        self._store = TrackStore.empty()
        self._clutter = ClutterDensity(self.settings)
        self._fusion = Fusion(frame)
        self._time_ns: int | None = None
        self._taken_out = np.zeros(3)  # the correction that the tracks stand by
        self._is_corrected = False
        self._former: tuple[Former, ...] = ()
        self._first_own_id = self._next_id = 1
        self._noise = NoiseScale(self.settings)
        self._rotation = TurnRotation()
        self.take_up(former)

    def take_up(self, former: tuple[Former, ...]) -> None:
        """Go on for a watch that ended: its numbers are given to nobody else, and taken up where tracks come again.

        Those that are followed here already bear their numbers.
        """
        followed = set(self._store.id.tolist())
        self._former = tuple(one for one in former if one.id not in followed)
        self._first_own_id = self._next_id = max(self._next_id, 1 + max((one.id for one in former), default=0))

    def update(
        self,
        time_ns: int,
        plots: Plots,
        errors: ScanErrors,
        *,
        ais: Iterable[AisTarget] = (),
        others: Iterable[RadarTarget] = (),
        p_visible: PVisible | None = None,
        correction: Correction | None = None,
    ) -> tuple[Track, ...]:
        """Take in one turn and return all tracks, predicted to ``time_ns``.

        ``ais`` and ``others`` are what AIS and another radar's tracked targets (TTM, TLL) last said, all of them, each
        turn; what is already known does no harm.  ``p_visible`` tells where an echo could be seen at all; None:
        everywhere.  ``correction`` is what registration takes out of the reported pose; None: nothing.  A
        time before the last one's is taken as the last one's.  Plots that cannot be placed (no heading, no position)
        are left out, and when none of a turn's can be, nothing is held against the tracks for not being seen.
        """
        step = self._advance(time_ns)
        shared = shared_covariance(errors, self.pose_errors, correction)
        self._predict(step, shared, correction)
        got = measure(self._now(), plots, errors, self.frame, self.pose_errors, self.settings.glint_sigma_m, correction)
        self._correct(correction, shared, got)
        got = self._rotation.less_it(got, self._store)
        got = replace(got, noise=got.noise * self._noise.scale)
        blind = len(plots) > 0 and len(got) == 0
        targets, elsewhere = tuple(ais), tuple(others)
        got, shapes = join_hulls(got, plot_shapes(got, plots), plots, self._store, self._fusion.ais_of(targets))
        visible = self._visible(p_visible) * (0.0 if blind else 1.0)
        self._store.in_view = visible
        self._take_in(got, shapes, plots, errors, shared, visible)
        self._manage()
        offset = None if correction is None else correction.state[1:]
        self._fusion.update(self._now(), self._store, targets, elsewhere, offset)
        return published_tracks(
            self._store, self._now(), self.settings, self._fusion.ais_of(targets), self._fusion.others_of(elsewhere)
        )

    def reframe(self, frame: LocalFrame) -> None:
        """Go over to another local plane, taking everything along: ids, states, covariances, hulls, clutter, joins.

        For a boat that has run far from the origin of the old one.  Tracks told before this are of the old plane.
        """
        if frame == self.frame:
            return
        reframe.carry(self._store, self.frame, frame)
        self._clutter.reframe(self.frame, frame)
        self._fusion.frame = frame
        self.frame = frame

    @property
    def noise_scale(self) -> float:
        """What the plots' own scatter is of what was promised, as a factor on the variance."""
        return self._noise.scale

    # -- time -----------------------------------------------------------------------------------------------------

    def _now(self) -> int:
        assert self._time_ns is not None
        return self._time_ns

    def _advance(self, time_ns: int) -> float:
        last = self._time_ns
        self._time_ns = time_ns if last is None else max(time_ns, last)
        return 0.0 if last is None else (self._time_ns - last) / NS_PER_S

    def _correct(self, correction: Correction | None, shared: Floats, got: Measured) -> None:
        """Bring the tracks over to this turn's correction of the reported pose."""
        if correction is None:
            if not self._is_corrected or len(got) == 0:
                return
            # Given up: back to the frame as reported.
            as_reported = Correction.settled(np.zeros(3), shared, is_anew=True)
            correcting.replace_by(self._store, self._taken_out, as_reported, shared, got.own_m.mean(axis=0))
            self._taken_out, self._is_corrected = np.zeros(3), False
            return
        if correction.is_anew or not self._is_corrected:
            if len(got) == 0:
                self._is_corrected = False  # in a turn that places something
                return
            correcting.replace_by(self._store, self._taken_out, correction, shared, got.own_m.mean(axis=0))
        else:
            correcting.take_in(self._store, correction)
        self._taken_out, self._is_corrected = correction.state, True

    def _predict(self, step: float, shared: Floats, correction: Correction | None) -> None:
        if step > MAX_SILENCE_S:
            self._store = TrackStore.empty()
        if step <= 0.0 or len(self._store) == 0:
            return
        n = math.ceil(step / MAX_STEP_S)
        for _ in range(n):
            self._predict_once(step / n, n, shared, correction)
        self._store.exists *= math.exp(-step / self.settings.life_s)

    def _predict_once(self, step: float, n: int, shared: Floats, correction: Correction | None) -> None:
        store, models, pose = self._store, self.settings.models, self.pose_errors
        decay = np.exp(-step / np.array([pose.heading_correlation_s] + 2 * [pose.position_correlation_s]))
        fresh = np.diag(shared) * (1.0 - decay**2)
        if correction is not None:
            # What is left wanders as the registration says, and goes back to nought by its evidence alone.
            decay, fresh = np.ones(3), correction.fresh / n
        motion.predict_kernel(
            store.x, store.p, store.mu, step, models.transition(step), models.mixing_floor,
            models.speed_sigma**2, models.turn_rate_sigma**2, models.still_walk,
            np.array([0.0, models.straight_q, models.steered_q, models.turning_q]), models.turning_rate_q, decay,
            fresh,
        )  # fmt: skip

    # -- evidence -------------------------------------------------------------------------------------------------

    def _visible(self, p_visible: PVisible | None) -> Floats:
        store = self._store
        if p_visible is None or len(store) == 0:
            return np.ones(len(store))
        mean = np.einsum("im,ima->ia", store.mu, store.x[:, :, :2])
        seen = np.asarray(p_visible(mean[:, 0], mean[:, 1]), dtype=np.float64)
        return np.clip(np.nan_to_num(seen, nan=0.0), 0.0, 1.0)

    def _take_in(
        self, got: Measured, shapes: Floats, plots: Plots, errors: ScanErrors, shared: Floats, visible: Floats
    ) -> None:
        s, store = self.settings, self._store
        free, blend = existence.hindered(store, s, got, errors)
        in_view, visible = visible, visible * free
        own_share = existence.detection_probability(store, s)
        p_detect = own_share * visible
        track, plot, like = meeting.pairs_kernel(
            store.x, store.p, store.mu, got.place_m, got.noise, got.own_m, got.ahead_s, shared, blend,
            s.gate,
        )  # fmt: skip
        count = self._clutter.count(got)
        unexplained = self._clutter.density(got, count) + s.birth_per_m2 * s.p_detect
        # That something stands in the way is reckoned, not known: it excuses a miss, but is no reason to leave a plot
        # that lies where the track should be to a new one.
        there_and_seen = store.exists * own_share * in_view * np.maximum(free, s.free_least)
        mixed = np.einsum("qm,qm->q", store.mu[track], like)
        w = np.maximum(there_and_seen[track] * mixed / unexplained[plot], 1e-300)
        w0 = np.maximum(1.0 - store.exists * p_detect, 1e-12)
        share, none, fresh = sharing.marginals_kernel(track, plot, w, w0, len(got), BELIEF_TURNS, BELIEF_TOLERANCE)
        taken = sharing.assign_kernel(track, plot, np.log(w / w0[track]), len(store), len(got), 1e-3)
        own_plot = np.where(taken >= 0, plot[taken], -1) if plot.size else taken
        surprise = meeting.surprise_kernel(
            store.x, store.p, store.mu, own_plot, got.place_m, got.noise, got.own_m, got.ahead_s
        )
        owns = own_plot >= 0
        owns[owns] = share[taken[owns]] > OWN_SHARE
        unseen = none * store.exists * (1.0 - p_detect) / w0
        existence.update_existence(store, s, 1.0 - none, unseen, visible, surprise, owns)
        self._noise.learn(store, surprise, share, taken)
        undo_swaps(track, plot, share, none, taken)
        meeting.update_kernel(
            store.x, store.p, store.mu, track, plot, like, share, none,
            got.place_m, got.noise, got.own_m, got.ahead_s, blend,
        )  # fmt: skip
        explained = np.bincount(plot, weights=share * store.exists[track], minlength=len(got))
        owner = np.full(len(got), -1, dtype=np.int64)
        has = np.flatnonzero(taken >= 0)
        owner[plot[taken[has]]] = store.id[has]
        self._record(got, shapes, plots, plot, share, taken, count)
        exists = fresh * s.birth_per_m2 * s.p_detect / unexplained
        # So near there is ringing of the set and the boat's own wash; what comes from farther off is followed in.
        fresh = np.where(got.range_m > errors.pulse_m + s.recovery_m, fresh, 0.0)
        fresh = np.where(is_wild_plot(store, s, got, own_plot), 0.0, fresh)
        begun = initiate(
            store, s, self._next_id, got, shapes, plots, shared, exists, fresh, self._clutter.density(got, count)
        )
        self._next_id += int(np.count_nonzero(begun >= 0))
        self._clutter.learn(got, np.clip(1.0 - explained, 0.0, 1.0), np.where(begun >= 0, begun, owner))
        self._store.own_false[self._store.n_scans == 1] = 1.0

    # -- records --------------------------------------------------------------------------------------------------

    def _record(
        self, got: Measured, shapes: Floats, plots: Plots, plot: Ints, share: Floats, taken: Ints, count: Floats
    ) -> None:
        store = self._store
        store.n_scans += 1
        store.last_plot = np.full(len(store), -1, dtype=np.int64)
        store.misses += 1
        own = np.flatnonzero(taken >= 0)
        own = own[share[taken[own]] > OWN_SHARE]
        if own.size == 0:
            return
        at = plot[taken[own]]
        index = got.plot[at]
        store.misses[own] = 0
        store.last_plot[own] = index
        store.n_hits[own] += 1
        store.last_plot_ns[own] = plots.time_ns[index]
        strength, before = plots.strength_db[index], store.strength_db[own]
        store.strength_db[own] = np.where(np.isfinite(before), before + SMOOTHING * (strength - before), strength)
        # A track's own plots are no clutter about it.
        others = np.maximum(count[at] - store.own_false[own], 0.0)
        around_all = self._clutter.density(got, np.asarray(np.bincount(at, others, len(got)), dtype=np.float64))
        around = around_all[at]
        store.clutter[own] += 2.0 * SMOOTHING * (around - store.clutter[own])
        learn_shapes(store, own, shapes[at])
        note_ghosts(store, own, index, plots)

    def _manage(self) -> None:
        """Confirm what has earned it, hand over, forget what has gone."""
        store = self._store
        now = existence.confirm(store, self.settings)
        if bool(np.any(now)):
            self._clutter.release(store.id[now])
            hand_over(store, now, self._now())
        if self._former:
            # Of all that are confirmed: one that was not found at once may come out of what hid it.
            young = store.confirmed & (store.id >= self._first_own_id)
            self._former = take_up(store, young, self._former, self.frame, self._now())
        existence.drop(store, self.settings)


def undo_swaps(track: Ints, plot: Ints, share: Floats, none: Floats, taken: Ints) -> None:
    """Drop what would pull two tracks to their middle: a plot that the best joint assignment gives to another.

    Only where the track has a plot of its own in that assignment; shares are scaled, in place, to keep their sum.
    This is the pruning of the exact-nearest-neighbour JPDA (Blom and Bloem 2000), done on the marginals.
    """
    if share.size == 0:
        return
    owner = np.full(int(plot.max()) + 1, -1, dtype=np.int64)
    has = taken >= 0
    owner[plot[taken[has]]] = np.flatnonzero(has)
    other = (owner[plot] >= 0) & (owner[plot] != track) & has[track]
    before = np.bincount(track, weights=share, minlength=none.size)
    share[other] = 0.0
    after = np.bincount(track, weights=share, minlength=none.size)
    scale = np.divide(before, after, out=np.ones_like(before), where=after > 0.0)
    share *= scale[track]
