"""The file of local knowledge: a GeoPackage read whole and written whole.

Five layers: ``things`` (points), ``keep_out`` (polygons), ``notes`` (points), ``usual`` (areas where boats usually
anchor or run) and ``state`` (the next number to give).
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

import numpy as np
import pyogrio
import pyogrio.errors
import pyogrio.raw
import shapely
from numpy.typing import NDArray

from moonless.errors import InputError, SourceError
from moonless.files import replacing
from moonless.units import iso_utc, utc_to_ns

Row = tuple[str | int | float, ...]
Given = dict[str, str | float]
"""A row as read, by column."""


@dataclass(frozen=True, slots=True)
class Thing:
    """Something seen and named at a place."""

    number: int
    lat_deg: float
    lon_deg: float
    words: str  # as the skipper would say it: "crab float off the point"
    kind: str  # "pile", "stakes", "float", "mooring", "wreck", "rock", ... free, lower case
    first_seen_ns: int
    last_seen_ns: int
    times_seen: int
    confidence: float | None  # 0..1 that it stands there still; None: nobody said
    note: str


@dataclass(frozen=True, slots=True)
class KeepOut:
    """An area not to be entered, and why."""

    number: int
    outline_lonlat: shapely.Geometry
    words: str
    since_ns: int
    note: str


@dataclass(frozen=True, slots=True)
class Note:
    """Words about a place."""

    number: int
    lat_deg: float
    lon_deg: float
    words: str
    written_ns: int
    note: str = ""  # where it is from


UsualKind = Literal["anchorage", "way"]


@dataclass(frozen=True, slots=True)
class Usual:
    """Water in which boats usually anchor, or along which they usually run."""

    number: int
    outline_lonlat: shapely.Geometry  # a polygon, or several
    kind: UsualKind
    words: str
    per_km2: float  # boats there at a time, mean over the runs that looked
    last_seen_ns: int
    note: str


@dataclass(frozen=True, slots=True)
class Contents:
    """Everything in the file."""

    things: tuple[Thing, ...] = ()
    keep_outs: tuple[KeepOut, ...] = ()
    notes: tuple[Note, ...] = ()
    usual: tuple[Usual, ...] = ()
    next_number: int = 1


# What every SQLite file, and so every GeoPackage, begins with.
_SQLITE = b"SQLite format 3\x00"


def read_contents(path: Path) -> Contents:
    """Return what the file holds.

    Raises SourceError if it cannot be read.
    """
    try:
        with path.open("rb") as stream:
            if stream.read(len(_SQLITE)) != _SQLITE:
                raise SourceError(f"{path}: is no GeoPackage, which local knowledge is kept in")
        layers = {str(name) for name, _ in pyogrio.list_layers(path)}
        if not layers & set(_COLUMNS):
            raise ValueError("none of its layers is known here")
        rows = {name: _read_layer(path, name) if name in layers else [] for name in _COLUMNS}
        return Contents(
            tuple(_thing(row, shape) for row, shape in rows["things"]),
            tuple(_keep_out(row, shape) for row, shape in rows["keep_out"]),
            tuple(_note(row, shape) for row, shape in rows["notes"]),
            tuple(_usual(row, shape) for row, shape in rows["usual"]),
            max((int(row["next"]) for row, _ in rows["state"]), default=1),
        )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, RuntimeError, OSError) as problem:
        raise SourceError(f"{path}: local knowledge cannot be read: {' '.join(str(problem).split())}") from problem
    except (KeyError, ValueError, TypeError, AttributeError) as problem:
        raise SourceError(f"{path}: is not local knowledge as written here: {problem}") from problem


def write_contents(path: Path, contents: Contents) -> None:
    """Put a new file in the old one's place, whole or not at all.

    Raises SourceError if it cannot be written; the old file is then as it was.
    """
    rows: dict[str, list[Row]] = {
        "things": [
            (
                t.number, t.words, t.kind, iso_utc(t.first_seen_ns), iso_utc(t.last_seen_ns), t.times_seen,
                math.nan if t.confidence is None else t.confidence, t.note,
            )
            for t in contents.things
        ],
        "keep_out": [(a.number, a.words, iso_utc(a.since_ns), a.note) for a in contents.keep_outs],
        "notes": [(n.number, n.words, iso_utc(n.written_ns), n.note) for n in contents.notes],
        "usual": [
            (u.number, u.kind, u.words, u.per_km2, iso_utc(u.last_seen_ns), u.note) for u in contents.usual
        ],
        "state": [(contents.next_number,)],
    }  # fmt: skip
    shapes: dict[str, list[shapely.Geometry | None]] = {
        "things": [shapely.Point(t.lon_deg, t.lat_deg) for t in contents.things],
        "keep_out": [a.outline_lonlat for a in contents.keep_outs],
        "notes": [shapely.Point(n.lon_deg, n.lat_deg) for n in contents.notes],
        "usual": [_several(u.outline_lonlat) for u in contents.usual],
        "state": [None],
    }
    try:
        with replacing(path, make_folders=True, private=True) as draft:
            for layer, columns in _COLUMNS.items():
                _write_layer(draft, layer, columns, shapes[layer], rows[layer])
    except (InputError, RuntimeError, pyogrio.errors.DataSourceError) as problem:
        raise SourceError(f"local knowledge: {problem}") from problem


# Column names and NumPy types, layer by layer, in the order of the rows written.
_COLUMNS: dict[str, tuple[tuple[str, type], ...]] = {
    "things": (
        ("number", np.int64), ("words", object), ("kind", object), ("first_seen", object), ("last_seen", object),
        ("times_seen", np.int64), ("confidence", np.float64), ("note", object),
    ),
    "keep_out": (("number", np.int64), ("words", object), ("since", object), ("note", object)),
    "notes": (("number", np.int64), ("words", object), ("written", object), ("note", object)),
    "usual": (
        ("number", np.int64), ("kind", object), ("words", object), ("per_km2", np.float64), ("last_seen", object),
        ("note", object),
    ),
    "state": (("next", np.int64),),
}  # fmt: skip
_SHAPES = {"things": "Point", "keep_out": "Polygon", "notes": "Point", "usual": "MultiPolygon"}


def _write_layer(
    path: Path,
    layer: str,
    columns: Sequence[tuple[str, type]],
    shapes: Sequence[shapely.Geometry | None],
    rows: Sequence[Row],
) -> None:
    spatial = layer in _SHAPES
    data = []
    for i, (_, kind) in enumerate(columns):
        column: NDArray[np.generic] = np.empty(len(rows), dtype=kind)
        column[:] = [row[i] for row in rows]
        data.append(column)
    pyogrio.raw.write(
        path,
        geometry=shapely.to_wkb(np.array(shapes, dtype=object)) if spatial else None,
        field_data=data,
        fields=np.array([name for name, _ in columns], dtype=object),
        layer=layer,
        driver="GPKG",
        geometry_type=_SHAPES.get(layer),
        crs="EPSG:4326" if spatial else None,
        append=path.exists(),
    )


def _read_layer(path: Path, layer: str) -> list[tuple[Given, shapely.Geometry]]:
    with warnings.catch_warnings():
        # A layer someone added to by hand may make GDAL remark on it; what cannot be read is refused below.
        warnings.simplefilter("ignore")
        meta, _, wkb, columns = pyogrio.raw.read(path, layer=layer)
    n = len(columns[0]) if columns else 0
    shapes = [None] * n if wkb is None else list(shapely.from_wkb(wkb))
    return [
        ({str(name): column[i] for name, column in zip(meta["fields"], columns, strict=True)}, shapes[i])
        for i in range(n)
    ]


def _thing(row: Given, shape: shapely.Geometry) -> Thing:
    confidence = float(row["confidence"])
    return Thing(
        number=int(row["number"]),
        lat_deg=float(shape.y),
        lon_deg=float(shape.x),
        words=str(row["words"]),
        kind=str(row["kind"]),
        first_seen_ns=_time_ns(row["first_seen"]),
        last_seen_ns=_time_ns(row["last_seen"]),
        times_seen=int(row["times_seen"]),
        confidence=confidence if math.isfinite(confidence) else None,
        note=str(row["note"] or ""),
    )


def _keep_out(row: Given, shape: shapely.Geometry) -> KeepOut:
    if shape.geom_type != "Polygon":
        raise ValueError(f"keep-out area {row['number']} is a {shape.geom_type}")
    return KeepOut(int(row["number"]), shape, str(row["words"]), _time_ns(row["since"]), str(row["note"] or ""))


def _note(row: Given, shape: shapely.Geometry) -> Note:
    # Files from before have no word of where a note is from.
    return Note(
        int(row["number"]), float(shape.y), float(shape.x), str(row["words"]), _time_ns(row["written"]),
        str(row.get("note") or ""),
    )  # fmt: skip


def _usual(row: Given, shape: shapely.Geometry) -> Usual:
    kind, per_km2 = str(row["kind"]), float(row["per_km2"])
    if kind not in ("anchorage", "way") or shape.geom_type not in ("Polygon", "MultiPolygon"):
        raise ValueError(f"usual water {row['number']} is a {shape.geom_type} of kind {kind!r}")
    if not (math.isfinite(per_km2) and per_km2 >= 0.0):
        raise ValueError(f"usual water {row['number']} has {per_km2} boats in a square kilometre")
    return Usual(
        int(row["number"]), shape, "anchorage" if kind == "anchorage" else "way", str(row["words"]), per_km2,
        _time_ns(row["last_seen"]), str(row["note"] or ""),
    )  # fmt: skip


def _several(shape: shapely.Geometry) -> shapely.Geometry:
    """Return a polygon as the layer has them all."""
    return shapely.MultiPolygon([shape]) if shape.geom_type == "Polygon" else shape


def _time_ns(text: object) -> int:
    return utc_to_ns(datetime.fromisoformat(str(text)))
