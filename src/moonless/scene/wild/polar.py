"""Drawing in range and bearing: spokes where they truly look, points by beam and pulse, land by rays, shadows by slope.

    slope of a thing at range r:  (height - antenna - r^2 / 2 R) / r
    what lies under the highest slope before it, on its own ray, is in shadow

Spoke by spoke, so that a boat that runs and turns during the turn smears her picture as a real one does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from moonless.scene.wild.types import WAVELENGTH_M, Antenna

Floats = NDArray[np.float64]
# Four thirds of the earth: standard refraction, elementary.
EARTH_M = 8.495e6
# Power of ten metres squared at a mile is the antenna's figure.
REFERENCE_RCS_M2, REFERENCE_M = 10.0, 1852.0
# A lobe of the ground's mirror averages out to this: the mean of 16 sin^4 (elementary).
MEAN_LOBES = 6.0
# What gets round an edge: own choice, a plain figure in place of diffraction.
SHADOW_DB = -28.0
FOUR_LN2 = 4.0 * math.log(2.0)
# The main lobe is drawn to this many beams off its axis, the pulse to this many pulse lengths.
BEAMS, PULSES = 1.6, 1.6


@dataclass(frozen=True, slots=True)
class RadarView:
    """The spokes of one turn.  All (n,) or (n, n_cell)."""

    time_s: Floats
    angle_rad: Floats  # from the bow, true, rising
    bearing_rad: Floats  # true
    own_east_m: Floats
    own_north_m: Floats
    range_m: Floats  # (n_cell,)
    east_m: NDArray[np.float32]
    north_m: NDArray[np.float32]

    @property
    def shape(self) -> tuple[int, int]:
        """Spokes and cells."""
        return self.east_m.shape[0], self.east_m.shape[1]

    @property
    def step_rad(self) -> float:
        """From spoke to spoke."""
        return 2.0 * math.pi / len(self.angle_rad)


def look(
    time_s: Floats, angle_rad: Floats, east_m: Floats, north_m: Floats, heading_rad: Floats, range_m: Floats
) -> RadarView:
    """Return the view of one turn: where every cell of every spoke lies."""
    bearing = heading_rad + angle_rad
    sine, cosine = np.sin(bearing).astype(np.float32), np.cos(bearing).astype(np.float32)
    ranges = range_m.astype(np.float32)
    return RadarView(
        time_s,
        angle_rad,
        np.mod(bearing, 2.0 * math.pi),
        east_m,
        north_m,
        range_m,
        east_m.astype(np.float32)[:, None] + sine[:, None] * ranges[None, :],
        north_m.astype(np.float32)[:, None] + cosine[:, None] * ranges[None, :],
    )


def beam_gain(off_rad: Floats, antenna: Antenna, *, lobes: bool = True) -> Floats:
    """Return one-way power off the axis: a Gaussian main lobe that is a half at half the beam, and flat lobes."""
    main = np.exp(-FOUR_LN2 * np.square(off_rad / antenna.beam_rad))
    if not lobes:
        return np.asarray(main)
    near = np.abs(off_rad) < math.radians(10.0)
    level = np.where(near, 10.0 ** (antenna.lobe_near_db / 10.0), 10.0 ** (antenna.lobe_far_db / 10.0))
    return np.asarray(np.maximum(main, level))


def pulse_gain(off_m: Floats, antenna: Antenna) -> Floats:
    """Return power off the middle of the echo in range."""
    return np.asarray(np.exp(-FOUR_LN2 * np.square(off_m / antenna.pulse_m)))


def height_gain(height_m: Floats, range_m: Floats, antenna_m: float) -> Floats:
    """Return two-way power by the mirror of the sea: 16 x^4 low down, the mean of the lobes above."""
    x = 2.0 * math.pi * antenna_m * height_m / (WAVELENGTH_M * np.maximum(range_m, 1.0))
    return np.asarray(np.minimum(16.0 * x**4, MEAN_LOBES))


def echo_power(rcs_m2: Floats, height_m: Floats, range_m: Floats, antenna: Antenna) -> Floats:
    """Return signal over noise on the axis of the beam: the radar equation from the antenna's figure."""
    k = 10.0 ** (antenna.gain_db / 10.0) * REFERENCE_M**4 / REFERENCE_RCS_M2
    at = np.maximum(range_m, 15.0)
    return np.asarray(k * rcs_m2 / at**4 * height_gain(height_m, at, antenna.height_m))


