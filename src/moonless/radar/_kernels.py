"""The model's inner loops.  Each is held to its readable twin in `moonless.radar.reference` by the tests.

Frames: spoke 0 looks along the bow, spokes turn clockwise; (ahead, right) metres from the antenna.  Power is in units
of mean receiver noise.
"""

# Compiled: what each argument is stands in the docstrings, where numba does not need it.
# mypy: disable-error-code="no-untyped-def, no-untyped-call"
# ruff: noqa: SIM108, RUF046
from __future__ import annotations

import math

import numpy as np
from numba import njit

EARLY = 1e-30


@njit(cache=True, nogil=True)
def _bessel_i0_scaled(x):
    """exp(-x) I0(x), x >= 0: Abramowitz and Stegun 9.8.1 and 9.8.2."""
    if x < 3.75:
        t = (x / 3.75) ** 2
        p = 1.0 + t * (
            3.5156229 + t * (3.0899424 + t * (1.2067492 + t * (0.2659732 + t * (0.0360768 + t * 0.0045813))))
        )
        return p * math.exp(-x)
    t = 3.75 / x
    p = 0.39894228 + t * (
        0.01328592
        + t
        * (
            0.00225319
            + t
            * (
                -0.00157565
                + t * (0.00916281 + t * (-0.02057706 + t * (0.02635537 + t * (-0.01647633 + t * 0.00392377))))
            )
        )
    )
    return p / math.sqrt(x)


@njit(cache=True, nogil=True)
def _interference(d, h1, h2, wavelength, vertical, sigma, eps_r, eps_i, re_m):
    """One-way power factor of direct plus reflected ray, both heights above a 4/3 earth."""
    p = 2.0 / math.sqrt(3.0) * math.sqrt(re_m * (h1 + h2) + d * d / 4.0)
    skew = 2.0 * re_m * d * (h2 - h1) / (p * p * p)
    d1 = d / 2.0 - p * math.sin(math.asin(min(1.0, max(-1.0, skew))) / 3.0)
    d1 = min(max(d1, 1e-3 * d), 0.999 * d)
    d2 = d - d1
    low = h1 - d1 * d1 / (2.0 * re_m)
    high = h2 - d2 * d2 / (2.0 * re_m)
    if low <= 0.0 or high <= 0.0:
        return 0.0
    psi = math.atan(low / d1)
    sin_psi = math.sin(psi)
    # The complex root and quotient in real numbers, for the compiler's sake.
    real = eps_r - (1.0 - sin_psi * sin_psi)
    size = math.sqrt(real * real + eps_i * eps_i)
    root_r = math.sqrt(0.5 * (size + real))
    root_i = -0.5 * eps_i / root_r
    if vertical:
        part_r, part_i = eps_r * sin_psi, -eps_i * sin_psi
    else:
        part_r, part_i = sin_psi, 0.0
    up_r, up_i = part_r - root_r, part_i - root_i
    down_r, down_i = part_r + root_r, part_i + root_i
    below = down_r * down_r + down_i * down_i
    gamma_r = (up_r * down_r + up_i * down_i) / below
    gamma_i = (up_i * down_r - up_r * down_i) / below
    spread = 1.0 / math.sqrt(1.0 + 2.0 * d1 * d2 / (re_m * d * sin_psi))
    g = 4.0 * math.pi * sigma * sin_psi / wavelength
    half = 0.5 * g * g
    rho = _bessel_i0_scaled(half) * spread
    # The exact difference of the two path lengths, not its small-angle form: targets come close.
    direct = math.sqrt(d * d + (high - low) ** 2)
    longer = 4.0 * low * high / (direct + math.sqrt(d * d + (high + low) ** 2))
    phase = 2.0 * math.pi * longer / wavelength
    c = math.cos(phase)
    s = math.sin(phase)
    field_r = 1.0 + rho * (gamma_r * c + gamma_i * s)
    field_i = rho * (gamma_i * c - gamma_r * s)
    return field_r * field_r + field_i * field_i


