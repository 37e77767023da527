"""Where plots come that nothing explains: the false-plot density of each place, learnt as the run goes."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.track import _kernels as kernels
from moonless.track.measure import Measured
from moonless.track.settings import TrackerSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Strays:
    """Remembers stray plots for some turns, over the ground.  Weights sum to the number per turn."""

    def __init__(self, settings: TrackerSettings) -> None:
        self._settings = settings
        self._place = np.zeros((0, 2))
        self._weight = np.zeros(0)
        self._owner = np.zeros(0, dtype=np.int64)  # id of the track that took it, -1: none

    def _reach(self, got: Measured) -> Floats:
        s = self._settings
        return np.maximum(s.clutter_reach_m, s.clutter_reach_of_range * got.range_m)

    def area(self, got: Measured) -> Floats:
        """Return (n,) square metres over which the density at each plot is counted."""
        return math.pi * self._reach(got) ** 2

    def density(self, got: Measured) -> Floats:
        """Return (n,) strays per square metre and turn about each plot."""
        return kernels.density_kernel(  # type: ignore[no-any-return]
            got.place_m, self._reach(got), self._place, self._weight
        )

    def learn(self, got: Measured, stray: Floats, owner: Ints) -> None:
        """Take in a turn: ``stray`` (n,) probability that nothing explains each plot, ``owner`` (n,) track ids."""
        memory = self._settings.clutter_memory_turns
        weight = self._weight * (1.0 - 1.0 / memory)
        keep = weight > 0.02 / memory
        new = stray > 0.02
        self._place = np.concatenate([self._place[keep], got.place_m[new]])
        self._weight = np.concatenate([weight[keep], stray[new] / memory])
        self._owner = np.concatenate([self._owner[keep], owner[new]])

    def acquit(self, ids: Ints) -> None:
        """Forget the plots of tracks now confirmed: they were no strays after all."""
        keep = ~np.isin(self._owner, ids)
        self._place, self._weight, self._owner = self._place[keep], self._weight[keep], self._owner[keep]
