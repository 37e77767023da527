"""One turn of a wild scene drawn: means laid down, textures and speckle on them, points, mishaps, the receiver."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.scene.wild import clutter, ghosts, polar
from moonless.scene.wild.ground import Relief, land_power, slopes
from moonless.scene.wild.polar import PolarPoints, RadarView
from moonless.scene.wild.receiver import counts, stc
from moonless.scene.wild.types import Wild, WildThing

Floats = NDArray[np.float64]
# A hull has a centre about every so many metres; shorter ones are points.
CENTRE_EVERY_M, POINT_M = 12.0, 13.0
MOST_CENTRES = 24
# Bridges answer from posts so far apart, so strong, so high.
POST_EVERY_M, POST_RCS_M2, BRIDGE_M = 7.0, 60.0, 8.0
MOST_CRESTS = 150
# So much of a ship's height is solid: what stands above it lets the radar through.
WALL = 0.4


@dataclass(frozen=True, slots=True)
class State:
    """Where all things are at one moment, (n,) each."""

    time_s: float
    east_m: Floats
    north_m: Floats
    velocity_east: Floats
    velocity_north: Floats
    heading_rad: Floats


@dataclass(frozen=True, slots=True)
class Drawn:
    """One turn's picture, and what its truth needs of the drawing."""

    counts: NDArray[np.uint8] | NDArray[np.uint16]
    horizon: NDArray[np.float32]  # highest slope before each cell
    land_mean: NDArray[np.float32]  # smeared
    ring: Floats  # (n_cell,): land seen by the side lobes all round
    sea_mean: NDArray[np.float32]
    rain_mean: NDArray[np.float32]
    loss: NDArray[np.float32]
    mean_power: Floats  # of each thing on the axis, without fluctuation or shadow
    false: list[ghosts.Ghost]
    is_land: NDArray[np.bool_]


@dataclass(slots=True)
class _Crest:
    east_m: float
    north_m: float
    turns_left: int
    rcs_m2: float


