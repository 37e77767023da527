"""What was found on a screen, and the turn of the antenna it gives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from moonless.picture.colours.palette import Palette
from moonless.picture.digits import FigureRead
from moonless.picture.geometry.plane import ScopePlane
from moonless.scan.types import Spoke

RangeFrom = Literal["told", "read", "read and checked", "unknown"]


@dataclass(frozen=True, slots=True, eq=False)
class FoundScope:
    """One screen as it was found.

    ``bow_rad``: where the bow points, clockwise from the plane's up; None: not known.  ``north_up``: then the plane's
    up is north.  ``asks``: what must be told before anything is believed, in plain words.
    """

    plane: ScopePlane
    rings: int  # the outermost ring's number
    quality: float
    residual_px: float
    bow_rad: float | None
    bow_sigma_rad: float
    north_up: bool
    range_m: float | None  # of the outermost ring
    range_from: RangeFrom
    figures: tuple[FigureRead, ...]
    is_filled: bool  # the picture ends at the outermost ring
    palette: Palette
    water: NDArray[np.uint8]
    notes: tuple[str, ...]
    asks: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class PictureScan:
    """One picture as a turn of the antenna: (n_spoke, n_cell) counts, and which cells the screen showed at all.

    Row 0 at the bow (or at north, ``from_north``), clockwise.
    """

    echo: NDArray[np.uint8]
    shown: NDArray[np.bool_]  # False: under writing, outside the picture, cut off: not received, never empty
    range_m: float
    from_north: bool
    range_sigma_m: float
    azimuth_sigma_rad: float
    first_row: int  # which of the screen's directions, clockwise from its up, row 0 is

    @property
    def cell_m(self) -> float:
        """Range from one cell to the next."""
        return self.range_m / int(self.echo.shape[1])

    def spokes(self, time_ns: NDArray[np.int64], rows: NDArray[np.intp], sequence: int) -> list[Spoke]:
        """Return rows as spokes; a spoke that was covered in part comes in stretches.

        ``time_ns``: of each of ``rows``.  The first cell, own boat's own, and the last begin and end every spoke, so
        that all have one beginning and one end.
        """
        n = self.echo.shape[0]
        width = 2.0 * np.pi / n
        out: list[Spoke] = []
        for row, when in zip(rows.tolist(), time_ns.tolist(), strict=True):
            shown = self.shown[row]
            if not shown.any():
                continue
            shown = shown.copy()
            shown[0] = shown[-1] = True
            edges = np.flatnonzero(np.diff(np.concatenate([[0], shown.astype(np.int8), [0]])))
            for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
                out.append(
                    Spoke(
                        when, (row - 0.5) * width % (2.0 * np.pi), (row + 0.5) * width % (2.0 * np.pi),
                        (first + 1) * self.cell_m, self.cell_m, self.echo[row, first:end], 255, sequence + row,
                    )
                )  # fmt: skip
        return out
