"""Made nights over the invented waters with planted changes: short runs along the way home, each from its own seed.

The water differs from its chart in seven things that stand or float where no chart has them, two marks that are gone,
one that has moved, and two anchorages where boats lie now here, now there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from moonless.boat.sets import GENERIC_SETS
from moonless.boat.types import Boat
from moonless.scene.kinds import OBJECT_KINDS
from moonless.scene.story import open_demo
from moonless.scene.types import MarkChange, RadarUse, Scene, SceneObject, Script, ScriptStep, Sensors, Skies
from moonless.units import NS_PER_S, kn_to_mps

# Name, kind and place, metres east and north of the demo's origin.
THINGS = (
    ("pile in the sound", "pile", (-1200.0, 120.0)),
    ("mooring off the cay", "mooring buoy", (-1650.0, 250.0)),
    ("laid-up barge", "barge", (700.0, 200.0)),
    ("stakes south of the reach", "pile", (1250.0, -1250.0)),
    ("post off the spit", "beacon", (1150.0, -250.0)),
    ("stakes by the flats", "pile", (1900.0, -1400.0)),
    ("launch on her mooring", "launch", (-200.0, 500.0)),
)
# Marks with their charted places.
GONE = (("Lampwick Reach 7", (2458.0, -1108.0)), ("Thread North", (-450.0, -420.0)))
MOVED = (("Hem South", (440.0, 430.0)), (90.0, -70.0))
# Middle and radius.
ANCHORAGES = (((-1500.0, 950.0), 130.0), ((250.0, 1000.0), 110.0))
# The way home, along which the runs go, either way.
WAY = ((-2120.0, 1330.0), (-1750.0, 750.0), (-750.0, 280.0), (400.0, -300.0), (946.0, -712.0), (2346.0, -1132.0))
# Vessels under way keep so far to one side of it.
SIDE_M = 40.0
N_TURNS = 22
N_SPOKE, N_CELL = 512, 384


@dataclass(frozen=True, slots=True)
class Aboard:
    """One boat and what is wrong with her instruments."""

    name: str
    heading_bias_deg: float = 1.0
    offset_m: tuple[float, float] = (3.0, -2.0)
    radar_set: str = "small radome"


ONE_BOAT = (Aboard("one"),)
FOUR_BOATS = (
    Aboard("one", 2.0, (8.0, -5.0)),
    Aboard("two", -1.5, (-6.0, 4.0), "solid state"),
    Aboard("three", 0.5, (2.0, 10.0), "open array"),
    Aboard("four", -2.5, (-3.0, -8.0)),
)


def night(number: int, aboard: Aboard, n_turns: int = N_TURNS, seed: int = 0) -> Scene:
    """Return the scene of one night; the same number, boat and seed give the same bytes."""
    rng = np.random.default_rng([20281, seed, number])
    demo = open_demo()
    boat = replace(_boat(demo.boat, aboard.radar_set), name=aboard.name)
    duration_s = n_turns / boat.radar.rotation_hz
    speed = kn_to_mps(float(rng.uniform(9.0, 15.0)))
    own = _own(rng, speed, speed * duration_s)
    return replace(
        demo,
        name=f"night {number}",
        seed=int(rng.integers(2**31)),
        start_ns=demo.start_ns + round(number * 2.5 * 86_400) * NS_PER_S,
        duration_s=duration_s,
        boat=boat,
        radar=RadarUse(n_spoke=N_SPOKE, n_cell=N_CELL),
        own=own,
        waters=replace(
            demo.waters,
            changes=_changes(own),
        ),
        skies=Skies(float(rng.uniform(0.0, math.tau)), kn_to_mps(float(rng.uniform(2.0, 13.0)))),
        sensors=Sensors(math.radians(aboard.heading_bias_deg), position_offset_m=aboard.offset_m),
        objects=(*_standing(), *_at_anchor(rng), *_under_way(rng)),
    )


def _boat(boat: Boat, radar_set: str) -> Boat:
    given = GENERIC_SETS[radar_set]
    return replace(boat, radar=replace(given, kind=radar_set, height_m=boat.radar.height_m))


def _own(rng: np.random.Generator, speed: float, length_m: float) -> Script:
    places = np.array(WAY)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))])
    start = float(rng.uniform(0.0, along[-1] - length_m))
    at = np.unique(np.concatenate([[start, start + length_m], along[(along > start) & (along < start + length_m)]]))
    line = np.column_stack([np.interp(at, along, places[:, k]) for k in (0, 1)])
    line += float(rng.uniform(-25.0, 25.0))
    if rng.random() < 0.5:
        line = line[::-1]
    step = line[1] - line[0]
    legs = tuple(ScriptStep(to_m=(float(x), float(y))) for x, y in line[1:])
    return Script((float(line[0, 0]), float(line[0, 1])), math.atan2(step[0], step[1]), speed, legs)


def _changes(own: Script) -> tuple[MarkChange, ...]:
    """Return what differs from the chart within the water of one run; what lies beyond its chart has no name there."""
    ends = np.array([own.start_m, own.legs[-1].to_m])
    middle, reach = ends.mean(axis=0), RadarUse().scale_nm * 1852.0

    def near(place: tuple[float, float]) -> bool:
        return bool(np.hypot(*(np.array(place) - middle)) < reach)

    changes = [MarkChange(name, gone=True) for name, place in GONE if near(place)]
    if near(MOVED[0][1]):
        changes.append(MarkChange(MOVED[0][0], moved_m=MOVED[1]))
    return tuple(changes)


def _object(
    name: str, kind: str, place: tuple[float, float], heading_rad: float = 0.0, speed: float = 0.0
) -> SceneObject:
    known = OBJECT_KINDS[kind]
    return SceneObject(
        name, kind, Script(place, heading_rad, speed), known.rcs_m2, known.height_m, known.length_m, known.beam_m,
        known.swerling, known.casts_shadow,
    )  # fmt: skip


def _standing() -> tuple[SceneObject, ...]:
    return tuple(_object(name, kind, place) for name, kind, place in THINGS)


def _at_anchor(rng: np.random.Generator) -> list[SceneObject]:
    out = []
    for middle, radius_m in ANCHORAGES:
        for k in range(int(rng.integers(1, 5))):
            off = radius_m * math.sqrt(rng.random())
            to = rng.uniform(0.0, math.tau)
            kind = str(rng.choice(["sailing yacht", "motor yacht", "yacht with reflector"]))
            place = (middle[0] + off * math.sin(to), middle[1] + off * math.cos(to))
            out.append(_object(f"at anchor {k} {middle[0]:.0f}", kind, place, float(rng.uniform(0.0, math.tau))))
    return out


def _under_way(rng: np.random.Generator) -> list[SceneObject]:
    out = []
    for k in range(int(rng.integers(0, 3))):
        part = float(rng.uniform(0.0, 0.8))
        places = np.array(WAY)
        leg = int(part * (len(places) - 1))
        a, b = places[leg], places[leg + 1]
        step = b - a
        side = SIDE_M * np.array([step[1], -step[0]]) / np.hypot(*step)
        heading = math.atan2(step[0], step[1])
        place = a + (part * (len(places) - 1) - leg) * step
        if rng.random() < 0.5:
            heading, side = heading + math.pi, -side
        kind = str(rng.choice(["launch", "fishing boat", "motor yacht"]))
        speed = kn_to_mps(float(rng.uniform(5.0, 12.0)))
        at = place + side
        out.append(_object(f"under way {k}", kind, (float(at[0]), float(at[1])), heading, speed))
    return out
