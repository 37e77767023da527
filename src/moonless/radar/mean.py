"""The mean echo, from which both the expected and the drawn scan are made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import RadarSet
from moonless.constants import EFFECTIVE_EARTH_RADIUS_M as RE_M
from moonless.constants import TAU
from moonless.errors import InputError
from moonless.radar.environment.clutter import wind_factor
from moonless.radar.environment.multipath import LAND_TOP_M, N_LAND_RANGE, Path, land_table
from moonless.radar.environment.propagation import GAS_DB_PER_M
from moonless.radar.environment.rain import rain_maps
from moonless.radar.kernels.sweep_kernels import profile_kernel
from moonless.radar.link.budget import Link, link_budget
from moonless.radar.link.detection import spike_weight
from moonless.radar.points import in_sectors
from moonless.radar.types import PointTarget, RadarPose, ScanGrid, Weather
from moonless.radar.unwanted import WIND_STEERS, sea_power, sea_shape
from moonless.radar.walls import WallEdges
from moonless.radar.world import World
from moonless.sight.crossing_kernels import crossings_kernel

Floats = NDArray[np.float64]

N_SECTOR = 64
# Side lobes are summed over about 20 degrees: this many sectors.
_NEAR_SECTORS = 3
# A boat file gives the height of the lobes; between them the pattern falls, and what a whole window of it gathers there
# and back lies this far under (from memory, order of magnitude).
LOBE_MEAN_DB = -15.0
# Nearer than this the field hardly depends on range any more once heights are averaged.
_TABLE_FROM_M = 50.0
# The two-way beam is cut where it has fallen 60 dB.
_BEAM_REACH = math.sqrt(6.0 * math.log(10.0) / (8.0 * math.log(2.0)))


@dataclass(frozen=True, slots=True, eq=False)
class MeanEcho:
    """Everything about one turn that chance has no part in.  Powers over mean receiver noise, single pulse."""

    grid: ScanGrid
    link: Link
    path: Path
    shadow_m: NDArray[np.float32]  # (n_spoke, n_cell)
    water: NDArray[np.uint8]  # 1 where open water is in sight
    main: NDArray[np.float32]  # (n_spoke, n_cell) land and built things, spread in azimuth only
    sectors: Floats  # (N_SECTOR, n_cell) what side lobes gather
    sea_row: Floats  # (n_sea,) sea clutter round the compass
    wind_row: Floats  # (n_spoke,) its factor by direction
    spike_row: Floats  # (n_sea,) by how much its spikes make it count for more
    rain: NDArray[np.float32]  # coarse maps, or (0, 0)
    passed: NDArray[np.float32]
    is_blind: NDArray[np.bool_]  # (n_spoke,)
    first_shown: int  # nothing is shown in cells below this
    half_cells: int  # the pulse covers 2 half_cells + 1 cells and ``half_rest`` of one more each side
    half_rest: float
    beam_spokes: float  # half-power width


def mean_echo(
    world: World,
    radar: RadarSet,
    pose: RadarPose,
    grid: ScanGrid,
    scale_nm: float,
    weather: Weather,
    targets: Sequence[PointTarget] = (),
) -> MeanEcho:
    """Return the mean echo of land, built things, sea and rain; ``targets`` only cast their shadows here."""
    _check(grid, pose)
    link = link_budget(radar, scale_nm)
    path = Path(float(radar.height_m), link.wavelength_m, radar.polarisation, weather.wave_height_m / 4.0)
    reach = np.maximum(grid.first_cell_m + np.arange(grid.n_cell) * grid.cell_m, max(0.5 * grid.cell_m, 1.0))
    gas = 10.0 ** (-0.2 * GAS_DB_PER_M * reach)
    free = link.snr_at_1m / reach**4 * gas
    taps = _taps(radar.beam_horizontal_rad * grid.n_spoke / TAU)
    shadow, water, main, sectors = _profile(world, path, pose, grid, reach, free, taps, targets)
    sea_row = sea_power(link, path, weather, reach, free)
    bearing = np.float64(pose.heading_rad) + np.arange(grid.n_spoke, dtype=np.float64) * np.float64(TAU / grid.n_spoke)
    rain, passed = rain_maps(weather, link, pose, grid)
    across = max(0.0, link.pulse_m / grid.cell_m - 1.0) / 2.0
    return MeanEcho(
        grid=grid,
        link=link,
        path=path,
        shadow_m=shadow,
        water=water,
        main=main,
        sectors=sectors,
        sea_row=sea_row,
        spike_row=np.asarray(spike_weight(sea_shape(path, link, reach[: len(sea_row)])), dtype=np.float64),
        wind_row=np.asarray(
            wind_factor(bearing - weather.wind_from_rad, link.wavelength_m, min(1.0, weather.wind_speed / WIND_STEERS)),
            dtype=np.float64,
        ),
        rain=rain,
        passed=passed,
        is_blind=in_sectors(bearing - pose.heading_rad, radar.blind_sectors_rad),
        first_shown=max(0, math.ceil((radar.min_range_m - grid.first_cell_m) / grid.cell_m)),
        half_cells=int(across),
        half_rest=across - int(across),
        beam_spokes=radar.beam_horizontal_rad * grid.n_spoke / TAU,
    )


def _check(grid: ScanGrid, pose: RadarPose) -> None:
    if grid.n_spoke < 8 or grid.n_cell < 4 or not grid.cell_m > 0.0 or not grid.first_cell_m >= 0.0:
        raise InputError(f"a scan of {grid.n_spoke} spokes and {grid.n_cell} cells of {grid.cell_m} m cannot be made")
    if not all(math.isfinite(v) for v in (pose.east_m, pose.north_m, pose.heading_rad)):
        raise InputError("the radar's place and heading must be known to predict what it sees")


def _in_bow_frame(
    edges: WallEdges, near: NDArray[np.bool_], pose: RadarPose
) -> tuple[tuple[Floats, Floats, Floats, Floats], Floats, Floats]:
    """Return edges as (ahead, right) of the antenna, and the unit vectors along them."""
    sine, cosine = math.sin(pose.heading_rad), math.cos(pose.heading_rad)

    def turned(east: Floats, north: Floats) -> tuple[Floats, Floats]:
        e, n = east[near] - pose.east_m, north[near] - pose.north_m
        return n * cosine + e * sine, e * cosine - n * sine

    u1, v1 = turned(edges.east1, edges.north1)
    u2, v2 = turned(edges.east2, edges.north2)
    length = np.maximum(np.hypot(u2 - u1, v2 - v1), 1e-9)
    return (u1, v1, u2, v2), (u2 - u1) / length, (v2 - v1) / length


def _profile(
    world: World,
    path: Path,
    pose: RadarPose,
    grid: ScanGrid,
    reach: Floats,
    free: Floats,
    taps: NDArray[np.float32],
    targets: Sequence[PointTarget],
) -> tuple[NDArray[np.float32], NDArray[np.uint8], NDArray[np.float32], Floats]:
    """Return (shadow height, water in sight, power spread by the beam, what side lobes gather)."""
    far = grid.max_range_m
    near = world.land_edges.near(pose.east_m, pose.north_m, far)
    ends, land_u, land_v = _in_bow_frame(world.land_edges, near, pose)
    land_start, land_range, land_edge = crossings_kernel(*ends, grid.n_spoke)
    walls = world.walls
    near = walls.edges.near(pose.east_m, pose.north_m, far)
    ends, wall_u, wall_v = _in_bow_frame(walls.edges, near, pose)
    top, bottom, gamma, blocks = walls.top_m[near], walls.bottom_m[near], walls.gamma[near], walls.blocks[near]
    screens = _screens(targets, pose, grid)
    if len(screens):
        ends = tuple(np.concatenate([a, b]) for a, b in zip(ends, screens[:, :4].T, strict=True))  # type: ignore[assignment]
        n = len(screens)
        wall_u, wall_v = np.concatenate([wall_u, np.zeros(n)]), np.concatenate([wall_v, np.zeros(n)])
        top, bottom = np.concatenate([top, screens[:, 4]]), np.concatenate([bottom, np.zeros(n)])
        gamma, blocks = np.concatenate([gamma, np.zeros(n)]), np.concatenate([blocks, np.ones(n, np.bool_)])
    wall_start, wall_range, wall_edge = crossings_kernel(*ends, grid.n_spoke)
    table = land_table(path, _TABLE_FROM_M, max(far, 2.0 * _TABLE_FROM_M))
    row = np.log(np.maximum(reach, _TABLE_FROM_M) / _TABLE_FROM_M) * (N_LAND_RANGE - 1)
    row /= math.log(max(far, 2.0 * _TABLE_FROM_M) / _TABLE_FROM_M)
    shape = (grid.n_spoke, grid.n_cell)
    shadow = np.empty(shape, dtype=np.float32)
    water = np.empty(shape, dtype=np.uint8)
    main = np.zeros(shape, dtype=np.float32)
    sectors = np.zeros((N_SECTOR, grid.n_cell))
    raster = world.raster
    profile_kernel(
        grid.n_spoke, grid.n_cell, float(grid.first_cell_m), float(grid.cell_m), path.antenna_m, RE_M,
        float(pose.heading_rad),
        raster.height_m, raster.west_m - pose.east_m, raster.south_m - pose.north_m, raster.step_m,
        land_start, land_range.astype(np.float32), land_edge, land_u, land_v,
        world.is_on_land(pose.east_m, pose.north_m), world.defaults.face_gamma, world.defaults.slope_gamma,
        wall_start, wall_range.astype(np.float32), wall_edge, wall_u, wall_v, top, bottom, gamma, blocks,
        table, np.clip(np.rint(row), 0, N_LAND_RANGE - 1).astype(np.int64), LAND_TOP_M,
        free * reach * (TAU / grid.n_spoke), taps, shadow, water, main, sectors,
    )  # fmt: skip
    return shadow, water, main, sectors


def _screens(targets: Sequence[PointTarget], pose: RadarPose, grid: ScanGrid) -> Floats:
    """Return (n, 5): u1, v1, u2, v2, top of a screen standing just behind each hull that casts a shadow."""
    rows = []
    for one in targets:
        if not one.casts_shadow or one.length_m <= 0.0:
            continue
        east, north = one.east_m - pose.east_m, one.north_m - pose.north_m
        azimuth = math.atan2(east, north) - pose.heading_rad
        aspect = azimuth + pose.heading_rad - one.heading_rad
        wide = abs(one.length_m * math.sin(aspect)) + abs(one.beam_m * math.cos(aspect))
        deep = abs(one.length_m * math.cos(aspect)) + abs(one.beam_m * math.sin(aspect))
        behind = math.hypot(east, north) + 0.5 * deep + 1.5 * grid.cell_m
        u, v = math.cos(azimuth), math.sin(azimuth)
        half = wide / 2.0
        ahead, right = behind * u, behind * v
        # Most of a hull's length is lower than its superstructure.
        rows.append((ahead - half * v, right + half * u, ahead + half * v, right - half * u, 0.6 * one.height_m))
    return np.array(rows, dtype=np.float64).reshape(-1, 5)


def _taps(beam_spokes: float) -> NDArray[np.float32]:
    """Return the two-way beam, spoke by spoke, its middle 1."""
    reach = max(1, math.ceil(_BEAM_REACH * beam_spokes))
    offset = np.arange(-reach, reach + 1) / beam_spokes
    return np.exp(-8.0 * math.log(2.0) * offset**2).astype(np.float32)


def near_lobes(sectors: Floats) -> Floats:
    """Return (N_SECTOR, n_cell): what stands within about 10 degrees either way of each sector."""
    half = _NEAR_SECTORS // 2
    return np.asarray(sum(np.roll(sectors, k, axis=0) for k in range(-half, half + 1)), dtype=np.float64)
