"""Scene files: TOML read strictly, so that a misspelt key is an error and never a silent default."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from moonless.boat.file import default_boat, read_boat
from moonless.boat.sets import GENERIC_SETS
from moonless.frames import LocalFrame
from moonless.scene.keys import KEYS
from moonless.scene.kinds import OBJECT_KINDS
from moonless.scene.types import (
    Ais,
    MarkChange,
    RadarUse,
    Scene,
    SceneObject,
    Script,
    ScriptStep,
    Sensors,
    Shower,
    Skies,
    UnchartedLand,
    Waters,
)
from moonless.tables import TableReader, Values, build, parse
from moonless.units import kn_to_mps, utc_to_ns

_TABLES = ("scene", "chart", "boat", "radar", "own", "sensors", "weather", "object")
DEMO_CHART = "demo"


def demo_folder() -> Path:
    """Return the folder of the invented waters and their story, inside the package."""
    return Path(__file__).parents[1] / "data" / "demo"


def load_scene(path: Path) -> Scene:
    """Return the scene of a file.

    Raises TableError, naming the file, the key and the nearest valid one, if it cannot be used.
    """
    return scene_from_dict(parse(path), Path(path))


def scene_from_dict(found: Mapping[str, object], path: Path) -> Scene:
    """Return the scene of a parsed file; ``path`` is named in errors and its folder holds what the file names."""
    reader = TableReader(path, KEYS, "a scene file")
    reader.only(found, _TABLES)
    tables = {name: reader.table(name, found.get(name, {})) for name in _TABLES if name != "object"}
    head = tables["scene"]
    boat = read_boat(path.parent / tables["boat"]["file"]) if "file" in tables["boat"] else default_boat()
    if "radar_set" in tables["boat"]:
        generic = GENERIC_SETS[tables["boat"]["radar_set"]]
        boat = replace(boat, radar=generic)
    objects = tuple(_object(reader, row) for row in reader.rows("object", found.get("object", [])))
    names = [one.name for one in objects]
    for name in names:
        if names.count(name) > 1:
            raise reader.fail("object.name", f"{name!r} is given twice")
    return Scene(
        name=head["name"],
        about=head.get("about", ""),
        seed=head.get("seed", 1),
        start_ns=_start_ns(reader, head["start"]),
        duration_s=head.get("duration_s"),
        frame=LocalFrame(*head["origin"]),
        tide_m=head.get("tide_m", 0.5),
        boat=boat,
        boat_is_assumed="file" not in tables["boat"],
        radar=_radar(tables["radar"]),
        own=_script(reader, "own", tables["own"]),
        waters=_waters(reader, path.parent, tables["chart"]),
        skies=_skies(tables["weather"]),
        sensors=_sensors(tables["sensors"]),
        objects=objects,
    )


def _start_ns(reader: TableReader, start: datetime) -> int:
    # Category 240 and NMEA carry a time of day and a year of two figures; the sky is known from 1900 to 2050.
    if not 1980 <= start.year < 2050:
        raise reader.fail("scene.start", f"{start.year} is not a year a scene can be made in: 1980 to 2049")
    return utc_to_ns(start)


def _waters(reader: TableReader, folder: Path, table: Values) -> Waters:
    """Return the chart and what differs from it."""
    paths = tuple(
        demo_folder() / "waters.gpkg" if one == DEMO_CHART else folder / os.path.expandvars(one)
        for one in table.get("paths", [])
    )
    changes = []
    for row in table.get("change", []):
        if "name" not in row and not ("object" in row and "near_m" in row):
            raise reader.fail("chart.change", "give the mark's name, or object and near_m")
        if not row.get("gone", False) and "moved_m" not in row:
            raise reader.fail("chart.change", "say gone = true, or moved_m")
        changes.append(
            MarkChange(
                row.get("name"),
                row.get("object"),
                row.get("near_m"),
                row.get("gone", False),
                row.get("moved_m", (0.0, 0.0)),
            )
        )
    land = tuple(UnchartedLand(row["ring_m"]) for row in table.get("uncharted_land", []))
    if any(len(one.ring_m) < 3 for one in land):
        raise reader.fail("chart.uncharted_land.ring_m", "needs at least three places")
    return Waters(paths, tuple(changes), land, table.get("shift_m", (0.0, 0.0)))


def _skies(table: Values) -> Skies:
    """Return wind, sea and rain."""
    showers = tuple(
        Shower(row["at_m"], row["radius_m"], row["rate_mmh"], _vector(row.get("speed_kn", 0.0), row.get("to_deg", 0.0)))
        for row in table.get("shower", [])
    )
    return Skies(
        math.radians(table.get("wind_from_deg", 0.0)),
        kn_to_mps(table.get("wind_kn", 4.0)),
        table.get("wave_height_m"),
        table.get("rain_mmh", 0.0),
        showers,
    )


def _object(reader: TableReader, row: Values) -> SceneObject:
    """Return one object, its kind's figures where the row gives none."""
    kind = OBJECT_KINDS[row["kind"]]
    ais = None
    if "ais" in row:
        given = row["ais"]
        ais = Ais(
            given["mmsi"],
            given.get("class", "B"),
            given.get("name", row["name"]).upper(),
            given.get("ship_type", 37),
        )
    shown = row.get("shown_s", ((0.0, math.inf),))
    if len(shown) != 1:
        raise reader.fail("object.shown_s", "must be one span, [[from, to]]")
    return SceneObject(
        name=row["name"],
        kind=row["kind"],
        script=_script(reader, "object", row),
        rcs_m2=row.get("rcs_m2", kind.rcs_m2),
        height_m=row.get("height_m", kind.height_m),
        length_m=row.get("length_m", kind.length_m),
        beam_m=row.get("beam_m", kind.beam_m),
        swerling=kind.swerling,
        casts_shadow=kind.casts_shadow,
        ais=ais,
        shown_s=shown[0],
    )


