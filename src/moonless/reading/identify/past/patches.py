"""How the patches of a drifting field look: in what share of turns they answer, how strongly, how long.

A shower's patches come and go, a squall's core is hit in every turn; what they are like is learnt from those that
surely go with the field, beside what is expected of any.  Each track is asked against the others, never against itself.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from moonless.reading.identify.past.clutter_runs import hit_ever
from moonless.track.types import Track

Floats = NDArray[np.float64]

# Shares of turns with an echo: of patches, before any is known, and of boats; a likelihood of Beta form each.  Seen in
# wild scenes 100 to 120: six turns in ten and nine in ten.
PATCH_HITS, BOAT_HITS = (4.5, 3.0), (9.0, 1.5)
# The strength of patches, dB over the floor, before any is known (mean, sigma), and the span over which that of a boat
# may lie.
PATCH_DB, BOAT_SPAN_DB = (20.0, 8.0), 60.0
# Bounds between lengths, metres, the first where none is resolved, and how many boats and ships have each.
LENGTHS_M, BOAT_LENGTHS = (1.0, 60.0, 120.0), (0.65, 0.20, 0.09, 0.06)
# What is expected counts as so many patches beside those that are seen; how widely each of these speaks.
PRIOR_HITS, PRIOR_STRENGTHS, PRIOR_LENGTHS = 4.0, 20.0, 20.0
HITS_WIDTH, STRENGTH_WIDTH_DB = 0.05, 6.0
# How much any one of the three may say; own figures, chosen as all here on 20 wild scenes from 105 to 141.
MOST_HITS, STRENGTH_SAYS, LENGTH_SAYS = 20.0, (0.02, 3.0), (0.2, 4.0)


def looks_of_patches(tracks: list[Track], member: Floats) -> Floats:
    """Return (n,) how much likelier each track's record, strength and length are for a patch than for a boat.

    ``member`` (n,): the weight of each as one that surely goes with the field, 0 for none.
    """
    if not tracks:
        return np.zeros(0)
    others = member.sum() - member
    return _hits_say(tracks, member, others) * _strengths_say(tracks, member) * _lengths_say(tracks, member, others)


def _hits_say(tracks: list[Track], member: Floats, others: Floats) -> Floats:
    share = np.clip([hit_ever(t) for t in tracks], 0.02, 0.98)
    boat = _beta(share, *BOAT_HITS)
    # Of what a kernel spreads past a share of one nothing is lost.
    height = 1.0 / (HITS_WIDTH * math.sqrt(2.0 * math.pi) * np.maximum(ndtr((1.0 - share) / HITS_WIDTH), 0.5))
    seen = height * _near(share, member, HITS_WIDTH)
    patch = (seen + PRIOR_HITS * _beta(share, *PATCH_HITS)) / (others + PRIOR_HITS)
    return np.asarray(np.minimum(patch / boat, MOST_HITS))


def _strengths_say(tracks: list[Track], member: Floats) -> Floats:
    level = np.array([t.strength_db for t in tracks])
    # Of another radar's targets no strength is known; that says nothing, and they teach nothing.
    known = np.isfinite(level)
    level, member = np.where(known, level, 0.0), np.where(known, member, 0.0)
    others = member.sum() - member
    middle, sigma = PATCH_DB
    expected = np.exp(-0.5 * ((level - middle) / sigma) ** 2) / (sigma * math.sqrt(2.0 * math.pi))
    seen = _near(level, member, STRENGTH_WIDTH_DB) / (STRENGTH_WIDTH_DB * math.sqrt(2.0 * math.pi))
    patch = (seen + PRIOR_STRENGTHS * expected) / (others + PRIOR_STRENGTHS)
    return np.where(known, np.clip(patch * BOAT_SPAN_DB, *STRENGTH_SAYS), 1.0)


def _lengths_say(tracks: list[Track], member: Floats, others: Floats) -> Floats:
    length = np.digitize([t.length_m or 0.0 for t in tracks], LENGTHS_M)
    boat = np.array(BOAT_LENGTHS)[length]
    seen = np.bincount(length, weights=member, minlength=len(BOAT_LENGTHS))[length] - member
    patch = (seen + PRIOR_LENGTHS * boat) / (others + PRIOR_LENGTHS)
    return np.asarray(np.clip(patch / boat, *LENGTH_SAYS))


def _near(value: Floats, member: Floats, width: float) -> Floats:
    """Return (n,) the weight of the other members near each value, 1 for one at the same value."""
    at = np.flatnonzero(member)
    near = np.exp(-0.5 * ((value[:, None] - value[None, at]) / width) ** 2) @ member[at]
    return np.asarray(np.maximum(near - member, 0.0))


def _beta(share: Floats, a: float, b: float) -> Floats:
    """Return the Beta density of each share."""
    whole = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    return np.asarray(np.exp(whole + (a - 1.0) * np.log(share) + (b - 1.0) * np.log1p(-share)))
