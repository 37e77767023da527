"""``boat.toml``: read strictly, so that a misspelt key is an error and never a silent default."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from moonless.boat.compass import card_fault
from moonless.boat.keys import KEYS
from moonless.boat.sets import GENERIC_SETS
from moonless.boat.types import Boat, Pulse, RadarSet, Skipper, StoppingTrial
from moonless.tables import TableReader, Values, build, parse

TABLES = ("boat", "radar", "skipper", "light")


def read_boat(path: Path) -> Boat:
    """Return the boat that a TOML file describes.

    Raises
    ------
    TableError  If the file cannot be read, is not TOML, has a key that is not in the table (the nearest valid one
        is named), misses a required one, or gives a value of the wrong kind or out of range.
    """
    return boat_from_dict(parse(path), path)


def boat_from_dict(found: Mapping[str, object], path: Path | str = "boat") -> Boat:
    """Return the boat of a parsed file; ``path`` is named in errors.  Raises TableError as `read_boat` does."""
    reader = TableReader(path, KEYS, "a boat file")
    reader.only(found, TABLES)
    if "boat" not in found:
        raise reader.fail("boat", "the [boat] table is missing")
    boat: Values = {"eye_height_m": 2.5} | reader.table("boat", found["boat"])
    stopping = tuple(build(StoppingTrial, row) for row in boat.pop("stopping", ()))
    fuel = tuple((row["speed_kn"], row["litres_per_hour"]) for row in boat.pop("fuel", ()))
    card = tuple(sorted((row["compass_deg"] % 360.0, row["deviation_deg"]) for row in boat.pop("deviation", ())))
    if fault := card_fault(card):
        raise reader.fail("boat.deviation", fault)
    skipper = build(Skipper, reader.table("skipper", found.get("skipper", {})))
    _check_zone(reader, skipper.local_time_zone)
    own = {
        "radar": _radar(reader, reader.table("radar", found.get("radar", {}))),
        "stopping": tuple(sorted(stopping, key=lambda trial: trial.speed)),
        "fuel_lph_at_kn": tuple(sorted(fuel)),
        "deviation": card,
        "skipper": skipper,
        "fitted_lights": reader.rows("light", found.get("light", [])),
    }
    return build(Boat, boat | own)


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


def _check_zone(reader: TableReader, name: str) -> None:
    try:
        ZoneInfo("UTC" if name.upper() == "UTC" else name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        problem = f"{name!r} is not a time zone; write it as Area/Place or UTC"
        raise reader.fail("skipper.local_time_zone", problem) from None


def _radar(reader: TableReader, given: Values) -> RadarSet:
    base = GENERIC_SETS[given.pop("kind", "small radome")]
    pulses = tuple(build(Pulse, row) for row in given.pop("pulse", ()))
    if any(later.up_to_nm <= earlier.up_to_nm for earlier, later in itertools.pairwise(pulses)):
        raise reader.fail("radar.pulse.up_to_nm", "the pulses must stand in order, shortest range scale first")
    return replace(base, **given, pulses=pulses or base.pulses)
