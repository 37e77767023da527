"""Whether there is something at all: existence, probability of detection, confirmation and deletion of tracks."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.scan.types import ScanErrors
from moonless.track.hulls import axes
from moonless.track.kernels import around_kernels as around
from moonless.track.kernels import motion_kernels as motion
from moonless.track.measurements import Measured
from moonless.track.settings import TrackerSettings
from moonless.track.track_store import TrackStore

Floats = NDArray[np.float64]


def hindered(store: TrackStore, s: TrackerSettings, got: Measured, errors: ScanErrors) -> tuple[Floats, Floats]:
    """Return (N,) how free each track is to be seen as a plot of its own, and (N, 2, 2) what its neighbours blend in.

    An echo that lies unresolved with another's, or in its shadow, makes no plot of its own.
    """
    if len(got) == 0 or len(store) == 0:
        return np.ones(len(store)), np.zeros((len(store), 2, 2))
    place = np.einsum("im,ima->ia", store.mu, store.x[:, :, :2])
    length = np.where(store.shape_weight >= 2.0, axes(store.shape)[0], 0.0)
    # Only what is seen itself can hide another: else tracks that coast side by side would excuse each other for
    # good, and none of them would claim the plot that lies on them all.
    hides = np.where(store.misses <= s.hides_after_misses, store.exists, 0.0)
    return around.neighbours_kernel(
        place, hides, store.confirmed, np.where(length >= 20.0, length, 0.0), got.own_m.mean(axis=0),
        max(errors.beam_rad, 1e-4), max(errors.pulse_m, 1.0), s.unresolved_most, s.shadowed,
    )  # fmt: skip


def detection_probability(store: TrackStore, s: TrackerSettings) -> Floats:
    """Return (N,) each track's own probability of detection, from how often it was seen where it could be."""
    own = (store.seen + s.p_detect_weight * s.p_detect) / (store.looked + s.p_detect_weight)
    return np.clip(own, s.p_detect_least, s.p_detect_most)


def update_existence(
    store: TrackStore,
    s: TrackerSettings,
    hit: Floats,
    unseen: Floats,
    visible: Floats,
    surprise: Floats,
    owns: NDArray[np.bool_],
) -> None:
    """Update the probability of existence, the record of being seen, steady against flickering, one thing against many.

    All (N,): ``hit`` and ``unseen`` the probabilities that there is one and it was seen, or was not; ``visible`` that
    it could be; ``surprise`` the squared distance of its own plot, NaN without; ``owns`` whether it has one.
    """
    store.exists = np.clip(hit + unseen, 0.0, s.surest)
    # All that follows asks what a real thing did, so it is given that there is one.
    hit = hit / np.maximum(hit + unseen, 1e-12)
    fade = 1.0 - 1.0 / s.p_detect_memory
    store.seen = store.seen * fade + hit
    store.looked = store.looked * fade + np.maximum(visible, hit)
    for_hit = math.log(s.steady_p_detect / s.flicker_p_detect)
    for_miss = math.log((1.0 - s.steady_p_detect) / (1.0 - s.flicker_p_detect))
    # Held at or above zero, as a cumulative-sum test is (Page 1954): a source may become steady at any time.
    step = hit * for_hit + visible * (1.0 - hit) * for_miss
    store.quality = np.clip(store.quality + step, 0.0, s.most_log_odds)
    for_hit = math.log(s.patient_p_detect / s.seldom_p_detect)
    for_miss = math.log((1.0 - s.patient_p_detect) / (1.0 - s.seldom_p_detect))
    # Only its own plot counts: what is so vague that some plot lies near it every turn is patient for nothing.
    step = np.where(owns, hit * for_hit, 0.0) + np.where(owns, 1.0 - hit, 1.0) * visible * for_miss
    store.patience = np.clip(store.patience + step, 0.0, s.most_patience)
    # Plots of one thing lie about the prediction as a Gaussian; plots that merely happen lie anywhere in the gate.
    fit = np.where(np.isfinite(surprise), math.log(s.gate / 2.0) - 0.5 * np.minimum(surprise, s.gate), 0.0)
    store.fit = np.clip(store.fit + hit * fit, 0.0, s.most_log_odds)
    store.own_false *= 1.0 - 1.0 / s.clutter_memory_turns


def confirm(store: TrackStore, s: TrackerSettings) -> NDArray[np.bool_]:
    """Return (N,) which tracks earn confirmation this turn; they are marked confirmed.

    At least so many plots (`confirm_hits`, `patient_hits`), and evidence enough for one steady thing; more is asked
    where clutter is dense.
    """
    dirt = np.log(np.maximum(store.clutter / s.clean_per_m2, 1.0))
    likely = ~store.confirmed & (store.exists >= s.confirm_at)
    is_one = store.fit >= np.minimum(s.confirm_fit + s.fit_per_clutter * dirt, s.most_log_odds)
    steady = store.quality >= np.minimum(s.confirm_log_odds + s.confirm_per_clutter * dirt, s.most_log_odds)
    # What comes back turn after turn is there, however its echo scatters.
    lasting = (store.quality >= s.lasting_log_odds) & (store.n_hits >= s.lasting_hits)
    now = likely & steady & (store.n_hits >= s.confirm_hits) & (is_one | lasting)
    calm = store.mu[:, motion.STILL] + store.mu[:, motion.STRAIGHT] >= s.patient_calm
    patient = store.patience >= s.patient_log_odds + s.patient_per_clutter * dirt
    now |= likely & patient & calm & is_one & (store.n_hits >= s.patient_hits)
    store.confirmed |= now
    return np.asarray(now, dtype=np.bool_)


def drop(store: TrackStore, s: TrackerSettings) -> None:
    """Forget the tracks whose probability of existence has gone; where room runs short, tentative ones not seen too."""
    floor = np.where(store.confirmed, s.drop_confirmed_at, s.drop_tentative_at)
    # Where room runs short, what was never sure of being there is not waited for behind what may hide it: of crests in
    # a rough sea each would excuse the next.  Elsewhere it is: begun anew, a patch of rain has a clean record.
    is_short = len(store) > s.full_from * s.max_tracks
    waited = ~store.confirmed & (store.misses > s.tentative_waits) & is_short
    # A track of this turn has had no chance yet.
    store.keep(((store.exists >= floor) & ~waited) | (store.n_scans <= 1))
