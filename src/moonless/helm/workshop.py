"""What runs in the watch's own process: bytes through the chain, events out of a pipe.

The server stays quick because none of this runs in it.  Nothing here knows of screens.
"""

from __future__ import annotations

import itertools
import queue
import tempfile
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from moonless.clock import steady_s
from moonless.errors import MoonlessError, NoCoverage
from moonless.helm.events import Answer, Event, Notice, PoseNow, SourceState
from moonless.units import NS_PER_S
from moonless.watch.types import SpokesNow, Turn

# Bytes are handed to the chain in slices of this much of the story's time: short enough that spokes reach the screen
# at once, long enough that slicing costs nothing.
SLICE_NS = 40_000_000
POSE_NS = 100_000_000
# A story that fell this far behind its pace (a slow computer, a first compilation) goes on from where it is.
BEHIND_S = 0.5


@dataclass(frozen=True, slots=True)
class DemoJob:
    """Play a scene of made radar and made instruments through the chain, at the pace of life or faster."""

    scene: Path
    speed: float = 1.0


@dataclass(frozen=True, slots=True)
class Failed:
    """The last thing out of the pipe when the work cannot go on."""

    line: str


class Desk:
    """What a skipper asks of the chain, in one place for every kind of job."""

    def __init__(self, chain: Any, knowledge: Any, send: Callable[[Event], None]) -> None:
        self._chain = chain
        self._knowledge = knowledge
        self._send = send
        self._last: Turn | None = None

    def saw(self, turn: Turn) -> None:
        """Remember the newest turn: answers are about its echoes."""
        self._last = turn

    def take(self, control: Mapping[str, Any]) -> bool:
        """Act on one control; False when it is not for the desk."""
        do, value = control["do"], control["value"]
        if do == "sight":
            self._chain.sight = value
        elif do == "acknowledge":
            self._acknowledge(control["say"], control["echo"])
        elif do == "i see it":
            self._keep(control["echo"], str(value), confidence=0.9)
        elif do == "keep in mind":
            self._keep(control["echo"], str(value) or "seen by radar, kept in mind", confidence=None)
        else:
            return False
        return True

    def _acknowledge(self, say: str | None, echo: int | None) -> None:
        if self._last is None:
            return
        for call in self._last.reading.calls:
            if call.say == say or (say is None and call.echo == echo):
                self._chain.acknowledge(call)

    def _keep(self, echo_id: int, words: str, confidence: float | None) -> None:
        turn = self._last
        echo = None if turn is None else next((e for e in turn.reading.echoes if e.id == echo_id), None)
        if echo is None or turn is None:
            self._send(Answer("that echo is no longer there"))
            return
        if words == "nothing there" or echo.kind == "vessel":
            # What moves, or is not there, is no local knowledge: it would be met again where it no longer is.
            self._send(Answer(f"noted: {words}; not kept, since it will not stay there"))
            return
        self._knowledge.add(echo.lat, echo.lon, words, seen_ns=turn.reading.time_ns, confidence=confidence)
        self._send(Answer(f"kept in mind: {words}"))


def run(pipe: Connection, job: DemoJob) -> None:
    """Do a job until told to stop or the pipe closes; the target of the watch's process."""
    try:
        if isinstance(job, DemoJob):
            _Demo(pipe, job).run()
        else:
            job.run(pipe)
    except MoonlessError as problem:
        pipe.send(Failed(str(problem)))
    except (BrokenPipeError, EOFError, ConnectionResetError, KeyboardInterrupt):
        pass


