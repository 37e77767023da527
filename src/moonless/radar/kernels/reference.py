"""Readable twins of the compiled loops: what the model means, said plainly.  The tests hold the kernels to them."""

from __future__ import annotations

import cmath
import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

from moonless.constants import EFFECTIVE_EARTH_RADIUS_M as RE_M
from moonless.constants import TAU
from moonless.radar.environment.diffraction import knife_edge_db, knife_edge_parameter, smooth_earth_db
from moonless.radar.environment.multipath import LAND_TOP_M, SEA_CONDUCTIVITY_S_PER_M, SEA_PERMITTIVITY, Path
from moonless.radar.types import ScanGrid
from moonless.sight.shadow import edge_before

Floats = NDArray[np.float64]


def interference(path: Path, range_m: float, target_m: float) -> float:
    """Return the one-way power factor of the direct ray and the one off the sea, within the horizon."""
    antenna_m = max(path.antenna_m, 0.1)
    # Where the ray meets the sea: the closed solution of the cubic on a round earth (Kerr; Blake).
    p = 2.0 / math.sqrt(3.0) * math.sqrt(RE_M * (antenna_m + target_m) + range_m**2 / 4.0)
    angle = math.asin(max(-1.0, min(1.0, 2.0 * RE_M * range_m * (target_m - antenna_m) / p**3)))
    near_m = min(max(range_m / 2.0 - p * math.sin(angle / 3.0), 1e-3 * range_m), 0.999 * range_m)
    far_m = range_m - near_m
    # Heights above the plane that touches the earth there.
    low = antenna_m - near_m**2 / (2.0 * RE_M)
    high = target_m - far_m**2 / (2.0 * RE_M)
    if low <= 0.0 or high <= 0.0:
        return 0.0
    psi = math.atan(low / near_m)
    eps = complex(SEA_PERMITTIVITY, -60.0 * path.wavelength_m * SEA_CONDUCTIVITY_S_PER_M)
    root = cmath.sqrt(eps - math.cos(psi) ** 2)
    scale = eps if path.is_vertical else 1.0
    fresnel = (scale * math.sin(psi) - root) / (scale * math.sin(psi) + root)
    divergence = 1.0 / math.sqrt(1.0 + 2.0 * near_m * far_m / (RE_M * range_m * math.sin(psi)))
    g = 4.0 * math.pi * path.wave_sigma_m * math.sin(psi) / path.wavelength_m
    rough = float(special.i0e(0.5 * g * g))
    longer = math.hypot(range_m, high + low) - math.hypot(range_m, high - low)
    reflected = fresnel * divergence * rough * cmath.exp(-1j * TAU * longer / path.wavelength_m)
    return float(abs(1.0 + reflected) ** 2.0)


def two_way_factor(path: Path, range_m: float, target_m: float) -> float:
    """Return F^4 for one point."""
    range_m, target_m = max(range_m, 1.0), max(target_m, 0.02)
    antenna_m = max(path.antenna_m, 0.1)
    limit = math.cbrt(path.wavelength_m / (TAU * RE_M))

    def reach(height_m: float) -> float:
        return math.sqrt((RE_M * limit) ** 2 + 2.0 * RE_M * height_m) - RE_M * limit

    trusted = reach(antenna_m) + reach(target_m)
    horizon = math.sqrt(2.0 * RE_M * antenna_m) + math.sqrt(2.0 * RE_M * target_m)
    if range_m <= trusted:
        return float(interference(path, range_m, target_m) ** 2)
    if range_m >= horizon:
        db = -smooth_earth_db(range_m, antenna_m, target_m, path.wavelength_m)
    else:
        near = 10.0 * math.log10(max(interference(path, trusted, target_m), 1e-12))
        far = -smooth_earth_db(horizon, antenna_m, target_m, path.wavelength_m)
        db = near + (far - near) * (range_m - trusted) / (horizon - trusted)
    return float(10.0 ** (db / 5.0))


def shadow_height(height_m: Floats, range_m: Floats, antenna_m: float) -> Floats:
    """Return the height below which each cell of one spoke is hidden by what stands before it."""
    rise = (height_m - antenna_m) / range_m - range_m / (2.0 * RE_M)
    steepest = np.concatenate([[-1e9], np.maximum.accumulate(rise)[:-1]])
    return np.asarray(np.maximum(antenna_m + range_m * (steepest + range_m / (2.0 * RE_M)), 0.0), dtype=np.float64)


def below(table_row: NDArray[np.float32], height_m: float) -> float:
    """Return the integral of F^4 from the water to a height, from one row of the land's table."""
    n = len(table_row)
    heights = LAND_TOP_M * (np.arange(n) / (n - 1)) ** 2
    if height_m >= LAND_TOP_M:
        slope = (table_row[-1] - table_row[n - 8]) / (heights[-1] - heights[n - 8])
        return float(table_row[-1] + slope * (height_m - LAND_TOP_M))
    return float(np.interp(height_m, heights, table_row))


def smear_azimuth(raw: NDArray[np.float32], taps: NDArray[np.float32]) -> Floats:
    """Return every spoke spread over its neighbours."""
    w = len(taps) // 2
    out = np.zeros(raw.shape)
    for k in range(-w, w + 1):
        out += float(taps[k + w]) * np.roll(raw.astype(np.float64), k, axis=0)
    return out


