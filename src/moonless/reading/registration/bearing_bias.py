"""The bearing bias where the chart's coast is too poor to fix the boat: a wide search, by shore and by AIS.

Rules of this file:
- It is asked only while `register` has never known anything.  It tells a bearing and its sigma, never a position: a
  coast that lies 100 to 200 m off its echoes is the chart's error, which must not be taken out of the boat's place.
- Every bias and every shift of the coast is tried on a grid.  How likely each makes the shore's near edges, at several
  scales of the chart's own error, is laid up as a probability; what is told is its mean, and the sigma is its spread
  with the shift and the scale summed out.  So what cannot be told from a shifted coast widens the sigma.
- Turns share the chart's errors, so they are averaged and not summed; shore points within one square of ground share
  them too, and have one vote.
- So does the still world over the boat's own way, which asks no chart (`situation.BearingByMotion`).
- A vessel that says by AIS where she is, moving or at rest, bears witness to the bearing by the plots at her range.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.ndimage import distance_transform_edt

from moonless.boat.types import Boat
from moonless.reading.chart_around import Place
from moonless.reading.own import OwnPlane
from moonless.reading.registration.observations import Sightings
from moonless.reading.situation import BearingByMotion
from moonless.track.correction import Correction
from moonless.track.types import AisTarget
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]

# What is looked for: an installed heading or antenna is hardly more than 5 degrees out; the grid goes well past it.
BIAS = np.radians(np.arange(-9.0, 9.01, 1.0))
FINE = np.radians(np.arange(-9.0, 9.01, 0.25))
BIAS_SIGMA = math.radians(5.0)
# How far a charted coast lies off its echoes as a whole, each axis, and how far off it is locally (Cauchy's scale).
SHIFT_M = np.arange(-300.0, 301.0, 60.0)
SHIFT_SIGMA_M = 120.0
SCALES_M = (15.0, 40.0, 80.0, 160.0)
# Share of shore echoes that are of nothing charted, over this many metres from the coast; own figures.
STRAY, FAR_M = 0.3, 600.0
# Squares of ground whose points share the chart's error, and how many points make a whole vote.  Of 500, 800 and 1200 m
# the middle one gives an honest sigma on coasts drawn wrong by 20 to 80 m in waves of one to four kilometres: errors
# over sigma of 1.0, 0.8 and 1.0 rms (design/bearing_chance.py).
SQUARE_M, POINTS_A_VOTE = 800.0, 3.0
CELL_M = 20.0
MOST_POINTS = 160
# The mean log likelihood of a vote over "echo anywhere", below which the shore fits no better than chance
# (design/bearing_chance.py: two real runs, also turned about the boat).
FITS_AT = -0.2
LEAST_VOTES = 8.0
# A vote of a well drawn coast is worth this much at the right place, and then there is one place (own figures: a little
# more than the grid's step).
FITS_CLOSELY_AT, WHOLE_SPREAD_M, WHOLE_SPREAD = 0.4, 70.0, math.radians(1.5)
# Turns over which the likelihood is averaged.
MEMORY_TURNS = 12.0
# Good enough to speak of and to take out; once told it may grow a little.
SPEAK_SIGMA, LOST_SIGMA = math.radians(1.5), math.radians(2.0)
# The grid, and the antenna's own wobble, are no finer than this.
LEAST_SIGMA = math.radians(0.3)
# One estimate shares its errors with the next ones: so many of them count as one.
ESTIMATES_PER_INDEPENDENT = 12.0
WALK = math.radians(0.02)  # per square root of a second, as in `register`

# AIS: who is asked, and how exact the vessel's own place is.
LEAST_SPEED, MOST_AGE_S, LEAST_RANGE_M = 1.0, 30.0, 500.0
GATE_M, AIS_SIGMA_M, GROWS_M_A_S = 80.0, 20.0, 0.4  # her receiver's errors, her aerial's place, and our receiver's
# What lies is where it was, but for how far she swings about her anchor.
LIES_SPEED, LIES_AGE_S, SWINGS_OF_LENGTH = 0.3, 200.0, 0.25
# A plot at her range is hers this often, and each turn's bearing scatters by this beside beam and place.
HERS, SCATTER = 0.5, math.radians(0.5)
# A vessel's turns share her errors: so many count as one, and what is hers alone never averages away.
TURNS_PER_INDEPENDENT, VESSEL_TURNS, HER_OWN = 6.0, 60.0, math.radians(0.5)
LEAST_GAIN = 2.0


def less_its_doubt(bias: float, sigma: float) -> float:
    """Return the bias worth taking out: nothing while it is smaller than its own doubt, nearly all of a sure one.

    An estimate of one degree's doubt that wanders about nought would carry all echoes a degree to and fro.
    Source: the positive part of James and Stein's estimator, for one figure; less than its least squared error for any
    bias past the doubt, far less at nought.
    """
    return 0.0 if bias == 0.0 else bias * max(0.0, 1.0 - (sigma / bias) ** 2)


@dataclass(frozen=True, slots=True)
class Bearing:
    """The bias of bearings as reported, and one standard deviation; radians, clockwise."""

    bias: float
    sigma: float


class Coast:
    """The charted shore as a grid of distances to it."""

    def __init__(self, place: Place) -> None:
        self.place = place
        points, reach = place.shore.points, place.radius_m + 300.0
        n = int(2.0 * reach / CELL_M)
        self._corner = np.array([place.middle_east_m, place.middle_north_m]) - reach
        self._most = n - 1
        empty = np.ones((n, n), dtype=np.bool_)
        at = np.floor((points - self._corner) / CELL_M).astype(np.int64)
        at = at[((at >= 0) & (at < n)).all(axis=1)]
        empty[at[:, 0], at[:, 1]] = False
        away = np.asarray(distance_transform_edt(empty)) if len(at) else np.full((n, n), np.inf)
        # In whole cells, so that a likelihood is a look into a short table.
        self._away = np.minimum(away, FAR_M / CELL_M).round().astype(np.uint8)

    def cells_to_shore(self, points_en: Floats) -> NDArray[np.uint8]:
        """Return how many cells each point (..., 2) lies from the charted shore, at most FAR_M's."""
        at = ((points_en - self._corner) * (1.0 / CELL_M)).astype(np.int32)
        np.clip(at, 0, self._most, out=at)
        return np.asarray(self._away[at[..., 0], at[..., 1]])


