"""The picture laid flat again: what stands on the screen, as a person before it would see it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from moonless.picture.geometry.edges import Picture
from moonless.picture.geometry.plane import Floats, ScopePlane

# A hand holds a phone so straight, degrees.
MOST_ROLL_DEG = 20.0
MOST_SIDE = 2000


@dataclass(frozen=True, slots=True, eq=False)
class Flat:
    """A picture of the scope's plane.  ``px_per_unit``: pixels a plane unit; ``middle``: pixel of own boat."""

    pixels: Picture
    px_per_unit: float
    middle: tuple[float, float]
    roll: float  # of the plane's up clockwise from this picture's up, radians

    def to_plane(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return places in the plane of pixels of the flat picture."""
        a, b = (x - self.middle[0]) / self.px_per_unit, (y - self.middle[1]) / self.px_per_unit
        c, s = math.cos(self.roll), math.sin(self.roll)
        return a * c + b * s, -a * s + b * c


def flatten(picture: Picture, plane: ScopePlane, roll: float = 0.0, *, reach: float | None = None) -> Flat:
    """Return the screen seen squarely, turned by ``roll``: as far as the picture goes, or ``reach`` plane units."""
    height, width = picture.shape[:2]
    if reach is None:
        rim_u = np.array([0.0, width - 1.0, width - 1.0, 0.0, width / 2, width / 2, 0.0, width - 1.0])
        rim_v = np.array([0.0, 0.0, height - 1.0, height - 1.0, 0.0, height - 1.0, height / 2, height / 2])
        x, y = plane.to_plane(rim_u, rim_v)
        c, s = math.cos(roll), math.sin(roll)
        x, y = x * c - y * s, x * s + y * c
        limit = 3.5 * max(1.0, float(np.median(np.hypot(x, y))))
        box = [
            max(float(x.min()), -limit),
            max(float(y.min()), -limit),
            min(float(x.max()), limit),
            min(float(y.max()), limit),
        ]
    else:
        box = [-reach, -reach, reach, reach]
    scale = min(plane.radius_px, MOST_SIDE / max(box[2] - box[0], box[3] - box[1]))
    across, down = max(8, math.ceil((box[2] - box[0]) * scale)), max(8, math.ceil((box[3] - box[1]) * scale))
    flat = Flat(np.empty((0, 0, 3), np.uint8), scale, (-box[0] * scale, -box[1] * scale), roll)
    px, py = np.meshgrid(np.arange(across, dtype=np.float64), np.arange(down, dtype=np.float64))
    x, y = flat.to_plane(px, py)
    m = plane.matrix
    behind = m[2, 0] * x + m[2, 1] * y + m[2, 2] < 0.05 * m[2, 2]
    u, v = plane.to_picture(np.where(behind, 0.0, x), np.where(behind, 0.0, y))
    u = np.where(behind, -1e4, u)
    pixels = cv2.remap(picture, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR)
    return Flat(pixels, scale, flat.middle, roll)


def find_roll(picture: Picture, plane: ScopePlane) -> float | None:
    """Return the screen's own up, clockwise from the plane's up, radians, by the straight edges there are; None: none.

    Frames, words and the strokes of figures stand upright or level on a screen.
    """
    flat = flatten(picture, plane).pixels
    grey = cv2.GaussianBlur(flat, (0, 0), 1.2).max(axis=2).astype(np.float32)
    gx, gy = cv2.Scharr(grey, cv2.CV_32F, 1, 0), cv2.Scharr(grey, cv2.CV_32F, 0, 1)
    size = np.hypot(gx, gy)
    strong = size > max(6.0 * float(np.median(size)), 60.0)
    if np.count_nonzero(strong) < 200:
        return None
    angle = np.degrees(np.arctan2(gy[strong], gx[strong]))
    folded = np.mod(angle + 45.0, 90.0) - 45.0
    counts, edges = np.histogram(folded, bins=360, range=(-45.0, 45.0), weights=np.minimum(size[strong], 400.0))
    smooth = np.convolve(np.concatenate([counts[-8:], counts, counts[:8]]), np.hanning(9), mode="same")[8:-8]
    middle = 0.5 * (edges[:-1] + edges[1:])
    allowed = np.abs(middle) < MOST_ROLL_DEG
    at = int(np.argmax(np.where(allowed, smooth, 0.0)))
    if smooth[at] < 2.5 * float(np.median(smooth)):
        return None
    return math.radians(float(middle[at]))
