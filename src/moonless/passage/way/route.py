"""Routes: waypoints and legs, in from GPX 1.1 and out again."""

from __future__ import annotations

import itertools
import math
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from xml.parsers import expat

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.errors import InputError, SourceError
from moonless.files import read_small
from moonless.frames import LocalFrame, destination, geodesic
from moonless.units import iso_utc

GPX = "http://www.topografix.com/GPX/1/1"
# A GPX file of a night's run is some kilobytes; anything larger is not one, and must not be parsed.
MAX_GPX_BYTES = 20_000_000
# No leg of a small boat's night is longer; one that is has a wrong sign or a wrong figure in a place.  Own choice.
LONGEST_LEG_M = 150.0 * 1852.0
# A route of more points than this was recorded, not drawn: those within a few metres of the line between others are
# left out, less than the receiver's own error off.
DENSE_POINTS = 300
THIN_WITHIN_M = 3.0
# A plan of more legs than this is no plan, and takes minutes.  Own choice.
MOST_LEGS = 2000


@dataclass(frozen=True, slots=True)
class Waypoint:
    """One turning point."""

    name: str
    lat_deg: float
    lon_deg: float


@dataclass(frozen=True, slots=True)
class Leg:
    """From one waypoint to the next along the geodesic."""

    start: Waypoint
    end: Waypoint
    length_m: float
    course_deg: float  # initial, true

    def at(self, along_m: float) -> tuple[float, float]:
        """Return (lat, lon) a distance along."""
        lat, lon = destination(self.start.lat_deg, self.start.lon_deg, self.course_deg, along_m)
        return float(lat), float(lon)

    def plane(self, frame: LocalFrame) -> NDArray[np.float64]:
        """Return the leg as points every 500 m at most, shape (n, 2), metres in a frame."""
        steps = np.linspace(0.0, self.length_m, max(2, math.ceil(self.length_m / 500.0) + 1))
        lat, lon = destination(
            np.full(steps.shape, self.start.lat_deg),
            np.full(steps.shape, self.start.lon_deg),
            np.full(steps.shape, self.course_deg),
            steps,
        )
        east, north = frame.to_plane(lat, lon)
        return np.column_stack([east, north])


@dataclass(frozen=True)
class Route:
    """Waypoints in order, at least two, no leg of no length."""

    name: str
    waypoints: tuple[Waypoint, ...]

    def __post_init__(self) -> None:
        if len(self.waypoints) < 2:
            raise InputError(f"route {self.name!r} has {len(self.waypoints)} waypoints; two are the least")
        for number, leg in enumerate(self.legs, 1):
            if leg.length_m < 1.0:
                raise InputError(f"leg {number} of route {self.name!r} has no length: {leg.start.name} twice in a row")
            if leg.length_m > LONGEST_LEG_M:
                places = f"{_place_words(leg.start)} to {_place_words(leg.end)}"
                raise InputError(
                    f"leg {number} of route {self.name!r}, {places}, is {leg.length_m / 1852.0:.0f} NM long; "
                    f"{LONGEST_LEG_M / 1852.0:.0f} NM is the most: is a sign or a figure wrong in one of them?"
                )

    @cached_property
    def legs(self) -> tuple[Leg, ...]:
        """The legs in order."""
        out = []
        for start, end in itertools.pairwise(self.waypoints):
            length, course = geodesic(start.lat_deg, start.lon_deg, end.lat_deg, end.lon_deg)
            out.append(Leg(start, end, float(length), float(course)))
        return tuple(out)

    @property
    def length_m(self) -> float:
        """Whole length."""
        return sum(leg.length_m for leg in self.legs)

    def bounds_lonlat(self, margin_m: float) -> tuple[float, float, float, float]:
        """Return (west, south, east, north) round the waypoints, the whole earth round where they cross 180 degrees."""
        lats = [w.lat_deg for w in self.waypoints]
        lons = [w.lon_deg for w in self.waypoints]
        high = margin_m / 111_000.0
        wide = high / max(math.cos(math.radians(max(abs(min(lats)), abs(max(lats))))), 0.01)
        west, east = min(lons) - wide, max(lons) + wide
        if any(abs(b - a) > 180.0 for a, b in itertools.pairwise(lons)):
            west, east = -180.0, 180.0
        return west, min(lats) - high, east, max(lats) + high

    def reversed(self) -> Route:
        """Return the way back."""
        return Route(f"{self.name}, back", tuple(reversed(self.waypoints)))


def _place_words(waypoint: Waypoint) -> str:
    return f"{waypoint.name} ({waypoint.lat_deg:.4f}, {waypoint.lon_deg:.4f})"


