"""Scene files: TOML read strictly, so that a misspelt key is an error and never a silent default."""

from __future__ import annotations

import difflib
import math
import os
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from moonless.boat.file import default_boat, read_boat
from moonless.boat.sets import GENERIC_SETS
from moonless.errors import InputError
from moonless.frames import LocalFrame
from moonless.scene.keys import Key, keys_of
from moonless.scene.kinds import OBJECT_KINDS
from moonless.scene.types import (
    Ais,
    Leg,
    MarkChange,
    RadarUse,
    Scene,
    SceneObject,
    Script,
    Sensors,
    Shower,
    Skies,
    UnchartedLand,
    Waters,
)
from moonless.units import kn_to_mps, utc_to_ns

_TABLES = ("scene", "chart", "boat", "radar", "own", "sensors", "weather", "object")
DEMO_CHART = "demo"


def demo_folder() -> Path:
    """Return the folder of the invented waters and their story, inside the package."""
    return Path(__file__).parents[1] / "data" / "demo"


def load_scene(path: Path) -> Scene:
    """Return the scene of a file.

    Raises InputError, naming the file, the key and the nearest valid one, if it cannot be used.
    """
    path = Path(path)
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) else "is not UTF-8 text"
        raise InputError(f"{path}: cannot be read: {reason}") from problem
    except tomllib.TOMLDecodeError as problem:
        raise InputError(f"{path}: is not TOML: {problem}") from problem
    return scene_from_dict(found, path)


def scene_from_dict(found: Mapping[str, Any], path: Path) -> Scene:
    """Return the scene of a parsed file; ``path`` is named in errors and its folder holds what the file names."""
    reader = _Reader(path)
    for name in found:
        if name not in _TABLES:
            raise InputError(f"{path}: {name}: is not a table of a scene file{_nearest(name, _TABLES)}")
    tables = {name: reader.table(name, found.get(name, {})) for name in _TABLES if name != "object"}
    head = tables["scene"]
    boat = read_boat(path.parent / tables["boat"]["file"]) if "file" in tables["boat"] else default_boat()
    if "radar_set" in tables["boat"]:
        generic = GENERIC_SETS[tables["boat"]["radar_set"]]
        boat = replace(boat, radar=generic)
    objects = tuple(reader.object(row) for row in reader.rows("object", found.get("object", [])))
    names = [one.name for one in objects]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"{path}: object.name: {name!r} is given twice")
    return Scene(
        name=head["name"],
        about=head.get("about", ""),
        seed=head.get("seed", 1),
        start_ns=utc_to_ns(head["start"]),
        duration_s=head.get("duration_s"),
        frame=LocalFrame(*head["origin"]),
        tide_m=head.get("tide_m", 0.5),
        boat=boat,
        boat_is_assumed="file" not in tables["boat"],
        radar=_radar(tables["radar"]),
        own=_script("own", tables["own"], path),
        waters=reader.waters(tables["chart"]),
        skies=reader.skies(tables["weather"]),
        sensors=_sensors(tables["sensors"]),
        objects=objects,
    )