def _vector(speed_kn: float, to_deg: float) -> tuple[float, float]:
    speed, to = kn_to_mps(speed_kn), math.radians(to_deg)
    return speed * math.sin(to), speed * math.cos(to)


def _script(reader: TableReader, table: str, row: Values) -> Script:
    legs = []
    for leg in row.get("legs", []):
        aims = [name for name in ("to_m", "turn_to_deg", "hold_s") if name in leg]
        if len(aims) != 1:
            raise reader.fail(f"{table}.legs", f"each leg has one of to_m, turn_to_deg, hold_s; this one has {aims}")
        legs.append(
            ScriptStep(
                to_m=leg.get("to_m"),
                turn_to_rad=math.radians(leg["turn_to_deg"]) if "turn_to_deg" in leg else None,
                hold_s=leg.get("hold_s"),
                speed=kn_to_mps(leg["speed_kn"]) if "speed_kn" in leg else None,
                turn_rate=math.radians(leg["turn_rate_deg_s"]) if "turn_rate_deg_s" in leg else None,
            )
        )
    return Script(
        start_m=row["start_m"],
        heading_rad=math.radians(row.get("heading_deg", 0.0)),
        speed=kn_to_mps(row.get("speed_kn", 0.0)),
        legs=tuple(legs),
        turn_rate=math.radians(row.get("turn_rate_deg_s", 4.0)),
        acceleration=row.get("acceleration_mps2", 0.4),
        drift=_vector(row.get("drift_kn", 0.0), row.get("drift_to_deg", 0.0)),
    )


def _radar(table: Values) -> RadarUse:
    renamed = {"spokes": "n_spoke", "cells": "n_cell"}
    return build(RadarUse, {renamed.get(name, name): value for name, value in table.items()})


def _sensors(table: Values) -> Sensors:
    out: Values = {}
    for name, value in table.items():
        if name.endswith("_deg"):
            out[name.removesuffix("_deg") + "_rad"] = math.radians(value)
        else:
            out[name] = value
    return build(Sensors, out)
