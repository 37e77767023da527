"""Where the rings have their common centre, roughly, and how the screen leans.

Every edge of a ring, of the scope and of an echo lies across the line to own boat, if the screen is seen squarely.
Seen at a slant, circles are ellipses; the picture stretched back by the right amount in the right direction makes
circles of them again.  So: for each of a few stretches every edge point votes for all places along the line across
it, and the stretch and the place with the most votes win.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from moonless.picture.geometry.edges import EdgePoints
from moonless.picture.geometry.plane import Floats

# Ratio of the ellipse's axes; cos 40 deg = 0.77.
RATIOS = (1.0, 0.93, 0.86, 0.78)
N_DIRECTION = 8
BIN_PX = 6.0
# Nearer than this the line across an edge says little of where the centre is.
NEAR_PX = 12.0


@dataclass(frozen=True, slots=True)
class Guess:
    """A centre in pixels, and the shape of a circle: stretched by ``ratio`` along ``direction``."""

    x: float
    y: float
    ratio: float
    direction: float
    votes: float

    def shape(self) -> Floats:
        """Return (2, 2): the plane's unit circle as it looks, mean radius 1."""
        c, s = math.cos(self.direction), math.sin(self.direction)
        turn = np.array([[c, -s], [s, c]])
        wide = 1.0 / math.sqrt(self.ratio)
        out: Floats = turn @ np.diag([wide * self.ratio, wide]) @ turn.T
        return out


def guess_centres(points: EdgePoints, size: tuple[int, int], most: int = 6) -> list[Guess]:
    """Return the best guesses over all stretches, best first, of places at least a tenth of the picture apart."""
    found: list[Guess] = []
    for ratio in RATIOS:
        for k in range(1 if ratio == 1.0 else N_DIRECTION):
            found += _peaks(points, size, ratio, k * math.pi / N_DIRECTION)
    found.sort(key=lambda g: -g.votes)
    kept: list[Guess] = []
    apart = 0.1 * max(size)
    for guess in found:
        near = sum(math.hypot(guess.x - g.x, guess.y - g.y) < apart for g in kept)
        if near < 2 and len(kept) < most:
            kept.append(guess)
    return kept


def _peaks(points: EdgePoints, size: tuple[int, int], ratio: float, direction: float) -> list[Guess]:
    votes = _votes(points, size, Guess(0.0, 0.0, ratio, direction, 0.0).shape())
    out = []
    for _ in range(2):
        y, x = divmod(int(np.argmax(votes)), votes.shape[1])
        out.append(Guess((x + 0.5) * BIN_PX, (y + 0.5) * BIN_PX, ratio, direction, float(votes[y, x])))
        votes[max(0, y - 8) : y + 9, max(0, x - 8) : x + 9] = 0.0
    return out


def _votes(points: EdgePoints, size: tuple[int, int], shape: Floats) -> NDArray[np.float32]:
    """Return votes a bin; each point gives one to every bin along its line, fewer the further it reaches."""
    # The normal of an ellipse made by `shape` points to the centre after shape shape^T.
    metric = shape @ shape.T
    dx = metric[0, 0] * points.across_x + metric[0, 1] * points.across_y
    dy = metric[1, 0] * points.across_x + metric[1, 1] * points.across_y
    length = np.hypot(dx, dy)
    dx, dy = dx / length, dy / length
    across, down = math.ceil(size[0] / BIN_PX), math.ceil(size[1] / BIN_PX)
    reach = np.arange(NEAR_PX, 0.75 * max(size), 0.75 * BIN_PX)
    steps = np.concatenate([-reach[::-1], reach]).astype(np.float32)
    x = ((points.x.astype(np.float32)[:, None] + dx.astype(np.float32)[:, None] * steps) / BIN_PX).astype(np.int32)
    y = ((points.y.astype(np.float32)[:, None] + dy.astype(np.float32)[:, None] * steps) / BIN_PX).astype(np.int32)
    ok = (x >= 0) & (x < across) & (y >= 0) & (y < down)
    # A distant edge's line is less sure by its own direction's error.
    weight = np.broadcast_to(1.0 / np.sqrt(np.abs(steps) / 50.0 + 1.0), x.shape)
    flat = np.bincount((y[ok] * across + x[ok]), weights=weight[ok], minlength=across * down)
    out: NDArray[np.float32] = cv2.GaussianBlur(flat.reshape(down, across).astype(np.float32), (0, 0), 1.0)
    return out
