"""How high the land stands: from charted elevations, a raster if there is one, else by stated defaults."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage, spatial

from moonless.chart.types import Feature
from moonless.errors import SourceError
from moonless.frames import LocalFrame


@dataclass(frozen=True, slots=True)
class LandDefaults:
    """What land is taken to be where nothing is charted.  Our own choices, no source; the manual states them."""

    bank_m: float = 1.5  # height of the shore itself
    slope: float = 0.2  # rise per metre inland
    height_m: float = 9.0  # trees and houses on low land
    town_m: float = 14.0  # inside a charted built-up area
    rough_m: float = 2.5  # standard deviation of what stands on the land, at the raster's step
    face_gamma: float = 2.0  # echo per projected area of the face at the water: rock and walls met nearly squarely
    slope_gamma: float = 0.4  # of what rises behind it (-4 dB): constant-gamma clutter of trees, rock and houses


@dataclass(frozen=True, slots=True, eq=False)
class HeightRaster:
    """Heights in metres above the water, as if there were land everywhere; ``south``/``west``: centre of [0, 0]."""

    height_m: NDArray[np.float32]  # (ny, nx), rows northwards
    west_m: float
    south_m: float
    step_m: float


# Cells each way: 1024 keeps the first call short; 14 km either way then makes steps of 27 m.
_N = 1024
_LEAST_STEP_M = 8.0
# A charted elevation speaks for the land this far round it.
_ELEVATION_REACH_M = 800.0


def height_raster(
    land: shapely.Geometry,
    features: Sequence[Feature],
    east_m: float,
    north_m: float,
    radius_m: float,
    defaults: LandDefaults,
    seed: int,
    ground: NDArray[np.float32] | None = None,
) -> HeightRaster:
    """Return heights over the square round a place.

    ``features``: LNDELV, BUAARE and whatever else is charted there.  ``ground``: heights of the ground read on the same
    cells (`read_ground`), NaN where unknown.
    """
    n, step = raster_shape(radius_m)
    west, south = east_m - step * (n - 1) / 2.0, north_m - step * (n - 1) / 2.0
    inside = burn(shapely.get_parts(land), west, south, step, n)
    inland_m = ndimage.distance_transform_edt(inside).astype(np.float32) * np.float32(step)
    ceiling = np.full((n, n), defaults.height_m, dtype=np.float32)
    towns = [f.shape for f in features if f.object == "BUAARE" and shapely.get_dimensions(f.shape) == 2]
    if towns:
        ceiling[burn(towns, west, south, step, n)] = defaults.town_m
    _lift(ceiling, features, west, south, step)
    rng = np.random.default_rng(seed)
    rough = ndimage.gaussian_filter(rng.standard_normal((n, n)).astype(np.float32), 1.0, mode="wrap")
    rough *= np.float32(defaults.rough_m / max(float(rough.std()), 1e-6))
    natural = np.float32(defaults.bank_m) + np.float32(defaults.slope) * inland_m
    # Half a cell of the way in there is only the bank: the shore line itself comes from the chart, not from cells.
    share = np.clip(inland_m / np.float32(3.0 * step), 0.0, 1.0)
    height = np.minimum(natural, ceiling) + rough * share
    if ground is not None:
        height = np.where(np.isfinite(ground), ground + np.float32(defaults.bank_m) + np.abs(rough) * share, height)
    height = np.maximum(height, np.float32(0.5 * defaults.bank_m)).astype(np.float32)
    return HeightRaster(height, west, south, step)


def raster_shape(radius_m: float) -> tuple[int, float]:
    """Return (cells each way, metres a cell) for a radius."""
    step = max(_LEAST_STEP_M, 2.0 * radius_m / _N)
    return min(_N, int(2.0 * radius_m / step) + 2), step


def burn(parts: Sequence[shapely.Geometry], west: float, south: float, step: float, n: int) -> NDArray[np.bool_]:
    """Return (n, n) True where a polygon covers the cell's centre, rows northwards."""
    image = Image.new("1", (n, n), 0)
    draw = ImageDraw.Draw(image)
    for part in shapely.get_parts(np.asarray(parts, dtype=object)) if len(parts) else ():
        if part.geom_type != "Polygon" or part.is_empty:
            continue
        for ring, value in [(part.exterior, 1), *((hole, 0) for hole in part.interiors)]:
            xy = (shapely.get_coordinates(ring) - (west, south)) / step
            if xy[:, 0].max() < 0 or xy[:, 1].max() < 0 or xy[:, 0].min() > n or xy[:, 1].min() > n:
                continue
            draw.polygon([(float(x), float(y)) for x, y in xy], fill=value)
    return np.asarray(image, dtype=np.bool_)


