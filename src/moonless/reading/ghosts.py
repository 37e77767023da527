"""Ghosts: echoes that are not where they seem, by what must throw them.

One that went to and fro twice between the boat and something large lies at twice its range, on its bearing.  It keeps
to its parent's bearing and moves over the picture twice as fast.  A side-lobe echo lies at the range of something very
strong, on any bearing, and is weaker by what the lobes are weaker than the beam, there and back.  Held against where
each strong echo would throw one, their densities stand beside those of the real things.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import RadarSet
from moonless.reading.own import OwnPlane
from moonless.track.types import Track

Floats = NDArray[np.float64]

# Only what is this strong over receiver noise, and this large in dB over 1 m2, comes back twice: a ship's side, not a
# buoy.  The second trip is weaker by so much; own figures, from the fourth power: sixteen times, 12 dB, before anything
# is lost at the boat's own side.
FROM_DB, FROM_RCS_DB, WEAKER_DB = 35.0, 18.0, 10.0
# How often such an echo has a second one that shows; own figure, no source.
SECOND_SHOWS = 0.1
# Where on both hulls the echo is thrown back, one sigma.
HULLS_M, HULL_SHARE = 8.0, 0.25
# Speeds of what moves by itself, one sigma each axis, and how well a doubled motion is kept; own figures.
OWN_WAY, DOUBLED_SIGMA = 4.0, 0.8
MOTION_CAP = (0.02, 20.0)


# How many side-lobe echoes of strong things to expect per square metre, and how well their level is foretold; own
# figures.
LOBES_PER_M2, LOBE_SIGMA_DB = 2e-6, 6.0


def side_lobes(level_db: Floats | None, ring_db: Floats | None, radar: RadarSet) -> Floats:
    """Return (n,) per square metre, how many side-lobe echoes as strong as each are to be expected at its range.

    ``level_db`` of each, ``ring_db`` of the strongest thing at its range on any bearing; both over noise.
    """
    if level_db is None or ring_db is None:
        return np.zeros(0 if level_db is None else len(level_db))
    off = [level_db - ring_db - 2.0 * lobe for lobe in (radar.side_lobe_near_db, radar.side_lobe_far_db)]
    match = np.max([np.exp(-0.5 * (one / LOBE_SIGMA_DB) ** 2) for one in off], axis=0)
    return np.asarray(LOBES_PER_M2 * match)


def multiples(
    tracks: tuple[Track, ...], rel: Floats, covariance: Floats, own: OwnPlane, level_db: Floats | None, rcs_db: Floats
) -> Floats:
    """Return (n,) per square metre, how many such ghosts are to be expected where each echo lies and as it moves.

    ``rel`` (n, 2): places from the boat; ``covariance`` (n, 2, 2) of each; ``rcs_db`` (n,): NaN where not known.
    """
    n = len(tracks)
    out = np.zeros(n)
    if level_db is None or n < 2:
        return out
    large = (level_db > FROM_DB) & (rcs_db > FROM_RCS_DB)
    parents = np.flatnonzero(large & np.array([t.state == "confirmed" for t in tracks]))
    if not parents.size:
        return out
    gap = rel[:, None, :] - 2.0 * rel[None, parents, :]
    # Most pairs lie far apart: only those that could be are worked out.
    length = np.array([t.length_m or 0.0 for t in tracks])
    room = HULLS_M**2 + (HULL_SHARE * length[parents]) ** 2
    spread = covariance[:, None, :, :] + 4.0 * covariance[None, parents, :, :] + room[None, :, None, None] * np.eye(2)
    near = np.sum(gap**2, axis=-1) < 9.0 * np.trace(spread, axis1=2, axis2=3)
    weaker = level_db[:, None] < level_db[None, parents] - WEAKER_DB
    for i, k in zip(*np.nonzero(near & weaker), strict=True):
        j = int(parents[k])
        s = spread[i, k]
        squared = float(gap[i, k] @ np.linalg.solve(s, gap[i, k]))
        place = math.exp(-0.5 * squared) / (2.0 * math.pi * math.sqrt(float(np.linalg.det(s))))
        out[i] += SECOND_SHOWS * place * _doubled(tracks[i], tracks[j], own)
    return out


def _doubled(track: Track, parent: Track, own: OwnPlane) -> float:
    """Return how much better a doubled motion explains a track's velocity than any motion of its own would."""
    own_e, own_n = own.velocity
    off_e = track.velocity_east - 2.0 * parent.velocity_east + own_e
    off_n = track.velocity_north - 2.0 * parent.velocity_north + own_n
    noise = float(np.trace(track.covariance[2:, 2:]) + 4.0 * np.trace(parent.covariance[2:, 2:])) / 2.0
    ghost, free = DOUBLED_SIGMA**2 + noise, OWN_WAY**2 + noise
    ratio = free / ghost * math.exp(-0.5 * (off_e**2 + off_n**2) / ghost + 0.5 * track.speed**2 / free)
    return min(max(ratio, MOTION_CAP[0]), MOTION_CAP[1])
