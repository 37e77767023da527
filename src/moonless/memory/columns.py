"""Summaries as Arrow: one row a run, its sightings and marks as lists of records, its cells as lists of figures.

The version of the schema stands in the table's metadata.  What another version wrote is refused in one line, never
guessed at.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np

from moonless.errors import InputError, SourceError
from moonless.memory.summary import COUNTS, VERSION, Cells, MarkSeen, Run, RunSummary, Sighting

if TYPE_CHECKING:
    import pyarrow

Row = dict[str, Any]
"""One row as Arrow gives it; its kinds are the schema's, which was checked."""

_VERSION_KEY = b"moonless.summary"
# Columns of the run itself: all that a first look at a store needs.
HEAD = tuple(Run.__slots__)


def arrow() -> ModuleType:
    """Return pyarrow.  Raises InputError, saying how to get it, where it is not installed."""
    try:
        import pyarrow.parquet
    except ImportError:
        raise InputError("learning needs the pyarrow package: pip install 'moonless[learn]'") from None
    module: ModuleType = pyarrow
    return module


def schema() -> pyarrow.Schema:
    """Return the Arrow schema of this version."""
    pa = arrow()
    text, whole, figure = pa.string(), pa.int64(), pa.float64()
    head = {
        "number": text, "boat": text, "source": text, "begins_ns": whole, "ends_ns": whole, "turns": pa.int32(),
        "looks": pa.int32(), "wind_speed": figure, "wind_from_deg": figure, "heading_bias_deg": figure,
        "east_m": figure, "north_m": figure,
    }  # fmt: skip
    sighting = {
        "lat_deg": figure, "lon_deg": figure, "sigma_m": figure, "spread_m": figure, "first_ns": whole,
        "last_ns": whole, "looks": pa.int32(), "seen": pa.int32(), "told": pa.int32(), "confidence": figure,
        "length_m": figure, "is_vessel": pa.bool_(),
    }  # fmt: skip
    mark = {
        "object": text, "name": text, "cell": text, "feature": text, "lat_deg": figure, "lon_deg": figure,
        "told": pa.int32(), "missed": pa.int32(), "looks": pa.int32(), "p_if_there": figure, "offset_m": figure,
        "range_m": figure,
    }  # fmt: skip
    fields = [pa.field(name, kind) for name, kind in head.items()]
    fields += [pa.field("sightings", pa.list_(_record(sighting))), pa.field("marks", pa.list_(_record(mark)))]
    fields += [pa.field("key", pa.list_(whole)), *(pa.field(name, pa.list_(pa.int32())) for name in COUNTS)]
    return pa.schema(fields, metadata={_VERSION_KEY: str(VERSION).encode()})


def _record(kinds: dict[str, pyarrow.DataType]) -> pyarrow.StructType:
    pa = arrow()
    return pa.struct([pa.field(name, kind) for name, kind in kinds.items()])


def to_table(summaries: Sequence[RunSummary]) -> pyarrow.Table:
    """Return summaries as an Arrow table."""
    rows = [
        {
            **asdict(one.run),
            "sightings": [asdict(s) for s in one.sightings],
            "marks": [asdict(m) for m in one.marks],
            "key": one.cells.key,
            **{name: getattr(one.cells, name) for name in COUNTS},
        }
        for one in summaries
    ]
    return arrow().Table.from_pylist(rows, schema=schema())


def to_parquet(summaries: Sequence[RunSummary]) -> bytes:
    """Return summaries as the bytes of a Parquet file, one row group a run, so that they are read run by run."""
    arrow()
    import pyarrow.parquet as pq

    out = io.BytesIO()
    with pq.ParquetWriter(out, schema(), compression="zstd") as writer:
        for one in summaries:
            writer.write_table(to_table([one]))
    return out.getvalue()


def read_parquet(data: bytes, where: str, columns: Sequence[str] | None = None) -> Iterator[Row]:
    """Yield the rows of a Parquet file, run by run; ``columns``: these alone.

    Raises SourceError if it is not what this version writes.
    """
    pa = arrow()
    import pyarrow.parquet as pq

    try:
        file = pq.ParquetFile(io.BytesIO(data))
        _check(file.schema_arrow, where)
        for group in range(file.num_row_groups):
            for batch in file.read_row_group(group, columns=None if columns is None else list(columns)).to_batches():
                for row in range(batch.num_rows):
                    yield _row(batch, row)
    except (pa.ArrowException, OSError) as problem:
        raise SourceError(f"{where}: is not a whole summary: {' '.join(str(problem).split())[:120]}") from problem


def _check(found: pyarrow.Schema, where: str) -> None:
    version = (found.metadata or {}).get(_VERSION_KEY)
    if version is None:
        raise SourceError(f"{where}: is not a summary of runs as `moonless learn` writes them")
    if version != str(VERSION).encode():
        raise SourceError(
            f"{where}: is a summary of version {version.decode(errors='replace')}, this program reads {VERSION}; "
            f"learn the recording again"
        )
    if not found.equals(schema()):
        raise SourceError(f"{where}: its columns are not those of version {VERSION}")


def _row(batch: pyarrow.RecordBatch, row: int) -> Row:
    out: Row = {}
    for name in batch.schema.names:
        value = batch.column(name)[row]
        if name == "key" or name in COUNTS:
            out[name] = np.asarray(value.values.to_numpy(zero_copy_only=False))
        else:
            out[name] = value.as_py()
    return out


def run_of(row: Row) -> Run:
    """Return the run of a row."""
    return Run(**{name: row[name] for name in HEAD})


def summary_of(row: Row) -> RunSummary:
    """Return the summary of a row with all its columns."""
    return RunSummary(
        run_of(row),
        tuple(Sighting(**one) for one in row["sightings"]),
        tuple(MarkSeen(**one) for one in row["marks"]),
        Cells(row["key"], *(row[name] for name in COUNTS)),
    )
