"""A plain reader to measure beside: threshold, connected cells, a constant-velocity Kalman filter, nearest neighbour.

It knows no chart, no AIS, no clutter: what it holds shows what the video holds, and what it tells besides is the price.
A track is confirmed by three plots in its first five turns and dropped after five turns without.  All that moves at two
knots or more it calls a vessel, all else uncharted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.optimize import linear_sum_assignment

from moonless.frames import LocalFrame
from moonless.reading.types import Echo, Own, Reading, Registration, SpeedAdvice
from moonless.scan.types import Scan

Floats = NDArray[np.float64]
# Over each ring's median by so many of its own spreads, and by so much of full scale.
SPREADS, LEAST_SHARE = 6.0, 0.04
LEAST_CELLS, MOST_PLOTS = 4, 250
# Of two dimensions, 99 in 100.
GATE = 9.2
CONFIRM, DROP, MOVES_MPS, SWAY = 3, 5, 1.03, 0.6


@dataclass(slots=True)
class _Track:
    number: int
    x: Floats  # east, north, and their rates
    p: Floats
    time_s: float
    hits: int = 1
    age: int = 1
    missed: int = 0
    is_confirmed: bool = False


@dataclass(slots=True)
class PlainReader:
    """Scan in, reading out."""

    tracks: list[_Track] = field(default_factory=list)
    _next: int = 1

    def read(self, scan: Scan, time_ns: int, frame: LocalFrame) -> Reading:
        """Return what it tells at a time near the turn's end."""
        east, north = frame.to_plane(scan.lat_deg, scan.lon_deg)
        last = int(np.argmax(scan.time_ns))
        own_m = (float(east[last]), float(north[last]))
        plots = _plots(scan, np.column_stack([east, north]), time_ns)
        self._follow(plots, time_ns / 1e9)
        echoes = []
        for one in self.tracks:
            if not one.is_confirmed:
                continue
            e, n = one.x[0] - own_m[0], one.x[1] - own_m[1]
            speed = math.hypot(one.x[2], one.x[3])
            bearing, moves = math.degrees(math.atan2(e, n)) % 360.0, speed > MOVES_MPS
            course = math.degrees(math.atan2(one.x[2], one.x[3])) % 360.0
            echoes.append(
                Echo(
                    one.number, 0.0, 0.0, math.hypot(e, n), bearing, None, course if moves else None,
                    speed * 3600.0 / 1852.0 if moves else 0.0, None, "vessel" if moves else "uncharted", 0.5,
                    float(moves), None, None, None, None, None, "plain", one.missed > 0,
                )
            )  # fmt: skip
        nothing = Registration(None, None, None, None, None)
        own = Own(None, None, None, None, None)
        return Reading(time_ns, own, tuple(echoes), (), None, (), None, None, nothing, SpeedAdvice(None, "plain"))

    def _follow(self, plots: Floats, time_s: float) -> None:
        for one in self.tracks:
            dt = time_s - one.time_s
            f = np.eye(4)
            f[0, 2] = f[1, 3] = dt
            q = SWAY**2 * np.kron(np.array([[dt**4 / 4, dt**3 / 2], [dt**3 / 2, dt**2]]), np.eye(2))
            one.x, one.p, one.time_s = f @ one.x, f @ one.p @ f.T + q, time_s
            one.age += 1
        free = set(range(len(plots)))
        for one, k in self._matches(plots):
            if k is None:
                one.missed += 1
                continue
            free.discard(k)
            gain = one.p[:, :2] @ np.linalg.inv(one.p[:2, :2] + np.eye(2) * plots[k, 2] ** 2)
            one.x = one.x + gain @ (plots[k, :2] + one.x[2:] * plots[k, 3] - one.x[:2])
            one.p = one.p - gain @ one.p[:2, :]
            one.hits, one.missed = one.hits + 1, 0
            one.is_confirmed |= one.hits >= CONFIRM and one.age <= 5
        self.tracks = [t for t in self.tracks if t.missed < DROP and (t.is_confirmed or (t.age < 5 and t.missed < 3))]
        for k in sorted(free):
            p = np.diag([plots[k, 2] ** 2, plots[k, 2] ** 2, 60.0, 60.0])
            self.tracks.append(_Track(self._next, np.array([plots[k, 0], plots[k, 1], 0.0, 0.0]), p, time_s))
            self._next += 1

    def _matches(self, plots: Floats) -> list[tuple[_Track, int | None]]:
        """Return each track's plot, for the least sum of squared distances within the gate."""
        if not self.tracks or not len(plots):
            return [(one, None) for one in self.tracks]
        x, p = np.array([one.x for one in self.tracks]), np.array([one.p for one in self.tracks])
        # The plot is as old as its spoke.
        d = plots[None, :, :2] + x[:, None, 2:] * plots[None, :, 3:4] - x[:, None, :2]
        s = p[:, None, :2, :2] + np.eye(2) * np.square(plots[:, 2])[None, :, None, None]
        det = s[..., 0, 0] * s[..., 1, 1] - s[..., 0, 1] ** 2
        away = (
            d[..., 0] ** 2 * s[..., 1, 1] - 2.0 * d[..., 0] * d[..., 1] * s[..., 0, 1] + d[..., 1] ** 2 * s[..., 0, 0]
        )
        away = away / det
        cost = np.where(away < GATE, away - np.array([6.0 * one.is_confirmed for one in self.tracks])[:, None], 1e6)
        rows, columns = linear_sum_assignment(cost)
        found = {int(r): int(c) for r, c in zip(rows, columns, strict=True) if cost[r, c] < 1e5}
        return [(one, found.get(k)) for k, one in enumerate(self.tracks)]


