"""Compiled twins of ``reference.py``: cleaning, blocks, ordered reference, segments, measures."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[Any]


@njit(cache=True, nogil=True)
def _clean(echo: Array, received: Array, i: int, j: int, reach: int, spike: Array) -> Any:
    """One count with a spike narrower than an echo taken back to what stands beside it.

    spike (3,) i64: least count looked at, and the count over which it must stand, ``(o * spike[1] + spike[2]) / 256``.
    """
    c = echo[i, j]
    if reach == 0 or c < spike[0]:
        return c
    n = echo.shape[0]
    before = (i - 1) % n
    after = (i + 1) % n
    if not (received[before] and received[after]):
        return c
    a = echo[before, j]
    b = echo[after, j]
    o = max(a, b)
    if reach == 2:
        before2 = (i - 2) % n
        after2 = (i + 2) % n
        if not (received[before2] and received[after2]):
            return c
        o = max(min(a, b), max(min(echo[before2, j], a), min(b, echo[after2, j])))
    if np.int64(c) * 256 > np.int64(o) * spike[1] + spike[2]:
        return o
    return c


@njit(cache=True, nogil=True)
def blocks_kernel(
    echo: Array,
    received: Array,
    row_edge: Array,
    col_cells: int,
    power: Array,
    spike: Array,
    reach: int,
    total: Array,
    weight: Array,
) -> int:
    """Power sums of blocks, spikes taken out; returns how many spikes.

    echo (n_spoke, n_cell) uint; power (full_scale + 1,) f32; spike (3,) i64 as in ``_clean``; total (n_row, n_col) f32
    and weight (n_row,) i64, spokes received, out.
    """
    n_row, n_col = total.shape
    n, n_cell = echo.shape
    spikes = 0
    line = np.empty(n_cell, echo.dtype)
    for a in range(n_row):
        seen = 0
        for c in range(n_col):
            total[a, c] = 0.0
        for i in range(row_edge[a], row_edge[a + 1]):
            if not received[i]:
                continue
            seen += 1
            row = echo[i]
            b1 = (i - 1) % n
            a1 = (i + 1) % n
            b2 = (i - 2) % n
            a2 = (i + 2) % n
            changed = 0
            # Branchless, so that it runs as fast in clutter as in noise.
            if reach == 1 and received[b1] and received[a1]:
                before = echo[b1]
                after = echo[a1]
                for j in range(n_cell):
                    v = np.int32(row[j])
                    o = max(np.int32(before[j]), np.int32(after[j]))
                    out = (v >= spike[0]) & (v * 256 > o * spike[1] + spike[2])
                    line[j] = o if out else v
                    changed += out
            elif reach == 2 and received[b1] and received[a1] and received[b2] and received[a2]:
                before = echo[b1]
                after = echo[a1]
                before2 = echo[b2]
                after2 = echo[a2]
                for j in range(n_cell):
                    v = np.int32(row[j])
                    p = np.int32(before[j])
                    q = np.int32(after[j])
                    o = max(min(p, q), max(min(np.int32(before2[j]), p), min(q, np.int32(after2[j]))))
                    out = (v >= spike[0]) & (v * 256 > o * spike[1] + spike[2])
                    line[j] = o if out else v
                    changed += out
            if changed:
                was = False
                for j in range(n_cell):
                    now = line[j] != row[j]
                    if now and not was:
                        spikes += 1
                    was = now
                row = line
            j = 0
            for c in range(n_col):
                stop = min(j + col_cells, n_cell)
                acc = np.float32(0.0)
                while j < stop:
                    acc += power[row[j]]
                    j += 1
                total[a, c] += acc
        weight[a] = seen
    return spikes


@njit(cache=True, nogil=True)
def boxes_kernel(
    total: Array,
    weight: Array,
    nominal: int,
    box_rows: int,
    box_cols: int,
    col_cells: int,
    n_cell: int,
    strip: Array,
    box: Array,
) -> None:
    """total (n_row, n_col) f32 in; strip and box (n_row, n_col) f32 mean powers out, NaN where too little was received.

    strip: ``box_rows`` rows by one column; box: ``box_rows`` by ``box_cols``.  ``nominal``: spokes of a whole box.
    """
    n_row, n_col = total.shape
    for a in range(n_row):
        spokes = 0
        for k in range(box_rows):
            spokes += weight[(a + k - box_rows // 2) % n_row]
        if 2 * spokes < nominal or spokes == 0:
            for c in range(n_col):
                strip[a, c] = np.nan
                box[a, c] = np.nan
            continue
        for c in range(n_col):
            strip[a, c] = 0.0
        for k in range(box_rows):
            row = total[(a + k - box_rows // 2) % n_row]
            for c in range(n_col):
                strip[a, c] += row[c]
        last = n_cell - (n_col - 1) * col_cells
        for c in range(n_col):
            acc = np.float32(0.0)
            cells = 0
            for k in range(box_cols):
                at = c + k - box_cols // 2
                if 0 <= at < n_col:
                    acc += strip[a, at]
                    cells += last if at == n_col - 1 else col_cells
            box[a, c] = acc / np.float32(cells * spokes)
        for c in range(n_col):
            strip[a, c] /= np.float32((last if c == n_col - 1 else col_cells) * spokes)


@njit(cache=True, nogil=True, inline="always")
def _rank_level(histogram: Array, at: int, below: int, wanted: int) -> tuple[int, int]:
    """Move ``at`` to the level that holds order ``wanted``; ``below`` counts entries under ``at``."""
    while below > wanted:
        at -= 1
        below -= histogram[at]
    while below + histogram[at] <= wanted:
        below += histogram[at]
        at += 1
    return at, below


@njit(cache=True, nogil=True)
def ordered_kernel(level: Array, skip: Array, guard: int, window: int, least: int, near: Array, far: Array) -> None:
    """level (n_row, n_col) u8; skip same shape bool; near, far (n_row, n_col) i16 medians out, -1: too few entries.

    near: of the ``window`` columns before the guard; far: of those after it.
    """
    n_row, n_col = level.shape
    h1 = np.zeros(257, np.int64)
    h2 = np.zeros(257, np.int64)
    for a in range(n_row):
        h1[:] = 0
        h2[:] = 0
        n1 = 0
        n2 = 0
        at1 = 0
        below1 = 0
        at2 = 0
        below2 = 0
        for c in range(guard + 1, min(n_col, guard + 1 + window)):
            if not skip[a, c]:
                v = level[a, c]
                h2[v] += 1
                n2 += 1
        for c in range(n_col):
            if n1 >= least:
                at1, below1 = _rank_level(h1, at1, below1, n1 // 2)
                near[a, c] = at1
            else:
                near[a, c] = -1
            if n2 >= least:
                at2, below2 = _rank_level(h2, at2, below2, n2 // 2)
                far[a, c] = at2
            else:
                far[a, c] = -1
            # Slide both windows one column out.
            add = c - guard
            if add >= 0 and not skip[a, add]:
                v = level[a, add]
                h1[v] += 1
                n1 += 1
                if v < at1:
                    below1 += 1
            drop = c - guard - window
            if drop >= 0 and not skip[a, drop]:
                v = level[a, drop]
                h1[v] -= 1
                n1 -= 1
                if v < at1:
                    below1 -= 1
            drop = c + guard + 1
            if drop < n_col and not skip[a, drop]:
                v = level[a, drop]
                h2[v] -= 1
                n2 -= 1
                if v < at2:
                    below2 -= 1
            add = c + guard + 1 + window
            if add < n_col and not skip[a, add]:
                v = level[a, add]
                h2[v] += 1
                n2 += 1
                if v < at2:
                    below2 += 1
        # Entries under the pointer are stale for the next row; it starts afresh.


@njit(cache=True, nogil=True)
def segment_kernel(
    value_db: Array, order: Array, n_row: int, n_col: int, depth_db: Any, basin: Array, body: Array
) -> None:
    """Part a mask into hills.  value_db (n_row * n_col,) f32; order (m,) i64, masked cells from high to low.

    basin, body (n_row * n_col,) i64, filled with -1 on entry: the flat index of each cell's hilltop, and of its
    connected body's highest cell.  A hill keeps its own name if the pass to a higher one lies ``depth_db`` below it.
    """
    for idx in order:
        a = idx // n_col
        c = idx - a * n_col
        best = -1
        for da in range(-1, 2):
            row = (a + da) % n_row
            for dc in range(-1, 2):
                col = c + dc
                if (da == 0 and dc == 0) or col < 0 or col >= n_col:
                    continue
                other = row * n_col + col
                if basin[other] < 0:
                    continue
                root = _find(basin, other)
                if best < 0 or value_db[root] > value_db[best] or (value_db[root] == value_db[best] and root < best):
                    best = root
        if best < 0:
            basin[idx] = idx
            body[idx] = idx
            continue
        basin[idx] = best
        body[idx] = _find(body, best)
        for da in range(-1, 2):
            row = (a + da) % n_row
            for dc in range(-1, 2):
                col = c + dc
                if (da == 0 and dc == 0) or col < 0 or col >= n_col:
                    continue
                other = row * n_col + col
                if basin[other] < 0:
                    continue
                root = _find(basin, other)
                if root != best and value_db[root] - value_db[idx] < depth_db:
                    basin[root] = best
                r1 = _find(body, other)
                r2 = _find(body, idx)
                if r1 != r2:
                    if value_db[r1] > value_db[r2] or (value_db[r1] == value_db[r2] and r1 < r2):
                        body[r2] = r1
                    else:
                        body[r1] = r2
    for idx in order:
        basin[idx] = _find(basin, idx)
        body[idx] = _find(body, idx)


@njit(cache=True, nogil=True)
def _find(parent: Array, i: int) -> int:
    """Root of ``i``, halving the path."""
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@njit(cache=True, nogil=True)
def measure_kernel(
    echo: Array,
    received: Array,
    row_edge: Array,
    col_cells: int,
    power: Array,
    spike: Array,
    reach: int,
    full_scale: int,
    cells: Array,
    number: Array,
    peak_cell: Array,
    gate: Array,
    n_row: int,
    n_col: int,
    sums: Array,
    peak_count: Array,
    n_cells: Array,
    clipped: Array,
) -> None:
    """Sum each plot's moments over the full-resolution cells of its blocks.

    cells (m,) i64 flat block indices; number (m,) i64 plot of each; peak_cell (n,) i64 flat block of each plot's peak;
    gate (m,) bool, True where the block stands close enough under its peak to weigh.
    sums (n, 12) f64 out: sums of w, w s, w r, w s s, w r r, w s r with w the power, then the same with w one; s in
    spokes and r in cells from the peak block's first spoke and cell.
    peak_count, n_cells (n,) i64 and clipped (n,) bool out.
    """
    n_spoke, n_cell = echo.shape
    for m in range(cells.shape[0]):
        p = number[m]
        a = cells[m] // n_col
        c = cells[m] - a * n_col
        pa = peak_cell[p] // n_col
        pc = peak_cell[p] - pa * n_col
        start = row_edge[pa]
        for i in range(row_edge[a], row_edge[a + 1]):
            if not received[i]:
                continue
            s = i - start
            if s > n_spoke // 2:
                s -= n_spoke
            elif s < -(n_spoke // 2):
                s += n_spoke
            for j in range(c * col_cells, min((c + 1) * col_cells, n_cell)):
                v = _clean(echo, received, i, j, reach, spike)
                n_cells[p] += 1
                if v > peak_count[p]:
                    peak_count[p] = v
                if v >= full_scale:
                    clipped[p] = True
                if gate[m]:
                    w = power[v]
                    r = j - pc * col_cells
                    sums[p, 0] += w
                    sums[p, 1] += w * s
                    sums[p, 2] += w * r
                    sums[p, 3] += w * s * s
                    sums[p, 4] += w * r * r
                    sums[p, 5] += w * s * r
                    sums[p, 6] += 1
                    sums[p, 7] += s
                    sums[p, 8] += r
                    sums[p, 9] += s * s
                    sums[p, 10] += r * r
                    sums[p, 11] += s * r


@njit(cache=True, nogil=True)
def spread_kernel(coarse: Array, row_edge: Array, col_cells: int, fine: Array) -> None:
    """coarse (n_row, n_col) f32 in; fine (n_spoke, n_cell) f32 out, each block's value over its cells."""
    n_row, n_col = coarse.shape
    n_cell = fine.shape[1]
    for a in range(n_row):
        first = row_edge[a]
        for c in range(n_col):
            v = coarse[a, c]
            for j in range(c * col_cells, min((c + 1) * col_cells, n_cell)):
                fine[first, j] = v
        for i in range(first + 1, row_edge[a + 1]):
            fine[i] = fine[first]