@njit(cache=True, nogil=True)
def _smooth_earth_db(d, h1, h2, wavelength, re_m):
    mhz = 299.792458 / wavelength
    a = re_m / 1e3
    x = 2.188 * mhz ** (1.0 / 3.0) * a ** (-2.0 / 3.0) * d / 1e3
    if x >= 1.6:
        along = 11.0 + 10.0 * math.log10(x) - 17.6 * x
    else:
        along = -20.0 * math.log10(x) - 5.6488 * x**1.425
    heights = 0.0
    for h in (h1, h2):
        y = 9.575e-3 * mhz ** (2.0 / 3.0) * a ** (-1.0 / 3.0) * max(h, 0.05)
        if y > 2.0:
            heights += 17.6 * math.sqrt(y - 1.1) - 5.0 * math.log10(y - 1.1) - 8.0
        else:
            heights += 20.0 * math.log10(y + 0.1 * y**3)
    return max(0.0, -(along + heights))


@njit(cache=True, nogil=True)
def _nearest_grazing(h, limit, re_m):
    """Range from a height at which the ray meets the sea at the limiting angle."""
    a = re_m * limit
    return math.sqrt(a * a + 2.0 * re_m * h) - a


@njit(cache=True, nogil=True)
def two_way_factor_kernel(range_m, height_m, antenna_m, wavelength, vertical, sigma, eps_r, eps_i, re_m):
    """range_m, height_m (n,) float64 in; F^4 (n,) float64 out."""
    out = np.empty(range_m.size)
    limit = (wavelength / (2.0 * math.pi * re_m)) ** (1.0 / 3.0)
    h1 = max(antenna_m, 0.1)
    for k in range(range_m.size):
        d = max(range_m[k], 1.0)
        h2 = max(height_m[k], 0.02)
        trusted = _nearest_grazing(h1, limit, re_m) + _nearest_grazing(h2, limit, re_m)
        if d <= trusted:
            one_way = _interference(d, h1, h2, wavelength, vertical, sigma, eps_r, eps_i, re_m)
        else:
            horizon = math.sqrt(2.0 * re_m * h1) + math.sqrt(2.0 * re_m * h2)
            if d >= horizon:
                db = -_smooth_earth_db(d, h1, h2, wavelength, re_m)
            else:
                inner = _interference(trusted, h1, h2, wavelength, vertical, sigma, eps_r, eps_i, re_m)
                near = 10.0 * math.log10(max(inner, 1e-12))
                far = -_smooth_earth_db(horizon, h1, h2, wavelength, re_m)
                db = near + (far - near) * (d - trusted) / (horizon - trusted)
            one_way = 10.0 ** (db / 10.0)
        out[k] = one_way * one_way
    return out


