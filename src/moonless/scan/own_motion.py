"""How far the radar's picture says that the boat has gone, as a share of what her receiver says.

What stands still comes nearer by as many metres as the boat goes towards it.  So between two turns every bearing tells
by how much ranges changed there, and all of them together how far the boat went, **in the picture's own metres**.
Where those are not the receiver's, the ranges of the picture are wrong by that factor: of a turn's range scale, nothing
else.  Ranges alone are compared, along the same true bearing: an error of heading turns the picture and leaves them.

    before    |....####......##....|     one bearing ahead, cells outward
    now       |..####......##......|     two cells nearer

Method: normalised cross-correlation along range, sector by sector, summed at the shift that each (share, drift) of the
way gone would make; the best is the answer.  Image registration by cross-correlation is general knowledge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from moonless.constants import TAU
from moonless.frames import LocalFrame
from moonless.scan.types import Scan

Floats = NDArray[np.float64]

N_ROW, N_SECTOR = 360, 72
# What is smoother along range than so many cells is clutter, and what is the same all round is the set's own.
SMOOTH_CELLS = 41
# Nearer than so many times the way gone, a bearing does not hold the same things twice.
NEAR_WAYS = 6.0
SHARES = np.arange(0.1, 4.51, 0.02)
DRIFTS = np.arange(-0.6, 0.61, 0.1)
# A sector speaks where its two turns are this alike at the shift found, and it lies within 60 degrees of the way or
# its wake.
ALIKE, ALONG = 0.3, 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """One turn on true bearings, made ready to be compared."""

    time_ns: int
    rows: NDArray[np.float32]  # (N_ROW, n_cell), no mean; zero where nothing was received
    lat_deg: float
    lon_deg: float
    heading_rad: float
    first_cell_m: float
    cell_m: float


@dataclass(frozen=True, slots=True)
class Passed:
    """What two turns say of the way between them."""

    way_m: float  # by the receiver
    share: float  # of it, along it, by the picture
    drift: float  # share of it across, by the picture
    speaking: int  # sectors that bear it out
    better: int  # sectors that bear it out better than they bear out the receiver


def look(scan: Scan) -> Look | None:
    """Return a turn made ready; None where its bearings or its place are not known."""
    place = np.isfinite(scan.lat_deg) & np.isfinite(scan.lon_deg) & np.isfinite(scan.heading_true_rad)
    good = place & scan.is_received
    if np.count_nonzero(good) < scan.n_spoke // 2:
        return None
    true = np.mod(scan.azimuth_rel_rad[good] + scan.heading_true_rad[good], TAU)
    order = np.argsort(true)
    true = np.concatenate([true[order[-1:]] - TAU, true[order], true[order[:1]] + TAU])
    source = np.concatenate([order[-1:], order, order[:1]])
    want = (np.arange(N_ROW) + 0.5) * (TAU / N_ROW)
    after = np.searchsorted(true, want)
    nearer = np.where(want - true[after - 1] < true[after] - want, after - 1, after)
    far = np.abs(true[nearer] - want) > 1.5 * max(TAU / N_ROW, TAU / scan.n_spoke)
    rows = np.log1p(scan.echo[np.flatnonzero(good)[source[nearer]]].astype(np.float32))
    rows[far] = 0.0
    rows = rows - np.median(rows, axis=0)
    rows = rows - uniform_filter1d(rows, SMOOTH_CELLS, axis=1, mode="nearest")
    rows[far] = 0.0
    last = int(np.argmax(np.where(good, scan.time_ns, 0)))
    turn = np.exp(1j * scan.heading_true_rad[good]).mean()
    return Look(
        scan.end_ns, rows, float(scan.lat_deg[last]), float(scan.lon_deg[last]), math.atan2(turn.imag, turn.real),
        scan.first_cell_m, scan.cell_m,
    )  # fmt: skip


def way_between(before: Look, now: Look) -> tuple[float, float]:
    """Return how far the receiver says the boat went, east and north, metres."""
    east, north = LocalFrame(before.lat_deg, before.lon_deg).to_plane(now.lat_deg, now.lon_deg)
    return float(east), float(north)


def passed(before: Look, now: Look) -> Passed | None:
    """Return what two turns say of the way between them; None where they say nothing."""
    if before.rows.shape != now.rows.shape or before.cell_m != now.cell_m:
        return None
    east, north = way_between(before, now)
    way = math.hypot(east, north)
    near = max(0, math.ceil((NEAR_WAYS * way - now.first_cell_m) / now.cell_m))
    a, b = before.rows[:, near:], now.rows[:, near:]
    most = math.ceil(way * (float(SHARES[-1]) + 1.0) / now.cell_m) + 1
    if a.shape[1] < 4 * most:
        return None
    alike = _alike(a, b, most)
    sector = (np.arange(N_SECTOR, dtype=np.float64) + 0.5) * (TAU / N_SECTOR)
    bearing: Floats = np.asarray(sector - math.atan2(east, north))
    way_cells = way / now.cell_m
    shift = -way_cells * (SHARES[:, None, None] * np.cos(bearing) + DRIFTS[None, :, None] * np.sin(bearing))
    value = _between(alike, shift + most)
    total = value.sum(axis=2)
    share_at, drift_at = np.unravel_index(int(total.argmax()), total.shape)
    if share_at in (0, len(SHARES) - 1):
        return None
    unit = _between(alike, most - way_cells * np.cos(bearing))
    along = np.abs(np.cos(bearing)) > ALONG
    found = value[share_at, drift_at]
    speaking = along & (found > ALIKE)
    peak = total[share_at - 1 : share_at + 2, drift_at]
    bend = peak[0] - 2.0 * peak[1] + peak[2]
    fine = 0.0 if bend >= 0.0 else 0.5 * float((peak[0] - peak[2]) / bend)
    step = float(SHARES[1] - SHARES[0])
    return Passed(
        way, float(SHARES[share_at]) + fine * step, float(DRIFTS[drift_at]), int(np.count_nonzero(speaking)),
        int(np.count_nonzero(speaking & (found > unit + 0.1))),
    )  # fmt: skip


def _alike(a: NDArray[np.float32], b: NDArray[np.float32], most: int) -> Floats:
    """Return (N_SECTOR, 2 most + 1) how alike two turns are where the second's ranges are greater by so many cells."""
    n = 1 << (a.shape[1] + most).bit_length()
    product = np.conj(np.fft.rfft(a, n, axis=1)) * np.fft.rfft(b, n, axis=1)
    product = product.reshape(N_SECTOR, N_ROW // N_SECTOR, -1).sum(axis=1)
    lag = np.fft.irfft(product, n, axis=1)
    lag = np.concatenate([lag[:, n - most :], lag[:, : most + 1]], axis=1)
    energy = [np.square(x).reshape(N_SECTOR, -1).sum(axis=1) for x in (a, b)]
    least = 1e-3 * float(np.max(energy[0])) + 1e-12
    return np.asarray(lag / np.sqrt((energy[0] + least) * (energy[1] + least))[:, None], dtype=np.float64)


def _between(alike: Floats, at: Floats) -> Floats:
    """Return ``alike`` of each sector (last axis of ``at``) at a place between cells."""
    low = np.floor(at).astype(np.int64)
    part = at - low
    sector = np.arange(N_SECTOR)
    return np.asarray(alike[sector, low] * (1.0 - part) + alike[sector, low + 1] * part)
