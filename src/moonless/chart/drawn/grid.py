"""The grid of tiles: Web Mercator (EPSG:3857) squares, numbered as OGC's WebMercatorQuad numbers them.

Zooms are those of tiles shown 512 pixels wide, as the map library counts them.  Source of the square and the numbers:
OGC Two Dimensional Tile Matrix Set and Tile Set Metadata 2.0 (17-083r4), annex D.1, WebMercatorQuad; from memory.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.constants import WGS84_A_M

Floats = NDArray[np.float64]

# Web Mercator takes the ellipsoid's long axis for a sphere's radius.
HALF_M = math.pi * WGS84_A_M
TILE_PX = 512
# Width of a screen pixel that scales are reckoned by; OGC 17-083r4, "standardized rendering pixel size"; from memory.
PIXEL_M = 0.28e-3
# Beyond this Web Mercator's square ends.
MAX_LAT_DEG = math.degrees(math.atan(math.sinh(math.pi)))


class Tile(NamedTuple):
    """One tile: zoom, column from the west, row from the north."""

    z: int
    x: int
    y: int

    @property
    def is_possible(self) -> bool:
        """True if there is such a tile."""
        return 0 <= self.z <= 24 and 0 <= self.x < 1 << self.z and 0 <= self.y < 1 << self.z

    def parent(self, z: int) -> Tile:
        """Return the tile of a lesser zoom that holds this one."""
        up = self.z - z
        return Tile(z, self.x >> up, self.y >> up)

    def box_m(self, margin_px: float = 0.0) -> tuple[float, float, float, float]:
        """Return west, south, east, north in Mercator metres, widened by pixels of this zoom."""
        size = side_m(self.z)
        more = margin_px * size / TILE_PX
        west, north = self.x * size - HALF_M, HALF_M - self.y * size
        return west - more, north - size - more, west + size + more, north + more

    def box_deg(self, margin_px: float = 0.0) -> tuple[float, float, float, float]:
        """Return west, south, east, north in degrees, widened, cut at the date line and the square's ends."""
        west, south, east, north = self.box_m(margin_px)
        lon, lat = to_lonlat(np.array([max(west, -HALF_M), min(east, HALF_M)]), np.array([south, north]))
        return float(lon[0]), float(lat[0]), float(lon[1]), float(lat[1])


def side_m(z: int) -> float:
    """Return a tile's side in Mercator metres."""
    return 2.0 * HALF_M / (1 << z)


def pixel_m(z: float) -> float:
    """Return the side of a screen pixel in Mercator metres: ground metres on the equator alone."""
    return float(2.0 * HALF_M / TILE_PX / 2.0**z)


def scale_at(z: float, lat_deg: float) -> float:
    """Return the scale denominator a zoom is shown at."""
    return pixel_m(z) * math.cos(math.radians(lat_deg)) / PIXEL_M


def zoom_of_scale(scale: float, lat_deg: float) -> float:
    """Return the zoom that shows a scale denominator."""
    return math.log2(scale_at(0.0, lat_deg) / scale)


def to_mercator(lon_deg: Floats, lat_deg: Floats) -> tuple[Floats, Floats]:
    """Return Mercator metres (x east, y north)."""
    lat = np.clip(lat_deg, -MAX_LAT_DEG, MAX_LAT_DEG)
    return np.radians(lon_deg) * WGS84_A_M, np.arcsinh(np.tan(np.radians(lat))) * WGS84_A_M


def to_lonlat(x_m: Floats, y_m: Floats) -> tuple[Floats, Floats]:
    """Return longitude and latitude in degrees of Mercator metres."""
    return np.degrees(x_m / WGS84_A_M), np.degrees(np.arctan(np.sinh(y_m / WGS84_A_M)))


def mercator_of(lonlat: NDArray[np.object_], grid_m: float) -> NDArray[np.object_]:
    """Return (lon, lat) shapes in Mercator metres, every corner on a grid.

    The grid makes corners that two neighbours share one and the same number again, where overlays have moved the last
    bits of one of them.
    """
    if not len(lonlat):
        return lonlat

    def move(lonlat_deg: Floats) -> Floats:
        x, y = to_mercator(lonlat_deg[:, 0], lonlat_deg[:, 1])
        return np.round(np.column_stack([x, y]) / grid_m) * grid_m

    out: NDArray[np.object_] = shapely.transform(lonlat, move)
    return out


def tiles_over(box_deg: tuple[float, float, float, float], z: int) -> list[Tile]:
    """Return the tiles of a zoom that touch a box in degrees."""
    west, south, east, north = box_deg
    x, y = to_mercator(np.array([west, east]), np.array([north, south]))
    size, last = side_m(z), (1 << z) - 1
    first_x, last_x = (min(max(math.floor((v + HALF_M) / size), 0), last) for v in x)
    first_y, last_y = (min(max(math.floor((HALF_M - v) / size), 0), last) for v in y)
    return [Tile(z, i, j) for j in range(first_y, last_y + 1) for i in range(first_x, last_x + 1)]
