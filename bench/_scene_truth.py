"""What a scene's truth is at the time of a reading, laid out for scoring.

Stated rules, all of them:

- A thing is *detectable* this turn when the radar model gives it p_detect >= 0.5, land does not hide it, it lies
  neither within 0.75 beam and one pulse of land, a bridge or what is built along a shore, nor within a beam and 1.5
  pulses of something stronger, it is not under the bridge, and the same held on at least four of the last five turns
  (this one counted): no tracker can hold what has only just come out.
- An echo belongs to the nearest thing within 30 m + half a beam's width at its range + half its length; pairs are
  chosen for the least sum of distances.  A thing that is not detectable may be held all the same; nothing is counted
  for it.
- Two things within a beam and 1.5 pulses of each other make one echo: the stronger counts as held when that echo has
  been given to the weaker.
- An echo of a thing that the radar cannot part from something else may be called by the word of either.
- An echo paired with a thing that is not detectable, by land, the bridge or a built structure, may be called by their
  word: the thing need not have answered.
- A second echo within the reach of a detectable thing that has its own already is one of that thing, for the radar
  cannot part them: it is truly of its kind.
- An echo that is only remembered (coasting) and lies by no thing is truly what it was while it was last seen: its kind
  is remembered too.
- Both count among the false tracks all the same.
- The radar of every scene has side lobes.  An echo that belongs to nothing detectable is truly `false` where the model
  of that radar has four times as much power with its side lobes as without, within a cell or two, and some chance of
  an echo (p >= 0.1); on land or by a built structure it may be called by their word as well, for there is land.
- Else an echo that belongs to no thing is truly `uncharted` at land that is on no chart; within 25 m + half a beam of
  the bridge, of land or of a built structure it is `bridge` or `shore`, by which is nearer; in a scene with ghosts
  `false` if it lies where a ghost of a strong thing must (at the thing's range on another bearing, or on its bearing
  at twice its range); else `clutter`.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter
from scipy.optimize import linear_sum_assignment

from moonless.radar.expected import expected_scan
from moonless.radar.types import ScanGrid
from moonless.scene.player import ScenePlayer
from moonless.scene.truth import Seen, TurnTruth

P_DETECTABLE = 0.5
OF_LAST = (4, 5)
GATE_M = 30.0
SHORE_GATE_M = 25.0
# Power with side lobes over power without, and the chance of an echo, that make an echo one of theirs.
LOBE_SHARE, LOBE_P, NO_LOBE_DB = 4.0, 0.1, -90.0
N_RAY, N_RING = 720, 400
# How far about the echo each is asked, rows and cells either way: it is placed by its middle, a lobe's echo is an arc.
LOBE_AROUND, BARE_AROUND = (4, 3), (2, 2)


@dataclass(slots=True)
class Thing:
    """One real thing at the time of a reading."""

    key: str  # unique in the scene
    cls: str  # what a right reading calls it
    east_m: float
    north_m: float
    velocity: tuple[float, float]
    length_m: float
    seen: Seen
    detectable: bool
    mark: int | None = None  # index of the charted mark
    name: str = ""  # as `Seen.merged_with` says it


@dataclass(slots=True)
class Laid:
    """All real things that are there, within range, at one time; and charted marks that are not."""

    things: list[Thing]
    gone: list[tuple[int, Seen]]
    own_m: tuple[float, float]
    reach_m: float


@dataclass(slots=True)
class TruthBook:
    """Follows the truth turn by turn, because being detectable has a memory."""

    player: ScenePlayer
    _past: dict[str, deque[bool]] = field(default_factory=dict)
    bridges: shapely.Geometry | None = None
    shores: shapely.Geometry | None = None
    uncharted_land: shapely.Geometry | None = None
    _lobes: tuple[int, NDArray[np.bool_]] | None = None

    def __post_init__(self) -> None:
        real = self.player.ground.real
        if real is None:
            return
        rings = [shapely.Polygon(one.ring_m) for one in self.player.scene.waters.uncharted_land]
        self.uncharted_land = shapely.union_all(rings) if rings else None
        self.bridges = shapely.union_all([b.shape for b in real.bridges]) if real.bridges else None
        self.shores = shapely.union_all([real.land, *[f.shape for f in real.structures]])

    @property
    def beam_rad(self) -> float:
        """Of the scene's radar."""
        return self.player.scene.boat.radar.beam_horizontal_rad

    def lay(self, truth: TurnTruth, time_ns: int) -> Laid:
        """Return the things at a time near the end of the turn that ``truth`` tells of."""
        late_s = (time_ns - truth.end_ns) / 1e9
        things = []
        for one in truth.objects:
            if one.seen is not None:
                things.append(
                    Thing(
                        f"object {one.name}",
                        one.cls,
                        one.east_m + one.velocity_east * late_s,
                        one.north_m + one.velocity_north * late_s,
                        (one.velocity_east, one.velocity_north),
                        one.length_m,
                        one.seen,
                        self._detectable(f"object {one.name}", one.seen, one.east_m, one.north_m),
                        name=one.name,
                    )
                )
        gone = []
        for mark in truth.marks:
            real = self.player.ground.marks[mark.index]
            key = f"mark {mark.index}"
            if not real.is_there:
                gone.append((mark.index, mark.seen))
                continue
            name = real.charted.name or f"{real.charted.object} {real.charted.feature}"
            able = self._detectable(key, mark.seen, real.east_m, real.north_m)
            things.append(
                Thing(key, "charted", real.east_m, real.north_m, (0.0, 0.0), 0.0, mark.seen, able, mark.index, name)
            )
        own = (
            truth.own.east_m + truth.own.velocity_east * late_s,
            truth.own.north_m + truth.own.velocity_north * late_s,
        )
        return Laid(things, gone, own, self.player.grid.max_range_m)

    def _detectable(self, key: str, seen: Seen, east_m: float, north_m: float) -> bool:
        under_bridge = self.bridges is not None and shapely.distance(self.bridges, shapely.Point(east_m, north_m)) < (
            SHORE_GATE_M + 0.5 * self.beam_rad * seen.range_m
        )
        now = (
            seen.p_detect >= P_DETECTABLE
            and not seen.hidden
            and seen.merged_with is None
            and not under_bridge
            and seen.range_m > 1.5 * self.player.scene.boat.radar.min_range_m
        )
        past = self._past.setdefault(key, deque(maxlen=OF_LAST[1]))
        past.append(now)
        return now and sum(past) >= OF_LAST[0]

    def place_kind(self, east_m: float, north_m: float, laid: Laid) -> str:
        """Return what an echo is that belongs to no thing."""
        here = shapely.Point(east_m, north_m)
        away_e, away_n = east_m - laid.own_m[0], north_m - laid.own_m[1]
        reach = math.hypot(away_e, away_n)
        gate = SHORE_GATE_M + 0.5 * self.beam_rad * reach
        if self.uncharted_land is not None and shapely.distance(self.uncharted_land, here) < gate:
            return "uncharted"
        bridge = math.inf if self.bridges is None else shapely.distance(self.bridges, here)
        shore = math.inf if self.shores is None else shapely.distance(self.shores, here)
        if min(bridge, shore) < gate:
            return "bridge" if bridge <= shore else "shore"
        return "false" if self._is_ghost(away_e, away_n, reach, laid) else "clutter"

    def beside(self, east_m: float, north_m: float, laid: Laid) -> Thing | None:
        """Return the nearest detectable thing that an echo here may be a second one of."""
        best, found = math.inf, None
        for thing in laid.things:
            away = math.hypot(thing.east_m - east_m, thing.north_m - north_m)
            if thing.detectable and away <= _gate_m(thing, self.beam_rad) and away < best:
                best, found = away, thing
        return found

    def is_side_lobe(self, east_m: float, north_m: float, laid: Laid, time_ns: int) -> bool:
        """Return whether only the side lobes of the scene's radar can have made an echo here."""
        if self._lobes is None or self._lobes[0] != time_ns:
            self._lobes = (time_ns, self._where_lobes_show(time_ns))
        away_e, away_n = east_m - laid.own_m[0], north_m - laid.own_m[1]
        row = round(math.atan2(away_e, away_n) / (2.0 * math.pi) * N_RAY) % N_RAY
        cell = int(math.hypot(away_e, away_n) / (self.player.grid.max_range_m / N_RING))
        return cell < N_RING and bool(self._lobes[1][row, cell])

    def _where_lobes_show(self, time_ns: int) -> NDArray[np.bool_]:
        now_s = (time_ns - self.player.scene.start_ns) / 1e9
        pose = replace(self.player.pose_at(now_s), heading_rad=0.0)
        radar = replace(self.player.scene.boat.radar, blind_sectors_rad=())
        bare = replace(radar, side_lobe_near_db=NO_LOBE_DB, side_lobe_far_db=NO_LOBE_DB)
        cell = self.player.grid.max_range_m / N_RING
        grid = ScanGrid(N_RAY, N_RING, 0.5 * cell, cell)
        scale, weather = self.player.scene.radar.scale_nm, self.player.weather_at(now_s)
        whole, beam = (expected_scan(self.player.world, one, pose, grid, scale, weather) for one in (radar, bare))

        def most(values: NDArray[np.float32], around: tuple[int, int]) -> NDArray[np.float32]:
            size = (2 * around[0] + 1, 2 * around[1] + 1)
            return np.asarray(maximum_filter(values, size=size, mode=("wrap", "nearest")))

        mostly = most(whole.snr, LOBE_AROUND) > LOBE_SHARE * most(beam.snr, BARE_AROUND)
        return np.asarray(mostly & (most(whole.p_detect, LOBE_AROUND) >= LOBE_P))

    def _is_ghost(self, away_e: float, away_n: float, reach: float, laid: Laid) -> bool:
        use = self.player.scene.radar
        if use.indirect_db is None and use.multiple_db is None:
            return False
        bearing = math.atan2(away_e, away_n)
        for thing in laid.things:
            if thing.seen.snr_db < 38.0:
                continue
            same_bearing = abs(_wrap(bearing - thing.seen.bearing_rad)) < self.beam_rad
            if use.multiple_db is not None and same_bearing and abs(reach - 2.0 * thing.seen.range_m) < 60.0:
                return True
            if use.indirect_db is not None and abs(reach - thing.seen.range_m) < 60.0:
                return True
        return False


def _gate_m(thing: Thing, beam_rad: float) -> float:
    """Return how far from a thing an echo may lie and be its own."""
    return GATE_M + 0.5 * beam_rad * thing.seen.range_m + 0.5 * thing.length_m


def _wrap(angle: float) -> float:
    return (angle + math.pi) % (2.0 * math.pi) - math.pi


def pair(east_m: NDArray[np.float64], north_m: NDArray[np.float64], laid: Laid, beam_rad: float) -> dict[int, Thing]:
    """Return which thing each echo belongs to, by the echo's index."""
    if not len(east_m) or not laid.things:
        return {}
    e = np.array([t.east_m for t in laid.things])
    n = np.array([t.north_m for t in laid.things])
    distance = np.hypot(east_m[:, None] - e[None, :], north_m[:, None] - n[None, :])
    gate = np.array([_gate_m(t, beam_rad) for t in laid.things])
    cost = np.where(distance <= gate[None, :], distance, 1e6)
    # What can be detected has the better claim.
    cost += np.array([0.0 if t.detectable else 12.0 for t in laid.things])[None, :]
    rows, columns = linear_sum_assignment(cost)
    return {int(r): laid.things[int(c)] for r, c in zip(rows, columns, strict=True) if cost[r, c] < 1e5}
