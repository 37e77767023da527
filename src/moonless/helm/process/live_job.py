"""The watch kept on live links in its own process: requests in, events out, the set-up's share of the bytes."""

from __future__ import annotations

import asyncio
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING

from moonless.boat.types import Boat
from moonless.helm.process.chart_opening import chart_opener, open_charts, send_chart
from moonless.helm.process.events import Answer, Event, Notice, Overheard, TideNow
from moonless.helm.process.handler import RequestHandler
from moonless.helm.process.requests import Asked, EndTrial, ShareBytes, TryManoeuvre
from moonless.helm.process.worker import NOTHING_LEFT, Left, pose_of, without_scan
from moonless.watch.types import ChainKept, LinkNow, Turn

if TYPE_CHECKING:
    from moonless.chart.library import Chart
    from moonless.chart.local_knowledge.knowledge import Knowledge
    from moonless.watch.instruments.source_priority import Preferred
    from moonless.watch.live.in_hand import InHand
    from moonless.watch.live.watch import LiveEvent
    from moonless.watch.outputs.sender import OutputKind
    from moonless.watch.pipeline.chain import Chain
    from moonless.wire.links import LinkSpec

POSE_S = 0.1  # the own boat moves on the screens ten times a second
# Bytes kept for a set-up screen between two looks; past it the oldest are lost, and only to that screen.
MOST_SHARED = 4096


@dataclass(frozen=True, slots=True)
class LiveJob:
    """Keep the watch on live links."""

    boat: Boat
    charts: tuple[Path, ...]
    radar: LinkSpec | None
    nmea: tuple[LinkSpec, ...]
    record: Path | None = None
    knowledge: Path | None = None
    route: Path | None = None
    preferred: Preferred | None = None
    outputs: tuple[tuple[OutputKind, LinkSpec], ...] = ()
    tides: tuple[Path, ...] = ()  # station files
    in_hand: InHand | None = None  # where the sentence worked on is noted
    left: Left = NOTHING_LEFT  # by a watch that died
    opened: Chart | None = None  # the charts, where a process that stood by has opened them

    def ready(self) -> LiveJob:
        """Load what a watch needs: the charts, and the compiled kernels by reading a few made turns on them."""
        import moonless.helm.routes.service
        import moonless.watch.live.watch  # noqa: F401  both with all that they need
        from moonless.watch.runtime.precompile import read_made_turns

        chart, _ = open_charts(self.charts, None, lambda what, line: None)
        read_made_turns(self.boat, chart)
        return replace(self, opened=chart)

    def going_on(self, left: Left) -> LiveJob:
        """Return the job that goes on from what was left.

        A recording goes on in a file of its own: the one that broke off is read as far as it goes.
        """
        record = None if self.record is None else next_free(self.record)
        return replace(self, left=left, record=record)

    def run(self, pipe: Connection) -> None:
        """Watch until the pipe closes."""
        if self.opened is None:
            pipe.send(Notice("reading the chart", 0.1))
        chart, knowledge = open_charts(
            self.charts, self.knowledge, lambda what, line: pipe.send(LinkNow(what, "lost", line)), self.opened
        )
        pipe.send(Notice("listening", 0.6))
        asyncio.run(self._watch(pipe, chart, knowledge))

    async def _watch(self, pipe: Connection, chart: Chart | None, knowledge: Knowledge | None) -> None:
        from moonless.folders import routes_folder
        from moonless.helm.routes.service import RouteService
        from moonless.sea.stations import read_stations
        from moonless.watch.instruments.tides import TideUnderWay
        from moonless.watch.live.watch import LiveWatch

        ends = PipeEnds(pipe)
        stations = read_stations(self.tides) if self.tides else None
        routes = RouteService(
            chart_opener(self.charts), self.boat, routes_folder(), ends.send, self.route, chart, stations, knowledge
        )
        if stations is None and routes.carried is not None:
            stations = routes.carried.stations
        tide = None if stations is None else TideUnderWay(stations)

        def on_event(event: LiveEvent) -> None:
            if isinstance(event, Turn):
                handler.saw(event)
                own = event.reading.own
                if tide is not None:
                    ends.send(TideNow(tide.height_m(event.reading.time_ns, own.lat, own.lon)))
                ends.send(handler.follow(routes.at(event.reading)))
                ends.send(without_scan(event))
                ends.send(Notice(""))
            else:
                ends.send(event)

        watch = LiveWatch(
            self.boat, chart, knowledge, radar=self.radar, nmea=self.nmea, on_event=on_event, record=self.record,
            preferred=self.preferred, outputs=self.outputs, in_hand=self.in_hand, aside=self.left.aside,
            is_kept=True, kept=self.left.kept,
        )  # fmt: skip
        if stations is not None:
            watch.chain.given.tide = TideUnderWay(stations)
        shared = SharedBytes()
        handler = RequestHandler(watch.chain, knowledge, ends.send, watch.record_seen, watch.record_answer)
        if self.left.kept is None:
            send_chart(ends.send, chart, self.charts)

        def take(asked: Asked) -> None:
            if isinstance(asked.request, ShareBytes):
                watch.tap = shared if asked.request.is_on else None
            elif routes.take(asked):
                return
            elif isinstance(asked.request, TryManoeuvre | EndTrial):
                handler.take(asked)
            else:
                watch.ask(lambda _: answer(asked))

        def answer(asked: Asked) -> None:
            if not handler.take(asked):
                ends.send(Answer(asked.asker, "a live watch cannot do that"))

        def send_pose(chain: Chain) -> None:
            ends.send(pose_of(chain.own(watch.now_ns())))

        ends.listen(take)
        watching = asyncio.create_task(watch.run())
        while not ends.is_over and not watching.done():
            watch.ask(send_pose)
            if items := shared.take():
                ends.send(Overheard(items))
            await asyncio.sleep(POSE_S)
        watching.cancel()
        await asyncio.gather(watching, return_exceptions=True)


