"""A scene set for one exercise, and what the physical model makes of it: pictures, and the chance of each echo."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import RadarSet
from moonless.constants import NAUTICAL_MILE_M, SPEED_OF_LIGHT_MPS
from moonless.practice.types import Pictures, Place, ShownTurn
from moonless.practice.waters import PracticeWaters
from moonless.radar.artefacts import Mishaps
from moonless.radar.drawn import SeaMemory, drawn_scan
from moonless.radar.expected import expected_marks
from moonless.radar.targets import target_of_mark
from moonless.radar.types import PointTarget, RadarPose, ScanGrid, Weather
from moonless.radar.world import World
from moonless.scene.kinds import OBJECT_KINDS
from moonless.scene.truth import Seen, seen_of

N_SPOKE, N_CELL = 720, 512
# Looks further apart than this see another sea: what of it lasts has gone (`moonless.radar.drawn`).
_SEA_LASTS_S = 6.0


@dataclass(frozen=True, slots=True)
class StagedMover:
    """A thing at time 0, and how it goes over the ground; everything holds course and speed."""

    name: str
    kind: str  # of `moonless.scene.kinds`
    east_m: float
    north_m: float
    course_rad: float = 0.0
    speed: float = 0.0

    @property
    def velocity(self) -> tuple[float, float]:
        """Metres a second east and north."""
        return self.speed * math.sin(self.course_rad), self.speed * math.cos(self.course_rad)

    def at(self, time_s: float) -> Place:
        """Return where it is."""
        east, north = self.velocity
        return self.east_m + east * time_s, self.north_m + north * time_s

    def target(self, time_s: float) -> PointTarget:
        """Return it as the radar model takes it."""
        kind, (east, north) = OBJECT_KINDS[self.kind], self.at(time_s)
        return PointTarget(
            self.name, east, north, kind.rcs_m2, kind.height_m, kind.swerling, kind.length_m, kind.beam_m,
            self.course_rad, kind.casts_shadow,
        )  # fmt: skip


def _none(_: float) -> Sequence[PointTarget]:
    return ()


@dataclass(frozen=True, slots=True)
class Stage:
    """The whole scene at time 0, the moment of the last look."""

    waters: PracticeWaters
    radar: RadarSet
    own: StagedMover
    scale_nm: float
    weather: Weather = field(default_factory=Weather)
    movers: tuple[StagedMover, ...] = ()
    false: Callable[[float], Sequence[PointTarget]] = _none  # echoes where nothing is, at a time: drawn, and not true
    gone: frozenset[int] = frozenset()  # charted marks, by number, that are not there
    mishaps: Mishaps | None = None
    heading_bias_rad: float = 0.0  # shown minus true
    times_s: tuple[float, ...] = (0.0,)  # of the looks, the last 0
    trails: str = "none"
    is_frozen: bool = False  # every look is the first again

    @property
    def grid(self) -> ScanGrid:
        """The raster of the pictures."""
        cell_m = self.reach_m / N_CELL
        return ScanGrid(N_SPOKE, N_CELL, cell_m, cell_m)

    @property
    def reach_m(self) -> float:
        """How far the picture goes."""
        return self.scale_nm * NAUTICAL_MILE_M

    @property
    def here(self) -> Place:
        """Where the boat is at time 0."""
        return self.own.east_m, self.own.north_m

    @property
    def world(self) -> World:
        """The world as it is: the chart's, without what is gone."""
        whole = self.waters.world
        if not self.gone:
            return whole
        return replace(whole, marks=tuple(m for k, m in enumerate(whole.marks) if k not in self.gone))

    def pose(self, time_s: float) -> RadarPose:
        """Return where the antenna is: it stands over the position, which is near enough to learn by."""
        east, north = self.own.at(time_s)
        return RadarPose(east, north, self.own.course_rad)

    def pictures(self, chance: np.random.Generator) -> Pictures:
        """Draw the looks."""
        world, grid = self.world, self.grid
        memory, last_s = SeaMemory(), -math.inf
        drawn: list[NDArray[np.uint8]] = []
        looks = []
        for time_s in self.times_s:
            looks.append(
                ShownTurn(
                    time_s, *self.own.at(time_s), self.own.course_rad, self.own.course_rad + self.heading_bias_rad
                )
            )
            if self.is_frozen and drawn:
                drawn.append(drawn[0])
                continue
            if time_s - last_s > _SEA_LASTS_S:
                memory = SeaMemory()
            last_s = time_s
            targets = [*(one.target(time_s) for one in self.movers), *self.false(time_s)]
            drawn.append(
                drawn_scan(
                    world, self.radar, self.pose(time_s), grid, self.scale_nm, self.weather, targets, chance,
                    memory=memory, mishaps=self.mishaps,
                )
            )  # fmt: skip
        trails = self.trails
        assert trails in ("none", "relative", "true")
        return Pictures(grid, self.scale_nm, tuple(looks), np.stack(drawn), trails)  # type: ignore[arg-type]

    def seen(self, time_s: float = 0.0) -> tuple[list[Seen | None], list[Seen | None]]:
        """Return what can be made of each mover and of each charted mark, were it there; None beyond range."""
        movers = [one.target(time_s) for one in self.movers]
        marks = [target_of_mark(mark) for mark in self.waters.world.marks]
        things = [*movers, *marks]
        if not things:
            return [], []
        pose = self.pose(time_s)
        there = np.array([True] * len(movers) + [k not in self.gone for k in range(len(marks))], dtype=np.bool_)
        found = seen_of(
            expected_marks(self.world, self.radar, pose, self.scale_nm, things, self.weather),
            [one.name for one in things],
            np.array([[one.east_m, one.north_m] for one in things]),
            there,
            (pose.east_m, pose.north_m),
            self.waters.solid,
            beam_rad=self.radar.beam_horizontal_rad,
            pulse_m=0.5 * SPEED_OF_LIGHT_MPS * self.radar.pulse_for(self.scale_nm).length_s,
            max_range_m=self.reach_m,
        )
        return found[: len(movers)], found[len(movers) :]

    def chances(self) -> NDArray[np.float64]:
        """Return (n_look, n_mover): the model's chance that each shows by itself at each look; 0 where merged."""
        rows = []
        for time_s in self.times_s:
            movers, _ = self.seen(time_s)
            rows.append([0.0 if s is None or s.merged_with is not None else s.p_detect for s in movers])
        return np.array(rows, dtype=np.float64).reshape(len(self.times_s), len(self.movers))


def at_least(chances: Sequence[float] | NDArray[np.float64], wanted: int) -> float:
    """Return the probability that at least so many of independent looks show it.

    Source
    ------
    The Poisson binomial law, by adding one look after the other.  Elementary.
    """
    share = np.zeros(len(chances) + 1)
    share[0] = 1.0
    for p in chances:
        share[1:] = share[1:] * (1.0 - p) + share[:-1] * p
        share[0] *= 1.0 - p
    return float(share[wanted:].sum())


def off(place: Place, bearing_rad: float, range_m: float) -> Place:
    """Return the place at a bearing and distance of another."""
    return place[0] + range_m * math.sin(bearing_rad), place[1] + range_m * math.cos(bearing_rad)


def polar(here: Place, place: Place) -> tuple[float, float]:
    """Return (distance, true bearing in 0 to 2 pi) of a place from here."""
    east, north = place[0] - here[0], place[1] - here[1]
    return math.hypot(east, north), math.atan2(east, north) % (2.0 * math.pi)
