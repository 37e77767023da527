"""The boat's own position, heading and motion as time series.

Rules of this file:
- Each quantity is its own series with its own times: a heading sensor runs at 10 Hz, a GNSS receiver at 1.
- A value between two samples is interpolated (angles the short way round); beyond the last it is carried on
  along the motion, and its age says for how long.  Before the first there is nothing: NaN.
- Nothing is forgotten by being late: a sample older than the newest is put in its place.
"""

from __future__ import annotations

import bisect
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.frames import destination, wrap_pi, wrap_tau
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

KEEP_S = 120.0  # longest turn of a slow antenna many times over
# Two position samples further apart than this are not joined by a line: what lay between is unknown.
MAX_GAP_S = 5.0


@dataclass(frozen=True, slots=True)
class PoseSample:
    """What one sentence said about the boat; None: not said.

    ``heading_true_rad`` is already true: magnetic headings are corrected where they are decoded.
    """

    time_ns: int
    lat_deg: float | None = None
    lon_deg: float | None = None
    heading_true_rad: float | None = None
    cog_rad: float | None = None
    sog: float | None = None  # m/s over the ground
    turn_rate: float | None = None  # rad/s, positive to starboard


@dataclass(frozen=True, slots=True, eq=False)
class PosesAt:
    """The pose at each asked time: all shape (n,), NaN where unknown."""

    lat_deg: NDArray[np.float64]
    lon_deg: NDArray[np.float64]
    heading_true_rad: NDArray[np.float64]
    cog_rad: NDArray[np.float64]
    sog: NDArray[np.float64]
    position_age: NDArray[np.float64]  # seconds from the nearest real position sample; inf: there was none
    heading_age: NDArray[np.float64]


@dataclass(slots=True)
class _Series:
    time_ns: list[int] = field(default_factory=list)
    values: list[tuple[float, ...]] = field(default_factory=list)

    def add(self, time_ns: int, *value: float) -> None:
        if self.time_ns and time_ns <= self.time_ns[-1]:
            at = bisect.bisect_left(self.time_ns, time_ns)
            if self.time_ns[at] == time_ns:
                self.values[at] = value
                return
            self.time_ns.insert(at, time_ns)
            self.values.insert(at, value)
        else:
            self.time_ns.append(time_ns)
            self.values.append(value)
        horizon = self.time_ns[-1] - int(KEEP_S * NS_PER_S)
        if self.time_ns[0] < horizon - NS_PER_S:
            drop = bisect.bisect_left(self.time_ns, horizon)
            del self.time_ns[:drop], self.values[:drop]

    def around(self, asked_ns: NDArray[np.int64]) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float64]]:
        """Return (index before, index after, fraction 0..1); equal indices where there is one neighbour."""
        times = np.asarray(self.time_ns, dtype=np.int64)
        after = np.clip(np.searchsorted(times, asked_ns, side="left"), 0, times.size - 1)
        before = np.clip(np.where(times[after] > asked_ns, after - 1, after), 0, times.size - 1)
        span = np.maximum(times[after] - times[before], 1)
        fraction = np.where(after == before, 0.0, (asked_ns - times[before]) / span)
        return before, after, fraction

    def age(self, asked_ns: NDArray[np.int64], before: Indices, after: Indices) -> Floats:
        times = np.asarray(self.time_ns, dtype=np.int64)
        nearest: NDArray[np.float64] = (
            np.minimum(np.abs(asked_ns - times[before]), np.abs(times[after] - asked_ns)) / NS_PER_S
        )
        return nearest


