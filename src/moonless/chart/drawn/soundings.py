"""Which soundings are written at which zoom: the shoalest first, no two closer than can be read."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.chart.drawn.grid import pixel_m
from moonless.chart.drawn.what import SOUNDING_LAST_ZOOM, SOUNDING_ZOOM

# Room for a number and the water round it.  Own choice.
SPACING_PX = 60.0


def first_zooms(places_m: NDArray[np.float64], depth_m: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return for each sounding the first zoom at which it is written.

    Shoaler ones come first at every zoom, and what was written at one zoom stays at the next: a shoal is never hidden
    by a deeper number beside it, and nothing jumps as the range changes.  Those still too close at the last zoom come
    one later.

    Parameters
    ----------
    places_m : shape (n, 2), Mercator metres
    """
    n = len(depth_m)
    out = np.full(n, SOUNDING_LAST_ZOOM + 1, dtype=np.int64)
    order = np.lexsort((places_m[:, 1], places_m[:, 0], depth_m)) if n else np.empty(0, dtype=np.int64)
    left = order.tolist()
    kept: list[int] = []
    xy = places_m.tolist()
    for zoom in range(SOUNDING_ZOOM, SOUNDING_LAST_ZOOM + 1):
        spacing = SPACING_PX * pixel_m(zoom)
        grid: dict[tuple[int, int], list[tuple[float, float]]] = {}
        for i in kept:
            _put(grid, xy[i], spacing)
        still = []
        for i in left:
            if _is_free(grid, xy[i], spacing):
                _put(grid, xy[i], spacing)
                out[i] = zoom
                kept.append(i)
            else:
                still.append(i)
        left = still
    return out


def _put(grid: dict[tuple[int, int], list[tuple[float, float]]], at: list[float], spacing: float) -> None:
    grid.setdefault((int(at[0] // spacing), int(at[1] // spacing)), []).append((at[0], at[1]))


def _is_free(grid: dict[tuple[int, int], list[tuple[float, float]]], at: list[float], spacing: float) -> bool:
    x, y = at
    column, row = int(x // spacing), int(y // spacing)
    for i in (column, column - 1, column + 1):
        for j in (row, row - 1, row + 1):
            for other_x, other_y in grid.get((i, j), ()):
                if (other_x - x) ** 2 + (other_y - y) ** 2 < spacing * spacing:
                    return False
    return True
