"""The three things a watch's process can do: play the demo, play a recording, keep the watch on live links.

Chart, radar model and chain are imported inside: the screens hear from the process before compilers are loaded.
"""

from __future__ import annotations

import asyncio
import itertools
import queue
import tempfile
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from moonless.helm.process.events import Notice, Overheard, PoseNow, TideNow
from moonless.helm.process.worker import Desk, Paced, Piece, Slice, pose_of, slim
from moonless.watch.types import Turn

# Bytes are handed to the chain in slices of this much of the story's time: short enough that spokes reach the screen
# at once, long enough that slicing costs nothing.
SLICE_NS = 40_000_000
POSE_S = 0.1


@dataclass(frozen=True, slots=True)
class DemoJob:
    """Play a scene of made radar and made instruments."""

    scene: Path
    speed: float = 1.0

    def run(self, pipe: Connection) -> None:
        """Play it round until the pipe closes."""
        pipe.send(Notice("reading the chart", 0.1))
        from moonless.watch.pipeline.precompile import Warming

        with Warming() as warming:
            self._play(pipe, warming)

    def _play(self, pipe: Connection, warming: Any) -> None:
        from moonless.chart.library import Chart
        from moonless.chart.local_knowledge.knowledge import Knowledge
        from moonless.scene.file import load_scene

        scene = load_scene(self.scene)
        chart = Chart.open(list(scene.waters.paths)) if scene.waters.paths else None
        lat, lon = (float(v) for v in scene.frame.to_geographic(*scene.own.start_m))
        pipe.send(PoseNow(lat, lon, None, None, None, None))
        _send_chart(pipe.send, chart, scene.waters.paths)
        pipe.send(TideNow(scene.tide_m))
        pipe.send(Notice("the radar is warming: the very first start compiles it, up to a minute", 0.3))
        from moonless.folders import routes_folder
        from moonless.helm.routes.requests import Routes
        from moonless.scene.player import ScenePlayer
        from moonless.watch.pipeline.chain import Chain

        player = ScenePlayer(scene)
        pipe.send(Notice("the radar is warming: drawing the first turn", 0.6))
        route = self.scene.parent / "route.gpx"
        paced = Paced(pipe, self.speed, "the story", lambda: warming.is_on)
        # Apart from your own: these waters are not real.
        kept = routes_folder().parent / "demo-routes"
        paced.routes = Routes(
            _opener(scene.waters.paths), scene.boat, kept, paced.later, route if route.is_file() else None, chart
        )
        with tempfile.TemporaryDirectory(prefix="moonless-demo-") as folder:
            for number in itertools.count():
                # What is kept in mind goes with the telling: these waters are not real.
                knowledge = Knowledge.open(Path(folder) / f"told-{number}.gpkg")
                chain = Chain(
                    scene.boat, chart, knowledge, on_spokes=paced.on_spokes, is_late=lambda _: warming.is_on
                )
                chain.tide_m = scene.tide_m
                if warming.is_on:
                    words = "finding echoes is being compiled, this once: a minute, or more where the computer is busy"
                    pipe.send(Notice(words, 0.8))
                ahead = _Ahead(player)
                try:
                    paced.play(_scene_slices(ahead), chain, Desk(chain, knowledge, pipe.send))
                finally:
                    ahead.stop()
                player.restart()


@dataclass(frozen=True, slots=True)
class ReplayJob:
    """Play a recording, or a radar file and NMEA files, as they were received."""

    boat: Any  # moonless.boat.types.Boat
    charts: tuple[Path, ...]
    recording: Path | None = None
    radar: tuple[Path, ...] = ()
    nmea: tuple[Path, ...] = ()
    knowledge: Path | None = None
    speed: float = 1.0
    route: Path | None = None

    def run(self, pipe: Connection) -> None:
        """Play it round until the pipe closes."""
        pipe.send(Notice("reading the chart", 0.1))
        chart, knowledge = _open(self.charts, self.knowledge)
        _send_chart(pipe.send, chart, self.charts)
        pipe.send(Notice("reading the recording", 0.4))
        from moonless.folders import routes_folder
        from moonless.helm.routes.requests import Routes
        from moonless.watch.pipeline.chain import Chain
        from moonless.watch.pipeline.replay import Replay

        paced = Paced(pipe, self.speed, "the recording")
        paced.routes = Routes(_opener(self.charts), self.boat, routes_folder(), paced.later, self.route, chart)
        while True:
            replay = Replay(radar=self.radar, nmea=self.nmea, recording=self.recording, until_damage=True)
            chain = Chain(self.boat, chart, knowledge, on_spokes=paced.on_spokes)
            paced.play(_replay_slices(replay, chain), chain, Desk(chain, knowledge, pipe.send))


