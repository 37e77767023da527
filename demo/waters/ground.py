"""The shape of the ground: one height field from which every line of the chart is drawn.

Heights are metres above chart datum, positive up; places are metres east/north of the waters' origin.  Because land,
depth areas, contours and soundings all come from this one field they cannot contradict each other.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Floats = NDArray[np.float64]

SEED = 20_471
STEP_M = 14.0
EAST_M = (-8_200.0, 8_200.0)
NORTH_M = (-6_200.0, 6_200.0)
COAST_M = 0.8  # mean high water above chart datum: a small ocean tide
DREDGED_M = 4.5
BASIN_M = 3.6


@dataclass(frozen=True, slots=True)
class Island:
    """A cay or reef: a spine of (east, north, half width) and what the ground does round it."""

    name: str
    spine: tuple[tuple[float, float, float], ...]  # kilometres, kilometres, metres
    top_m: float  # of the ground; below COAST_M it is a reef that covers
    flat_m: float  # width of the shallow flat round it
    vegetation: str = "bush"  # "bush", "mangrove", "palm" or "bare"


ISLANDS: tuple[Island, ...] = (
    Island("Wrackline Cay", ((-4.25, 2.60, 110), (-3.65, 2.85, 210), (-3.15, 2.75, 120)), 3.6, 130, "palm"),
    Island("Shuttle Cay", ((-0.85, 2.35, 230), (-0.60, 1.65, 300), (-0.68, 1.10, 140), (-0.72, 0.88, 60)), 11.0, 60),
    Island("Snuffer Island", ((1.75, -0.10, 200), (2.60, -0.42, 330), (3.42, -0.92, 300)), 12.0, 110),
    Island(
        "Great Tallow",
        ((2.55, -2.70, 260), (3.60, -3.10, 560), (4.85, -3.05, 660), (5.75, -2.10, 560), (5.80, -1.00, 380)),
        14.0,
        90,
    ),
    Island("Narrows Point", ((3.30, -2.60, 300), (3.46, -1.93, 190)), 7.0, 60),
    Island("Sootmarsh", ((4.15, -0.62, 170), (4.75, -0.42, 230), (5.20, -0.55, 150)), 1.7, 150, "mangrove"),
    Island("Cinder Islet", ((1.55, -1.72, 110), (2.05, -1.90, 120)), 1.6, 330, "mangrove"),
    Island(
        "Combings Reef", ((-0.20, 3.45, 50), (1.10, 3.85, 80), (2.60, 3.75, 60), (3.70, 3.30, 50)), 0.45, 120, "bare"
    ),
    Island("Wicker Cay", ((-3.70, -2.30, 170), (-2.90, -2.85, 260), (-2.25, -3.50, 130)), 5.0, 180, "palm"),
    Island("Selvage Cay", ((0.05, -3.65, 150), (0.90, -4.00, 220)), 6.0, 140),
    Island("Bellows Cay", ((5.45, 2.75, 190), (6.05, 2.20, 260), (6.20, 1.60, 140)), 15.0, 90),
    Island("The Pins", ((-1.85, 3.35, 34), (-1.70, 3.43, 26)), 4.0, 70, "bare"),
    Island("Fringe Cay", ((-6.25, 0.75, 90), (-5.95, 0.40, 130)), 3.4, 170, "palm"),
    Island("Snip Islet", ((-0.35, -1.75, 40), (-0.22, -1.83, 34)), 3.2, 120, "bare"),
)


@dataclass(frozen=True, slots=True)
class Shoal:
    """A round rise of the bottom: its least depth and half width."""

    name: str
    east_km: float
    north_km: float
    least_depth_m: float
    radius_m: float


SHOALS: tuple[Shoal, ...] = (
    Shoal("Bodkin Shoal", -2.55, 0.80, 1.4, 260),
    Shoal("Hem Patch", 0.45, 0.75, 3.2, 300),
    Shoal("Thread Bank", -0.45, -0.85, 2.6, 420),
    Shoal("Tassel Bank", -5.2, -0.9, 5.5, 700),
    Shoal("Bobbin Spit", -0.74, 0.68, 1.0, 70),
    Shoal("North Patch", 3.4, 1.7, 4.2, 500),
    Shoal("", 2.1, -5.1, 6.0, 600),
    Shoal("", -6.6, -3.6, 8.0, 700),
)

# Kilometres: the dredged channel from the sound through the bridge to the basin.
CHANNEL_KM: tuple[tuple[float, float], ...] = (
    (0.95, -0.70),
    (1.75, -0.95),
    (2.35, -1.12),
    (2.95, -1.33),
    (3.45, -1.49),
    (3.95, -1.64),
)
CHANNEL_HALF_M = 40.0
# The basin the channel opens into, before the quay.
BASIN_KM: tuple[tuple[float, float], ...] = (
    (3.93, -1.60),
    (4.45, -1.56),
    (4.86, -1.70),
    (4.88, -2.10),
    (4.22, -2.12),
    (3.98, -1.86),
    (3.91, -1.68),
)


def axes() -> tuple[Floats, Floats]:
    """Return the grid's (east, north) axes, metres."""
    return (
        np.arange(EAST_M[0], EAST_M[1] + STEP_M / 2, STEP_M),
        np.arange(NORTH_M[0], NORTH_M[1] + STEP_M / 2, STEP_M),
    )


