"""Runs of clutter: how many tracks like each do sea, rain and strays make, by its record, its strength, its place."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.track.types import Track

Floats = NDArray[np.float64]

# Tracks of clutter to expect per square metre of rough, cluttered water, before their record speaks; own figure.
CLUTTER_PER_M2 = 2e-5
# In water this far above receiver noise, half of that; in quiet water next to none.
CLUTTER_HALF_DB = 6.0
# The ring of sea round the boat that answers nearly always, and how much thicker its strays lie.
RING_M = 250.0
RING_TIMES = 10.0
# What hops from crest to crest is hit in fewer than half of the turns, what is there in most.  Measured on the made
# scenes of sea, rain and squall: clutter within the ring up to 0.5, boats and marks from 0.6 (python -m bench scenes).
HOP_SHARE, HOP_WIDTH = 0.53, 0.04
# Past the ring a tracker hops as well where the sea answers this much (share of the full density of clutter).
ROUGH = 0.6


def hopping(hit_share: Floats) -> Floats:
    """Return how much each record looks like a tracker hopping from crest to crest, 0..1."""
    return np.asarray(1.0 / (1.0 + np.exp((hit_share - HOP_SHARE) / HOP_WIDTH)))


def hit_shares(tracks: tuple[Track, ...]) -> Floats:
    """Return (n,) the share of turns with an echo of each."""
    return np.array([hit_share(t) for t in tracks], dtype=np.float64)


# The last dozen turns speak for a record that was poorer before, but not for one that was poor throughout: where little
# can be seen, what is missed hardly counts in them.  What hops, and is hit in half of the turns, gains nothing by them
# (simulated: 0.361 of its turns look steady with and without).
DOZEN, LESS_IN_DOZEN, LEAST_EVER = 12, 0.25, 0.35


def hit_ever(track: Track) -> float:
    """Return the share of turns with an echo since it began, up to the last one."""
    return (track.n_hits + 0.5) / (track.n_scans - track.misses_in_a_row + 1.0)


def hit_share(track: Track) -> float:
    """Return the share of turns with an echo, up to the last one: its absence since says nothing of what it was.

    A ship that was lost behind another for a minute is no sea once she shows in every turn again.
    """
    ever = hit_ever(track)
    counts = track.n_hits >= DOZEN and ever >= LEAST_EVER
    return max(ever, track.seen_share - LESS_IN_DOZEN) if counts else ever


# Tracks of clutter for each plot a turn that nothing explains, past what a clean place has.  On wild scenes half of the
# tracks told as vessels that are sea lie among more than 1e-5, nine in ten vessels among less than 3e-6 (seeds below
# 40).
RUNS_A_STRAY, CLEAN_STRAYS_PER_M2 = 0.5, 2e-6
# A crest stands no higher over its own sea than this, and seldom by so much more for each fold; own figures.
SPIKE_DB, SPIKE_FALL_DB = 18.0, 4.0


def clutter_runs(tracks: tuple[Track, ...], reach: Floats, clutter_db: Floats | None, stray: Floats) -> Floats:
    """Return the density of clutter tracks like each: more when young, weak, often missed, and in cluttered water.

    ``stray`` (n,): how much likelier each strength is for a stray than for a thing.
    """
    out = np.empty(len(tracks))
    for i, t in enumerate(tracks):
        share = hit_share(t)
        level = math.nan if clutter_db is None else float(clutter_db[i])
        rough = 0.5 if math.isnan(level) else 0.02 + 0.98 / (1.0 + math.exp(-(level - CLUTTER_HALF_DB) / 1.5))
        # A track that shows in nine of ten turns for a minute is no wave; but a tracker may hop from crest to crest in
        # the ring of sea round the boat for ever.
        near = reach[i] < RING_M or rough > ROUGH
        hops = float(hopping(np.array(share))) if near else 0.0
        record = max(math.exp(-0.35 * t.n_hits * share**2), 0.1 * rough * hops)
        record *= math.exp(-max(0.0, t.strength_db - SPIKE_DB) / SPIKE_FALL_DB)
        out[i] = CLUTTER_PER_M2 * rough * record * (RING_TIMES if reach[i] < RING_M else 1.0)
        # Among plots that nothing explains a tracker finds runs of them that fit, however long they last.
        among = RUNS_A_STRAY * max(t.clutter_per_m2 - CLEAN_STRAYS_PER_M2, 0.0)
        among *= math.exp(-max(0.0, t.strength_db - SPIKE_DB) / SPIKE_FALL_DB)
        # Where it is no stronger than they are, that speaks too, and few of them are enough.
        among = max(among, RUNS_A_STRAY * t.clutter_per_m2 * stray[i])
        out[i] = max(out[i], among * _run_of_strays(t, share))
    return out


# A run of strays that became a track is hit in this share of its turns, or by as many strays as lie in its gate where
# that is more; no more hits than these are counted, and half of those: neighbouring turns are alike.  Own figures.
RUN_SHARE, RUN_MOST_SHARE, RUN_HITS, RUN_GATE_SIGMA, RUN_GATE_M = 0.7, 0.85, 20, 2.5, 20.0


def _run_of_strays(track: Track, hit: float) -> float:
    """Return how well so many hits go with a run of strays, 0..1: a likelihood ratio of binomial records."""
    sigma = math.sqrt(float(track.covariance[0, 0] + track.covariance[1, 1]) / 2.0)
    gate = math.pi * max(RUN_GATE_SIGMA * sigma, RUN_GATE_M) ** 2
    most = min(RUN_SHARE + track.clutter_per_m2 * gate, RUN_MOST_SHARE)
    hit = min(max(hit, 0.05), 0.97)
    if hit <= most:
        return 1.0
    gap = hit * math.log(hit / most) + (1.0 - hit) * math.log((1.0 - hit) / (1.0 - most))
    return math.exp(-0.5 * min(track.n_hits, RUN_HITS) * gap)
