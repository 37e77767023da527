"""Side-lobe echoes: at the range of something very strong, on any bearing, weaker by the lobes there and back."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import RadarSet
from moonless.reading.identify.ghosts.ways import Ways
from moonless.reading.own import OwnPlane
from moonless.track.types import Track

Floats = NDArray[np.float64]

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


def goes_as_marked(tracks: tuple[Track, ...], rel: Floats, own: OwnPlane, p_moving: Floats | None = None) -> Floats:
    """Return (n,) how well what was marked as a side-lobe echo goes as one, 0..1; 1 where nothing speaks against it.

    It keeps to its parent's range, on a bearing that is off hers by a steady angle: so her motion against the boat,
    turned by that angle, is its own.  What lies still over the ground while that would move is a thing by itself.
    ``rel`` (n, 2): places from the boat; ``p_moving`` (n,) as for the other kinds.  Source: elementary.
    """
    out = np.ones(len(tracks))
    row: dict[int | None, int] = {t.id: i for i, t in enumerate(tracks)}
    marked = [(i, row.get(t.false_parent)) for i, t in enumerate(tracks) if t.false_cause == "side lobe"]
    pairs = [(i, k) for i, k in marked if k is not None]
    if not pairs:
        return out
    i, k = np.array(pairs).T
    ways = Ways.of(tracks, p_moving)
    unit = rel / np.maximum(np.hypot(rel[:, 0], rel[:, 1]), 1.0)[:, None]
    right = np.column_stack([unit[:, 1], -unit[:, 0]])
    against = ways.velocity[k] - np.array(own.velocity)
    toward, aside = np.sum(against * unit[k], axis=1), np.sum(against * right[k], axis=1)
    foretold = np.array(own.velocity) + toward[:, None] * unit[i] + aside[:, None] * right[i]
    out[i] = np.minimum(ways.fit(i, foretold, ways.noise[k]), 1.0) ** 2
    return out