@njit(cache=True, nogil=True)
def crossings_kernel(u1, v1, u2, v2, n_spoke):
    """Where straight edges cross the spokes.

    u*, v* (n_edge,) float64, ahead and right of the antenna.  Returns start (n_spoke + 1,) int64, range (k,) float32
    and edge (k,) int32: spoke i owns start[i]:start[i + 1], nearest first.
    """
    n_edge = u1.size
    step = 2.0 * math.pi / n_spoke
    # A vertex is given to a spoke once, as a whole number, so two edges that share it can never both take or both
    # miss the same spoke: the count of crossings stays even.
    first = np.empty(n_edge, dtype=np.int32)
    last = np.empty(n_edge, dtype=np.int32)
    count = np.zeros(n_spoke + 1, dtype=np.int64)
    for e in range(n_edge):
        a1 = math.atan2(v1[e], u1[e])
        a2 = math.atan2(v2[e], u2[e])
        if a1 < 0.0:
            a1 += 2.0 * math.pi
        if a2 < 0.0:
            a2 += 2.0 * math.pi
        c1 = int(math.ceil(a1 / step))
        c2 = int(math.ceil(a2 / step))
        if abs(a2 - a1) <= math.pi:
            lo, hi = min(c1, c2), max(c1, c2)
        else:  # through the bow
            lo, hi = max(c1, c2), min(c1, c2) + n_spoke
        first[e] = lo
        last[e] = hi
        for k in range(lo, hi):
            count[k % n_spoke + 1] += 1
    # Loops, not array functions: those take a second to compile on a machine that has never run this.
    start = np.empty(n_spoke + 1, dtype=np.int64)
    total = 0
    for i in range(n_spoke + 1):
        total += count[i]
        start[i] = total
    found = np.empty(total, dtype=np.float32)
    edge = np.empty(total, dtype=np.int32)
    fill = np.empty(n_spoke, dtype=np.int64)
    cosine = np.empty(n_spoke)
    sine = np.empty(n_spoke)
    for i in range(n_spoke):
        fill[i] = start[i]
        cosine[i] = math.cos(i * step)
        sine[i] = math.sin(i * step)
    for e in range(n_edge):
        du = u2[e] - u1[e]
        dv = v2[e] - v1[e]
        cross = u1[e] * dv - v1[e] * du
        for k in range(first[e], last[e]):
            i = k % n_spoke
            below = cosine[i] * dv - sine[i] * du
            if abs(below) > EARLY:
                r = cross / below
            else:
                r = math.hypot(u1[e], v1[e])
            # Sorted as it is filled: a spoke meets few edges.
            p = fill[i]
            fill[i] = p + 1
            while p > start[i] and found[p - 1] > r:
                found[p] = found[p - 1]
                edge[p] = edge[p - 1]
                p -= 1
            found[p] = max(r, 0.0)
            edge[p] = e
    return start, found, edge


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


