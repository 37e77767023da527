"""What the plots' own scatter is of what was promised, as a factor on the variance; learnt from the tracks."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.track.settings import TrackerSettings
from moonless.track.track_store import TrackStore

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class NoiseScale:
    """A factor on the measurement noise, 1 until something is learnt."""

    def __init__(self, settings: TrackerSettings) -> None:
        self.scale = 1.0
        self._settings = settings
        self._plots = 0.0

    def learn(self, store: TrackStore, surprise: Floats, share: Floats, taken: Ints) -> None:
        """Hold the plots of sure tracks against what was predicted, and scale the noise that is believed.

        Were the noise right, the squared distance would be 2 on the mean.  Distances are cut at 9, which costs a
        hundredth of that mean, so that one stranger cannot teach much.  The first plots teach most: a radar whose
        plots scatter far more than was promised would else lose her tracks before it is found out.
        """
        s = self._settings
        sure = store.confirmed | (store.exists >= s.noise_sure_at)
        own = np.flatnonzero((taken >= 0) & sure & (store.n_hits >= s.noise_after_hits))
        own = own[share[taken[own]] > 0.8]
        if own.size == 0:
            return
        d2 = np.minimum(surprise[own], 9.0)
        self._plots = min(self._plots + own.size, s.noise_memory_plots)
        worth = max(s.noise_prior_plots + self._plots, 3.0 * own.size)
        step = float(np.sum(d2 / 2.0 - 0.989)) / worth
        self.scale = min(max(self.scale * math.exp(step), s.noise_scale_least), s.noise_scale_most)
