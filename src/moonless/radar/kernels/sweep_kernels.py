"""What a turn over land and built things gives back, compiled; where its spokes meet edges is `moonless.sight`'s.

Held to readable twins in `moonless.radar.kernels.reference` by the tests.

Frames: spoke 0 looks along the bow, spokes turn clockwise; (ahead, right) metres from the antenna.  Power is in units
of mean receiver noise.
"""

# Compiled: what each argument is stands in the docstrings, where numba does not need it.
# mypy: disable-error-code="no-untyped-def, no-untyped-call, untyped-decorator"
# ruff: noqa: RUF046
from __future__ import annotations

import math

import numpy as np
from numba import njit

EARLY = 1e-30  # a smaller power is none


@njit(cache=True, nogil=True)
def _bilinear(raster, x, y):
    ny, nx = raster.shape
    x = min(max(x, 0.0), nx - 1.001)
    y = min(max(y, 0.0), ny - 1.001)
    i = int(y)
    j = int(x)
    fx = x - j
    fy = y - i
    top = raster[i, j] + fx * (raster[i, j + 1] - raster[i, j])
    low = raster[i + 1, j] + fx * (raster[i + 1, j + 1] - raster[i + 1, j])
    return top + fy * (low - top)


@njit(cache=True, nogil=True)
def _below(table, row, h, top_m):
    """Integral of F^4 from the water to h: table row, heights spaced by the square."""
    n = table.shape[1]
    if h <= 0.0:
        return 0.0
    if h >= top_m:
        slope = (table[row, n - 1] - table[row, n - 8]) / (top_m * (1.0 - ((n - 8.0) / (n - 1.0)) ** 2))
        return table[row, n - 1] + slope * (h - top_m)
    x = math.sqrt(h / top_m) * (n - 1)
    k = int(x)
    # Linear in height, not in its root.
    h0 = top_m * (k / (n - 1.0)) ** 2
    h1 = top_m * ((k + 1.0) / (n - 1.0)) ** 2
    f = (h - h0) / (h1 - h0)
    return table[row, k] + f * (table[row, k + 1] - table[row, k])


@njit(cache=True, nogil=True)
def profile_kernel(
    n_spoke,
    n_cell,
    first_m,
    cell_m,
    antenna_m,
    re_m,
    heading,
    raster,
    raster_x,
    raster_y,
    raster_step,
    land_start,
    land_range,
    land_edge,
    land_u,
    land_v,
    skip_first,
    face_gamma,
    slope_gamma,
    wall_start,
    wall_range,
    wall_edge,
    wall_u,
    wall_v,
    wall_top,
    wall_bottom,
    wall_gamma,
    wall_blocks,
    table,
    table_row,
    table_top,
    per_metre,
    taps,
    shadow,
    water,
    main,
    sectors,
):
    """Heights along every spoke, what they hide, and what of them the ray sees, spread over the beam.

    raster (y, x) float32 heights, its corner (raster_x, raster_y) metres from the antenna in (east, north).  land_*,
    wall_*: crossings; *_u, *_v (n_edge,) unit vectors along the edges.  per_metre (n_cell,) float64: power of one m2 of
    projected area, spread over a spoke, for each metre of height.  taps (2 w + 1,) float32: the two-way beam.  Fills
    shadow (n_spoke, n_cell) float32, water (same) uint8; adds to main (same) float32 and sectors (n_sector, n_cell)
    float64, which are zero on entry.
    """
    height = np.zeros(n_cell)
    gamma = np.zeros(n_cell)
    floating = np.zeros(n_cell)
    power = np.zeros((1, n_cell), dtype=np.float32)
    reach = np.empty(n_cell)
    inverse = np.empty(n_cell)
    drop = np.empty(n_cell)
    stride = max(1, int(0.7 * raster_step / cell_m))
    step = 2.0 * math.pi / n_spoke
    far = first_m + (n_cell - 0.5) * cell_m
    for j in range(n_cell):
        reach[j] = max(first_m + j * cell_m, 0.25 * cell_m)
        inverse[j] = 1.0 / reach[j]
        drop[j] = reach[j] / (2.0 * re_m)
    for i in range(n_spoke):
        height[:] = 0.0
        has_floating = False
        bearing = heading + i * step
        se = math.sin(bearing)
        cn = math.cos(bearing)
        cb = math.cos(i * step)
        sb = math.sin(i * step)
        k = land_start[i]
        end = land_start[i + 1]
        if skip_first:
            k += 1
        while k < end:
            enter = land_range[k]
            if enter > far:
                break
            leave = land_range[k + 1] if k + 1 < end else far + 1.0
            e = land_edge[k]
            j0 = max(0, int(math.ceil((enter - first_m) / cell_m)))
            j1 = min(n_cell, int(math.ceil((leave - first_m) / cell_m)))
            if j1 <= j0:
                # Thinner than a cell: it still stands there.
                j0 = min(n_cell - 1, max(0, int((0.5 * (enter + leave) - first_m) / cell_m + 0.5)))
                j1 = j0 + 1
            facing = abs(cb * land_v[e] - sb * land_u[e])
            r = first_m + j0 * cell_m
            h_here = _bilinear(raster, (r * se - raster_x) / raster_step, (r * cn - raster_y) / raster_step)
            j = j0
            while j < j1:
                n = min(stride, j1 - j)
                r = first_m + (j + n) * cell_m
                h_next = _bilinear(raster, (r * se - raster_x) / raster_step, (r * cn - raster_y) / raster_step)
                slope = (h_next - h_here) / n
                for m in range(n):
                    height[j + m] = h_here + slope * m
                    gamma[j + m] = slope_gamma
                h_here = h_next
                j += n
            gamma[j0] = face_gamma * facing
            k += 2
        for k in range(wall_start[i], wall_start[i + 1]):
            j = int((wall_range[k] - first_m) / cell_m + 0.5)
            if j < 0 or j >= n_cell:
                continue
            e = wall_edge[k]
            facing = abs(cb * wall_v[e] - sb * wall_u[e])
            # A built face is partly a mirror: strongest met squarely.
            strength = wall_gamma[e] * (0.3 * facing + 2.7 * facing**24)
            if wall_blocks[e]:
                gamma[j] = max(strength, 0.2 * gamma[j] if height[j] > 0.0 else 0.0)
                height[j] = max(height[j], wall_top[e])
            else:
                has_floating = True
                row = table_row[j]
                seen = _below(table, row, wall_top[e], table_top) - _below(table, row, wall_bottom[e], table_top)
                floating[j] += strength * seen
        # The sweep: the steepest ray so far hides what lies below it.
        steepest = -1e9
        shadow_i = shadow[i]
        water_i = water[i]
        power_i = power[0]
        for j in range(n_cell):
            h = height[j]
            base = antenna_m + reach[j] * (steepest + drop[j])
            if base < 0.0:
                base = 0.0
            shadow_i[j] = base
            here = 0.0
            if h > 0.0:
                water_i[j] = 0
                if h > base:
                    row = table_row[j]
                    seen = _below(table, row, h, table_top) - _below(table, row, base, table_top)
                    here = gamma[j] * seen * per_metre[j]
            else:
                water_i[j] = 1 if base <= 0.05 else 0
            power_i[j] = here
            rise = (h - antenna_m) * inverse[j] - drop[j]
            if rise > steepest:
                steepest = rise
        if has_floating:
            for j in range(n_cell):
                if floating[j] > 0.0:
                    power_i[j] += floating[j] * per_metre[j]
                    floating[j] = 0.0
        _spread(power, 0, i, taps, main, sectors)


