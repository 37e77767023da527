"""What is played in the watch's process: the demo's scene, or a recording, through the chain at the pace of life.

Chart, radar model and chain are imported inside: the screens hear from the process before compilers are loaded.
"""

from __future__ import annotations

import itertools
import queue
import tempfile
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING

from moonless.boat.types import Boat
from moonless.helm.process.chart_opening import chart_opener, open_charts, send_chart
from moonless.helm.process.events import Notice, PoseNow, TideNow
from moonless.helm.process.handler import RequestHandler
from moonless.helm.process.player import PICTURE_NS, PacedPlayer, Piece, Slice
from moonless.helm.process.time_bar import tell_bar

if TYPE_CHECKING:
    from moonless.scene.player import ScenePlayer, SceneTurn
    from moonless.watch.pipeline.chain import Given
    from moonless.watch.pipeline.replay import Replay
    from moonless.watch.runtime.precompile import PrecompileProcess

# Bytes are handed to the chain in slices of this much of the story's time: short enough that spokes reach the screen
# at once, long enough that slicing costs nothing.
SLICE_NS = 40_000_000
# Read before a place that is jumped to and was not played: sixteen turns of a small radar find eight in ten of the
# echoes that the whole run told there (`design/after_run/jump_before.py`).
BEFORE_JUMP_NS = 40 * 1_000_000_000
# A place that was played is gone to from a state that was kept so long before it at the most.
FROM_STATE_NS = 60 * 1_000_000_000


@dataclass(frozen=True, slots=True)
class DemoJob:
    """Play a scene of made radar and made instruments."""

    scene: Path
    speed: float = 1.0

    def run(self, pipe: Connection) -> None:
        """Play it round until the pipe closes."""
        pipe.send(Notice("reading the chart", 0.1))
        from moonless.watch.runtime.precompile import PrecompileProcess

        with PrecompileProcess() as precompile:
            self._play(pipe, precompile)

    def _play(self, pipe: Connection, precompile: PrecompileProcess) -> None:
        from moonless.chart.library import Chart
        from moonless.chart.local_knowledge.knowledge import Knowledge
        from moonless.scene.file import load_scene

        scene = load_scene(self.scene)
        chart = Chart.open(list(scene.waters.paths)) if scene.waters.paths else None
        lat, lon = (float(v) for v in scene.frame.to_geographic(*scene.own.start_m))
        pipe.send(PoseNow(lat, lon, None, None, None, None))
        send_chart(pipe.send, chart, scene.waters.paths)
        pipe.send(TideNow(scene.tide_m))
        pipe.send(Notice("the radar is warming: the very first start compiles it, up to a minute", 0.3))
        from moonless.folders import routes_folder
        from moonless.helm.routes.service import RouteService
        from moonless.scene.player import ScenePlayer
        from moonless.watch.pipeline.chain import Chain

        story = ScenePlayer(scene)
        pipe.send(Notice("the radar is warming: drawing the first turn", 0.6))
        route = self.scene.parent / "route.gpx"
        player = PacedPlayer(pipe, self.speed, "the story", lambda: precompile.is_running)
        # Apart from your own: these waters are not real.
        kept = routes_folder().parent / "demo-routes"
        player.routes = RouteService(
            chart_opener(scene.waters.paths), scene.boat, kept, player.later, route if route.is_file() else None, chart
        )
        with tempfile.TemporaryDirectory(prefix="moonless-demo-") as folder:
            for number in itertools.count():
                # What is kept in mind goes with the telling: these waters are not real.
                knowledge = Knowledge.open(Path(folder) / f"kept-{number}.gpkg")
                chain = Chain(
                    scene.boat, chart, knowledge, on_spokes=player.on_spokes, is_late=lambda _: precompile.is_running
                )
                chain.given.tide_m = scene.tide_m
                if precompile.is_running:
                    words = "finding echoes is being compiled, this once: a minute, or more where the computer is busy"
                    pipe.send(Notice(words, 0.8))
                ahead = _Prefetch(story)
                try:
                    handler = RequestHandler(chain, knowledge, pipe.send, later=player.later)
                    player.play(_scene_slices(ahead), chain, handler)
                finally:
                    ahead.stop()
                story.restart()


