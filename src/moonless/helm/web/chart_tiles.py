"""The chart's tiles for the screens, made in a process of their own and kept.

Cutting and generalising a chart is work for a processor; done here it would hold up the radar picture.  Tiles not kept
yet are asked of one process, the newest question first: what a screen looks at now comes before what it looked at.
"""

from __future__ import annotations

import asyncio
import contextlib
import gzip
import os
from collections.abc import Sequence
from multiprocessing.connection import Connection
from pathlib import Path

from moonless.chart.drawn import what
from moonless.chart.drawn.grid import Tile
from moonless.chart.drawn.store import TileStore
from moonless.folders import charts_cache
from moonless.helm.process.beside import BesideProcess


class ChartTiles:
    """Rules: `get` never blocks the loop; the process is a daemon, begun with the first tile not kept."""

    def __init__(self, key: str, paths: Sequence[Path], folder: Path | None = None) -> None:
        self.key = key
        self._paths = tuple(paths)
        self._folder = folder
        self._store: TileStore | None = None
        self._waiting: dict[Tile, asyncio.Future[bytes]] = {}
        self._working: asyncio.Task[None] | None = None
        self._maker = BesideProcess("moonless-chart")

    async def get(self, tile: Tile) -> bytes:
        """Return a tile, gzipped; empty where there is nothing to draw.

        Raises ChildProcessError if it cannot be made.
        """
        if not tile.is_possible or not what.MIN_ZOOM <= tile.z <= what.MAX_ZOOM:
            return b""
        kept = await asyncio.to_thread(self._kept, tile)
        if kept is not None:
            return kept
        # Asked again: to the end of the row, which is taken first.
        answer = self._waiting.pop(tile, None) or asyncio.get_running_loop().create_future()
        self._waiting[tile] = answer
        if self._working is None or self._working.done():
            self._working = asyncio.create_task(self._work())
        return await asyncio.shield(answer)

    async def close(self) -> None:
        """End the process and let go of what is kept."""
        if self._working is not None:
            self._working.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._working
        for answer in self._waiting.values():
            answer.cancel()
        self._maker.end()
        if self._store is not None:
            self._store.close()

    def _kept(self, tile: Tile) -> bytes | None:
        if self._store is None:
            self._store = TileStore(self._folder or charts_cache() / "tiles", self.key, {"maxzoom": "14"})
        return self._store.get(tile)

    async def _work(self) -> None:
        while self._waiting:
            tile, answer = self._waiting.popitem()
            try:
                data = await asyncio.to_thread(self._make, tile)
            except asyncio.CancelledError:
                answer.cancel()
                raise
            except Exception as problem:
                if not answer.done():
                    answer.set_exception(ChildProcessError(f"the chart cannot be drawn here: {problem}"))
                    # Whoever asked may have gone meanwhile.
                    answer.exception()
                continue
            if not answer.done():
                answer.set_result(data)

    def _make(self, tile: Tile) -> bytes:
        for is_last in (False, True):
            try:
                self._maker.begin(draw, self._paths)
                data = self._maker.ask(tile)
                break
            except (EOFError, OSError):
                # It has ended by itself; once more with a new one.
                self._maker.end()
                if is_last:
                    raise
        if isinstance(data, str):
            raise ChildProcessError(data)
        assert self._store is not None and isinstance(data, bytes)
        self._store.put(tile, data)
        return data


def draw(pipe: Connection, paths: Sequence[Path]) -> None:
    """Answer tiles with gzipped bytes, or with one line of what is wrong, until the pipe closes."""
    import pyogrio

    from moonless.chart.drawn.maker import TileMaker
    from moonless.chart.library import Chart

    # One tile is too little for several threads.
    pyogrio.set_gdal_config_options({"GDAL_NUM_THREADS": "1"})
    # The radar goes first.
    if hasattr(os, "nice"):
        os.nice(5)
    maker: TileMaker | None = None
    try:
        while True:
            tile = pipe.recv()
            try:
                if maker is None:
                    maker = TileMaker(Chart.open(list(paths)))
                made = maker.make(tile)
                pipe.send(gzip.compress(made, 6) if made else b"")
            except (BrokenPipeError, EOFError):
                raise
            except Exception as problem:
                pipe.send(f"{type(problem).__name__}: {problem}")
    except (BrokenPipeError, EOFError, ConnectionResetError, KeyboardInterrupt):
        pass
