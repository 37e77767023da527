"""A wild scene played: for each turn of the antenna its CAT240 datagrams, its NMEA lines and the truth.

The same scene gives the same bytes, if it is played from its beginning: textures and crests live from turn to turn.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.library import Chart
from moonless.scene.ground import RealMark, SceneGround
from moonless.scene.instruments import Instruments, Line
from moonless.scene.motion import ScriptedMotion
from moonless.scene.player import SceneTurn
from moonless.scene.truth import OwnTruth, TurnTruth
from moonless.scene.types import Script
from moonless.scene.wild.draw import Drawer, Drawn, State
from moonless.scene.wild.ground import write_chart
from moonless.scene.wild.polar import RadarView, look
from moonless.scene.wild.truth import FalsePlace, WildWater, judge_turn
from moonless.scene.wild.types import Wild
from moonless.units import NS_PER_S
from moonless.wire.cat240 import encode_video

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WildTurn(SceneTurn):
    """One turn, with where false echoes stand and what the water is."""

    false_places: tuple[FalsePlace, ...]
    water: WildWater


class WildPlayer:
    """Plays one wild scene, turn by turn."""

    def __init__(self, wild: Wild, folder: Path) -> None:
        """``folder``: where the chart is written, and kept for the program to open."""
        self.wild, self.scene = wild, wild.scene
        assert wild.scene.duration_s is not None
        self.duration_s = wild.scene.duration_s
        self._own = ScriptedMotion(wild.scene.own, self.duration_s)
        self._movers = tuple(ScriptedMotion(one.script, self.duration_s) for one in wild.things)
        self.chart: Chart | None = None
        if wild.has_chart:
            path = folder / "wild.gpkg"
            write_chart(wild, path)
            self.chart = Chart.open([path], cache_dir=folder / "cache")
        self.ground = SceneGround(None, None, self._marks())
        carriers = [k for k, one in enumerate(wild.things) if one.ais is not None]
        self._late_s = {one.ais.mmsi: one.ais_late_s for one in wild.things if one.ais is not None}
        shifted = tuple(
            ScriptedMotion(_moved(wild.things[k].script, wild.things[k].ais_offset_m), self.duration_s)
            for k in carriers
        )
        self._instruments = Instruments(wild.scene, self._own, shifted, lambda e, n: 10.0 if wild.has_chart else None)
        self._late_lines: list[Line] = []
        self._rng = np.random.default_rng([wild.seed, 11])
        self._drawer = Drawer(wild, np.random.default_rng([wild.seed, 12]))
        self._sequence = 0

    @property
    def turn_s(self) -> float:
        """Seconds a turn of the antenna takes."""
        return self.wild.antenna.turn_s

    @property
    def cell_m(self) -> float:
        """Slant range from one cell to the next."""
        return self.wild.antenna.range_m / self.wild.antenna.n_cell

    @property
    def max_range_m(self) -> float:
        """Slant range to the end of the last cell."""
        return self.wild.antenna.range_m

    @property
    def beam_rad(self) -> float:
        """Width of the beam, to half its power."""
        return self.wild.antenna.beam_rad

    @property
    def min_range_m(self) -> float:
        """Nearer than this the radar shows nothing."""
        return self.wild.antenna.min_range_m

    @property
    def n_turns(self) -> int:
        """Whole turns of the antenna in the run."""
        return int(self.duration_s / self.turn_s + 1e-9)

    @property
    def real_land(self) -> shapely.Geometry | None:
        """The land as it is."""
        return None if self.wild.land is None else self.wild.land.real

    @property
    def uncharted_land(self) -> shapely.Geometry | None:
        """That part of it which is on no chart."""
        return None if self.wild.land is None else self.wild.land.uncharted

    @property
    def bridges(self) -> shapely.Geometry | None:
        """The bridges as they are."""
        if self.wild.land is None or not self.wild.land.bridges:
            return None
        return shapely.union_all([shapely.LineString(list(one)).buffer(5.0) for one in self.wild.land.bridges])

    def own_at(self, time_s: Floats | float) -> tuple[Floats, Floats, Floats]:
        """Return the antenna's (east, north, heading), true."""
        own = self._own.at(time_s)
        return own.east_m, own.north_m, own.heading_rad

    def turns(self) -> Iterator[WildTurn]:
        """Yield all turns, from the first."""
        for number in range(self.n_turns):
            yield self._turn(number)

    def _turn(self, number: int) -> WildTurn:
        start_s = number * self.turn_s
        view = self._view(start_s)
        state = self._state(view)
        drawn = self._drawer.draw(view, state, number)
        objects, marks, false_places, water = judge_turn(self.wild, self.ground, view, state, drawn, self._end(start_s))
        own = self._own.at(start_s + self.turn_s)
        lat, lon = self.scene.frame.to_geographic(float(own.east_m[0]), float(own.north_m[0]))
        own_truth = OwnTruth(
            float(own.east_m[0]), float(own.north_m[0]), lat, lon, float(own.heading_rad[0]),
            float(own.velocity_east[0]), float(own.velocity_north[0]),
        )  # fmt: skip
        start_ns, end_ns = self._ns(start_s), self._ns(start_s + self.turn_s)
        truth = TurnTruth(number, start_ns, end_ns, own_truth, objects, marks, False)
        radar = self._datagrams(view, drawn)
        nmea = self._lines(start_s)
        return WildTurn(number, start_ns, end_ns, radar, nmea, truth, false_places, water)

    def _ns(self, time_s: float) -> int:
        return self.scene.start_ns + round(time_s * NS_PER_S)

    def _marks(self) -> tuple[RealMark, ...]:
        if self.chart is None:
            return ()
        frame = self.scene.frame
        local = self.chart.around(frame.lat_deg, frame.lon_deg, 2.0 * self.max_range_m, frame=frame)
        real = {one.mark: one for one in self.wild.things if one.mark is not None}
        out = []
        for mark in local.marks:
            there = real.get(mark.name or "")
            at = (mark.east_m, mark.north_m) if there is None else there.script.start_m
            if there is None:
                at = (at[0] + self.wild.shift_m[0], at[1] + self.wild.shift_m[1])
            out.append(RealMark(mark, there is not None, at[0], at[1]))
        return tuple(out)

    def _view(self, start_s: float) -> RadarView:
        antenna, rng = self.wild.antenna, self._rng
        n = max(64, round(antenna.n_spoke * (1.0 + antenna.spokes_vary * float(rng.standard_normal()))))
        # Uneven turning: each step a little longer or shorter, the turn whole.
        steps = np.maximum(0.3, 1.0 + (0.15 if antenna.spokes_vary > 0.0 else 0.0) * rng.standard_normal(n))
        share = np.concatenate([[0.0], np.cumsum(steps)[:-1]]) / steps.sum()
        time_s = start_s + share * self.turn_s
        own = self._own.at(time_s)
        range_m = np.arange(1.0, antenna.n_cell + 0.5) * self.cell_m
        return look(time_s, 2.0 * math.pi * share, own.east_m, own.north_m, own.heading_rad, range_m)

    def _state(self, view: RadarView) -> State:
        middle_s = float(view.time_s[len(view.time_s) // 2])
        states = [mover.at(middle_s) for mover in self._movers]
        columns = [
            np.array([float(getattr(one, name)[0]) for one in states])
            for name in ("east_m", "north_m", "velocity_east", "velocity_north", "heading_rad")
        ]
        return State(middle_s, *columns)

    def _end(self, start_s: float) -> State:
        end_s = start_s + self.turn_s
        states = [mover.at(end_s) for mover in self._movers]
        columns = [
            np.array([float(getattr(one, name)[0]) for one in states])
            for name in ("east_m", "north_m", "velocity_east", "velocity_north", "heading_rad")
        ]
        return State(end_s, *columns)

    def _datagrams(self, view: RadarView, drawn: Drawn) -> tuple[tuple[int, bytes], ...]:
        antenna, rng = self.wild.antenna, self._rng
        n = view.shape[0]
        label = view.angle_rad + antenna.bearing_bias_rad - antenna.bow_offset_rad
        if antenna.is_true:
            # The set lays its picture by the same sensor that the boat reports.
            label = label + self._own.at(view.time_s).heading_rad + self.scene.sensors.heading_bias_rad
        if antenna.label_step_rad > 0.0:
            label = np.rint(label / antenna.label_step_rad) * antenna.label_step_rad
        half = 0.5 * 2.0 * math.pi / antenna.n_spoke
        lost = rng.random(n) < antenna.missing
        twice = rng.random(n) < antenna.duplicates
        out = []
        for k in range(n):
            if lost[k]:
                continue
            time_ns = self._ns(float(view.time_s[k]))
            for copy in range(1 + int(twice[k])):
                data = encode_video(
                    drawn.counts[k],
                    azimuth_start_rad=float(label[k]) - half,
                    azimuth_end_rad=float(label[k]) + half,
                    cell_m=self.cell_m,
                    start_cell=1,
                    sequence=self._sequence,
                    time_ns=time_ns + 20_000 * copy,
                )
                self._sequence += 1
                out.append((time_ns + 20_000 * copy, data))
        return tuple(out)

    def _lines(self, start_s: float) -> tuple[Line, ...]:
        """Return the turn's lines; AIS reports come as late as their sets send them."""
        stop_ns = self._ns(start_s + self.turn_s)
        now = []
        for line in self._instruments.between(start_s, start_s + self.turn_s):
            if "VDM" in line.sentence[:8]:
                late = self._ais_late_s(line)
                self._late_lines.append(replace(line, time_ns=line.time_ns + round(late * NS_PER_S)))
            else:
                now.append(line)
        due = [line for line in self._late_lines if line.time_ns < stop_ns]
        self._late_lines = [line for line in self._late_lines if line.time_ns >= stop_ns]
        return tuple(sorted(now + due, key=lambda line: line.time_ns))

    def _ais_late_s(self, line: Line) -> float:
        # One figure for the run: a slow multiplexer holds all of them up alike.
        return max(self._late_s.values(), default=0.0)


def _moved(script: Script, by: tuple[float, float]) -> Script:
    return replace(script, start_m=(script.start_m[0] + by[0], script.start_m[1] + by[1]))