def _noise(rng: np.random.Generator, east: Floats, north: Floats, wavelength_m: float) -> Floats:
    """Smooth noise of about unit variance: a random lattice, cubic between."""
    width = int((EAST_M[1] - EAST_M[0]) / wavelength_m) + 8
    height = int((NORTH_M[1] - NORTH_M[0]) / wavelength_m) + 8
    lattice = rng.standard_normal((height, width))
    rows = (north - NORTH_M[0]) / wavelength_m + 3.0
    columns = (east - EAST_M[0]) / wavelength_m + 3.0
    sampled = ndimage.map_coordinates(lattice, [rows, columns], order=3, mode="nearest")
    return np.asarray(sampled, dtype=np.float64)


def distance_to_line(east: Floats, north: Floats, line: tuple[tuple[float, float, float], ...]) -> Floats:
    """Return metres outside a spine of (east_m, north_m, half width); negative inside."""
    best = np.full(east.shape, np.inf)
    for (e0, n0, r0), (e1, n1, r1) in itertools.pairwise(line):
        along_e, along_n = e1 - e0, n1 - n0
        length_sq = max(along_e**2 + along_n**2, 1e-9)
        t = np.clip(((east - e0) * along_e + (north - n0) * along_n) / length_sq, 0.0, 1.0)
        radius = r0 + t * (r1 - r0)
        best = np.minimum(best, np.hypot(east - e0 - t * along_e, north - n0 - t * along_n) - radius)
    return best


def _island(island: Island, east: Floats, north: Floats, roughness: Floats, flat_noise: Floats) -> Floats:
    spine = tuple((e * 1000.0, n * 1000.0, float(r)) for e, n, r in island.spine)
    outside = distance_to_line(east, north, spine)
    reach = max(r for _, _, r in island.spine)
    # Small islets keep their shape; large ones are eaten into by coves.
    outside = outside + roughness * min(1.0, reach / 260.0)
    inland = np.clip(-outside / (0.9 * reach), 0.0, 1.0)
    edge = min(COAST_M, island.top_m)
    beach = np.minimum(-outside * 0.055, 1.0) if island.top_m > COAST_M else np.zeros_like(outside)
    rise = np.maximum(island.top_m - edge - 1.0, 0.0)
    ground = edge + np.minimum(beach, max(island.top_m - edge, 0.0)) + rise * inland**1.4 * (1.0 + 0.12 * flat_noise)
    flat = island.flat_m * np.clip(1.0 + 0.55 * flat_noise, 0.35, 2.2)
    past_beach = np.where(outside < 40.0, outside, 40.0 + (outside - 40.0) * (120.0 / flat))
    # Beach, reef flat, then the drop; the sea bed beyond is the deeper of the two.
    off = np.interp(
        past_beach, [0.0, 14.0, 40.0, 160.0, 260.0, 520.0, 900.0], [edge, 0.0, -0.9, -2.3, -7.5, -16.0, -300.0]
    )
    # Coral heads and sand bars: parts of the flat dry at low water.
    on_flat = np.interp(past_beach, [0.0, 30.0, 60.0, 150.0, 200.0], [0.0, 0.0, 1.0, 0.7, 0.0])
    off = np.minimum(off + on_flat * np.clip(0.035 * roughness - 0.2, 0.0, None), edge - 0.05)
    return np.where(outside < 0.0, ground, off)


def _hill(east: Floats, north: Floats, at_km: tuple[float, float], height_m: float, radius_m: float) -> Floats:
    r = np.hypot(east - at_km[0] * 1000.0, north - at_km[1] * 1000.0) / radius_m
    return np.asarray(height_m * np.exp(-(r**2) * 2.2), dtype=np.float64)


