"""One tile's bytes: Mapbox Vector Tile 2.1, written by GDAL's MVT driver.

GDAL writes one layer at a time; a tile is a protocol buffer whose layers are a repeated field, so the bytes of several
tiles put end to end are one tile with all their layers (Protocol Buffers, "Encoding", on concatenated messages).
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pyogrio.raw
import shapely
from numpy.typing import NDArray

from moonless.chart.drawn.grid import TILE_PX, Tile

# Steps across a tile.  The last zoom is enlarged on the screen and so is drawn finer: a quarter of a metre a step.
EXTENT = 4096
LAST_EXTENT = 8192
_NUMBERS = frozenset({"a", "b", "c", "co", "d", "lit", "r", "w", "z"})

# GDAL writes folders and files, which cost a disk more than the tile costs the processor.
_SHARED_MEMORY = "/dev/shm"
_IN_MEMORY = _SHARED_MEMORY if os.access(_SHARED_MEMORY, os.W_OK) else None


def encode_layer(
    name: str,
    tile: Tile,
    shapes: NDArray[np.object_],
    rows: Sequence[dict[str, str | float | None]],
    *,
    extent: int,
    buffer_px: float,
) -> bytes:
    """Return the bytes of one layer of a tile; empty if nothing of it is left.

    Shapes are in Mercator metres and do not reach past the buffer.  What a row does not give is left out.
    """
    if not len(shapes):
        return b""
    keys = sorted({key for row in rows for key in row})
    columns = []
    for key in keys:
        values = [row.get(key) for row in rows]
        if all(value is None or isinstance(value, int | float) for value in values):
            columns.append(np.array([np.nan if value is None else value for value in values], dtype=np.float64))
        else:
            columns.append(np.array([None if value is None else str(value) for value in values], dtype=object))
    with tempfile.TemporaryDirectory(prefix="moonless-tile-", dir=_IN_MEMORY) as folder:
        out = Path(folder) / "t"
        pyogrio.raw.write(
            str(out),
            geometry=shapely.to_wkb(shapes),
            field_data=columns,
            fields=np.array(keys, dtype=object),
            layer=name,
            driver="MVT",
            geometry_type="Unknown",
            crs="EPSG:3857",
            nan_as_null=True,
            dataset_options={
                "NAME": "chart",
                "MINZOOM": tile.z,
                "MAXZOOM": tile.z,
                "EXTENT": extent,
                "BUFFER": int(buffer_px * extent / TILE_PX),
                "COMPRESS": "NO",
                # Nothing of a chart is left out for want of room.
                "MAX_SIZE": 50_000_000,
                "MAX_FEATURES": 1_000_000,
                "TEMPORARY_DB": ":memory:",
            },
        )
        written = out / str(tile.z) / str(tile.x) / f"{tile.y}.pbf"
        return written.read_bytes() if written.is_file() else b""
