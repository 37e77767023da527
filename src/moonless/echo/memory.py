"""What stood where over the ground in the last turns: lifts weak steady echoes, lets spikes die.

Rules of this file.  Every turn leaves its candidates, the peaks over a low threshold, as points over the ground;
own motion is out of them because each is placed from its own spoke's pose.  A candidate that the turn alone cannot
vouch for is vouched for by the turns before: it becomes an echo when it has been met near the same place in so many of
the last turns that chance would do it less often than ``P_CHANCE``.  Chance is counted, not assumed: the
density of candidates round about says how often one falls into the gate by itself.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special
from scipy.spatial import cKDTree

from moonless.constants import TAU
from moonless.frames import LocalFrame
from moonless.scan.types import Scan

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

TURNS = 6  # looked back over, the present one included; design/echo_memory.py
P_CANDIDATE = 3e-3  # per box
P_CHANCE = 0.01  # of a candidate being vouched for by chance
LEAST_HITS = 3
DRIFT = 2.5  # m/s: faster things are found by the tracker, or stand out by themselves
LONG_GAP_S = 30.0


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Candidates of one turn over the ground."""

    east_m: Floats
    north_m: Floats
    time_s: float


class EchoMemory:
    """The last turns' candidates, in a plane fixed at the first known position."""

    def __init__(self) -> None:
        self._frame: LocalFrame | None = None
        self._turns: deque[Points] = deque(maxlen=TURNS - 1)

    def place(self, scan: Scan, spoke: NDArray[np.int64], range_m: Floats) -> tuple[Floats, Floats]:
        """Return (east, north) of echoes at (n,) spokes and ranges; NaN where the pose is not known."""
        lat, lon, heading = scan.lat_deg[spoke], scan.lon_deg[spoke], scan.heading_true_rad[spoke]
        if self._frame is None:
            known = np.flatnonzero(np.isfinite(scan.lat_deg) & np.isfinite(scan.lon_deg))
            if known.size == 0:
                return np.full(spoke.shape, np.nan), np.full(spoke.shape, np.nan)
            self._frame = LocalFrame(float(scan.lat_deg[known[0]]), float(scan.lon_deg[known[0]]))
        east, north = self._frame.to_plane(lat, lon)
        bearing = heading + spoke * (TAU / scan.n_spoke)
        return east + range_m * np.sin(bearing), north + range_m * np.cos(bearing)

    def hits(self, scan: Scan, spoke: NDArray[np.int64], range_m: Floats) -> tuple[NDArray[np.int64], Floats]:
        """Return ((n,) turns of the last that had a candidate near each place, (n,) chance of a turn doing so)."""
        now_s = scan.end_ns / 1e9
        east, north = self.place(scan, spoke, range_m)
        count = np.zeros(spoke.shape, dtype=np.int64)
        known = np.isfinite(east) & np.isfinite(north)
        if self._turns and not 0.0 < now_s - self._turns[-1].time_s < LONG_GAP_S:
            self._turns.clear()
        chance = np.zeros(spoke.shape, dtype=np.float64)
        if not np.any(known) or not self._turns:
            return count, chance
        here = np.column_stack((east[known], north[known]))
        bearing = scan.heading_true_rad[spoke[known]] + spoke[known] * (TAU / scan.n_spoke)
        along, across = np.sin(bearing), np.cos(bearing)
        tally = np.zeros(here.shape[0], dtype=np.int64)
        near_total = np.zeros(here.shape[0], dtype=np.float64)
        gate_r, gate_c = _gates(scan, range_m[known], now_s - self._turns[-1].time_s)
        reach = 6.0 * np.hypot(gate_r, gate_c)
        used = 0
        for points in self._turns:
            used += 1
            if points.east_m.size == 0:
                continue
            tree = cKDTree(np.column_stack((points.east_m, points.north_m)))
            # The gates hold one turn's wandering; older points may have wandered longer.
            drift = DRIFT * min(self._turns[-1].time_s - points.time_s, 10.0)
            for k, neighbours in enumerate(tree.query_ball_point(here, reach)):
                if not neighbours:
                    continue
                de = points.east_m[neighbours] - here[k, 0]
                dn = points.north_m[neighbours] - here[k, 1]
                r = de * along[k] + dn * across[k]
                c = de * across[k] - dn * along[k]
                inside = (np.abs(r) <= gate_r[k] + drift) & (np.abs(c) <= gate_c[k] + drift)
                tally[k] += bool(np.any(inside))
                # Echoes of the thing itself are not chance.
                near_total[k] += np.count_nonzero(~inside)
        area = math.pi * reach**2 * max(1, used)
        mean = near_total / area * (4.0 * gate_r * gate_c)
        count[known] = tally
        chance[known] = -np.expm1(-mean)
        return count, chance

    def vouched(self, hits: NDArray[np.int64], chance: Floats) -> Bools:
        """Return which candidates the last turns vouch for: too many hits for chance."""
        turns = len(self._turns)
        p = np.clip(chance, 1e-4, 1.0 - 1e-9)
        # P(at least ``hits`` of ``turns``), binomial.
        tail = np.where(hits > 0, special.betainc(np.maximum(hits, 1), np.maximum(turns - hits + 1, 1), p), 1.0)
        return np.asarray((hits + 1 >= LEAST_HITS) & (tail <= P_CHANCE))

    def remember(self, scan: Scan, spoke: NDArray[np.int64], range_m: Floats) -> None:
        """Keep this turn's candidates."""
        east, north = self.place(scan, spoke, range_m)
        known = np.isfinite(east) & np.isfinite(north)
        self._turns.append(Points(east[known], north[known], scan.end_ns / 1e9))

    @property
    def turns(self) -> int:
        """Turns remembered."""
        return len(self._turns)


def _gates(scan: Scan, range_m: Floats, turn_s: float) -> tuple[Floats, Floats]:
    """Return half widths along and across the beam within which a still echo is met again next turn."""
    wander = DRIFT * min(max(turn_s, 0.0), 5.0)
    along = 0.5 * max(scan.errors.pulse_m, scan.cell_m) + wander
    angle = 0.35 * scan.errors.beam_rad + scan.errors.azimuth_sigma_rad
    return np.full(range_m.shape, along), np.maximum(angle * range_m, TAU / scan.n_spoke * range_m) + wander
