"""The chart along some legs, opened once: neighbouring legs share one stretch, so a long route opens few charts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.dangers.layout import ChartDangers
from moonless.chart.dangers.strip import KeepOuts, OwnNotes, OwnThings
from moonless.chart.library import Chart
from moonless.chart.lights import ChartLight, lights_of, lights_of_mark
from moonless.chart.local import LocalChart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.constants import NAUTICAL_MILE_M
from moonless.errors import NoCoverage
from moonless.frames import LocalFrame, geodesic
from moonless.passage.way.route import Leg, Waypoint
from moonless.reading.chart_around import keep_outs_around, known_around
from moonless.sight.edges import edges_of

# How far round the legs the chart is opened: the lights a small boat can hope to see from her cockpit.
MARGIN_M = 8.0 * NAUTICAL_MILE_M
# Legs are gathered while they fit in this circle.
STRETCH_RADIUS_M = 8.0 * NAUTICAL_MILE_M


@dataclass(frozen=True, eq=False)
class Stretch:
    """The chart around some legs, with what every leg asks of it already worked out."""

    local: LocalChart
    dangers: ChartDangers
    edges: NDArray[np.float64]  # of land, (n, 4)
    lights: tuple[ChartLight, ...]  # shown by night; each bears its mark's name
    keep_outs: KeepOuts = ()  # the skipper's own, in the frame of ``local``
    own_things: OwnThings = ()  # what he knows to stand there, the same way
    own_notes: OwnNotes = ()  # what he has noted, the same way


def stretches(chart: Chart, legs: Sequence[Leg], knowledge: Knowledge | None = None) -> list[Stretch | None]:
    """Return for each leg the stretch it lies in; None where no chart touches it."""
    out: list[Stretch | None] = []
    start = 0
    while start < len(legs):
        end = start + 1
        box = _Box.round(legs[start])
        while end < len(legs) and (wider := box.grown(legs[end].end)).radius_m <= STRETCH_RADIUS_M:
            box, end = wider, end + 1
        lat, lon, radius = _circle(legs[start:end])
        out += [_open(chart, lat, lon, radius, knowledge)] * (end - start)
        start = end
    return out


@dataclass(frozen=True, slots=True)
class _Box:
    """Bounds that grow with each leg, so that a route of many is gathered in one pass."""

    lon_deg: float  # longitudes are steps from here, so that a route across 180 degrees holds together
    south: float
    north: float
    west: float
    east: float

    @staticmethod
    def round(leg: Leg) -> _Box:
        lat = leg.start.lat_deg
        return _Box(leg.start.lon_deg, lat, lat, 0.0, 0.0).grown(leg.end)

    def grown(self, place: Waypoint) -> _Box:
        step = (place.lon_deg - self.lon_deg + 180.0) % 360.0 - 180.0
        return _Box(
            self.lon_deg, min(self.south, place.lat_deg), max(self.north, place.lat_deg),
            min(self.west, step), max(self.east, step),
        )  # fmt: skip

    @property
    def radius_m(self) -> float:
        """Half the diagonal."""
        return 0.5 * float(geodesic(self.south, self.west, self.north, self.east)[0])


def _circle(legs: Sequence[Leg]) -> tuple[float, float, float]:
    """Return (lat, lon, radius in metres) of a circle that holds some legs."""
    ends = [leg.start for leg in legs] + [legs[-1].end]
    lats, lons = [w.lat_deg for w in ends], [w.lon_deg for w in ends]
    # Longitudes as steps from the first, so that a route across 180 degrees has its middle on it.
    steps = [(lon - lons[0] + 180.0) % 360.0 - 180.0 for lon in lons]
    lat = (min(lats) + max(lats)) / 2
    lon = (lons[0] + (min(steps) + max(steps)) / 2 + 180.0) % 360.0 - 180.0
    distance, _ = geodesic([lat] * len(ends), [lon] * len(ends), lats, lons)
    return lat, lon, float(np.max(distance))


def _open(chart: Chart, lat_deg: float, lon_deg: float, radius_m: float, knowledge: Knowledge | None) -> Stretch | None:
    try:
        local = chart.around(lat_deg, lon_deg, radius_m + MARGIN_M, frame=LocalFrame(lat_deg, lon_deg))
    except NoCoverage:
        return None
    named: list[ChartLight] = []
    places = set()
    for mark in local.marks:
        for light in lights_of_mark(mark):
            named.append(replace(light, name=light.name or mark.name))
            places.add((round(light.east_m, 1), round(light.north_m, 1)))
    for light in lights_of(local.features("LIGHTS")):
        if (round(light.east_m, 1), round(light.north_m, 1)) not in places:
            named.append(light)
    at_night = tuple(light for light in named if light.at_night)
    kept_out = tuple(keep_outs_around(knowledge, local.frame, 0.0, 0.0, radius_m + MARGIN_M))
    known = known_around(knowledge, local.frame, 0.0, 0.0, radius_m + MARGIN_M)
    own: OwnThings = ()
    if known is not None:
        # What runs along a way is met anywhere on it, and is no danger of one place.
        lying = ((water.outline, water.words) for water in known.usual if not water.is_way)
        own = (*zip(shapely.points(known.point_en).tolist(), known.words, strict=True), *lying)
    noted: OwnNotes = ()
    if knowledge is not None:
        notes = knowledge.notes_around(lat_deg, lon_deg, radius_m + MARGIN_M)
        noted = [(shapely.Point(local.frame.to_plane(note.lat_deg, note.lon_deg)), note.words) for note in notes]
    return Stretch(local, ChartDangers(local), edges_of(local.land), at_night, kept_out, own, noted)
