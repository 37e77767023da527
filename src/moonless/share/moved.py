"""Where and when a shared run is: moved as a whole, so that distances, bearings and intervals stay as they were."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from moonless.errors import InputError
from moonless.frames import LocalFrame, geodesic

# Open ocean, far from any coast: a fixed place tells nothing, where a drawn offset would give all away with one point.
_OCEANS = ((-35.0, -120.0), (32.0, -45.0), (-30.0, 85.0), (25.0, 170.0))
# What is moved at all is moved so far: nothing of a run reaches from one to the other.
FAR_M = 1_000_000.0
# Whole minutes: the second within the minute, which AIS messages carry, stays true.
MINUTE_NS = 60 * 1_000_000_000


@dataclass(frozen=True, slots=True)
class Moved:
    """Takes places of a run to where it is shared, and times by so much."""

    here: LocalFrame
    there: LocalFrame
    time_ns: int

    @classmethod
    def away(cls, lat_deg: float, lon_deg: float, others: Iterable[tuple[float, float]], time_ns: int = 0) -> Moved:
        """Return what moves a run from its first place to an ocean that no place of it lies near.

        ``time_ns`` is taken to the whole minute.  Raises InputError if the run spans the oceans.
        """
        places = [(lat_deg, lon_deg), *others]
        for ocean in _OCEANS:
            if all(float(geodesic(*ocean, lat, lon)[0]) > FAR_M for lat, lon in places):
                whole_ns = round(time_ns / MINUTE_NS) * MINUTE_NS
                return cls(LocalFrame(lat_deg, lon_deg), LocalFrame(*ocean), whole_ns)
        raise InputError("the run reaches over oceans: there is no place to move it to")

    def place(self, lat_deg: float, lon_deg: float) -> tuple[float, float]:
        """Return (lat, lon) where a place is moved to."""
        lat, lon = self.there.to_geographic(*self.here.to_plane(lat_deg, lon_deg))
        return float(lat), float(lon)

    def geometry(self, shape: object) -> list[object]:
        """Return the coordinates of a GeoJSON geometry moved: [lon, lat] pairs, however deep."""
        if isinstance(shape, list | tuple):
            if len(shape) >= 2 and all(isinstance(v, int | float) for v in shape):
                lat, lon = self.place(float(shape[1]), float(shape[0]))
                return [round(lon, 7), round(lat, 7)]
            return [self.geometry(inner) for inner in shape]
        return []

    def time(self, time_ns: int) -> int:
        """Return when something is said to have been."""
        return time_ns + self.time_ns
