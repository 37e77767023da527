"""The kept form of one source: everything in a few arrays that open at once.

A source is read through GDAL once; after that its index file is opened.  The file is a NumPy ``.npz`` without pickles:
geometry as WKB bytes with offsets, attributes as JSON bytes with offsets, bounds and classes as arrays.  Features are
decoded only when asked for.  Its name carries the hash of the source's bytes, our version and the format's number, so
a changed chart or a new version never meets an old index.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

import moonless
from moonless.chart.source import Progress, SourceFeatures, files_of, read_source
from moonless.chart.types import Cell

# Raise when what is written, or how a source is read into it, changes.
FORMAT = 2
_ARRAYS = ("head", "classes", "class_of", "bounds", "wkb", "wkb_at", "text", "text_at")


@dataclass(eq=False)
class CellIndex:
    """One cell, ready to be asked.  Rows are features; decoded shapes and attributes are remembered."""

    cell: Cell
    counts: Mapping[str, int]
    warnings: tuple[str, ...]
    classes: NDArray[np.str_]
    class_of: NDArray[np.int16]  # (n,) into classes
    bounds: NDArray[np.float64]  # (n, 4) west, south, east, north; NaN: no geometry
    _wkb: NDArray[np.uint8]
    _wkb_at: NDArray[np.int64]  # (n + 1,)
    _text: NDArray[np.uint8]
    _text_at: NDArray[np.int64]  # (n + 1,)
    _shapes: NDArray[np.object_] = field(init=False)
    _rows: list[tuple[str, dict[str, Any]] | None] = field(init=False)

    def __post_init__(self) -> None:
        self._shapes = np.full(len(self.class_of), None, dtype=object)
        self._rows = [None] * len(self.class_of)

    def __len__(self) -> int:
        return len(self.class_of)

    def rows_in(self, west: float, south: float, east: float, north: float) -> NDArray[np.int64]:
        """Return the rows whose bounds touch a box in degrees; rows without geometry never do."""
        b = self.bounds
        return np.flatnonzero((b[:, 0] <= east) & (b[:, 2] >= west) & (b[:, 1] <= north) & (b[:, 3] >= south))

    def shapes(self, rows: NDArray[np.int64]) -> NDArray[np.object_]:
        """Return shapely geometries, WGS 84 (lon, lat)."""
        fresh = [int(row) for row in rows if self._shapes[row] is None]
        if fresh:
            blob = self._wkb.tobytes() if len(fresh) > 1000 else None
            at = self._wkb_at
            pieces = [
                blob[at[i] : at[i + 1]] if blob is not None else self._wkb[at[i] : at[i + 1]].tobytes() for i in fresh
            ]
            self._shapes[fresh] = shapely.from_wkb(pieces)
        out: NDArray[np.object_] = self._shapes[rows]
        return out

    def row(self, row: int) -> tuple[str, dict[str, Any]]:
        """Return (identifier, attributes) of a feature.  The dictionary is shared: read it only."""
        known = self._rows[row]
        if known is None:
            identifier, kept = json.loads(self._text[self._text_at[row] : self._text_at[row + 1]].tobytes())
            known = self._rows[row] = (identifier, kept)
        return known


def open_index(path: Path, cache_dir: Path, progress: Progress | None = None) -> CellIndex:
    """Return the index of one source, from the cache if its bytes have not changed, else read and kept.

    A cache that cannot be read is rebuilt; one that cannot be written costs time, not the chart.

    Raises ChartError if the source itself cannot be read.
    """
    kept = cache_dir / f"{path.stem}-{source_hash(path)}.npz"
    index = load(kept, path)
    if index is None:
        index = build(read_source(path, progress))
        try:
            save(index, kept)
        except OSError as problem:
            remark = f"{kept}: the chart index cannot be kept ({problem.strerror or problem}); opening stays slow"
            index.warnings = (*index.warnings, remark)
    elif progress is not None:
        progress(index.cell.name, 1.0)
    return index


def source_hash(path: Path) -> str:
    """Return what names the index of a source: its bytes, its updates' bytes, our version and format."""
    digest = hashlib.sha256(f"{moonless.__version__}/{FORMAT}".encode())
    for file in files_of(path):
        digest.update(f"\0{file.name}\0".encode())
        with file.open("rb") as stream:
            digest.update(hashlib.file_digest(stream, "sha256").digest())
    return digest.hexdigest()[:32]


