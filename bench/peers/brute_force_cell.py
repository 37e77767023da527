"""A chart read by brute force: GDAL over every feature of a source, nothing of ours."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely


@dataclass(frozen=True)
class Thing:
    """One feature, in the plane of a leg."""

    cls: str
    ident: str
    given: dict[str, Any]
    shape: shapely.Geometry


class Cell:
    """Every feature of one source, in longitude and latitude."""

    def __init__(self, path: Path) -> None:
        options: dict[str, Any] = {}
        if path.suffix == ".000":
            options = {
                "UPDATES": "APPLY", "SPLIT_MULTIPOINT": "ON", "ADD_SOUNDG_DEPTH": "ON", "LNAM_REFS": "ON",
                "LIST_AS_STRING": "ON",
            }  # fmt: skip
        self.things: list[Thing] = []
        self.scale = 0
        for name, kind in pyogrio.list_layers(path):
            meta, ids, wkb, columns = pyogrio.raw.read(path, layer=name, return_fids=True, **options)
            fields = [str(f).upper() for f in meta["fields"]]
            if name == "DSID":
                head = dict(zip(fields, columns, strict=True))
                self.scale = int(head["DSPM_CSCL"][0])
            if kind is None or wkb is None:
                continue
            for i, shape in enumerate(shapely.from_wkb(wkb)):
                row = {f: _plain(c[i]) for f, c in zip(fields, columns, strict=True)}
                given = {f: v for f, v in row.items() if v is not None}
                ident = str(ids[i])
                if given.get("FIDN") is not None:
                    ident = f"{int(given['AGEN'])}-{int(given['FIDN']) & 0xFFFFFFFF}-{int(given['FIDS'])}"
                if shape is None or shape.is_empty:
                    continue
                parts = shapely.get_parts(shape) if str(name).upper() == "SOUNDG" else [shape]
                for part in parts:
                    one = dict(given)
                    if str(name).upper() == "SOUNDG" and "DEPTH" not in one and shapely.has_z(part):
                        one["DEPTH"] = float(shapely.get_z(part))
                    flat = shapely.segmentize(shapely.force_2d(part), 0.005)
                    self.things.append(Thing(str(name).upper(), ident, one, flat))
        self.tree = shapely.STRtree([t.shape for t in self.things])
        cover = [t.shape for t in self.things if t.cls == "M_COVR" and int(t.given.get("CATCOV", 1)) == 1]
        self.coverage = shapely.union_all(cover)


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return list(value)
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or value == "" or (isinstance(value, float) and not math.isfinite(value)):
        return None
    return value


def codes(value: Any) -> set[int]:
    if value is None:
        return set()
    if isinstance(value, list | tuple | np.ndarray):
        return {int(v) for v in value}
    return {int(v) for v in re.findall(r"\d+", re.sub(r"^\(\d+:", "", str(value)))}


def number(given: dict[str, Any], name: str) -> float | None:
    value = given.get(name)
    return None if value is None else float(value)