def _plots(scan: Scan, own_m: Floats, time_ns: int) -> Floats:
    """Return (n, 4): east, north, sigma, age in seconds."""
    echo = scan.echo.astype(np.float32)
    got = scan.is_received
    if got.sum() < 16 or not np.isfinite(scan.heading_true_rad).any():
        return np.zeros((0, 4))
    middle = np.median(echo[got], axis=0)
    spread = 1.4826 * np.median(np.abs(echo[got] - middle), axis=0)
    top = float(echo.max())
    high = echo > middle + np.maximum(SPREADS * spread, LEAST_SHARE * top) + 0.5
    high[:, scan.range_m < 40.0] = False
    regions, n = label(high, structure=np.ones((3, 3)))
    # The turn is round: regions that touch across its seam are one.
    one_of = np.arange(n + 1)
    for a, b in zip(regions[0].tolist(), regions[-1].tolist(), strict=True):
        if a and b:
            one_of[one_of == one_of[b]] = one_of[a]
    rows, cells = np.nonzero(regions)
    if not rows.size:
        return np.zeros((0, 4))
    which = one_of[regions[rows, cells]]
    weight = echo[rows, cells] - middle[cells] + 1e-3
    bearing = scan.heading_true_rad[rows] + scan.azimuth_rel_rad[rows]

    def total(values: Floats) -> Floats:
        return np.bincount(which, values, minlength=n + 1)

    size, mass = total(np.ones(len(rows))), total(weight)
    good = np.flatnonzero((size >= LEAST_CELLS) & (mass > 0.0))
    reach = (total(weight * scan.range_m[cells]) / np.maximum(mass, 1e-9))[good]
    mean = np.arctan2(total(weight * np.sin(bearing)), total(weight * np.cos(bearing)))[good]
    # The spoke on which it is strongest says when.
    order = np.argsort(weight)
    strongest = np.zeros(n + 1, dtype=np.intp)
    strongest[which[order]] = rows[order]
    at = strongest[good]
    sigma = np.maximum(np.maximum(8.0, 0.6 * scan.cell_m), 0.004 * reach)
    age = (time_ns - scan.time_ns[at]) / 1e9
    east, north = own_m[at, 0] + reach * np.sin(mean), own_m[at, 1] + reach * np.cos(mean)
    plots = np.column_stack([east, north, sigma, age, mass[good]])
    plots = plots[np.isfinite(plots).all(axis=1)]
    return plots[np.argsort(-plots[:, 4])][:MOST_PLOTS, :4]
