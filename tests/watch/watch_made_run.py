"""A short made run for the watch's tests: a small noisy radar, a steady boat, all as bytes with times."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from moonless.boat.file import default_boat
from moonless.constants import TAU
from moonless.frames import LocalFrame
from moonless.units import NS_PER_S
from moonless.watch.pipeline.chain import Chain
from moonless.watch.types import Turn
from moonless.wire import nmea_write as write
from moonless.wire.cat240 import encode_video

T0 = 1_800_000_000 * NS_PER_S
N_SPOKE, N_CELL, CELL_M = 180, 96, 20.0
PERIOD_S = 2.5
FRAME = LocalFrame(10.0, -30.0)


@dataclass
class MadeRun:
    """Bytes of a run, second by second; the switches break it."""

    heading_rad: float = 0.5
    speed: float = 4.0
    turn_rate: float = 0.0
    radar: Callable[[float], str] = lambda t: "good"  # "good", "silent", "frozen", "stuck", "empty"
    has_position: Callable[[float], bool] = lambda t: True
    has_heading: Callable[[float], bool] = lambda t: True
    heading_at: Callable[[float, float], float] = lambda t, true: true
    shift_m: Callable[[float], float] = lambda t: 0.0
    clock_s: Callable[[float], float] = lambda t: 0.0  # said minus true, of the position receiver
    has_fix: Callable[[float], bool] = lambda t: True
    seed: int = 1
    _rows: dict[int, bytes] = field(default_factory=dict)

    def events(self, seconds: float) -> Iterator[tuple[int, str, bytes]]:
        """Yield (time, "radar" or "nmea", bytes) in order of time."""
        rng = np.random.default_rng(self.seed)
        step = PERIOD_S / N_SPOKE
        out: list[tuple[int, str, bytes]] = []
        for i in range(int(seconds / step)):
            t = i * step
            mode = self.radar(t)
            if mode == "silent":
                continue
            row = i % N_SPOKE
            cells = rng.integers(20, 60, N_CELL).astype(np.uint8)
            if 40 <= row <= 44:
                cells[50:53] = 220
            if mode == "frozen" and row in self._rows:
                cells = np.frombuffer(self._rows[row], dtype=np.uint8)
            if mode == "empty":
                cells[:] = 0
            self._rows[row] = cells.tobytes()
            azimuth = (row if mode != "stuck" else 10) * TAU / N_SPOKE
            now = T0 + round(t * NS_PER_S)
            half = 0.5 * TAU / N_SPOKE
            data = encode_video(
                cells, azimuth_start_rad=azimuth - half, azimuth_end_rad=azimuth + half, cell_m=CELL_M,
                start_cell=1, sequence=i, time_ns=now,
            )  # fmt: skip
            out.append((now, "radar", data))
        for k in range(int(seconds * 5)):
            t = k / 5.0
            now = T0 + round(t * NS_PER_S)
            heading = self.heading_rad + self.turn_rate * t
            if self.has_heading(t):
                said = self.heading_at(t, heading + 0.003 * math.sin(7.0 * t))
                out.append((now, "nmea", (write.write_hdt(said % TAU) + "\r\n").encode()))
                out.append((now, "nmea", (write.write_rot(self.turn_rate) + "\r\n").encode()))
            if k % 5 == 0 and self.has_position(t):
                said_ns = now + round(self.clock_s(t) * NS_PER_S)
                east, north = self._way(t)
                lat, lon = FRAME.to_geographic(east + self.shift_m(t), north)
                place = (lat, lon) if self.has_fix(t) else (None, None)
                line = write.write_rmc(said_ns, *place, heading % TAU, self.speed)  # type: ignore[call-arg]
                out.append((now, "nmea", (line + "\r\n").encode()))
        yield from sorted(out, key=lambda event: event[0])

    def _way(self, t: float) -> tuple[float, float]:
        """Return how far she has come, east and north: along her heading, in a circle where she turns."""
        begin, now = self.heading_rad, self.heading_rad + self.turn_rate * t
        if self.turn_rate == 0.0:
            return self.speed * math.sin(begin) * t, self.speed * math.cos(begin) * t
        radius = self.speed / self.turn_rate
        return radius * (math.cos(begin) - math.cos(now)), radius * (math.sin(now) - math.sin(begin))

    def play(self, seconds: float, chain: Chain | None = None, tick_s: float = 0.25) -> list[Turn]:
        """Return the turns of a run, time passing all the while."""
        chain = chain or Chain(default_boat())
        turns: list[Turn] = []
        tick = T0
        for now, kind, data in self.events(seconds):
            while tick < now:
                turns += chain.tick(tick)
                tick += round(tick_s * NS_PER_S)
            turns += chain.feed_radar(data, now) if kind == "radar" else chain.feed_nmea(data, now)
        while tick <= T0 + round(seconds * NS_PER_S):
            turns += chain.tick(tick)
            tick += round(tick_s * NS_PER_S)
        return turns


def seconds_of(turn: Turn) -> float:
    """Return a turn's time, seconds from the run's beginning."""
    return (turn.reading.time_ns - T0) / NS_PER_S
