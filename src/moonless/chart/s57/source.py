"""One chart source read whole through GDAL, as features in longitude and latitude.

Two kinds: an S-57 cell (``NAME.000`` with its updates ``NAME.001``...) and a vector source of the few other kinds that
`apart` knows, whose layers bear S-57 class names.  Nothing is left out: `SourceFeatures.counts` are GDAL's own counts.
"""

from __future__ import annotations

import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TypedDict

import numpy as np
import pyogrio
import pyogrio.raw
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from moonless.chart.s57 import attributes as s57
from moonless.chart.s57.attributes import Attribute
from moonless.chart.s57.catalogue import check_against_catalogue
from moonless.chart.s57.classes import KNOWN
from moonless.chart.s57.iso8211 import CONNECTED_NODE, EDGE, FACE, FEATURE, ISOLATED_NODE, records_of
from moonless.chart.s57.soundness import contradictions
from moonless.errors import ChartError

_ENC_OPTIONS = {
    "UPDATES": "APPLY",
    "SPLIT_MULTIPOINT": "ON",
    "ADD_SOUNDG_DEPTH": "ON",
    "RETURN_PRIMITIVES": "OFF",
    "LNAM_REFS": "ON",
    "LIST_AS_STRING": "ON",
    "RECODE_BY_DSSI": "ON",
}
# Of no use once the feature has its identifier.
_HOUSEKEEPING = frozenset({"RCID", "PRIM", "GRUP", "OBJL", "RVER", "AGEN", "FIDN", "FIDS"})
# A vector source that does not state its scale is treated as a coastal chart: our choice, and said in a warning.
UNKNOWN_SCALE = 50_000
LONGEST_EDGE_DEG = 0.01
# Sounding datums by their codes, as tide stations name them: S-57 appendix A, attribute 185 VERDAT (from memory but for
# 12, MLLW, which the two cells of the tests bear).
_DATUMS = {
    1: "MLWS",
    2: "MLLWS",
    3: "MSL",
    4: "LLW",
    5: "MLW",
    6: "LLWS",
    12: "MLLW",
    22: "ESLW",
    23: "LAT",
    27: "LLWLT",
}
# GDAL's remark about its own speed on areas with many islands; nothing is wrong with the chart.
_NOT_ABOUT_THE_CHART = ("organizePolygons", "Measured (M) geometry")

Progress = Callable[[str, float], None]
Head = dict[str, str | int | float]
"""What a source says of itself (DSID, DSPM, DSSI), by field."""


class Meta(TypedDict):
    """What is used of a layer's description."""

    fields: NDArray[np.object_]
    crs: str | None


Raw = tuple[Meta, NDArray[np.int64] | None, NDArray[np.object_] | None, Sequence[NDArray[np.generic]]]
"""A layer as `pyogrio.raw.read` gives it: description, row ids, WKB, columns."""


@dataclass
class SourceFeatures:
    """What one source holds.  Parallel columns, one row a feature; geometry WGS 84 (lon, lat), 2-D or None."""

    name: str
    path: Path
    scale: int = 0
    edition: int = 0
    update: int = 0
    issued: str = ""
    sounding_datum: str = ""
    objects: list[str] = field(default_factory=list)
    identifiers: list[str] = field(default_factory=list)
    rows: list[dict[str, Attribute]] = field(default_factory=list)
    shapes: list[shapely.Geometry | None] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)  # by layer, as GDAL counts them
    warnings: list[str] = field(default_factory=list)

    def coverage(self) -> shapely.Geometry:
        """Return the union of M_COVR areas with CATCOV 1.

        Raises ChartError if there is none: without it nobody could say where the chart ends.
        """
        rows = zip(self.shapes, self.objects, self.rows, strict=True)
        stated = [shape for shape, name, row in rows if name == "M_COVR" and row.get("CATCOV", 1) == 1]
        covered = [shape for shape in stated if shape is not None and shapely.get_dimensions(shape) == 2]
        if not covered:
            raise ChartError(f"{self.path}: has no M_COVR area, so nobody can say where it ends; add that layer")
        return shapely.union_all(covered)


def is_cell(path: Path) -> bool:
    """Return whether a file is named as the base file of an S-57 cell."""
    return path.suffix == ".000"


def updates_of(path: Path) -> list[Path]:
    """Return the update files beside a cell, in order: NAME.001, NAME.002, ..."""
    found = [p for p in path.parent.glob(path.stem + ".[0-9][0-9][0-9]") if p.suffix != ".000"]
    return sorted(found)