class PoseSeries:
    """Position, heading and course/speed over ground against time."""

    def __init__(self) -> None:
        self._position = _Series()
        self._heading = _Series()
        self._motion = _Series()
        self._turn = _Series()

    def add(self, sample: PoseSample) -> None:
        """Take in what one sentence said."""
        if sample.lat_deg is not None and sample.lon_deg is not None:
            self._position.add(sample.time_ns, sample.lat_deg, sample.lon_deg)
        if sample.heading_true_rad is not None:
            self._heading.add(sample.time_ns, sample.heading_true_rad)
        if sample.sog is not None:
            # A receiver at rest leaves its course blank: the speed is known all the same.
            course, is_known = (0.0, 0.0) if sample.cog_rad is None else (sample.cog_rad, 1.0)
            self._motion.add(sample.time_ns, course, sample.sog, is_known)
        if sample.turn_rate is not None:
            self._turn.add(sample.time_ns, sample.turn_rate)

    def at(self, time_ns: NDArray[np.int64] | int) -> PosesAt:
        """Return the pose at each time; see the rules of this file."""
        asked = np.atleast_1d(np.asarray(time_ns, dtype=np.int64))
        cog, sog, _ = self._motion_at(asked)
        heading, heading_age = self._heading_at(asked)
        lat, lon, position_age = self._position_at(asked, cog, sog)
        return PosesAt(lat, lon, heading, cog, sog, position_age, heading_age)

    @property
    def last_motion_ns(self) -> int | None:
        """Time of the newest course and speed over ground."""
        return self._motion.time_ns[-1] if self._motion.time_ns else None

    def _motion_at(self, asked: NDArray[np.int64]) -> tuple[Floats, Floats, Floats]:
        if not self._motion.time_ns:
            return _unknown(asked), _unknown(asked), np.full(asked.shape, np.inf)
        before, after, fraction = self._motion.around(asked)
        values = np.asarray(self._motion.values)
        # Interpolated as a velocity vector: the course of a stopped boat is noise and must not be averaged as an angle.
        east = values[:, 1] * np.sin(values[:, 0])
        north = values[:, 1] * np.cos(values[:, 0])
        east_at = east[before] + fraction * (east[after] - east[before])
        north_at = north[before] + fraction * (north[after] - north[before])
        age = self._motion.age(asked, before, after)
        early = asked < self._motion.time_ns[0]
        course_unknown = (values[before, 2] == 0.0) | (values[after, 2] == 0.0)
        # Between a known course and none the vectors cannot be joined; the speeds can.
        speed = values[before, 1] + fraction * (values[after, 1] - values[before, 1])
        sog = np.where(course_unknown, speed, np.hypot(east_at, north_at))
        cog = np.where(sog > 1e-9, np.mod(np.arctan2(east_at, north_at), TAU), values[before, 0])
        return np.where(early | course_unknown, np.nan, cog), np.where(early, np.nan, sog), age

    def _heading_at(self, asked: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        if not self._heading.time_ns:
            return _unknown(asked), np.full(asked.shape, np.inf)
        before, after, fraction = self._heading.around(asked)
        values = np.asarray(self._heading.values)[:, 0]
        heading = values[before] + fraction * wrap_pi(values[after] - values[before])
        late = asked > self._heading.time_ns[-1]
        if np.any(late) and self._turn.time_ns:
            ahead = (asked - self._heading.time_ns[-1]) / NS_PER_S
            # A turn rate is good for a second or two; after that the heading is merely old.
            heading = heading + np.where(late, self._turn.values[-1][0] * np.clip(ahead, 0.0, 2.0), 0.0)
        early = asked < self._heading.time_ns[0]
        return np.where(early, np.nan, wrap_tau(heading)), self._heading.age(asked, before, after)

    def _position_at(
        self, asked: NDArray[np.int64], cog: NDArray[np.float64], sog: NDArray[np.float64]
    ) -> tuple[Floats, Floats, Floats]:
        if not self._position.time_ns:
            return _unknown(asked), _unknown(asked), np.full(asked.shape, np.inf)
        before, after, fraction = self._position.around(asked)
        values = np.asarray(self._position.values)
        lat, lon = values[:, 0], values[:, 1]
        lon_step = np.mod(lon[after] - lon[before] + 180.0, 360.0) - 180.0
        times = np.asarray(self._position.time_ns, dtype=np.int64)
        # Across a gap too long to join, hold to the sample before and let the age speak.
        joined = np.where((times[after] - times[before]) / NS_PER_S <= MAX_GAP_S, fraction, 0.0)
        lat_at = lat[before] + joined * (lat[after] - lat[before])
        lon_at = lon[before] + joined * lon_step
        late = asked > times[-1]
        if np.any(late):
            moving = late & np.isfinite(sog) & np.isfinite(cog)
            away = sog[moving] * (asked[moving] - times[-1]) / NS_PER_S
            n = int(np.count_nonzero(moving))
            lat_at[moving], lon_at[moving] = destination(
                np.full(n, lat[-1]), np.full(n, lon[-1]), np.degrees(cog[moving]), away
            )
        early = asked < times[0]
        lon_at = np.mod(lon_at + 180.0, 360.0) - 180.0
        return (
            np.where(early, np.nan, lat_at),
            np.where(early, np.nan, lon_at),
            self._position.age(asked, before, after),
        )


def _unknown(like: NDArray[np.int64]) -> NDArray[np.float64]:
    return np.full(like.shape, np.nan)
