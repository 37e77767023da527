"""``plots``: a 2048 x 1024 scan to plots, milliseconds on one core, beside the antenna's own turn.

The scan is made: noise through a logarithmic receiver, 100 points, 90 degrees of land.  The minimum and the median of
repeated turns are printed, and the least time the processor spent on one: on a machine that does other work the last is
the fairer figure.  ``plots.clutter`` adds a spiky sea; ``plots.thousand`` has a thousand plots a turn and no land.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from bench.made.video import TURN_NS, Made
from bench.result import Result
from moonless.echo.detector import Detector

NAMES = ("plots", "plots.median", "plots.processor", "plots.clutter", "plots.thousand")
N_SCAN = 4
REPEATS = 40
THOUSAND = 2100  # points; many run into one another


def _scans(sea: bool, points: int = 100, *, land: bool = True) -> list[Any]:
    made = Made(n_spoke=2048, n_cell=1024, cell_m=3.6, beam_deg=3.9, pulse_m=37.5, db_per_count=0.33, level=20.0)
    for _ in range(points):
        made.point(made.rng.uniform(0, 2 * np.pi), made.rng.uniform(150, 3500), made.rng.uniform(10, 40))
    if land:
        made.power[600:1100, 500:700] += 10**4.5 * made.texture(2.0, 20, 10)[600:1100, 500:700]
    scans = []
    for turn in range(N_SCAN):
        clutter = np.zeros(made.power.shape)
        if sea:
            clutter[:, :500] = 10 ** (np.linspace(4.0, 0.0, 500))[None, :] * made.texture(0.7, 20, 8)[:, :500]
        scans.append(made.scan(made.counts(made.draw(clutter)), number=turn))
    return scans


def _times_ms(scans: list[Any]) -> tuple[np.ndarray, np.ndarray, int]:
    """Return (wall clock, processor time of this thread) of each turn, milliseconds, and plots of the last."""
    detector = Detector()
    wall, processor = [], []
    for k in range(REPEATS + 8):
        scan = scans[k % N_SCAN]
        scan = dataclasses.replace(scan, time_ns=scan.time_ns + (k // N_SCAN) * N_SCAN * TURN_NS)
        start, busy = time.perf_counter(), time.thread_time()
        picture = detector.detect(scan)
        if k >= 8:
            wall.append((time.perf_counter() - start) * 1e3)
            processor.append((time.thread_time() - busy) * 1e3)
    return np.asarray(wall), np.asarray(processor), len(picture.plots)


def run(names: Sequence[str]) -> Iterator[Result]:
    """Yield the figures asked for; real time is one turn at 24 turns a minute, 2500 ms."""
    turn_ms = TURN_NS / 1e6
    if {"plots", "plots.median", "plots.processor"} & set(names):
        wall, processor, _ = _times_ms(_scans(sea=False))
        for name, value in (
            ("plots", float(wall.min())),
            ("plots.median", float(np.median(wall))),
            ("plots.processor", float(processor.min())),
        ):
            if name in names:
                yield Result(name, value, "ms", "real time", turn_ms, turn_ms / value)
    if "plots.clutter" in names:
        value = float(_times_ms(_scans(sea=True))[0].min())
        yield Result("plots.clutter", value, "ms", "real time", turn_ms, turn_ms / value)
    if "plots.thousand" in names:
        # So many echoes that a thousand plots come of them a turn.
        _, processor, n = _times_ms(_scans(sea=False, points=THOUSAND, land=False))
        value = float(processor.min())
        yield Result("plots.thousand", value, f"ms of processor, {n} plots", "real time", turn_ms, turn_ms / value)
