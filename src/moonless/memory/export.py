"""Lessons for other programs: GeoJSON, GeoPackage, and plain data."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pyogrio
import pyogrio.errors
import pyogrio.raw
import shapely
from numpy.typing import NDArray

from moonless.errors import InputError
from moonless.files import replacing
from moonless.memory.outline import cell_outline, outline_of
from moonless.memory.summary import Run
from moonless.memory.teaching.lessons import Lesson, Lessons
from moonless.units import iso_utc

CAUTION = "Learned from runs, not surveyed. What is not here may stand there all the same. Not for navigation."


def geojson(lessons: Lessons, runs: Mapping[str, Run]) -> dict[str, object]:
    """Return the lessons as one FeatureCollection; ``layer`` in each feature's properties says what it is."""
    features = [
        {
            "type": "Feature",
            "properties": {"layer": layer, **properties},
            "geometry": None if shape is None else shapely.geometry.mapping(shape),
        }
        for layer, rows in _layers(lessons, runs).items()
        for properties, shape in rows
    ]
    return {"type": "FeatureCollection", "caution": CAUTION, "features": features}


def write_geopackage(path: Path, lessons: Lessons, runs: Mapping[str, Run]) -> None:
    """Put the lessons in a GeoPackage, one layer each, whole or not at all.

    Raises InputError if it cannot be written, or if there is nothing to write.
    """
    layers = {name: rows for name, rows in _layers(lessons, runs).items() if rows}
    if not layers:
        raise InputError(f"{path}: nothing was learned yet, so there is nothing to write")
    try:
        with replacing(path) as draft:
            for name, rows in layers.items():
                _write(draft, name, rows)
    except (RuntimeError, pyogrio.errors.DataSourceError) as problem:
        raise InputError(f"{path}: cannot be written: {' '.join(str(problem).split())}") from problem


Rows = list[tuple[Mapping[str, object], shapely.Geometry | None]]


def _layers(lessons: Lessons, runs: Mapping[str, Run]) -> dict[str, Rows]:
    return {
        "proposals": [(_of(k, one, runs), outline_of(one)) for k, one in enumerate(lessons.proposals, start=1)],
        "ways": [
            ({"vessels": w.vessels, "runs": w.runs, "course_deg": w.course_deg}, cell_outline(w.key))
            for w in lessons.ways
        ],
        "unseen": [({"runs": u.runs}, cell_outline(u.key)) for u in lessons.unseen],
        "clutter": [
            ({"wind": c.wind, "looks": c.looks, "share": c.share}, cell_outline(c.key)) for c in lessons.clutter
        ],
        "runs": [
            (
                {"number": r.number, "boat": r.boat, "source": r.source, "begins": iso_utc(r.begins_ns),
                 "ends": iso_utc(r.ends_ns), "turns": r.turns, "left_out": lessons.left_out.get(r.number, "")},
                None,
            )
            for r in sorted(runs.values(), key=lambda r: (r.begins_ns, r.number))
        ],
    }  # fmt: skip


def _of(number: int, one: Lesson, runs: Mapping[str, Run]) -> dict[str, object]:
    out = asdict(one)
    out |= {"number": number, "first": iso_utc(one.first_ns), "last": iso_utc(one.last_ns)}
    out["runs"] = ", ".join(one.runs)
    out["sources"] = ", ".join(sorted(runs[run].source for run in one.runs if run in runs))
    for gone in ("lat_deg", "lon_deg", "first_ns", "last_ns", "cells"):
        del out[gone]
    return {"number": number, **out}


def _write(path: Path, layer: str, rows: Rows) -> None:
    names = list(rows[0][0])
    columns = [_column([properties[name] for properties, _ in rows]) for name in names]
    shapes = [shape for _, shape in rows]
    is_spatial = shapes[0] is not None
    kinds = {shape.geom_type for shape in shapes if shape is not None} if is_spatial else set()
    pyogrio.raw.write(
        path,
        geometry=shapely.to_wkb(np.array(shapes, dtype=object)) if is_spatial else None,
        field_data=columns,
        fields=np.array(names, dtype=object),
        layer=layer,
        driver="GPKG",
        geometry_type=(kinds.pop() if len(kinds) == 1 else "Unknown") if is_spatial else None,
        crs="EPSG:4326" if is_spatial else None,
        append=path.exists(),
    )


def _column(values: Sequence[object]) -> NDArray[np.generic]:
    known = [value for value in values if value is not None]
    if known and all(isinstance(value, int) for value in known) and len(known) == len(values):
        return np.array(values, dtype=np.int64)
    if not known or all(isinstance(value, int | float) for value in known):
        return np.array([math.nan if value is None else value for value in values], dtype=np.float64)
    out = np.empty(len(values), dtype=object)
    out[:] = ["" if value is None else value for value in values]
    return out
