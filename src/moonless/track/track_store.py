"""All tracks as parallel arrays: what the kernels work on."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from moonless.track.kernels import plot_kernels as meeting
from moonless.track.settings import MotionModels

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(slots=True, eq=False)
class TrackStore:
    """N tracks.  M = 4 motion models; the state of 8 as `_kernels` has it."""

    x: Floats  # (N, M, 8)
    p: Floats  # (N, M, 8, 8)
    mu: Floats  # (N, M) probability of each motion model
    exists: Floats  # (N,)
    seen: Floats  # (N,) weighted turns with a plot, of `looked`
    looked: Floats  # (N,)
    strength_db: Floats  # (N,) NaN until a plot
    shape: Floats  # (N, 2, 2) smoothed second moment of the hull, m^2, over the ground
    shape_sq: Floats  # (N,) smoothed square of the length, for its scatter
    shape_weight: Floats  # (N,) turns that resolved the hull, fading
    id: Ints  # (N,)
    confirmed: NDArray[np.bool_]  # (N,)
    started_ns: Ints
    last_plot_ns: Ints
    n_scans: Ints
    n_hits: Ints
    misses: Ints
    last_plot: Ints  # index into this turn's plots, -1: none
    false_odds: Floats  # (N,) log odds of a ghost against a real echo, from which of its plots were called false
    false_parent: Ints  # (N,) id of the track whose ghost this was last said to be, -1: not known
    false_cause: NDArray[np.object_]  # (N,) str or None
    quality: Floats  # (N,) log odds of a steady source against a flickering one, from hits and misses
    patience: Floats  # (N,) the same against clutter that comes back now and then, for what is itself seen now and then
    fit: Floats  # (N,) log odds of one thing, well predicted, against plots that merely happen in the gate
    clutter: Floats  # (N,) false plots per square metre and turn about it, its own left out
    own_false: Floats  # (N,) weight of its own plots among the false ones
    in_view: Floats  # (N,) probability that an echo at its place could be seen this turn

    def __len__(self) -> int:
        return int(self.id.shape[0])

    @classmethod
    def empty(cls) -> TrackStore:
        """Return a store of no tracks."""
        f, i = np.float64, np.int64
        return cls(
            x=np.zeros((0, 4, 8), f), p=np.zeros((0, 4, 8, 8), f), mu=np.zeros((0, 4), f),
            exists=np.zeros(0, f), seen=np.zeros(0, f), looked=np.zeros(0, f), strength_db=np.zeros(0, f),
            shape=np.zeros((0, 2, 2), f), shape_sq=np.zeros(0, f), shape_weight=np.zeros(0, f),
            id=np.zeros(0, i), confirmed=np.zeros(0, np.bool_), started_ns=np.zeros(0, i), last_plot_ns=np.zeros(0, i),
            n_scans=np.zeros(0, i), n_hits=np.zeros(0, i), misses=np.zeros(0, i), last_plot=np.zeros(0, i),
            false_odds=np.zeros(0, f), false_parent=np.zeros(0, i),
            false_cause=np.zeros(0, np.object_), quality=np.zeros(0, f), patience=np.zeros(0, f), fit=np.zeros(0, f),
            clutter=np.zeros(0, f), own_false=np.zeros(0, f), in_view=np.zeros(0, f),
        )  # fmt: skip

    def keep(self, mask: NDArray[np.bool_]) -> None:
        """Forget the tracks where ``mask`` is False."""
        if bool(np.all(mask)):
            return
        for f in fields(self):
            setattr(self, f.name, getattr(self, f.name)[mask])

    def append(self, other: TrackStore) -> None:
        """Take in another store's tracks at the end."""
        if len(other) == 0:
            return
        for f in fields(self):
            joined: NDArray[np.generic] = np.concatenate([getattr(self, f.name), getattr(other, f.name)])
            setattr(self, f.name, joined)

    def mean(self, floor: float = 0.0) -> tuple[Floats, Floats]:
        """Return (N, 8) and (N, 8, 8): the models mixed, spread of their means included.

        Models with a share below ``floor`` do not move the mean, but their spread about it still counts.
        """
        mean, cov = meeting.mixture_kernel(self.x, self.p, self.mu, floor)
        return np.asarray(mean), np.asarray(cov)


def newborn(
    place_m: Floats, noise: Floats, jacobian: Floats, shared: Floats, ahead_s: Floats, models: MotionModels,
    speed_sigma: float, range_m: Floats,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """Return (x, p, mu) of tracks begun at ``place_m`` (n, 2) by one plot each, velocity unknown.

    ``ahead_s`` (n,): plot time minus the tracks' time.  What was seen early in the turn has moved since, and how far
    depends on its velocity: else next turn's plot of the same bearing would be sought where this one was.
    """
    n = place_m.shape[0]
    x, p = np.zeros((n, 4, 8)), np.zeros((n, 4, 8, 8))
    x[:, :, :2] = place_m[:, None, :]
    spread = noise + jacobian @ shared @ np.swapaxes(jacobian, 1, 2)
    p[:, :, :2, :2] = spread[:, None]
    p[:, 1:, 2, 2] = p[:, 1:, 3, 3] = speed_sigma**2
    since = -ahead_s[:, None]
    for axis in range(2):
        p[:, 1:, axis, axis] += (speed_sigma * since) ** 2
        p[:, 1:, axis, axis + 2] = p[:, 1:, axis + 2, axis] = speed_sigma**2 * since
    p[:, 3, 4, 4] = models.turn_rate_sigma**2
    p[:, :, 5:, 5:] = shared
    # The place is measured, so its error is minus the shared error seen through the measurement.
    owed = -(jacobian @ shared)
    p[:, :, :2, 5:] = owed[:, None]
    p[:, :, 5:, :2] = np.swapaxes(owed, 1, 2)[:, None]
    mu = np.tile(np.asarray(models.at_birth), (n, 1))
    # What is steered by hand, or turns at once, is small, and is not seen from far: at such a range it is a ship.
    small = mu[:, 2:] * np.exp(-((range_m / models.small_seen_m) ** 4))[:, None]
    mu[:, 1] += (mu[:, 2:] - small).sum(axis=1)
    mu[:, 2:] = small
    return x, p, mu
