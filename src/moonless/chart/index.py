"""The kept form of one source: everything in a few arrays that open at once.

A source is read through GDAL once, in a process apart (`s57.apart`); after that its index file is opened.  The file is
a NumPy ``.npz`` without pickles: geometry as WKB bytes with offsets, attributes as JSON bytes with offsets, bounds and
classes as arrays.  Its name carries the hash of the source's bytes, our version and the format's number, so a changed
chart or a new version never meets an old index.

Rules: opening reads the head only (name, scale, coverage), so that a locker full of cells opens at once; the arrays are
read when a cell is first asked, and features decoded only when touched.  What turns out damaged is rebuilt from the
source, at whichever of the two moments it is noticed.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.s57.apart import read_apart
from moonless.chart.s57.attributes import Attributes
from moonless.chart.s57.source import Progress, SourceFeatures, check_size, files_of
from moonless.chart.types import Cell
from moonless.errors import ChartError, InputError
from moonless.files import Drafts
from moonless.version import VERSION

# Raise when what is written, or how a source is read into it, changes.
FORMAT = 7


@dataclass(frozen=True, slots=True, eq=False)
class Head:
    """What is known of a source without touching its features."""

    cell: Cell
    counts: dict[str, int]  # by layer, as GDAL counted them
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """The features of a source, undecoded; n rows."""

    classes: NDArray[np.str_]
    class_of: NDArray[np.int16]  # (n,) into classes
    bounds: NDArray[np.float64]  # (n, 4) west, south, east, north; NaN: no geometry
    wkb: NDArray[np.uint8]
    wkb_at: NDArray[np.int64]  # (n + 1,)
    text: NDArray[np.uint8]
    text_at: NDArray[np.int64]  # (n + 1,)


_BODY_ARRAYS = Body.__slots__


class CellIndex:
    """One cell, ready to be asked.  Rows are features; decoded shapes and attributes are remembered."""

    def __init__(self, head: Head, body: Body | Callable[[], Body], identity: str = "") -> None:
        self.cell = head.cell
        # Names the very bytes it was read from; "": made without a file.
        self.identity = identity
        self.counts = head.counts
        self.warnings = head.warnings
        self.coverage_bounds: tuple[float, float, float, float] = head.cell.coverage_lonlat.bounds
        self._load = body
        self._body: Body | None = None
        self._shapes: NDArray[np.object_]
        self._rows: list[tuple[str, Attributes] | None]

    @property
    def body(self) -> Body:
        """The features, read now if they have not been.

        Raises ChartError if the kept index is damaged and the source can no longer be read.
        """
        if self._body is None:
            body = self._load() if callable(self._load) else self._load
            self._shapes = np.full(len(body.class_of), None, dtype=object)
            self._rows = [None] * len(body.class_of)
            self._body = body
        return self._body

    def __len__(self) -> int:
        return len(self.body.class_of)

    def rows_in(self, west: float, south: float, east: float, north: float) -> NDArray[np.int64]:
        """Return the rows whose bounds touch a box in degrees; rows without geometry never do."""
        b = self.body.bounds
        return np.flatnonzero((b[:, 0] <= east) & (b[:, 2] >= west) & (b[:, 1] <= north) & (b[:, 3] >= south))

    def objects(self, rows: NDArray[np.int64]) -> NDArray[np.str_]:
        """Return the object classes of rows."""
        body = self.body
        return body.classes[body.class_of[rows]]

    def bounds(self, rows: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return (k, 4) west, south, east, north of rows, degrees."""
        return self.body.bounds[rows]

    def shapes(self, rows: NDArray[np.int64]) -> NDArray[np.object_]:
        """Return shapely geometries, WGS 84 (lon, lat)."""
        body = self.body
        fresh = [int(row) for row in rows if self._shapes[row] is None]
        if fresh:
            whole, at = body.wkb.data, body.wkb_at
            self._shapes[fresh] = shapely.from_wkb([bytes(whole[at[i] : at[i + 1]]) for i in fresh])
        out: NDArray[np.object_] = self._shapes[rows]
        return out

    def row(self, row: int) -> tuple[str, Attributes]:
        """Return (identifier, attributes) of a feature.  The dictionary is shared: read it only."""
        body = self.body
        known = self._rows[row]
        if known is None:
            identifier, kept = json.loads(body.text[body.text_at[row] : body.text_at[row + 1]].tobytes())
            known = self._rows[row] = (identifier, kept)
        return known