def smear_range(row: Floats, half_cells: int, half_rest: float) -> Floats:
    """Return one spoke spread over the length of the pulse: whole cells and a part of one more at each end."""
    n = len(row)
    out = np.zeros(n)
    for j in range(n):
        for m in range(-half_cells - 1, half_cells + 2):
            if 0 <= j + m < n:
                out[j] += row[j + m] * (1.0 if abs(m) <= half_cells else half_rest)
    return out


def water_in_beam(water: NDArray[np.uint8], beam_spokes: int) -> Floats:
    """Return the share of open water among the spokes the beam covers."""
    half = beam_spokes // 2
    total = sum(np.roll(water.astype(np.float64), k, axis=0) for k in range(-half, half + 1))
    return np.asarray(total / (2 * half + 1), dtype=np.float64)


def hidden(
    spoke: int,
    cell: int,
    height_m: float,
    shadow_m: NDArray[np.float32],
    water: NDArray[np.uint8],
    grid: ScanGrid,
    path: Path,
) -> tuple[float, float]:
    """Return (two-way share that bends past the hiding edge of land, height it hides), (1, 0) if nothing hides."""
    cell = min(cell, grid.n_cell - 1)
    range_m = grid.first_cell_m + cell * grid.cell_m
    edge = edge_before(shadow_m[spoke], grid.first_cell_m, grid.cell_m, range_m, path.antenna_m) if cell >= 1 else None
    if edge is None:
        return 1.0, 0.0
    at = round((edge.range_m - grid.first_cell_m) / grid.cell_m)
    if water[spoke, at] == 1:
        return 1.0, 0.0
    beyond = max(range_m - edge.range_m, 0.5 * grid.cell_m)
    # Height of the edge over the straight ray, on the round earth: both are held against the plane at the antenna.
    ray = (height_m - path.antenna_m) / range_m - range_m / (2.0 * RE_M)
    steepest = (edge.height_m - path.antenna_m) / edge.range_m - edge.range_m / (2.0 * RE_M)
    v = knife_edge_parameter((steepest - ray) * edge.range_m, edge.range_m, beyond, path.wavelength_m)
    return float(10.0 ** (-0.2 * knife_edge_db(v))), edge.hides_below_m


_WORD = (1 << 64) - 1
_GOLDEN = 0x9E3779B97F4A7C15


def mix(x: int) -> int:
    """Return the splitmix64 generator's output for a state (Steele, Lea and Flood 2014)."""
    x = ((x ^ (x >> 30)) * 0xBF58476D1CE4E5B9) & _WORD
    x = ((x ^ (x >> 27)) * 0x94D049BB133111EB) & _WORD
    return x ^ (x >> 31)


class Dice:
    """One 64-bit word after another, each good for four 16-bit looks into a table of quantiles."""

    def __init__(self, seed: int) -> None:
        self._state = seed & _WORD

    def throw(self) -> tuple[int, int, int, int]:
        """Return four numbers 0..65535."""
        self._state = (self._state + _GOLDEN) & _WORD
        word = mix(self._state)
        return word & 0xFFFF, word >> 16 & 0xFFFF, word >> 32 & 0xFFFF, word >> 48 & 0xFFFF


def texture(
    seed: int,
    normal: NDArray[np.float32],
    along: float,
    round_row: Floats,
    keep: float,
    old: NDArray[np.float32],
) -> Floats:
    """Return unit Gaussians like their neighbours: inward ``along``, round ``round_row``, last turn ``keep``."""
    n_spoke, n_sea = old.shape
    dice = Dice(seed)
    fresh = np.zeros((n_spoke, n_sea))
    for i in range(n_spoke):
        throws = [t for _ in range(0, n_sea, 4) for t in dice.throw()][:n_sea]
        row = np.zeros(n_sea)
        for j in range(n_sea):
            g = float(normal[throws[j]])
            row[j] = g if j == 0 else along * row[j - 1] + math.sqrt(1.0 - along**2) * g
        fresh[i] = row if i == 0 else round_row * fresh[i - 1] + np.sqrt(1.0 - round_row**2) * row
    return np.asarray(keep * old + math.sqrt(1.0 - keep**2) * fresh, dtype=np.float64)


def draw(
    seed: int,
    mean_power: Floats,
    point: NDArray[np.complex128],
    normal: NDArray[np.float32],
    rest: NDArray[np.float32],
    noise_sigma: float,
    along: float,
    round_: float,
) -> Floats:
    """Return the power of one random turn: |root of the mean power x a complex Gaussian + points + noise|^2 + rest.

    ``mean_power``: of all that fluctuates, the sea's unevenness already in it; cells of 1e-3 and less are left to
    noise, and the correlation begins anew behind them.
    """
    n_spoke, n_cell = mean_power.shape
    dice = Dice(seed)
    power = np.zeros((n_spoke, n_cell))
    before: list[complex] = [0j] * n_cell
    for i in range(n_spoke):
        inward = 0j
        for j in range(n_cell):
            a = dice.throw()
            field = noise_sigma * complex(normal[a[0]], normal[a[1]]) + complex(point[i, j])
            if mean_power[i, j] > 1e-3:
                b = dice.throw()
                g = complex(normal[b[0]], normal[b[1]]) / math.sqrt(2.0)
                inward = g if inward == 0j else along * inward + math.sqrt(1.0 - along**2) * g
                here = inward if before[j] == 0j else round_ * before[j] + math.sqrt(1.0 - round_**2) * inward
                field += math.sqrt(mean_power[i, j]) * here
                before[j] = here
            else:
                inward = 0j
                before[j] = 0j
            power[i, j] = abs(field) ** 2 + float(rest[a[2]])
    return power
