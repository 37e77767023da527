"""The scope unrolled: rows are directions, columns distances.

Rows go clockwise from the plane's up; column j is j + 1 steps from the centre.  Distances are in ring spacings.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from moonless.picture.geometry.edges import Picture
from moonless.picture.geometry.plane import Floats, ScopePlane, polar_grid


@dataclass(frozen=True, slots=True, eq=False)
class Unrolled:
    """A picture about own boat.  ``colour``: (n_angle, n_radius, 3); ``inside``: what lies in the picture."""

    colour: NDArray[np.uint8]
    inside: NDArray[np.bool_]
    step: float  # ring spacings a column

    @property
    def radii(self) -> Floats:
        """(n_radius,) distance of each column's middle, ring spacings."""
        return np.arange(1.0, self.colour.shape[1] + 1.0, dtype=np.float64) * np.float64(self.step)


@dataclass(frozen=True, slots=True, eq=False)
class Unroller:
    """Unrolls frame after frame by one plane; the places to sample are worked out once."""

    map_x: NDArray[np.int16]
    map_y: NDArray[np.uint16]
    inside: NDArray[np.bool_]
    step: float

    @classmethod
    def make(cls, plane: ScopePlane, n_angle: int, n_radius: int, reach: float) -> Unroller:
        """``reach``: how far out, ring spacings."""
        step = reach / n_radius
        u, v = polar_grid(plane, n_angle, np.arange(1.0, n_radius + 1.0, dtype=np.float64) * np.float64(step))
        width, height = plane.size
        inside = (u >= 0.0) & (v >= 0.0) & (u <= width - 1.0) & (v <= height - 1.0)
        map_x, map_y = cv2.convertMaps(u.astype(np.float32), v.astype(np.float32), cv2.CV_16SC2)
        return cls(map_x, map_y, inside, step)

    def unroll(self, picture: Picture) -> Unrolled:
        """Return the picture unrolled; black outside it."""
        colour = cv2.remap(picture, self.map_x, self.map_y, cv2.INTER_LINEAR)
        return Unrolled(colour, self.inside, self.step)


def px_per_ring(plane: ScopePlane) -> float:
    """Return the mean size of a ring spacing, pixels."""
    return plane.radius_px
