"""Where the scope lies in the picture: a flat screen before a pin-hole camera with a simple lens.

    scope plane                    picture
    x right, y down, unit:         pixels, x right, y down, the middle of
    the outermost ring, centre     the upper left pixel at (0, 0)
    at the origin

The plane's own turn is a matter of convention until the bow is found: its up is the picture's up at the centre.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class ScopePlane:
    """The map from the scope's plane to the picture.

    ``matrix``: (3, 3) homography.  ``lens``: first radial coefficient, of half the picture's diagonal.
    """

    matrix: Floats
    lens: float
    size: tuple[int, int]  # of the picture: width, height

    def to_picture(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return pixels of places in the scope's plane; any shape."""
        m = self.matrix
        w = m[2, 0] * x + m[2, 1] * y + m[2, 2]
        u = (m[0, 0] * x + m[0, 1] * y + m[0, 2]) / w
        v = (m[1, 0] * x + m[1, 1] * y + m[1, 2]) / w
        return bend(u, v, self.lens, self.size)

    def to_plane(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        """Return places in the scope's plane of pixels; any shape."""
        u, v = unbend(u, v, self.lens, self.size)
        m = np.linalg.inv(self.matrix)
        w = m[2, 0] * u + m[2, 1] * v + m[2, 2]
        return (m[0, 0] * u + m[0, 1] * v + m[0, 2]) / w, (m[1, 0] * u + m[1, 1] * v + m[1, 2]) / w

    @property
    def centre(self) -> tuple[float, float]:
        """The pixel of own boat."""
        u, v = self.to_picture(np.zeros(1), np.zeros(1))
        return float(u[0]), float(v[0])

    @property
    def radius_px(self) -> float:
        """Mean radius of the outermost ring, pixels."""
        angle = np.arange(0.0, 2.0 * math.pi, 0.1)
        u, v = self.to_picture(np.sin(angle), -np.cos(angle))
        cu, cv = self.centre
        return float(np.mean(np.hypot(u - cu, v - cv)))

    @property
    def tilt_deg(self) -> float:
        """How far the screen leans from square, by how a circle at the centre looks; 0 to 90 degrees."""
        m = self.matrix / self.matrix[2, 2]
        jacobian = m[:2, :2] - np.outer(m[:2, 2], m[2, :2])
        small, large = sorted(np.linalg.svd(jacobian, compute_uv=False))
        return math.degrees(math.acos(min(small / large, 1.0)))

    def scaled(self, unit: float) -> ScopePlane:
        """Return the same plane with its unit made ``unit`` of the present one."""
        return ScopePlane(self.matrix @ np.diag([unit, unit, 1.0]), self.lens, self.size)

    def resized(self, size: tuple[int, int]) -> ScopePlane:
        """Return the plane for the same picture at another size."""
        fx, fy = size[0] / self.size[0], size[1] / self.size[1]
        # Middles of pixels: the picture's edge is at -0.5.
        scale = np.array([[fx, 0.0, 0.5 * fx - 0.5], [0.0, fy, 0.5 * fy - 0.5], [0.0, 0.0, 1.0]])
        return ScopePlane(scale @ self.matrix, self.lens, size)


def _middle(size: tuple[int, int]) -> tuple[float, float, float]:
    return 0.5 * size[0], 0.5 * size[1], 0.5 * math.hypot(*size)


def bend(u: Floats, v: Floats, lens: float, size: tuple[int, int]) -> tuple[Floats, Floats]:
    """Return where a lens puts pixels of a pin-hole camera."""
    if lens == 0.0:
        return u, v
    mu, mv, half = _middle(size)
    x, y = (u - mu) / half, (v - mv) / half
    factor = 1.0 + lens * (x * x + y * y)
    return mu + half * x * factor, mv + half * y * factor


def unbend(u: Floats, v: Floats, lens: float, size: tuple[int, int]) -> tuple[Floats, Floats]:
    """Undo `bend`, by a few fixed-point steps; lenses of a few hundredths settle to a thousandth of a pixel."""
    if lens == 0.0:
        return u, v
    a, b = u, v
    for _ in range(5):
        x, y = bend(a, b, lens, size)
        a, b = a + (u - x), b + (v - y)
    return a, b


def polar_grid(plane: ScopePlane, n_angle: int, radii: Floats) -> tuple[Floats, Floats]:
    """Return (u, v), each (n_angle, n_radius): row 0 points up in the plane, rows go clockwise."""
    angle = np.arange(n_angle) * (2.0 * math.pi / n_angle)
    return plane.to_picture(np.sin(angle)[:, None] * radii[None, :], -np.cos(angle)[:, None] * radii[None, :])