def _table() -> Floats:
    """Return (scales, cells) the log likelihood of an echo so far from the shore over one anywhere within FAR_M."""
    away = np.arange(int(FAR_M / CELL_M) + 1) * CELL_M
    scale = np.array(SCALES_M)[:, None]
    density = (1.0 - STRAY) * 2.0 / (math.pi * scale) / (1.0 + (away / scale) ** 2) + STRAY / FAR_M
    return np.asarray(np.log(density * FAR_M))


TABLE = _table()
SHIFTS = np.stack(np.meshgrid(SHIFT_M, SHIFT_M, indexing="ij"), axis=-1).reshape(-1, 2)
SHIFT_PRIOR = -0.5 * np.sum((SHIFTS / SHIFT_SIGMA_M) ** 2, axis=1)


def first_edges(seen: Sightings) -> tuple[Floats, Floats]:
    """Return the nearest shore point of each half degree, (n, 2) from the boat, and the boat's place at each."""
    rel = seen.shore_rel
    row = np.round(np.arctan2(rel[:, 0], rel[:, 1]) / math.radians(0.5)).astype(np.int64)
    order = np.argsort(np.hypot(rel[:, 0], rel[:, 1]))
    _, first = np.unique(row[order], return_index=True)
    at = order[first]
    if at.size > MOST_POINTS:
        at = at[np.linspace(0, at.size - 1, MOST_POINTS).astype(np.int64)]
    return rel[at], seen.shore_own[at]


def shore_likelihood(coast: Coast, rel: Floats, own: Floats) -> tuple[Floats, float]:
    """Return (scales, biases, shifts) log likelihood of the shore edges, and how many votes they are."""
    square = np.floor((own + rel) / SQUARE_M).astype(np.int64)
    _, which, count = np.unique(square, axis=0, return_inverse=True, return_counts=True)
    which = which.reshape(-1)
    weight = np.minimum(1.0, count[which] / POINTS_A_VOTE) / count[which]
    out = np.empty((len(SCALES_M), len(BIAS), len(SHIFTS)))
    for i, bias in enumerate(BIAS):
        c, s = math.cos(bias), math.sin(bias)
        place = own + np.column_stack([rel[:, 0] * c - rel[:, 1] * s, rel[:, 1] * c + rel[:, 0] * s])
        away = coast.cells_to_shore(place[None, :, :] - SHIFTS[:, None, :])
        for k in range(len(SCALES_M)):
            out[k, i] = TABLE[k][away] @ weight
    return out, float(weight.sum())