@njit(cache=True, nogil=True)
def peaks_kernel(value_db: Array, threshold_db: Array, rows: int, cols: int, found: Array) -> int:
    """Flat indices of cells at or over threshold that no cell within (rows, cols) tops.

    value_db, threshold_db (n_row, n_col) f32, NaN never found; rows wrap; of equal cells the first in order counts.
    found (m,) i64 out; returns how many were written, at most m.
    """
    n_row, n_col = value_db.shape
    n = 0
    for a in range(n_row):
        for c in range(n_col):
            v = value_db[a, c]
            if not v >= threshold_db[a, c]:
                continue
            top = True
            for da in range(-rows, rows + 1):
                row = (a + da) % n_row
                for col in range(max(0, c - cols), min(n_col, c + cols + 1)):
                    w = value_db[row, col]
                    if w > v or (w == v and row * n_col + col < a * n_col + c):
                        top = False
                        break
                if not top:
                    break
            if top and n < found.shape[0]:
                found[n] = a * n_col + c
                n += 1
    return n


@njit(cache=True, nogil=True)
def blot_kernel(cells: Array, half_rows: Array, half_cols: int, out: Array) -> None:
    """Set True a rectangle round each flat cell; cells, half_rows (m,) i64, half_cols i64; out (n_row, n_col) bool."""
    n_row, n_col = out.shape
    for m in range(cells.shape[0]):
        a = cells[m] // n_col
        c = cells[m] - a * n_col
        lo = max(0, c - half_cols)
        hi = min(n_col, c + half_cols + 1)
        for da in range(-half_rows[m], half_rows[m] + 1):
            row = (a + da) % n_row
            for col in range(lo, hi):
                out[row, col] = True


