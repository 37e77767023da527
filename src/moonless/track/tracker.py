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
from moonless.track.clutter_density import Strays
from moonless.track.correction import Correction
from moonless.track.handover import hand_over
from moonless.track.hulls import axes, join_hulls, learn_shapes, plot_shapes
from moonless.track.kernels import around_kernels as around
from moonless.track.kernels import motion_kernels as motion
from moonless.track.kernels import plot_kernels as meeting
from moonless.track.kernels import share_kernels as sharing
from moonless.track.measurements import Measured, measure, shared_covariance
from moonless.track.published import tell
from moonless.track.settings import PoseErrors, TrackerSettings
from moonless.track.track_store import Bank, newborn
from moonless.track.types import AisTarget, RadarTarget, Track
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
# How often the plots of a ghost, and of a real echo, are called false: the geometry that betrays a ghost is just missed
# on some turns, and a real echo meets it by chance for a while as the boat goes by.  Seen in made scenes; no source.
GHOST_CALLED, REAL_CALLED = 0.65, 0.2
MOST_FALSE = 6.0  # log odds: neither is ever past changing its mind


class Tracker:
    """Follows every echo of a run.  Stateful: feed it turn after turn, in order of time."""

    def __init__(
        self, frame: LocalFrame, *, pose_errors: PoseErrors | None = None, settings: TrackerSettings | None = None
    ) -> None:
        self.frame = frame
        self.pose_errors = pose_errors or PoseErrors()
        self.settings = settings or TrackerSettings()
        self._bank = Bank.empty()
        self._strays = Strays(self.settings)
        self._fusion = Fusion(frame)
        self._time_ns: int | None = None
        self._taken_out = np.zeros(3)  # the correction that the tracks stand by
        self._is_corrected = False
        self._next_id = 1
        # What the plots' own scatter is of what was promised, as a factor on the variance; learnt from the tracks.
        self.noise_scale = 1.0
        self._noise_plots = 0.0

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
        got = replace(got, noise=got.noise * self.noise_scale)
        blind = len(plots) > 0 and len(got) == 0
        got, shapes = join_hulls(got, plot_shapes(got, plots), plots, self._bank)
        visible = self._visible(p_visible) * (0.0 if blind else 1.0)
        self._bank.in_view = visible
        self._take_in(got, shapes, plots, errors, shared, visible)
        self._sort_out()
        targets, elsewhere = tuple(ais), tuple(others)
        offset = None if correction is None else correction.state[1:]
        self._fusion.update(self._now(), self._bank, targets, elsewhere, offset)
        return tell(
            self._bank, self._now(), self.settings, self._fusion.ais_of(targets), self._fusion.others_of(elsewhere)
        )

    def reframe(self, frame: LocalFrame) -> None:
        """Go over to another local plane, taking everything along: ids, states, covariances, hulls, strays, joins.

        For a boat that has run far from the origin of the old one.  Tracks told before this are of the old plane.
        """
        if frame == self.frame:
            return
        reframe.carry(self._bank, self.frame, frame)
        self._strays.reframe(self.frame, frame)
        self._fusion.frame = frame
        self.frame = frame

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
            correcting.replace_by(self._bank, self._taken_out, as_reported, shared, got.own_m.mean(axis=0))
            self._taken_out, self._is_corrected = np.zeros(3), False
            return
        if correction.is_anew or not self._is_corrected:
            if len(got) == 0:
                self._is_corrected = False  # in a turn that places something
                return
            correcting.replace_by(self._bank, self._taken_out, correction, shared, got.own_m.mean(axis=0))
        else:
            correcting.take_in(self._bank, correction)
        self._taken_out, self._is_corrected = correction.state, True

    def _predict(self, step: float, shared: Floats, correction: Correction | None) -> None:
        if step > MAX_SILENCE_S:
            self._bank = Bank.empty()
        if step <= 0.0 or len(self._bank) == 0:
            return
        n = math.ceil(step / MAX_STEP_S)
        for _ in range(n):
            self._predict_once(step / n, n, shared, correction)
        self._bank.exists *= math.exp(-step / self.settings.life_s)

    def _predict_once(self, step: float, n: int, shared: Floats, correction: Correction | None) -> None:
        bank, models, pose = self._bank, self.settings.models, self.pose_errors
        decay = np.exp(-step / np.array([pose.heading_correlation_s] + 2 * [pose.position_correlation_s]))
        fresh = np.diag(shared) * (1.0 - decay**2)
        if correction is not None:
            # What is left wanders as the registration says, and goes back to nought by its evidence alone.
            decay, fresh = np.ones(3), correction.fresh / n
        motion.predict_kernel(
            bank.x, bank.p, bank.mu, step, models.transition(step), models.mixing_floor,
            models.speed_sigma**2, models.turn_rate_sigma**2, models.still_walk,
            np.array([0.0, models.straight_q, models.steered_q, models.turning_q]), models.turning_rate_q, decay,
            fresh,
        )  # fmt: skip

    # -- evidence -------------------------------------------------------------------------------------------------

    def _visible(self, p_visible: PVisible | None) -> Floats:
        bank = self._bank
        if p_visible is None or len(bank) == 0:
            return np.ones(len(bank))
        mean = np.einsum("im,ima->ia", bank.mu, bank.x[:, :, :2])
        seen = np.asarray(p_visible(mean[:, 0], mean[:, 1]), dtype=np.float64)
        return np.clip(np.nan_to_num(seen, nan=0.0), 0.0, 1.0)

    def _hindered(self, got: Measured, errors: ScanErrors) -> tuple[Floats, Floats]:
        bank, s = self._bank, self.settings
        if len(got) == 0 or len(bank) == 0:
            return np.ones(len(bank)), np.zeros((len(bank), 2, 2))
        place = np.einsum("im,ima->ia", bank.mu, bank.x[:, :, :2])
        length = np.where(bank.shape_weight >= 2.0, axes(bank.shape)[0], 0.0)
        # Only what is seen itself can hide another: else tracks that coast side by side would excuse each other for
        # good, and none of them would claim the plot that lies on them all.
        hides = np.where(bank.misses <= s.hides_after_misses, bank.exists, 0.0)
        return around.neighbours_kernel(
            place, hides, bank.confirmed, np.where(length >= 20.0, length, 0.0), got.own_m.mean(axis=0),
            max(errors.beam_rad, 1e-4), max(errors.pulse_m, 1.0), s.unresolved_most, s.shadowed,
        )  # fmt: skip

    def _p_detect(self) -> Floats:
        s, bank = self.settings, self._bank
        own = (bank.seen + s.p_detect_weight * s.p_detect) / (bank.looked + s.p_detect_weight)
        return np.clip(own, s.p_detect_least, s.p_detect_most)

    def _take_in(
        self, got: Measured, shapes: Floats, plots: Plots, errors: ScanErrors, shared: Floats, visible: Floats
    ) -> None:
        s, bank = self.settings, self._bank
        free, blend = self._hindered(got, errors)
        visible = visible * free
        p_detect = self._p_detect() * visible
        track, plot, like = meeting.pairs_kernel(
            bank.x, bank.p, bank.mu, got.place_m, got.noise, got.own_m, got.ahead_s, shared, blend,
            s.gate,
        )  # fmt: skip
        count = self._strays.count(got)
        unexplained = self._strays.density(got, count) + s.birth_per_m2 * s.p_detect
        there_and_seen = bank.exists * p_detect
        mixed = np.einsum("qm,qm->q", bank.mu[track], like)
        w = np.maximum(there_and_seen[track] * mixed / unexplained[plot], 1e-300)
        w0 = np.maximum(1.0 - there_and_seen, 1e-12)
        share, none, fresh = sharing.marginals_kernel(track, plot, w, w0, len(got), BELIEF_TURNS, BELIEF_TOLERANCE)
        taken = sharing.assign_kernel(track, plot, np.log(w / w0[track]), len(bank), len(got), 1e-3)
        own_plot = np.where(taken >= 0, plot[taken], -1) if plot.size else taken
        surprise = meeting.surprise_kernel(
            bank.x, bank.p, bank.mu, own_plot, got.place_m, got.noise, got.own_m, got.ahead_s
        )
        owns = own_plot >= 0
        owns[owns] = share[taken[owns]] > OWN_SHARE
        self._believe(1.0 - none, none * bank.exists * (1.0 - p_detect) / w0, visible, surprise, owns)
        self._learn_noise(surprise, share, taken)
        undo_swaps(track, plot, share, none, taken)
        meeting.update_kernel(
            bank.x, bank.p, bank.mu, track, plot, like, share, none,
            got.place_m, got.noise, got.own_m, got.ahead_s, blend,
        )  # fmt: skip
        explained = np.bincount(plot, weights=share * bank.exists[track], minlength=len(got))
        owner = np.full(len(got), -1, dtype=np.int64)
        has = np.flatnonzero(taken >= 0)
        owner[plot[taken[has]]] = bank.id[has]
        self._record(got, shapes, plots, plot, share, taken, count)
        exists = fresh * s.birth_per_m2 * s.p_detect / unexplained
        # So near there is ringing of the set and the boat's own wash; what comes from farther off is followed in.
        fresh = np.where(got.range_m > errors.pulse_m + s.recovery_m, fresh, 0.0)
        fresh = np.where(self._strayed(got, own_plot), 0.0, fresh)
        begun = self._begin(got, shapes, plots, shared, exists, fresh, self._strays.density(got, count))
        self._strays.learn(got, np.clip(1.0 - explained, 0.0, 1.0), np.where(begun >= 0, begun, owner))
        self._bank.own_stray[self._bank.n_scans == 1] = 1.0

    def _strayed(self, got: Measured, own_plot: Ints) -> NDArray[np.bool_]:
        """Return (n,) whether a plot is likelier a wild one of a sure track that has none than a new thing's.

        The eye of a long hull's echo leaps: a second track begun on it would be a second vessel that is not there.
        """
        s, bank = self.settings, self._bank
        lost = np.flatnonzero(bank.confirmed & (own_plot < 0) & (bank.exists >= 0.5) & (bank.misses <= s.strayed_turns))
        if lost.size == 0 or len(got) == 0:
            return np.zeros(len(got), dtype=np.bool_)
        mean, cov = meeting.mixture_kernel(bank.x[lost], bank.p[lost], bank.mu[lost], 0.0)
        # (tracks, plots), component by component.
        d0 = got.place_m[:, 0] - mean[:, 0, None] - got.ahead_s * mean[:, 2, None]
        d1 = got.place_m[:, 1] - mean[:, 1, None] - got.ahead_s * mean[:, 3, None]
        v00 = got.noise[:, 0, 0] + cov[:, 0, 0, None]
        v01 = got.noise[:, 0, 1] + cov[:, 0, 1, None]
        v11 = got.noise[:, 1, 1] + cov[:, 1, 1, None]
        d2 = (v11 * d0**2 - 2.0 * v01 * d0 * d1 + v00 * d1**2) / (v00 * v11 - v01**2)
        return np.asarray(np.any(d2 <= s.strayed_gates * s.gate, axis=0), dtype=np.bool_)

    def _believe(self, hit: Floats, unseen: Floats, visible: Floats, surprise: Floats, owns: NDArray[np.bool_]) -> None:
        """Existence, the track's own record of being seen, steady against flickering, one thing against many."""
        s, bank = self.settings, self._bank
        bank.exists = np.clip(hit + unseen, 0.0, s.surest)
        # All that follows asks what a real thing did, so it is given that there is one.
        hit = hit / np.maximum(hit + unseen, 1e-12)
        fade = 1.0 - 1.0 / s.p_detect_memory
        bank.seen = bank.seen * fade + hit
        bank.looked = bank.looked * fade + np.maximum(visible, hit)
        for_hit = math.log(s.steady_p_detect / s.flicker_p_detect)
        for_miss = math.log((1.0 - s.steady_p_detect) / (1.0 - s.flicker_p_detect))
        # Held at or above zero, as a cumulative-sum test is (Page 1954): a source may become steady at any time.
        step = hit * for_hit + visible * (1.0 - hit) * for_miss
        bank.quality = np.clip(bank.quality + step, 0.0, s.most_log_odds)
        for_hit = math.log(s.patient_p_detect / s.seldom_p_detect)
        for_miss = math.log((1.0 - s.patient_p_detect) / (1.0 - s.seldom_p_detect))
        # Only its own plot counts: what is so vague that some plot lies near it every turn is patient for nothing.
        step = np.where(owns, hit * for_hit, 0.0) + np.where(owns, 1.0 - hit, 1.0) * visible * for_miss
        bank.patience = np.clip(bank.patience + step, 0.0, s.most_patience)
        # Plots of one thing lie about the prediction as a Gaussian; plots that merely happen lie anywhere in the gate.
        fit = np.where(np.isfinite(surprise), math.log(s.gate / 2.0) - 0.5 * np.minimum(surprise, s.gate), 0.0)
        bank.fit = np.clip(bank.fit + hit * fit, 0.0, s.most_log_odds)
        bank.own_stray *= 1.0 - 1.0 / s.clutter_memory_turns

    def _learn_noise(self, surprise: Floats, share: Floats, taken: Ints) -> None:
        """Hold the plots of sure tracks against what was predicted, and scale the noise that is believed.

        Were the noise right, the squared distance would be 2 on the mean.  Distances are cut at 9, which costs a
        hundredth of that mean, so that one stranger cannot teach much.  The first plots teach most: a radar whose
        plots scatter far more than was promised would else lose her tracks before it is found out.
        """
        s, bank = self.settings, self._bank
        sure = bank.confirmed | (bank.exists >= s.noise_sure_at)
        own = np.flatnonzero((taken >= 0) & sure & (bank.n_hits >= s.noise_after_hits))
        own = own[share[taken[own]] > 0.8]
        if own.size == 0:
            return
        d2 = np.minimum(surprise[own], 9.0)
        self._noise_plots = min(self._noise_plots + own.size, s.noise_memory_plots)
        worth = max(s.noise_prior_plots + self._noise_plots, 3.0 * own.size)
        step = float(np.sum(d2 / 2.0 - 0.989)) / worth
        self.noise_scale = min(max(self.noise_scale * math.exp(step), s.noise_scale_least), s.noise_scale_most)

    # -- records --------------------------------------------------------------------------------------------------

    def _record(
        self, got: Measured, shapes: Floats, plots: Plots, plot: Ints, share: Floats, taken: Ints, count: Floats
    ) -> None:
        bank = self._bank
        bank.n_scans += 1
        bank.last_plot = np.full(len(bank), -1, dtype=np.int64)
        bank.misses += 1
        own = np.flatnonzero(taken >= 0)
        own = own[share[taken[own]] > OWN_SHARE]
        if own.size == 0:
            return
        at = plot[taken[own]]
        index = got.plot[at]
        bank.misses[own] = 0
        bank.last_plot[own] = index
        bank.n_hits[own] += 1
        bank.last_plot_ns[own] = plots.time_ns[index]
        strength, before = plots.strength_db[index], bank.strength_db[own]
        bank.strength_db[own] = np.where(np.isfinite(before), before + SMOOTHING * (strength - before), strength)
        # A track's own plots are no clutter about it.
        others = np.maximum(count[at] - bank.own_stray[own], 0.0)
        around_all = self._strays.density(got, np.asarray(np.bincount(at, others, len(got)), dtype=np.float64))
        around = around_all[at]
        bank.clutter[own] += 2.0 * SMOOTHING * (around - bank.clutter[own])
        learn_shapes(bank, own, shapes[at])
        self._note_ghosts(own, index, plots)

    def _note_ghosts(self, own: NDArray[np.intp], index: Ints, plots: Plots) -> None:
        """A track is false when its plots speak for a ghost; its parent is the track that holds the parent plot."""
        bank = self._bank
        is_false = plots.false_parent[index] >= 0
        bank.false_odds[own] = np.clip(bank.false_odds[own] + _for_ghost(is_false), -MOST_FALSE, MOST_FALSE)
        if not np.any(is_false):
            return
        holder = {int(p): int(bank.id[i]) for i, p in enumerate(bank.last_plot) if p >= 0}
        for i, k in zip(own[is_false], index[is_false], strict=True):
            bank.false_parent[i] = holder.get(int(plots.false_parent[k]), int(bank.false_parent[i]))
            if plots.false_cause and plots.false_cause[k] is not None:
                bank.false_cause[i] = plots.false_cause[k]

    def _begin(
        self, got: Measured, shapes: Floats, plots: Plots, shared: Floats, exists: Floats, fresh: Floats,
        density: Floats,
    ) -> Ints:  # fmt: skip
        """Begin a track on each plot that no other explains; return their ids per plot, -1 where none began."""
        s = self.settings
        ids = np.full(len(got), -1, dtype=np.int64)
        new = np.flatnonzero(fresh > 0.2)[: max(s.max_tracks - len(self._bank), 0)]
        n = new.size
        if n == 0:
            return ids
        index = got.plot[new]
        ids[new] = np.arange(self._next_id, self._next_id + n)
        self._next_id += n
        x, p, mu = newborn(
            got.place_m[new], got.noise[new], got.shared_jacobian[new], shared, got.ahead_s[new], s.models,
            s.max_speed_sigma, got.range_m[new],
        )  # fmt: skip
        when = plots.time_ns[index].astype(np.int64)
        size2 = 12.0 * (shapes[new, 0, 0] + shapes[new, 1, 1])
        causes = np.array([plots.false_cause[k] if plots.false_cause else None for k in index], dtype=np.object_)
        self._bank.append(
            Bank(
                x=x, p=p, mu=mu, exists=exists[new], seen=np.ones(n), looked=np.ones(n),
                strength_db=plots.strength_db[index].astype(np.float64), shape=shapes[new].copy(),
                shape_sq=size2**2, shape_weight=(size2 > 0.0).astype(np.float64),
                id=ids[new], confirmed=np.zeros(n, np.bool_), started_ns=when, last_plot_ns=when.copy(),
                n_scans=np.ones(n, np.int64), n_hits=np.ones(n, np.int64), misses=np.zeros(n, np.int64),
                last_plot=index.astype(np.int64),
                false_odds=_for_ghost(plots.false_parent[index] >= 0),
                false_parent=np.full(n, -1, np.int64), false_cause=causes,
                quality=np.full(n, math.log(s.steady_p_detect / s.flicker_p_detect)),
                patience=np.full(n, math.log(s.patient_p_detect / s.seldom_p_detect)),
                fit=np.zeros(n), clutter=density[new], own_stray=np.zeros(n),
                in_view=np.ones(n),
            )
        )  # fmt: skip
        return ids

    def _sort_out(self) -> None:
        """Confirm what has earned it, forget what has gone."""
        s, bank = self.settings, self._bank
        dirt = np.log(np.maximum(bank.clutter / s.clean_per_m2, 1.0))
        likely = ~bank.confirmed & (bank.exists >= s.confirm_at)
        is_one = bank.fit >= np.minimum(s.confirm_fit + s.fit_per_clutter * dirt, s.most_log_odds)
        steady = bank.quality >= np.minimum(s.confirm_log_odds + s.confirm_per_clutter * dirt, s.most_log_odds)
        # What comes back turn after turn is there, however its echo scatters.
        lasting = (bank.quality >= s.lasting_log_odds) & (bank.n_hits >= s.lasting_hits)
        now = likely & steady & (bank.n_hits >= s.confirm_hits) & (is_one | lasting)
        calm = bank.mu[:, motion.STILL] + bank.mu[:, motion.STRAIGHT] >= s.patient_calm
        patient = bank.patience >= s.patient_log_odds + s.patient_per_clutter * dirt
        now |= likely & patient & calm & is_one & (bank.n_hits >= s.patient_hits)
        if bool(np.any(now)):
            bank.confirmed |= now
            self._strays.acquit(bank.id[now])
            hand_over(bank, now, self._now())
        floor = np.where(bank.confirmed, s.drop_confirmed_at, s.drop_tentative_at)
        # A track of this turn has had no chance yet.
        bank.keep((bank.exists >= floor) | (bank.n_scans <= 1))


def _for_ghost(is_called: NDArray[np.bool_]) -> Floats:
    """Return what each plot adds to the log odds of a ghost, by whether it was called false."""
    called = math.log(GHOST_CALLED / REAL_CALLED)
    return np.where(is_called, called, math.log((1.0 - GHOST_CALLED) / (1.0 - REAL_CALLED)))


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