def files_of(path: Path) -> list[Path]:
    """Return the files whose bytes decide what a source holds."""
    if is_cell(path):
        return [path, *updates_of(path)]
    if path.is_dir():
        return sorted(p for p in path.rglob("*") if p.is_file())
    # A write-ahead log holds what has not reached the database file yet.
    return [p for p in (path, path.with_name(path.name + "-wal")) if p.exists()]


# S-57 bounds a cell at 5 MB (edition 3.1, appendix B.1); files made by others are given room.  Vector sources of whole
# coasts come to some gigabytes.
MOST_CELL_BYTES, MOST_SOURCE_BYTES = 100_000_000, 8_000_000_000


def check_size(path: Path) -> None:
    """Refuse a source larger than one can be, before a byte of it is read.  Raises ChartError."""
    for file in files_of(path):
        most = MOST_CELL_BYTES if is_cell(path) else MOST_SOURCE_BYTES
        try:
            size = file.stat().st_size
        except OSError:
            continue
        if size > most:
            raise ChartError(f"{file}: {size} bytes are too many for a chart; {most} are the most")


def read_source(path: Path, progress: Progress | None = None) -> SourceFeatures:
    """Return everything in a cell or vector source.

    Raises ChartError, one line naming the file, if it cannot be read whole.
    """
    check_size(path)
    try:
        return _read_cell(path, progress) if is_cell(path) else _read_layers(path, progress)
    except OSError as problem:
        raise ChartError(f"{path}: cannot be read: {problem.strerror or problem}") from problem
    except (RuntimeError, ValueError) as problem:
        if "not recognized as being in a supported file format" in str(problem):
            raise ChartError(f"{path}: is no chart: neither an ENC cell nor a readable vector file") from problem
        raise ChartError(f"{path}: cannot be read as a chart: {_one_line(problem)}") from problem


def _read_cell(path: Path, progress: Progress | None) -> SourceFeatures:
    source = SourceFeatures(path.stem, path)
    data = path.read_bytes()
    check_against_catalogue(path, data)
    records = records_of(data, path)
    last = 0
    for update in updates_of(path):
        data = update.read_bytes()
        check_against_catalogue(update, data)
        records_of(data, update, is_update=True)
        number = int(update.suffix[1:])
        if number != last + 1:
            source.warnings.append(f"{path}: update {last + 1} is missing, so later ones are not applied")
            break
        last = number
    base = _first_row(path, "DSID", {**_ENC_OPTIONS, "UPDATES": "IGNORE"})
    _refuse_missing_records(path, base, records)
    head = _first_row(path, "DSID", _ENC_OPTIONS)
    _refuse_other_measures(path, head)
    source.scale = int(head.get("DSPM_CSCL") or UNKNOWN_SCALE)
    source.edition = _whole(head.get("DSID_EDTN"))
    source.update = _whole(head.get("DSID_UPDN"))
    source.issued = _iso_date(head.get("DSID_ISDT"))
    source.sounding_datum = _DATUMS.get(_whole(head.get("DSPM_SDAT")), "")
    names = [str(name) for name, _ in pyogrio.list_layers(path)]
    _read_named(source, [n for n in names if n != "DSID"], _ENC_OPTIONS, progress)
    found = contradictions(source.objects, source.rows, source.shapes, source.coverage())
    source.warnings += [f"{path}: damaged, or drawn against the standard: {words}" for words in found]
    return source


def _refuse_other_measures(path: Path, head: Head) -> None:
    """Refuse what the head of a source (DSPM) says is not in metres, or not on WGS 84.

    HDAT 2 is WGS 84, the only datum an ENC may have (S-57 edition 3.1, appendix A, attribute 400 HORDAT; appendix B.1).
    Older datums lie a hundred metres and more from where the receiver says the boat is.
    """
    for unit, meaning in (("DSPM_DUNI", "depths"), ("DSPM_HUNI", "heights"), ("DSPM_PUNI", "accuracies")):
        if head.get(unit, 1) != 1:
            raise ChartError(f"{path}: gives its {meaning} in a unit other than metres ({unit}={head[unit]})")
    if head.get("DSPM_HDAT", 2) != 2:
        raise ChartError(f"{path}: its positions are not on WGS 84 (DSPM_HDAT={head['DSPM_HDAT']})")


