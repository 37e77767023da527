"""Mirror images in charted bridges, quays and moles: out by the wall and back the same way.

The image of a thing lies as far behind the wall as the thing lies before it, and moves as its mirror image.  Source:
reflection in a plane, elementary.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.reading.identify.ghosts.ways import SHORT_M, WEAKER_DB, Ways, at_most, density, lengths
from moonless.reading.own import OwnPlane
from moonless.track.types import Track

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# How well a face lies where it is charted and along which line, one sigma each: the image is off by twice the first.
FACE_SIGMA_M, FACE_SIGMA_RAD = 8.0, math.radians(1.0)
# How often a thing has an image that shows, and how far past the face's ends the way may still pass.  Own figures.
IMAGE_SHOWS, PAST_ENDS_M = 0.1, 15.0


def in_walls(
    tracks: tuple[Track, ...],
    rel: Floats,
    covariance: Floats,
    own: OwnPlane,
    level_db: Floats | None,
    faces: Floats,
    is_scaled: bool = True,
    clipped: Mask | None = None,
    p_moving: Floats | None = None,
) -> Floats:
    """Return (n,) per square metre, how many mirror images are to be expected where each echo lies and as it moves.

    ``rel`` (n, 2): places from the boat; ``covariance`` (n, 2, 2) of each; ``faces`` (m, 4), in the plane of the tracks
    as `moonless.sight.edges.faces_of` gives them; ``is_scaled``: levels are decibels; ``clipped``, ``p_moving`` as for
    the other kinds.
    """
    n = len(tracks)
    out = np.zeros(n)
    if level_db is None or n < 2 or not len(faces):
        return out
    ways, length = Ways.of(tracks, p_moving), lengths(tracks)
    named = np.array([t.ais is not None for t in tracks])
    firm = np.array([t.state != "tentative" and t.false_parent is None for t in tracks])
    things = np.flatnonzero(firm)
    if not things.size:
        return out
    # A plane mirrors a small thing as it does a large one: its image is weaker by the wall's loss and the longer way.
    parent_db = at_most(level_db, clipped) - (0.5 * WEAKER_DB if is_scaled else 0.0)
    weaker = (level_db[:, None] <= parent_db[None, :]) | np.isnan(level_db)[:, None]
    if not is_scaled:
        weaker &= length[:, None] <= length[None, :] + SHORT_M
    here = np.array([own.east_m, own.north_m])
    for face in faces:
        start, end = face[:2] - here, face[2:] - here
        along = (end - start) / math.hypot(*(end - start))
        across = np.array([along[1], -along[0]])
        before = (rel[things] - start) @ across
        # Only what stands on the boat's own side of the face is mirrored behind it.
        own_before = float(-start @ across)
        k = things[(before * own_before > 0.0) & (np.abs(before) > 2.0 * FACE_SIGMA_M)]
        if not k.size:
            continue
        image = rel[k] - 2.0 * ((rel[k] - start) @ across)[:, None] * across
        # Where the way from the boat to the image passes the face.
        share = own_before / (own_before - (image - start) @ across)
        passes = (share[:, None] * image - start) @ along
        k_passes = (passes > -PAST_ENDS_M) & (passes < math.hypot(*(end - start)) + PAST_ENDS_M)
        k, image = k[k_passes], image[k_passes]
        if not k.size:
            continue
        gap = rel[:, None, :] - image[None]
        swung = (FACE_SIGMA_RAD * np.hypot(*(rel[k] - start).T)) ** 2
        room = (2.0 * FACE_SIGMA_M) ** 2 + swung
        spread = covariance[:, None] + covariance[None, k] + room[None, :, None, None] * np.eye(2)
        near = np.sum(gap**2, axis=-1) < 9.0 * np.trace(spread, axis1=2, axis2=3)
        i, j = np.nonzero(near & weaker[:, k] & ~named[:, None] & (np.arange(n)[:, None] != k[None, :]))
        if not i.size:
            continue
        parent = k[j]
        moved = ways.velocity[parent] - 2.0 * (ways.velocity[parent] @ across)[:, None] * across
        as_moved = ways.fit(i, moved, ways.noise[parent], is_scaled)
        np.add.at(out, i, IMAGE_SHOWS * density(gap[i, j], spread[i, j]) * as_moved)
    return out
