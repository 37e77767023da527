"""Compiled twins of ``reference.py``: spikes out, blocks, boxes, and what each plot's cells add up to."""

# mypy: disable-error-code="untyped-decorator"
from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.generic]


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

    echo (n_spoke, n_cell) uint; power (full_scale + 1,) f32; spike (3,) i64: least count looked at, and the count over
    which it must stand, ``(o * spike[1] + spike[2]) / 256`` with ``o`` what stands beside it; total (n_row, n_col) f32
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
        lo = c * col_cells
        hi = min(lo + col_cells, n_cell)
        for i in range(row_edge[a], row_edge[a + 1]):
            if not received[i]:
                continue
            s = i - start
            if s > n_spoke // 2:
                s -= n_spoke
            elif s < -(n_spoke // 2):
                s += n_spoke
            row = echo[i]
            b1 = (i - 1) % n_spoke
            a1 = (i + 1) % n_spoke
            b2 = (i - 2) % n_spoke
            a2 = (i + 2) % n_spoke
            has_two = received[b1] and received[a1]
            has_four = has_two and received[b2] and received[a2]
            w0 = 0.0
            w1 = 0.0
            w2 = 0.0
            n0 = 0
            n1 = 0
            n2 = 0
            for j in range(lo, hi):
                v = np.int64(row[j])
                if v >= spike[0]:
                    if reach == 1 and has_two:
                        o = max(np.int64(echo[b1, j]), np.int64(echo[a1, j]))
                        if v * 256 > o * spike[1] + spike[2]:
                            v = o
                    elif reach == 2 and has_four:
                        x = np.int64(echo[b1, j])
                        y = np.int64(echo[a1, j])
                        o = max(min(x, y), max(min(np.int64(echo[b2, j]), x), min(y, np.int64(echo[a2, j]))))
                        if v * 256 > o * spike[1] + spike[2]:
                            v = o
                if v > peak_count[p]:
                    peak_count[p] = v
                if v >= full_scale:
                    clipped[p] = True
                w = power[v]
                r = j - pc * col_cells
                w0 += w
                w1 += w * r
                w2 += w * r * r
                n0 += 1
                n1 += r
                n2 += r * r
            n_cells[p] += n0
            if gate[m]:
                sums[p, 0] += w0
                sums[p, 1] += w0 * s
                sums[p, 2] += w1
                sums[p, 3] += w0 * s * s
                sums[p, 4] += w2
                sums[p, 5] += w1 * s
                sums[p, 6] += n0
                sums[p, 7] += n0 * s
                sums[p, 8] += n1
                sums[p, 9] += n0 * s * s
                sums[p, 10] += n2
                sums[p, 11] += n1 * s


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
            # Cell by cell: a row at once takes a second and a half to compile at the first start, and is no faster.
            for j in range(n_cell):
                fine[i, j] = fine[first, j]


@njit(cache=True, nogil=True)
def excess_kernel(some: Array, known: Array, over: Array) -> None:
    """How far each cell stands over both neighbouring spokes.  some (n, m) uint; known (n,) bool: all three received.

    over (n, m) f32 out, counts; -inf where not known.
    """
    n, m = some.shape
    for i in range(n):
        before = some[i - 1]
        after = some[(i + 1) % n]
        for j in range(m):
            if known[i]:
                over[i, j] = np.float32(np.int32(some[i, j]) - np.int32(max(before[j], after[j])))
            else:
                over[i, j] = -np.inf


@njit(cache=True, nogil=True)
def parts_kernel(over: Array, by_row: Array, by_col: Array, share: float, least: float, count: Array) -> None:
    """Sums along range of what each cell says for a streak, -1 to 1: over ``share`` times what is usual there.

    over (n, m) f32; by_row (n,) f32, by_col (m,) f32: their product is what is usual; least: of that, counts.
    count (n, m + 1) f32 out, sums of all cells before.
    """
    n, m = over.shape
    for i in range(n):
        total = np.float32(0.0)
        count[i, 0] = total
        for j in range(m):
            usual = max(np.float32(share) * by_row[i] * by_col[j], np.float32(least))
            total += min(max(over[i, j] / usual, np.float32(-1.0)), np.float32(1.0))
            count[i, j + 1] = total
