"""How far a whole turn of plots lies askew: the heading's jitter from turn to turn, told by all that lies still.

A set that steadies its picture by a compass of whole degrees, or a boat that yaws faster than her compass says, turns
all echoes of one turn together, by half a degree or more.  One track cannot know it of its own plot; forty that lie
still can.  Only what changes within some turns is taken out here: what lasts is the registration's, and the tracks'.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from moonless.frames import wrap_pi
from moonless.track.kernels import motion_kernels as motion
from moonless.track.measurements import Measured
from moonless.track.track_store import TrackStore

Floats = NDArray[np.float64]

# What bears witness: a track that lies still, sure and seen so often, not missed for long, and no nearer than this,
# where a hull's own breadth is many degrees.
STILL_SHARE, LEAST_HITS, MOST_MISSES, FROM_M = 0.7, 5, 2, 300.0
# Plots so far off in bearing may be its own, and so far in range; the votes lie about their mode within so much.
WITHIN_RAD, ALONG_M, ABOUT_RAD = math.radians(3.0), 25.0, math.radians(0.75)
# The mode is sought in such steps, each vote spread by so much.
STEP_RAD, SPREAD_RAD = math.radians(0.1), math.radians(0.3)
# So many tracks, and so many of those asked, must agree.
LEAST_TRACKS, LEAST_SHARE = 8, 0.6
# Share of each turn in what lasts, and in what is known of how large the jitter is.
LASTS, LEARNS = 0.02, 0.1
# A jitter no larger than this is left alone: what a few still things say of it is no better than what they take away.
# On a made scene with 0.15 degrees the velocity got worse by it, on the real runs there are 0.55 and 0.7.
LEAST_RAD = math.radians(0.3)


class TurnRotation:
    """Estimates each turn's rotation against what lasts of it, and how large it is from turn to turn."""

    def __init__(self) -> None:
        self.lasting = 0.0  # rad, clockwise
        self.variance = 0.0  # of what comes and goes; 0: nothing learnt
        self._turns = 0

    def less_it(self, got: Measured, store: TrackStore) -> Measured:
        """Return the plots turned back by what is this turn's alone; as they are while nothing is known of it."""
        votes = _votes(got, store)
        found = None if votes is None else _agreed(*votes)
        if found is None:
            return got
        rotation, sigma2 = found
        self._turns += 1
        jitter = rotation - self.lasting
        # The tracks that bear witness were begun by such plots: to begin with nothing lasts against them.
        self.lasting += LASTS * jitter
        # What the estimate itself scatters by is not the heading's.
        self.variance = max(self.variance + max(LEARNS, 1.0 / self._turns) * (jitter**2 - sigma2 - self.variance), 0.0)
        large = max(self.variance - LEAST_RAD**2, 0.0)
        return turned(got, jitter * large / (large + sigma2))


def turned(got: Measured, by_rad: float) -> Measured:
    """Return the plots turned back by an angle, clockwise, each about the boat's own place."""
    if by_rad == 0.0:
        return got
    c, s = math.cos(by_rad), math.sin(by_rad)
    rel = got.place_m - got.own_m
    back = np.column_stack([rel[:, 0] * c - rel[:, 1] * s, rel[:, 0] * s + rel[:, 1] * c])
    return replace(got, place_m=got.own_m + back, bearing_rad=got.bearing_rad - by_rad)


def _votes(got: Measured, store: TrackStore) -> tuple[Floats, int] | None:
    """Return how far in bearing plots lie from the still tracks they may belong to, and how many tracks were asked."""
    if len(got) == 0 or len(store) == 0:
        return None
    sure = store.confirmed & (store.mu[:, motion.STILL] >= STILL_SHARE)
    sure &= (store.n_hits >= LEAST_HITS) & (store.misses <= MOST_MISSES)
    x = store.x[sure, motion.STILL]
    own = got.own_m.mean(axis=0)
    # Where each lies, without what it thinks of the errors that all have in common: that follows the very jitter within
    # some turns, and the two would chase each other.
    at = x[:, :2] - own
    azimuth, away = np.arctan2(at[:, 0], at[:, 1]), np.hypot(at[:, 0], at[:, 1])
    far = away >= FROM_M
    azimuth, away = azimuth[far], away[far]
    if azimuth.size < LEAST_TRACKS:
        return None
    # Each plot is seen from where the boat was then; against a still thing that is told by its place.
    rel = got.place_m - own
    plot_azimuth, plot_away = np.arctan2(rel[:, 0], rel[:, 1]), np.hypot(rel[:, 0], rel[:, 1])
    off = wrap_pi(plot_azimuth[None, :] - azimuth[:, None])
    near = (np.abs(off) <= WITHIN_RAD) & (np.abs(plot_away[None, :] - away[:, None]) <= ALONG_M)
    return off[near], int(azimuth.size)


def _agreed(votes: Floats, n_asked: int) -> tuple[float, float] | None:
    """Return the rotation that most votes agree on and its variance; None: they do not."""
    if votes.size < LEAST_TRACKS:
        return None
    at = np.arange(-WITHIN_RAD, WITHIN_RAD + STEP_RAD, STEP_RAD)
    density = np.exp(-0.5 * ((at[:, None] - votes[None, :]) / SPREAD_RAD) ** 2).sum(axis=1)
    mode = at[int(np.argmax(density))]
    agree = votes[np.abs(votes - mode) <= ABOUT_RAD]
    if agree.size < max(LEAST_TRACKS, LEAST_SHARE * n_asked):
        return None
    return float(agree.mean()), max(float(agree.var()), STEP_RAD**2) / agree.size