@njit(cache=True, nogil=True)
def finish_kernel(
    main,
    lobes,
    far_row,
    lobe_near,
    lobe_far,
    half_cells,
    half_rest,
    first_shown,
    is_blind,
    water,
    sea_row,
    wind_row,
    spike_row,
    beam_spokes,
    rain,
    rain_loss,
    clutter_weight,
    chances,
    shift,
    is_drawn,
    snr,
    clutter,
    chance,
):
    """Spread in range, add side lobes, sea and rain, and say what would be seen.

    main (n_spoke, n_cell) float32; lobes (n_sector, n_cell) float64 near-lobe sums, far_row (n_cell,) float64;
    sea_row (n_sea,) float64 power of the sea round the compass; wind_row (n_spoke,), spike_row (n_sea,) float64; rain
    and rain_loss (a, b) float32 coarse maps or (0, 0).  Fills snr, clutter (n_spoke, n_cell) float32 and,
    unless is_drawn, chance.  When is_drawn, snr is everything but the sea, and clutter is the sea alone.
    """
    n_spoke, n_cell = main.shape
    n_sector = lobes.shape[0]
    n_sea = sea_row.size
    half_beam = beam_spokes // 2
    share = 1.0 / (2 * half_beam + 1)
    seen = np.zeros(n_sea, dtype=np.int32)
    for k in range(-half_beam, half_beam + 1):
        for j in range(n_sea):
            seen[j] += water[k % n_spoke, j]
    # What side lobes bring, as far out as they bring anything.
    brought = np.zeros((n_sector, n_cell), dtype=np.float32)
    n_lobe = 0
    for s in range(n_sector):
        for j in range(n_cell):
            value = lobe_near * lobes[s, j] + lobe_far * far_row[j]
            brought[s, j] = value
            if value > 1e-4 and j >= n_lobe:
                n_lobe = j + 1
    # Zeros on either side, so that the pulse needs no thought at the ends.
    pad = half_cells + 1
    row = np.zeros(n_cell + 2 * pad)
    total = np.zeros(n_cell + 2 * pad + 1)
    inside = row[pad : pad + n_cell]
    upper = total[pad + half_cells + 1 :]
    lower = total[pad - half_cells :]
    before = row[pad - half_cells - 1 :]
    after = row[pad + half_cells + 1 :]
    value_row = np.empty(n_cell, dtype=np.float32)
    sea = np.zeros(n_cell, dtype=np.float32)
    spiky = np.zeros(n_cell, dtype=np.float32)
    ratio = np.empty(n_cell, dtype=np.float32)
    ratio_bits = ratio.view(np.int32)
    rained = np.zeros(n_cell, dtype=np.float32)
    passed = np.ones(n_cell, dtype=np.float32)
    has_rain = rain.size > 0
    na, nb = rain.shape
    coarse_rain = np.zeros(max(nb, 1), dtype=np.float32)
    coarse_pass = np.ones(max(nb, 1), dtype=np.float32)
    column = np.zeros(n_cell, dtype=np.int32)
    between = np.zeros(n_cell, dtype=np.float32)
    if has_rain:
        for j in range(n_cell):
            z = j * (nb - 1.0) / (n_cell - 1.0)
            column[j] = min(int(z), nb - 2)
            between[j] = z - column[j]
    shown = min(max(first_shown, 0), n_cell)
    for i in range(n_spoke):
        if i > 0:
            gone = water[(i - half_beam - 1) % n_spoke]
            come = water[(i + half_beam) % n_spoke]
            for j in range(n_sea):
                seen[j] += np.int32(come[j]) - np.int32(gone[j])
        snr_i = snr[i]
        clutter_i = clutter[i]
        if is_blind[i]:
            snr_i[:] = 0.0
            clutter_i[:] = 0.0
            if not is_drawn:
                chance[i, :] = 0.0
            continue
        main_i = main[i]
        for j in range(n_cell):
            inside[j] = main_i[j]
        if n_lobe > 0:
            x = (i + 0.5) * n_sector / n_spoke - 0.5
            s0 = int(math.floor(x))
            f = np.float32(x - s0)
            first = brought[s0 % n_sector]
            second = brought[(s0 + 1) % n_sector]
            for j in range(n_lobe):
                inside[j] += first[j] + f * (second[j] - first[j])
        if has_rain:
            y = i * na / n_spoke
            a0 = int(y)
            fa = np.float32(y - a0)
            a1 = (a0 + 1) % na
            for b in range(nb):
                coarse_rain[b] = rain[a0, b] + fa * (rain[a1, b] - rain[a0, b])
                coarse_pass[b] = rain_loss[a0, b] + fa * (rain_loss[a1, b] - rain_loss[a0, b])
            for j in range(n_cell):
                b = column[j]
                f = between[j]
                rained[j] = coarse_rain[b] + f * (coarse_rain[b + 1] - coarse_rain[b])
                passed[j] = coarse_pass[b] + f * (coarse_pass[b + 1] - coarse_pass[b])
                inside[j] *= passed[j]
        run = 0.0
        for j in range(row.size):
            run += row[j]
            total[j + 1] = run
        if half_rest > 0.0:
            for j in range(n_cell):
                value_row[j] = max(upper[j] - lower[j] + half_rest * (before[j] + after[j]), 0.0)
        else:
            for j in range(n_cell):
                value_row[j] = max(upper[j] - lower[j], 0.0)
        wind = wind_row[i] * share
        for j in range(n_sea):
            sea[j] = sea_row[j] * wind * seen[j] * passed[j]
            spiky[j] = sea[j] * (spike_row[j] - 1.0)
        if is_drawn:
            for j in range(n_cell):
                snr_i[j] = value_row[j] + rained[j]
                clutter_i[j] = sea[j]
        else:
            for j in range(n_cell):
                unwanted = sea[j] + rained[j]
                snr_i[j] = value_row[j] + unwanted
                clutter_i[j] = unwanted
                ratio[j] = value_row[j] / (np.float32(1.0) + clutter_weight * (unwanted + spiky[j]))
            chance_i = chance[i]
            for j in range(n_cell):
                chance_i[j] = chances[ratio_bits[j] >> shift]
            chance_i[:shown] = 0.0
        snr_i[:shown] = 0.0
        clutter_i[:shown] = 0.0


