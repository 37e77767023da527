"""What an echo's strength says of it: of a thing or of clutter, of a hull of its length, of a mark.

A cross-section is implied by the level over noise and the link budget.  Both may be out for all echoes alike, by a
radar that hears fainter than its file or a scale learnt amiss: how unsure that offset still is widens what is expected
(`past.calibration`).  An echo at the top of the scale may be any stronger: of it only the survival function speaks.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Cross-section of boats, floats and logs, and what a crest at close quarters or a stray far off implies; in dB over
# 1 m2, own figures, no source.
THING_RCS_DB, THING_RCS_SIGMA_DB = 3.0, 10.0
STRONG_SIGMA_DB = 25.0
WAVE_RCS_DB, WAVE_RCS_SIGMA_DB = -22.0, 9.0
# Share of what is clutter that implies as much as a boat does: strays far off.  Own figure.
STRAY, STRAY_SIGMA_DB = 0.15, 8.0
THING_CAP, WAVE_CAP = (0.002, 3.0), (0.01, 3.0)
# What both are held against: any cross-section of so many decibels.
FLAT_DB = 60.0
# A hull of 9 m answers with 4 dB over 1 m2, one of 60 m with 30, and so on between and beyond: the kinds of
# `moonless.scene.kinds`, where their source stands.  So much weaker one may be, and no length is surer than this.
HULL_M, HULL_DB, HULL_DB_PER_DECADE = 9.0, 4.0, 32.0
HULL_ROOM_DB, HULL_SIGMA_DB, HULL_FLOOR = 12.0, 6.0, 0.02
# From this length on; below it the eye of the echo wanders by as much.
LONG_FROM_M = 20.0
# How far a mark's strength may be from what the model says, and what anything else may have; own figures, no source.
MARK_STRENGTH_SIGMA_DB = 7.0
OTHER_STRENGTH_DB = 18.0
OTHER_STRENGTH_SIGMA_DB = 12.0
# Strength alone neither makes nor breaks a mark.
STRENGTH_CAP = (0.15, 3.0)


def section_speaks(rcs_db: Floats, offset_sigma_db: float, clipped: Mask) -> tuple[Floats, Floats]:
    """Return (n,) the likelihoods of implied cross-sections for real things and for clutter, over a flat one.

    ``rcs_db`` (n,): dB over 1 m2, NaN where not known: 1 for both; ``offset_sigma_db``: how unsure all of them are
    together; ``clipped`` (n,): whose level is the top of the scale, so that each is at least so much.
    """
    of_thing = math.hypot(THING_RCS_SIGMA_DB, offset_sigma_db)
    of_wave = math.hypot(WAVE_RCS_SIGMA_DB, offset_sigma_db)
    of_stray = math.hypot(STRAY_SIGMA_DB, offset_sigma_db)
    # A ship answers with thousands of square metres, and a scale learnt amiss with more: strength rules nothing out.
    above = np.exp(-0.5 * (np.maximum(rcs_db - THING_RCS_DB, 0.0) / STRONG_SIGMA_DB) ** 2)
    thing = _bell(np.minimum(rcs_db, THING_RCS_DB), THING_RCS_DB, of_thing) * above * FLAT_DB
    wave = (1.0 - STRAY) * _bell(rcs_db, WAVE_RCS_DB, of_wave) + STRAY * _bell(rcs_db, 0.0, of_stray)
    wave = wave * FLAT_DB
    at_least = (1.0 - STRAY) * ndtr((WAVE_RCS_DB - rcs_db) / of_wave) + STRAY * ndtr(-rcs_db / of_stray)
    # Of things all that is strong is as good as any: of those at the top of the scale half are above the middle.
    thing = np.where(clipped, np.maximum(ndtr((THING_RCS_DB - rcs_db) / of_thing), 0.5 * above), thing)
    wave = np.where(clipped, at_least, wave)
    known = np.isfinite(rcs_db)
    return np.where(known, np.clip(thing, *THING_CAP), 1.0), np.where(known, np.clip(wave, *WAVE_CAP), 1.0)


def weak_for_its_length(size_m: Floats, rcs_db: Floats, offset_sigma_db: float, clipped: Mask) -> Floats:
    """Return (n,) how well a cross-section goes with a hull as long as each seems; 1 where either is not known."""
    expected = HULL_DB + HULL_DB_PER_DECADE * np.log10(np.maximum(size_m, HULL_M) / HULL_M)
    short = np.maximum(0.0, expected - HULL_ROOM_DB - rcs_db)
    sigma = math.hypot(HULL_SIGMA_DB, offset_sigma_db)
    speaks = np.maximum(np.exp(-0.5 * (short / sigma) ** 2), HULL_FLOOR)
    return np.where((size_m > LONG_FROM_M) & np.isfinite(rcs_db) & ~clipped, speaks, 1.0)


def mark_strength_speaks(strength_db: Floats, mark_db: Floats) -> Floats:
    """Return (n, k) the likelihood of each strength for each mark over that for anything else; 1 where not known."""
    off = strength_db[:, None] - mark_db[None, :]
    mark = np.exp(-0.5 * (off / MARK_STRENGTH_SIGMA_DB) ** 2) / MARK_STRENGTH_SIGMA_DB
    other = np.exp(-0.5 * ((strength_db - OTHER_STRENGTH_DB) / OTHER_STRENGTH_SIGMA_DB) ** 2) / OTHER_STRENGTH_SIGMA_DB
    ratio = np.clip(mark / np.maximum(other[:, None], 1e-6), *STRENGTH_CAP)
    return np.where(np.isfinite(ratio), ratio, 1.0)


def _bell(x: Floats, middle: float, sigma: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((x - middle) / sigma) ** 2) / (sigma * math.sqrt(2.0 * math.pi)))
