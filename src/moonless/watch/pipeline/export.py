"""A run of readings written for other programs: GeoJSON of the echoes, GPX 1.1 of the boat's track."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

from moonless.geojson import FeatureCollection, GeoFeature, GeoPoint, LineString
from moonless.reading.types import Echo, Reading
from moonless.units import NS_PER_S, iso_utc

# The boat's track is kept once a second, and a gap this long begins a new piece of it.
TRACK_EVERY_NS = NS_PER_S
GAP_NS = 60 * NS_PER_S


@dataclass(slots=True)
class _Path:
    last: Echo
    first_ns: int
    last_ns: int
    places: list[tuple[float, float]] = field(default_factory=list)  # (lon, lat)


class RunExport:
    """Takes in readings one after the other; writes what they come to."""

    def __init__(self) -> None:
        self._own: list[list[tuple[int, float, float]]] = []  # pieces of (time, lat, lon)
        self._echoes: dict[int, _Path] = {}

    def add(self, reading: Reading) -> None:
        """Take in one reading."""
        own = reading.own
        if own.lat is not None and own.lon is not None:
            self._add_own(reading.time_ns, own.lat, own.lon)
        for echo in reading.echoes:
            path = self._echoes.get(echo.id)
            if path is None:
                path = self._echoes[echo.id] = _Path(echo, reading.time_ns, reading.time_ns)
            path.last, path.last_ns = echo, reading.time_ns
            place = (round(echo.lon, 6), round(echo.lat, 6))
            if not path.places or path.places[-1] != place:
                path.places.append(place)

    def _add_own(self, time_ns: int, lat: float, lon: float) -> None:
        last = self._own[-1][-1][0] if self._own else None
        if last is None or not 0 <= time_ns - last <= GAP_NS:
            self._own.append([(time_ns, lat, lon)])
        elif time_ns - last >= TRACK_EVERY_NS:
            self._own[-1].append((time_ns, lat, lon))

    def geojson(self) -> FeatureCollection:
        """Return a FeatureCollection: the boat's track, and each echo as it last was, with the way it went."""
        features: list[GeoFeature] = [
            {
                "type": "Feature",
                "properties": {"is": "own track", "from": iso_utc(piece[0][0]), "to": iso_utc(piece[-1][0])},
                "geometry": _line([(round(lon, 7), round(lat, 7)) for _, lat, lon in piece]),
            }
            for piece in self._own
        ]
        for path in self._echoes.values():
            line = path.last.as_dict()
            properties = {
                "id": line["id"], "is": line["is"], "confidence": line["confidence"], "p_moving": line["p_moving"],
                "length_m": line["length_m"], "charted_as": line["charted_as"], "ais": line["ais"], "why": line["why"],
                "from": iso_utc(path.first_ns), "to": iso_utc(path.last_ns),
            }  # fmt: skip
            moved = path.places if path.last.kind == "vessel" else path.places[-1:]
            features.append({"type": "Feature", "properties": properties, "geometry": _line(moved)})
        return {"type": "FeatureCollection", "features": features}

    def gpx(self) -> str:
        """Return GPX 1.1: the boat's track, and a waypoint for each still thing that the chart does not know."""
        out = [
            '<?xml version="1.0" encoding="UTF-8"?>',
            '<gpx version="1.1" creator="moonless" xmlns="http://www.topografix.com/GPX/1/1">',
        ]
        for path in self._echoes.values():
            echo = path.last
            if echo.kind == "uncharted":
                out += [
                    f'  <wpt lat="{echo.lat:.7f}" lon="{echo.lon:.7f}">',
                    f"    <time>{iso_utc(path.last_ns)}</time>",
                    f"    <name>uncharted {echo.id}</name>",
                    f"    <desc>{escape(echo.why)}</desc>",
                    "  </wpt>",
                ]
        if self._own:
            out += ["  <trk>", "    <name>own track</name>"]
            for piece in self._own:
                out.append("    <trkseg>")
                out += [
                    f'      <trkpt lat="{lat:.7f}" lon="{lon:.7f}"><time>{iso_utc(time_ns)}</time></trkpt>'
                    for time_ns, lat, lon in piece
                    if math.isfinite(lat) and math.isfinite(lon)
                ]
                out.append("    </trkseg>")
            out.append("  </trk>")
        return "\n".join([*out, "</gpx>", ""])


def _line(places: list[tuple[float, float]]) -> GeoPoint | LineString:
    if len(places) == 1:
        return {"type": "Point", "coordinates": list(places[0])}
    return {"type": "LineString", "coordinates": [list(place) for place in places]}
