"""Compiled twins of ``reference.py``: the ordered reference, floor and thresholds."""

# mypy: disable-error-code="untyped-decorator"
from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.generic]
Number = float | np.float32


@njit(cache=True, nogil=True)
def _running_median(
    level: Array, skip: Array, first: int, window: int, least: int, histogram: Array, out: Array
) -> None:
    """Median of the ``window`` columns from ``first`` columns on (negative: before) of each column, -1: too few.

    level (n_col,) u8 and skip (n_col,) bool in; out (n_col,) i16.  The histogram slides; a pointer follows the middle.
    """
    n_col = level.shape[0]
    histogram[:] = 0
    n = 0
    at = 0
    below = 0  # entries under ``at``
    for c in range(max(0, first), min(n_col, first + window)):
        if not skip[c]:
            histogram[level[c]] += 1
            n += 1
    for c in range(n_col):
        if n >= least:
            wanted = n // 2
            while below > wanted:
                at -= 1
                below -= histogram[at]
            while below + histogram[at] <= wanted:
                below += histogram[at]
                at += 1
            out[c] = at
        else:
            out[c] = -1
        add = c + first + window
        if 0 <= add < n_col and not skip[add]:
            histogram[level[add]] += 1
            n += 1
            if level[add] < at:
                below += 1
        drop = c + first
        if 0 <= drop < n_col and not skip[drop]:
            histogram[level[drop]] -= 1
            n -= 1
            if level[drop] < at:
                below -= 1


@njit(cache=True, nogil=True)
def ordered_kernel(level: Array, skip: Array, guard: int, window: int, least: int, near: Array, far: Array) -> None:
    """level (n_row, n_col) u8; skip same shape bool; near, far (n_row, n_col) i16 medians out, -1: too few entries.

    near: of the ``window`` columns before the guard; far: of those after it.
    """
    histogram = np.zeros(257, np.int64)
    for a in range(level.shape[0]):
        _running_median(level[a], skip[a], -guard - window, window, least, histogram, near[a])
        _running_median(level[a], skip[a], guard + 1, window, least, histogram, far[a])


@njit(cache=True, nogil=True)
def levels_kernel(
    strip_db: Array,
    background_db: Array,
    sector: Array,
    ring: Array,
    low_db: Number,
    step_db: Number,
    solid_db: Number,
    over_db: Number,
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
    wide: int,
    lone_db: Number,
    background_db: Array,
    over: Array,
    least: Array,
    sector: Array,
    ring: Array,
    low_db: Number,
    step_db: Number,
    floor: Array,
    threshold: Array,
    candidate: Array,
) -> None:
    """Floor and thresholds of every box.  near, far (n_row, n_col) i16 from ``ordered_kernel``.

    Where the two are ``wide`` steps or more apart only one of them is the box's own, and not the higher of two: so much
    lower it is, ``lone_db`` f32, by chance.
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
                elif far[a, c] >= 0 and abs(near[a, c] - far[a, c]) >= wide:
                    v += lone_db
            else:
                v = background_db[s, k]
            floor[a, c] = v
            threshold[a, c] = v + over[s, k]
            candidate[a, c] = v + least[s, k]


@njit(cache=True, nogil=True)
def settle_kernel(
    mean: Array,
    drop: Array,
    usual: Array,
    sector: Array,
    ring: Array,
    floor: Array,
    threshold: Array,
    candidate: Array,
    offset: Array,
) -> None:
    """Draw each floor toward its bin's mean.  mean, drop, usual (n_sector, n_ring) f32: dB; share taken off; dB.

    floor, threshold, candidate (n_row, n_col) f32, changed in place; offset (n_row, n_col) f32 out, before the change.
    Within ``usual`` the whole share is taken off, at twice that nothing.
    """
    n_row, n_col = floor.shape
    for a in range(n_row):
        s = sector[a]
        for c in range(n_col):
            k = ring[c]
            off = floor[a, c] - mean[s, k]
            offset[a, c] = off
            far = abs(off)
            u = usual[s, k]
            if far >= 2.0 * u:
                continue
            kept = np.float32(1.0) if far <= u else (np.float32(2.0) * u - far) / u
            less = drop[s, k] * kept * off
            floor[a, c] -= less
            threshold[a, c] -= less
            candidate[a, c] -= less