def thinned(route: Route) -> tuple[Route, str]:
    """Return a route without the points that make no difference, and words on what was left out; "" where nothing was.

    Only a route of more than `DENSE_POINTS` points is touched, as a recorded track is.  No point left out lies farther
    than `THIN_WITHIN_M` from the track that is kept (Douglas and Peucker).
    Raises InputError if more than `MOST_LEGS` legs are left.
    """
    points = route.waypoints
    kept = points
    if len(points) > DENSE_POINTS:
        middle = points[len(points) // 2]
        frame = LocalFrame(middle.lat_deg, middle.lon_deg)
        east, north = frame.to_plane([w.lat_deg for w in points], [w.lon_deg for w in points])
        # The point's number rides along as a third figure, which thinning carries and does not look at.
        line = shapely.LineString(np.column_stack([east, north, np.arange(len(points))]))
        line = shapely.simplify(line, THIN_WITHIN_M, preserve_topology=False)
        numbers = shapely.get_coordinates(line, include_z=True)[:, 2]
        kept = tuple(points[int(number)] for number in numbers)
    if len(kept) - 1 > MOST_LEGS:
        raise InputError(f"route {route.name!r} has {len(kept) - 1} legs; {MOST_LEGS} are the most that can be planned")
    if len(kept) == len(points):
        return route, ""
    words = f"{len(points)} points were thinned to {len(kept)}, none of them {THIN_WITHIN_M:g} m off the track"
    return Route(route.name, kept), words


def read_gpx(path: Path) -> Route:
    """Read the first route of a GPX file; a file with a track and no route gives the track's points.

    Raises
    ------
    InputError   If the file cannot be opened, or holds no route.
    SourceError  If it is not GPX, or a point's position is not on earth.
    """
    try:
        raw = read_small(path, MAX_GPX_BYTES)
    except OSError as problem:
        raise InputError(f"{path}: cannot be opened: {problem.strerror}") from problem
    try:
        _refuse_document_type(path, raw)
        root = ET.fromstring(raw)
    # An encoding that Python does not know is a LookupError, one of several bytes a ValueError.
    except (ET.ParseError, expat.ExpatError, LookupError, ValueError) as problem:
        raise SourceError(f"{path}: is not GPX: {problem}") from problem
    space = root.tag.partition("}")[0] + "}" if root.tag.startswith("{") else ""
    if root.tag != f"{space}gpx":
        raise SourceError(f"{path}: is not GPX: its root is {root.tag.rpartition('}')[2]!r}")
    route = root.find(f"{space}rte")
    points = [] if route is None else route.findall(f"{space}rtept")
    is_track = not points
    if is_track:
        route = root.find(f"{space}trk")
        points = root.findall(f"{space}trk/{space}trkseg/{space}trkpt")
    if not points:
        raise InputError(f"{path}: holds neither a route nor a track")
    waypoints: list[Waypoint] = []
    for number, point in enumerate(points, 1):
        try:
            lat, lon = float(point.attrib["lat"]), float(point.attrib["lon"])
        except (KeyError, ValueError):
            raise SourceError(f"{path}: point {number} has no position") from None
        if not (-90 <= lat <= 90 and -180 <= lon <= 180):
            raise SourceError(f"{path}: point {number} at {lat}, {lon} is not a place on earth")
        if (
            is_track
            and waypoints
            and abs(waypoints[-1].lat_deg - lat) < 1e-5
            and abs(waypoints[-1].lon_deg - lon) < 1e-5
        ):
            continue  # a recorded track stands still now and then
        waypoints.append(Waypoint(point.findtext(f"{space}name") or f"WP{number}", lat, lon))
    name = (route.findtext(f"{space}name") if route is not None else None) or Path(path).stem
    return Route(name, tuple(waypoints))


def _refuse_document_type(path: Path, raw: bytes) -> None:
    """A document type is where XML hides its bombs, and GPX has none.  The parser looks, in any encoding."""

    def refuse(*_: object) -> None:
        raise SourceError(f"{path}: carries a document type; GPX has none")

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = refuse
    parser.Parse(raw, True)


def to_gpx(route: Route, arrivals_ns: Sequence[int] | None = None) -> str:
    """Return GPX 1.1 text of the route, with the time of each waypoint where given."""
    ET.register_namespace("", GPX)
    root = ET.Element(f"{{{GPX}}}gpx", {"version": "1.1", "creator": "Moonless"})
    meta = ET.SubElement(root, f"{{{GPX}}}metadata")
    ET.SubElement(meta, f"{{{GPX}}}desc").text = "Passage plan. An aid, not a look-out; not for navigation."
    rte = ET.SubElement(root, f"{{{GPX}}}rte")
    ET.SubElement(rte, f"{{{GPX}}}name").text = route.name
    for number, waypoint in enumerate(route.waypoints):
        at = {"lat": f"{waypoint.lat_deg:.7f}", "lon": f"{waypoint.lon_deg:.7f}"}
        point = ET.SubElement(rte, f"{{{GPX}}}rtept", at)
        if arrivals_ns is not None:
            ET.SubElement(point, f"{{{GPX}}}time").text = iso_utc(arrivals_ns[number])
        ET.SubElement(point, f"{{{GPX}}}name").text = waypoint.name
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"