def slope_of(height_m: Floats | float, range_m: Floats, antenna_m: float) -> Floats:
    """Return the slope at which a height stands, with the earth's fall taken off."""
    at = np.maximum(range_m, 1.0)
    return np.asarray((height_m - antenna_m - at * at / (2.0 * EARTH_M)) / at)


@dataclass(frozen=True, slots=True)
class PolarPoints:
    """Scatterers of one turn, all (n,), each where it is when the beam crosses it."""

    east_m: Floats
    north_m: Floats
    velocity_east: Floats
    velocity_north: Floats
    power: Floats  # on the axis, fluctuation in it
    phase_rad: Floats
    slope: Floats


def when_crossed(view: RadarView, east_m: Floats, north_m: Floats, velocity: tuple[Floats, Floats]) -> NDArray[np.intp]:
    """Return which spoke's axis crosses each moving thing; places are those of the turn's middle."""
    middle = len(view.time_s) // 2
    row = np.full(east_m.shape, middle, dtype=np.intp)
    order = np.argsort(view.bearing_rad)
    sorted_bearing = view.bearing_rad[order]
    for _ in range(3):
        late = view.time_s[row] - view.time_s[middle]
        e = east_m + velocity[0] * late - view.own_east_m[row]
        n = north_m + velocity[1] * late - view.own_north_m[row]
        bearing = np.mod(np.arctan2(e, n), 2.0 * math.pi)
        at = np.searchsorted(sorted_bearing, bearing) % len(order)
        before = (at - 1) % len(order)
        nearer = _apart(sorted_bearing[before], bearing) < _apart(sorted_bearing[at], bearing)
        row = order[np.where(nearer, before, at)]
    return row


def _apart(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.abs(np.mod(a - b + math.pi, 2.0 * math.pi) - math.pi))


