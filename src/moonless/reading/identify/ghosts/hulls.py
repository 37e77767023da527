"""Echoes off the side of a long hull: out by her and back the same way.

Such a one lies on her bearing, behind her by as much as the thing is away from her, and moves as both do.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.reading.identify.ghosts.ways import (
    HULL_SHARE,
    HULLS_M,
    LIT_M,
    MOST_THINGS,
    SHORT_M,
    SMALL_DB,
    WEAKER_DB,
    Ways,
    at_most,
    lengths,
)
from moonless.reading.own import OwnPlane
from moonless.track.types import Track

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Only a hull this long throws what it is lit by on to others, and not past this; a small one hides nothing of the sort.
MIRROR_M, MIRROR_REACH_M = 35.0, 2500.0
# How often a thing has such a ghost that shows, and of how many hulls no more are to be expected where neither levels
# nor a motion rule a pair out.  Own figures.
MIRROR_SHOWS, MIRROR_HULLS = 0.05, 2
# What lies over the ground at less than this is taken to lie still.
STILL_MPS = 1.0


def mirrored(
    tracks: tuple[Track, ...],
    rel: Floats,
    covariance: Floats,
    own: OwnPlane,
    level_db: Floats | None,
    beam_rad: float,
    is_scaled: bool = True,
    clipped: Mask | None = None,
    p_moving: Floats | None = None,
) -> Floats:
    """Return (n,) per square metre, how many echoes off the side of a long hull are to be expected where each lies.

    The way is from the boat to the hull, on to the thing and back the same way: the ghost lies on the hull's bearing at
    her range and the distance from her to the thing together.  ``rel`` (n, 2): places from the boat; ``covariance``
    (n, 2, 2) of each; ``is_scaled``: levels are decibels; ``clipped`` (n,), ``p_moving`` (n,) as in `repeats`.
    Source: path lengths, elementary.
    """
    n = len(tracks)
    out = np.zeros(n)
    if level_db is None or n < 3:
        return out
    firm = np.array([t.state != "tentative" and t.false_parent is None for t in tracks])
    length = lengths(tracks)
    hulls = np.flatnonzero(firm & (length >= MIRROR_M))
    if not hulls.size:
        return out
    ways = Ways.of(tracks, p_moving)
    velocity, noise = ways.velocity - np.array(own.velocity), ways.noise
    named = np.array([t.ais is not None for t in tracks])
    lit = length >= LIT_M
    things = int(np.count_nonzero(firm & (lit | is_scaled)))
    crowded = min(1.0, MIRROR_HULLS / hulls.size) * min(1.0, MOST_THINGS / max(things, 1))
    # A small thing must be much stronger than its ghost.
    more = np.where(lit, 0.0, SMALL_DB)
    less = 0.5 * WEAKER_DB if is_scaled else -1e-9
    top_db = at_most(level_db, clipped)
    spread = np.trace(covariance, axis1=1, axis2=2) / 2.0
    reach = np.hypot(rel[:, 0], rel[:, 1])
    away = np.maximum(reach[hulls], 1.0)
    unit = rel[hulls] / away[:, None]
    ahead, aside = unit @ rel.T, np.column_stack([unit[:, 1], -unit[:, 0]]) @ rel.T
    # Only what lies behind a hull, within the beam and her own breadth to the eye, can be one.
    breadth = 0.3 * beam_rad + 0.3 * length[hulls] / away
    behind = (ahead > away[:, None]) & (np.abs(aside) < 3.0 * (breadth[:, None] * reach + np.sqrt(spread))) & ~named
    apart = np.hypot(*np.moveaxis(rel[None] - rel[hulls, None], -1, 0))
    lights = (firm & (lit | is_scaled)) & (apart > MIRROR_M) & (apart < MIRROR_REACH_M)
    behind[np.arange(hulls.size), hulls] = False
    # Pairs of a hull and an echo behind her (m,), against all that she may show the boat (n,).
    q, i = np.nonzero(behind & lights.any(axis=1)[:, None])
    path = (away[:, None] + apart)[q]
    # Along the bearing by both hulls' own errors, across it by the beam and the hull's own breadth.
    var_along = spread[i, None] + spread + (2.0 * HULLS_M**2 + (HULL_SHARE * length[hulls[q], None]) ** 2)
    var_across = spread[i, None] + (breadth[q, None] * path) ** 2
    squared = (ahead[q, i, None] - path) ** 2 / var_along + aside[q, i, None] ** 2 / var_across
    weaker = level_db[i, None] < np.minimum(top_db - more, top_db[hulls[q], None]) - less
    weaker |= np.isnan(level_db[i])[:, None]
    if not is_scaled:
        weaker &= length[i, None] <= length + SHORT_M
    pair, k = np.nonzero((squared < 9.0) & weaker & lights[q] & (i[:, None] != np.arange(n)))
    i, hull = i[pair], hulls[q[pair]]
    now = _by_way_of(rel[hull], rel[k])
    moved = _by_way_of(rel[hull] + velocity[hull], rel[k] + velocity[k]) - now + np.array(own.velocity)
    place = np.exp(-0.5 * squared[pair, k]) / (2.0 * math.pi * np.sqrt(var_along[pair, k] * var_across[pair, k]))
    as_moved = ways.fit(i, moved, noise[k] + 2.0 * noise[hull], is_scaled)
    lies = np.hypot(moved[:, 0], moved[:, 1]) < STILL_MPS
    np.add.at(out, i, MIRROR_SHOWS * np.where(lies & (not is_scaled), crowded, 1.0) * place * as_moved)
    return out


def _by_way_of(hulls: Floats, things: Floats) -> Floats:
    """Return (m, 2) where the ghost of each thing (m, 2) off its hull (m, 2) lies, from the boat."""
    away = np.maximum(np.hypot(hulls[:, 0], hulls[:, 1]), 1e-6)
    reach = away + np.hypot(*(things - hulls).T)
    return np.asarray((reach / away)[:, None] * hulls)
