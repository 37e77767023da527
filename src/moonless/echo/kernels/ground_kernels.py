"""Compiled twins of ``reference.py``: the last turns' ground, asked from this turn's places."""

# mypy: disable-error-code="untyped-decorator"
from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.generic]
Number = float | np.float32


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
def warp_kernel(
    east: Array,
    north: Array,
    bearing: Array,
    first_m: Number,
    col_m: Number,
    old_east: Array,
    old_north: Array,
    old_heading: Array,
    received: Array,
    lean_row: float,
    lean_col: float,
    was: Array,
) -> None:
    """Find the box of the last turn under each box of this one.

    east, north, bearing (n_row,) f64: own place and true look of each row now; first_m: range to the middle of
    column 0; old_east, old_north, old_heading (n_row,) f64 of the last turn's rows, received (n_row,) bool; lean_row,
    lean_col: added before rounding to whole boxes, within half a box.
    was (n_row, n_col) i32 flat indices out, -1 where nothing looked.
    """
    n_row, n_col = was.shape
    turn = 2.0 * np.pi
    for a in range(n_row):
        s = np.sin(bearing[a])
        k = np.cos(bearing[a])
        guess = a
        for c in range(n_col):
            # Along and across the present look, from where the set stood when it last looked there: the row found
            # for the column before is near enough.
            de = east[a] - old_east[guess]
            dn = north[a] - old_north[guess]
            along = first_m + c * col_m + de * s + dn * k
            across = de * k - dn * s
            t = across / along if along > 0.0 else np.inf
            if abs(t) < 0.2:
                # Most boxes lie far off beside what the boat has moved: the series is exact to 1e-7 there.
                t2 = t * t
                angle = t * (1.0 - t2 * (1.0 / 3.0 - t2 * (0.2 - t2 / 7.0)))
            else:
                angle = np.arctan2(across, along)
            az = (bearing[a] + angle - old_heading[guess]) / turn
            row = int(np.rint((az - np.floor(az)) * n_row + lean_row)) % n_row
            guess = row
            col = int(np.rint((np.sqrt(along * along + across * across) - first_m) / col_m + lean_col))
            was[a, c] = row * n_col + col if 0 <= col < n_col and received[row] else -1


@njit(cache=True, nogil=True)
def follow_kernel(
    east: Array,
    north: Array,
    along_e: Array,
    along_n: Array,
    gate_r: Array,
    gate_c: Array,
    now_s: float,
    fastest: float,
    first: Array,
    time_s: Array,
    old_east: Array,
    old_north: Array,
    is_firm: Array,
    best: Array,
    seeds: Array,
) -> None:
    """Ask how often a straight run from a firm echo of an earlier turn to each place was met in the other turns.

    east, north (n,) f64 places now; along_e, along_n, gate_r, gate_c (n,) f64 line of sight and half widths.
    first (turns + 1,) i64: where each turn's points begin in old_east, old_north (m,) f64, sorted by north within a
    turn, and is_firm (m,) bool; time_s (turns,) f64.  best, seeds (n,) i64 out: most turns met beside the firm one's,
    and how many firm echoes were near enough, over all turns.
    """
    turns = time_s.shape[0]
    for k in range(east.shape[0]):
        most = 0
        tried = 0
        for a in range(turns):
            dt = now_s - time_s[a]
            reach = fastest * dt + gate_r[k]
            lo = first[a] + np.searchsorted(old_north[first[a] : first[a + 1]], north[k] - reach)
            for j in range(lo, first[a + 1]):
                if old_north[j] - north[k] > reach:
                    break
                de = east[k] - old_east[j]
                dn = north[k] - old_north[j]
                if not is_firm[j] or de * de + dn * dn > reach * reach:
                    continue
                tried += 1
                met = 0
                for b in range(turns):
                    if b == a:
                        continue
                    share = (now_s - time_s[b]) / dt
                    e = east[k] - share * de
                    n = north[k] - share * dn
                    # Between two known places a line is as well known as they are; beyond them less.
                    wide = max(1.0, share)
                    r_most = gate_r[k] * wide
                    c_most = gate_c[k] * wide
                    far = r_most + c_most
                    start = first[b] + np.searchsorted(old_north[first[b] : first[b + 1]], n - far)
                    for i in range(start, first[b + 1]):
                        y = old_north[i] - n
                        if y > far:
                            break
                        x = old_east[i] - e
                        if (
                            abs(x * along_e[k] + y * along_n[k]) <= r_most
                            and abs(x * along_n[k] - y * along_e[k]) <= c_most
                        ):
                            met += 1
                            break
                most = max(most, met)
        best[k] = most
        seeds[k] = tried
