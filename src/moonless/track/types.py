"""Tracks: one echo through time, over the ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

TrackState = Literal["tentative", "confirmed", "coasting"]


@dataclass(frozen=True, slots=True)
class AisTarget:
    """What AIS last said of one vessel or aid, in plain units; None: not said."""

    mmsi: int
    time_ns: int  # of the newest position
    lat_deg: float
    lon_deg: float
    cog_rad: float | None = None
    sog: float | None = None
    heading_rad: float | None = None
    name: str | None = None
    length_m: float | None = None
    beam_m: float | None = None
    ship_type: int | None = None
    nav_status: int | None = None
    is_aid: bool = False  # message 21
    is_virtual_aid: bool = False
    is_own: bool = False  # VDO


@dataclass(frozen=True, slots=True)
class RadarTarget:
    """A target that another radar tracks (TTM, TLL), placed by the caller; None: not said."""

    source: str  # which radar, as the link is called
    number: int  # its own number of the target
    time_ns: int
    lat_deg: float
    lon_deg: float
    cog_rad: float | None = None
    sog: float | None = None  # m/s over the ground
    name: str | None = None
    position_sigma_m: float = 30.0  # each axis


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """One echo through time.  Plane positions are in the tracker's `LocalFrame`.

    ``covariance`` holds every error, those shared by all echoes too (heading, own position).
    """

    id: int
    state: TrackState
    time_ns: int  # to which the state is predicted
    east_m: float
    north_m: float
    velocity_east: float  # m/s over the ground
    velocity_north: float
    covariance: NDArray[np.float64]  # (4, 4): east, north, velocity east, velocity north; SI
    p_exists: float
    p_moving: float  # that it moves over the ground, given every error
    turn_rate: float | None  # rad/s, positive to starboard
    length_m: float | None  # along its long axis; None: not resolved
    beam_m: float | None
    orientation_rad: float | None  # true, of the long axis, [0, pi)
    strength_db: float  # smoothed, above the local floor
    started_ns: int
    last_plot_ns: int
    n_scans: int  # turns since it began
    n_hits: int  # of them with a plot
    misses_in_a_row: int
    last_plot: int | None  # index into this scan's plots, None: coasted
    false_parent: int | None = None  # id of the track whose ghost this is
    false_cause: str | None = None
    ais: AisTarget | None = None
    turn_rate_sigma: float | None = None  # rad/s
    length_sigma_m: float | None = None
    orientation_sigma_rad: float | None = None
    hull_heading_rad: float | None = None  # true, of an extended hull: the end of the long axis she moves towards
    other_radar: RadarTarget | None = None
    seen_share: float = 1.0  # of the last dozen turns in which it could be seen, how many showed it
    clutter_per_m2: float = 0.0  # plots a square metre and turn round about that nothing explains, its own left out
    is_held: bool = True  # confirmed, and seen this turn or with a record of hits and misses that speaks for a fade

    @property
    def course_rad(self) -> float:
        """True course over the ground, [0, 2 pi)."""
        return float(np.mod(np.arctan2(self.velocity_east, self.velocity_north), 2 * np.pi))

    @property
    def speed(self) -> float:
        """Speed over the ground, m/s."""
        return float(np.hypot(self.velocity_east, self.velocity_north))

    @property
    def speed_sigma(self) -> float:
        """One standard deviation of the speed, m/s; near rest that of the velocity itself."""
        v = self.covariance[2:, 2:]
        speed = self.speed
        if speed * speed < float(np.trace(v)) / 2.0:
            return float(np.sqrt(max(float(np.trace(v)) / 2.0, 0.0)))
        u = np.array([self.velocity_east, self.velocity_north]) / speed
        return float(np.sqrt(max(float(u @ v @ u), 0.0)))

    @property
    def course_sigma_rad(self) -> float:
        """One standard deviation of the course; pi / sqrt(3), no knowledge at all, when the speed is lost in noise."""
        speed = self.speed
        nothing = float(np.pi / np.sqrt(3.0))
        if speed <= 0.0:
            return nothing
        across = np.array([self.velocity_north, -self.velocity_east]) / speed
        sigma = float(np.sqrt(max(float(across @ self.covariance[2:, 2:] @ across), 0.0))) / speed
        return min(sigma, nothing)


@dataclass(frozen=True, slots=True)
class Former:
    """A track as it was last told."""

    id: int
    time_ns: int
    lat_deg: float
    lon_deg: float
    east: float  # m/s over the ground
    north: float