@njit(cache=True, nogil=True)
def hidden_kernel(spoke, cell, height, shadow, water, first_m, cell_m, antenna_m, wavelength, re_m):
    """What edges of land take from points on the way there and back.

    spoke, cell (n,) int64; height (n, m) float64 metres.  Returns factor (n, m) float64, 1 where nothing is in the way,
    and hides (n,) float64, the height below which the line of sight is cut by land (0: none).
    """
    n, m = height.shape
    factor = np.ones((n, m))
    hides = np.zeros(n)
    re2 = 1.0 / (2.0 * re_m)
    n_cell = shadow.shape[1]
    for t in range(n):
        i = spoke[t]
        j = min(cell[t], n_cell - 1)
        if j < 1:
            continue
        base = shadow[i, j]
        if base <= 0.05:
            continue
        r = first_m + j * cell_m
        steepest = (base - antenna_m) / r - r * re2
        at = 0
        for k in range(j - 1, -1, -1):
            rk = max(first_m + k * cell_m, 0.25 * cell_m)
            sk = shadow[i, k]
            if sk <= 0.0 or (sk - antenna_m) / rk - rk * re2 < steepest - 1e-6:
                at = k
                break
        # The horizon of the sea is no edge of land: the field over water knows of it already.
        if water[i, at] == 1:
            continue
        hides[t] = base
        re = max(first_m + at * cell_m, 0.25 * cell_m)
        beyond = max(r - re, 0.5 * cell_m)
        scale = math.sqrt(2.0 * (re + beyond) / (wavelength * re * beyond))
        for h in range(m):
            v = (steepest - (height[t, h] - antenna_m) / r + r * re2) * re * scale
            if v > -0.78:
                loss = 6.9 + 20.0 * math.log10(math.sqrt((v - 0.1) ** 2 + 1.0) + v - 0.1)
                factor[t, h] = 10.0 ** (-0.2 * max(loss, 0.0))
    return factor, hides


@njit(cache=True, nogil=True)
def _mix(x):
    """One step of the splitmix64 generator's output function (Steele, Lea and Flood 2014)."""
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return x ^ (x >> np.uint64(31))


@njit(cache=True, nogil=True)
def texture_kernel(seed, normal, along, along_rest, round_row, round_rest, keep, old, out):
    """Slow unevenness of the sea: unit Gaussian, correlated outwards, round and from turn to turn.

    normal (65536,) float32 quantiles; along: correlation from cell to cell; round_row (n_sea,) float64: from spoke to
    spoke; keep: from turn to turn of old (n_spoke, n_sea) float32; fills out, the same shape.
    """
    n_spoke, n_sea = out.shape
    fresh = math.sqrt(max(0.0, 1.0 - keep * keep))
    column = np.zeros(n_sea)
    golden = np.uint64(0x9E3779B97F4A7C15)
    state = np.uint64(seed)
    for i in range(n_spoke):
        last = 0.0
        for j in range(0, n_sea, 4):
            state += golden
            bits = _mix(state)
            for m in range(min(4, n_sea - j)):
                k = j + m
                g = normal[(bits >> np.uint64(16 * m)) & np.uint64(0xFFFF)]
                last = g if k == 0 else along * last + along_rest * g
                column[k] = last if i == 0 else round_row[k] * column[k] + round_rest[k] * last
                out[i, k] = keep * old[i, k] + fresh * column[k]


