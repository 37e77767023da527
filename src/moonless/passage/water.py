"""Tide and stream at each leg, from the stations given; None where no station says.

A departure search asks the same stations hundreds of times, so a station's day is worked out once, every six minutes
(the agency's own step), and read between: the curve bends by less than a millimetre in that.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from moonless.errors import NoCoverage
from moonless.frames import wrap_360
from moonless.passage.types import WaterAt
from moonless.sea.stations import Stations
from moonless.sea.stream import StreamHere
from moonless.sea.tide import TideBetween, TideHere, tide_between
from moonless.units import down, mps_to_kn

Floats = NDArray[np.float64]

# A stream is a local thing: no station farther than this speaks for a place.  Common practice, no source.
STREAM_REACH_M = 2.0 * 1852.0
DAY_S, STEP_S = 86_400.0, 360.0


class _Days:
    """Values of one curve, a day at a time."""

    def __init__(self, curve: Callable[[Floats], Floats]) -> None:
        self._curve = curve
        self._days: dict[int, Floats] = {}

    def at(self, time_s: float) -> float:
        day = int(time_s // DAY_S)
        if day not in self._days:
            self._days[day] = self._curve(day * DAY_S + np.arange(0.0, DAY_S + STEP_S / 2, STEP_S))
        place = (time_s - day * DAY_S) / STEP_S
        before = min(int(place), self._days[day].size - 2)
        low, high = self._days[day][before], self._days[day][before + 1]
        return float(low + (place - before) * (high - low))


class _TideTable:
    def __init__(self, between: TideBetween) -> None:
        self.how = between.how
        self.mean_high_water_m = between.mean_high_water_m
        self.between = between
        self._heights = _Days(between.heights)

    def at(self, time_s: float) -> float:
        return self._heights.at(time_s)


class _StreamTable:
    def __init__(self, here: StreamHere, distance_m: float) -> None:
        self.how = f"stream at {here.station.name}, {distance_m / 1852:.1f} NM off"
        self._here = here
        self._along = _Days(here.along_flood)

    def at(self, time_s: float) -> tuple[float, float] | None:
        """Return (set in degrees, drift in m/s); None where it cannot be said."""
        along = self._along.at(time_s)
        if math.isnan(along):
            return None
        direction = self._here.station.flood_rad if along >= 0 else self._here.station.ebb_rad
        return wrap_360(math.degrees(direction)), abs(along)


class Water:
    """Answers for one set of stations, keeping what it has worked out."""

    def __init__(self, stations: Stations | None) -> None:
        self._stations = stations
        self._tides: dict[tuple[float, float], _TideTable | str] = {}
        self._streams: dict[tuple[float, float], _StreamTable | None] = {}

    def at(self, lat_deg: float, lon_deg: float, time_s: float) -> WaterAt:
        """Return tide and stream at a place and time."""
        if self._stations is None:
            return WaterAt(time_s, None, "no tide stations given", None, None, "no stream stations given")
        tide = self._tide_table(self._stations, lat_deg, lon_deg)
        tide_m, how = (None, tide) if isinstance(tide, str) else (tide.at(time_s), tide.how)
        if tide_m is not None and math.isnan(tide_m):
            tide_m, how = None, "the tide there and then cannot be said"
        stream = self._stream_table(self._stations, lat_deg, lon_deg)
        found = None if stream is None else stream.at(time_s)
        if stream is None or found is None:
            nowhere = f"no stream station within {STREAM_REACH_M / 1852:.0f} NM"
            return WaterAt(time_s, tide_m, how, None, None, nowhere)
        return WaterAt(time_s, tide_m, how, found[0], mps_to_kn(found[1]), stream.how)

    def over_datum_m(self, lat_deg: float, lon_deg: float, datum: str) -> tuple[float, str]:
        """Return (what to add to a tide to have it above the chart's datum, words where that is not known)."""
        table = None if self._stations is None else self._tide_table(self._stations, lat_deg, lon_deg)
        if table is None or isinstance(table, str) or not datum:
            return 0.0, ""
        step = table.between.over_datum_m(datum)
        if step is not None:
            return step, ""
        return 0.0, f"depths stand below {datum}, the tide above {table.between.datum}: their sum may be out"

    def range_m(
        self, lat_deg: float, lon_deg: float, start_s: float, end_s: float
    ) -> tuple[float | None, float | None]:
        """Return (lowest tide of a span of time, how far its highest stands above mean high water).

        Either is None where it is not known.  Depths are held against the first: a shoal may be met at any time of a
        leg.  The second takes room from under bridges, whose clearances stand above a high-water level.
        """
        table = None if self._stations is None else self._tide_table(self._stations, lat_deg, lon_deg)
        if table is None or isinstance(table, str):
            return None, None
        times = np.append(np.arange(start_s, end_s, STEP_S), end_s)
        heights = np.array([table.at(float(t)) for t in times])
        if np.isnan(heights).any():
            return None, None
        high = table.mean_high_water_m
        return float(heights.min()), None if high is None else float(heights.max()) - high

    def enough(
        self, lat_deg: float, lon_deg: float, least_m: float, start_s: float, end_s: float
    ) -> tuple[tuple[float, float], ...] | None:
        """Return the spans of time in which the tide stands at ``least_m`` or above; None: the tide is not known."""
        curve = self.curve(lat_deg, lon_deg, start_s, end_s)
        return None if curve is None else self.above(*curve, least_m)

    def curve(self, lat_deg: float, lon_deg: float, start_s: float, end_s: float) -> tuple[Floats, Floats] | None:
        """Return (times, heights) of the tide over a span of time, each (n,); None: the tide is not known."""
        table = None if self._stations is None else self._tide_table(self._stations, lat_deg, lon_deg)
        if table is None or isinstance(table, str):
            return None
        times = np.arange(start_s, end_s + STEP_S, STEP_S)
        heights = np.array([table.at(float(t)) for t in times])
        return None if np.isnan(heights).any() else (times, heights)

    @staticmethod
    def above(times: Floats, heights: Floats, least_m: float) -> tuple[tuple[float, float], ...]:
        """Return the spans in which a curve stands at a height or above, their ends read between its samples."""
        above = heights >= least_m
        turns = np.flatnonzero(np.diff(np.concatenate([[False], above, [False]]).astype(np.int8)))

        def passed(low: int, high: int) -> float:
            share = (least_m - heights[low]) / (heights[high] - heights[low])
            return float(times[low] + share * (times[high] - times[low]))

        spans = []
        for first, after in zip(turns[::2], turns[1::2], strict=True):
            begin = float(times[0]) if first == 0 else passed(first - 1, first)
            end = float(times[-1]) if after == times.size else passed(after, after - 1)
            spans.append((begin, end))
        return tuple(spans)

    def _tide_table(self, stations: Stations, lat_deg: float, lon_deg: float) -> _TideTable | str:
        place = (lat_deg, lon_deg)
        if place not in self._tides:
            try:
                self._tides[place] = _TideTable(tide_between(stations, lat_deg, lon_deg))
            except NoCoverage as none:
                self._tides[place] = str(none)
        return self._tides[place]

    def _stream_table(self, stations: Stations, lat_deg: float, lon_deg: float) -> _StreamTable | None:
        place = (lat_deg, lon_deg)
        if place not in self._streams:
            self._streams[place] = None
            for distance, station in stations.streams_near(lat_deg, lon_deg, STREAM_REACH_M):
                try:
                    self._streams[place] = _StreamTable(StreamHere(station, stations), distance)
                    break
                except NoCoverage:
                    continue
        return self._streams[place]

    def tide_turns(self, lat_deg: float, lon_deg: float, start_s: float, end_s: float) -> tuple[tuple[float, str], ...]:
        """Return high and low waters of the nearest station that can say; empty: none can."""
        if self._stations is None:
            return ()
        for _, station in self._stations.tides_near(lat_deg, lon_deg, 40_000.0):
            try:
                turns = TideHere(station, self._stations).extremes(start_s, end_s)
            except NoCoverage:
                continue
            words = {"high": "high water", "low": "low water"}
            # Rounded first, so that none is told as minus nought.
            told = ((t, round(t.height_m, 1) + 0.0) for t in turns)
            return tuple((t.time_s, f"{words[t.kind]} {down(height)} m at {station.name}") for t, height in told)
        return ()
