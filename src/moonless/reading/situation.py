"""All that the judge is given for one turn."""

from __future__ import annotations

from dataclasses import dataclass

from moonless.echo.types import EchoPicture
from moonless.frames import LocalFrame
from moonless.reading.types import Fault
from moonless.rules.steering import Sight
from moonless.scan.types import Scan
from moonless.track.types import AisTarget, Track


@dataclass(frozen=True, slots=True)
class OwnState:
    """The boat at the time of the reading; None where unknown or withdrawn by a fault."""

    lat_deg: float | None
    lon_deg: float | None
    heading_true_rad: float | None
    cog_rad: float | None
    sog: float | None
    turn_rate: float | None = None
    position_age: float | None = None  # seconds


@dataclass(frozen=True, slots=True)
class Held:
    """A position that radar and chart carry on while the receiver says nothing; it stands in `OwnState` as if reported.

    ``is_good``: sure enough, and confirmed lately enough, for all that rests on a position.
    """

    lat_deg: float
    lon_deg: float
    cog_rad: float | None
    sog: float | None
    velocity: tuple[float, float]  # east and north, m/s over the ground
    sigma_m: float
    age_s: float  # since radar and chart last confirmed it
    is_good: bool


@dataclass(frozen=True, slots=True)
class BearingByMotion:
    """By what angle bearings as reported are out, clockwise, as the still world shows it over the boat's own way."""

    bias_rad: float
    sigma_rad: float  # one standard deviation


@dataclass(frozen=True, slots=True, eq=False)
class Situation:
    """One turn, whole.  ``scan`` and ``picture`` are None when the radar is silent."""

    time_ns: int
    own: OwnState
    frame: LocalFrame | None  # of the tracks
    scan: Scan | None
    picture: EchoPicture | None
    tracks: tuple[Track, ...]
    ais: tuple[AisTarget, ...] = ()
    faults: tuple[Fault, ...] = ()
    is_hearing_shown: bool = True  # the radar's own picture has shown that it hears; else how far it sees is not known
    depth_below_surface_m: float | None = None  # sounder, corrected to the waterline
    tide_m: float | None = None  # above chart datum; None: not known
    wind_from_rad: float | None = None  # true
    wind_speed: float | None = None
    held: Held | None = None  # given when the position in ``own`` is one that radar and chart carry on
    sight: Sight = "unsure"
    way: tuple[tuple[float, float], ...] = ()  # (lat, lon) of the route's turns still ahead; empty: none is followed
    # There is no radar video: the tracks are another radar's targets, and what it does not track is not known.
    targets_only: bool = False
    range_factor: float = 1.0  # by which the ranges that the set tells were taken
    bearing_by_motion: BearingByMotion | None = None  # None: not known that way
