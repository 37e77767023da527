"""What the scorer asks of a scene, built-in or wild: where land is, where false echoes lie, what is hidden."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Protocol

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter

from moonless.chart.library import Chart
from moonless.frames import LocalFrame
from moonless.radar.expected import expected_scan
from moonless.radar.types import ScanGrid
from moonless.scene.ground import RealMark
from moonless.scene.instruments import within
from moonless.scene.player import ScenePlayer, SceneTurn
from moonless.scene.types import Scene
from moonless.scene.wild.player import WildPlayer, WildTurn
from moonless.scene.wild.truth import WildWater

StageTurn = Any  # a SceneTurn or a WildTurn

# Power with side lobes over power without, and the chance of an echo, that make an echo one of theirs.
LOBE_SHARE, LOBE_P, NO_LOBE_DB = 4.0, 0.1, -90.0
N_LOBE_RAY, N_LOBE_RING = 720, 400
# How far about the echo each is asked, rows and cells either way: it is placed by its middle, a lobe's echo is an arc.
LOBE_AROUND, BARE_AROUND = (4, 3), (2, 2)
# The truth of hidden water is asked on a quarter of a degree: coarser would blame a sharper answer.
N_RAY, N_RING = 1440, 180
GHOST_DB, GHOST_M = 38.0, 60.0


class Stage(Protocol):
    """A scene as the scorer sees it."""

    scene: Scene
    frame: LocalFrame
    marks: tuple[RealMark, ...]
    beam_rad: float
    min_range_m: float
    bridges: shapely.Geometry | None
    shores: shapely.Geometry | None
    uncharted_land: shapely.Geometry | None
    shift_m: tuple[float, float]  # the ground lies so far from where the chart has it
    by_bearing: bool  # echoes are placed by the range and bearing told, from where the boat truly is
    heading_bias_deg: float
    is_chart_right: bool
    loss_db: float

    @property
    def chart(self) -> Chart | None:
        """What the program is given."""

    def turns(self) -> Iterator[StageTurn]:
        """Yield the turns."""

    def mark_name(self, index: int) -> str:
        """As `Seen.merged_with` says it."""

    def rcs_of(self, name: str) -> float:
        """Mean cross-section of an object."""

    def is_boat(self, name: str) -> bool:
        """Whether an object is a vessel, still or not."""

    def casts(self, name: str) -> bool:
        """Whether an object hides what is behind it."""

    def is_dark(self, turn: StageTurn) -> bool:
        """Whether the radar sends nothing that could be read."""

    def is_false(self, turn: StageTurn, east_m: float, north_m: float, own_m: tuple[float, float]) -> bool:
        """Whether a ghost or a side lobe lies here."""

    def water(self, turn: StageTurn, time_ns: int) -> WildWater:
        """The cells of the sea, and which are hidden."""

    def blind_untold(self, turn: StageTurn, bearing_rad: float) -> bool:
        """Whether a true bearing lies in a blind sector that nobody told the program of."""

    def is_blind(self, turn: StageTurn, bearing_rad: float) -> bool:
        """Whether a true bearing lies well inside a blind sector."""


class BuiltIn:
    """A scene from a file, drawn by the project's own radar model."""

    by_bearing = False

    def __init__(self, player: ScenePlayer) -> None:
        self.player, self.scene = player, player.scene
        scene, real = player.scene, player.ground.real
        self.frame, self.marks = scene.frame, player.ground.marks
        self.beam_rad = scene.boat.radar.beam_horizontal_rad
        self.min_range_m = scene.boat.radar.min_range_m
        self.shift_m = scene.waters.shift_m
        self.heading_bias_deg = math.degrees(scene.sensors.heading_bias_rad)
        self.loss_db = scene.radar.loss_db
        self.is_chart_right = True
        rings = [shapely.Polygon(one.ring_m) for one in scene.waters.uncharted_land]
        self.uncharted_land = shapely.union_all(rings) if rings and real is not None else None
        self.bridges = shapely.union_all([b.shape for b in real.bridges]) if real is not None and real.bridges else None
        self.shores = None if real is None else shapely.union_all([real.land, *[f.shape for f in real.structures]])
        self._lobes: tuple[int, NDArray[np.bool_]] | None = None
        self._objects = {one.name: one for one in scene.objects}

    def turns(self) -> Iterator[SceneTurn]:
        """Yield the turns."""
        return self.player.turns()

    @property
    def chart(self) -> Chart | None:
        """What the program is given."""
        return Chart.open(self.scene.waters.paths) if self.scene.waters.paths else None

    def mark_name(self, index: int) -> str:
        charted = self.marks[index].charted
        return charted.name or f"{charted.object} {charted.feature}"

    def rcs_of(self, name: str) -> float:
        return self._objects[name].rcs_m2

    def is_boat(self, name: str) -> bool:
        return self._objects[name].kind not in (
            "float",
            "pot float",
            "log",
            "birds",
            "buoy",
            "mooring buoy",
            "beacon",
            "pile",
        )

    def casts(self, name: str) -> bool:
        return self._objects[name].casts_shadow

    def is_dark(self, turn: SceneTurn) -> bool:
        start_s = (turn.start_ns - self.scene.start_ns) / 1e9
        return turn.truth.radar_silent or within(start_s, self.scene.radar.frozen_s)

    def blind_untold(self, turn: SceneTurn, bearing_rad: float) -> bool:
        return False

    def is_blind(self, turn: SceneTurn, bearing_rad: float) -> bool:
        return False

    def is_false(self, turn: SceneTurn, east_m: float, north_m: float, own_m: tuple[float, float]) -> bool:
        """A ghost by geometry, or where the model has far more power with its side lobes than without."""
        away_e, away_n = east_m - own_m[0], north_m - own_m[1]
        return self._is_ghost(turn, away_e, away_n) or self._is_lobe(turn, away_e, away_n)

    def _is_ghost(self, turn: SceneTurn, away_e: float, away_n: float) -> bool:
        use = self.scene.radar
        reach, bearing = math.hypot(away_e, away_n), math.atan2(away_e, away_n)
        there = [one.seen for one in turn.truth.objects if one.seen is not None]
        there += [one.seen for one in turn.truth.marks if self.marks[one.index].is_there]
        for seen in there:
            if seen.snr_db < GHOST_DB:
                continue
            off = abs((bearing - seen.bearing_rad + math.pi) % (2.0 * math.pi) - math.pi)
            if use.multiple_db is not None and off < self.beam_rad and abs(reach - 2.0 * seen.range_m) < GHOST_M:
                return True
            if use.indirect_db is not None and abs(reach - seen.range_m) < GHOST_M:
                return True
        return False

    def _is_lobe(self, turn: SceneTurn, away_e: float, away_n: float) -> bool:
        if self._lobes is None or self._lobes[0] != turn.number:
            self._lobes = (turn.number, self._where_lobes_show(turn.end_ns))
        row = round(math.atan2(away_e, away_n) / (2.0 * math.pi) * N_LOBE_RAY) % N_LOBE_RAY
        cell = int(math.hypot(away_e, away_n) / (self.player.grid.max_range_m / N_LOBE_RING))
        return cell < N_LOBE_RING and bool(self._lobes[1][row, cell])

    def _where_lobes_show(self, time_ns: int) -> NDArray[np.bool_]:
        now_s = (time_ns - self.scene.start_ns) / 1e9
        pose = replace(self.player.pose_at(now_s), heading_rad=0.0)
        radar = replace(self.scene.boat.radar, blind_sectors_rad=())
        bare = replace(radar, side_lobe_near_db=NO_LOBE_DB, side_lobe_far_db=NO_LOBE_DB)
        cell = self.player.grid.max_range_m / N_LOBE_RING
        grid = ScanGrid(N_LOBE_RAY, N_LOBE_RING, 0.5 * cell, cell)
        scale, weather = self.scene.radar.scale_nm, self.player.weather_at(now_s)
        whole, beam = (expected_scan(self.player.world, one, pose, grid, scale, weather) for one in (radar, bare))

        def most(values: NDArray[np.float32], around: tuple[int, int]) -> NDArray[np.float32]:
            size = (2 * around[0] + 1, 2 * around[1] + 1)
            return np.asarray(maximum_filter(values, size=size, mode=("wrap", "nearest")))

        mostly = most(whole.snr, LOBE_AROUND) > LOBE_SHARE * most(beam.snr, BARE_AROUND)
        return np.asarray(mostly & (most(whole.p_detect, LOBE_AROUND) >= LOBE_P))

    def water(self, turn: SceneTurn, time_ns: int) -> WildWater:
        """The water hidden from where the boat truly is, by the model's own shadows."""
        player = self.player
        now_s = (time_ns - self.scene.start_ns) / 1e9
        pose = player.pose_at(now_s)
        grid = ScanGrid(N_RAY, N_RING, player.grid.max_range_m / N_RING, player.grid.max_range_m / N_RING)
        scan = expected_scan(
            player.world, self.scene.boat.radar, pose, grid, self.scene.radar.scale_nm, player.weather_at(now_s)
        )
        bearing = pose.heading_rad + np.arange(N_RAY) * (2.0 * math.pi / N_RAY)
        ranges = grid.first_cell_m + np.arange(N_RING) * grid.cell_m
        e = pose.east_m + np.sin(bearing)[:, None] * ranges[None, :]
        n = pose.north_m + np.cos(bearing)[:, None] * ranges[None, :]
        land = player.ground.real.land if player.ground.real is not None else shapely.MultiPolygon()
        wet = ~shapely.contains_xy(land, e, n)
        hidden = scan.shadow_height_m > self.scene.boat.skipper.smallest_height_m
        return WildWater(e, n, np.broadcast_to(ranges[None, :], e.shape), hidden, wet)


