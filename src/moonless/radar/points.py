"""What single things give: marks, boats, whatever stands by itself."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.constants import EFFECTIVE_EARTH_RADIUS_M as RE_M
from moonless.constants import TAU
from moonless.radar.environment.multipath import LOWEST_SHARE, N_HEIGHT, Path, two_way_factor
from moonless.radar.environment.propagation import GAS_DB_PER_M
from moonless.radar.kernels.field_kernels import hidden_kernel
from moonless.radar.link.budget import Link
from moonless.radar.targets import scatterers_of
from moonless.radar.types import PointTarget, RadarPose, ScanGrid

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class PointEchoes:
    """One row a scatterer.  ``snr`` is single-pulse, mean, before rain; zero where nothing can come back."""

    target: NDArray[np.int64]  # (n,) index into the asked sequence
    range_m: Floats
    azimuth_rel_rad: Floats
    spoke: Floats  # (n,) fractional row
    cell: Floats  # (n,) fractional column
    snr: Floats
    swerling: NDArray[np.int64]
    is_hidden: NDArray[np.bool_]  # all its heights lie below the line of sight over land


def point_echoes(
    targets: Sequence[PointTarget],
    link: Link,
    path: Path,
    pose: RadarPose,
    grid: ScanGrid,
    shadow_m: NDArray[np.float32],
    water: NDArray[np.uint8],
) -> PointEchoes:
    """Return the echoes of all targets; those beyond the grid keep their range and get no power."""
    points = scatterers_of(targets, pose.east_m, pose.north_m)
    n = len(points)
    table = np.array(
        [(i, p.east_m, p.north_m, p.rcs_m2, p.height_m, p.swerling) for i, p in points], dtype=np.float64
    ).reshape(n, 6)
    east, north = table[:, 1] - pose.east_m, table[:, 2] - pose.north_m
    range_m = np.hypot(east, north)
    azimuth = np.mod(np.arctan2(east, north) - pose.heading_rad, TAU)
    spoke = azimuth * (grid.n_spoke / TAU)
    cell = (range_m - grid.first_cell_m) / grid.cell_m
    snr = np.zeros(n)
    hidden = np.zeros(n, dtype=np.bool_)
    inside = (range_m <= grid.max_range_m) & (range_m >= link.radar.min_range_m)
    inside &= ~in_sectors(azimuth, link.radar.blind_sectors_rad)
    if np.any(inside):
        reach = range_m[inside]
        share = LOWEST_SHARE + (1.0 - LOWEST_SHARE) * (np.arange(N_HEIGHT) + 0.5) / N_HEIGHT
        heights = table[inside, 4][:, np.newaxis] * share
        field = two_way_factor(path, np.repeat(reach[:, np.newaxis], N_HEIGHT, axis=1), heights)
        passed, hides = hidden_kernel(
            np.rint(spoke[inside]).astype(np.int64) % grid.n_spoke,
            # One cell short: a thing does not stand in the shadow of the quay it is bolted to.
            np.maximum(np.rint(cell[inside]).astype(np.int64) - 1, 0),
            heights,
            shadow_m,
            water,
            float(grid.first_cell_m),
            float(grid.cell_m),
            path.antenna_m,
            path.wavelength_m,
            RE_M,
        )
        # Behind an edge the field over open water is not there; what bends over the edge is all.
        field = np.where(passed < 1.0, np.minimum(field, 1.0) * passed, field)
        gas = 10.0 ** (-0.2 * GAS_DB_PER_M * reach)
        lifted = vertical_pattern(link, path.antenna_m - 0.5 * table[inside, 4], reach)
        snr[inside] = link.snr_at_1m * table[inside, 3] * field.mean(axis=1) / reach**4 * gas * lifted
        hidden[inside] = hides > table[inside, 4]
    return PointEchoes(
        table[:, 0].astype(np.int64), range_m, azimuth, spoke, cell, snr, table[:, 5].astype(np.int64), hidden
    )


def vertical_pattern(link: Link, below_m: Floats | float, range_m: Floats) -> Floats:
    """Return the two-way share of a Gaussian beam at a depression of ``below_m`` over ``range_m``."""
    angle = np.arctan2(below_m, range_m)
    return np.asarray(np.exp(-8.0 * math.log(2.0) * (angle / link.radar.beam_vertical_rad) ** 2), dtype=np.float64)


def in_sectors(azimuth_rad: Floats, sectors: Sequence[tuple[float, float]]) -> NDArray[np.bool_]:
    """Return which azimuths lie in any sector (from, to), clockwise, through the bow if it says so."""
    found = np.zeros(np.shape(azimuth_rad), dtype=np.bool_)
    for start, end in sectors:
        found |= np.mod(azimuth_rad - start, TAU) <= np.mod(end - start, TAU)
    return found