def _refuse_missing_records(path: Path, head: Head, records: Counter[int]) -> None:
    """Compare the records the cell says it has (DSSI) with those in the file: one cut between records shows here."""
    kinds = (
        ("features", FEATURE, ("NOMR", "NOCR", "NOGR", "NOLR")), ("isolated nodes", ISOLATED_NODE, ("NOIN",)),
        ("connected nodes", CONNECTED_NODE, ("NOCN",)), ("edges", EDGE, ("NOED",)), ("faces", FACE, ("NOFA",)),
    )  # fmt: skip
    for words, kind, fields in kinds:
        counts = [head.get(f"DSSI_{name}") for name in fields]
        if any(count is None for count in counts):
            raise ChartError(f"{path}: does not say what it should hold (no DSSI record)")
        expected = int(sum(counts))  # type: ignore[arg-type]
        if records[kind] < expected:
            raise ChartError(
                f"{path}: is cut short: {records[kind]} {words} of the {expected} it says it has; copy it again"
            )


def _read_layers(path: Path, progress: Progress | None) -> SourceFeatures:
    source = SourceFeatures(path.stem, path)
    layers = [str(name) for name, _ in pyogrio.list_layers(path)]
    known = [name for name in layers if name.upper() in KNOWN]
    if not known:
        has = ", ".join(layers[:6]) or "none"
        raise ChartError(f"{path}: no layer is named as an S-57 object class (its layers: {has})")
    _read_named(source, known, {}, progress)
    head: Head = {}
    for name in layers:
        if name.upper() == "DSID":
            head = {key.upper(): value for key, value in _first_row(path, name, {}).items()}
    _refuse_other_measures(path, head)
    rows = zip(source.objects, source.rows, strict=True)
    stated = [int(s57.number(row, "CSCALE") or 0) for name, row in rows if name == "M_CSCL"]
    scale = _whole(head.get("DSPM_CSCL")) or (max(stated) if stated else 0)
    if not scale:
        scale = UNKNOWN_SCALE
        source.warnings.append(f"{path}: does not state its scale (DSID or M_CSCL); taken as 1:{UNKNOWN_SCALE}")
    source.scale = scale
    source.edition = _whole(head.get("DSID_EDTN"))
    source.update = _whole(head.get("DSID_UPDN"))
    source.issued = _iso_date(head.get("DSID_ISDT"))
    source.sounding_datum = _DATUMS.get(_whole(head.get("DSPM_SDAT")), "")
    return source


def _read_named(
    source: SourceFeatures, names: Sequence[str], options: dict[str, str], progress: Progress | None
) -> None:
    for position, layer in enumerate(names):
        meta, row_ids, geometry, columns = _read_raw(source, layer, options)
        row_numbers = [] if row_ids is None else row_ids.tolist()
        n_row = len(row_numbers)
        source.counts[layer.upper()] = n_row
        shapes = _shapes_of(source, layer, geometry, n_row, meta)
        fields = [str(name).upper() for name in meta["fields"]]
        for i in range(n_row):
            row = {name: column[i] for name, column in zip(fields, columns, strict=True)}
            _add(source, layer.upper(), row_numbers[i], row, shapes[i])
        if progress is not None:
            progress(source.name, (position + 1) / len(names))


def _add(
    source: SourceFeatures, name: str, row_id: int, row: dict[str, object], shape: shapely.Geometry | None
) -> None:
    identifier = _identifier(row, row_id)
    kept = s57.from_row({key: value for key, value in row.items() if key not in _HOUSEKEEPING})
    if name != "SOUNDG" or shape is None:
        source.objects.append(name)
        source.identifiers.append(identifier)
        source.rows.append(kept)
        source.shapes.append(None if shape is None else shapely.force_2d(shape))
        return
    # Soundings of one group share an identifier; the number after the stroke tells them apart.
    for point in shapely.get_parts(shape):
        depth = kept.get("DEPTH")
        if depth is None and shapely.has_z(point):
            depth = float(shapely.get_z(point))
        each = dict(kept)
        if depth is not None and np.isfinite(depth):
            each["DEPTH"] = depth
        source.objects.append(name)
        source.identifiers.append(f"{identifier}/{len(source.identifiers)}")
        source.rows.append(each)
        source.shapes.append(shapely.force_2d(point))


def _identifier(row: dict[str, object], row_id: int) -> str:
    parts = [row.get(name) for name in ("AGEN", "FIDN", "FIDS")]
    if any(part is None for part in parts):
        return str(row_id)
    agency, number, subdivision = (int(float(str(part))) for part in parts)
    # FIDN is an unsigned 32-bit number that GDAL hands over as a signed one.
    return f"{agency}-{number & 0xFFFF_FFFF}-{subdivision}"


