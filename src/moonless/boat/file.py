"""``boat.toml``: read strictly, so that a misspelt key is an error and never a silent default."""

from __future__ import annotations

import difflib
import itertools
import math
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from moonless.boat.keys import RAD, Key, keys_of, tables_below
from moonless.boat.sets import GENERIC_SETS
from moonless.boat.types import Boat, Pulse, RadarSet, Skipper, StoppingTrial
from moonless.errors import BoatFileError

_TOP = ("boat", "radar", "skipper", "light")


def read_boat(path: Path) -> Boat:
    """Return the boat that a TOML file describes.

    Raises
    ------
    BoatFileError  If the file cannot be read, is not TOML, has a key that is not in the table (the nearest valid one
        is named), misses a required one, or gives a value of the wrong kind or out of range.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) else "is not UTF-8 text"
        raise BoatFileError(path, "", f"cannot be read: {reason}") from problem
    try:
        found = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise BoatFileError(path, "", f"is not TOML: {problem}") from problem
    return boat_from_dict(found, path)


def boat_from_dict(found: Mapping[str, Any], path: Path | str = "boat") -> Boat:
    """Return the boat of a parsed file; ``path`` is named in errors.  Raises BoatFileError as `read_boat` does."""
    for name in found:
        if name not in _TOP:
            raise BoatFileError(path, name, f"is not a table of a boat file{_nearest(name, _TOP)}")
    if "boat" not in found:
        raise BoatFileError(path, "boat", "the [boat] table is missing")
    boat = _table(path, "boat", found["boat"])
    boat.setdefault("eye_height_m", 2.5)
    stopping = tuple(StoppingTrial(**row) for row in _rows(path, "boat", "stopping", found["boat"]))
    fuel = tuple((row["speed_kn"], row["litres_per_hour"]) for row in _rows(path, "boat", "fuel", found["boat"]))
    lights = found.get("light", [])
    if not isinstance(lights, list) or not all(isinstance(one, dict) for one in lights):
        raise BoatFileError(path, "light", "must be a list of tables, [[light]]")
    skipper = Skipper(**_table(path, "skipper", found.get("skipper", {})))
    _check_zone(path, skipper.local_time_zone)
    return Boat(
        **boat,
        radar=_radar(path, found.get("radar", {})),
        stopping=tuple(sorted(stopping, key=lambda trial: trial.speed)),
        fuel_lph_at_kn=tuple(sorted(fuel)),
        skipper=skipper,
        fitted_lights=tuple(dict(one) for one in lights),
    )


def default_boat() -> Boat:
    """Return a 9 m launch with a small radome, for when there is no boat file.  Every screen says it is assumed."""
    return Boat(
        name="a 9 m launch (no boat file)",
        length_m=9.0,
        beam_m=3.0,
        draught_m=0.9,
        air_draught_m=4.0,
        eye_height_m=2.5,
        radar=GENERIC_SETS["small radome"],
    )


def _check_zone(path: Path | str, name: str) -> None:
    try:
        ZoneInfo("UTC" if name.upper() == "UTC" else name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        problem = f"{name!r} is not a time zone; write it as Area/Place or UTC"
        raise BoatFileError(path, "skipper.local_time_zone", problem) from None


def _radar(path: Path | str, found: Any) -> RadarSet:
    given = _table(path, "radar", found)
    base = GENERIC_SETS[given.pop("kind", "small radome")]
    pulses = tuple(Pulse(**row) for row in _rows(path, "radar", "pulse", found))
    if any(later.up_to_nm <= earlier.up_to_nm for earlier, later in itertools.pairwise(pulses)):
        raise BoatFileError(path, "radar.pulse.up_to_nm", "the pulses must stand in order, shortest range scale first")
    return replace(base, **given, pulses=pulses or base.pulses)


def _table(path: Path | str, table: str, found: Any) -> dict[str, Any]:
    """Return field values of one table; lists of tables inside it are left to `_rows`."""
    if not isinstance(found, dict):
        raise BoatFileError(path, table, f"must be a table, [{table}]")
    keys, lists = keys_of(table), tables_below(table)
    values: dict[str, Any] = {}
    for name, value in found.items():
        if name in lists:
            continue
        if name not in keys:
            raise BoatFileError(path, f"{table}.{name}", f"is not a key of [{table}]{_nearest(name, (*keys, *lists))}")
        values[keys[name].field] = _value(path, keys[name], value)
    for key in keys.values():
        if key.default == "required" and key.field not in values:
            raise BoatFileError(path, f"{table}.{key.name}", f"is missing ({key.says}) and must be {key.range_text}")
    return values


def _rows(path: Path | str, table: str, name: str, found: Mapping[str, Any]) -> list[dict[str, Any]]:
    rows = found.get(name, [])
    if not isinstance(rows, list):
        raise BoatFileError(path, f"{table}.{name}", f"must be a list of tables, [[{table}.{name}]]")
    return [_table(path, f"{table}.{name}", row) for row in rows]


def _value(path: Path | str, key: Key, value: Any) -> Any:
    dotted = f"{key.table}.{key.name}"
    if key.kind in ("text", "choice"):
        if not isinstance(value, str) or not value.strip():
            raise BoatFileError(path, dotted, f"{value!r} is not {'one of ' if key.choices else ''}{key.range_text}")
        if key.choices and value not in key.choices:
            raise BoatFileError(path, dotted, f"{value!r} is not one of {key.range_text}{_nearest(value, key.choices)}")
        return value
    if key.kind == "names":
        return _names(path, dotted, key, value)
    if key.kind == "sectors":
        return _sectors(path, dotted, value)
    wanted = int if key.kind == "integer" else (int, float)
    # TOML's true and false are ints to Python.
    if isinstance(value, bool) or not isinstance(value, wanted):
        raise BoatFileError(path, dotted, f"{value!r} is not a {'whole ' if key.kind == 'integer' else ''}number")
    if not (math.isfinite(value) and key.low <= value <= key.high):
        raise BoatFileError(path, dotted, f"{value} is out of range, allowed is {key.range_text}")
    return value if key.kind == "integer" else float(value) * key.scale


def _names(path: Path | str, dotted: str, key: Key, value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
        raise BoatFileError(path, dotted, f"{value!r} is not a list of names: {key.range_text}")
    for name in value:
        if name not in key.choices:
            raise BoatFileError(path, dotted, f"{name!r} is not one of them{_nearest(name, key.choices)}")
    return tuple(value)


def _sectors(path: Path | str, dotted: str, value: Any) -> tuple[tuple[float, float], ...]:
    good = isinstance(value, list) and all(
        isinstance(pair, list)
        and len(pair) == 2
        and all(isinstance(a, int | float) and not isinstance(a, bool) and 0.0 <= a <= 360.0 for a in pair)
        for pair in value
    )
    if not good:
        raise BoatFileError(path, dotted, f"{value!r} is not a list of [from, to] pairs of degrees, 0 to 360")
    return tuple((float(a) * RAD, float(b) * RAD) for a, b in value)


def _nearest(name: str, valid: tuple[str, ...]) -> str:
    close = difflib.get_close_matches(name, valid, n=1, cutoff=0.4)
    return f'; did you mean "{close[0]}"?' if close else f"; there are: {', '.join(valid)}"
