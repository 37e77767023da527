"""The practice room's process: drawing an exercise is work, and must not hold up the watch's screens."""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from moonless.boat.types import Boat
from moonless.errors import InputError
from moonless.helm.process.beside import BesideProcess


@dataclass(frozen=True, slots=True)
class PracticeOutfit:
    """What is practised with: the boat, the charts (none: the demo's waters), and where the answers are kept."""

    boat: Boat
    charts: tuple[Path, ...]
    record: Path
    at: tuple[float, float] | None = None
    runs: tuple[Path, ...] = ()  # recordings of the skipper's own
    knowledge: Path | None = None  # his local knowledge


class PracticeProcess:
    """Rules: `ask` never blocks the loop; one question at a time; the process is a daemon, begun with the first, and
    begun anew where the boat or the charts have changed."""

    def __init__(self, outfit: Callable[[], PracticeOutfit]) -> None:
        """``outfit`` is asked at each question.  It may raise MoonlessError, which is then the answer."""
        self._outfit = outfit
        self._running: PracticeOutfit | None = None
        self._room = BesideProcess("moonless-practice")
        self._busy = asyncio.Lock()

    async def ask(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Return the room's answer.  Raises InputError with what is wrong."""
        found = await self._do(dict(asked))
        assert isinstance(found, dict)
        return found

    async def counts(self, key: str, look: int) -> bytes:
        """Return the bytes of one look.  Raises InputError if there is none such."""
        found = await self._do((key, look))
        assert isinstance(found, bytes)
        return found

    async def close(self) -> None:
        """End the process."""
        await asyncio.to_thread(self._room.end)

    async def _do(self, asked: object) -> object:
        async with self._busy:
            found = await asyncio.to_thread(self._ask, asked)
        if isinstance(found, str):
            raise InputError(found)
        return found

    def _ask(self, asked: object) -> object:
        outfit = self._outfit()
        if outfit != self._running:
            self._room.end()
        try:
            self._room.begin(work, outfit)
            self._running = outfit
            return self._room.ask(asked)
        except (EOFError, OSError) as problem:
            self._room.end()
            raise InputError("practice has ended by itself; ask again") from problem


def work(pipe: Connection, outfit: PracticeOutfit) -> None:
    """Answer questions until the pipe closes: a dict with a dict, (key, look) with bytes, what is wrong with a line."""
    import logging

    from moonless.errors import MoonlessError
    from moonless.helm.practice.room import PracticeRoom
    from moonless.scene.file import demo_folder

    # The watch goes first.
    if hasattr(os, "nice"):
        os.nice(5)
    charts = outfit.charts or (demo_folder() / "waters.gpkg",)
    room = PracticeRoom(charts, outfit.boat, outfit.record, outfit.at, runs=outfit.runs, knowledge=outfit.knowledge)
    with contextlib.suppress(BrokenPipeError, EOFError, ConnectionResetError, KeyboardInterrupt):
        while True:
            asked = pipe.recv()
            try:
                found: object = room.do(asked) if isinstance(asked, dict) else room.counts(*asked)
            except MoonlessError as problem:
                found = str(problem)
            except Exception as problem:
                logging.getLogger(__name__).exception("practice failed")
                found = f"practice failed on this: {problem!r}"
            pipe.send(found)