def _lift(ceiling: NDArray[np.float32], features: Sequence[Feature], west: float, south: float, step: float) -> None:
    """Pull the ceiling to charted elevations, fading with distance from them."""
    places, heights = [], []
    for feature in features:
        if feature.object != "LNDELV":
            continue
        height = feature.number("ELEVAT")
        if height is not None:
            xy = shapely.get_coordinates(feature.shape)
            places.append(xy)
            heights.append(np.full(len(xy), height))
    if not places:
        return
    where, what = np.concatenate(places), np.concatenate(heights)
    n = ceiling.shape[0]
    # Every fourth cell is enough for something that fades over 800 m.
    axis = np.arange(0, n, 4)
    east, north = np.meshgrid(west + axis * step, south + axis * step)
    k = min(3, len(where))
    distance, index = spatial.cKDTree(where).query(np.column_stack([east.ravel(), north.ravel()]), k=k)
    distance, index = distance.reshape(-1, k), index.reshape(-1, k)
    weight = 1.0 / np.maximum(distance, step) ** 2
    level = np.sum(weight * what[index], axis=1) / np.sum(weight, axis=1)
    trust = np.exp(-((distance[:, 0] / _ELEVATION_REACH_M) ** 2))
    grid = (len(axis), len(axis))
    level, trust = level.reshape(grid), trust.reshape(grid)
    level = np.kron(level, np.ones((4, 4)))[:n, :n]
    trust = np.kron(trust, np.ones((4, 4)))[:n, :n]
    # What stands on the ground still stands on the charted height of the ground.
    ceiling += ((level - 0.5 * ceiling) * trust).clip(-0.5 * ceiling, None).astype(np.float32)


def read_ground(path: Path, frame: LocalFrame, east_m: float, north_m: float, radius_m: float) -> NDArray[np.float32]:
    """Return ground heights from any GDAL raster on the cells `height_raster` uses, NaN outside it.

    Raises SourceError if rasterio is not installed or the file cannot be read.
    """
    try:
        import rasterio
        from rasterio.warp import transform
    except ImportError as problem:
        raise SourceError(f"{path}: reading ground heights needs rasterio; install moonless[heights]") from problem
    n, step = raster_shape(radius_m)
    axis = (np.arange(n) - (n - 1) / 2.0) * step
    east, north = np.meshgrid(east_m + axis, north_m + axis)
    lat, lon = frame.to_geographic(east.ravel(), north.ravel())
    try:
        with rasterio.open(path) as source:
            x, y = transform("EPSG:4326", source.crs, lon, lat)
            band = source.read(1, masked=True).astype(np.float32).filled(np.nan)
            back = ~source.transform
    except (rasterio.errors.RasterioError, OSError) as problem:
        raise SourceError(f"{path}: cannot be read as a raster of heights: {problem}") from problem
    x, y = np.asarray(x), np.asarray(y)
    row = np.floor(back.d * x + back.e * y + back.f).astype(np.int64)
    col = np.floor(back.a * x + back.b * y + back.c).astype(np.int64)
    good = (row >= 0) & (row < band.shape[0]) & (col >= 0) & (col < band.shape[1])
    out = np.full(n * n, np.nan, dtype=np.float32)
    out[good] = band[row[good], col[good]]
    return out.reshape(n, n)
