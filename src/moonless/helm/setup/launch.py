"""From settings to a source: the live watch that ``helm.toml`` describes, and the source of a helm without links."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

from moonless.boat.file import default_boat, read_boat
from moonless.boat.types import Boat
from moonless.errors import InputError
from moonless.folders import knowledge_file
from moonless.helm.bodies.sheet import BoatFactsBody, SourceKind
from moonless.helm.process.events import Event, Notice
from moonless.helm.process.live_job import LiveJob, next_free
from moonless.helm.process.requests import Asker, SourceRequest
from moonless.helm.process.worker_process import WorkerProcess
from moonless.helm.setup.settings import HelmSettings, resolved
from moonless.helm.web.boat_json import boat_json
from moonless.watch.live.in_hand import InHand
from moonless.watch.outputs.sender import OutputKind
from moonless.wire.links import LinkSpec, parse_link, parse_radar_link


class NoSource:
    """A helm that nothing is connected to yet: it waits for the set-up."""

    kind: SourceKind = "none"

    def __init__(self, boat: Boat | None = None) -> None:
        self.boat: BoatFactsBody = boat_json(boat or default_boat())

    async def events(self) -> AsyncIterator[Event]:
        """Yield one notice and wait for ever."""
        yield Notice("nothing is connected yet")
        await asyncio.get_running_loop().create_future()

    def do(self, asker: Asker, request: SourceRequest) -> None:
        """There is nothing to do."""


def boat_path(path: Path, settings: HelmSettings) -> Path:
    """Return the boat file of a helm.toml: the one it names, else boat.toml beside it."""
    return resolved(path, settings.boat or "boat.toml")


def boat_of(path: Path, settings: HelmSettings) -> Boat:
    """Return the boat; a 9 m launch where there is no file.  Raises TableError if it is there and cannot be used."""
    file = boat_path(path, settings)
    return read_boat(file) if settings.boat is not None or file.exists() else default_boat()


def live_source(
    path: Path,
    settings: HelmSettings,
    *,
    record: Path | None = None,
    knowledge: Path | None = None,
    route: Path | None = None,
    outputs: tuple[tuple[OutputKind, LinkSpec], ...] = (),
) -> tuple[WorkerProcess, tuple[str, ...]]:
    """Return the watch on live links, and what it goes on without, in plain lines.

    Raises InputError if there is no link, or the boat file cannot be used.
    """
    if not settings.has_links:
        raise InputError("nothing to watch: choose a radar link or an NMEA link first")
    boat = boat_of(path, settings)
    charts, without = [], []
    for written in settings.charts:
        place = resolved(path, written)
        if place.exists():
            charts.append(place)
        else:
            # At sea a drive that is not plugged in must not cost the watch.
            without.append(f"the charts of {place} are not there")
    tides = []
    for written in settings.tides:
        place = resolved(path, written)
        if place.exists():
            tides.append(place)
        else:
            without.append(f"the tide stations of {place} are not there")
    job = LiveJob(
        boat,
        tuple(charts),
        None if settings.radar is None else parse_radar_link(settings.radar),
        tuple(parse_link(link) for link in settings.nmea),
        None if record is None else next_free(record),
        knowledge or knowledge_file(),
        route,
        dict(settings.prefer),
        outputs,
        tuple(tides),
        InHand(),
    )
    return WorkerProcess("live", job, boat_json(boat), job, job.in_hand), tuple(without)
