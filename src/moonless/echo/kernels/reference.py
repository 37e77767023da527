"""The definitions that the kernels are held to: short, slow, plain."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]


def clean(echo: Array, received: Array, reach: int, spike: Array) -> Array:
    """Return the counts with every spike narrower than ``reach`` + 1 spokes taken back to the opening in azimuth.

    A spoke whose neighbours within ``reach`` were not all received is left as it is.
    """
    if reach == 0:
        return echo.copy()
    stack = np.stack([np.roll(echo, -k, axis=0) for k in range(-reach, reach + 1)]).astype(np.int64)
    # Opening by reach + 1: the highest of the lowest over every window of that length that holds the spoke; the
    # spoke itself bounds nothing, so it is left out of each window.
    openings = []
    for first in range(reach + 1):
        window = [k for k in range(first, first + reach + 1) if k != reach]
        openings.append(stack[window].min(axis=0))
    opened = np.max(openings, axis=0)
    own = echo.astype(np.int64)
    known = np.all([np.roll(received, -k) for k in range(-reach, reach + 1) if k], axis=0)
    is_spike = (own >= spike[0]) & (own * 256 > opened * spike[1] + spike[2]) & known[:, None]
    return np.asarray(np.where(is_spike, opened, own), dtype=echo.dtype)


def blocks(
    echo: Array, received: Array, row_edge: Array, col_cells: int, power: Array, spike: Array, reach: int
) -> tuple[Array, Array, int]:
    """Return (power sums of blocks, spokes received in each row, spikes taken out)."""
    cleaned = clean(echo, received, reach, spike)
    n_row, n_col = row_edge.size - 1, -(-echo.shape[1] // col_cells)
    total, weight = np.zeros((n_row, n_col)), np.zeros(n_row, dtype=np.int64)
    for a in range(n_row):
        rows = [i for i in range(row_edge[a], row_edge[a + 1]) if received[i]]
        weight[a] = len(rows)
        for c in range(n_col):
            total[a, c] = power[cleaned[rows, c * col_cells : (c + 1) * col_cells]].astype(np.float64).sum()
    changed = (cleaned != echo) & received[:, None]
    starts = changed & ~np.pad(changed, ((0, 0), (1, 0)))[:, :-1]
    return total, weight, int(starts.sum())


def boxes(
    total: Array, weight: Array, nominal: int, box_rows: int, box_cols: int, col_cells: int, n_cell: int
) -> tuple[Array, Array]:
    """Return mean powers of (strips of ``box_rows``, boxes ``box_rows`` by ``box_cols``); NaN where too few spokes."""
    n_row, n_col = total.shape
    cells = np.minimum(np.arange(1, n_col + 1) * col_cells, n_cell) - np.arange(n_col) * col_cells
    strip, box = np.full(total.shape, np.nan), np.full(total.shape, np.nan)
    for a in range(n_row):
        rows = [(a + k - box_rows // 2) % n_row for k in range(box_rows)]
        spokes = int(weight[rows].sum())
        if spokes == 0 or 2 * spokes < nominal:
            continue
        summed = total[rows].astype(np.float64).sum(axis=0)
        strip[a] = summed / (cells * spokes)
        for c in range(n_col):
            cols = [k for k in range(c - box_cols // 2, c - box_cols // 2 + box_cols) if 0 <= k < n_col]
            box[a, c] = summed[cols].sum() / (cells[cols].sum() * spokes)
    return strip, box


def ordered(level: Array, skip: Array, guard: int, window: int, least: int) -> tuple[Array, Array]:
    """Return (medians before, medians after) every column: the upper of two middles; -1 where fewer than ``least``."""
    n_row, n_col = level.shape
    near, far = np.full(level.shape, -1, dtype=np.int16), np.full(level.shape, -1, dtype=np.int16)
    for a in range(n_row):
        for c in range(n_col):
            for out, cols in (
                (near, range(c - guard - window, c - guard)),
                (far, range(c + guard + 1, c + guard + 1 + window)),
            ):
                kept = sorted(int(level[a, k]) for k in cols if 0 <= k < n_col and not skip[a, k])
                if len(kept) >= least:
                    out[a, c] = kept[len(kept) // 2]
    return near, far


def peaks(value_db: Array, threshold_db: Array, rows: int, cols: int) -> list[int]:
    """Return flat indices of cells at or over threshold that nothing within (rows, cols) tops; first of equals."""
    n_row, n_col = value_db.shape
    out = []
    for a in range(n_row):
        for c in range(n_col):
            if not value_db[a, c] >= threshold_db[a, c]:
                continue
            around = {
                ((a + da) % n_row) * n_col + col
                for da in range(-rows, rows + 1)
                for col in range(max(0, c - cols), min(n_col, c + cols + 1))
            } - {a * n_col + c}
            own = (value_db[a, c], -(a * n_col + c))
            if all(not (value_db.flat[k], -k) > own for k in around):
                out.append(a * n_col + c)
    return out


def segments(
    value_db: Array, mask: Array, depth_db: float, far_rows: Array, far_db: float, firm_db: Array
) -> tuple[Array, Array]:
    """Return (hilltop, highest cell of the connected body) of each cell of ``mask``, -1 outside it; flat indices.

    Water rises no higher than it must: cells are taken from the top down, each joins the highest hill it touches,
    and a hill whose top stands less than ``depth_db`` over the pass to a higher one is that one's shoulder; between
    tops ``far_rows`` (n_col,) or more rows apart ``far_db`` is enough, if the lower one reaches ``firm_db``.
    """
    n_row, n_col = value_db.shape
    value = value_db.ravel()
    parent: dict[int, int] = {}

    def root(k: int) -> int:
        while parent[k] != k:
            k = parent[k]
        return k

    def neighbours(k: int) -> list[int]:
        a, c = divmod(k, n_col)
        return [
            ((a + da) % n_row) * n_col + c + dc
            for da in (-1, 0, 1)
            for dc in (-1, 0, 1)
            if (da or dc) and 0 <= c + dc < n_col
        ]

    cells = sorted(np.flatnonzero(mask.ravel()).tolist(), key=lambda k: (-value[k], k))
    for k in cells:
        tops = {root(m) for m in neighbours(k) if m in parent}
        if not tops:
            parent[k] = k
            continue
        best = min(tops, key=lambda t: (-value[t], t))
        parent[k] = best
        for top in tops - {best}:
            apart = abs(top // n_col - best // n_col)
            is_far = min(apart, n_row - apart) >= far_rows[top % n_col] and value[top] >= firm_db.flat[top]
            pass_db = far_db if is_far else depth_db
            if value[top] - value[k] < pass_db:
                parent[top] = best
    basin = np.full(value.size, -1, dtype=np.int64)
    for k in cells:
        basin[k] = root(k)
    body = np.full(value.size, -1, dtype=np.int64)
    for k in cells:
        if body[k] >= 0:
            continue
        body[k] = k  # the first met from the top down is the highest
        queue = [k]
        while queue:
            for m in neighbours(queue.pop()):
                if m in parent and body[m] < 0:
                    body[m] = k
                    queue.append(m)
    return basin, body


def gates(place: Array, along: Array, gate: Array, reach: Array, old: Array) -> tuple[Array, Array]:
    """Return (old points in each place's gate, old points within reach but outside it).

    place (n, 2), along (n, 2) unit, gate (n, 2) half widths along and across, reach (n,), old (m, 2); (east, north).
    """
    inside, near = np.zeros(len(place), dtype=np.int64), np.zeros(len(place), dtype=np.int64)
    for k in range(len(place)):
        for point in old:
            d = point - place[k]
            if d[0] * d[0] + d[1] * d[1] > reach[k] * reach[k]:
                continue
            r = d[0] * along[k, 0] + d[1] * along[k, 1]
            c = d[0] * along[k, 1] - d[1] * along[k, 0]
            if abs(r) <= gate[k, 0] and abs(c) <= gate[k, 1]:
                inside[k] += 1
            else:
                near[k] += 1
    return inside, near


def warp(
    east: Array,
    north: Array,
    bearing: Array,
    first_m: float,
    col_m: float,
    old_east: Array,
    old_north: Array,
    old_heading: Array,
    received: Array,
    lean_row: float,
    lean_col: float,
    n_col: int,
) -> Array:
    """Return the flat box of the last turn under each box, -1: none.

    The row that looked there is sought as the kernel seeks it: from the pose of the row found one column before.
    """
    n_row = bearing.size
    out = np.full((n_row, n_col), -1, dtype=np.int32)
    for a in range(n_row):
        row = a
        for c in range(n_col):
            r = first_m + c * col_m
            de = east[a] + r * np.sin(bearing[a]) - old_east[row]
            dn = north[a] + r * np.cos(bearing[a]) - old_north[row]
            share = np.mod((np.arctan2(de, dn) - old_heading[row]) / (2.0 * np.pi), 1.0)
            row = int(np.rint(share * n_row + lean_row)) % n_row
            col = int(np.rint((np.sqrt(de * de + dn * dn) - first_m) / col_m + lean_col))
            if 0 <= col < n_col and received[row]:
                out[a, c] = row * n_col + col
    return out


def follow(
    place: Array,
    along: Array,
    gate: Array,
    now_s: float,
    fastest: float,
    turns: list[tuple[float, Array, Array]],
) -> tuple[list[int], list[int]]:
    """Return (most turns met, firm echoes tried) of straight runs to each place.

    place, along, gate (n, 2): east and north; line of sight; half widths along and across it.  Each turn: its time, its
    points (m, 2) and which of them are firm (m,).
    """
    best, seeds = [], []
    for here, sight, half in zip(place, along, gate, strict=True):
        across = np.array([sight[1], -sight[0]])
        met = [0]
        for a, (then_s, points, firm) in enumerate(turns):
            for seed in points[firm]:
                run = here - seed
                if float(np.hypot(*run)) > fastest * (now_s - then_s) + half[0]:
                    continue
                count = 0
                for b, (other_s, others, _) in enumerate(turns):
                    share = (now_s - other_s) / (now_s - then_s)
                    off = others - (here - share * run)
                    inside = (np.abs(off @ sight) <= half[0] * max(1.0, share)) & (
                        np.abs(off @ across) <= half[1] * max(1.0, share)
                    )
                    count += a != b and bool(np.any(inside))
                met.append(count)
        best.append(max(met))
        seeds.append(len(met) - 1)
    return best, seeds


def dilate(cells: Array, half_rows: Array, half_cols: int, n_row: int, n_col: int) -> Array:
    """Return (n_row, n_col) True within a rectangle round each flat cell; rows wrap."""
    out = np.zeros((n_row, n_col), dtype=np.bool_)
    for k, half in zip(cells, half_rows, strict=True):
        a, c = divmod(int(k), n_col)
        for da in range(-half, half + 1):
            out[(a + da) % n_row, max(0, c - half_cols) : c + half_cols + 1] = True
    return out


def spread(coarse: Array, row_edge: Array, col_cells: int, n_cell: int) -> Array:
    """Return block values over the cells of their blocks."""
    rows = np.repeat(coarse, np.diff(row_edge), axis=0)
    return np.asarray(np.repeat(rows, col_cells, axis=1)[:, :n_cell])


def levels(
    strip_db: Array,
    background_db: Array,
    sector: Array,
    ring: Array,
    low: float,
    step: float,
    solid: float,
    over: float,
) -> tuple[Array, Array]:
    """Return (step of each strip, which are solid or were not received)."""
    known = np.isfinite(strip_db)
    steps = np.clip((np.where(known, strip_db, low) - np.float32(low)) / np.float32(step), 0, 255).astype(np.uint8)
    limit = np.maximum(np.float32(solid), background_db[sector][:, ring] + np.float32(over))
    return steps, ~known | (strip_db > limit)


def floors(
    near: Array,
    far: Array,
    wide: int,
    lone: float,
    background_db: Array,
    over: Array,
    sector: Array,
    ring: Array,
    low: float,
    step: float,
) -> tuple[Array, Array]:
    """Return (floor, threshold): the higher side's median, the ring's level where a side or both show too little.

    ``lone`` dB more where the sides are ``wide`` steps or more apart.
    """
    higher = np.maximum(near, far)
    own = background_db[sector][:, ring]
    seen = np.float32(low) + (higher.astype(np.float32) + np.float32(0.5)) * np.float32(step)
    is_edge = (near >= 0) & (far >= 0) & (np.abs(near.astype(np.int64) - far) >= wide)
    seen = np.where(is_edge, seen + np.float32(lone), seen)
    floor = np.where(higher >= 0, np.where(near < 0, np.maximum(seen, own), seen), own).astype(np.float32)
    return floor, floor + over[sector][:, ring]


def moments(
    cleaned: Array, received: Array, row_edge: Array, col_cells: int, power: Array, cells: Array, peak: int, n_col: int
) -> Array:
    """Return (12,) sums of w, ws, wr, wss, wrr, wsr with w the power and then with w one, over one plot's blocks."""
    n_spoke, n_cell = cleaned.shape
    top_row, top_col = divmod(peak, n_col)
    out = np.zeros(12)
    for k in cells:
        a, c = divmod(int(k), n_col)
        for i in range(row_edge[a], row_edge[a + 1]):
            if not received[i]:
                continue
            s = i - row_edge[top_row]
            s = s - n_spoke if s > n_spoke // 2 else s + n_spoke if s < -(n_spoke // 2) else s
            for j in range(c * col_cells, min((c + 1) * col_cells, n_cell)):
                r = j - top_col * col_cells
                terms = np.array([1.0, s, r, s * s, r * r, s * r])
                out[:6] += float(power[cleaned[i, j]]) * terms
                out[6:] += terms
    return out


def settle(mean: Array, drop: Array, usual: Array, sector: Array, ring: Array, floor: Array) -> tuple[Array, Array]:
    """Return (what each floor is lowered by, its offset from its bin's mean)."""
    at = sector[:, None], ring[None, :]
    offset = floor - mean[at]
    far, u = np.abs(offset), usual[at]
    with np.errstate(divide="ignore", invalid="ignore"):
        kept = np.where(far <= u, 1.0, np.clip((2.0 * u - far) / u, 0.0, 1.0))
    return np.where(far < 2.0 * u, drop[at] * kept * offset, 0.0), offset


def excess(some: Array, known: Array) -> Array:
    """Return how far each cell stands over the higher of its neighbouring spokes, -inf where not known."""
    counts = some.astype(np.float64)
    over = counts - np.maximum(np.roll(counts, 1, axis=0), np.roll(counts, -1, axis=0))
    return np.where(known[:, None], over, -np.inf)


def parts(over: Array, by_row: Array, by_col: Array, share: float, least: float) -> Array:
    """Return sums along range of what each cell says for a streak, with a zero before."""
    usual = np.maximum(share * by_row[:, None] * by_col[None, :], least)
    return np.cumsum(np.pad(np.clip(over / usual, -1.0, 1.0), ((0, 0), (1, 0))), axis=1)