class WildStage:
    """A wild scene, drawn by its own drawer."""

    by_bearing = True
    loss_db = 0.0

    def __init__(self, player: WildPlayer) -> None:
        self.player, self.scene = player, player.scene
        wild = player.wild
        self.frame, self.marks = player.scene.frame, player.ground.marks
        self.beam_rad, self.min_range_m = player.beam_rad, player.min_range_m
        self.shift_m = wild.shift_m
        self.heading_bias_deg = math.degrees(wild.scene.sensors.heading_bias_rad + wild.antenna.bearing_bias_rad)
        self.bridges, self.uncharted_land = player.bridges, player.uncharted_land
        self.shores = None
        if player.real_land is not None and wild.land is not None:
            self.shores = shapely.difference(player.real_land, wild.land.uncharted)
            if not wild.has_chart and self.bridges is not None:
                # Without a chart nothing tells a bridge from the shores it joins.
                self.shores, self.bridges = shapely.union(self.shores, self.bridges), None
        for shape in (self.bridges, self.shores):
            if shape is not None:
                shapely.prepare(shape)
        wrong = {"chart off", "chart slightly off", "chart datum off", "no chart", "uncharted islet"}
        self.is_chart_right = wild.has_chart and not wrong & set(wild.ingredients)
        self._things = {one.name: one for one in wild.things}

    def turns(self) -> Iterator[WildTurn]:
        """Yield the turns."""
        return self.player.turns()

    @property
    def chart(self) -> Chart | None:
        """What the program is given."""
        return self.player.chart

    def mark_name(self, index: int) -> str:
        name = self.marks[index].charted.name
        return next((one.name for one in self._things.values() if one.mark == name), name or "")

    def rcs_of(self, name: str) -> float:
        return self._things[name].rcs_m2

    def is_boat(self, name: str) -> bool:
        return self._things[name].is_boat

    def casts(self, name: str) -> bool:
        return self._things[name].casts_shadow

    def is_dark(self, turn: WildTurn) -> bool:
        return turn.truth.radar_silent

    def blind_untold(self, turn: WildTurn, bearing_rad: float) -> bool:
        return not self.player.wild.antenna.blind_is_told and self._in_blind(turn, bearing_rad, math.radians(10.0))

    def is_blind(self, turn: WildTurn, bearing_rad: float) -> bool:
        return self._in_blind(turn, bearing_rad, -math.radians(2.0))

    def _in_blind(self, turn: WildTurn, bearing_rad: float, slack_rad: float) -> bool:
        angle = (bearing_rad - turn.truth.own.heading_rad) % (2.0 * math.pi)
        return any(a - slack_rad <= angle < b + slack_rad for a, b in self.player.wild.antenna.blind_rad)

    def is_false(self, turn: WildTurn, east_m: float, north_m: float, own_m: tuple[float, float]) -> bool:
        """Where this turn's drawing put a ghost, or a side lobe shows."""
        away_e, away_n = east_m - own_m[0], north_m - own_m[1]
        reach, bearing = math.hypot(away_e, away_n), math.atan2(away_e, away_n)
        for one in turn.false_places:
            off = abs((bearing - one.bearing_rad + math.pi) % (2.0 * math.pi) - math.pi)
            if abs(reach - one.range_m) < one.half_m and off < one.half_rad + GHOST_M / 2.0 / max(reach, 1.0):
                return True
        return False

    def water(self, turn: WildTurn, time_ns: int) -> WildWater:
        """As the drawer had it."""
        return turn.water
