"""Tiles kept on disk: one MBTiles file for each chart and kind of tiles.

The file is named by the chart's key, so a changed chart never meets old tiles.  What cannot be kept is made again; a
damaged file is begun anew.  Format: MBTiles 1.3 (SQLite; rows numbered from the south; tiles gzipped); from memory.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
import threading
from collections.abc import Mapping
from pathlib import Path

from moonless.chart.drawn.grid import Tile

# Charts whose tiles are kept: a few, so that an old edition goes by itself.
_KEPT_FILES = 6
_SUFFIX = ".mbtiles"


class TileStore:
    """Rules: may be used by several threads and by several helms at once; never fails for want of a disk."""

    def __init__(self, folder: Path | None, key: str, said: Mapping[str, str]) -> None:
        self._lock = threading.Lock()
        self._path = None if folder is None else folder / f"{key}{_SUFFIX}"
        self._said = dict(said)
        self._file = self._open()

    @property
    def is_kept(self) -> bool:
        """True if tiles outlast this run."""
        return self._path is not None

    def get(self, tile: Tile) -> bytes | None:
        """Return a tile as it was put; None if it never was."""
        question = "SELECT tile_data FROM tiles WHERE zoom_level=? AND tile_column=? AND tile_row=?"
        with self._lock:
            try:
                found = self._file.execute(question, _place(tile)).fetchone()
            except sqlite3.DatabaseError:
                self._begin_again()
                return None
        return None if found is None else bytes(found[0])

    def put(self, tile: Tile, data: bytes) -> None:
        """Keep a tile; an empty one too, so that it is not made again."""
        with self._lock:
            try:
                with self._file:
                    self._file.execute("INSERT OR REPLACE INTO tiles VALUES (?, ?, ?, ?)", (*_place(tile), data))
            except sqlite3.DatabaseError:
                # A full or read-only disk: it will be made again when asked again.
                return

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._file.close()

    def _open(self) -> sqlite3.Connection:
        if self._path is not None:
            try:
                self._path.parent.mkdir(parents=True, exist_ok=True)
                file = _connect(str(self._path), self._said)
                self._path.touch()
                _let_go_of_old(self._path.parent, self._path)
                return file
            except (OSError, sqlite3.DatabaseError):
                with contextlib.suppress(OSError):
                    self._path.unlink()
                with contextlib.suppress(OSError, sqlite3.DatabaseError):
                    return _connect(str(self._path), self._said)
                self._path = None
        return _connect(":memory:", self._said)

    def _begin_again(self) -> None:
        with contextlib.suppress(sqlite3.DatabaseError):
            self._file.close()
        if self._path is not None:
            with contextlib.suppress(OSError):
                self._path.unlink()
        self._file = self._open()


def _place(tile: Tile) -> tuple[int, int, int]:
    return tile.z, tile.x, (1 << tile.z) - 1 - tile.y


def _connect(path: str, said: Mapping[str, str]) -> sqlite3.Connection:
    file = sqlite3.connect(path, timeout=2.0, check_same_thread=False)
    try:
        file.execute("PRAGMA journal_mode=WAL")
        # A tile lost with the power is made again.
        file.execute("PRAGMA synchronous=OFF")
        with file:
            file.execute("CREATE TABLE IF NOT EXISTS metadata (name TEXT PRIMARY KEY, value TEXT)")
            file.execute(
                "CREATE TABLE IF NOT EXISTS tiles (zoom_level INTEGER, tile_column INTEGER, tile_row INTEGER, "
                "tile_data BLOB, PRIMARY KEY (zoom_level, tile_column, tile_row)) WITHOUT ROWID"
            )
            rows = {"name": "chart", "format": "pbf", **said, "json": json.dumps({"vector_layers": VECTOR_LAYERS})}
            file.executemany("INSERT OR REPLACE INTO metadata VALUES (?, ?)", list(rows.items()))
    except BaseException:
        file.close()
        raise
    return file


def _let_go_of_old(folder: Path, present: Path) -> None:
    """Remove the tiles of charts not opened for longest."""
    kept = sorted(folder.glob(f"*{_SUFFIX}"), key=lambda path: path.stat().st_mtime, reverse=True)
    for path in kept[_KEPT_FILES:]:
        if path != present:
            for old in (path, path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")):
                old.unlink(missing_ok=True)


# What a tile holds, for any other reader.
_WORDS, _NUMBERS = ("k", "f", "h", "n", "o", "s", "t"), ("a", "b", "c", "co", "d", "lit", "r", "w", "z")
VECTOR_LAYERS: list[dict[str, object]] = [
    {"id": "area", "fields": {"k": "String", "d": "Number"}},
    {"id": "line", "fields": {"k": "String", "a": "Number", "b": "Number"}},
    {"id": "point", "fields": dict.fromkeys(_WORDS, "String") | dict.fromkeys(_NUMBERS, "Number")},
]
