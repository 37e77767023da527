"""Tiles of an opened chart, made one at a time."""

from __future__ import annotations

import hashlib
from collections import OrderedDict

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.chart.drawn import what
from moonless.chart.drawn.block import BUFFER_PX, Block, TileLayer
from moonless.chart.drawn.encode import EXTENT, LAST_EXTENT, encode_layer
from moonless.chart.drawn.grid import Tile
from moonless.chart.library import Chart

# Raise when what a tile holds changes: kept tiles of an older kind are then not met again.
FORMAT = 3
# Blocks kept worked out: the one the boat is in, and its neighbours across a corner.
_KEPT_BLOCKS = 4
# A feature begins to show half a zoom before its own: tiles are enlarged up to a whole one.
_EARLY = {"area": 0.0, "line": 0.5, "point": 1.0}


def chart_key(chart: Chart) -> str:
    """Return what names the tiles of a chart: its cells' bytes and the kind of tiles."""
    digest = hashlib.sha256(f"tiles/{FORMAT}".encode())
    for identity in sorted(chart.identities):
        digest.update(f"\0{identity}".encode())
    return digest.hexdigest()[:16]


class TileMaker:
    """Rules: not to be shared between threads; remembers the last blocks it worked out."""

    def __init__(self, chart: Chart) -> None:
        self._chart = chart
        self._blocks: OrderedDict[Tile, Block] = OrderedDict()

    def make(self, tile: Tile) -> bytes:
        """Return one tile; empty where no cell covers any of it, or it is beyond the zooms made."""
        if not tile.is_possible or not what.MIN_ZOOM <= tile.z <= what.MAX_ZOOM:
            return b""
        block = self._block(tile.parent(min(tile.z, what.BLOCK_ZOOM)))
        return b"".join(self._layer(name, layer, tile) for name, layer in block.layers(tile.z).items())

    def _block(self, tile: Tile) -> Block:
        block = self._blocks.get(tile)
        if block is None:
            block = self._blocks[tile] = Block(self._chart.indexes, tile)
            while len(self._blocks) > _KEPT_BLOCKS:
                self._blocks.popitem(last=False)
        self._blocks.move_to_end(tile)
        return block

    def _layer(self, name: str, layer: TileLayer, tile: Tile) -> bytes:
        is_last = tile.z == what.MAX_ZOOM
        buffer_px = 0.0 if name == "point" else BUFFER_PX
        box = tile.box_m(buffer_px)
        rows = np.sort(layer.tree.query(shapely.box(*box)))
        if not (name == "point" and is_last):
            # The last zoom is enlarged without end, so it holds every place that is told at any.
            rows = rows[layer.zoom_from[rows] <= tile.z + _EARLY[name]]
        shapes = layer.shapes[rows]
        if name == "point":
            # Each place in one tile only: the western and northern border belong to it.
            x, y = shapely.get_x(shapes), shapely.get_y(shapes)
            kept = (x >= box[0]) & (x < box[2]) & (y > box[1]) & (y <= box[3])
        else:
            shapes = _clipped(shapes, box)
            kept = ~shapely.is_empty(shapes)
        # Part by part: of an area of several parts the writer may lose one.
        parts, of = shapely.get_parts(shapes[kept], return_index=True)
        said = [_row(layer, int(i), name) for i in rows[kept]]
        extent = LAST_EXTENT if is_last else EXTENT
        return encode_layer(name, tile, parts, [said[i] for i in of], extent=extent, buffer_px=buffer_px)


def _row(layer: TileLayer, i: int, name: str) -> dict[str, str | float | None]:
    row = layer.rows[i]
    return {**row, "z": round(float(layer.zoom_from[i]), 1)} if name == "point" else row


def _clipped(shapes: NDArray[np.object_], box: tuple[float, float, float, float]) -> NDArray[np.object_]:
    """Return shapes cut to a box, areas still areas and lines still lines."""
    dimension = shapely.get_dimensions(shapes)
    out: NDArray[np.object_] = shapely.clip_by_rect(shapes, *box)
    # The quick way may leave a ring that touches itself; the sure way then.
    broken = ~shapely.is_valid(out)
    if broken.any():
        out[broken] = shapely.intersection(shapely.make_valid(shapes[broken]), shapely.box(*box))
    mixed = (shapely.get_dimensions(out) != dimension) | (shapely.get_type_id(out) == 7)
    for i in np.flatnonzero(mixed & ~shapely.is_empty(out)):
        parts = [part for part in shapely.get_parts(out[i]) if shapely.get_dimensions(part) == dimension[i]]
        out[i] = shapely.union_all(parts) if parts else shapely.Point()
    return out
