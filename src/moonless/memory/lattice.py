"""One lattice over the whole earth, so that what different boats counted in a cell is counted in the same cell.

Rows are a thousandth of a degree of latitude high, 111 m.  Columns are as wide as rows in the middle of each whole
degree of latitude, so cells are nearly square and no two runs ever differ on where one begins.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Cells of a thousandth of a degree of latitude, and their height on the mean sphere.
ROWS_PER_DEGREE = 1000
CELL_M = 111.2
_COLUMN_BITS = 20  # more than the 360 000 columns at the equator

Keys = NDArray[np.int64]
Floats = NDArray[np.float64]


def key_of(lat_deg: ArrayLike, lon_deg: ArrayLike) -> Keys:
    """Return the number of the cell that each place lies in."""
    lat, lon = np.asarray(lat_deg, dtype=np.float64), np.asarray(lon_deg, dtype=np.float64)
    row = np.clip(np.floor((lat + 90.0) * ROWS_PER_DEGREE), 0, 180 * ROWS_PER_DEGREE - 1).astype(np.int64)
    columns = _columns(row)
    column = np.floor((lon + 180.0) / 360.0 * columns).astype(np.int64) % columns
    return np.asarray(row << _COLUMN_BITS | column, dtype=np.int64)


def middle_of(keys: ArrayLike) -> tuple[Floats, Floats]:
    """Return (lat, lon) degrees of the middles of cells."""
    key = np.asarray(keys, dtype=np.int64)
    row, column = key >> _COLUMN_BITS, key & ((1 << _COLUMN_BITS) - 1)
    lat = (row + 0.5) / ROWS_PER_DEGREE - 90.0
    return lat, (column + 0.5) / _columns(row) * 360.0 - 180.0


def block_of(keys: Keys) -> Keys:
    """Return (9, n): the cells themselves and those that touch them.

    Where two degrees of latitude meet columns do not stand in line: one that touches may be there twice and one not.
    """
    lat, lon = middle_of(keys)
    north, east = 1.0 / ROWS_PER_DEGREE, 360.0 / _columns(keys >> _COLUMN_BITS)
    steps = [(i, j) for i in (-1, 0, 1) for j in (-1, 0, 1)]
    return np.stack([key_of(lat + i * north, lon + j * east) for i, j in steps])


def corners_of(key: int) -> list[tuple[float, float]]:
    """Return the outline of a cell as (lon, lat), closed."""
    row, column = key >> _COLUMN_BITS, key & ((1 << _COLUMN_BITS) - 1)
    columns = int(_columns(np.array([row]))[0])
    south, north = row / ROWS_PER_DEGREE - 90.0, (row + 1) / ROWS_PER_DEGREE - 90.0
    west, east = column / columns * 360.0 - 180.0, (column + 1) / columns * 360.0 - 180.0
    return [(west, south), (east, south), (east, north), (west, north), (west, south)]


def cells_within(west: float, south: float, east: float, north: float) -> Keys:
    """Return the cells whose middles lie in a box of degrees that does not cross the date line."""
    first, last = key_of([south, north], [west, west]) >> _COLUMN_BITS
    rows = np.arange(first, last + 1)
    out = []
    for row in rows.tolist():
        columns = int(_columns(np.array([row]))[0])
        a, b = np.floor((np.array([west, east]) + 180.0) / 360.0 * columns).astype(np.int64)
        out.append((row << _COLUMN_BITS) + np.arange(a, b + 1) % columns)
    keys = np.concatenate(out) if out else np.zeros(0, dtype=np.int64)
    lat, lon = middle_of(keys)
    return np.asarray(keys[(lat >= south) & (lat <= north) & (lon >= west) & (lon <= east)], dtype=np.int64)


def _columns(row: NDArray[np.int64]) -> NDArray[np.int64]:
    degree = row // ROWS_PER_DEGREE - 90
    wide = np.round(360 * ROWS_PER_DEGREE * np.cos(np.radians(degree + 0.5)))
    return np.asarray(np.maximum(wide, 1.0), dtype=np.int64)
