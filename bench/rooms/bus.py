"""The bus door: what NMEA 2000 costs, how much of it is read right, and whether a voyage reads alike by either tongue.

``bus.decode``      µs a frame of the moored boat's log, lines to events; peer: the nmea2000 library's own decoder
``bus.real_time``   how many times faster than the busiest bus (250 kbit/s of full frames) the same frames are read
``bus.published``   share of the published fields (canboat's check values) that come out equal
``bus.second``      share of fields of the six real logs that a second library (n2k) reads alike
``bus.voyage``      most metres, and ``bus.voyage_deg`` degrees, between the readings of one made voyage by 0183 and by
                    2000; ``bus.voyage_unlike`` echoes or faults that differ
``bus.flood``       megabytes that 200 000 frames of a claim storm, half packets and unknown groups leave behind

The real logs are read where `MOONLESS_DATA` has them; without them their figures are left out.
"""

from __future__ import annotations

import gc
import logging
import math
import os
import tracemalloc
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from bench.made.bus import ToBus
from bench.peers.bus import fields_alike, published_alike
from bench.result import Result
from moonless.clock import steady_s
from moonless.frames import LocalFrame
from moonless.units import NS_PER_S
from moonless.wire.n2k.decoder import BusDecoder
from moonless.wire.n2k.frames import Frame, frame_of, split_identifier

NAMES = (
    "bus.decode", "bus.real_time", "bus.published", "bus.second", "bus.voyage", "bus.voyage_deg", "bus.voyage_unlike",
    "bus.flood",
)  # fmt: skip

# A data frame of eight octets with a 29-bit identifier has 131 bits without stuffing, 3 of them between frames.
BUS_FRAMES_PER_S = 250_000 / 131
N_RUN = 3
FLOOD = 200_000
SECONDS = 60.0
STORY = Path(__file__).parents[2] / "src" / "moonless" / "data" / "scenes" / "quiet.toml"


def _data() -> Path:
    return Path(os.environ.get("MOONLESS_DATA", "../shared/data")) / "n2k"


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield the figures asked for."""
    asked = set(names)
    if _data().is_dir():
        if {"bus.decode", "bus.real_time"} & asked:
            yield from (r for r in _speed() if r.name in asked)
        if "bus.published" in asked:
            yield Result("bus.published", published_alike(_data() / "decoded"), "share of fields", "canboat", 1.0)
        if "bus.second" in asked:
            yield Result("bus.second", fields_alike(_data()), "share of fields", "n2k", 1.0)
    if {"bus.voyage", "bus.voyage_deg", "bus.voyage_unlike"} & asked:
        yield from (r for r in _voyage() if r.name in asked)
    if "bus.flood" in asked:
        yield Result("bus.flood", _flood(), "MB")


def _speed() -> Iterator[Result]:
    from nmea2000.decoder import NMEA2000Decoder

    logging.getLogger("nmea2000").setLevel(logging.ERROR)
    lines = (_data() / "moored-boat-can.log").read_bytes().splitlines()
    texts = [line.decode() for line in lines]

    def ours() -> None:
        decoder = BusDecoder()
        for line in lines:
            frame = frame_of(line)
            assert frame is not None
            decoder.frame(frame, frame.time_ns or 0)

    def peers() -> None:
        decoder = NMEA2000Decoder()
        for text in texts:
            decoder.decode(text)

    mine, theirs = [], []
    for _ in range(N_RUN):
        for work, took in ((ours, mine), (peers, theirs)):
            begin = steady_s()
            work()
            took.append((steady_s() - begin) / len(lines))
    best, peer = min(mine), min(theirs)
    yield Result("bus.decode", best * 1e6, "us", "nmea2000", peer * 1e6, peer / best)
    yield Result("bus.real_time", 1.0 / best, "frames/s", "real time", BUS_FRAMES_PER_S, 1.0 / best / BUS_FRAMES_PER_S)


def _voyage() -> Iterator[Result]:
    import tempfile

    from moonless.scene.file import load_scene
    from moonless.scene.player import ScenePlayer
    from moonless.scene.write import write_run

    scene = load_scene(STORY)
    with tempfile.TemporaryDirectory() as folder:
        write_run(ScenePlayer(scene), Path(folder) / "run")
        by_0183 = _readings(scene, Path(folder) / "run", partial(_as_it_is))
        by_2000 = _readings(scene, Path(folder) / "run", ToBus().feed)
    unlike, metres, degrees = abs(len(by_0183) - len(by_2000)), 0.0, 0.0
    for a, b in zip(by_0183, by_2000, strict=False):
        unlike += [(f.what, f.state) for f in a.faults] != [(f.what, f.state) for f in b.faults]
        unlike += len({(e.id, e.kind) for e in a.echoes} ^ {(e.id, e.kind) for e in b.echoes})
        if a.own.lat is None or b.own.lat is None or a.own.heading_deg is None or b.own.heading_deg is None:
            unlike += (a.own.lat is None) != (b.own.lat is None)
            continue
        frame = LocalFrame(a.own.lat, a.own.lon)
        metres = max(metres, float(np.hypot(*frame.to_plane(b.own.lat, b.own.lon))))
        degrees = max(degrees, abs(math.remainder(a.own.heading_deg - b.own.heading_deg, 360.0)))
    yield Result("bus.voyage", metres, "m")
    yield Result("bus.voyage_deg", degrees, "deg")
    yield Result("bus.voyage_unlike", unlike, f"of {sum(len(a.echoes) for a in by_0183)} echoes")


def _as_it_is(data: bytes, now_ns: int) -> bytes:
    return data


def _readings(scene: Any, folder: Path, translate: Any) -> list[Any]:
    from moonless.chart.library import Chart
    from moonless.watch.pipeline.chain import Chain
    from moonless.watch.pipeline.replay import Replay

    chart = Chart.open(list(scene.waters.paths)) if scene.waters.paths else None
    chain = Chain(scene.boat, chart)
    replay = Replay(
        radar=tuple(sorted(folder.glob("*.cat240")) or sorted(folder.glob("*.ast"))),
        nmea=tuple(sorted(folder.glob("*.nmea"))),
    )
    out, began = [], None
    for fed in replay.feeds():
        began = fed.time_ns if began is None else began
        if fed.time_ns - began > SECONDS * NS_PER_S:
            break
        if fed.kind == "radar":
            turns = chain.feed_radar(fed.data, fed.time_ns)
        else:
            turns = chain.feed_nmea(translate(fed.data, fed.time_ns), fed.time_ns)
        out += [turn.reading for turn in turns]
    return out


def _flood() -> float:
    rng = np.random.default_rng(2000)
    decoder = BusDecoder()
    # The library's tables are no part of it.
    decoder.frame(Frame(129025, 1, 255, bytes(8), True), 0)
    gc.collect()
    tracemalloc.start()
    before, _ = tracemalloc.get_traced_memory()
    fast = (129029, 129038, 129794, 128520)
    for i in range(FLOOD):
        now = i * 500_000
        source, data = int(rng.integers(256)), rng.bytes(8)
        if i % 3 == 0:
            decoder.frame(Frame(60928, source, 255, data, False), now)
        elif i % 3 == 1:
            decoder.frame(
                Frame(fast[i % 4], source, 255, bytes([int(rng.integers(8)) << 5]) + b"\xdf" + data[:6], False), now
            )
        else:
            decoder.frame(Frame(*split_identifier(int(rng.integers(1 << 29))), data, False), now)
    gc.collect()
    after, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return (after - before) / 1e6