def heights() -> Floats:
    """Return the whole field, (n_north, n_east), metres above chart datum."""
    rng = np.random.default_rng(SEED)
    east_axis, north_axis = axes()
    east, north = np.meshgrid(east_axis, north_axis)
    warp_east = 120.0 * _noise(rng, east, north, 620.0)
    warp_north = 120.0 * _noise(rng, east, north, 620.0)
    rough = 46.0 * _noise(rng, east, north, 230.0) + 19.0 * _noise(rng, east, north, 85.0)
    flat_noise = _noise(rng, east, north, 520.0)
    bed_noise = 3.4 * _noise(rng, east, north, 1500.0) + 1.1 * _noise(rng, east, north, 420.0)
    # The bank the cays stand on, falling away to the ocean on every side.
    edge = np.hypot(east / 7600.0, north / 5600.0)
    bed = -17.5 + bed_noise - 32.0 * np.clip(edge - 0.72, 0.0, 1.0) ** 1.3 * 3.0
    # The bend of the coast is left out where the narrows are: the bridge needs its abutments.
    calm = 1.0 - 0.8 * np.exp(-((np.hypot(east - 3450.0, north + 1480.0) / 620.0) ** 4))
    out = bed
    for island in ISLANDS:
        out = np.maximum(
            out, _island(island, east + warp_east * calm, north + warp_north * calm, rough * calm, flat_noise)
        )
    # Thimble Hill and the ridge beside it stand on Great Tallow's own ground.
    hills = _hill(east, north, (4.95, -3.15), 26.0, 620.0) + _hill(east, north, (3.75, -3.20), 9.0, 420.0)
    out = np.where(out > 2.0, out + hills * np.clip((out - 2.0) / 6.0, 0.0, 1.0), out)
    for shoal in SHOALS:
        r = np.hypot(
            east + 0.5 * warp_east - shoal.east_km * 1000.0, north + 0.5 * warp_north - shoal.north_km * 1000.0
        )
        out = np.maximum(out, -shoal.least_depth_m - 9.0 * (r / shoal.radius_m) ** 2 + 0.25 * bed_noise.clip(-2, 0))
    out = np.maximum(out, _lagoon(east, north, bed_noise))
    return _dredge(out, east, north, 0.12 * np.abs(rough) / 20.0)


def _lagoon(east: Floats, north: Floats, bed_noise: Floats) -> Floats:
    """The silted floor between Snuffer Island and Great Tallow, through which the channel is kept dredged."""
    middle = ((1_500.0, -950.0, 330.0), (3_000.0, -1_350.0, 520.0), (4_450.0, -1_500.0, 620.0))
    outside = distance_to_line(east, north, middle)
    return -2.3 + 0.38 * bed_noise - 0.002 * np.maximum(outside, 0.0) ** 1.25


def _dredge(ground: Floats, east: Floats, north: Floats, overdepth_m: Floats) -> Floats:
    """Cut the channel and the basin; their sides stand at one in eight."""
    line = tuple((e * 1000.0, n * 1000.0, CHANNEL_HALF_M + 14.0) for e, n in CHANNEL_KM)
    outside = np.maximum(distance_to_line(east, north, line), 0.0)
    out = np.minimum(ground, -(DREDGED_M + 0.1) - overdepth_m + outside / 8.0)
    corners = np.asarray(BASIN_KM) * 1000.0
    outside = np.maximum(_outside_polygon(east, north, corners) - 14.0, 0.0)
    return np.minimum(out, -(BASIN_M + 0.1) - overdepth_m + outside / 8.0)


def _outside_polygon(east: Floats, north: Floats, corners: Floats) -> Floats:
    """Metres outside a polygon, 0 inside."""
    inside = np.zeros(east.shape, dtype=bool)
    best = np.full(east.shape, np.inf)
    for (e0, n0), (e1, n1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        crosses = (n0 > north) != (n1 > north)
        with np.errstate(divide="ignore", invalid="ignore"):
            inside ^= crosses & (east < (e1 - e0) * (north - n0) / (n1 - n0) + e0)
        best = np.minimum(best, distance_to_line(east, north, ((e0, n0, 0.0), (e1, n1, 0.0))))
    return np.where(inside, 0.0, best)


def height_at(ground: Floats, east_m: Floats, north_m: Floats) -> Floats:
    """Return the ground's height at places, by bilinear interpolation."""
    rows = (np.asarray(north_m) - NORTH_M[0]) / STEP_M
    columns = (np.asarray(east_m) - EAST_M[0]) / STEP_M
    return np.asarray(ndimage.map_coordinates(ground, [rows, columns], order=1, mode="nearest"), dtype=np.float64)