@njit(cache=True, nogil=True)
def gate_kernel(
    east: Array,
    north: Array,
    along_e: Array,
    along_n: Array,
    gate_r: Array,
    gate_c: Array,
    reach: Array,
    old_east: Array,
    old_north: Array,
    inside: Array,
    near: Array,
) -> None:
    """Count old points in and round each place's gate.

    east, north (n,) f64 places; along_e, along_n (n,) f64 unit line of sight; gate_r, gate_c, reach (n,) f64 half
    widths; old_east, old_north (m,) f64 sorted by north.  inside, near (n,) i64 out: in the gate; in reach, outside it.
    """
    m = old_east.shape[0]
    for k in range(east.shape[0]):
        first = np.searchsorted(old_north, north[k] - reach[k])
        count = 0
        around = 0
        for j in range(first, m):
            dn = old_north[j] - north[k]
            if dn > reach[k]:
                break
            de = old_east[j] - east[k]
            if de * de + dn * dn > reach[k] * reach[k]:
                continue
            r = de * along_e[k] + dn * along_n[k]
            c = de * along_n[k] - dn * along_e[k]
            if abs(r) <= gate_r[k] and abs(c) <= gate_c[k]:
                count += 1
            else:
                around += 1
        inside[k] = count
        near[k] = around