def add_points(
    field: NDArray[np.complex64], view: RadarView, antenna: Antenna, points: PolarPoints, horizon: NDArray[np.float32]
) -> None:
    """Add scatterers to the complex field (n, n_cell) in place, dimmed where they lie in shadow.

    ``horizon``: highest slope before each cell, of `highest_before`.
    """
    n, n_cell = view.shape
    row = when_crossed(view, points.east_m, points.north_m, (points.velocity_east, points.velocity_north))
    middle = len(view.time_s) // 2
    half = max(2, math.ceil(BEAMS * antenna.beam_rad / view.step_rad))
    cell_m = float(view.range_m[1] - view.range_m[0])
    reach = max(1, math.ceil(PULSES * antenna.pulse_m / cell_m))
    far = 10.0 ** (2.0 * antenna.lobe_far_db / 10.0)
    near = 10.0 ** (2.0 * antenna.lobe_near_db / 10.0)
    shade = 10.0 ** (SHADOW_DB / 10.0)
    spread = np.arange(-half, half + 1)
    for k in range(len(row)):
        power = points.power[k]
        if power < 0.02:
            continue
        # Strong ones are seen by the side lobes too: all round, or within ten degrees.
        if power * far > 0.05:
            rows = np.arange(n)
        elif power * near > 0.05:
            wide = min(n // 2, math.ceil(math.radians(10.0) / view.step_rad))
            rows = (row[k] + np.arange(-wide, wide + 1)) % n
        else:
            rows = (row[k] + spread) % n
        late = view.time_s[rows] - view.time_s[middle]
        e = points.east_m[k] + points.velocity_east[k] * late - view.own_east_m[rows]
        north = points.north_m[k] + points.velocity_north[k] * late - view.own_north_m[rows]
        off = np.mod(np.arctan2(e, north) - view.bearing_rad[rows] + math.pi, 2.0 * math.pi) - math.pi
        away = np.hypot(e, north)
        gain = np.square(beam_gain(off, antenna))
        # Where it is as the axis crosses it; what the lobes see all round may lie a little beside.
        at_axis = float(away[int(np.argmin(np.abs(off)))])
        first = round((at_axis - float(view.range_m[0])) / cell_m) - reach - 1
        cells = np.arange(max(0, first), min(n_cell, first + 2 * reach + 3))
        if not cells.size:
            continue
        here = min(max(first + reach + 1, 0), n_cell - 1)
        lit = power if points.slope[k] >= horizon[row[k], here] else power * shade
        along = pulse_gain(view.range_m[cells][None, :] - away[:, None], antenna)
        amplitude = np.sqrt(lit * gain[:, None] * along) * np.exp(1j * points.phase_rad[k])
        field[rows[:, None], cells[None, :]] += amplitude.astype(np.complex64)


def highest_before(slope: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the highest slope strictly before each cell of each ray; -inf at the first."""
    out = np.empty_like(slope)
    out[:, 0] = -np.inf
    np.maximum.accumulate(slope[:, :-1], axis=1, out=out[:, 1:])
    return out


def smear(power: NDArray[np.float32], view: RadarView, antenna: Antenna) -> NDArray[np.float32]:
    """Smear power over the two-way beam and the pulse; a wide even stretch keeps its level."""
    # exp(-2 * 4 ln2 x^2 / beam^2) is a Gaussian of this sigma.
    sigma = antenna.beam_rad / math.sqrt(4.0 * FOUR_LN2) / view.step_rad
    cell_m = float(view.range_m[1] - view.range_m[0])
    out = gaussian_filter1d(power, sigma, axis=0, mode="wrap", truncate=3.0)
    return np.asarray(
        gaussian_filter1d(out, antenna.pulse_m / math.sqrt(2.0 * FOUR_LN2) / cell_m, axis=1, truncate=3.0)
    )


def add_walls_of(
    slope: NDArray[np.float32], view: RadarView, corners: list[Floats], heights_m: list[float], antenna_m: float
) -> None:
    """Raise the slopes where hulls stand: an outline, (4, 2) metres, blocks its rays from its near side on."""
    n_cell = view.shape[1]
    cell_m = float(view.range_m[1] - view.range_m[0])
    for corner, height in zip(corners, heights_m, strict=True):
        middle = corner.mean(axis=0)
        at = when_crossed(view, middle[:1], middle[1:], (np.zeros(1), np.zeros(1)))[0]
        e = corner[:, 0] - view.own_east_m[at]
        n = corner[:, 1] - view.own_north_m[at]
        bearings = np.arctan2(e, n)
        centre = math.atan2(float(e.mean()), float(n.mean()))
        off = np.mod(bearings - centre + math.pi, 2.0 * math.pi) - math.pi
        ray_off = np.mod(view.bearing_rad - centre + math.pi, 2.0 * math.pi) - math.pi
        rows = np.flatnonzero((ray_off >= off.min()) & (ray_off <= off.max()))
        for row in rows:
            hit = _first_hit(corner, view.own_east_m[row], view.own_north_m[row], float(view.bearing_rad[row]))
            if hit is None:
                continue
            cell = math.ceil((hit - float(view.range_m[0])) / cell_m)
            if 0 <= cell < n_cell:
                slope[row, cell] = max(slope[row, cell], (height - antenna_m - hit * hit / (2.0 * EARTH_M)) / hit)


def _first_hit(corner: Floats, east: float, north: float, bearing: float) -> float | None:
    """Return how far along a ray the outline is first crossed."""
    d = np.array([math.sin(bearing), math.cos(bearing)])
    a = corner - np.array([east, north])
    b = np.roll(a, -1, axis=0)
    side = b - a
    cross = d[0] * side[:, 1] - d[1] * side[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        along = (a[:, 0] * side[:, 1] - a[:, 1] * side[:, 0]) / cross
        share = (a[:, 0] * d[1] - a[:, 1] * d[0]) / cross
    good = (np.abs(cross) > 1e-9) & (share >= 0.0) & (share <= 1.0) & (along > 1.0)
    return float(along[good].min()) if good.any() else None