def build(source: SourceFeatures) -> CellIndex:
    """Return the index of a source just read."""
    classes = sorted(set(source.objects))
    number = {name: i for i, name in enumerate(classes)}
    shapes = np.array(source.shapes, dtype=object)
    wkb = [b"" if shape is None else shapely.to_wkb(shape) for shape in shapes]
    text = [
        json.dumps([identifier, row], separators=(",", ":"), ensure_ascii=False).encode()
        for identifier, row in zip(source.identifiers, source.rows, strict=True)
    ]
    cell = Cell(
        name=source.name,
        path=source.path,
        scale=source.scale,
        edition=source.edition,
        update=source.update,
        issued=source.issued,
        not_for_navigation=True,
        coverage_lonlat=source.coverage(),
    )
    return CellIndex(
        cell,
        dict(source.counts),
        tuple(source.warnings),
        np.array(classes, dtype=np.str_),
        np.array([number[name] for name in source.objects], dtype=np.int16),
        shapely.bounds(shapes).reshape(-1, 4),
        *_joined(wkb),
        *_joined(text),
    )


def _joined(pieces: Sequence[bytes]) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    ends = np.concatenate([[0], np.cumsum([len(piece) for piece in pieces])]).astype(np.int64)
    return np.frombuffer(b"".join(pieces), dtype=np.uint8), ends


def save(index: CellIndex, kept: Path) -> None:
    """Write the index whole or not at all."""
    cell = index.cell
    head = {
        "format": FORMAT,
        "name": cell.name,
        "scale": cell.scale,
        "edition": cell.edition,
        "update": cell.update,
        "issued": cell.issued,
        "not_for_navigation": cell.not_for_navigation,
        "coverage": shapely.to_wkb(cell.coverage_lonlat, hex=True),
        "counts": dict(index.counts),
        "warnings": list(index.warnings),
    }
    kept.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=kept.parent, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            np.savez(
                stream,
                head=np.frombuffer(json.dumps(head).encode(), dtype=np.uint8),
                classes=index.classes,
                class_of=index.class_of,
                bounds=index.bounds,
                wkb=index._wkb,
                wkb_at=index._wkb_at,
                text=index._text,
                text_at=index._text_at,
            )
        os.replace(name, kept)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def load(kept: Path, path: Path) -> CellIndex | None:
    """Return a kept index of the source at ``path``; None if there is none or it is damaged."""
    try:
        # The zip layer checks every array's CRC, so a damaged file is noticed here.
        with kept.open("rb") as stream, np.load(stream, allow_pickle=False) as arrays:
            head_bytes, classes, class_of, bounds, wkb, wkb_at, text, text_at = (arrays[name] for name in _ARRAYS)
        head = json.loads(head_bytes.tobytes())
        if head["format"] != FORMAT or len(wkb_at) != len(class_of) + 1 or len(text_at) != len(class_of) + 1:
            return None
        coverage = shapely.from_wkb(head["coverage"])
        cell = Cell(
            head["name"], path, head["scale"], head["edition"], head["update"], head["issued"],
            head["not_for_navigation"], coverage,
        )  # fmt: skip
        return CellIndex(
            cell, head["counts"], tuple(head["warnings"]), classes, class_of, bounds, wkb, wkb_at, text, text_at
        )
    except Exception:
        # A damaged file may fail in any of the zip, array, JSON and geometry readers; the answer is the same: rebuild.
        return None