@njit(cache=True, nogil=True)
def levels_kernel(
    strip_db: Array,
    background_db: Array,
    sector: Array,
    ring: Array,
    low_db: Any,
    step_db: Any,
    solid_db: Any,
    over_db: Any,
    level: Array,
    skip: Array,
) -> None:
    """What the ordered reference counts.  strip_db (n_row, n_col) f32; background_db (n_sector, n_ring) f32.

    level u8 and skip bool, both (n_row, n_col), out: the step of each strip, and which are solid or not received.
    """
    n_row, n_col = strip_db.shape
    for a in range(n_row):
        here = background_db[sector[a]]
        for c in range(n_col):
            v = strip_db[a, c]
            if np.isnan(v):
                level[a, c] = 0
                skip[a, c] = True
                continue
            level[a, c] = np.uint8(min(max((v - low_db) / step_db, np.float32(0.0)), np.float32(255.0)))
            skip[a, c] = v > max(solid_db, here[ring[c]] + over_db)


@njit(cache=True, nogil=True)
def floor_kernel(
    near: Array,
    far: Array,
    background_db: Array,
    over: Array,
    least: Array,
    sector: Array,
    ring: Array,
    low_db: Any,
    step_db: Any,
    floor: Array,
    threshold: Array,
    candidate: Array,
) -> None:
    """Floor and thresholds of every box.  near, far (n_row, n_col) i16 from ``ordered_kernel``.

    background_db, over, least (n_sector, n_ring) f32; floor, threshold, candidate (n_row, n_col) f32 out.
    """
    n_row, n_col = near.shape
    for a in range(n_row):
        s = sector[a]
        for c in range(n_col):
            k = ring[c]
            higher = max(near[a, c], far[a, c])
            if higher >= 0:
                v = low_db + (np.float32(higher) + np.float32(0.5)) * step_db
                if near[a, c] < 0:
                    # With nothing to see on the near side the ring's own level speaks for it.
                    v = max(v, background_db[s, k])
            else:
                v = background_db[s, k]
            floor[a, c] = v
            threshold[a, c] = v + over[s, k]
            candidate[a, c] = v + least[s, k]


