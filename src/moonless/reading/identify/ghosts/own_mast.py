"""Echoes off the own mast: on one bearing from the bow, at the range of the thing, so that they seem to run along."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.reading.identify.ghosts.ways import SHORT_M, Ways, at_most, lengths
from moonless.reading.own import OwnPlane
from moonless.track.types import Track

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# What the own mast throws is told only by a motion over the ground: from this speed of it on.  How often a
# thing has such a ghost, and how much oftener where another on the same bearing from the bow has one; own figures.
MAST_SPEED, MAST_SHOWS, MAST_COMPANY, MAST_RANGE_M = 1.0, 0.05, 30.0, 25.0
# Nearer than this something lies at every range, wash and ringing among it: a range tells of no parent.
MAST_FROM_M = 100.0
# What it throws seems no longer than this share of its parent, or than the beam makes of a small thing; and, where it
# is plainly weaker, as wide as what reflects aboard is to the antenna: a few decimetres at a few metres.
GHOST_OF_LENGTH, MAST_WIDE_RAD = 0.5, math.radians(2.0)


def off_own_mast(
    tracks: tuple[Track, ...],
    rel: Floats,
    covariance: Floats,
    own: OwnPlane,
    level_db: Floats | None,
    beam_rad: float,
    clipped: Mask | None = None,
    p_moving: Floats | None = None,
) -> Floats:
    """Return (n,) per square metre, how many echoes off the own mast are to be expected where each lies and moves.

    It lies at the range of a thing no weaker, on a bearing from the bow that stays: its velocity is the boat's own and
    that range's change along its bearing.  ``rel`` (n, 2): places from the boat; ``covariance`` (n, 2, 2).  A
    vessel that runs in company does the same, but seldom at the range of something else.  Source: elementary.
    """
    n = len(tracks)
    out = np.zeros(n)
    if level_db is None or n < 2:
        return out
    reach = np.maximum(np.hypot(rel[:, 0], rel[:, 1]), 1.0)
    unit = rel / reach[:, None]
    ways = Ways.of(tracks, p_moving)
    closing = np.sum((ways.velocity - np.array(own.velocity)) * unit, axis=1)
    firm = np.array([t.state == "confirmed" for t in tracks])
    moving = np.array([t.p_moving > 0.5 and t.ais is None for t in tracks]) & (reach >= MAST_FROM_M)
    along = np.einsum("ni,nij,nj->n", unit, covariance, unit)
    bearing = np.arctan2(rel[:, 0], rel[:, 1])
    turn = np.abs(np.mod(bearing[:, None] - bearing[None, :] + math.pi, math.tau) - math.pi)
    partner, length = np.full(n, -1), lengths(tracks)
    for i in np.flatnonzero(moving):
        variance = along[i] + along + MAST_RANGE_M**2
        off2 = (reach[i] - reach) ** 2 / variance
        stronger = (at_most(level_db, clipped) >= level_db[i]) | np.isnan(level_db[i])
        plainly = level_db > level_db[i]
        # A ghost is a picture of its parent, and a weaker one: no longer than she is.
        larger = length[i] <= GHOST_OF_LENGTH * length + SHORT_M + np.where(plainly, MAST_WIDE_RAD * reach[i], 0.0)
        fits = np.flatnonzero(firm & (off2 < 6.0) & (turn[i] > 3.0 * beam_rad) & stronger & larger)
        moved = np.array(own.velocity) + closing[fits, None] * unit[i]
        goes = np.hypot(moved[:, 0], moved[:, 1]) >= MAST_SPEED
        fits, moved = fits[goes], moved[goes]
        if not fits.size:
            continue
        place = np.exp(-0.5 * off2[fits]) / (np.sqrt(2.0 * math.pi * variance[fits]) * 2.0 * math.pi * reach[i])
        density = MAST_SHOWS * place * ways.fit(np.full(fits.size, i), moved, ways.noise[fits])
        best = int(density.argmax())
        if density[best] > 0.0:
            out[i], partner[i] = density[best], fits[best]
    held = np.flatnonzero(partner >= 0)
    for i in held:
        same = held[(turn[i, held] < 1.5 * beam_rad) & (partner[held] != partner[i]) & (held != i)]
        if same.size:
            out[i] *= MAST_COMPANY
    return out