def next_free(record: Path) -> Path:
    """Return the recording's name, or the next one that is free: a watch begun anew does not write over the first."""
    free, number = record, 2
    while free.exists():
        free = record.with_name(f"{record.stem}-{number}{record.suffix}")
        number += 1
    return free


class PipeEnds:
    """The watch's side of the pipe, written from any thread and read by one of its own."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe
        self._writing = threading.Lock()
        self._over = threading.Event()

    @property
    def is_over(self) -> bool:
        """True once the helm has gone."""
        return self._over.is_set()

    def send(self, event: Event | ChainKept) -> None:
        """Send an event; a helm that has gone is seen by `is_over`."""
        try:
            with self._writing:
                self._pipe.send(event)
        except OSError:
            self._over.set()

    def listen(self, take: Callable[[Asked], None]) -> None:
        """Begin to hand on what is asked, from a thread of its own."""
        threading.Thread(target=self._read, args=(take,), daemon=True, name="moonless-asked").start()

    def _read(self, take: Callable[[Asked], None]) -> None:
        while True:
            try:
                asked = self._pipe.recv()
            except (EOFError, OSError):
                self._over.set()
                return
            take(asked)


class SharedBytes:
    """Keeps what the links bring in until it is handed on; a screen that sets up wants to see it."""

    def __init__(self) -> None:
        self._items: deque[tuple[str, bytes, int, bool]] = deque(maxlen=MOST_SHARED)

    def __call__(self, link: str, data: bytes, received_ns: int, is_datagram: bool) -> None:
        self._items.append((link, data, received_ns, is_datagram))

    def take(self) -> tuple[tuple[str, bytes, int, bool], ...]:
        """Return what has come since; the oldest is lost where nobody took it."""
        out = []
        while self._items:
            out.append(self._items.popleft())
        return tuple(out)
