"""A recording whose process is killed at a random moment: how many of the last seconds are not in it.

A child takes in a radar block and a sentence every 20 ms through the watch's own `Recorder` and tells each on a pipe;
it is ended by SIGKILL.  What it told and what the file holds are compared: every message up to some moment must be
there, whole and in order, and that moment lies at most `BAR_S` before the kill.  A kill leaves what was handed to the
system; a loss of power is another matter, for which each second's bytes are flushed to the disk.

``slow_card``: with a disk that takes two seconds to have on it what it was given, as a full memory card does.
"""

from __future__ import annotations

import os
import random
import signal
import struct
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from bench.result import Result
from moonless.clock import SystemClock, steady_s
from moonless.wire.cat240 import encode_video
from moonless.wire.recording import RecordingReader

NAMES = ("recording.killed",)
KILLS = 200
SLOW_KILLS, SLOW_S = 40, 2.0
BAR_S = 1.0
EVERY_S = 0.02
_TOLD = struct.Struct("<qd")


def run(names: list[str]) -> Iterator[Result]:
    """Yield seconds lost: the mean, the worst tenth's least, the worst; and recordings with a gap or a wrong byte."""
    chance = random.Random(11)
    with tempfile.TemporaryDirectory() as folder:
        lost = sorted(killed(Path(folder) / f"{n}.mcap", chance.uniform(0.05, 4.0)) for n in range(KILLS))
    yield Result("recording.killed.mean", sum(lost) / KILLS, "s lost")
    yield Result("recording.killed.worst_tenth", lost[-max(1, KILLS // 10)], "s lost, at least, in the worst tenth")
    yield Result("recording.killed.worst", lost[-1], "s lost", "bar", BAR_S, BAR_S / max(lost[-1], 1e-9))
    with tempfile.TemporaryDirectory() as folder:
        lost = [killed(Path(folder) / f"{n}.mcap", chance.uniform(0.05, 4.0), SLOW_S) for n in range(SLOW_KILLS)]
    yield Result("recording.killed.slow_card.worst", max(lost), "s lost", "bar", BAR_S, BAR_S / max(max(lost), 1e-9))


def killed(path: Path, after_s: float, sync_s: float = 0.0) -> float:
    """Record for so long, kill the process; return the seconds before the kill that are not in the file.

    ``sync_s``: what the disk takes to have on it what it was given; 0: as it does.

    Raises AssertionError if what is in it is not what was taken in, from the first message on.
    """
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            _record(path, writing, sync_s)
        finally:
            os._exit(1)
    os.close(writing)
    told = os.read(reading, _TOLD.size)  # the first message has been taken in
    until = steady_s() + after_s
    with os.fdopen(reading, "rb") as pipe:
        while (left := until - steady_s()) > 0:
            signal.sigtimedwait([signal.SIGUSR1], left)  # sleeps
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        told += pipe.read()
    whole = len(told) // _TOLD.size
    taken = [_TOLD.unpack_from(told, i * _TOLD.size) for i in range(whole)]
    kept = list(RecordingReader(path))
    for kind in ("radar", "nmea"):
        numbers = [_number(one.data, kind) for one in kept if one.kind == kind]
        assert numbers == list(range(len(numbers))), f"the recording has a gap or a wrong message of {kind}"
        newest = len(numbers) - 1
    # The pipe may end a message before or after the file does.
    return max(0.0, taken[-1][1] - taken[min(newest, whole - 1)][1]) if newest >= 0 else taken[-1][1] - taken[0][1]


def _record(path: Path, told: int, sync_s: float) -> None:
    from moonless.watch.live.recorder import Recorder
    from moonless.wire.recording import write

    if sync_s:
        write.flush_to_disk = lambda file: (file.flush(), time.sleep(sync_s))  # type: ignore[assignment]

    clock = SystemClock()
    recorder = Recorder(path, {"0": "udp://0.0.0.0:10110"}, lambda *_: None, clock.now_ns)
    number, due = 0, steady_s()
    while True:
        now = clock.now_ns()
        block, line = _block(number), _line(number)
        recorder.add(len(block), lambda to, b=block, t=now: to.radar(b, t, is_datagram=True))
        recorder.add(len(line), lambda to, s=line, t=now: to.nmea(s, t))
        os.write(told, _TOLD.pack(number, steady_s()))
        number, due = number + 1, due + EVERY_S
        signal.sigtimedwait([signal.SIGUSR1], max(0.0, due - steady_s()))


def _block(number: int) -> bytes:
    echo = np.frombuffer(struct.pack("<Q", number) * 32, dtype=np.uint8)
    return encode_video(echo, azimuth_start_rad=1.0, azimuth_end_rad=1.1, cell_m=5.0, sequence=number)


def _line(number: int) -> bytes:
    return b"$GPTXT,%d\r\n" % number


def _number(data: bytes, kind: str) -> int:
    if kind == "nmea":
        return int(data[7:])
    return next((n for n in (_sequence(data),) if data == _block(n)), -1)


def _sequence(block: bytes) -> int:
    from moonless.wire.cat240 import Cat240Decoder, Video

    (video,) = Cat240Decoder().datagram(block)
    assert isinstance(video, Video)
    return video.to_spoke(0).sequence