class _Vessel:
    """What the plots at one vessel's range say, turn by turn."""

    def __init__(self) -> None:
        self.log = np.zeros(len(FINE))
        self.range_m = 0.0
        self.last_ns = 0

    def take_in(self, away: Floats, sigma: float, range_m: float, time_ns: int) -> None:
        """Take in the bearings (n,) of one turn's plots less hers."""
        near = np.exp(-0.5 * ((away[:, None] - FINE) / sigma) ** 2).sum(axis=0) / (math.sqrt(2.0 * math.pi) * sigma)
        flat = max(len(away), 1) / float(FINE[-1] - FINE[0])
        self.log = self.log * (1.0 - 1.0 / VESSEL_TURNS) + np.log((HERS * near + (1.0 - HERS) * flat) / flat)
        self.range_m, self.last_ns = range_m, time_ns

    def likelihood(self) -> Floats:
        """Return (FINE,) the log likelihood of the bias by her, her own errors spread over it."""
        p = np.exp((self.log - self.log.max()) / TURNS_PER_INDEPENDENT)
        sigma = math.hypot(HER_OWN, AIS_SIGMA_M / max(self.range_m, LEAST_RANGE_M))
        spread = np.exp(-0.5 * ((FINE[:, None] - FINE) / sigma) ** 2)
        p = spread @ p / spread.sum(axis=1)
        return np.asarray(np.log(p / p.mean()))


def _way_of(t: AisTarget, age_s: float) -> tuple[float, float] | None:
    """Return a vessel's velocity, east and north, while her report still places her; None: it does not.

    One at anchor reports every three minutes (ITU-R M.1371) and is where she was.
    """
    if t.sog is None:
        return None
    if t.sog < LIES_SPEED:
        return (0.0, 0.0) if age_s <= LIES_AGE_S else None
    if t.cog_rad is None or t.sog < LEAST_SPEED or age_s > MOST_AGE_S:
        return None
    return t.sog * math.sin(t.cog_rad), t.sog * math.cos(t.cog_rad)


