"""What moves, lies and floats in a wild scene, and the boat's own track; nothing runs aground or into the boat."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import numpy as np
import shapely

from moonless.scene.motion import ScriptedMotion
from moonless.scene.types import Ais, Script, ScriptStep
from moonless.scene.wild.types import Antenna, ChartedMark, WildThing
from moonless.scene.wild.waters import WildGround
from moonless.units import KNOT_MPS

# Own track keeps so far off land, others so far; nobody comes nearer to the boat than this besides the hull's length.
OWN_CLEAR_M, CLEAR_M, MEET_M = 45.0, 25.0, 50.0
TRIES = 40


def _script(
    at: tuple[float, float], heading: float, speed: float, duration_s: float, rng: np.random.Generator, turns: float
) -> Script:
    """Return a track: steady, or with a turn or a change of speed in it."""
    legs: tuple[ScriptStep, ...] = ()
    rate = math.radians(float(rng.uniform(0.6, 6.0)))
    if rng.random() < turns:
        first = float(rng.uniform(0.1, 0.6) * duration_s)
        by = math.radians(float(rng.choice([-1.0, 1.0]) * rng.uniform(15.0, 150.0)))
        faster = float(speed * rng.uniform(0.4, 1.5)) if rng.random() < 0.4 else None
        legs = (ScriptStep(hold_s=first), ScriptStep(turn_to_rad=heading + by, speed=faster))
        if rng.random() < 0.4:
            legs += (
                ScriptStep(hold_s=float(rng.uniform(5.0, 30.0))),
                ScriptStep(turn_to_rad=heading + by * float(rng.uniform(-0.5, 0.5))),
            )
    return Script(at, heading, speed, legs, rate, float(rng.uniform(0.1, 0.8)))


def _path(script: Script, duration_s: float) -> np.ndarray:
    at = ScriptedMotion(script, duration_s).at(np.linspace(0.0, duration_s, 25))
    return np.column_stack([at.east_m, at.north_m])


def own_script(ground: WildGround | None, duration_s: float, rng: np.random.Generator, marks: list[str]) -> Script:
    """Return the boat's own track, from the origin."""
    for attempt in range(TRIES):
        speed = KNOT_MPS * float(
            rng.choice([0.0, rng.uniform(2.0, 8.0), rng.uniform(8.0, 16.0), rng.uniform(16.0, 30.0)])
        )
        if ground is not None and ground.way_rad is not None:
            heading = ground.way_rad + float(rng.choice([0.0, math.pi])) + float(rng.normal(0.0, 0.1))
        else:
            heading = float(rng.uniform(0.0, 2.0 * math.pi))
        if attempt > TRIES // 2:
            speed *= 0.4
        script = _script((0.0, 0.0), heading, speed, duration_s, rng, 0.45)
        path = _path(script, duration_s)
        way = shapely.LineString(path) if speed > 0.0 else shapely.Point(0.0, 0.0)
        if ground is None or shapely.distance(ground.land, way) > OWN_CLEAR_M:
            if script.legs and speed > 0.0:
                marks.append("own boat turns")
            if speed > 10.0:
                marks.append("own boat fast")
            return script
    return Script((0.0, 0.0), 0.0, 0.0)


