"""More than any boat has, on this computer and on a quarter of one core: what is told, how old it is, what is shed.

    python -m bench load

The real helm with `bench.live.crowd` on its links and ten screens, a minute and a half each.  For the quarter the
helm's processes are stopped for three quarters of each tenth of a second.  ``misled`` are readings that show echoes
older than 2 s on the screen, the time of the reading held against the clock; ``true`` is the share of echoes told as
vessels or things that lie within 60 m of one that is there at the time the reading speaks of.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import statistics
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from bench.live import crowd
from bench.live.rig import LiveHelm, Screen, taken_by
from bench.result import Result
from moonless.helm.web import protocol

NAMES = ("load.whole", "load.quarter")
SCREENS = 10
WARM_S, TOLD_S = 45.0, 90.0
NEAR_M, MOST_OLD_S = 60.0, 2.0
SLICE_S, SHARE = 0.1, 0.25


@dataclass(slots=True)
class _Told:
    readings: int = 0
    with_echoes: int = 0
    ages_s: list[float] = field(default_factory=list)  # of readings with echoes, when they reach a screen
    echoes: int = 0
    true: int = 0
    tracks: list[int] = field(default_factory=list)
    faults: Counter[str] = field(default_factory=Counter)
    shed: set[str] = field(default_factory=set)


def run(names: list[str]) -> Iterator[Result]:
    """Yield the figures of each case."""
    for name in names:
        share = SHARE if name == "load.quarter" else None
        with LiveHelm(chart=None, boat=None) as helm:
            began_ns = time.time_ns() + 2_000_000_000
            helm.send("bench.live.crowd", str(began_ns))
            told, cpu = asyncio.run(_watch(helm, began_ns, share))
        turns = TOLD_S / crowd.TURN_S
        yield Result(f"{name}.readings", told.readings / turns, "readings a turn")
        yield Result(f"{name}.with_echoes", told.with_echoes / turns, "of them with echoes")
        yield Result(f"{name}.tracks", statistics.median(told.tracks) if told.tracks else 0.0, "echoes told at once")
        yield Result(f"{name}.true", told.true / max(told.echoes, 1), "of the echoes, within 60 m of what is there")
        ages = sorted(told.ages_s) or [float("nan")]
        yield Result(f"{name}.age", statistics.median(ages), "s old on the screen, those with echoes")
        yield Result(f"{name}.age_worst", ages[-1], "s, the worst")
        too_old = sum(age > MOST_OLD_S for age in ages)
        yield Result(f"{name}.misled", float(too_old), "readings with echoes older than 2 s")
        yield Result(f"{name}.cpu", cpu, "processors taken by helm and watch")
        said = "; ".join([f"{what} in {n}" for what, n in told.faults.most_common()] + sorted(told.shed)) or "nothing"
        yield Result(f"{name}.told", float(sum(told.faults.values())), f"faults told: {said}")


async def _watch(helm: LiveHelm, began_ns: int, share: float | None) -> tuple[_Told, float]:
    told, over = _Told(), threading.Event()
    first = await Screen.on(helm.address)
    others = [await Screen.on(helm.address) for _ in range(SCREENS - 1)]
    tasks = [asyncio.create_task(_take_in(one)) for one in others]
    begin = time.monotonic() + WARM_S
    tasks.append(asyncio.create_task(_note(first, told, began_ns, begin)))
    await asyncio.sleep(WARM_S)
    throttle = threading.Thread(target=_throttle, args=(helm, share, over), daemon=True)
    if share is not None:
        throttle.start()
        await asyncio.sleep(5.0)
    told.readings = told.with_echoes = told.echoes = told.true = 0
    told.ages_s, told.tracks = [], []
    told.faults.clear()
    told.shed.clear()
    before = _cpu_s(helm)
    await asyncio.sleep(TOLD_S)
    cpu = (_cpu_s(helm) - before) / TOLD_S
    over.set()
    if share is not None:
        throttle.join()
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    return told, cpu


def _cpu_s(helm: LiveHelm) -> float:
    return sum(taken_by(pid).cpu_s for pid in (helm.process.pid, *helm.children()))


async def _take_in(screen: Screen) -> None:
    async for _ in screen.frames():
        pass


async def _note(screen: Screen, told: _Told, began_ns: int, begin: float) -> None:
    async for kind, frame in screen.frames():
        if kind == protocol.READING:
            _add(told, protocol.decode_json(frame), began_ns)
        elif kind == protocol.STATUS:
            told.shed |= {
                one["text"].split(": ", 1)[-1]
                for one in protocol.decode_json(frame).get("links", ()) if one["state"] == "lost"
            }  # fmt: skip


def _add(told: _Told, reading: dict[str, Any], began_ns: int) -> None:
    told.readings += 1
    of_s = datetime.fromisoformat(reading["time"]).timestamp()
    for fault in reading["faults"]:
        told.faults[f"{fault['what']} {fault['state']}"] += 1
    kept = [e for e in reading["echoes"] if e["is"] in ("vessel", "uncharted", "charted")]
    if not reading["echoes"]:
        return
    told.with_echoes += 1
    told.ages_s.append(time.time() - of_s)
    told.tracks.append(len(reading["echoes"]))
    if kept:
        there, _ = crowd.places(of_s - began_ns / 1e9)
        lat, lon = crowd.to_lat_lon(there)
        metres_east = crowd.METRES_A_DEGREE * np.cos(np.radians(crowd.LAT))
        by_lat = (np.array([e["lat"] for e in kept])[:, None] - lat) * crowd.METRES_A_DEGREE
        by_lon = (np.array([e["lon"] for e in kept])[:, None] - lon) * metres_east
        told.echoes += len(kept)
        told.true += int((np.hypot(by_lat, by_lon).min(axis=1) <= NEAR_M).sum())


def _throttle(helm: LiveHelm, share: float, over: threading.Event) -> None:
    """Let the helm's processes run for so much of each slice of time."""
    while not over.is_set():
        pids = [helm.process.pid, *helm.children()]
        for word, wait_s in ((signal.SIGSTOP, SLICE_S * (1.0 - share)), (signal.SIGCONT, SLICE_S * share)):
            for pid in pids:
                with contextlib.suppress(ProcessLookupError):
                    os.kill(pid, word)
            time.sleep(wait_s)