@dataclass(frozen=True, slots=True)
class LiveJob:
    """Keep the watch on live links."""

    boat: Any
    charts: tuple[Path, ...]
    radar: Any | None  # moonless.wire.links.LinkSpec
    nmea: tuple[Any, ...]
    record: Path | None = None
    knowledge: Path | None = None
    route: Path | None = None
    preferred: Any = None  # moonless.watch.instruments.source_priority.Preferred

    def run(self, pipe: Connection) -> None:
        """Watch until the pipe closes."""
        pipe.send(Notice("reading the chart", 0.1))
        chart, knowledge = _open(self.charts, self.knowledge)
        pipe.send(Notice("listening", 0.6))
        asyncio.run(self._watch(pipe, chart, knowledge))

    async def _watch(self, pipe: Connection, chart: Any, knowledge: Any) -> None:
        from moonless.folders import routes_folder
        from moonless.helm.routes.requests import Routes
        from moonless.watch.pipeline.live import LiveWatch
        from moonless.watch.types import LinkNow, SpokesNow

        writing = threading.Lock()
        loop = asyncio.get_running_loop()
        over = loop.create_future()

        def end() -> None:
            if not over.done():
                over.set_result(None)

        def send(event: object) -> None:
            try:
                with writing:
                    pipe.send(event)
            except OSError:
                loop.call_soon_threadsafe(end)

        routes = Routes(_opener(self.charts), self.boat, routes_folder(), send, self.route, chart)

        def on_event(event: Turn | SpokesNow | LinkNow) -> None:
            if isinstance(event, Turn):
                desk.saw(event)
                send(desk.follow(routes.at(event.reading)))
                send(slim(event))
                send(Notice(""))
            else:
                send(event)

        watch = LiveWatch(
            self.boat, chart, knowledge, radar=self.radar, nmea=self.nmea, on_event=on_event, record=self.record,
            preferred=self.preferred,
        )  # fmt: skip
        tap = Tap()
        desk = Desk(watch.chain, knowledge, send)
        _send_chart(send, chart, self.charts)

        def listen() -> None:
            while True:
                try:
                    control = pipe.recv()
                except (EOFError, OSError):
                    loop.call_soon_threadsafe(end)
                    return
                if control["do"] == "tap":
                    watch.tap = tap if control["value"] else None
                elif not routes.take(control):
                    watch.ask(lambda _, control=control: _nothing(desk.take(control)))  # type: ignore[misc]

        def tell_pose(chain: Any) -> None:
            send(pose_of(chain.own(watch._clock.now_ns())))

        threading.Thread(target=listen, daemon=True).start()
        watching = asyncio.create_task(watch.run())
        while not over.done() and not watching.done():
            watch.ask(tell_pose)
            if (items := tap.take()):
                send(Overheard(items))
            await asyncio.sleep(POSE_S)
        watching.cancel()
        await asyncio.gather(watching, return_exceptions=True)


class Tap:
    """Keeps what the links bring in until it is handed on; a screen that sets up wants to see it."""

    def __init__(self) -> None:
        self._items: deque[tuple[str, bytes, int, bool]] = deque(maxlen=4096)

    def __call__(self, link: str, data: bytes, received_ns: int, is_datagram: bool) -> None:
        self._items.append((link, data, received_ns, is_datagram))

    def take(self) -> tuple[tuple[str, bytes, int, bool], ...]:
        """Return what has come since; the oldest is lost where nobody took it."""
        out = []
        while self._items:
            out.append(self._items.popleft())
        return tuple(out)


