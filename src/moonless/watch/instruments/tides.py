"""The height of tide under way: predicted from stations, asked once a turn."""

from __future__ import annotations

import math

from moonless.errors import NoCoverage
from moonless.frames import geodesic
from moonless.sea.stations import Stations
from moonless.sea.tide import TideBetween, tide_between
from moonless.units import NS_PER_S

# The stations are chosen anew when the boat has come this far, and the height is worked out this often: it changes by
# a few millimetres in a minute.
CHOOSE_AGAIN_M = 1000.0
EVERY_NS = 60 * NS_PER_S


class TideUnderWay:
    """Heights at the boat, metres above the stations' datum, which is taken to be the chart's."""

    def __init__(self, stations: Stations) -> None:
        self._stations = stations
        self._between: TideBetween | None = None
        self._at: tuple[float, float] | None = None
        self._last: tuple[int, float | None] | None = None

    def height_m(self, time_ns: int, lat_deg: float | None, lon_deg: float | None) -> float | None:
        """Return the height now; None: no station near enough says, or the boat's place was never known."""
        if lat_deg is not None and lon_deg is not None:
            self._choose(lat_deg, lon_deg)
        if self._between is None:
            return None
        if self._last is None or not 0 <= time_ns - self._last[0] < EVERY_NS:
            metres = float(self._between.heights([time_ns / NS_PER_S])[0])
            self._last = (time_ns, metres if math.isfinite(metres) else None)
        return self._last[1]

    def _choose(self, lat_deg: float, lon_deg: float) -> None:
        if self._at is not None and float(geodesic(*self._at, lat_deg, lon_deg)[0]) < CHOOSE_AGAIN_M:
            return
        self._at, self._last = (lat_deg, lon_deg), None
        try:
            self._between = tide_between(self._stations, lat_deg, lon_deg)
        except NoCoverage:
            self._between = None
