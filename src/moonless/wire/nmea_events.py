"""What instruments say, once decoded: SI and radians, None where a field was blank.

One set of events for every door: NMEA 0183 sentences, NMEA 2000 groups, Signal K deltas.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from moonless.scan.pose import PoseSample
from moonless.wire.ais import AisReport

TargetStatus = Literal["L", "Q", "T"]
"""Lost, acquiring, tracking."""


@dataclass(frozen=True, slots=True)
class Said:
    """What every event carries.

    ``time_ns`` is when it was true: by the sentence itself or its tag block (``is_timed``), else the time of receipt.
    """

    received_ns: int
    time_ns: int
    is_timed: bool
    talker: str  # of NMEA 0183; the device of a bus; the source that a Signal K server names
    kind: str  # RMC, HDT ...; a group of NMEA 2000: 129029


@dataclass(frozen=True, slots=True)
class PoseSaid(Said):
    """Position, course and speed over the ground, heading, or rate of turn; ``pose.time_ns`` equals ``time_ns``."""

    pose: PoseSample
    is_magnetic: bool = False  # a compass, corrected with the model: a true heading is to be preferred


@dataclass(frozen=True, slots=True)
class NoFixSaid(Said):
    """A receiver that says it has no position: it is alive and its position is not to be used."""


@dataclass(frozen=True, slots=True)
class ClockSaid(Said):
    """A date and time, in ``time_ns``."""


@dataclass(frozen=True, slots=True)
class DepthSaid(Said):
    """Depth of water."""

    below_transducer_m: float
    offset_m: float | None  # above zero: transducer below the waterline; below zero: keel below the transducer

    @property
    def below_surface_m(self) -> float | None:
        """Depth from the waterline; None when the sounder does not say how deep it sits."""
        return self.below_transducer_m + self.offset_m if self.offset_m is not None and self.offset_m > 0.0 else None


@dataclass(frozen=True, slots=True)
class DepthLostSaid(Said):
    """A sounder that is alive and does not find the bottom."""


@dataclass(frozen=True, slots=True)
class WindSaid(Said):
    """Wind as the sensor gives it."""

    from_rad: float  # where it comes from, clockwise from the bow, or from true north where ``is_from_north``
    speed: float
    is_apparent: bool  # False: the instrument has taken the boat's own motion out
    is_from_north: bool = False


@dataclass(frozen=True, slots=True)
class AttitudeSaid(Said):
    """How the boat lies; None where not said."""

    roll_rad: float | None  # positive to starboard
    pitch_rad: float | None  # positive bow up
    yaw_rad: float | None


@dataclass(frozen=True, slots=True)
class WaterSaid(Said):
    """Speed through the water."""

    speed: float


@dataclass(frozen=True, slots=True)
class TargetSaid(Said):
    """A target another radar tracks, by range and bearing."""

    number: int
    range_m: float | None
    bearing_rad: float | None
    is_relative: bool  # bearing from the bow; else true
    speed: float | None
    course_rad: float | None
    cpa_m: float | None
    tcpa_s: float | None  # negative: past
    name: str | None
    status: str | None  # L lost, Q acquiring, T tracking


@dataclass(frozen=True, slots=True)
class TargetPlaceSaid(Said):
    """A target another radar tracks, by position."""

    number: int
    lat_deg: float
    lon_deg: float
    name: str | None
    status: str | None


@dataclass(frozen=True, slots=True)
class AisSaid(Said):
    """An AIS message, whole."""

    report: AisReport
    age_ns: int = 0  # how old it was when it came: a server passes on what it heard before
