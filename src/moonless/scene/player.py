"""A scene played: for each turn of the antenna its CAT240 datagrams, its NMEA lines and the truth.

Pacing is not done here: whoever plays asks for the next turn when it is wanted.  The same scene gives the same bytes.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from moonless.constants import NAUTICAL_MILE_M, SPEED_OF_LIGHT_MPS
from moonless.radar.artefacts import Mishaps
from moonless.radar.drawn import SeaMemory, drawn_scan
from moonless.radar.expected import expected_marks
from moonless.radar.targets import target_of_mark
from moonless.radar.types import PointTarget, RadarPose, RainCell, ScanGrid, Weather
from moonless.radar.world import World
from moonless.scene.ground import SceneGround, open_ground
from moonless.scene.instruments import Instruments, Line, within
from moonless.scene.motion import ScriptedMotion
from moonless.scene.truth import MarkTruth, ObjectTruth, OwnTruth, TurnTruth, seen_of
from moonless.scene.turned import spokes_from_turn
from moonless.scene.types import Scene, SceneObject
from moonless.sea.waves import significant_wave_height
from moonless.units import NS_PER_S

# Sheltered water: the wind has about so much room to raise a sea.
FETCH_M = 2_000.0
# Slower than this over the ground, a thing is still to a reading.
STILL_MPS = 0.3


@dataclass(frozen=True, slots=True)
class SceneTurn:
    """One turn of the antenna.  ``radar`` and ``nmea`` are (Unix ns, bytes), each in order of time."""

    number: int
    start_ns: int
    end_ns: int
    radar: tuple[tuple[int, bytes], ...]
    nmea: tuple[Line, ...]
    truth: TurnTruth


# Number of the first cell that is sent: cell 0 is the antenna itself.
WIRE_FIRST_CELL = 1


class ScenePlayer:
    """Plays one scene, turn by turn.  Not for several threads at once."""

    def __init__(self, scene: Scene, *, cache_dir: Path | None = None) -> None:
        """Open the scene's chart and run its scripts.

        Raises
        ------
        InputError  If the scene does not fit together (a mark that is not on its chart, waters not covered).
        ChartError  If its chart cannot be read.
        """
        self.scene = scene
        self._own = ScriptedMotion(scene.own, scene.duration_s)
        self.duration_s = scene.duration_s if scene.duration_s is not None else self._own.end_s
        self._movers = tuple(ScriptedMotion(one.script, self.duration_s) for one in scene.objects)
        use = scene.radar
        self._range_m = use.scale_nm * NAUTICAL_MILE_M
        cell_m = self._range_m / use.n_cell
        self._radar = replace(scene.boat.radar, losses_db=scene.boat.radar.losses_db + use.loss_db)
        self.turn_s = 1.0 / self._radar.rotation_hz
        self.grid = ScanGrid(use.n_spoke, use.n_cell, cell_m + self._radar.range_offset_m, cell_m)
        self.ground = self._open_ground(cache_dir)
        self.world = self._open_world()
        self._mark_targets = [
            replace(target_of_mark(m.charted), east_m=m.east_m, north_m=m.north_m) for m in self.ground.marks
        ]
        self._instruments = Instruments(scene, self._own, self._movers, self.ground.depth_at)
        self._next = 0
        self._frozen: NDArray[np.uint8] | None = None
        self._sea = SeaMemory()

    @property
    def n_turns(self) -> int:
        """Whole turns of the antenna in the run."""
        return int(self.duration_s / self.turn_s + 1e-9)

    @property
    def position(self) -> int:
        """The number of the turn that comes next."""
        return self._next

    def restart(self) -> None:
        """Go back to the beginning."""
        self.seek(0)

    def seek(self, number: int) -> None:
        """Let the next turn be this one."""
        self._next = max(0, min(int(number), self.n_turns))
        self._frozen = None
        # The sea's slow swing begins anew, so a run sought into differs in its clutter from one played through.
        self._sea = SeaMemory()

    def turns(self) -> Iterator[SceneTurn]:
        """Yield the turns from the present one to the last."""
        while self._next < self.n_turns:
            number = self._next
            self._next += 1
            yield self.turn(number)

    def turn(self, number: int) -> SceneTurn:
        """Return one turn.  Each has its own random numbers; only the sea's swing is carried from the turn before."""
        start_s = number * self.turn_s
        stop_s = start_s + self.turn_s
        use = self.scene.radar
        silent = within(start_s + 0.5 * self.turn_s, use.silent_s)
        counts = None if silent else self._counts(number, start_s)
        radar = () if counts is None else self._datagrams(number, start_s, counts)
        return SceneTurn(
            number=number,
            start_ns=self._ns(start_s),
            end_ns=self._ns(stop_s),
            radar=radar,
            nmea=tuple(self._instruments.between(start_s, stop_s)),
            truth=self._truth(number, start_s, stop_s, silent),
        )

    def _ns(self, time_s: float) -> int:
        return self.scene.start_ns + round(time_s * NS_PER_S)

    def _open_ground(self, cache_dir: Path | None) -> SceneGround:
        times = np.arange(0.0, self.duration_s + 10.0, 10.0)
        own = self._own.at(times)
        middle = (float(own.east_m.min() + own.east_m.max()) / 2.0, float(own.north_m.min() + own.north_m.max()) / 2.0)
        reach = float(np.max(np.hypot(own.east_m - middle[0], own.north_m - middle[1])))
        return open_ground(self.scene.waters, self.scene.frame, middle, reach + self._range_m + 300.0, cache_dir)

    def _open_world(self) -> World:
        if self.ground.real is None:
            import shapely

            return World.of_land(shapely.MultiPolygon(), frame=self.scene.frame, seed=self.scene.seed)
        return World.from_chart(self.ground.real, seed=self.scene.seed)

    def weather_at(self, time_s: float) -> Weather:
        """Return wind, sea and rain as the radar feels them at a time."""
        skies = self.scene.skies
        waves = skies.wave_height_m
        if waves is None:
            waves = significant_wave_height(skies.wind_speed, FETCH_M)
        showers = tuple(
            RainCell(s.at_m[0] + s.velocity[0] * time_s, s.at_m[1] + s.velocity[1] * time_s, s.radius_m, s.rate_mmh)
            for s in skies.showers
        )
        return Weather(waves, skies.wind_from_rad, skies.wind_speed, skies.rain_mmh, showers)

    def antenna_at(self, time_s: NDArray[np.float64] | float) -> tuple[NDArray[np.float64], ...]:
        """Return the antenna's (east, north, heading) at times."""
        own = self._own.at(time_s)
        sine, cosine = np.sin(own.heading_rad), np.cos(own.heading_rad)
        ahead, right = self._radar.forward_m, self._radar.starboard_m
        return (
            own.east_m + ahead * sine + right * cosine,
            own.north_m + ahead * cosine - right * sine,
            own.heading_rad,
        )

    def pose_at(self, time_s: float) -> RadarPose:
        """Return where the antenna truly is and points."""
        east, north, heading = self.antenna_at(time_s)
        return RadarPose(float(east[0]), float(north[0]), float(heading[0]))

    def _target(self, index: int, thing: SceneObject, time_s: float) -> PointTarget:
        state = self._movers[index].at(time_s)
        return PointTarget(
            thing.name,
            float(state.east_m[0]),
            float(state.north_m[0]),
            thing.rcs_m2,
            thing.height_m,
            thing.swerling,
            thing.length_m,
            thing.beam_m,
            float(state.heading_rad[0]),
            thing.casts_shadow,
        )

    def _shown(self, time_s: float) -> list[int]:
        return [k for k, one in enumerate(self.scene.objects) if one.shown_s[0] <= time_s < one.shown_s[1]]

    def _beam_time(self, index: int, start_s: float) -> float:
        """Return when, within a turn, the beam crosses a moving thing."""
        at_s = start_s + 0.5 * self.turn_s
        for _ in range(3):
            east, north, heading = self.antenna_at(at_s)
            state = self._movers[index].at(at_s)
            bearing = math.atan2(float(state.east_m[0] - east[0]), float(state.north_m[0] - north[0]))
            at_s = start_s + ((bearing - float(heading[0])) / (2.0 * math.pi) % 1.0) * self.turn_s
        return at_s

    def _counts(self, number: int, start_s: float) -> NDArray[np.uint8]:
        use = self.scene.radar
        if self._frozen is not None and within(start_s, use.frozen_s):
            return self._frozen
        middle_s = start_s + 0.5 * self.turn_s
        pose = self.pose_at(middle_s)
        targets = [self._target(k, self.scene.objects[k], self._beam_time(k, start_s)) for k in self._shown(middle_s)]
        rng = np.random.default_rng([self.scene.seed, 3, number])
        drawn = self._draw(pose, self.weather_at(middle_s), targets, rng)
        times = start_s + np.arange(use.n_spoke) / use.n_spoke * self.turn_s
        east, north, heading = self.antenna_at(times)
        counts = spokes_from_turn(
            drawn,
            (pose.east_m, pose.north_m),
            pose.heading_rad,
            east,
            north,
            heading,
            self.grid.first_cell_m,
            self.grid.cell_m,
        )
        self._frozen = counts
        return counts

    def _draw(
        self, pose: RadarPose, weather: Weather, targets: list[PointTarget], rng: np.random.Generator
    ) -> NDArray[np.uint8]:
        use = self.scene.radar
        mishaps = Mishaps(
            other_radars=use.other_radars,
            indirect_db=use.indirect_db,
            multiple_db=use.multiple_db,
            racons=use.racons,
        )
        return drawn_scan(
            self.world,
            self._radar,
            pose,
            self.grid,
            use.scale_nm,
            weather,
            targets,
            rng,
            memory=self._sea,
            mishaps=mishaps,
        )

    def _datagrams(self, number: int, start_s: float, counts: NDArray[np.uint8]) -> tuple[tuple[int, bytes], ...]:
        from moonless.wire.cat240 import encode_video

        n_spoke = self.grid.n_spoke
        step = 2.0 * math.pi / n_spoke
        offset = -self._radar.bow_offset_rad
        from_north = self._radar.angle_from == "true"
        times = start_s + np.arange(n_spoke) / n_spoke * self.turn_s
        heading = self._own.at(times).heading_rad + self.scene.sensors.heading_bias_rad
        out = []
        for k in range(n_spoke):
            time_ns = self._ns(float(times[k]))
            # The message gives where the spoke begins and ends; its middle is the row's own angle.
            middle = k * step + offset + (float(heading[k]) if from_north else 0.0)
            out.append(
                (
                    time_ns,
                    encode_video(
                        counts[k],
                        azimuth_start_rad=middle - 0.5 * step,
                        azimuth_end_rad=middle + 0.5 * step,
                        cell_m=self.grid.cell_m,
                        start_cell=WIRE_FIRST_CELL,
                        sequence=number * n_spoke + k,
                        time_ns=time_ns,
                    ),
                )
            )
        return tuple(out)

    def _truth(self, number: int, start_s: float, stop_s: float, silent: bool) -> TurnTruth:
        own = self._own.at(stop_s)
        lat, lon = self.scene.frame.to_geographic(float(own.east_m[0]), float(own.north_m[0]))
        middle_s = 0.5 * (start_s + stop_s)
        shown = self._shown(middle_s)
        pose = self.pose_at(middle_s)
        targets = [self._target(k, self.scene.objects[k], middle_s) for k in shown]
        everything = [*targets, *self._mark_targets]
        there = np.array([True] * len(targets) + [m.is_there for m in self.ground.marks], dtype=np.bool_)
        expected = expected_marks(
            self.world, self._radar, pose, self.scene.radar.scale_nm, everything, self.weather_at(middle_s)
        )
        pulse = self._radar.pulse_for(self.scene.radar.scale_nm)
        places = np.array([[t.east_m, t.north_m] for t in everything]).reshape(-1, 2)
        seen = seen_of(
            expected,
            [t.name for t in everything],
            places,
            there,
            (pose.east_m, pose.north_m),
            self.ground.solid,
            beam_rad=self._radar.beam_horizontal_rad,
            pulse_m=0.5 * SPEED_OF_LIGHT_MPS * pulse.length_s,
            max_range_m=self._range_m,
        )
        objects = []
        for position, k in enumerate(shown):
            thing = self.scene.objects[k]
            state = self._movers[k].at(stop_s)
            speed = math.hypot(float(state.velocity_east[0]), float(state.velocity_north[0]))
            objects.append(
                ObjectTruth(
                    thing.name,
                    thing.kind,
                    "vessel" if speed > STILL_MPS or thing.ais is not None else "uncharted",
                    float(state.east_m[0]),
                    float(state.north_m[0]),
                    float(state.velocity_east[0]),
                    float(state.velocity_north[0]),
                    float(state.heading_rad[0]),
                    thing.length_m,
                    None if thing.ais is None else thing.ais.mmsi,
                    seen[position],
                )
            )
        marks = tuple(MarkTruth(index, one) for index, one in enumerate(seen[len(targets) :]) if one is not None)
        return TurnTruth(
            number,
            self._ns(start_s),
            self._ns(stop_s),
            OwnTruth(
                float(own.east_m[0]),
                float(own.north_m[0]),
                lat,
                lon,
                float(own.heading_rad[0]),
                float(own.velocity_east[0]),
                float(own.velocity_north[0]),
            ),
            tuple(objects),
            marks,
            silent,
        )
