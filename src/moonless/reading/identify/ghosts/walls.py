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
# A face farther off than this shows no image of anything: the way is there and back again.  Own figure.
FACE_REACH_M = 2000.0
# And of one that the boat is about to pass or has just passed nothing is said: its sides change.  Own figure.
FACE_LEAST_M = 60.0
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
    was_false: Mask | None = None,
) -> Floats:
    """Return (n,) per square metre, how many mirror images are to be expected where each echo lies and as it moves.

    ``rel`` (n, 2): places from the boat; ``covariance`` (n, 2, 2) of each; ``faces`` (m, 4), in the plane of the tracks
    as `moonless.sight.edges.faces_of` gives them; ``is_scaled``: levels are decibels; ``clipped``, ``p_moving`` as for
    the other kinds; ``was_false`` (n,): told as false so far, and so no parent: when the boat has passed a bridge what
    was an image of something would else take that for its own image.
    """
    n = len(tracks)
    out = np.zeros(n)
    if level_db is None or n < 2 or not len(faces):
        return out
    ways, length = Ways.of(tracks, p_moving), lengths(tracks)
    named = np.array([t.ais is not None for t in tracks])
    firm = np.array([t.state == "confirmed" and t.false_parent is None for t in tracks])
    things = np.flatnonzero(firm if was_false is None else firm & ~was_false)
    if not things.size:
        return out
    # A plane mirrors a small thing as it does a large one: its image is weaker by the wall's loss and the longer way.
    parent_db = at_most(level_db, clipped) - (0.5 * WEAKER_DB if is_scaled else 0.0)
    weaker = (level_db[:, None] <= parent_db[None, :]) | np.isnan(level_db)[:, None]
    if not is_scaled:
        weaker &= length[:, None] <= length[None, :] + SHORT_M
    k, image, off, across = _images(rel, things, faces - np.tile([own.east_m, own.north_m], 2))
    if not k.size:
        return out
    room = (2.0 * FACE_SIGMA_M) ** 2 + (FACE_SIGMA_RAD * off) ** 2
    trace = np.trace(covariance, axis1=1, axis2=2)
    gap2 = np.sum((rel[:, None, :] - image[None]) ** 2, axis=-1)
    near = gap2 < 9.0 * (trace[:, None] + trace[None, k] + 2.0 * room[None])
    i, j = np.nonzero(near & weaker[:, k] & ~named[:, None] & (np.arange(n)[:, None] != k[None, :]))
    parent, normal = k[j], across[j]
    spread = covariance[i] + covariance[parent] + room[j, None, None] * np.eye(2)
    moved = ways.velocity[parent] - 2.0 * np.sum(ways.velocity[parent] * normal, axis=1)[:, None] * normal
    as_moved = ways.fit(i, moved, ways.noise[parent], is_scaled)
    np.add.at(out, i, IMAGE_SHOWS * density(rel[i] - image[j], spread) * as_moved)
    return out


def _images(rel: Floats, things: NDArray[np.int64], faces: Floats) -> tuple[NDArray[np.int64], Floats, Floats, Floats]:
    """Return (thing (p,), its image (p, 2), how far it is from the face's start (p,), the face's normal (p, 2)).

    ``faces`` (m, 4) from the boat, as all places are.  Only what stands on the boat's own side of a face is mirrored
    behind it, and only where the way from the boat to the image passes the face.
    """
    start, run = faces[:, :2], faces[:, 2:] - faces[:, :2]
    length = np.hypot(run[:, 0], run[:, 1])
    along = run / length[:, None]
    across = np.column_stack([along[:, 1], -along[:, 0]])
    own_before, own_along = -np.sum(start * across, axis=1), -np.sum(start * along, axis=1)
    beside = np.hypot(own_before, own_along - np.clip(own_along, 0.0, length))
    here = np.flatnonzero((beside <= FACE_REACH_M) & (np.abs(own_before) >= FACE_LEAST_M))
    before = rel[things] @ across[here].T + own_before[here]  # (thing, face)
    lies = rel[things] @ along[here].T
    with np.errstate(divide="ignore", invalid="ignore"):
        share = own_before[here] / (own_before[here] + before)
    passes = share * lies + own_along[here]
    is_mirrored = (before * own_before[here] > 0.0) & (np.abs(before) > 2.0 * FACE_SIGMA_M)
    is_mirrored &= (passes > -PAST_ENDS_M) & (passes < length[here] + PAST_ENDS_M)
    row, column = np.nonzero(is_mirrored)
    thing, face = things[row], here[column]
    image = rel[thing] - 2.0 * before[row, column][:, None] * across[face]
    return thing, image, np.hypot(lies[row, column] + own_along[face], before[row, column]), across[face]
