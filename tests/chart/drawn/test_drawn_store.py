"""Kept tiles: as they were put, never another chart's, never a reason to fail."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from moonless.chart.drawn.grid import Tile
from moonless.chart.drawn.store import TileStore

HERE = Tile(12, 1178, 1569)


def test_what_was_put_is_there_the_next_time(tmp_path: Path) -> None:
    store = TileStore(tmp_path, "one", {})
    assert store.get(HERE) is None
    store.put(HERE, b"tile")
    store.put(Tile(12, 1178, 1570), b"")
    store.close()
    again = TileStore(tmp_path, "one", {})
    assert again.get(HERE) == b"tile"
    assert again.get(Tile(12, 1178, 1570)) == b"", "an empty tile is known to be empty"
    again.close()
    other = TileStore(tmp_path, "two", {})
    assert other.get(HERE) is None
    other.close()


def test_the_file_is_mbtiles(tmp_path: Path) -> None:
    store = TileStore(tmp_path, "one", {"maxzoom": "14"})
    store.put(HERE, b"tile")
    store.close()
    with sqlite3.connect(tmp_path / "one.mbtiles") as file:
        said = dict(file.execute("SELECT name, value FROM metadata"))
        rows = file.execute("SELECT zoom_level, tile_column, tile_row FROM tiles").fetchall()
    file.close()
    assert said["format"] == "pbf" and said["maxzoom"] == "14" and "vector_layers" in said["json"]
    # MBTiles counts rows from the south (1.3, "tiles": the Tile Map Service's way; from memory).
    assert rows == [(12, 1178, 2**12 - 1 - 1569)]


def test_a_damaged_file_is_begun_anew(tmp_path: Path) -> None:
    (tmp_path / "one.mbtiles").write_bytes(b"no database at all" * 100)
    store = TileStore(tmp_path, "one", {})
    assert store.get(HERE) is None
    store.put(HERE, b"tile")
    assert store.get(HERE) == b"tile"
    store.close()


def test_a_place_that_cannot_be_written_costs_time_only(tmp_path: Path) -> None:
    blocked = tmp_path / "a-file"
    blocked.write_text("")
    for folder in (blocked / "tiles", None):
        store = TileStore(folder, "one", {})
        assert not store.is_kept
        store.put(HERE, b"tile")
        assert store.get(HERE) == b"tile"
        store.close()


def test_old_charts_go_by_themselves(tmp_path: Path) -> None:
    for number in range(9):
        TileStore(tmp_path, f"chart{number}", {}).close()
    kept = {path.stem for path in tmp_path.glob("*.mbtiles")}
    assert len(kept) == 6 and "chart8" in kept
