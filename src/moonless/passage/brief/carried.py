"""The brief made ashore, carried to the helm as one file: the plan's JSON with weather, tide stations and margins.

The helm follows its route, and makes its own plan of it from the same weather, tides and margins; it takes no sentence
from the file.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from moonless.boat.types import Boat
from moonless.errors import InputError, SourceError
from moonless.files import read_small
from moonless.passage.night import Night
from moonless.passage.way.route import Route, Waypoint
from moonless.sea.stations import Stations, stations_of

MOST_BYTES = 50_000_000
# Stations farther than this from the route say nothing of it.  Own choice.
STATIONS_WITHIN_DEG = 1.0


@dataclass(frozen=True, slots=True)
class Carried:
    """What the helm takes from it."""

    route: Route
    night: Night
    stations: Stations | None  # None: none were given ashore
    depth_margin_m: float
    keep_off_m: float

    def boat(self, boat: Boat) -> Boat:
        """Return the helm's boat with the more careful of both margins."""
        skipper = boat.skipper
        deeper = max(skipper.depth_margin_m, self.depth_margin_m)
        wider = max(skipper.keep_off_m, self.keep_off_m)
        return replace(boat, skipper=replace(skipper, depth_margin_m=deeper, keep_off_m=wider))


def carried_dict(boat: Boat, night: Night, route: Route, station_files: Sequence[Path]) -> dict[str, object]:
    """Return what is carried beside the plan itself, JSON-ready."""
    west, south, east, north = route.bounds_lonlat(STATIONS_WITHIN_DEG * 111_000.0)
    records: list[object] = []
    for path in station_files:
        found = json.loads(path.read_text(encoding="utf-8"))
        kept = {str(r.get("id")) for r in found if isinstance(r, dict) and _is_near(r, west, south, east, north)}
        # A subordinate station needs its reference, wherever that lies.
        kept |= {str((r.get("offsets") or {}).get("reference")) for r in found if str(r.get("id")) in kept}
        records += [r for r in found if isinstance(r, dict) and str(r.get("id")) in kept]
    skipper = boat.skipper
    return {
        "night": {**asdict(night), "glows": [asdict(glow) for glow in night.glows]},
        "margins": {"depth_margin_m": skipper.depth_margin_m, "keep_off_m": skipper.keep_off_m},
        "stations": records,
    }


def _is_near(record: Mapping[str, object], west: float, south: float, east: float, north: float) -> bool:
    lat, lon = _first(record, "lat", "latitude"), _first(record, "lon", "lng", "longitude")
    return lat is None or lon is None or (south <= lat <= north and west <= lon <= east)


def _first(record: Mapping[str, object], *names: str) -> float | None:
    for name in names:
        value = record.get(name)
        if isinstance(value, int | float):
            return float(value)
    return None


def read_carried(path: Path) -> Carried:
    """Return what a plan's JSON carries.

    Raises InputError if it cannot be opened, SourceError in one line if it is not a plan that ``moonless plan --json``
    wrote.
    """
    try:
        found = json.loads(read_small(path, MOST_BYTES).decode("utf-8"))
    except OSError as problem:
        raise InputError(f"{path}: cannot be opened: {problem.strerror}") from problem
    except InputError:
        raise
    except (ValueError, RecursionError) as problem:
        raise SourceError(f"{path}: is not JSON: {problem}") from problem
    try:
        carry, night = found["carry"], found["carry"]["night"]
        route = Route(
            str(found["route"]),
            tuple(Waypoint(str(w["name"]), float(w["lat"]), float(w["lon"])) for w in found["waypoints"]),
        )
        glows = tuple(Waypoint(str(g["name"]), float(g["lat_deg"]), float(g["lon_deg"])) for g in night["glows"])
        margins = carry["margins"]
        return Carried(
            route,
            Night(**{**night, "glows": glows}),
            stations_of(carry["stations"], str(path)) if carry["stations"] else None,
            float(margins["depth_margin_m"]),
            float(margins["keep_off_m"]),
        )
    except InputError as problem:
        raise SourceError(f"{path}: {problem}") from problem
    except (KeyError, TypeError, ValueError, AttributeError) as problem:
        said = f"it lacks {problem}" if isinstance(problem, KeyError) else str(problem)
        raise SourceError(f"{path}: is no plan that `moonless plan --json` wrote: {said}") from problem
