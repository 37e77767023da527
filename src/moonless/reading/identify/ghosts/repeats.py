"""Echoes that went to and fro twice or thrice between the boat and something large.

Such a one lies at twice (three times) the range of its parent, on its bearing; it keeps to that bearing and moves over
the picture twice as fast.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.reading.identify.ghosts.ways import (
    HULL_SHARE,
    HULLS_M,
    SHORT_M,
    WEAKER_DB,
    Ways,
    at_most,
    density,
    lengths,
)
from moonless.reading.own import OwnPlane
from moonless.track.types import Track

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Only what is this strong over receiver noise, and this large in dB over 1 m2, comes back twice: a ship's side, not a
# buoy.  Own figures.
FROM_DB, FROM_RCS_DB = 35.0, 18.0
# Where no scale is learnt, levels are no decibels: a hull so long is large, and a ghost only stands no higher than her.
LONG_PARENT_M = 30.0
PIECE_M = 40.0
# How often such an echo has a second one that shows, and a third; own figures, no source.
TRIPS_SHOW = ((2.0, 0.1), (3.0, 0.05))


def multiples(
    tracks: tuple[Track, ...],
    rel: Floats,
    covariance: Floats,
    own: OwnPlane,
    level_db: Floats | None,
    rcs_db: Floats,
    clipped: Mask | None = None,
    p_moving: Floats | None = None,
) -> Floats:
    """Return (n,) per square metre, how many such ghosts are to be expected where each echo lies and as it moves.

    ``rel`` (n, 2): places from the boat; ``covariance`` (n, 2, 2) of each; ``rcs_db`` (n,): NaN where not known;
    ``clipped`` (n,): whose level is the top of the scale, and may be any higher; ``p_moving`` (n,): that each moves
    over the ground, None: as the tracker has it.
    """
    n = len(tracks)
    out = np.zeros(n)
    if level_db is None or n < 2:
        return out
    length, ways = lengths(tracks), Ways.of(tracks, p_moving)
    large = (level_db > FROM_DB) & (rcs_db > FROM_RCS_DB)
    unscaled = ~np.isfinite(rcs_db)
    # It is large that is long, however faint this radar hears; without a scale, or what stands at the top of it.
    large |= (length > LONG_PARENT_M) | (unscaled & (False if clipped is None else clipped))
    parents = np.flatnonzero(large & np.array([t.state != "tentative" for t in tracks]))
    if not parents.size:
        return out
    # Of a long hull any piece may be the one that is tracked, and the ghost is thrown by her middle.
    piece = np.where(length[parents] >= LONG_PARENT_M, PIECE_M, 0.0)
    room = HULLS_M**2 + (HULL_SHARE * length[parents] + piece) ** 2
    weaker = level_db[:, None] <= (at_most(level_db, clipped) - np.where(unscaled, 0.0, WEAKER_DB))[None, parents]
    weaker |= np.isnan(level_db)[:, None]
    weaker &= ~unscaled[:, None] | (length[:, None] <= length[None, parents] + SHORT_M)
    for trips, shows in TRIPS_SHOW:
        gap = rel[:, None, :] - trips * rel[None, parents, :]
        spread = (
            covariance[:, None, :, :]
            + trips**2 * covariance[None, parents, :, :]
            + room[None, :, None, None] * np.eye(2)
        )
        # Most pairs lie far apart: only those that could be are worked out.
        near = np.sum(gap**2, axis=-1) < 9.0 * np.trace(spread, axis1=2, axis2=3)
        i, k = np.nonzero(near & weaker)
        parent = parents[k]
        moved = trips * ways.velocity[parent] - (trips - 1.0) * np.array(own.velocity)
        as_moved = ways.fit(i, moved, trips**2 * ways.noise[parent], ~unscaled[i])
        np.add.at(out, i, shows * density(gap[i, k], spread[i, k]) * as_moved)
    return out