@dataclass(frozen=True, slots=True)
class ReplayJob:
    """Play a recording, or a radar file and NMEA files, as they were received."""

    boat: Boat
    charts: tuple[Path, ...]
    recording: Path | None = None
    radar: tuple[Path, ...] = ()
    nmea: tuple[Path, ...] = ()
    knowledge: Path | None = None
    speed: float = 1.0
    route: Path | None = None
    tides: tuple[Path, ...] = ()  # station files

    def run(self, pipe: Connection) -> None:
        """Play it round until the pipe closes."""
        pipe.send(Notice("reading the chart", 0.1))
        chart, knowledge = open_charts(self.charts, self.knowledge)
        send_chart(pipe.send, chart, self.charts)
        pipe.send(Notice("reading the recording", 0.4))
        from moonless.folders import routes_folder
        from moonless.helm.routes.service import RouteService
        from moonless.sea.stations import read_stations
        from moonless.watch.instruments.tides import TideUnderWay
        from moonless.watch.live.kept_along import KeptAlong
        from moonless.watch.pipeline.chain import Chain
        from moonless.watch.pipeline.replay import Replay

        player = PacedPlayer(pipe, self.speed, "the recording", can_jump=True)
        if self.recording is not None:
            tell_bar(self.recording, self.boat, player.later)
        stations = read_stations(self.tides) if self.tides else None
        player.routes = RouteService(
            chart_opener(self.charts), self.boat, routes_folder(), player.later, self.route, chart, stations, knowledge
        )
        if stations is None and player.routes.carried is not None:
            stations = player.routes.carried.stations
        on_spokes = player.on_spokes
        kept = KeptAlong({"chart": chart, "knowledge": knowledge, "on_spokes": on_spokes})
        given: Given | None = None
        while True:
            begin_ns, from_ns, found = player.jump_ns, None, None
            if begin_ns is not None:
                pipe.send(Notice("reading what came before this place", 0.6))
                from_ns = begin_ns - BEFORE_JUMP_NS
                found = kept.latest(begin_ns - FROM_STATE_NS, begin_ns - PICTURE_NS)
            if found is not None:
                from_ns, chain = found[0] + 1, found[1]
            else:
                chain = Chain(self.boat, chart, knowledge, on_spokes=on_spokes, radar_named=bool(self.radar))
                chain.given.tide = None if stations is None else TideUnderWay(stations)
            # What the skipper has set holds wherever the recording is played.
            chain.given = given = given or chain.given
            replay = Replay(
                radar=self.radar, nmea=self.nmea, recording=self.recording, until_damage=True,
                angle_from=self.boat.radar.angle_from, from_ns=from_ns,
            )  # fmt: skip
            handler = RequestHandler(chain, knowledge, pipe.send, later=player.later)
            player.play(_replay_slices(replay), chain, handler, begin_ns, kept)


class _Prefetch:
    """Draws the next turns in a thread of its own while the present one is played."""

    def __init__(self, player: ScenePlayer) -> None:
        self._turns: queue.Queue[SceneTurn | Exception | None] = queue.Queue(maxsize=2)
        self._is_stopped = threading.Event()
        self._thread = threading.Thread(target=self._draw, args=(player,), daemon=True)
        self._thread.start()

    def _draw(self, player: ScenePlayer) -> None:
        try:
            for turn in itertools.chain(player.turns(), (None,)):
                if not self._put(turn):
                    return
        except Exception as problem:
            self._put(problem)

    def _put(self, item: SceneTurn | Exception | None) -> bool:
        while not self._is_stopped.is_set():
            try:
                self._turns.put(item, timeout=0.2)
                return True
            except queue.Full:
                continue
        return False

    def __iter__(self) -> Iterator[SceneTurn]:
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


def _scene_slices(turns: _Prefetch) -> Iterator[Slice]:
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


def _replay_slices(replay: Replay) -> Iterator[Slice]:
    """Gather what a replay feeds into slices, filling silences with empty ones.

    Radar blocks that follow each other are one piece: spoke by spoke they cost twice the processor's time.  Of
    datagrams those alone that are one whole block each: what is cut must spoil no neighbour.
    """
    pieces: list[Piece] = []
    end_ns: int | None = None
    is_open = False  # the last piece takes in more
    for fed in replay.feeds():
        if end_ns is None:
            end_ns = fed.time_ns + SLICE_NS
        while fed.time_ns > end_ns:
            yield end_ns, pieces
            if not pieces and fed.time_ns - end_ns > 60 * 1_000_000_000:
                # A recording that was stopped for a while: the pause is not played.
                end_ns = fed.time_ns
            pieces, is_open = [], False
            end_ns += SLICE_NS
        takes_more = fed.kind == "radar" and (not fed.is_datagram or _is_one_block(fed.data))
        if is_open and takes_more and (pieces[-1].link, pieces[-1].is_datagram) == (fed.link, fed.is_datagram):
            pieces[-1] = pieces[-1]._replace(data=pieces[-1].data + fed.data)
        else:
            pieces.append(Piece(fed.kind, fed.data, fed.link, fed.is_datagram, fed.spokes, fed.poses))
        is_open = takes_more
    if end_ns is not None:
        yield end_ns, pieces


def _is_one_block(data: bytes) -> bool:
    """Return whether a datagram is as long as the block in it says."""
    return len(data) > 3 and int.from_bytes(data[1:3], "big") == len(data)
