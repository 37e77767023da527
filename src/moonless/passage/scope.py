"""What the radar should show at each turn and at each point that opens: a small picture and the marks to find on it."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence

import numpy as np

from moonless.boat.types import Boat
from moonless.constants import NAUTICAL_MILE_M
from moonless.frames import wrap_360
from moonless.passage.night import Night
from moonless.passage.opens import PointThatOpens
from moonless.passage.plan import LegGround, Progress
from moonless.passage.types import ScopePicture
from moonless.passage.way.stretch import Stretch
from moonless.passage.words import object_words
from moonless.radar.expected import expected_marks, expected_scan
from moonless.radar.link.receiver import counts_from_snr
from moonless.radar.picture import render
from moonless.radar.types import RadarPose, ScanGrid, Weather
from moonless.radar.world import World

# Small pictures for paper: finer than they are printed, coarse enough to make forty in seconds.
N_SPOKE, N_CELL, SIZE = 720, 360, 360
SCALES_NM = (0.5, 0.75, 1.5, 3.0)
MARKS_LISTED = 5
HELD = 0.75  # chance in one turn from which a mark is worth looking for
# No more than these points that open get a picture on one leg; the nearest first.
OPENINGS_PICTURED = 2


def pictures(
    ground: Sequence[LegGround], boat: Boat, night: Night, progress: Progress | None = None
) -> tuple[ScopePicture, ...]:
    """Return the pictures of a route in order: the start of each leg, then its points that open."""
    worlds: dict[int, World] = {}
    weather = night.weather
    out: list[ScopePicture] = []
    for number, place in enumerate(ground):
        if progress:
            progress(f"radar pictures, leg {place.number}", number / len(ground))
        stretch = place.stretch
        if stretch is None:
            continue
        if id(stretch) not in worlds:
            worlds[id(stretch)] = World.from_chart(stretch.local)
        world = worlds[id(stretch)]
        title = f"Leg {place.number}, at {place.leg.start.name}: {round(place.leg.course_deg) % 360:03d}°T"
        out.append(_picture(place, 0.0, title, stretch, world, boat, weather, None))
        for point in sorted(place.opens, key=lambda p: p.distance_m)[:OPENINGS_PICTURED]:
            if point.along_m > 200.0:
                words = f"Leg {place.number}, {point.along_m / NAUTICAL_MILE_M:.2f} NM along: a point opens"
                out.append(_picture(place, point.along_m, words, stretch, world, boat, weather, point))
    return tuple(out)


def _scale(stretch: Stretch, east: float, north: float) -> float:
    """Return the shortest scale that has three marks on it, the longest where none has."""
    away = sorted(math.hypot(m.east_m - east, m.north_m - north) for m in stretch.local.marks)
    for scale in SCALES_NM:
        if len([d for d in away if d < scale * NAUTICAL_MILE_M]) >= 3:
            return scale
    return SCALES_NM[-1]


def picture_at_start(place: LegGround, boat: Boat, weather: Weather) -> ScopePicture | None:
    """Return the picture at the turn onto one leg; None where no chart touches it."""
    if place.stretch is None:
        return None
    world = World.from_chart(place.stretch.local)
    return _picture(place, 0.0, place.leg.start.name, place.stretch, world, boat, weather, None)


def _picture(
    place: LegGround,
    along_m: float,
    title: str,
    stretch: Stretch,
    world: World,
    boat: Boat,
    weather: Weather,
    opens: PointThatOpens | None,
) -> ScopePicture:
    lat, lon = place.leg.at(along_m)
    east, north = stretch.local.frame.to_plane(lat, lon)
    scale = _scale(stretch, east, north)
    heading = math.radians(place.leg.course_deg)
    pose = RadarPose(float(east), float(north), heading)
    cell_m = scale * NAUTICAL_MILE_M / N_CELL
    grid = ScanGrid(N_SPOKE, N_CELL, 0.5 * cell_m, cell_m)
    expected = expected_scan(world, boat.radar, pose, grid, scale, weather)
    image = render(counts_from_snr(expected.snr), grid, scale, heading, f"predicted, {scale:g} NM, course up", SIZE)
    buffer = io.BytesIO()
    image.quantize(64).save(buffer, format="PNG", optimize=True)
    return ScopePicture(
        leg=place.number,
        title=title,
        lat_deg=lat,
        lon_deg=lon,
        heading_deg=place.leg.course_deg,
        scale_nm=scale,
        png=buffer.getvalue(),
        marks=_marks_to_find(stretch, world, boat, pose, scale, weather),
        hidden=_hidden(expected.shadow_height_m, boat, opens),
    )


def _marks_to_find(
    stretch: Stretch, world: World, boat: Boat, pose: RadarPose, scale: float, weather: Weather
) -> tuple[str, ...]:
    near = [
        m
        for m in stretch.local.marks
        if math.hypot(m.east_m - pose.east_m, m.north_m - pose.north_m) < scale * NAUTICAL_MILE_M
    ]
    told = []
    for expectation in expected_marks(world, boat.radar, pose, scale, near, weather):
        if expectation.p_detect < HELD:
            continue
        mark = near[expectation.index]
        bearing = wrap_360(math.degrees(expectation.azimuth_rel_rad + pose.heading_rad))
        name = object_words(mark.name, mark.object)
        told.append((expectation.range_m, f"{name}: {round(bearing) % 360:03d}°T, {expectation.range_m / 1852:.2f} NM"))
    return tuple(words for _, words in sorted(told)[:MARKS_LISTED])


def _hidden(shadow_height_m: np.ndarray, boat: Boat, opens: PointThatOpens | None) -> tuple[str, ...]:
    share = float(np.mean(shadow_height_m > boat.skipper.smallest_height_m))
    out = [f"{share:.0%} of this picture is hidden from a boat's height"]
    if opens is not None:
        side = "starboard" if opens.relative_deg > 0 else "port"
        out.append(f"hidden behind the point {opens.distance_m:.0f} m on the {side} bow until you are past it")
    return tuple(out)
