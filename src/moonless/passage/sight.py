"""What the eye will have: lights of the chart along a leg, and the unlit marks that only the radar can hold.

A light shows where the track is inside its computed range (Bowditch: the smaller of geographic and luminous range),
inside a sector, and with no land between.  Land between is taken to hide a light whatever their heights, which errs
to the dark side.  A light whose nominal range is not charted is not "seen": it is listed apart, within two miles.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from moonless.boat.types import Boat
from moonless.chart.lights import COLOUR_WORDS, ChartLight, Sector
from moonless.chart.local import LocalChart
from moonless.chart.s57.attributes import codes, number
from moonless.chart.types import Mark
from moonless.constants import NAUTICAL_MILE_M
from moonless.frames import bearing_of, wrap_180
from moonless.passage.night import Night
from moonless.passage.pace import held_at
from moonless.passage.types import LightSeen, UnlitMark, UnrangedLight
from moonless.passage.way.route import Leg
from moonless.passage.way.stretch import Stretch
from moonless.passage.words import object_words
from moonless.radar.targets import target_of_mark
from moonless.sight.between import land_between
from moonless.sky.visibility import computed_range_m

STEP_M = 100.0
UNRANGED_WITHIN_M = 2.0 * NAUTICAL_MILE_M
UNLIT_WITHIN_M = 0.5 * NAUTICAL_MILE_M
# The land a light stands on must not hide it: this much of the sight line at its end is not looked at.
OWN_GROUND_M = 60.0
LEADING = frozenset({4, 10, 12, 13, 14, 15})  # CATLIT: leading, subsidiary, rear, front, lower, upper
LEADING_WITHIN_DEG = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class TrackPoints:
    """A leg sampled: each field shape (n,)."""

    along_m: np.ndarray
    east_m: np.ndarray
    north_m: np.ndarray
    course_deg: float


def sample(leg: Leg, local: LocalChart) -> TrackPoints:
    """Return points every hundred metres at most along a leg."""
    line = shapely.LineString(leg.plane(local.frame))
    along = np.linspace(0.0, line.length, max(2, math.ceil(line.length / STEP_M) + 1))
    points = shapely.line_interpolate_point(line, along)
    return TrackPoints(along, shapely.get_x(points), shapely.get_y(points), leg.course_deg)


def lights_on_leg(number: int, leg: Leg, stretch: Stretch, boat: Boat, night: Night) -> list[LightSeen]:
    """Return the lights seen somewhere along a leg, in the order they come up."""
    points = sample(leg, stretch.local)
    found = []
    for light in stretch.lights:
        found += _seen_along(number, light, points, stretch.local, boat, night.seen_through_m)
    return sorted(found, key=lambda s: (s.first_along_m, s.nearest_m))


def unranged_lights(number: int, leg: Leg, stretch: Stretch) -> list[UnrangedLight]:
    """Return the lights near a leg whose range is not charted, by distance along; each once.

    Whether they show, nobody knows: they are listed so that they are not missed on the chart, and counted for nothing.
    """
    points = sample(leg, stretch.local)
    found = []
    for light in stretch.lights:
        east, north = light.east_m - points.east_m, light.north_m - points.north_m
        distance = np.hypot(east, north)
        abeam = int(np.argmin(distance))
        if distance[abeam] > UNRANGED_WITHIN_M:
            continue
        bearing = float(np.degrees(bearing_of(east[abeam], north[abeam])))
        if any(s.range_nm is None and not s.obscured and s.holds(bearing) for s in light.sectors):
            side = _side_of(light, points, abeam)
            off, along = float(distance[abeam]), float(points.along_m[abeam])
            found.append(UnrangedLight(number, light.name, light.text, off, along, side))
    return sorted(found, key=lambda u: u.along_m)


def _reach_m(light: ChartLight, sector: Sector, boat: Boat, visibility_m: float) -> float:
    """Return how far a sector is seen; nought where its range is not charted, for not known is not seen."""
    if sector.range_nm is None:
        return 0.0
    nominal_m = sector.range_nm * NAUTICAL_MILE_M
    # A height that is not charted cannot bring a light over the horizon: three metres, a low beacon's.
    height = 3.0 if light.height_m is None else light.height_m
    return computed_range_m(boat.eye_height_m, height, nominal_m, visibility_m)


def _seen_along(
    number: int, light: ChartLight, points: TrackPoints, local: LocalChart, boat: Boat, visibility_m: float
) -> list[LightSeen]:
    east, north = light.east_m - points.east_m, light.north_m - points.north_m
    distance = np.hypot(east, north)
    if distance.min() > 40 * NAUTICAL_MILE_M:
        return []
    out = []
    lat, lon = local.frame.to_geographic(light.east_m, light.north_m)
    bearing = np.degrees(bearing_of(east, north))
    obscured = np.zeros(distance.shape, dtype=bool)
    for sector in light.sectors:
        if sector.obscured:
            obscured |= np.array([sector.holds(float(b)) for b in bearing])
    for sector in light.sectors:
        if sector.obscured:
            continue
        reach = _reach_m(light, sector, boat, visibility_m)
        shows = (distance <= reach) & ~obscured
        if shows.any():
            shows &= np.array([bool(s) and sector.holds(float(b)) for s, b in zip(shows, bearing, strict=True)])
        if shows.any():
            shows &= ~_behind_land(light, points, shows, local)
        if not shows.any():
            continue
        first, last = int(np.argmax(shows)), int(shows.size - 1 - np.argmax(shows[::-1]))
        out.append(
            LightSeen(
                leg=number,
                name=light.name,
                text=light.text,
                colour="/".join(COLOUR_WORDS.get(c, "?") for c in sector.colours) or "colour not charted",
                first_along_m=float(points.along_m[first]),
                last_along_m=float(points.along_m[last]),
                range_m=reach,
                bearing_deg=float(bearing[first]),
                relative_deg=wrap_180(float(bearing[first]) - points.course_deg),
                nearest_m=float(distance[shows].min()),
                lat_deg=float(lat),
                lon_deg=float(lon),
                leading=_leads(sector, points.course_deg),
            )
        )
    return out


def _behind_land(light: ChartLight, points: TrackPoints, asked: np.ndarray, local: LocalChart) -> np.ndarray:
    hidden = np.zeros(asked.shape, dtype=bool)
    track = np.column_stack([points.east_m, points.north_m])
    place = np.array([light.east_m, light.north_m])
    hidden[asked] = land_between(local.land, track[asked], place, OWN_GROUND_M)
    return hidden


def _leads(sector: Sector, course_deg: float) -> bool:
    orient = number(sector.attributes, "ORIENT")
    if orient is None or LEADING.isdisjoint(codes(sector.attributes, "CATLIT")):
        return False
    return abs(wrap_180(orient - course_deg)) <= LEADING_WITHIN_DEG


def _marks_beside(local: LocalChart, line: shapely.LineString, within_m: float) -> Iterator[tuple[Mark, float, float]]:
    """Yield (mark, metres off, metres along) of the marks near a track; asked of all marks at once."""
    if not local.marks:
        return
    places = shapely.points([(m.east_m, m.north_m) for m in local.marks])
    off = shapely.distance(line, places)
    for k in np.flatnonzero(off <= within_m):
        yield local.marks[k], float(off[k]), float(line.project(places[k]))


def unlit_marks(number: int, leg: Leg, local: LocalChart, boat: Boat, night: Night) -> list[UnlitMark]:
    """Return the unlit marks near a leg and where along it the radar should first hold each."""
    points = sample(leg, local)
    line = shapely.LineString(np.column_stack([points.east_m, points.north_m]))
    found = []
    for mark, off, _ in _marks_beside(local, line, UNLIT_WITHIN_M):
        if not mark.lit:
            found.append(_unlit(number, mark, off, points, local, boat, night))
    return sorted(found, key=lambda m: m.along_m)


# A parallel index wants a mark that holds still and shows well, neither close aboard nor far off.  Common practice.
INDEX_OFF_M = (100.0, 1.0 * NAUTICAL_MILE_M)
_AWASH = frozenset({"UWTROC", "WRECKS", "OBSTRN", "MARCUL"})  # show by the tide or not at all
INDEX_LEG_M = 0.4 * NAUTICAL_MILE_M
MOST_INDEX_LINES = 2


def index_lines(leg: Leg, local: LocalChart, boat: Boat, night: Night) -> list[str]:
    """Return parallel index lines for a leg: fixed marks the radar holds, and how far off they are left abeam."""
    if leg.length_m < INDEX_LEG_M:
        return []
    points = sample(leg, local)
    line = shapely.LineString(np.column_stack([points.east_m, points.north_m]))
    chosen: list[tuple[float, str]] = []
    for mark, off, along in _marks_beside(local, line, INDEX_OFF_M[1]):
        if mark.floating or mark.object in _AWASH or off < INDEX_OFF_M[0] or not 0.0 < along < line.length:
            continue
        target = target_of_mark(mark)
        asked = np.array([off, 2.0 * off])
        if not held_at(boat, night, leg.course_deg, target.rcs_m2, target.height_m, asked).all():
            continue
        abeam = int(np.argmin(np.hypot(mark.east_m - points.east_m, mark.north_m - points.north_m)))
        side = _side_of(mark, points, abeam)
        name = object_words(mark.name, mark.object)
        words = f"{name} {off / NAUTICAL_MILE_M:.2f} NM to {side}, abeam {along / NAUTICAL_MILE_M:.2f} NM along"
        # Conspicuous ones first, then the nearest.
        chosen.append((off - (1e6 if mark.radar_conspicuous else 0.0), words))
    return [words for _, words in sorted(chosen)[:MOST_INDEX_LINES]]


def _side_of(mark: Mark | ChartLight, points: TrackPoints, abeam: int) -> Literal["port", "starboard"]:
    k = min(abeam + 1, points.along_m.size - 1)
    j = max(k - 1, 0)
    ahead_east, ahead_north = points.east_m[k] - points.east_m[j], points.north_m[k] - points.north_m[j]
    cross = ahead_east * (mark.north_m - points.north_m[j]) - ahead_north * (mark.east_m - points.east_m[j])
    return "port" if cross > 0 else "starboard"


def _unlit(
    number: int, mark: Mark, off: float, points: TrackPoints, local: LocalChart, boat: Boat, night: Night
) -> UnlitMark:
    distance = np.hypot(mark.east_m - points.east_m, mark.north_m - points.north_m)
    abeam = int(np.argmin(distance))
    target = target_of_mark(mark)
    held: float | None = None
    inside = held_at(boat, night, points.course_deg, target.rcs_m2, target.height_m, distance)
    if inside.any():
        stand_in = ChartLight(None, mark.cell, mark.east_m, mark.north_m, None, "", True, ())
        inside &= ~_behind_land(stand_in, points, inside, local)
    if inside.any():
        held = float(points.along_m[int(np.argmax(inside))])
    side = _side_of(mark, points, abeam)
    thing = f"{mark.object} {mark.cell} {mark.feature}"
    return UnlitMark(number, mark.name, mark.object, float(points.along_m[abeam]), off, side, thing, held)


# S-57 classes that may carry a channel (COMCHA): calling-in points, radio and coast guard stations, pilots, signals.
_RADIO = ("RDOCAL", "RDOSTA", "CGUSTA", "PILBOP", "SISTAT", "HRBFAC")
RADIO_WITHIN_M = 1.0 * NAUTICAL_MILE_M


def calls_beside(leg: Leg, local: LocalChart) -> tuple[str, ...]:
    """Return what the chart says of radio near a leg, in words; each once."""
    line = shapely.LineString(leg.plane(local.frame))
    out = []
    for feature in local.features(*_RADIO):
        channel = str(feature.attributes.get("COMCHA") or "").strip("[] ")
        if channel and shapely.dwithin(feature.shape, line, RADIO_WITHIN_M):
            out.append(f"{object_words(feature.name, feature.object)}: channel {channel.replace(';', ', ')}")
    return tuple(dict.fromkeys(out))