class Fleet:
    """All things of a scene, in the making."""

    def __init__(
        self,
        ground: WildGround | None,
        antenna: Antenna,
        own: Script,
        duration_s: float,
        rng: np.random.Generator,
        marks: list[str],
    ) -> None:
        self._ground, self._antenna, self._duration_s, self._rng, self._marks = ground, antenna, duration_s, rng, marks
        self._own_path = _path(own, duration_s)
        self._things: list[WildThing] = []
        self._charted: list[ChartedMark] = []
        self._gone: list[ChartedMark] = []
        self._paths: list[tuple[np.ndarray, float]] = []
        self._mmsi = 799_000_100

    @property
    def has_ship(self) -> bool:
        """Whether anything is long enough to mirror others."""
        return any(one.length_m >= 40.0 for one in self._things)

    def things(self) -> tuple[WildThing, ...]:
        """All of them."""
        return tuple(self._things)

    def marks(self, shift_m: tuple[float, float]) -> tuple[ChartedMark, ...]:
        """The chart's marks, in the chart's own places."""
        return tuple(
            replace(one, east_m=one.east_m - shift_m[0], north_m=one.north_m - shift_m[1]) for one in self._charted
        )

    def fill(self, family: str) -> None:
        """Put in what such waters hold."""
        rng, scale = self._rng, self._antenna.range_m
        big = scale > 3_500.0
        ships = int(rng.poisson(1.2 if family in ("river", "anchorage") else 2.2 if not big else 4.0))
        movers = int(rng.poisson(2.0))
        anchored = int(rng.poisson(0.5))
        floats = int(rng.poisson(0.8)) if not big else 0
        if family == "anchorage" or (family == "harbour" and rng.random() < 0.7):
            anchored += int(rng.integers(10, 45))
            self._marks.append("dense anchorage")
        if rng.random() < 0.15:
            ships, movers = ships + 3, movers + 4
            self._marks.append("dense traffic")
        for _ in range(ships):
            self._ship(moves=rng.random() < 0.75)
        for _ in range(movers):
            self._boat(moves=True)
        for _ in range(anchored):
            self._boat(moves=False)
        for _ in range(floats):
            self._float()
        self._aids()

    def moor(self, rng: np.random.Generator) -> None:
        """Lay ships and boats alongside the harbour's walls: one with the shore, and what mirrors and hides."""
        ground = self._ground
        if ground is None or not ground.walls:
            return
        for (e0, n0), (e1, n1) in ground.walls:
            length = math.hypot(e1 - e0, n1 - n0)
            ahead = math.atan2(e1 - e0, n1 - n0)
            # Off the wall's water side: where the boat's start lies.
            side = np.array([math.cos(ahead), -math.sin(ahead)])
            side = side if float(side @ -np.array([e0, n0])) > 0.0 else -side
            at = float(rng.uniform(20.0, 80.0))
            while at < length - 60.0 and rng.random() < 0.85:
                size = float(rng.choice([rng.uniform(8.0, 20.0), rng.uniform(30.0, 110.0)]))
                off = 0.5 * size / 6.0 + 4.0
                place = (
                    e0 + (at + 0.5 * size) / length * (e1 - e0) + off * float(side[0]),
                    n0 + (at + 0.5 * size) / length * (n1 - n0) + off * float(side[1]),
                )
                rcs = 1.2 * size**1.6 * 10.0 ** float(rng.normal(0.0, 0.3))
                name = self._name("ship" if size > 25.0 else "boat")
                self._add(
                    WildThing(
                        name, name.split()[0], Script(place, ahead, 0.0), rcs, 2.0 + 0.09 * size, size,
                        max(3.0, size / 6.5), "slow", True, size > 25.0,
                    )
                )  # fmt: skip
                at += size + float(rng.uniform(8.0, 60.0))
        self._marks.append("moored at the quay")

    # --- one of each --------------------------------------------------------------------------------------------------

    def _ship(self, *, moves: bool) -> None:
        rng = self._rng
        length = float(np.exp(rng.uniform(math.log(15.0), math.log(350.0))))
        if self._ground is not None and self._ground.room_m < 250.0:
            length = min(length, 110.0)
        # About a square metre a square metre of side, give or take: orders of magnitude, from memory.
        rcs = 1.2 * length**1.6 * 10.0 ** float(rng.normal(0.0, 0.35))
        height = float(np.clip(2.0 + 0.09 * length * rng.uniform(0.7, 1.3), 3.0, 40.0))
        speed = KNOT_MPS * float(rng.uniform(3.0, 20.0)) if moves else 0.0
        script = self._place(speed, length, turns=0.25)
        if script is None:
            return
        if length > 80.0:
            self._marks.append("large ship")
        ais, late, offset = self._ais("A", 0.8)
        self._add(
            WildThing(
                self._name("ship"), "ship", script, rcs, height, length, max(4.0, length / 6.5), "slow", True,
                length > 25.0, ais, late, offset,
            )
        )  # fmt: skip

    def _boat(self, *, moves: bool) -> None:
        rng = self._rng
        length = float(rng.uniform(4.0, 15.0))
        rcs = float(np.exp(rng.uniform(math.log(0.4), math.log(25.0))))
        speed = 0.0
        if moves:
            speed = KNOT_MPS * float(
                rng.choice([rng.uniform(1.0, 7.0), rng.uniform(6.0, 25.0), rng.uniform(20.0, 38.0)])
            )
        script = self._place(speed, length, turns=0.4)
        if script is None:
            return
        if rcs < 1.5 and moves:
            self._marks.append("small boats")
        if speed > 20.0 * KNOT_MPS:
            self._marks.append("fast boats")
        ais, late, offset = self._ais("B", 0.15)
        self._add(
            WildThing(
                self._name("boat"), "boat", script, rcs, float(rng.uniform(0.8, 3.5)), length, length / 3.2,
                "slow3" if rng.random() < 0.5 else "slow", True, False, ais, late, offset,
            )
        )  # fmt: skip

    def _float(self) -> None:
        script = self._place(0.0, 1.0, turns=0.0)
        if script is None:
            return
        self._marks.append("floats")
        rng = self._rng
        rcs = float(np.exp(rng.uniform(math.log(0.3), math.log(6.0))))
        self._add(
            WildThing(
                self._name("float"),
                "float",
                script,
                rcs,
                float(rng.uniform(0.6, 2.0)),
                fluctuation="slow3",
                is_boat=False,
            )
        )

    def _aids(self) -> None:
        rng = self._rng
        n = int(rng.integers(0, 13)) if self._ground is not None else int(rng.integers(0, 4))
        wrong = rng.random() < 0.4
        for k in range(n):
            script = self._place(0.0, 3.0, turns=0.0)
            if script is None:
                continue
            kind = str(rng.choice(["BOYLAT", "BOYLAT", "BOYSPP", "BCNLAT"]))
            floating = kind != "BCNLAT"
            at = script.start_m
            error = rng.normal(0.0, 2.0 if not floating else 4.0, 2)
            name = f"Mark {k + 1}"
            fate = (
                str(rng.choice(["there", "gone", "moved", "uncharted"], p=(0.55, 0.2, 0.15, 0.1))) if wrong else "there"
            )
            if fate == "moved" and floating:
                by, angle = float(rng.uniform(40.0, 200.0)), float(rng.uniform(0.0, 2.0 * math.pi))
                error = np.array([by * math.sin(angle), by * math.cos(angle)])
                self._marks.append("mark moved")
            charted = ChartedMark(kind, name, at[0] + float(error[0]), at[1] + float(error[1]), floating)
            if fate != "uncharted":
                self._charted.append(charted)
            else:
                self._marks.append("mark uncharted")
            if fate == "gone":
                self._marks.append("mark missing")
                continue
            rcs = float(np.exp(rng.uniform(math.log(1.5), math.log(40.0))))
            self._add(
                WildThing(
                    f"aid {k + 1}", "buoy" if floating else "beacon", script, rcs, float(rng.uniform(2.0, 5.0)),
                    fluctuation="slow3" if floating else "steady", is_boat=False,
                    mark=name if fate != "uncharted" else None,
                )
            )  # fmt: skip

    # --- helpers ------------------------------------------------------------------------------------------------------

    def _add(self, thing: WildThing) -> None:
        self._things.append(thing)
        self._paths.append((_path(thing.script, self._duration_s), thing.length_m))

    def _name(self, what: str) -> str:
        return f"{what} {sum(one.kind == what for one in self._things) + 1}"

    def _ais(self, carriage: Literal["A", "B"], share: float) -> tuple[Ais | None, float, tuple[float, float]]:
        rng = self._rng
        if rng.random() > share:
            return None, 0.0, (0.0, 0.0)
        self._mmsi += 1
        late, offset = 0.0, (0.0, 0.0)
        if rng.random() < 0.25:
            late = float(rng.uniform(0.5, 5.0))
            self._marks.append("ais late")
        if rng.random() < 0.25:
            by, angle = float(rng.uniform(5.0, 60.0)), float(rng.uniform(0.0, 2.0 * math.pi))
            offset = (by * math.sin(angle), by * math.cos(angle))
            self._marks.append("ais offset")
        name = f"VESSEL {self._mmsi % 1000}"
        return Ais(self._mmsi, carriage, name, 70 if carriage == "A" else 37), late, offset

    def _place(self, speed: float, length_m: float, *, turns: float) -> Script | None:
        """Return a track that keeps clear of land, of the boat and of what lies there already; None: no room."""
        rng, ground = self._rng, self._ground
        own = self._own_path[len(self._own_path) // 2]
        for _ in range(TRIES):
            reach = self._antenna.range_m
            # More of them near than an even spread would give: near is what matters.
            away = reach * float(rng.uniform(0.04, 1.0)) ** 1.3 * 0.95
            if ground is not None and ground.way_rad is not None and ground.room_m < 700.0:
                along = away * float(rng.choice([-1.0, 1.0]))
                across = ground.room_m * float(rng.uniform(-1.0, 1.0))
                heading = ground.way_rad + float(rng.choice([0.0, math.pi])) + float(rng.normal(0.0, 0.15))
                way = ground.way_rad
                at = (
                    float(own[0] + along * math.sin(way) + across * math.cos(way)),
                    float(own[1] + along * math.cos(way) - across * math.sin(way)),
                )
            else:
                bearing = float(rng.uniform(0.0, 2.0 * math.pi))
                at = (float(own[0] + away * math.sin(bearing)), float(own[1] + away * math.cos(bearing)))
                heading = float(rng.uniform(0.0, 2.0 * math.pi))
            script = _script(at, heading, speed, self._duration_s, rng, turns if speed > 0.0 else 0.0)
            path = _path(script, self._duration_s)
            if float(np.min(np.hypot(*(path - self._own_path).T))) < MEET_M + length_m:
                continue
            line = shapely.LineString(path) if speed > 0.0 else shapely.Point(*at)
            if ground is not None and shapely.distance(ground.land, line) < CLEAR_M + 0.2 * length_m:
                continue
            if any(
                float(np.min(np.hypot(*(path - other).T))) < 20.0 + 0.6 * (length_m + size)
                for other, size in self._paths
            ):
                continue
            return script
        return None