def _nothing(_: object) -> None:
    return None


def _open(charts: tuple[Path, ...], knowledge: Path | None) -> tuple[Any, Any]:
    from moonless.chart.library import Chart
    from moonless.chart.local_knowledge.knowledge import Knowledge

    chart = Chart.open(list(charts)) if charts else None
    if knowledge is None:
        return chart, None
    knowledge.parent.mkdir(parents=True, exist_ok=True)
    return chart, Knowledge.open(knowledge)


def _opener(charts: Sequence[Path]) -> Callable[[], Any]:
    """Return what opens a chart of one's own, for a thread that must not wait for the watch's."""

    def opened() -> Any:
        from moonless.chart.library import Chart

        return Chart.open(list(charts)) if charts else None

    return opened


def _send_chart(send: Any, chart: Any, paths: Sequence[Path]) -> None:
    """Tell where the chart lies; its tiles are made when they are looked at."""
    if chart is None:
        return
    from moonless.helm.web.chart_json import chart_ready

    send(chart_ready(chart, paths))


class _Ahead:
    """Draws the next turns in a thread of its own while the present one is played."""

    def __init__(self, player: Any) -> None:
        self._turns: queue.Queue[Any] = queue.Queue(maxsize=2)
        self._is_stopped = threading.Event()
        self._thread = threading.Thread(target=self._draw, args=(player,), daemon=True)
        self._thread.start()

    def _draw(self, player: Any) -> None:
        try:
            for turn in itertools.chain(player.turns(), (None,)):
                if not self._put(turn):
                    return
        except Exception as problem:
            self._put(problem)

    def _put(self, item: Any) -> bool:
        while not self._is_stopped.is_set():
            try:
                self._turns.put(item, timeout=0.2)
                return True
            except queue.Full:
                continue
        return False

    def __iter__(self) -> Iterator[Any]:
        while True:
            turn = self._turns.get()
            if turn is None:
                return
            if isinstance(turn, Exception):
                raise turn
            yield turn

    def stop(self) -> None:
        """Draw no more; the player is free again when this returns."""
        self._is_stopped.set()
        self._thread.join()


def _scene_slices(turns: _Ahead) -> Iterator[Slice]:
    """Cut scene turns by time; empty slices too, so that time passes."""
    for turn in turns:
        nmea = [(line.time_ns, line.sentence.encode("ascii") + b"\r\n") for line in turn.nmea]
        radar = list(turn.radar)
        i = j = 0
        at = turn.start_ns
        while at < turn.end_ns:
            at = min(at + SLICE_NS, turn.end_ns)
            first_i, first_j = i, j
            while i < len(nmea) and nmea[i][0] <= at:
                i += 1
            while j < len(radar) and radar[j][0] <= at:
                j += 1
            pieces = []
            if i > first_i:
                pieces.append(Piece("nmea", b"".join(data for _, data in nmea[first_i:i])))
            if j > first_j:
                pieces.append(Piece("radar", b"".join(data for _, data in radar[first_j:j])))
            yield at, pieces


def _replay_slices(replay: Any, chain: Any) -> Iterator[Slice]:
    """Gather what a replay feeds into slices, filling silences with empty ones."""
    pieces: list[Piece] = []
    end_ns: int | None = None
    for fed in replay.feeds():
        if end_ns is None:
            end_ns = fed.time_ns + SLICE_NS
        while fed.time_ns > end_ns:
            yield end_ns, pieces
            if not pieces and fed.time_ns - end_ns > 60 * 1_000_000_000:
                # A recording that was stopped for a while: the pause is not played.
                end_ns = fed.time_ns
            pieces = []
            end_ns += SLICE_NS
        pieces.append(Piece(fed.kind, fed.data, fed.link, fed.is_datagram))
    if end_ns is not None:
        yield end_ns, pieces
