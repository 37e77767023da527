"""Other radars' pulses where the beam is too few spokes wide to show them: by what the same ground gave last turn.

A beam of many spokes lights an echo several times, and a pulse that only one spoke heard gives itself away.  A radar
that sends few spokes has no such neighbours; but the ground is looked at again next turn, and another radar's pulse
does not fall on the same place twice.  Two turns are asked, so that no pulse of the last hides one of this.

Some come as a streak: a long pulse of a near radar holds the receiver up over hundreds of metres of one spoke.  How
strong it is says nothing, the sea near the boat is as strong; but cell after cell it stands over both spokes beside it,
where sea, noise and rain would do so one time in three.  That needs no scale of the counts.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from moonless.constants import TAU
from moonless.echo.kernels.ground_kernels import warp_kernel
from moonless.echo.kernels.video_kernels import excess_kernel, parts_kernel
from moonless.frames import LocalFrame
from moonless.scan.types import Scan

OVER_NOISE_DB = 10.0  # weaker than this nothing is asked
# A pulse stands so far over its neighbours in azimuth, and so far over all that stood near its ground in one of the
# last two turns.  A boat a spoke wide that was deep in a fade then can be lost for one turn; own figures.
OVER_BESIDE_DB, OVER_BEFORE_DB = 9.0, 12.0
STRIDE_M = 30.0  # what a fast boat covers in a turn
LONG_GAP_S = 10.0
# So many pulses on end are asked together; each says between -1 and 1 how far it stands over both neighbours, in four
# times what is usual (those under them included).  Sea, noise and rain say less than nothing on the whole, and what so
# many say together is nearly normal: beyond this many deviations, measured, chance gives less than one in a turn of
# 2048 spokes and 100 pulses.  A pier that points at the boat and is narrower than a spoke is taken for a streak.
STREAK_PULSES = (14, 42)  # a long streak may be a weak one
STREAK_SIGMAS = 5.5
STREAK_SHARE = 4.0
STREAK_LEAST = 0.5  # counts
STREAK_MOST = 0.9  # of all that the pulses can say: that is a streak whatever the deviations
STREAK_ROWS = 9


class PulseWatch:
    """Remembers the counts of the last two turns."""

    def __init__(self) -> None:
        self._turns: deque[Scan] = deque(maxlen=2)

    def clean(self, scan: Scan, db: NDArray[np.float32]) -> tuple[Scan, int]:
        """Return (the scan with lone pulses taken back to what stood there, how many); ``db`` (full_scale + 1,).

        The first turn, and one after a gap or a change of scale, is returned as it is: nothing is known to stand less.
        """
        before = np.full(scan.echo.shape, scan.full_scale, dtype=scan.echo.dtype)
        cells = 2 * math.ceil(STRIDE_M / scan.cell_m) + 1
        for last in self._turns:
            if last.n_cell != scan.n_cell or last.cell_m != scan.cell_m:
                continue
            if not 0.0 < (scan.end_ns - last.end_ns) / 1e9 < LONG_GAP_S:
                continue
            last = _with_spokes(last, scan.n_spoke)
            near = ndimage.maximum_filter(last.echo, size=(3, cells), mode=("wrap", "nearest"))
            was = _was(scan, last)
            before = np.where(was >= 0, np.minimum(before, near.ravel()[was]), before)
        self._turns.append(scan)
        sides = np.roll(scan.echo, 1, axis=0), np.roll(scan.echo, -1, axis=0)
        beside, lower = np.maximum(*sides), np.minimum(*sides)
        # A neighbour that was not received says nothing: it is taken to be as strong.
        known = scan.is_received & np.roll(scan.is_received, 1) & np.roll(scan.is_received, -1)
        level = db[scan.echo]
        lone = (level >= OVER_NOISE_DB) & (level > db[beside] + OVER_BESIDE_DB) & (level > db[before] + OVER_BEFORE_DB)
        lone &= known[:, None]
        if not np.any(lone):
            return scan, 0
        echo = scan.echo.copy()
        # The highest of so many cells of noise stands well over noise: only what is more than noise is put back.
        under = np.where(db[before] >= OVER_NOISE_DB, np.maximum(beside, before), lower)
        echo[lone] = under[lone]
        fresh = np.diff(lone.astype(np.int8), axis=1, prepend=0) == 1
        return replace(scan, echo=echo), int(np.count_nonzero(fresh))


def take_out_streaks(scan: Scan) -> tuple[Scan, int]:
    """Return (the scan with streaks taken back to what stands beside them, how many)."""
    if scan.n_spoke < 8:
        return scan, 0
    step = max(1, round(scan.errors.pulse_m / scan.cell_m)) if np.isfinite(scan.errors.pulse_m) else 1
    some: NDArray[np.unsignedinteger] = np.ascontiguousarray(scan.echo[:, ::step])
    if some.shape[1] <= STREAK_PULSES[0]:
        return scan, 0
    known = scan.is_received & np.roll(scan.is_received, 1) & np.roll(scan.is_received, -1)
    over = np.empty(some.shape, dtype=np.float32)
    excess_kernel(some, known, over)
    # How far a spoke stands over both its neighbours where it does: by range, and by bearing, where one streak in a row
    # must not pass for the bearing's own.
    above = np.maximum(over, np.float32(0.0))
    mean = max(float(above.mean()), 1e-9)
    by_row = ndimage.median_filter(above.mean(axis=1), STREAK_ROWS, mode="wrap") / mean
    by_col = ndimage.uniform_filter1d(above.mean(axis=0), STREAK_ROWS, mode="nearest")
    # Bounded, so that no single echo makes a streak.
    count = np.empty((some.shape[0], some.shape[1] + 1), dtype=np.float32)
    parts_kernel(over, by_row.astype(np.float32), by_col.astype(np.float32), STREAK_SHARE, STREAK_LEAST, count)
    held = np.zeros((scan.n_spoke, some.shape[1] + 1), dtype=np.int16)
    for pulses in STREAK_PULSES:
        if pulses >= some.shape[1]:
            continue
        run = count[:, pulses:] - count[:, :-pulses]
        low, middle, high = np.quantile(run[::3, :: pulses // 2], (0.16, 0.5, 0.84))
        spoke, first = np.nonzero(run > min(middle + STREAK_SIGMAS * 0.5 * (high - low), STREAK_MOST * pulses))
        np.add.at(held, (spoke, first), 1)
        np.add.at(held, (spoke, first + pulses), -1)
    spokes = np.flatnonzero(held.any(axis=1))
    if spokes.size == 0:
        return scan, 0
    echo = scan.echo.copy()
    streaks = 0
    for i in spokes:
        # One pulse more at either end: it begins and ends between two that were looked at.
        is_held = ndimage.binary_dilation(np.cumsum(held[i])[:-1] > 0, np.ones(3))
        cells = np.repeat(is_held, step)[: scan.n_cell]
        beside = np.maximum(scan.echo[i - 1], scan.echo[(i + 1) % scan.n_spoke])
        echo[i] = np.where(cells, np.minimum(scan.echo[i], beside), scan.echo[i])
        streaks += int(np.count_nonzero(np.diff(np.concatenate(([0], is_held.astype(np.int8)))) == 1))
    return replace(scan, echo=echo), streaks


def _with_spokes(scan: Scan, n_spoke: int) -> Scan:
    """Return the scan on ``n_spoke`` rows, each the nearest of its own."""
    if n_spoke == scan.n_spoke:
        return scan
    at = np.rint(np.arange(n_spoke) * (scan.n_spoke / n_spoke)).astype(np.int64) % scan.n_spoke
    by_spoke = ("echo", "is_received", "time_ns", "lat_deg", "lon_deg", "heading_true_rad", "pose_age")
    return replace(scan, **{name: getattr(scan, name)[at] for name in by_spoke})


def _was(scan: Scan, last: Scan) -> NDArray[np.int32]:
    """Return (n_spoke, n_cell) the flat cell of the last turn under each cell, -1: none.  Unknown poses: unmoved."""
    azimuth = np.arange(scan.n_spoke) * (TAU / scan.n_spoke)
    poses = [(one.lat_deg, one.lon_deg, one.heading_true_rad) for one in (scan, last)]
    if all(np.all(np.isfinite(part)) for pose in poses for part in pose):
        frame = LocalFrame(float(last.lat_deg[0]), float(last.lon_deg[0]))
        (east, north), (old_east, old_north) = (frame.to_plane(lat, lon) for lat, lon, _ in poses)
        bearing, old_heading = scan.heading_true_rad + azimuth, last.heading_true_rad
    else:
        east = north = old_east = old_north = old_heading = np.zeros(scan.n_spoke)
        bearing = azimuth
    out = np.empty(scan.echo.shape, dtype=np.int32)
    warp_kernel(
        east, north, bearing, scan.first_cell_m, scan.cell_m, old_east, old_north, old_heading, last.is_received, 0.0,
        0.0, out,
    )  # fmt: skip
    return out
