"""From a screen that has been found to a turn of the antenna, frame after frame."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.picture.colours.palette import HIDDEN
from moonless.picture.geometry.edges import Picture
from moonless.picture.geometry.scope import Unrolled, Unroller, px_per_ring
from moonless.picture.over.cover import Cover
from moonless.picture.over.under import LINE_PX, RingBand, over_line, over_rings, ring_bands
from moonless.picture.types import FoundScope, PictureScan

N_SPOKE = 1024
FEWEST_CELLS, MOST_CELLS = 96, 512
# Writing and what stands between its strokes, pixels.
WRITING_PX = 9
# A ring or line is found to this part of a pixel; the edge of an echo on a screen is uncertain by one.
EDGE_PX = 0.7


def n_cell_of(px_to_outermost: float) -> int:
    """Return how many cells a spoke has: one to a pixel of the picture, within bounds."""
    return int(np.clip(round(px_to_outermost), FEWEST_CELLS, MOST_CELLS))


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """Reads frames of one found screen.  Built once; `lay` is what is done for every frame."""

    found: FoundScope
    unroller: Unroller
    bands: list[RingBand]
    cover: Cover

    @classmethod
    def make(cls, found: FoundScope) -> Layer:
        """Work out the places to sample."""
        unroller = unroller_of(found)
        n_cell = unroller.inside.shape[1]
        px = px_per_ring(found.plane) * unroller.step
        return cls(found, unroller, ring_bands(n_cell, unroller.step, px), Cover())

    def lay(self, picture: Picture, bow_rad: float | None = None) -> PictureScan:
        """Return one frame as a turn.  ``bow_rad``: where the bow points now, if it has moved since it was found."""
        return self.lay_unrolled(self.unroller.unroll(picture), bow_rad)

    def lay_unrolled(self, unrolled: Unrolled, bow_rad: float | None = None) -> PictureScan:
        """Return one frame as a turn, once it is unrolled."""
        found = self.found
        assert found.range_m is not None
        level = found.palette.read(unrolled.colour, found.water)
        hidden = level == HIDDEN
        if hidden.any():
            hidden = cv2.morphologyEx(
                hidden.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((WRITING_PX, WRITING_PX), np.uint8)
            ).astype(bool)
        hidden |= self.cover.look(unrolled, found.rings, px_per_ring(found.plane))
        level[hidden] = 0
        bow = found.bow_rad if bow_rad is None else bow_rad
        given = (unrolled.colour, found.water, found.palette)
        over_rings(level, *given, self.bands, hidden)
        if bow is not None:
            over_line(level, *given, self.bands, bow, px_per_ring(found.plane) * self.unroller.step)
        shown = ~hidden & self.unroller.inside
        level[~shown] = 0
        from_north = bow is None and found.north_up
        turn = 0.0 if bow is None else bow
        first_row = round(turn / TAU * N_SPOKE)
        echo, shown = np.roll(level, -first_row, axis=0), np.roll(shown, -first_row, axis=0)
        px_m = found.range_m / (found.rings * px_per_ring(found.plane))
        return PictureScan(
            echo, shown, found.range_m, from_north,
            math.hypot(EDGE_PX, found.residual_px) * px_m, math.hypot(found.bow_sigma_rad, 0.5 * TAU / N_SPOKE),
            first_row,
        )  # fmt: skip


def unroller_of(found: FoundScope) -> Unroller:
    """Return the unroller of a screen."""
    return Unroller.make(found.plane, N_SPOKE, n_cell_of(found.rings * px_per_ring(found.plane)), float(found.rings))


def ring_columns(n_cell: int, step: float, px_per_cell: float) -> NDArray[np.intp]:
    """Return the columns that a ring touches."""
    radii = (np.arange(n_cell) + 1.0) * step
    near = np.abs(radii - np.rint(radii)) / step * px_per_cell < LINE_PX
    return np.flatnonzero(near & (np.rint(radii) >= 1))
