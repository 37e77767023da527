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

from moonless.constants import TAU
from moonless.echo.kernels.ground_kernels import follow_kernel, gate_kernel
from moonless.frames import LocalFrame
from moonless.scan.types import Scan

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

TURNS = 8  # looked back over, the present one included; design/echo/memory.py
P_CANDIDATE = 0.01  # per box
P_CHANCE = 3e-4  # of a candidate being vouched for by chance
LEAST_HITS = 4
STEADY_SHARE = 0.8  # of the remembered turns: met so often, a peak is an echo and does not count as clutter
P_STEADY = 0.1
DRIFT = 1.0  # m/s: a moored thing swings; faster things are found by the tracker, or stand out by themselves
FASTEST = 12.5  # m/s, 24 kn, of what is followed from turn to turn before it stands out by itself each turn
LONG_GAP_S = 30.0
REACH_GATES = 4.0  # so many gates round about, candidates are counted for chance


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Candidates of one turn over the ground, from south to north."""

    east_m: Floats
    north_m: Floats
    is_firm: Bools  # stood out by itself, or was vouched for
    time_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Met:
    """How the last turns knew the places asked, all (n,)."""

    hits: NDArray[np.int64]  # turns of the last that had a candidate near the place
    chance: Floats  # of one turn doing so by itself
    runs: NDArray[np.int64]  # most turns met on a straight run from a firm echo, that one's turn not counted
    seeds: NDArray[np.int64]  # firm echoes from which a run could have come
    run_chance: Floats  # of one turn being met on a run by itself


class ScanCorrelation:
    """The last turns' candidates, in a plane fixed at the first known position."""

    def __init__(self) -> None:
        self._frame: LocalFrame | None = None
        self._turns: deque[Points] = deque(maxlen=TURNS - 1)

    def place(self, scan: Scan, spoke: NDArray[np.int64], range_m: Floats) -> tuple[Floats, Floats]:
        """Return (east, north) of echoes at (n,) spokes and ranges.

        While any of the turn's pose is unknown the plane goes with the boat, bow north: what is met again there is
        still no chance, only less of it is met.
        """
        azimuth = spoke * (TAU / scan.n_spoke)
        if self._frame is None:
            return range_m * np.sin(azimuth), range_m * np.cos(azimuth)
        east, north = self._frame.to_plane(scan.lat_deg[spoke], scan.lon_deg[spoke])
        bearing = scan.heading_true_rad[spoke] + azimuth
        return east + range_m * np.sin(bearing), north + range_m * np.cos(bearing)

    def _choose_plane(self, scan: Scan) -> None:
        """Take the ground where the pose is whole, else the boat; forget all when that changes."""
        whole = bool(np.all(np.isfinite(scan.lat_deg) & np.isfinite(scan.lon_deg) & np.isfinite(scan.heading_true_rad)))
        if whole == (self._frame is not None):
            return
        self._turns.clear()
        self._frame = LocalFrame(float(scan.lat_deg[0]), float(scan.lon_deg[0])) if whole else None

    def ask(self, scan: Scan, spoke: NDArray[np.int64], range_m: Floats, *, runs: bool = True) -> Met:
        """Return what the last turns know of candidates at (n,) spokes and ranges; no ``runs``: of still ones."""
        now_s = scan.end_ns / 1e9
        self._choose_plane(scan)
        east, north = self.place(scan, spoke, range_m)
        none = np.zeros(spoke.shape, dtype=np.int64)
        met = Met(none, none.astype(np.float64), none.copy(), none.copy(), none.astype(np.float64))
        # Nearer than two gates every bearing is one place: whatever lies there is met again, chance or not.
        near_m = 2.0 * (0.5 * max(scan.errors.pulse_m, scan.cell_m) + DRIFT)
        known = np.isfinite(east) & np.isfinite(north) & (range_m > near_m)
        if self._turns and not 0.0 < now_s - self._turns[-1].time_s < LONG_GAP_S:
            self._turns.clear()
        if not np.any(known) or not self._turns:
            return met
        east, north, range_m = east[known], north[known], range_m[known]
        heading = scan.heading_true_rad[spoke[known]] if self._frame is not None else 0.0
        bearing = heading + spoke[known] * (TAU / scan.n_spoke)
        along, across = np.sin(bearing), np.cos(bearing)
        n = east.shape[0]
        tally, density = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.float64)
        mean = np.zeros(n, dtype=np.float64)
        last_s = self._turns[-1].time_s
        gate_r, gate_c = _gates(scan, range_m, now_s - last_s)
        inside, near = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
        for points in self._turns:
            # The gates hold one turn's wandering; older points may have wandered longer.
            drift = DRIFT * min(last_s - points.time_s, 10.0)
            r, c = gate_r + drift, gate_c + drift
            reach = REACH_GATES * np.hypot(r, c)
            gate_kernel(east, north, along, across, r, c, reach, points.east_m, points.north_m, inside, near)
            tally += inside > 0
            # Echoes of the thing itself, in the gate, are not chance.  Half a count more: none seen is not none.
            here = (near + 0.5 / len(self._turns)) / (math.pi * reach**2 - 4.0 * r * c) / len(self._turns)
            density += here
            mean += here * 4.0 * r * c
        met.hits[known] = tally
        met.chance[known] = -np.expm1(-mean)
        if not runs:
            return met
        # Runs mostly end inside the turns asked, where the gates are no wider than they are now.
        run_chance = -np.expm1(-density * 4.0 * gate_r * gate_c)
        met.run_chance[known] = run_chance
        # A shore of thousands of echoes has as many runs through each place: where none could count, none is sought.
        ask = self._hopeful(run_chance)
        best, seeds = np.zeros(int(ask.sum()), dtype=np.int64), np.zeros(int(ask.sum()), dtype=np.int64)
        first = np.cumsum([0, *(t.east_m.size for t in self._turns)]).astype(np.int64)
        follow_kernel(
            east[ask], north[ask], along[ask], across[ask], gate_r[ask], gate_c[ask], now_s, FASTEST, first,
            np.array([t.time_s for t in self._turns]), np.concatenate([t.east_m for t in self._turns]),
            np.concatenate([t.north_m for t in self._turns]), np.concatenate([t.is_firm for t in self._turns]),
            best, seeds,
        )  # fmt: skip
        asked = np.flatnonzero(known)[ask]
        met.runs[asked], met.seeds[asked] = best, seeds
        return met

    def _hopeful(self, run_chance: Floats) -> Bools:
        """Return which places a run met in every turn, the only one there, would vouch for: no other could do more."""
        turns = len(self._turns) - 1
        most = np.full(run_chance.shape, turns, dtype=np.int64)
        return np.asarray((turns + 2 >= LEAST_HITS) & (self._at_least(most, turns, run_chance) <= P_CHANCE))

    def _at_least(self, hits: NDArray[np.int64], turns: int, chance: Floats) -> Floats:
        """Return the probability that chance alone gives so many hits in so many turns, binomial."""
        p = np.clip(chance, 1e-4, 1.0 - 1e-9)
        tail = special.betainc(np.maximum(hits, 1), np.maximum(turns - hits + 1, 1), p)
        return np.where(hits > 0, tail, 1.0)

    def vouched(self, met: Met) -> Bools:
        """Return which candidates the last turns vouch for: too many hits for chance."""
        tail = self._at_least(met.hits, len(self._turns), met.chance)
        return np.asarray((met.hits + 1 >= LEAST_HITS) & (tail <= P_CHANCE))

    def followed(self, met: Met) -> Bools:
        """Return which candidates end a straight run that too many turns met for chance."""
        one = self._at_least(met.runs, len(self._turns) - 1, met.run_chance)
        # The best of several runs is asked.
        return np.asarray((met.runs + 2 >= LEAST_HITS) & (met.seeds * one <= P_CHANCE))

    def steady(self, met: Met) -> Bools:
        """Return which candidates were met in nearly every turn, and not because they lie everywhere."""
        often = met.hits >= max(1, math.ceil(STEADY_SHARE * len(self._turns)))
        return np.asarray(often & (self._at_least(met.hits, len(self._turns), met.chance) <= P_STEADY))

    def remember(self, scan: Scan, spoke: NDArray[np.int64], range_m: Floats, is_firm: Bools) -> None:
        """Keep this turn's candidates."""
        east, north = self.place(scan, spoke, range_m)
        known = np.isfinite(east) & np.isfinite(north)
        order = np.flatnonzero(known)[np.argsort(north[known], kind="stable")]
        self._turns.append(Points(east[order], north[order], is_firm[order], scan.end_ns / 1e9))

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
