"""The set-up as the server keeps it: what is heard, what has been answered, what is written, and the start.

Rules of this file:
- What is answered is written at once, whole and readable; nothing waits for an end that may not come.
- It listens only while a screen asks it to (`keep_listening`), and lets go of every port before the watch begins.
- A watch that runs is left running: its bytes are overheard, its ports not opened twice.
"""

from __future__ import annotations

import asyncio
import contextlib
import dataclasses
import logging
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Protocol

from moonless.boat.file import default_boat
from moonless.boat.write import boat_values, write_boat
from moonless.clock import SystemClock, steady_s
from moonless.errors import InputError, MoonlessError
from moonless.helm.bodies.setup import CoverageBody, FolderBody, HeardBody, ToldBody
from moonless.helm.process.events import Overheard, Source
from moonless.helm.process.requests import HELM, ShareBytes
from moonless.helm.process.worker_process import WorkerProcess
from moonless.helm.setup import coverage
from moonless.helm.setup.fence import check_link
from moonless.helm.setup.folders import default_roots, is_below, look
from moonless.helm.setup.heard import fans_of, heard_body, place_of_boat
from moonless.helm.setup.launch import boat_path, live_source
from moonless.helm.setup.picture import look_once, sources
from moonless.helm.setup.questions import GROUPS, asked, change_for
from moonless.helm.setup.settings import LENGTH_UNITS, HelmSettings, resolved, write_settings
from moonless.helm.web.boat_json import boat_json
from moonless.helm.web.protocol import FanFrame
from moonless.sea.stations import read_stations
from moonless.watch.instruments.source_priority import CHOOSABLE
from moonless.watch.link_survey.discovery import LinkDiscovery
from moonless.watch.link_survey.named_links import links_of
from moonless.wire.links import ReceiptClock, parse_link

_log = logging.getLogger(__name__)
SHOW_S = 0.25  # what is heard is shown so often: lines can be followed, and a tablet is not kept busy
# Without being asked again for this long it stops listening: the screen has gone on, or gone out.
LISTEN_S = 12.0

Launch = Callable[[Path, HelmSettings], tuple[Source, tuple[str, ...]]]


class SetupHost(Protocol):
    """What the set-up needs of the hub."""

    source: Source

    def change_source(self, source: Source, without: tuple[str, ...]) -> None:
        """Watch another source from now on."""
        ...

    def show_heard(self, body: HeardBody, fans: list[FanFrame]) -> None:
        """Hand what is heard to the screens."""
        ...


