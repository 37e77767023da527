"""The last steps to a scan, expected or drawn, compiled.

Held to readable twins in `moonless.radar.kernels.reference`, and to the laws they claim, by the tests.

Power is in units of mean receiver noise.
"""

# Compiled: what each argument is stands in the docstrings, where numba does not need it.
# mypy: disable-error-code="no-untyped-def, no-untyped-call, untyped-decorator"
# ruff: noqa: RUF046
from __future__ import annotations

import math

import numpy as np
from numba import njit


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