def open_index(path: Path, cache_dir: Path, progress: Progress | None = None) -> CellIndex:
    """Return the index of one source, from the cache if its bytes have not changed, else read and kept.

    A cache that cannot be read is rebuilt; one that cannot be written costs time, not the chart.

    Raises ChartError if the source itself cannot be read.
    """
    check_size(path)
    kept = cache_dir / f"{path.stem}-{source_hash(path)}.npz"
    head = load_head(kept, path)
    if head is None:
        return CellIndex(*_read_and_keep(path, kept, progress), kept.stem)
    if progress is not None:
        progress(head.cell.name, 1.0)

    def load() -> Body:
        body = load_body(kept)
        return body if body is not None else _read_and_keep(path, kept, None)[1]

    return CellIndex(head, load, kept.stem)


def _read_and_keep(path: Path, kept: Path, progress: Progress | None) -> tuple[Head, Body]:
    with tempfile.TemporaryDirectory(prefix="moonless-chart-") as place:
        draft = Path(place) / "index.npz"
        read_apart(path, draft, progress)
        head, body = load_head(draft, path), load_body(draft)
    if head is None or body is None:
        raise ChartError(f"{path}: its index cannot be read back")
    try:
        save(head, body, kept)
    except InputError as problem:
        remark = f"the chart index cannot be kept ({problem}); opening stays slow"
        head = replace(head, warnings=(*head.warnings, remark))
    return head, body


def source_hash(path: Path) -> str:
    """Return what names the index of a source: its bytes, its updates' bytes, our version and format."""
    digest = hashlib.sha256(f"{VERSION}/{FORMAT}".encode())
    for file in files_of(path):
        name = file.relative_to(path) if path.is_dir() else file.name
        digest.update(f"\0{name}\0".encode())
        with file.open("rb") as stream:
            digest.update(hashlib.file_digest(stream, "sha256").digest())
    return digest.hexdigest()[:32]


def build(source: SourceFeatures) -> tuple[Head, Body]:
    """Return the index of a source just read."""
    classes = sorted(set(source.objects))
    number = {name: i for i, name in enumerate(classes)}
    shapes = np.empty(len(source.shapes), dtype=object)
    shapes[:] = source.shapes
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
        sounding_datum=source.sounding_datum,
    )
    body = Body(
        np.array(classes, dtype=np.str_),
        np.array([number[name] for name in source.objects], dtype=np.int16),
        shapely.bounds(shapes).reshape(-1, 4),
        *_joined(wkb),
        *_joined(text),
    )
    return Head(cell, dict(source.counts), tuple(source.warnings)), body


def _joined(pieces: Sequence[bytes]) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    ends = np.concatenate([[0], np.cumsum([len(piece) for piece in pieces])]).astype(np.int64)
    return np.frombuffer(b"".join(pieces), dtype=np.uint8), ends


def save(head: Head, body: Body, kept: Path) -> None:
    """Write the index whole or not at all."""
    cell = head.cell
    words = {
        "format": FORMAT,
        "name": cell.name,
        "scale": cell.scale,
        "edition": cell.edition,
        "update": cell.update,
        "issued": cell.issued,
        "not_for_navigation": cell.not_for_navigation,
        "sounding_datum": cell.sounding_datum,
        "coverage": shapely.to_wkb(cell.coverage_lonlat, hex=True),
        "counts": head.counts,
        "warnings": list(head.warnings),
    }
    arrays = {array: getattr(body, array) for array in _BODY_ARRAYS}
    with Drafts(make_folders=True) as drafts:
        np.savez(drafts.binary(kept), head=np.frombuffer(json.dumps(words).encode(), dtype=np.uint8), **arrays)


def load_head(kept: Path, path: Path) -> Head | None:
    """Return the head of a kept index of the source at ``path``; None if there is none or it is damaged."""
    try:
        with kept.open("rb") as stream, np.load(stream, allow_pickle=False) as arrays:
            words = json.loads(arrays["head"].tobytes())
            if words["format"] != FORMAT or not set(_BODY_ARRAYS) <= set(arrays.files):
                return None
        cell = Cell(
            name=words["name"],
            path=path,
            scale=words["scale"],
            edition=words["edition"],
            update=words["update"],
            issued=words["issued"],
            not_for_navigation=words["not_for_navigation"],
            coverage_lonlat=shapely.from_wkb(words["coverage"]),
            sounding_datum=words["sounding_datum"],
        )
        return Head(cell, words["counts"], tuple(words["warnings"]))
    except Exception:
        # A damaged file may fail in any of the zip, array, JSON and geometry readers; the answer is the same: rebuild.
        return None


def load_body(kept: Path) -> Body | None:
    """Return the features of a kept index; None if there is none or it is damaged."""
    try:
        # The zip layer checks every array's CRC, so a damaged file is noticed here.
        with kept.open("rb") as stream, np.load(stream, allow_pickle=False) as arrays:
            body = Body(*(arrays[name] for name in _BODY_ARRAYS))
        n = len(body.class_of)
        return body if len(body.bounds) == n and len(body.wkb_at) == len(body.text_at) == n + 1 else None
    except Exception:
        # As above.
        return None