@njit(cache=True, nogil=True)
def draw_kernel(
    seed,
    even,
    sea,
    n_sea,
    texture,
    shape_row,
    shapes,
    point_re,
    point_im,
    has_point,
    extra,
    has_extra,
    normal,
    rest,
    noise_sigma,
    along,
    round_,
    counts_table,
    count_shift,
    power_out,
    counts,
):
    """One random turn.

    even (n_spoke, n_cell) float32: mean power of what fluctuates evenly (land, built things, rain); sea (same): mean
    sea; texture (n_spoke, n_sea) float32 unit Gaussian; shapes (n_shape, 1024) float32: gamma quantiles by texture;
    shape_row (n_sea,) which of them; point_*: fields of single things; extra: power added as it is; normal (65536,);
    rest (65536,): quantiles of the noise that averaging leaves; noise_sigma: of each part of the coherent noise.
    Fills counts (n_spoke, n_cell) uint8 and, if it has that shape, power_out float32.
    """
    n_spoke, n_cell = even.shape
    golden = np.uint64(0x9E3779B97F4A7C15)
    state = np.uint64(seed)
    mask = np.uint64(0xFFFF)
    along_rest = math.sqrt(1.0 - along * along) * math.sqrt(0.5)
    round_rest = math.sqrt(1.0 - round_ * round_)
    start = math.sqrt(0.5)
    re = np.zeros(n_cell)
    im = np.zeros(n_cell)
    power = np.empty(n_cell, dtype=np.float32)
    bits_of = power.view(np.int32)
    keep_power = power_out.size > 0
    n_level = shapes.shape[1]
    for i in range(n_spoke):
        last_re = 0.0
        last_im = 0.0
        for j in range(n_cell):
            state += golden
            a = _mix(state)
            x = noise_sigma * normal[a & mask]
            y = noise_sigma * normal[(a >> np.uint64(16)) & mask]
            level = even[i, j]
            if j < n_sea and sea[i, j] > 0.0:
                z = int((texture[i, j] + 4.0) * (n_level / 8.0))
                z = min(max(z, 0), n_level - 1)
                level += sea[i, j] * shapes[shape_row[j], z]
            if level > 1e-3:
                state += golden
                b = _mix(state)
                g = normal[b & mask]
                h = normal[(b >> np.uint64(16)) & mask]
                if j == 0 or (last_re == 0.0 and last_im == 0.0):
                    last_re = start * g
                    last_im = start * h
                else:
                    last_re = along * last_re + along_rest * g
                    last_im = along * last_im + along_rest * h
                if re[j] == 0.0 and im[j] == 0.0:
                    re[j] = last_re
                    im[j] = last_im
                else:
                    re[j] = round_ * re[j] + round_rest * last_re
                    im[j] = round_ * im[j] + round_rest * last_im
                amplitude = math.sqrt(level)
                x += amplitude * re[j]
                y += amplitude * im[j]
            else:
                last_re = 0.0
                last_im = 0.0
                re[j] = 0.0
                im[j] = 0.0
            if has_point[i]:
                x += point_re[i, j]
                y += point_im[i, j]
            power[j] = x * x + y * y + rest[(a >> np.uint64(32)) & mask]
        if has_extra[i]:
            for j in range(n_cell):
                power[j] += extra[i, j]
        for j in range(n_cell):
            counts[i, j] = counts_table[bits_of[j] >> count_shift]
        if keep_power:
            for j in range(n_cell):
                power_out[i, j] = power[j]


@njit(cache=True, nogil=True)
def point_field_kernel(spoke, cell, amplitude, phase, beam, reach, half_cells, half_rest, out_re, out_im, has_point):
    """Add the fields of single things: amplitude (n,) is the root of the power, phase (n,) radians."""
    n_spoke, n_cell = out_re.shape
    wide = half_cells + (1 if half_rest > 0.0 else 0)
    for t in range(spoke.size):
        j = int(math.floor(cell[t] + 0.5))
        if amplitude[t] <= 0.0 or j + wide < 0 or j - wide >= n_cell:
            continue
        centre = int(math.floor(spoke[t] + 0.5))
        for k in range(-reach, reach + 1):
            off = (centre + k - spoke[t]) / beam
            pattern = amplitude[t] * math.exp(-4.0 * math.log(2.0) * off * off)
            i = (centre + k) % n_spoke
            has_point[i] = True
            for m in range(-wide, wide + 1):
                if 0 <= j + m < n_cell:
                    part = pattern if abs(m) <= half_cells else pattern * math.sqrt(half_rest)
                    out_re[i, j + m] += part * math.cos(phase[t])
                    out_im[i, j + m] += part * math.sin(phase[t])
