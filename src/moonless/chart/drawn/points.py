"""What a tile says at single places: marks, lights, bridges, dangers, soundings, names."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.around import Cut
from moonless.chart.drawn import what
from moonless.chart.drawn.grid import mercator_of, pixel_m, to_mercator
from moonless.chart.drawn.soundings import first_zooms
from moonless.chart.lights import COLOURS, ChartLight, lights_of_mark
from moonless.chart.local import LocalChart
from moonless.chart.s57 import classes
from moonless.chart.s57.attributes import number, text
from moonless.frames import LocalFrame

Row = dict[str, str | float | None]
Place = tuple[float, float]  # Mercator metres
Found = tuple[Place, float, Row]

# An area's name is written when the area is this wide on the screen.
_NAME_PX = 110.0
# Of what is named as an area but is no place to steer by, the name is let go when the area is as wide as this.
_HEAVY = (*classes.DEPTH_AREAS, "UNSARE", "SOUNDG", "SEAARE", "LNDRGN", "BUAARE", "RESARE", "CTNARE", "CBLARE")


Floor = tuple[NDArray[np.object_], NDArray[np.float64]]  # areas in Mercator metres, and the level of each


def points_of(cut: Cut, lat_deg: float, floor: Floor) -> tuple[NDArray[np.object_], NDArray[np.float64], list[Row]]:
    """Return places in Mercator metres, the zoom each begins at, and what is said there.

    ``floor``: what lies round a danger decides whether it stands alone in water that is else deep enough.
    """
    found: list[Found] = []
    # Everything that is put together or measured in metres goes by the local plane, but for what is only heavy.
    light = ~np.isin(cut.objects, _HEAVY)
    light &= (cut.objects != "LNDARE") | (shapely.get_dimensions(cut.lonlat) == 0)
    west, south, east, north = shapely.bounds(cut.coverage_lonlat).tolist()
    frame = LocalFrame((south + north) / 2.0, (west + east) / 2.0)
    local = cut.only(light).local(frame.lat_deg, frame.lon_deg, 1.0, frame)
    found.extend(_marks(local, lat_deg))
    found.extend(_lights(local, lat_deg))
    found.extend(_bridges(local))
    found.extend(_dangers(cut, lat_deg, floor))
    found.extend(_soundings(cut))
    found.extend(_names(cut, lat_deg))
    places = np.array([place for place, _, _ in found], dtype=np.float64).reshape(-1, 2)
    return shapely.points(places), np.array([zoom for _, zoom, _ in found]), [row for _, _, row in found]


def _place(frame: LocalFrame, east_m: float, north_m: float) -> Place:
    lat, lon = frame.to_geographic(east_m, north_m)
    x, y = to_mercator(np.asarray(lon), np.asarray(lat))
    return float(x), float(y)


def _marks(local: LocalChart, lat_deg: float) -> Iterator[Found]:
    for mark in local.marks:
        lights = lights_of_mark(mark)
        zoom = what.zoom_from(mark.attributes, what.MARKS.get(mark.object, what.MARK_ZOOM), lat_deg)
        if lights:
            zoom = min(zoom, what.LIGHT_ZOOM)
        yield _place(local.frame, mark.east_m, mark.north_m), zoom, {
            "k": "mark",
            "f": f"{mark.cell}/{mark.feature}",
            "o": mark.object,
            "n": mark.name,
            "h": "floating" if mark.floating else "fixed",
            "t": "; ".join(text for light in lights if light.at_night and (text := light.text)) or None,
            "lit": 1.0 if mark.lit else None,
        }  # fmt: skip


def _lights(local: LocalChart, lat_deg: float) -> Iterator[Found]:
    for light in local.lights:
        if not light.at_night:
            continue
        ranges = [sector.range_nm for sector in light.sectors if sector.range_nm is not None]
        major = max(ranges, default=0.0) >= what.MAJOR_LIGHT_NM
        zoom = what.zoom_from(light.sectors[0].attributes, what.LIGHT_ZOOM, lat_deg)
        yield _place(local.frame, light.east_m, light.north_m), min(zoom, what.MAJOR_LIGHT_ZOOM) if major else zoom, {
            "k": "light",
            "f": f"{light.cell}/{light.sectors[0].feature}",
            "n": light.name,
            "t": light.text or None,
            "s": _sectors(light),
            "r": max(ranges, default=None),
        }  # fmt: skip


def _sectors(light: ChartLight) -> str | None:
    """Return the sectors as JSON: [from, to, colours], bearings from seaward; None for a light that shows all round."""
    out = [
        [sector.start_deg, sector.end_deg, "".join(COLOURS.get(code, "") for code in sector.colours)]
        for sector in light.sectors
        if sector.start_deg is not None and sector.end_deg is not None and not sector.obscured
    ]
    return json.dumps(out, separators=(",", ":")) if out else None


def _bridges(local: LocalChart) -> Iterator[Found]:
    for bridge in local.bridges:
        said: set[tuple[object, ...]] = set()
        spans = [s for s in bridge.spans if s.clearance_m is not None or s.clearance_open_m is not None]
        for span in spans or bridge.spans[:1]:
            words = (span.name or bridge.name, span.clearance_m, span.clearance_open_m, span.width_m)
            if words in said:
                continue
            said.add(words)
            middle = shapely.point_on_surface(span.shape)
            yield _place(local.frame, middle.x, middle.y), what.BRIDGE_ZOOM, {
                "k": "bridge",
                "f": f"{bridge.cell}/{span.feature}",
                "n": span.name or bridge.name,
                "c": span.clearance_m,
                "co": span.clearance_open_m,
                "w": span.width_m,
                "b": 1.0 if span.opens else 0.0,
            }  # fmt: skip
    for crossing in local.features("CBLOHD", "PIPOHD"):
        clear = crossing.number("VERCSA") or crossing.number("VERCLR")
        middle = shapely.point_on_surface(crossing.shape)
        yield _place(local.frame, middle.x, middle.y), 11.5, {
            "k": "overhead", "f": f"{crossing.cell}/{crossing.feature}", "n": crossing.name, "c": clear,
        }  # fmt: skip


def _dangers(cut: Cut, lat_deg: float, floor: Floor) -> Iterator[Found]:
    kept = np.flatnonzero(np.isin(cut.objects, classes.DANGERS))
    if not len(kept):
        return
    spots = shapely.get_coordinates(shapely.point_on_surface(mercator_of(cut.lonlat[kept], 0.01)))
    areas, level = floor
    round_it = np.full(len(kept), np.nan)
    if len(areas):
        of_spot, area = shapely.STRtree(areas).query(shapely.points(spots), predicate="intersects")
        # On an edge the shoaler side counts.
        np.fmin.at(round_it, of_spot, level[area])
    for spot, i, around in zip(spots.tolist(), kept.tolist(), round_it.tolist(), strict=True):
        given, name = cut.rows[i], str(cut.objects[i])
        water = given.get("WATLEV")
        yield (spot[0], spot[1]), min(what.zoom_from(given, what.DANGER_ZOOM, lat_deg), what.MAX_ZOOM), {
            "k": "danger",
            "f": f"{cut.row_cells[i].name}/{cut.identifiers[i]}",
            "o": name,
            "n": text(given, "OBJNAM"),
            "d": number(given, "VALSOU"),
            "a": None if math.isnan(around) else around,
            # Shows above the water always, at times, or never.
            "h": "shows" if classes.stands_above_water(name, given) else "covered",
            "lit": 1.0 if water in (4, 5) else None,
        }  # fmt: skip


def _soundings(cut: Cut) -> Iterator[Found]:
    is_sounding = cut.objects == "SOUNDG"
    kept = np.array([i for i in np.flatnonzero(is_sounding) if cut.rows[i].get("DEPTH") is not None], dtype=np.int64)
    if not len(kept):
        return
    points = shapely.get_coordinates(shapely.centroid(mercator_of(shapely.force_2d(cut.lonlat[kept]), 0.01)))
    depth = np.array([float(cut.rows[i]["DEPTH"]) for i in kept])
    for spot, d, zoom in zip(points.tolist(), depth.tolist(), first_zooms(points, depth).tolist(), strict=True):
        yield (spot[0], spot[1]), float(zoom), {"k": "sounding", "d": round(d, 1)}


def _names(cut: Cut, lat_deg: float) -> Iterator[Found]:
    wanted = np.isin(cut.objects, tuple(what.NAMES))
    kept = np.array([i for i in np.flatnonzero(wanted) if cut.rows[i].get("OBJNAM")], dtype=np.int64)
    if not len(kept):
        return
    shapes = mercator_of(cut.lonlat[kept], 0.01)
    spots = shapely.get_coordinates(shapely.point_on_surface(shapes))
    boxes = shapely.bounds(shapes)
    for spot, box, shape, i in zip(spots.tolist(), boxes.tolist(), shapes, kept.tolist(), strict=True):
        name, given = str(cut.objects[i]), cut.rows[i]
        zoom = what.NAMES[name]
        wide = math.hypot(box[2] - box[0], box[3] - box[1])
        if shapely.get_dimensions(shape) == 0:
            zoom = what.zoom_from(given, zoom, lat_deg)
        elif wide > 0.0:
            zoom = max(min(math.log2(_NAME_PX * pixel_m(0) / wide), zoom + 2.0), what.MIN_ZOOM)
        yield (spot[0], spot[1]), zoom, {"k": "name", "o": name, "n": str(given["OBJNAM"]), "w": wide or None}
