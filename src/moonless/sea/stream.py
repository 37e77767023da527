"""Tidal streams: harmonic at reference stations, by differences at subordinate ones; the current triangle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from moonless.constants import TAU
from moonless.errors import NoCoverage
from moonless.sea.stations import Stations, StreamStation
from moonless.sea.tide import MARGIN_S, SEARCH_STEP_S, half_cosine, harmonic_sum, turning_points

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class StreamEvent:
    """One slack or one strength of stream; ``speed`` along the flood, negative on the ebb."""

    time_s: float
    speed: float
    kind: Literal["slack before flood", "flood", "slack before ebb", "ebb"]


class StreamHere:
    """Streams at one station."""

    def __init__(self, station: StreamStation, stations: Stations) -> None:
        """Raise NoCoverage if the station has neither constants nor a reference that has."""
        self.station = station
        self._reference = station
        if not station.harmonics and station.offsets is not None:
            reference = stations.streams.get(station.offsets.reference)
            if reference is None:
                raise NoCoverage(f"{station.name} follows {station.offsets.reference}, which is not among the stations")
            self._reference = reference
        if not self._reference.harmonics:
            raise NoCoverage(f"{station.name} has no harmonic constants")

    def _reference_speed(self, time: Floats) -> Floats:
        return harmonic_sum(self._reference.harmonics, time) + self._reference.mean_flow

    def _reference_events(self, start_s: float, end_s: float) -> list[StreamEvent]:
        events = []
        for time, value in turning_points(self._reference.harmonics, start_s, end_s):
            speed = value + self._reference.mean_flow
            events.append(StreamEvent(time, speed, "flood" if speed > 0 else "ebb"))
        grid = np.arange(start_s, end_s + SEARCH_STEP_S, SEARCH_STEP_S)
        speeds = self._reference_speed(grid)
        floods = speeds > 0.0  # a sample at slack itself is the end of the ebb or of the flood, and counted once
        for k in np.flatnonzero(floods[:-1] != floods[1:]):
            # Linear between ten-minute values: a slack is known to no better than that anyway.
            time = grid[k] + SEARCH_STEP_S * speeds[k] / (speeds[k] - speeds[k + 1])
            events.append(StreamEvent(float(time), 0.0, "slack before ebb" if floods[k] else "slack before flood"))
        return sorted(events, key=lambda e: e.time_s)

    def events(self, start_s: float, end_s: float) -> list[StreamEvent]:
        """Return slacks and strengths between two Unix times, in order."""
        offsets = None if self.station.harmonics else self.station.offsets
        found = self._reference_events(start_s - MARGIN_S, end_s + MARGIN_S)
        if offsets is not None:
            shift = {
                "slack before flood": (offsets.slack_before_flood_s, 0.0),
                "flood": (offsets.flood_s, offsets.flood_ratio),
                "slack before ebb": (offsets.slack_before_ebb_s, 0.0),
                "ebb": (offsets.ebb_s, offsets.ebb_ratio),
            }
            found = [StreamEvent(e.time_s + shift[e.kind][0], e.speed * shift[e.kind][1], e.kind) for e in found]
        return sorted((e for e in found if start_s <= e.time_s <= end_s), key=lambda e: e.time_s)

    def along_flood(self, time_s: ArrayLike) -> Floats:
        """Return m/s along the flood (negative: ebbing), shape (n,); NaN where it cannot be said."""
        time = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
        if self.station.harmonics:
            return self._reference_speed(time)
        events = self.events(float(time.min()) - MARGIN_S, float(time.max()) + MARGIN_S)
        return half_cosine(time, [e.time_s for e in events], [e.speed for e in events])

    def velocity(self, time_s: ArrayLike) -> tuple[Floats, Floats]:
        """Return (east, north) m/s of the water, each shape (n,)."""
        along = self.along_flood(time_s)
        direction = np.where(along >= 0, self.station.flood_rad, self.station.ebb_rad)
        speed = np.abs(along)
        return speed * np.sin(direction), speed * np.cos(direction)


@dataclass(frozen=True, slots=True)
class Steer:
    """What to steer to make a track good, and the speed it makes."""

    course_rad: float
    speed_over_ground: float


def course_to_steer(track_rad: float, boat_speed: float, stream_east: float, stream_north: float) -> Steer | None:
    """Return the course through the water that makes ``track_rad`` good; None if the stream is too strong for it.

    Source: the current triangle; elementary.
    """
    set_rad, drift = math.atan2(stream_east, stream_north), math.hypot(stream_east, stream_north)
    across = drift * math.sin(set_rad - track_rad)
    if abs(across) > boat_speed:
        return None
    correction = math.asin(-across / boat_speed) if boat_speed > 0 else 0.0
    made_good = boat_speed * math.cos(correction) + drift * math.cos(set_rad - track_rad)
    if made_good <= 0.0:
        return None
    return Steer((track_rad + correction) % TAU, made_good)