class _Demo:
    def __init__(self, pipe: Connection, job: DemoJob) -> None:
        self._pipe = pipe
        self._job = job
        self._speed = job.speed
        self._is_paused = False
        self._restart = threading.Event()

    def run(self) -> None:
        send = self._pipe.send
        send(Notice("reading the chart", 0.1))
        # Imported here, so that the screens hear from us before the compilers are loaded.
        from moonless.chart.knowledge import Knowledge
        from moonless.chart.library import Chart
        from moonless.helm.chart_json import chart_ready
        from moonless.scene.player import ScenePlayer
        from moonless.scene.types import Scene

        scene = Scene.load(self._job.scene)
        chart = Chart.open(list(scene.waters.paths)) if scene.waters.paths else None
        east, north = scene.own.start_m
        lat, lon = (float(v) for v in scene.frame.to_geographic(east, north))
        send(PoseNow(lat, lon, None, None, None, None))
        if chart is not None:
            try:
                send(chart_ready(chart, lat, lon))
            except NoCoverage as problem:
                send(Notice(str(problem)))
        send(Notice("the radar is warming: first start compiles its kernels, about a quarter of a minute", 0.3))
        from moonless.watch.chain import Chain

        player = ScenePlayer(scene)
        send(Notice("the radar is warming: drawing the first turn", 0.6))
        with tempfile.TemporaryDirectory(prefix="moonless-demo-") as folder:
            # What is kept in mind during the demo goes with the demo: its waters are not real.
            while True:
                knowledge = Knowledge.open(Path(folder) / "demo.gpkg")
                chain = Chain(scene.boat, chart, knowledge, on_spokes=self._on_spokes)
                chain.tide_m = scene.tide_m
                again = self._play(player, chain, Desk(chain, knowledge, send), scene.start_ns)
                if not again:
                    return
                player.restart()

    def _on_spokes(self, spokes: SpokesNow) -> None:
        self._pipe.send(replace(spokes, received_s=steady_s()))

    def _play(self, player: Any, chain: Any, desk: Desk, start_ns: int) -> bool:
        """Play from the player's place to the end, for ever round; True when asked to start again."""
        self._restart.clear()
        self._pipe.send(SourceState(self._is_paused, self._speed, start_ns, restarted=True))
        turns = _Ahead(player)
        pose_ns = state_ns = 0
        origin_s, origin_ns = steady_s(), None
        is_first = True
        for turn in turns:
            for end_ns, nmea, radar in _slices(turn):
                if is_first:
                    self._pipe.send(Notice("the radar is warming: reading the first turn", 0.8))
                    is_first = False
                if origin_ns is None:
                    origin_s, origin_ns = steady_s(), end_ns
                origin_s, origin_ns = self._wait(desk, end_ns, origin_s, origin_ns)
                if self._restart.is_set():
                    turns.stop()
                    return True
                told: list[Turn] = []
                if nmea:
                    told += chain.feed_nmea(nmea, end_ns)
                if radar:
                    told += chain.feed_radar(radar, end_ns)
                if not nmea and not radar:
                    told += chain.tick(end_ns)
                for one in told:
                    desk.saw(one)
                    self._pipe.send(replace(one, scan=None, picture=None, tracks=(), ais=(), frame=None))
                    self._pipe.send(Notice(""))
                if end_ns - pose_ns >= POSE_NS:
                    pose_ns = end_ns
                    self._pipe.send(pose_of(chain.own(end_ns)))
                if end_ns - state_ns >= NS_PER_S:
                    state_ns = end_ns
                    self._pipe.send(SourceState(self._is_paused, self._speed, end_ns))
        self._pipe.send(Notice("the story has ended; start it again with the controls"))
        self._is_paused = True
        self._pipe.send(SourceState(True, self._speed, state_ns or None))
        while not self._restart.is_set():
            self._listen(desk, 0.2)
        self._is_paused = False
        return True

    def _wait(self, desk: Desk, at_ns: int, origin_s: float, origin_ns: int) -> tuple[float, int]:
        """Wait until the story's time has come, listening meanwhile; return the pace's origin, moved if need be."""
        while True:
            before = (self._speed, self._is_paused)
            due_s = origin_s + (at_ns - origin_ns) / NS_PER_S / self._speed
            left = due_s - steady_s()
            self._listen(desk, max(min(left, 0.1), 0.0) if not self._is_paused else 0.1)
            if self._restart.is_set():
                return origin_s, origin_ns
            if before != (self._speed, self._is_paused):
                origin_s, origin_ns = steady_s(), at_ns
                self._pipe.send(SourceState(self._is_paused, self._speed, at_ns))
                continue
            if self._is_paused:
                origin_s, origin_ns = steady_s(), at_ns
                continue
            if left < -BEHIND_S:
                return steady_s(), at_ns
            if steady_s() >= due_s:
                return origin_s, origin_ns

    def _listen(self, desk: Desk, wait_s: float) -> None:
        """Take what was asked, waiting at most so long for it."""
        if not self._pipe.poll(wait_s):
            return
        while self._pipe.poll(0.0):
            control = self._pipe.recv()
            do = control["do"]
            if do in ("pause", "go on"):
                self._is_paused = do == "pause"
            elif do == "speed":
                self._speed = float(control["value"])
            elif do == "start again":
                self._restart.set()
            elif not desk.take(control):
                self._pipe.send(Answer(f"the demo cannot do this: {do}"))


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
                while not self._is_stopped.is_set():
                    try:
                        self._turns.put(turn, timeout=0.2)
                        break
                    except queue.Full:
                        continue
                if self._is_stopped.is_set():
                    return
        except Exception as problem:
            self._turns.put(problem)

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


def _slices(turn: Any) -> Iterator[tuple[int, bytes, bytes]]:
    """Cut a turn into (end, NMEA bytes, radar bytes) by time; empty slices too, so that time passes."""
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
        yield at, b"".join(data for _, data in nmea[first_i:i]), b"".join(data for _, data in radar[first_j:j])


def pose_of(own: Any) -> PoseNow:
    """Return a `moonless.reading.situation.OwnState` in the screens' units."""
    from math import degrees

    from moonless.units import mps_to_kn

    def deg(value: float | None) -> float | None:
        return None if value is None else degrees(value)

    return PoseNow(
        own.lat_deg,
        own.lon_deg,
        deg(own.heading_true_rad),
        deg(own.cog_rad),
        None if own.sog is None else mps_to_kn(own.sog),
        own.position_age,
    )
