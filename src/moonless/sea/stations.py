"""Tide and current stations, read from JSON files of NOAA-style records.

A record carries `harmonic_constituents` (metres; knots for a current), `datums` (metres above one common zero), and
for a subordinate station the `offsets` against its reference.  Unknown keys are ignored: the files are the agency's.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from moonless.errors import InputError, SourceError
from moonless.files import read_small
from moonless.frames import geodesic
from moonless.sea.constituents import CONSTITUENTS
from moonless.units import kn_to_mps

Record = Mapping[str, Any]
"""One station as JSON holds it; every value is checked as it is taken."""

# Metres, or knots: the largest tides are under 17 m from low to high, the fastest streams under 20 kn (from memory).
_MOST_AMPLITUDE = 20.0
# All the stations of a large agency come to some tens of megabytes.
MOST_BYTES = 200_000_000


@dataclass(frozen=True, slots=True)
class Harmonic:
    """One constituent at one place: amplitude in metres (m/s for a current), phase lag g on UTC."""

    name: str
    amplitude: float
    phase_rad: float


@dataclass(frozen=True, slots=True)
class TideOffsets:
    """How a subordinate tide station follows its reference.  Heights are multiplied where ``is_ratio``, else added."""

    reference: str
    high_s: float
    low_s: float
    high: float
    low: float
    is_ratio: bool


@dataclass(frozen=True, slots=True)
class StreamOffsets:
    """How a subordinate current station follows its reference: seconds added to each event, ratios of the speeds."""

    reference: str
    slack_before_flood_s: float
    flood_s: float
    slack_before_ebb_s: float
    ebb_s: float
    flood_ratio: float
    ebb_ratio: float


@dataclass(frozen=True, slots=True)
class TideStation:
    """Heights at one place.  ``mean_level_m``: mean sea level above ``datum``; None where the record does not say."""

    id: str
    name: str
    lat_deg: float
    lon_deg: float
    datum: str
    mean_level_m: float | None
    harmonics: tuple[Harmonic, ...]
    offsets: TideOffsets | None
    datums: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class StreamStation:
    """Streams at one place: along the flood direction positive."""

    id: str
    name: str
    lat_deg: float
    lon_deg: float
    flood_rad: float
    ebb_rad: float
    mean_flow: float  # m/s along the flood
    harmonics: tuple[Harmonic, ...]
    offsets: StreamOffsets | None


@dataclass(frozen=True, slots=True)
class Stations:
    """All stations of some files, by kind and id."""

    tides: Mapping[str, TideStation]
    streams: Mapping[str, StreamStation]
    warnings: tuple[str, ...] = ()

    def tides_near(self, lat_deg: float, lon_deg: float, within_m: float) -> list[tuple[float, TideStation]]:
        """Return (distance in metres, station), nearest first; empty: none so near, which is not "no tide"."""
        return _near(self.tides.values(), lat_deg, lon_deg, within_m)

    def streams_near(self, lat_deg: float, lon_deg: float, within_m: float) -> list[tuple[float, StreamStation]]:
        """Return (distance in metres, station), nearest first; empty: none so near, which is not "no stream"."""
        return _near(self.streams.values(), lat_deg, lon_deg, within_m)


S = TypeVar("S", TideStation, StreamStation)


def _near(stations: Iterable[S], lat_deg: float, lon_deg: float, within_m: float) -> list[tuple[float, S]]:
    found = list(stations)
    if not found:
        return []
    distance, _ = geodesic(
        [lat_deg] * len(found), [lon_deg] * len(found), [s.lat_deg for s in found], [s.lon_deg for s in found]
    )
    near = [(float(d), s) for d, s in zip(distance, found, strict=True) if d <= within_m]
    return sorted(near, key=lambda pair: (pair[0], pair[1].id))


def read_stations(paths: Iterable[Path]) -> Stations:
    """Read station files.

    Raises
    ------
    InputError   If a file cannot be opened.
    SourceError  If a file is not a JSON list of station records, or none of them can be used.
    A single record that cannot be used, or says what cannot be, is left out and named in ``warnings``.
    """
    tides: dict[str, TideStation] = {}
    streams: dict[str, StreamStation] = {}
    warnings: list[str] = []
    for path in paths:
        try:
            records = json.loads(read_small(path, MOST_BYTES).decode("utf-8"))
        except OSError as problem:
            raise InputError(f"{path}: cannot be opened: {problem.strerror}") from problem
        except InputError:
            raise
        except (ValueError, RecursionError) as problem:  # the second: brackets in brackets in brackets
            raise SourceError(f"{path}: is not JSON: {problem}") from problem
        found = stations_of(records, str(path))
        if not (found.tides or found.streams):
            why = f": {found.warnings[0].partition(': ')[2]}" if found.warnings else ""
            raise SourceError(f"{path}: holds no tide and no stream station that can be used{why}")
        tides.update(found.tides)
        streams.update(found.streams)
        warnings += found.warnings
    return Stations(tides, streams, tuple(warnings))


def stations_of(records: object, name: str) -> Stations:
    """Return the stations of a list of records; ``name`` is what messages call it.

    Raises SourceError if it is none.
    """
    if not isinstance(records, list):
        raise SourceError(f"{name}: holds {type(records).__name__}, not a list of station records")
    tides: dict[str, TideStation] = {}
    streams: dict[str, StreamStation] = {}
    warnings: list[str] = []
    for row, record in enumerate(records):
        try:
            if record["kind"] == "tide":
                tide = _tide(record)
                tides[tide.id] = tide
            elif record["kind"] == "current":
                stream = _stream(record)
                streams[stream.id] = stream
        except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as problem:
            warnings.append(f"{name}: record {row} left out: {problem!r}")
    return Stations(tides, streams, tuple(warnings))


def _number(value: float | str, most: float = math.inf) -> float:
    """Return a finite number.  JSON as Python reads it holds NaN and infinities too."""
    number = float(value)
    if not math.isfinite(number) or abs(number) > most:
        raise ValueError(f"{value!r} cannot be")
    return number


def _harmonics(record: Record, scale: float) -> tuple[Harmonic, ...]:
    out = []
    for entry in record.get("harmonic_constituents", ()):
        name = str(entry["name"]).upper()
        if name not in CONSTITUENTS:
            raise ValueError(f"constituent {name} is not known")
        amplitude = _number(entry["amplitude"], _MOST_AMPLITUDE) * scale
        if amplitude:
            out.append(Harmonic(name, amplitude, math.radians(_number(entry["phase"]))))
    return tuple(out)


def _tide(record: Record) -> TideStation:
    datums = {str(k): _number(v) for k, v in (record.get("datums") or {}).items()}
    datum = str(record.get("chart_datum") or "MLLW")
    mean = datums["MSL"] - datums[datum] if "MSL" in datums and datum in datums else None
    offsets = None
    if record.get("offsets"):
        given = record["offsets"]
        offsets = TideOffsets(
            reference=str(given["reference"]),
            high_s=60.0 * _number(given["time"]["high"]),
            low_s=60.0 * _number(given["time"]["low"]),
            high=_number(given["height"]["high"]),
            low=_number(given["height"]["low"]),
            is_ratio=given["height"]["type"] == "ratio",
        )
    return TideStation(
        id=str(record["id"]),
        name=str(record["name"]),
        lat_deg=_number(record["latitude"], 90.0),
        lon_deg=_number(record["longitude"], 180.0),
        datum=datum,
        mean_level_m=mean,
        harmonics=_harmonics(record, 1.0),
        offsets=offsets,
        datums=datums,
    )


def _stream(record: Record) -> StreamStation:
    current = record["current"]
    offsets = None
    if current.get("offsets"):
        given = current["offsets"]
        offsets = StreamOffsets(
            reference=str(given["reference"]),
            slack_before_flood_s=60.0 * _number(given["slack_before_flood"]),
            flood_s=60.0 * _number(given["flood_time"]),
            slack_before_ebb_s=60.0 * _number(given["slack_before_ebb"]),
            ebb_s=60.0 * _number(given["ebb_time"]),
            flood_ratio=_number(given["flood_speed_ratio"]),
            ebb_ratio=_number(given["ebb_speed_ratio"]),
        )
    return StreamStation(
        id=str(record["id"]),
        name=str(record["name"]),
        lat_deg=_number(record["latitude"], 90.0),
        lon_deg=_number(record["longitude"], 180.0),
        flood_rad=math.radians(_number(current["flood_direction"])),
        ebb_rad=math.radians(_number(current["ebb_direction"])),
        mean_flow=kn_to_mps(_number(current.get("mean_flow") or 0.0)),
        harmonics=_harmonics(record, kn_to_mps(1.0)),
        offsets=offsets,
    )
