"""Tide and stream at each leg, from the stations given; None where no station says."""

from __future__ import annotations

import math

from moonless.errors import NoCoverage
from moonless.frames import wrap_360
from moonless.passage.types import WaterAt
from moonless.sea.stations import Stations
from moonless.sea.stream import StreamHere
from moonless.sea.tide import TideHere, tide_at
from moonless.units import mps_to_kn

# A stream is a local thing: no station farther than this speaks for a place.  Common practice, no source.
STREAM_REACH_M = 2.0 * 1852.0


class Water:
    """Answers for one set of stations, keeping what it has worked out."""

    def __init__(self, stations: Stations | None) -> None:
        self._stations = stations
        self._streams: dict[str, StreamHere | None] = {}

    def at(self, lat_deg: float, lon_deg: float, time_s: float) -> WaterAt:
        """Return tide and stream at a place and time."""
        if self._stations is None:
            return WaterAt(time_s, None, "no tide stations given", None, None, "no stream stations given")
        try:
            tide = tide_at(self._stations, lat_deg, lon_deg, [time_s])
            tide_m, how = float(tide.height_m[0]), tide.how
            if math.isnan(tide_m):
                tide_m, how = math.nan, "the tide there and then cannot be said"
        except NoCoverage as none:
            tide_m, how = math.nan, str(none)
        set_deg, drift_kn, stream_how = self._stream(lat_deg, lon_deg, time_s)
        return WaterAt(time_s, None if math.isnan(tide_m) else tide_m, how, set_deg, drift_kn, stream_how)

    def _stream(self, lat_deg: float, lon_deg: float, time_s: float) -> tuple[float | None, float | None, str]:
        assert self._stations is not None
        for distance, station in self._stations.streams_near(lat_deg, lon_deg, STREAM_REACH_M):
            if station.id not in self._streams:
                try:
                    self._streams[station.id] = StreamHere(station, self._stations)
                except NoCoverage:
                    self._streams[station.id] = None
            here = self._streams[station.id]
            if here is None:
                continue
            east, north = here.velocity([time_s])
            drift = math.hypot(float(east[0]), float(north[0]))
            if math.isnan(drift):
                continue
            set_deg = wrap_360(math.degrees(math.atan2(float(east[0]), float(north[0]))))
            return set_deg, mps_to_kn(drift), f"stream at {station.name}, {distance / 1852:.1f} NM off"
        return None, None, f"no stream station within {STREAM_REACH_M / 1852:.0f} NM"

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
            return tuple((t.time_s, f"{words[t.kind]} {t.height_m:.1f} m at {station.name}") for t in turns)
        return ()
