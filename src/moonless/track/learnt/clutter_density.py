"""The clutter density of each place: false plots per square metre and turn, learnt as the run goes.

The plots of the last turns about a place that no track explains are counted and joined with what is expected anywhere,
as a gamma prior worth one: density = (1 + count) / (1 / prior density + area x turns).  So one false plot is no
evidence of clutter, and a place watched for long without any is known to be clean.

Only those count that are as strong as the plot asked about, its own fading allowed for: a thousand crossings of noise
say nothing against an echo that stands thirty decibels over them (amplitude in track initiation: Lerro and Bar-Shalom
1993, from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.frames import LocalFrame
from moonless.track import reframe
from moonless.track.kernels import around_kernels as around
from moonless.track.measurements import Measured
from moonless.track.settings import TrackerSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class ClutterDensity:
    """Remembers false plots for some turns, over the ground, each with a weight that fades from one."""

    def __init__(self, settings: TrackerSettings) -> None:
        self._settings = settings
        self._place = np.zeros((0, 2))
        self._weight = np.zeros(0)
        self._strength = np.zeros(0)  # dB over the floor
        self._owner = np.zeros(0, dtype=np.int64)  # id of the track that took it, -1: none
        self._turns = 0.0  # watched, fading likewise

    def _reach(self, got: Measured) -> Floats:
        s = self._settings
        return np.maximum(s.clutter_reach_m, s.clutter_reach_of_range * got.range_m)

    def count(self, got: Measured) -> Floats:
        """Return (n,) faded number of false plots about each plot that are as strong."""
        reach, least = self._reach(got), got.strength_db - self._settings.clutter_fading_db
        order = np.argsort(self._place[:, 0])
        density = around.density_kernel(
            got.place_m, reach, least, self._place[order], self._weight[order], self._strength[order]
        )
        return np.asarray(density * math.pi * reach**2)

    def density(self, got: Measured, count: Floats) -> Floats:
        """Return (n,) false plots per square metre and turn to expect about each plot, ``count`` (n,) being seen."""
        watched = math.pi * self._reach(got) ** 2 * self._turns
        return (1.0 + count) / (1.0 / self._settings.clutter_per_m2 + watched)

    def learn(self, got: Measured, false: Floats, owner: Ints) -> None:
        """Take in a turn: ``false`` (n,) probability that nothing explains each plot, ``owner`` (n,) track ids."""
        fade = 1.0 - 1.0 / self._settings.clutter_memory_turns
        weight = self._weight * fade
        keep = weight > 0.02
        new = false > 0.02
        self._turns = self._turns * fade + 1.0
        self._place = np.concatenate([self._place[keep], got.place_m[new]])
        self._weight = np.concatenate([weight[keep], false[new]])
        self._strength = np.concatenate([self._strength[keep], got.strength_db[new]])
        self._owner = np.concatenate([self._owner[keep], owner[new]])

    def release(self, ids: Ints) -> None:
        """Forget the plots of tracks now confirmed: they were no clutter after all."""
        keep = ~np.isin(self._owner, ids)
        self._place, self._weight = self._place[keep], self._weight[keep]
        self._strength, self._owner = self._strength[keep], self._owner[keep]

    def reframe(self, old: LocalFrame, new: LocalFrame) -> None:
        """Carry the plots to another local plane."""
        if self._place.size:
            self._place = reframe.places(self._place, old, new)