@njit(cache=True, nogil=True)
def _spread(raw, of, i, taps, out, sectors):
    """Add row ``of`` of raw to the rows of out round spoke i, by the beam's taps, and to its sector."""
    n_spoke, n_cell = out.shape
    w = taps.size // 2
    s = i * sectors.shape[0] // n_spoke
    j = 0
    while j < n_cell:
        if raw[of, j] <= EARLY:
            j += 1
            continue
        j0 = j
        while j < n_cell and raw[of, j] > EARLY:
            sectors[s, j] += raw[of, j]
            j += 1
        part = raw[of, j0:j]
        for k in range(-w, w + 1):
            t = taps[k + w]
            into = out[(i + k) % n_spoke, j0:j]
            for m in range(part.size):
                into[m] += t * part[m]


@njit(cache=True, nogil=True)
def smear_azimuth_kernel(raw, taps, out, sectors):
    """Spread every spoke over its neighbours by the beam.

    raw (n_spoke, n_cell) float32; taps (2 w + 1,) float32, the two-way pattern; out the same as raw, zero on entry;
    sectors (n_sector, n_cell) float64, zero on entry: sums of raw over n_spoke / n_sector spokes each.
    """
    for i in range(raw.shape[0]):
        _spread(raw, i, i, taps, out, sectors)


@njit(cache=True, nogil=True)
def splat_kernel(spoke, cell, power, beam, reach, out, sectors):
    """Put points into a map that is already spread in azimuth, not yet in range.

    spoke, cell (n,) float64, places in rows and columns; power (n,) float64; beam: half-power width in spokes; reach:
    spokes each way.
    """
    n_spoke, n_cell = out.shape
    n_sector = sectors.shape[0]
    for t in range(spoke.size):
        j = int(math.floor(cell[t] + 0.5))
        if j < 0 or j >= n_cell or power[t] <= 0.0:
            continue
        centre = int(math.floor(spoke[t] + 0.5))
        sectors[(centre % n_spoke) * n_sector // n_spoke, j] += power[t]
        for k in range(-reach, reach + 1):
            off = (centre + k - spoke[t]) / beam
            out[(centre + k) % n_spoke, j] += power[t] * math.exp(-8.0 * math.log(2.0) * off * off)