def _read_raw(source: SourceFeatures, layer: str, options: dict[str, str]) -> Raw:
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        answer: Raw = pyogrio.raw.read(source.path, layer=layer, return_fids=True, **options)
    for remark in said:
        text = _one_line(remark.message)
        if not any(part in text for part in _NOT_ABOUT_THE_CHART):
            source.warnings.append(f"{source.path}: {layer}: {text}")
    return answer


def _read_shapes(source: SourceFeatures, layer: str, wkb: NDArray[np.object_]) -> NDArray[np.object_]:
    """Return the shapes; one that is damaged (a ring that does not close) costs neither the others nor the chart."""
    try:
        shapes: NDArray[np.object_] = shapely.from_wkb(wkb)
    except shapely.errors.GEOSException:
        # Closed as they stand, so that what they bound stays on the chart; what cannot be is None.
        shapes = shapely.from_wkb(wkb, on_invalid="fix")
        strict = shapely.from_wkb(wkb, on_invalid="ignore")
        damaged = np.array([a is not None and b is None for a, b in zip(wkb, strict, strict=True)])
        lost = int(np.sum(damaged & np.array([shape is None for shape in shapes])))
        words = f"{int(np.sum(damaged))} of {len(wkb)} shapes are damaged; closed as they stand"
        source.warnings.append(f"{source.path}: {layer}: {words}" + (f", {lost} of them are lost" if lost else ""))
    return shapes


def _shapes_of(
    source: SourceFeatures, layer: str, wkb: NDArray[np.object_] | None, n_row: int, meta: Meta
) -> NDArray[np.object_]:
    if wkb is None:
        return np.full(n_row, None, dtype=object)
    path = source.path
    shapes: NDArray[np.object_] = _read_shapes(source, layer, wkb)
    shapes[shapely.is_empty(shapes)] = None
    crs = meta.get("crs")
    if crs and not CRS.from_user_input(crs).equals("OGC:CRS84", ignore_axis_order=True):
        # Not only plane coordinates: degrees of another datum lie a hundred metres and more off.  Without a way to
        # WGS 84 nothing is guessed.
        try:
            to_wgs84 = Transformer.from_crs(crs, "OGC:CRS84", always_xy=True, allow_ballpark=False)
        except ProjError as problem:
            raise ChartError(f"{path}: cannot be brought to WGS 84: {_one_line(problem)}") from problem
        shapes = shapely.transform(shapes, lambda xyz: np.column_stack(to_wgs84.transform(xyz[:, 0], xyz[:, 1])))
    # Some writers make every geometry a multi-part one; a point is asked for its x, so it must be a point.
    single = shapely.get_num_geometries(shapes) == 1
    shapes[single] = shapely.get_geometry(shapes[single], 0)
    # An edge straight in degrees is not straight in metres.  With a corner every hundredth of a degree (1.1 km) the two
    # lie within 2 cm of each other, so that areas that meet in degrees meet in metres too.
    shapes = shapely.segmentize(shapes, LONGEST_EDGE_DEG)
    broken = ~shapely.is_valid(shapes) & ~shapely.is_missing(shapes)
    if broken.any():
        shapes[broken] = shapely.make_valid(shapes[broken])
        words = f"{int(np.sum(broken))} of {n_row} shapes cross themselves; put right as far as they can be"
        source.warnings.append(f"{path}: {layer}: {words}")
    bounds = shapely.total_bounds(shapes)
    if np.isfinite(bounds).all() and (abs(bounds[[0, 2]]).max() > 360.0 or abs(bounds[[1, 3]]).max() > 90.0):
        raise ChartError(f"{path}: has positions that are not longitude and latitude ({bounds.round(1).tolist()})")
    return shapes


def _first_row(path: Path, layer: str, options: dict[str, str]) -> Head:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        meta, _, _, columns = pyogrio.raw.read(path, layer=layer, max_features=1, **options)
    out: Head = {}
    for name, column in zip(meta["fields"], columns, strict=True):
        if len(column):
            value = column[0].item() if isinstance(column[0], np.generic) else column[0]
            if value is not None and value == value and value != "":
                out[str(name)] = value
    return out


def _whole(value: object) -> int:
    try:
        return int(float(str(value)))
    except (TypeError, ValueError):
        return 0


def _iso_date(value: object) -> str:
    digits = str(value or "").replace("-", "")[:8]
    try:
        return date.fromisoformat(digits).isoformat() if len(digits) == 8 else ""
    except ValueError:
        return ""


def _one_line(problem: object) -> str:
    return " ".join(str(problem).split())