class _Reader:
    def __init__(self, path: Path) -> None:
        self.path = path

    def table(self, name: str, found: Any) -> dict[str, Any]:
        """Return the checked values of one table, as given."""
        if not isinstance(found, Mapping):
            raise InputError(f"{self.path}: {name}: must be a table, [{name}]")
        keys = keys_of(name)
        for given in found:
            if given not in keys:
                raise InputError(f"{self.path}: {name}.{given}: is not a key of a scene file{_nearest(given, keys)}")
        for key in keys.values():
            if key.default == "required" and key.name not in found:
                raise InputError(f"{self.path}: {name}.{key.name}: is missing; {key.says}")
        return {given: self.value(keys[given], value) for given, value in found.items()}

    def rows(self, name: str, found: Any) -> list[dict[str, Any]]:
        """Return the checked rows of an array of tables."""
        if not isinstance(found, list):
            raise InputError(f"{self.path}: {name}: must be a list of tables, [[{name}]]")
        return [self.table(name, row) for row in found]

    def value(self, key: Key, value: Any) -> Any:
        """Return one value, checked against its key."""
        where = f"{self.path}: {key.table}.{key.name}"
        if key.form in ("number", "integer"):
            allowed = int if key.form == "integer" else int | float
            if isinstance(value, bool) or not isinstance(value, allowed) or not math.isfinite(value):
                raise InputError(f"{where}: must be a {key.form}, not {value!r}")
            if not key.low <= value <= key.high:
                raise InputError(f"{where}: {value} is outside {key.low:g} to {key.high:g}")
            return value
        if key.form == "choice" and value not in key.choices:
            near = _nearest(str(value), key.choices)
            raise InputError(f"{where}: {value!r} is not one of {', '.join(key.choices)}{near}")
        if key.form == "text" and not isinstance(value, str):
            raise InputError(f"{where}: must be text, not {value!r}")
        if key.form == "yes or no" and not isinstance(value, bool):
            raise InputError(f"{where}: must be true or false, not {value!r}")
        if key.form == "time" and (not isinstance(value, datetime) or value.tzinfo is None):
            raise InputError(f"{where}: must be a date and time with its zone (2028-03-01T05:10:00Z), not {value!r}")
        if key.form == "place":
            return self._pair(where, value)
        if key.form in ("places", "spans"):
            if not isinstance(value, list):
                raise InputError(f"{where}: must be a list of pairs, not {value!r}")
            pairs = tuple(self._pair(where, one) for one in value)
            if key.form == "spans" and any(a >= b for a, b in pairs):
                raise InputError(f"{where}: each span must end after it begins")
            return pairs
        if key.form == "paths" and not (isinstance(value, list) and all(isinstance(one, str) for one in value)):
            raise InputError(f"{where}: must be a list of paths, not {value!r}")
        if key.form == "tables":
            return self.rows(f"{key.table}.{key.name}", value)
        if key.form == "table":
            return self.table(f"{key.table}.{key.name}", value)
        return value

    def _pair(self, where: str, value: Any) -> tuple[float, float]:
        good = isinstance(value, list) and len(value) == 2
        if not good or not all(
            isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v) for v in value
        ):
            raise InputError(f"{where}: must be two numbers, not {value!r}")
        return float(value[0]), float(value[1])

    def waters(self, table: Mapping[str, Any]) -> Waters:
        """Return the chart and what differs from it."""
        paths = tuple(
            demo_folder() / "waters.gpkg" if one == DEMO_CHART else self.path.parent / os.path.expandvars(one)
            for one in table.get("paths", [])
        )
        changes = []
        for row in table.get("change", []):
            if "name" not in row and not ("object" in row and "near_m" in row):
                raise InputError(f"{self.path}: chart.change: give the mark's name, or object and near_m")
            if not row.get("gone", False) and "moved_m" not in row:
                raise InputError(f"{self.path}: chart.change: say gone = true, or moved_m")
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
            raise InputError(f"{self.path}: chart.uncharted_land.ring_m: needs at least three places")
        return Waters(paths, tuple(changes), land, table.get("shift_m", (0.0, 0.0)))

    def skies(self, table: Mapping[str, Any]) -> Skies:
        """Return wind, sea and rain."""
        showers = tuple(
            Shower(
                row["at_m"], row["radius_m"], row["rate_mmh"], _vector(row.get("speed_kn", 0.0), row.get("to_deg", 0.0))
            )
            for row in table.get("shower", [])
        )
        return Skies(
            math.radians(table.get("wind_from_deg", 0.0)),
            kn_to_mps(table.get("wind_kn", 4.0)),
            table.get("wave_height_m"),
            table.get("rain_mmh", 0.0),
            showers,
        )

    def object(self, row: Mapping[str, Any]) -> SceneObject:
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
            raise InputError(f"{self.path}: object.shown_s: must be one span, [[from, to]]")
        return SceneObject(
            name=row["name"],
            kind=row["kind"],
            script=_script("object", row, self.path),
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


def _script(table: str, row: Mapping[str, Any], path: Path) -> Script:
    legs = []
    for leg in row.get("legs", []):
        aims = [name for name in ("to_m", "turn_to_deg", "hold_s") if name in leg]
        if len(aims) != 1:
            raise InputError(
                f"{path}: {table}.legs: each leg has one of to_m, turn_to_deg, hold_s; this one has {aims}"
            )
        legs.append(
            Leg(
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


def _radar(table: Mapping[str, Any]) -> RadarUse:
    renamed = {"spokes": "n_spoke", "cells": "n_cell"}
    return RadarUse(**{renamed.get(name, name): value for name, value in table.items()})


def _sensors(table: Mapping[str, Any]) -> Sensors:
    out: dict[str, Any] = {}
    for name, value in table.items():
        if name.endswith("_deg"):
            out[name.removesuffix("_deg") + "_rad"] = math.radians(value)
        else:
            out[name] = value
    return Sensors(**out)


def _nearest(name: str, among: Any) -> str:
    close = difflib.get_close_matches(name, list(among), n=1, cutoff=0.5)
    return f"; did you mean {close[0]!r}?" if close else ""