class Drawer:
    """Draws the turns of one scene, in order."""

    def __init__(self, wild: Wild, rng: np.random.Generator) -> None:
        self._wild, self._rng = wild, rng
        sea = wild.sea
        self._field = clutter.GroundField(rng, sea.patch_m, sea.memory_s, sea.drift)
        self._bend = clutter.bend_of(sea)
        self._breeze = clutter.GroundField(rng, 60.0, 12.0, (0.3 * sea.drift[0], 0.3 * sea.drift[1]))
        self._rains = [clutter.RainTexture(rng, one) for one in wild.rain]
        self._relief = None
        if wild.land is not None:
            start = wild.scene.own.start_m
            half = (
                wild.antenna.range_m * 1.05
                + 0.5 * (wild.scene.duration_s or 0.0) * max(wild.scene.own.speed, 3.0) * 2.0
            )
            self._relief = Relief.of(wild.land, start, half, rng)
        self._centres = [self._centres_of(one) for one in wild.things]
        self._crests: list[_Crest] = []
        self._pulse = 0

    def _centres_of(self, thing: WildThing) -> Floats:
        """Return (n, 4): ahead and right of the middle, metres; share of the cross-section; share of the height."""
        if thing.length_m < POINT_M:
            return np.array([[0.0, 0.0, 1.0, 1.0]])
        n = min(MOST_CENTRES, max(3, int(thing.length_m / CENTRE_EVERY_M)))
        along = np.linspace(-0.46, 0.46, n) * thing.length_m
        across = self._rng.uniform(-0.45, 0.45, n) * thing.beam_m
        share = self._rng.exponential(1.0, n)
        # The house stands aft.
        share[: max(1, n // 4)] *= 2.5
        high = self._rng.uniform(0.5, 0.8, n)
        high[: max(1, n // 4)] = 1.0
        return np.column_stack([along, across, share / share.sum(), high])

    def draw(self, view: RadarView, state: State, number: int) -> Drawn:
        """Return one turn."""
        wild, rng = self._wild, self._rng
        antenna = wild.antenna
        n, n_cell = view.shape
        power = np.ones((n, n_cell), dtype=np.float32)  # noise
        if self._relief is not None:
            height, sigma = self._relief.along(view)
            slope = slopes(height, view, antenna.height_m)
        else:
            height = sigma = np.zeros((n, n_cell), dtype=np.float32)
            slope = np.full((n, n_cell), -1e3, dtype=np.float32)
        land = np.zeros((n, n_cell), dtype=np.float32)
        ring = np.zeros(n_cell)
        self._block(slope, view, state)
        horizon = polar.highest_before(slope)
        if self._relief is not None:
            bare = land_power(sigma, slope, view, antenna)
            land = polar.smear(bare, view, antenna)
            wide = antenna.beam_rad / math.sqrt(4.0 * polar.FOUR_LN2) / view.step_rad * math.sqrt(2.0 * math.pi)
            ring = bare.sum(axis=0, dtype=np.float64) * 10.0 ** (2.0 * antenna.lobe_far_db / 10.0) / wide
            power += land + ring.astype(np.float32)[None, :]
        open_water = (height <= 0.0) & (polar.slope_of(0.5, view.range_m, antenna.height_m)[None, :] >= horizon)
        sea_mean = clutter.mean_sea(view, wild.sea) * open_water
        if wild.sea.kind == "none":
            sea_mean[:] = 0.0
        power += self._sea(view, sea_mean) if wild.sea.kind != "weibull" else sea_mean
        rain_mean = np.zeros((n, n_cell), dtype=np.float32)
        loss = np.ones((1, 1), dtype=np.float32)
        for one in self._rains:
            mean, rough = one.power(view)
            rain_mean += mean
            power += rough
            loss = loss * one.loss(view)
        field = np.zeros((n, n_cell), dtype=np.complex64)
        mean_power = self._things(field, view, state, horizon, loss)
        false = self._false(field, view, state, mean_power, horizon)
        self._bridges(field, view, horizon)
        self._crest_turn(field, view, number, horizon)
        signal = np.square(field.real) + np.square(field.imag)
        looks = antenna.looks
        if wild.sea.kind == "weibull":
            # Its power is Weibull as it stands; no other speckle comes on top.
            noisy = (power - sea_mean) * clutter.speckle(rng, (n, n_cell), looks)
            noisy += sea_mean * clutter.swell_bands(view, wild.sea) * clutter.weibull(rng, (n, n_cell), wild.sea.shape)
        else:
            noisy = power * clutter.speckle(rng, (n, n_cell), looks)
        # Signal in noise: the cross term of |s + n|^2, averaged over the looks.
        cross = np.sqrt(2.0 * signal * power / looks) * rng.standard_normal((n, n_cell), dtype=np.float32)
        total = np.maximum(noisy + signal + cross, 0.0)
        for start, stop in antenna.blind_rad:
            rows = (view.angle_rad >= start) & (view.angle_rad < stop)
            total[rows] = clutter.speckle(rng, (int(rows.sum()), n_cell), looks)
        self._interfere(total, view)
        total *= stc(view.range_m, wild.receiver).astype(np.float32)[None, :]
        return Drawn(
            counts(total, wild.receiver),
            horizon,
            land,
            ring,
            sea_mean,
            rain_mean,
            loss,
            mean_power,
            false,
            height > 0.0,
        )

    def _block(self, slope: NDArray[np.float32], view: RadarView, state: State) -> None:
        corners, heights = [], []
        for k, thing in enumerate(self._wild.things):
            if thing.casts_shadow and self._distance(view, state, k) < self._wild.antenna.range_m:
                corners.append(outline(thing, state, k))
                heights.append(WALL * thing.height_m)
        polar.add_walls_of(slope, view, corners, heights, self._wild.antenna.height_m)

    def _distance(self, view: RadarView, state: State, k: int) -> float:
        middle = len(view.time_s) // 2
        return math.hypot(state.east_m[k] - view.own_east_m[middle], state.north_m[k] - view.own_north_m[middle])

    def _sea(self, view: RadarView, mean: NDArray[np.float32]) -> NDArray[np.float32]:
        sea = self._wild.sea
        if sea.kind == "none":
            return mean
        middle_s = float(view.time_s[len(view.time_s) // 2])
        out = mean * clutter.swell_bands(view, sea)
        if self._bend is not None:
            self._field.step_to(middle_s)
            out = out * self._bend(self._field.at(view.east_m, view.north_m))
        if sea.breeze_m > 0.0:
            self._breeze.step_to(middle_s)
            out = out * np.exp(np.float32(1.0) * self._breeze.at(view.east_m, view.north_m) - np.float32(0.5))
        return np.asarray(out, dtype=np.float32)

    def _things(
        self,
        field: NDArray[np.complex64],
        view: RadarView,
        state: State,
        horizon: NDArray[np.float32],
        loss: NDArray[np.float32],
    ) -> Floats:
        rng, antenna = self._rng, self._wild.antenna
        middle = len(view.time_s) // 2
        rows, means = [], np.zeros(len(self._wild.things))
        for k, thing in enumerate(self._wild.things):
            away_e, away_n = state.east_m[k] - view.own_east_m[middle], state.north_m[k] - view.own_north_m[middle]
            reach = math.hypot(away_e, away_n)
            if reach - thing.length_m > antenna.range_m:
                continue
            centres = self._centres[k]
            head = state.heading_rad[k]
            e = state.east_m[k] + centres[:, 0] * math.sin(head) + centres[:, 1] * math.cos(head)
            n = state.north_m[k] + centres[:, 0] * math.cos(head) - centres[:, 1] * math.sin(head)
            flash = 1.0
            if thing.length_m >= POINT_M:
                aspect = abs(math.cos(math.atan2(away_e, away_n) - head))  # 0 on the beam
                flash = 0.5 + 4.0 * math.exp(-((aspect / 0.09) ** 2))
            ranges = np.hypot(e - view.own_east_m[middle], n - view.own_north_m[middle])
            heights = centres[:, 3] * thing.height_m
            base = polar.echo_power(centres[:, 2] * thing.rcs_m2 * flash, heights, ranges, antenna)
            if loss.size > 1:
                row = int(
                    polar.when_crossed(view, np.array([state.east_m[k]]), np.array([state.north_m[k]]), _still(1))[0]
                )
                cell = min(max(int(reach / float(view.range_m[0])) - 1, 0), view.shape[1] - 1)
                base = base * float(loss[row, cell])
            means[k] = float(base.sum())
            m = len(base)
            if thing.fluctuation == "steady" and m == 1:
                swing = np.ones(1)
            elif thing.fluctuation == "slow3":
                swing = rng.gamma(2.0, 0.5, m)
            else:
                swing = rng.exponential(1.0, m)
            rows.append(
                np.column_stack(
                    [
                        e,
                        n,
                        np.full(m, state.velocity_east[k]),
                        np.full(m, state.velocity_north[k]),
                        base * swing,
                        rng.uniform(0.0, 2.0 * math.pi, m),
                        polar.slope_of(heights, ranges, antenna.height_m),
                    ]
                )
            )
        if rows:
            table = np.concatenate(rows)
            polar.add_points(field, view, antenna, PolarPoints(*table.T), horizon)
        return means

    def _false(
        self,
        field: NDArray[np.complex64],
        view: RadarView,
        state: State,
        mean_power: Floats,
        horizon: NDArray[np.float32],
    ) -> list[ghosts.Ghost]:
        wild = self._wild
        middle = len(view.time_s) // 2
        own = (float(view.own_east_m[middle]), float(view.own_north_m[middle]))
        heading = float(view.bearing_rad[middle] - view.angle_rad[middle])
        strong = [
            ghosts.Strong(
                one.name, state.east_m[k] - own[0], state.north_m[k] - own[1], float(mean_power[k]), one.length_m
            )
            for k, one in enumerate(wild.things)
            if mean_power[k] > 1_000.0
        ]
        far = []
        for east, north, rcs in wild.far:
            reach = math.hypot(east - own[0], north - own[1])
            loud = float(polar.echo_power(np.array([rcs]), np.array([25.0]), np.array([reach]), wild.antenna)[0])
            far.append(ghosts.Strong("far ship", east - own[0], north - own[1], loud, 150.0))
        walls = []
        if wild.land is not None:
            walls = [
                ((a[0] - own[0], a[1] - own[1]), (b[0] - own[0], b[1] - own[1]))
                for a, b in (*wild.land.walls, *wild.land.bridges)
            ]
        found = ghosts.ghosts_of(strong, wild.ghosts, wild.antenna, heading, walls, far)
        if found:
            m = len(found)
            bearing = np.array([g.bearing_rad for g in found])
            away = np.array([g.range_m for g in found])
            swing = self._rng.exponential(1.0, m) * np.array([g.power for g in found])
            points = PolarPoints(
                own[0] + away * np.sin(bearing), own[1] + away * np.cos(bearing), *_still(m), swing,
                self._rng.uniform(0.0, 2.0 * math.pi, m), np.full(m, 1e3),
            )  # fmt: skip
            polar.add_points(field, view, wild.antenna, points, horizon)
        return found

    def _bridges(self, field: NDArray[np.complex64], view: RadarView, horizon: NDArray[np.float32]) -> None:
        land, antenna = self._wild.land, self._wild.antenna
        if land is None:
            return
        middle = len(view.time_s) // 2
        for (e0, n0), (e1, n1) in land.bridges:
            m = max(2, int(math.hypot(e1 - e0, n1 - n0) / POST_EVERY_M))
            at = np.linspace(0.0, 1.0, m)
            e, n = e0 + at * (e1 - e0), n0 + at * (n1 - n0)
            ranges = np.hypot(e - view.own_east_m[middle], n - view.own_north_m[middle])
            keep = ranges < antenna.range_m
            if not keep.any():
                continue
            e, n, ranges = e[keep], n[keep], ranges[keep]
            heights = np.full(len(e), BRIDGE_M)
            power = polar.echo_power(np.full(len(e), POST_RCS_M2), heights, ranges, antenna)
            power = power * self._rng.exponential(1.0, len(e))
            phase = self._rng.uniform(0.0, 2.0 * math.pi, len(e))
            slope = polar.slope_of(heights, ranges, antenna.height_m)
            polar.add_points(field, view, antenna, PolarPoints(e, n, *_still(len(e)), power, phase, slope), horizon)

    def _crest_turn(
        self, field: NDArray[np.complex64], view: RadarView, number: int, horizon: NDArray[np.float32]
    ) -> None:
        sea, antenna, rng = self._wild.sea, self._wild.antenna, self._rng
        if sea.crests_per_km2 <= 0.0:
            return
        middle = len(view.time_s) // 2
        own = (float(view.own_east_m[middle]), float(view.own_north_m[middle]))
        reach = min(antenna.range_m, 1.5 * sea.critical_m, 3_000.0)
        steady = min(MOST_CRESTS, sea.crests_per_km2 * math.pi * reach**2 / 1e6)
        for one in self._crests:
            one.east_m += sea.crest_velocity[0] * antenna.turn_s
            one.north_m += sea.crest_velocity[1] * antenna.turn_s
            one.turns_left -= 1
        self._crests = [one for one in self._crests if one.turns_left > 0]
        # They stand one to three turns, two in the mean.
        births = rng.poisson(steady / 2.0 if number else steady)
        for _ in range(births):
            away, bearing = reach * math.sqrt(rng.random()), rng.uniform(0.0, 2.0 * math.pi)
            at = (own[0] + away * math.sin(bearing), own[1] + away * math.cos(bearing))
            life = int(rng.integers(1, 4))
            self._crests.append(_Crest(*at, life, sea.crest_rcs_m2 * rng.exponential(1.0)))
        live = [one for one in self._crests if not self._on_land(one.east_m, one.north_m)]
        if not live:
            return
        e, n = np.array([c.east_m for c in live]), np.array([c.north_m for c in live])
        ranges = np.hypot(e - own[0], n - own[1])
        heights = np.full(len(live), 0.6)
        power = polar.echo_power(np.array([c.rcs_m2 for c in live]), heights, ranges, antenna)
        speed = (np.full(len(live), sea.crest_velocity[0]), np.full(len(live), sea.crest_velocity[1]))
        phase = rng.uniform(0.0, 2.0 * math.pi, len(live))
        slope = polar.slope_of(heights, ranges, antenna.height_m)
        polar.add_points(field, view, antenna, PolarPoints(e, n, *speed, power, phase, slope), horizon)

    def _on_land(self, east_m: float, north_m: float) -> bool:
        relief = self._relief
        if relief is None:
            return False
        i, j = int((east_m - relief.west_m) / relief.step_m), int((north_m - relief.south_m) / relief.step_m)
        n = len(relief.height_m)
        return 0 <= i < n and 0 <= j < n and bool(relief.height_m[j, i] > 0.0)

    def _interfere(self, total: NDArray[np.float32], view: RadarView) -> None:
        n, n_cell = view.shape
        for one in self._wild.others:
            index = np.arange(self._pulse, self._pulse + n)
            cell = ((one.step_cells * index) % (4 * n_cell)).astype(int)
            off = np.abs(np.mod(view.bearing_rad - one.bearing_rad + math.pi, 2.0 * math.pi) - math.pi)
            rows = np.flatnonzero((index % one.every == 0) & (cell < n_cell) & (off < one.half_rad))
            loud = 10.0 ** (one.power_db / 10.0) * self._rng.exponential(1.0, len(rows))
            total[rows, cell[rows]] += loud.astype(np.float32)
        self._pulse += n


def outline(thing: WildThing, state: State, k: int) -> Floats:
    """Return the corners of a hull, (4, 2) metres."""
    head = state.heading_rad[k]
    ahead = np.array([0.5, 0.5, -0.5, -0.5]) * thing.length_m
    right = np.array([-0.5, 0.5, 0.5, -0.5]) * thing.beam_m
    e = state.east_m[k] + ahead * math.sin(head) + right * math.cos(head)
    n = state.north_m[k] + ahead * math.cos(head) - right * math.sin(head)
    return np.column_stack([e, n])


def _still(n: int) -> tuple[Floats, Floats]:
    return np.zeros(n), np.zeros(n)