class BearingSearch:
    """Keeps the search through time."""

    def __init__(self, boat: Boat) -> None:
        self._boat = boat
        self._coast: Coast | None = None
        self._shore: Floats | None = None
        self._votes = 0.0
        self._turns = 0
        self._vessels: dict[int, _Vessel] = {}
        self._now: Bearing | None = None
        self._time_ns: int | None = None
        self._fresh = 0.0
        self.correction: Correction | None = None

    def update(
        self,
        time_ns: int,
        seen: Sightings,
        own: OwnPlane,
        place: Place | None,
        ais: Iterable[AisTarget],
        by_motion: BearingByMotion | None = None,
    ) -> Bearing | None:
        """Take in one turn; ``own`` as reported.  None: the bearing bias is not known."""
        self._look_at_shore(seen, place)
        self._look_at_vessels(time_ns, seen, own, ais)
        found = self._posterior(by_motion)
        if found is None or found.sigma > (SPEAK_SIGMA if self._now is None else LOST_SIGMA):
            self._now = None
            self._hold(time_ns)
        else:
            self._filter(time_ns, found)
        return self._now

    @property
    def whole_fix(self) -> Floats | None:
        """Return (3,) bias, east and north where the coast fits the chart closely as a whole, though far off it.

        A datum, not a poor coast: then `register` may begin from it.  None: no such place, or more than one.
        """
        if self._shore is None or self._votes < LEAST_VOTES or self._shore.max() < FITS_CLOSELY_AT * self._votes:
            return None
        laid = self._shore + SHIFT_PRIOR
        p = np.exp(laid - laid.max())
        p /= p.sum()
        by_shift = p.sum(axis=(0, 1))
        shift = by_shift @ SHIFTS
        spread = np.sqrt(by_shift @ (SHIFTS - shift) ** 2)
        by_bias = p.sum(axis=(0, 2))
        bias = float(by_bias @ BIAS)
        if max(spread) > WHOLE_SPREAD_M or math.sqrt(float(by_bias @ (BIAS - bias) ** 2)) > WHOLE_SPREAD:
            return None
        return np.array([bias, *shift])

    @property
    def now(self) -> Bearing | None:
        """What was told last."""
        return self._now

    def _look_at_shore(self, seen: Sightings, place: Place | None) -> None:
        if place is None or place.shore.tree is None or len(seen.shore_rel) == 0:
            return
        if self._coast is None or self._coast.place is not place:
            self._coast = Coast(place)
        likely, votes = shore_likelihood(self._coast, *first_edges(seen))
        self._turns += 1
        share = max(1.0 / MEMORY_TURNS, 1.0 / self._turns)
        self._shore = likely if self._shore is None else self._shore + share * (likely - self._shore)
        self._votes += share * (votes - self._votes)

    def _look_at_vessels(self, time_ns: int, seen: Sightings, own: OwnPlane, ais: Iterable[AisTarget]) -> None:
        reach = np.hypot(seen.plot_rel[:, 0], seen.plot_rel[:, 1])
        bearing = np.arctan2(seen.plot_rel[:, 0], seen.plot_rel[:, 1])
        for t in ais:
            age = (time_ns - t.time_ns) / NS_PER_S
            way = _way_of(t, age)
            if t.is_own or t.is_aid or way is None:
                continue
            east, north = own.frame.to_plane(t.lat_deg, t.lon_deg)
            east += way[0] * age - own.east_m
            north += way[1] * age - own.north_m
            range_m = math.hypot(east, north)
            if range_m < LEAST_RANGE_M:
                continue
            off = np.mod(bearing - math.atan2(east, north) + math.pi, math.tau) - math.pi
            at = np.abs(reach - range_m) < GATE_M + (t.length_m or 0.0) / 4.0
            at &= np.abs(off) < FINE[-1] + 0.02
            if not at.any():
                continue
            grown_m = SWINGS_OF_LENGTH * (t.length_m or 0.0) if way == (0.0, 0.0) else GROWS_M_A_S * age
            place_m = math.hypot(AIS_SIGMA_M + grown_m, self._boat.position_sigma_m)
            sigma = math.hypot(SCATTER, place_m / range_m, float(np.median(seen.plot_azimuth_sigma[at])))
            self._vessels.setdefault(t.mmsi, _Vessel()).take_in(off[at], sigma, range_m, time_ns)
        self._vessels = {k: v for k, v in self._vessels.items() if (time_ns - v.last_ns) / NS_PER_S < 120.0}

    def _posterior(self, by_motion: BearingByMotion | None) -> Bearing | None:
        """Return mean and spread of the bias; None: neither shore nor vessels nor own motion say anything."""
        log = -0.5 * (FINE / BIAS_SIGMA) ** 2
        says = by_motion is not None
        if by_motion is not None:
            log = log - 0.5 * ((FINE - by_motion.bias_rad) / by_motion.sigma_rad) ** 2
        if self._shore is not None and self._votes >= LEAST_VOTES and self._shore.max() > FITS_AT * self._votes:
            laid = self._shore + SHIFT_PRIOR
            top = laid.max()
            by_bias = np.exp(laid - top).sum(axis=(0, 2))
            log = log + CubicSpline(BIAS, np.log(np.maximum(by_bias, 1e-300)))(FINE)
            says = True
        for vessel in self._vessels.values():
            likely = vessel.likelihood()
            if vessel.log.max() - vessel.log.min() > LEAST_GAIN * TURNS_PER_INDEPENDENT:
                log, says = log + likely, True
        if not says:
            return None
        p = np.exp(log - log.max())
        p /= p.sum()
        mean = float(p @ FINE)
        sigma = math.hypot(LEAST_SIGMA, math.sqrt(float(p @ (FINE - mean) ** 2)))
        return Bearing(less_its_doubt(mean, sigma), sigma)

    def _filter(self, time_ns: int, found: Bearing) -> None:
        """Let the told bias follow what is found, slowly."""
        position = self._boat.position_sigma_m**2
        last, elapsed = self.correction, 0.0 if self._time_ns is None else (time_ns - self._time_ns) / NS_PER_S
        self._time_ns = time_ns
        if last is None:
            state, variance = found.bias, found.sigma**2
            covariance = np.diag([variance, position, position])
            self.correction = Correction.settled(np.array([state, 0.0, 0.0]), covariance, is_anew=True)
            self._fresh = 0.0
        else:
            fresh = max(elapsed, 0.0) * WALK**2 + self._fresh
            before = last.covariance[0, 0] - self._fresh + fresh
            worth = 1.0 / (ESTIMATES_PER_INDEPENDENT * found.sigma**2)
            after = 1.0 / (1.0 / before + worth)
            pull = worth * (found.bias - last.state[0])
            state, variance = last.state[0] + after * pull, max(after, found.sigma**2)
            self._fresh = variance - after
            self.correction = Correction(
                np.array([state, 0.0, 0.0]), np.diag([variance, position, position]), np.array([fresh, 0.0, 0.0]),
                np.array([after * pull, 0.0, 0.0]), np.diag([worth, 0.0, 0.0]), np.array([pull, 0.0, 0.0]), False,
            )  # fmt: skip
        self._now = Bearing(float(state), math.sqrt(variance))

    def _hold(self, time_ns: int) -> None:
        """What was taken out goes on being taken out while nothing tells of it any more."""
        if self.correction is None or self._time_ns is None:
            return
        grown = np.array([(time_ns - self._time_ns) / NS_PER_S * WALK**2, 0.0, 0.0])
        held = Correction.settled(self.correction.state, self.correction.covariance + np.diag(grown))
        self.correction, self._time_ns, self._fresh = held, time_ns, 0.0