@njit(cache=True, nogil=True)
def fresh_kernel(
    east: Array,
    north: Array,
    bearing: Array,
    first_m: Any,
    col_m: Any,
    old_east: Array,
    old_north: Array,
    old_heading: Array,
    loud: Array,
    step: int,
    fresh: Array,
) -> None:
    """Mark every ``step``-th box whose ground was quiet last turn.

    east, north, bearing (n_row,) f64: own place and true look of each row now; first_m: range to the middle of
    column 0; old_east, old_north, old_heading (n_row,) f64 of the last turn's rows; loud, fresh (n_row, n_col) bool.
    """
    n_row, n_col = loud.shape
    turn = 2.0 * np.pi
    for a in range(0, n_row, step):
        s = np.sin(bearing[a])
        k = np.cos(bearing[a])
        guess = a
        for c in range(0, n_col, step):
            r = first_m + c * col_m
            e = east[a] + r * s
            n = north[a] + r * k
            # The row that looked there then lies near the row found for the column before.
            de = e - old_east[guess]
            dn = n - old_north[guess]
            az = (np.arctan2(de, dn) - old_heading[guess]) / turn
            row = int(np.rint((az - np.floor(az)) * n_row)) % n_row
            guess = row
            col = int(np.rint((np.sqrt(de * de + dn * dn) - first_m) / col_m))
            if 0 <= col < n_col:
                fresh[a, c] = not loud[row, col]
