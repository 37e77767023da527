"""Plots to tracks over the ground: the turn of the crank.

A multi-Bernoulli filter.  Each track carries the probability that there is something at all, and how it moves as a
mixture of four models; plots are shared out by marginal association probabilities (belief propagation), and what no
track explains begins a new one.  `docs/track.md` says why this design.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import NDArray

from moonless.echo.types import Plots
from moonless.frames import LocalFrame
from moonless.scan.types import ScanErrors
from moonless.track import _kernels as kernels
from moonless.track.bank import Bank, newborn
from moonless.track.measure import Measured, measure, shared_covariance
from moonless.track.settings import PoseErrors, TrackerSettings
from moonless.track.types import AisTarget, Track, TrackState
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]
PVisible = Callable[[Floats, Floats], Floats]
"""(east, north) of the places asked, shape (n,) -> probability that an echo there would be seen, (n,)."""

# Longest step the motion models are trusted over at once; after a longer silence all tracks start anew.
MAX_STEP_S = 60.0
# Turns of belief propagation and the change below which it has settled.
BELIEF_TURNS = 60
BELIEF_TOLERANCE = 1e-4


class Tracker:
    """Follows every echo of a run.  Stateful: feed it turn after turn, in order of time."""

    def __init__(
        self, frame: LocalFrame, *, pose_errors: PoseErrors | None = None, settings: TrackerSettings | None = None
    ) -> None:
        self.frame = frame
        self.pose_errors = pose_errors or PoseErrors()
        self.settings = settings or TrackerSettings()
        self._bank = Bank.empty()
        self._time_ns: int | None = None
        self._next_id = 1
        self._stray_place = np.zeros((0, 2))
        self._stray_weight = np.zeros(0)

    def update(
        self,
        time_ns: int,
        plots: Plots,
        errors: ScanErrors,
        *,
        ais: Iterable[AisTarget] = (),
        p_visible: PVisible | None = None,
    ) -> tuple[Track, ...]:
        """Take in one turn and return all tracks, predicted to ``time_ns``.

        ``p_visible`` tells where an echo could be seen at all; None: everywhere.  A time before the last one's is
        taken as the last one's.  Plots that cannot be placed (no heading, no position) are left out, and when none
        of a turn's can be, nothing is held against the tracks for not being seen.
        """
        step = self._advance(time_ns)
        shared = shared_covariance(errors, self.pose_errors)
        self._predict(step)
        got = measure(self._now(), plots, errors, self.frame, self.pose_errors, self.settings.glint_sigma_m)
        blind = len(plots) > 0 and len(got) == 0
        visible = self._visible(p_visible) * (0.0 if blind else 1.0)
        self._take_in(got, plots, shared, visible)
        self._forget()
        return self._tracks()

    # -- time -----------------------------------------------------------------------------------------------------

    def _now(self) -> int:
        assert self._time_ns is not None
        return self._time_ns

    def _advance(self, time_ns: int) -> float:
        last = self._time_ns
        self._time_ns = time_ns if last is None else max(time_ns, last)
        return 0.0 if last is None else (self._time_ns - last) / NS_PER_S

    def _predict(self, step: float) -> None:
        bank, models, pose = self._bank, self.settings.models, self.pose_errors
        if step > MAX_STEP_S:
            self._bank = Bank.empty()
            return
        if step <= 0.0 or len(bank) == 0:
            return
        decay = np.exp(-step / np.array([pose.heading_correlation_s] + 2 * [pose.position_correlation_s]))
        kernels.predict_kernel(
            bank.x, bank.p, bank.c, bank.mu, step, models.transition(step), models.mixing_floor,
            models.speed_sigma**2, models.turn_rate_sigma**2, models.still_walk,
            np.array([0.0, models.straight_q, models.steered_q, models.turning_q]), models.turning_rate_q, decay,
        )  # fmt: skip
        bank.exists *= math.exp(-step / self.settings.life_s)

    # -- evidence -------------------------------------------------------------------------------------------------

    def _visible(self, p_visible: PVisible | None) -> Floats:
        bank = self._bank
        if p_visible is None or len(bank) == 0:
            return np.ones(len(bank))
        mean = np.einsum("im,ima->ia", bank.mu, bank.x[:, :, :2])
        seen = np.asarray(p_visible(mean[:, 0], mean[:, 1]), dtype=np.float64)
        return np.clip(np.nan_to_num(seen, nan=0.0), 0.0, 1.0)

    def _p_detect(self, visible: Floats) -> Floats:
        s, bank = self.settings, self._bank
        # Four turns' worth of the general figure stand behind each track's own record.
        own = (bank.seen + 4.0 * s.p_detect) / (bank.looked + 4.0)
        return np.clip(own, 0.3, 0.98) * visible

    def _take_in(self, got: Measured, plots: Plots, shared: Floats, visible: Floats) -> None:
        s, bank = self.settings, self._bank
        n, j_n = len(bank), len(got)
        p_detect = self._p_detect(visible)
        track, plot, like = kernels.pairs_kernel(
            bank.x, bank.p, bank.c, bank.mu, got.place_m, got.noise, got.shared_jacobian, got.ahead_s, shared, s.gate
        )
        clutter = s.clutter_per_m2 + kernels.density_kernel(
            got.place_m, self._stray_place, self._stray_weight, s.clutter_cell_m
        )
        unexplained = clutter + s.birth_per_m2 * s.p_detect
        mixed = np.einsum("qm,qm->q", bank.mu[track], like)
        seen_and_there = bank.exists * p_detect
        w = np.maximum(seen_and_there[track] * mixed / unexplained[plot], 1e-300)
        w0 = np.maximum(1.0 - seen_and_there, 1e-12)
        share, none, fresh = kernels.marginals_kernel(track, plot, w, w0, j_n, BELIEF_TURNS, BELIEF_TOLERANCE)
        hit = 1.0 - none
        bank.exists = np.clip(hit + none * bank.exists * (1.0 - p_detect) / w0, 0.0, 1.0 - 1e-9)
        bank.seen = bank.seen * (1 - 1 / s.p_detect_memory) + hit
        bank.looked = bank.looked * (1 - 1 / s.p_detect_memory) + np.maximum(visible, hit)

        taken = kernels.assign_kernel(track, plot, np.log(w / w0[track]), n, j_n, 1e-3)
        self._undo_swaps(track, plot, share, none, taken)
        kernels.update_kernel(
            bank.x, bank.p, bank.c, bank.mu, track, plot, like, share, none,
            got.place_m, got.noise, got.shared_jacobian, got.ahead_s, shared,
        )  # fmt: skip
        self._record(got, plots, plot, share, taken)
        self._begin(got, plots, shared, fresh * s.birth_per_m2 * s.p_detect / unexplained, fresh)
        self._learn_strays(got, fresh)

    @staticmethod
    def _undo_swaps(track: NDArray[np.int64], plot: NDArray[np.int64], share: Floats, none: Floats, taken: NDArray[np.int64]) -> None:
        """Drop what would pull two tracks to their middle: a plot that the best joint assignment gives to another.

        Only where the track has a plot of its own in that assignment; shares are scaled to keep their sum.  This is
        the pruning of the exact-nearest-neighbour JPDA (Blom and Bloem 2000), done on the marginals.
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

    def _record(
        self, got: Measured, plots: Plots, plot: NDArray[np.int64], share: Floats, taken: NDArray[np.int64]
    ) -> None:
        bank = self._bank
        n = len(bank)
        bank.n_scans += 1
        bank.last_plot = np.full(n, -1, dtype=np.int64)
        own = np.flatnonzero(taken >= 0)
        own = own[share[taken[own]] > 0.3]
        bank.misses += 1
        bank.misses[own] = 0
        if own.size == 0:
            return
        at = plot[taken[own]]
        index = got.plot[at]
        bank.last_plot[own] = index
        bank.n_hits[own] += 1
        bank.last_plot_ns[own] = plots.time_ns[index]
        strength = plots.strength_db[index]
        before = bank.strength_db[own]
        bank.strength_db[own] = np.where(np.isfinite(before), before + 0.2 * (strength - before), strength)
        is_false = (plots.false_parent[index] >= 0).astype(np.float64)
        bank.false_votes[own] += 0.2 * (is_false - bank.false_votes[own])

    def _begin(self, got: Measured, plots: Plots, shared: Floats, exists: Floats, fresh: Floats) -> None:
        s = self.settings
        new = np.flatnonzero(fresh > 0.2)
        room = max(s.max_tracks - len(self._bank), 0)
        new = new[:room]
        if new.size == 0:
            return
        n = new.size
        index = got.plot[new]
        x, p, c, mu = newborn(
            got.place_m[new], got.noise[new], got.shared_jacobian[new], shared, s.models, s.max_speed_sigma
        )
        when = plots.time_ns[index].astype(np.int64)
        self._bank.append(
            Bank(
                x=x, p=p, c=c, mu=mu, exists=exists[new], seen=np.zeros(n), looked=np.zeros(n),
                strength_db=plots.strength_db[index].astype(np.float64), shape=np.zeros((n, 2, 2)),
                shape_sq=np.zeros(n), shape_weight=np.zeros(n),
                id=np.arange(self._next_id, self._next_id + n, dtype=np.int64), confirmed=np.zeros(n, np.bool_),
                started_ns=when, last_plot_ns=when.copy(), n_scans=np.ones(n, np.int64), n_hits=np.ones(n, np.int64),
                misses=np.zeros(n, np.int64), last_plot=index.astype(np.int64),
                false_votes=(plots.false_parent[index] >= 0).astype(np.float64),
            )
        )  # fmt: skip
        self._next_id += n

    def _learn_strays(self, got: Measured, fresh: Floats) -> None:
        s = self.settings
        fade = 1.0 - 1.0 / s.clutter_memory_turns
        self._stray_weight = self._stray_weight * fade
        keep = self._stray_weight > 0.02 / s.clutter_memory_turns
        # Weights sum to the number per turn: each turn counts 1 / memory when new.
        self._stray_place = np.concatenate([self._stray_place[keep], got.place_m])
        self._stray_weight = np.concatenate([self._stray_weight[keep], fresh / s.clutter_memory_turns])

    def _forget(self) -> None:
        s, bank = self.settings, self._bank
        bank.confirmed |= (bank.exists >= s.confirm_at) & (bank.n_hits >= s.confirm_hits)
        floor = np.where(bank.confirmed, s.drop_confirmed_at, s.drop_tentative_at)
        # A track of this turn has had no chance yet.
        bank.keep((bank.exists >= floor) | (bank.n_scans <= 1))

    # -- what is told ---------------------------------------------------------------------------------------------

    def _tracks(self) -> tuple[Track, ...]:
        bank, s = self._bank, self.settings
        mean, cov = bank.mean()
        p_moving = 1.0 - bank.mu[:, kernels.STILL]
        out = []
        for i in range(len(bank)):
            state: TrackState = "tentative"
            if bank.confirmed[i]:
                state = "coasting" if bank.misses[i] >= s.coast_after else "confirmed"
            out.append(
                Track(
                    id=int(bank.id[i]), state=state, time_ns=self._now(),
                    east_m=float(mean[i, 0]), north_m=float(mean[i, 1]),
                    velocity_east=float(mean[i, 2]), velocity_north=float(mean[i, 3]),
                    covariance=cov[i, :4, :4].copy(), p_exists=float(bank.exists[i]), p_moving=float(p_moving[i]),
                    turn_rate=float(mean[i, 4]), turn_rate_sigma=math.sqrt(max(float(cov[i, 4, 4]), 0.0)),
                    length_m=None, beam_m=None, orientation_rad=None, strength_db=float(bank.strength_db[i]),
                    started_ns=int(bank.started_ns[i]), last_plot_ns=int(bank.last_plot_ns[i]),
                    n_scans=int(bank.n_scans[i]), n_hits=int(bank.n_hits[i]), misses_in_a_row=int(bank.misses[i]),
                    last_plot=int(bank.last_plot[i]) if bank.last_plot[i] >= 0 else None,
                )
            )  # fmt: skip
        return tuple(out)