class SetupService:
    """See the rules of this file.

    Parameters
    ----------
    path : of the helm.toml, there or not
    settings : what the helm was started with
    is_free : whether this helm may be set up; the demo and a recording are what they are
    """

    def __init__(
        self,
        path: Path,
        settings: HelmSettings,
        *,
        launch: Launch = live_source,
        make_discovery: Callable[..., LinkDiscovery] = LinkDiscovery,
    ) -> None:
        self.path = path
        self.settings = settings
        self._launch = launch
        self._make_discovery = make_discovery
        self._running: HelmSettings | None = None  # what the watch was started with
        self._discovery: LinkDiscovery | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self._asked_s = 0.0
        self._by_hand: dict[str, bool] = {}  # what a person named, and whether it may be shared
        self._found: coverage.Covered | None = None
        self._reading: tuple[str, float] | None = None
        self._covering: asyncio.Task[None] | None = None
        self._place: tuple[float, float] | None = None
        self._busy = asyncio.Lock()

    def is_running(self, settings: HelmSettings) -> None:
        """Say that a watch runs on these links."""
        self._running = settings

    # --- listening -------------------------------------------------------------------------------------------------

    def keep_listening(self, hub: SetupHost) -> None:
        """Listen for a while longer.  Never blocks."""
        self._asked_s = steady_s()
        if self._discovery is not None:
            return
        running = self._running
        watched = [] if running is None else [*([running.radar] if running.radar else []), *running.nmea]
        discovery = self._discovery = self._make_discovery(ReceiptClock(), watched=watched)
        for link in (self.settings.radar, *self.settings.nmea):
            # What was chosen before is shown whether it comes or not.
            if link is not None and parse_link(link).kind != "file":
                with contextlib.suppress(InputError):
                    discovery.add(link)
        for link, may_share in self._by_hand.items():
            with contextlib.suppress(InputError):
                discovery.add(link)
                if may_share:
                    discovery.share(link)
        if watched:
            hub.source.do(HELM, ShareBytes(True))
        self._tasks = [asyncio.create_task(discovery.run()), asyncio.create_task(self._show(hub, discovery))]

    async def stop_listening(self, hub: SetupHost) -> None:
        """Let go of every port and device."""
        discovery, self._discovery = self._discovery, None
        if discovery is None:
            return
        if self._running is not None:
            hub.source.do(HELM, ShareBytes(False))
        tasks, self._tasks = self._tasks, []
        for task in tasks:
            task.cancel()
        this = asyncio.current_task()
        await asyncio.gather(*(t for t in tasks if t is not this), return_exceptions=True)

    def overheard(self, event: Overheard) -> None:
        """Take in what the watch read."""
        if self._discovery is not None:
            for item in event.items:
                self._discovery.feed(*item)

    async def _show(self, hub: SetupHost, discovery: LinkDiscovery) -> None:
        while steady_s() - self._asked_s < LISTEN_S:
            now_ns = discovery.clock.now_ns()
            self._place = place_of_boat(discovery) or self._place
            hub.show_heard(heard_body(discovery, self.settings.prefer, now_ns), fans_of(discovery, now_ns))
            await asyncio.sleep(SHOW_S)
        await self.stop_listening(hub)

    # --- asked -----------------------------------------------------------------------------------------------------

    def body(self) -> ToldBody:
        """Return everything but what is heard.

        Raises TableError where there is a boat file that cannot be read.
        """
        settings = self.settings
        file = boat_path(self.path, settings)
        values = boat_values(file)
        return {
            "path": str(self.path),
            "boat_path": str(file),
            "is_running": self._running is not None,
            "is_as_running": self._running == settings,
            "settings": {
                "radar": settings.radar,
                "nmea": list(settings.nmea),
                "charts": [str(resolved(self.path, one)) for one in settings.charts],
                "tides": [str(resolved(self.path, one)) for one in settings.tides],
                "prefer": {what: {"link": link, "talker": t} for what, (link, t) in settings.prefer.items()},
                "length_unit": settings.length_unit,
            },
            "groups": {str(key): words for key, words in GROUPS.items()},
            "questions": asked(values, settings.length_unit),
            "coverage": self.coverage_body(),
        }

    def coverage_body(self) -> CoverageBody:
        """Return what the chosen charts cover, as far as it has been read."""
        reading = self._reading
        out: CoverageBody = {
            "is_reading": self._covering is not None and not self._covering.done(),
            "reading": None if reading is None else {"name": reading[0], "share": round(reading[1], 2)},
            "place": self._place,
            "found": None,
        }
        if self._found is not None:
            out["found"] = coverage.coverage_body(self._found, self._place, SystemClock().now_ns())
        return out

    async def do(self, request: Mapping[str, object], hub: SetupHost) -> Mapping[str, object]:
        """Do one thing a screen asks, and return what there is to tell of it.

        Raises InputError, or another MoonlessError, in one plain line.
        """
        async with self._busy:
            what = request.get("do")
            if what == "add":
                text = _text(request, "text")
                for link in links_of(text):
                    self._check_link(link)
                links = self._listener().add(text)
                self._by_hand.update(dict.fromkeys(links, False))
                return {"links": links}
            if what == "picture":
                return await asyncio.to_thread(look_once, request, self._roots())
            if what == "picture sources":
                return {"sources": sources()}
            if what == "share":
                self._listener().share(_text(request, "link"))
                self._by_hand[_text(request, "link")] = True
            elif what == "forget":
                self._listener().forget(_text(request, "link"))
                self._by_hand.pop(_text(request, "link"), None)
            elif what == "links":
                self._choose_links(request)
            elif what == "folder":
                return await asyncio.to_thread(self._look, request.get("path"))
            elif what == "charts":
                self._choose_charts(request)
            elif what == "tides":
                await asyncio.to_thread(self._choose_tides, request)
            elif what == "coverage":
                if self._found is None and self._covering is None:
                    self.read_coverage()  # of charts that were chosen before this start
                return self.coverage_body()
            elif what == "answer":
                await asyncio.to_thread(self._answer, request)
            elif what == "start":
                return await self._start(hub)
            elif what != "tell":
                raise InputError(f"{what!r} is nothing that the set-up does")
            return await asyncio.to_thread(self.body)

    def _listener(self) -> LinkDiscovery:
        if self._discovery is None:
            raise InputError("nothing listens now: open the page of what is heard")
        return self._discovery

    def _choose_links(self, request: Mapping[str, object]) -> None:
        radar = request.get("radar")
        nmea = request.get("nmea", [])
        prefer = request.get("prefer", {})
        if not (radar is None or isinstance(radar, str)) or not isinstance(nmea, list) or not isinstance(prefer, dict):
            raise InputError("links are {radar: text or null, nmea: [text], prefer: {thing: {link, talker}}}")
        for link in ([radar] if radar else []) + nmea:
            if not isinstance(link, str):
                raise InputError(f"{link!r} is no link")
            self._check_link(link)
        chosen: dict[str, tuple[str, str]] = {}
        for what, one in prefer.items():
            if what not in CHOOSABLE or not isinstance(one, dict):
                raise InputError(f"{what!r} is nothing whose source is chosen")
            link = str(one.get("link", ""))
            if link in nmea:
                chosen[what] = (link, str(one.get("talker", "")))
        self._keep(dataclasses.replace(self.settings, radar=radar, nmea=tuple(dict.fromkeys(nmea)), prefer=chosen))

    def _check_link(self, link: str) -> None:
        check_link(link, [one for one in (self.settings.radar, *self.settings.nmea) if one is not None], self._roots())

    def _roots(self) -> tuple[Path, ...]:
        given = [resolved(self.path, one) for one in (*self.settings.charts, *self.settings.tides)]
        return default_roots([p if p.is_dir() else p.parent for p in given])

    def _look(self, path: object) -> FolderBody:
        if not (path is None or isinstance(path, str)):
            raise InputError("path is no text")
        return look(None if path is None else Path(path), self._roots())

    def _choose_charts(self, request: Mapping[str, object]) -> None:
        folders = request.get("folders")
        if not isinstance(folders, list) or not all(isinstance(one, str) for one in folders):
            raise InputError("folders is a list of texts")
        known = {str(resolved(self.path, one)) for one in self.settings.charts}
        for one in folders:
            if one not in known:
                look(Path(one), self._roots())  # refuses what may not be looked into
        self._keep(dataclasses.replace(self.settings, charts=tuple(dict.fromkeys(folders))))
        self.read_coverage()

    def _choose_tides(self, request: Mapping[str, object]) -> None:
        files = request.get("files")
        if not isinstance(files, list) or not all(isinstance(one, str) for one in files):
            raise InputError("files is a list of texts")
        known = {str(resolved(self.path, one)) for one in self.settings.tides}
        fresh = [Path(one) for one in files if one not in known]
        for one in fresh:
            if not is_below(Path(os.path.realpath(one)), self._roots()):
                raise InputError(f"{one}: only your own folders and mounted drives are looked into")
        if fresh:
            read_stations(fresh)  # refuses what holds none
        self._keep(dataclasses.replace(self.settings, tides=tuple(dict.fromkeys(files))))

    def read_coverage(self) -> None:
        """Read what the chosen charts cover, in a process of its own."""
        if self._covering is not None:
            self._covering.cancel()
        self._found, self._reading = None, None
        paths = tuple(p for p in (resolved(self.path, one) for one in self.settings.charts) if p.exists())
        self._covering = asyncio.create_task(self._cover(paths)) if paths else None

    async def _cover(self, paths: tuple[Path, ...]) -> None:
        reader = WorkerProcess("none", coverage.CoverageJob(paths), boat_json(default_boat()))
        try:
            async for event in reader.events():
                found: object = event
                if isinstance(found, coverage.Covered):
                    self._found = found
                elif isinstance(found, coverage.CoverageProgress):
                    self._reading = (found.name, found.share)
        except MoonlessError as problem:
            self._found = coverage.Covered((), (str(problem),))
        self._reading = None

    def _answer(self, request: Mapping[str, object]) -> None:
        key, value = _text(request, "key"), request.get("value")
        if key == "screen.length_unit":
            if value not in (None, *LENGTH_UNITS):
                raise InputError(f"{value!r} is not one of {', '.join(LENGTH_UNITS)}")
            self._keep(dataclasses.replace(self.settings, length_unit=value or "metres"))
            return
        file = boat_path(self.path, self.settings)
        values = boat_values(file)
        if not values:
            # The first answer makes the file: what it must have and nobody has said yet is assumed, and said to be.
            first: dict[str, object] = {}
            for needed in ("boat.name", "boat.length_m", "boat.beam_m", "boat.draught_m", "boat.air_draught_m"):
                first |= change_for(needed, None, first)
            values = dict(first)
            changes = first | change_for(key, value, first)
        else:
            changes = change_for(key, value, values)
        write_boat(file, changes)
        if self.settings.boat is None:
            self._keep(dataclasses.replace(self.settings, boat="boat.toml"))

    def _keep(self, settings: HelmSettings) -> None:
        if settings == self.settings and self.path.exists():
            return
        write_settings(self.path, settings)
        self.settings = settings

    async def _start(self, hub: SetupHost) -> Mapping[str, object]:
        source, without = self._launch(self.path, self.settings)
        await self.stop_listening(hub)
        self._running = self.settings
        hub.change_source(source, without)
        return {"started": True, "without": list(without)}

    # --- the bow ---------------------------------------------------------------------------------------------------

    def keep_bow(self, offset_deg: float, note: str) -> str:
        """Write the radar's bow offset to the boat file; return what has become of it in one plain line."""
        file = boat_path(self.path, self.settings)
        if not file.exists():
            return "applied now, and not kept: there is no boat file yet"
        write_boat(file, {"radar.bow_offset_deg": offset_deg})
        return f"applied, and kept in {file.name}{note}"

    async def close(self, hub: SetupHost) -> None:
        """End what is under way."""
        await self.stop_listening(hub)
        if self._covering is not None:
            self._covering.cancel()
            await asyncio.gather(self._covering, return_exceptions=True)


def _text(request: Mapping[str, object], key: str) -> str:
    value = request.get(key)
    if not isinstance(value, str) or not value or len(value) > 1000:
        raise InputError(f"{key} is missing, or no text")
    return value
