"""A scene: everything that happens on a made run, as its TOML file says it.

Places are metres east/north of the scene's origin; times are seconds from its start; angles radians, speeds m/s.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from moonless.boat.types import Boat
from moonless.frames import LocalFrame

Span = tuple[float, float]
"""From and to, seconds from the start of the scene."""


@dataclass(frozen=True, slots=True)
class ScriptStep:
    """One step of a script.  Exactly one of ``to_m``, ``turn_to_rad``, ``hold_s`` is given."""

    to_m: tuple[float, float] | None = None  # steer for this place and go on when it is reached
    turn_to_rad: float | None = None  # come to this heading
    hold_s: float | None = None  # keep course and speed for so long
    speed: float | None = None  # aimed at from the beginning of the leg; None: as before
    turn_rate: float | None = None  # rad/s, the most used; None: the mover's own


@dataclass(frozen=True, slots=True)
class Script:
    """How a thing moves: where it begins and the legs it runs.  After the last leg it keeps course and speed."""

    start_m: tuple[float, float]
    heading_rad: float = 0.0
    speed: float = 0.0
    legs: tuple[ScriptStep, ...] = ()
    turn_rate: float = 0.07  # rad/s; 4 degrees a second: a launch with moderate helm, own choice
    acceleration: float = 0.4  # m/s2
    drift: tuple[float, float] = (0.0, 0.0)  # m/s east, north: carried over the ground whatever it does


@dataclass(frozen=True, slots=True)
class Ais:
    """The AIS set a thing carries.  MMSIs of scenes begin with 799, which no country has been given (from memory)."""

    mmsi: int
    carriage: Literal["A", "B"] = "B"
    name: str = ""
    ship_type: int = 37


@dataclass(frozen=True, slots=True)
class SceneObject:
    """A thing the chart does not know."""

    name: str
    kind: str
    script: Script
    rcs_m2: float
    height_m: float
    length_m: float
    beam_m: float
    swerling: Literal[0, 1, 2, 3, 4]
    casts_shadow: bool
    ais: Ais | None = None
    shown_s: Span = (0.0, float("inf"))  # there only between these times


@dataclass(frozen=True, slots=True)
class MarkChange:
    """A charted mark that is not where the chart has it.  Named by OBJNAM, or by class and place."""

    name: str | None
    object: str | None = None
    near_m: tuple[float, float] | None = None
    gone: bool = False
    moved_m: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class UnchartedLand:
    """Ground that stands there and is not on the chart."""

    ring_m: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Waters:
    """The chart of the scene, and where the world differs from it."""

    paths: tuple[Path, ...] = ()  # empty: open sea without a chart
    changes: tuple[MarkChange, ...] = ()
    uncharted_land: tuple[UnchartedLand, ...] = ()
    shift_m: tuple[float, float] = (0.0, 0.0)  # the whole ground lies this far from where the chart has it


@dataclass(frozen=True, slots=True)
class Shower:
    """A round rain shower that moves."""

    at_m: tuple[float, float]
    radius_m: float
    rate_mmh: float
    velocity: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Skies:
    """Wind, sea and rain."""

    wind_from_rad: float = 0.0
    wind_speed: float = 2.0
    wave_height_m: float | None = None  # None: what this wind raises in these waters
    rain_mmh: float = 0.0
    showers: tuple[Shower, ...] = ()


@dataclass(frozen=True, slots=True)
class RadarUse:
    """How the radar is set, and what is wrong with it."""

    scale_nm: float = 1.5
    n_spoke: int = 1024
    n_cell: int = 768
    loss_db: float = 0.0  # one more loss that the boat file does not know: a wet or failing scanner
    silent_s: tuple[Span, ...] = ()
    frozen_s: tuple[Span, ...] = ()
    other_radars: int = 0  # whose pulses are heard
    indirect_db: float | None = None  # reflections off the own mast; None: none
    multiple_db: float | None = None  # second trips between the boat and a strong near thing; None: none
    racons: bool = False


@dataclass(frozen=True, slots=True)
class Sensors:
    """What is wrong with the boat's own instruments."""

    heading_bias_rad: float = 0.0  # reported minus true
    heading_noise_rad: float = 0.004
    position_offset_m: tuple[float, float] = (0.0, 0.0)  # reported minus true
    position_noise_m: float = 1.2
    gnss_out_s: tuple[Span, ...] = ()
    heading_out_s: tuple[Span, ...] = ()
    heading_hz: float = 10.0


@dataclass(frozen=True, slots=True)
class Scene:
    """The whole."""

    name: str
    about: str
    seed: int
    start_ns: int
    duration_s: float | None  # None: until own track is run
    frame: LocalFrame
    tide_m: float
    boat: Boat
    boat_is_assumed: bool
    radar: RadarUse
    own: Script
    waters: Waters = field(default_factory=Waters)
    skies: Skies = field(default_factory=Skies)
    sensors: Sensors = field(default_factory=Sensors)
    objects: tuple[SceneObject, ...] = ()
