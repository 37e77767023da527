"""A long watch as a boat has it: the command, live links, a recording and a screen, at the pace of life.

    python -m bench.live.soak [--wall SECONDS]      (an hour unless told)

Every ten seconds it looks at what the helm's and the watch's process take; at each reading and each piece of picture,
how long after it came in from the antenna it is on the screen.  Printed is one JSON line: for each figure its middle,
its slope an hour by least squares and the slope's own standard deviation, the first fifth of the time left out.  The
standard deviation takes neighbouring looks as one, for what a process takes swings with what is in view.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import sys
import time
from collections import defaultdict
from datetime import datetime
from pathlib import Path

import numpy as np

from bench.live.rig import LiveHelm, Screen, taken_by
from moonless.helm.web import protocol

EVERY_S = 10.0
# A slope is made from means over so long.
BLOCK_S = 120.0
LEFT_OUT = 0.2
# More than these, and more than three times its own standard deviation, is a leak: MB, handles, threads, ms an hour.
MOST = {"memory_mb": 25.0, "handles": 3.0, "threads": 2.0, "ms": 200.0}

Series = dict[str, list[tuple[float, float]]]


def slope(seen: list[tuple[float, float]]) -> dict[str, float | None]:
    """Return the middle, the slope an hour and its standard deviation of (seconds, value); None: too few."""
    if not seen:
        return {"middle": None, "an_hour": None, "sigma": None}
    at, value = np.array(seen).T
    kept = at >= LEFT_OUT * at[-1]
    at, value = at[kept], value[kept]
    out: dict[str, float | None] = {"middle": round(float(np.median(value)), 2), "an_hour": None, "sigma": None}
    block = (at // BLOCK_S).astype(int)
    blocks = [block == b for b in np.unique(block)]
    if len(blocks) > 3:
        x = np.array([at[b].mean() for b in blocks]) / 3600.0
        y = np.array([value[b].mean() for b in blocks])
        line = np.polyfit(x, y, 1)
        left = y - np.polyval(line, x)
        spread = float(np.sqrt(np.sum(left**2) / (len(x) - 2) / np.sum((x - x.mean()) ** 2)))
        out.update(an_hour=round(float(line[0]), 2), sigma=round(spread, 2))
    return out


async def _look(helm: LiveHelm, series: Series, began: float, until: float) -> None:
    while time.monotonic() < until:
        await asyncio.sleep(EVERY_S)
        at = time.monotonic() - began
        for who, pid in (("helm", helm.process.pid), ("watch", helm.watch_pid())):
            if pid is None:
                continue
            now = taken_by(pid)
            for what in ("memory_mb", "handles", "threads"):
                series[f"{who}.{what}"].append((at, float(getattr(now, what))))
            series[f"{who}.cpu_s"].append((at, now.cpu_s))


async def _screen(helm: LiveHelm, series: Series, faults: dict[str, int], began: float) -> None:
    screen = await Screen.on(helm.address)
    async for kind, frame in screen.frames():
        at = time.monotonic() - began
        if kind == protocol.SPOKES:
            late_ms = time.time() * 1e3 - protocol.decode_spokes(frame).received_unix_ms
            series["picture.ms"].append((at, late_ms))
        elif kind == protocol.READING:
            reading = protocol.decode_json(frame)
            series["reading.ms"].append((at, (time.time() - datetime.fromisoformat(reading["time"]).timestamp()) * 1e3))
            for fault in reading["faults"]:
                faults[f"{fault['what']} {fault['state']}"] += 1
        elif kind == protocol.STATUS and (told_s := protocol.decode_json(frame).get("reading_age_s")) is not None:
            series["told_age.ms"].append((at, told_s * 1e3))


async def _soak(helm: LiveHelm, wall_s: float) -> tuple[Series, dict[str, int]]:
    series: Series = defaultdict(list)
    faults: dict[str, int] = defaultdict(int)
    began = time.monotonic()
    watching = asyncio.create_task(_screen(helm, series, faults, began))
    try:
        await _look(helm, series, began, began + wall_s)
    finally:
        watching.cancel()
        await asyncio.gather(watching, return_exceptions=True)
    return series, faults


def main() -> int:
    """Soak; return the exit code: 1 where something climbs."""
    parser = argparse.ArgumentParser(prog="python -m bench.live.soak", description=__doc__)
    parser.add_argument("--wall", type=float, default=3600.0, metavar="SECONDS")
    asked = parser.parse_args()
    keep = "soak.mcap"
    with LiveHelm(record=keep) as helm:
        helm.send()
        series, faults = asyncio.run(_soak(helm, asked.wall))
        log, size = helm.log(), sum(p.stat().st_size for p in Path(helm.folder).glob("*.mcap"))
    cpu = {who: series.pop(f"{who}.cpu_s") for who in ("helm", "watch")}
    figures = {name: slope(seen) for name, seen in sorted(series.items())}
    print(json.dumps({
        "wall_s": round(asked.wall), "readings": len(series["reading.ms"]), "figures": figures,
        "of_a_processor": {who: round(seen[-1][1] / seen[-1][0], 2) for who, seen in cpu.items()},
        "faults_told": faults, "recording_mb": round(size / 1e6, 1), "log_bytes": len(log),
    }))  # fmt: skip
    climbing = [
        name for name, found in figures.items()
        if found["an_hour"] is not None and found["sigma"] is not None
        and found["an_hour"] > max(MOST[name.split(".")[1]], 3.0 * found["sigma"])
    ]  # fmt: skip
    for name in climbing:
        print(f"{name} climbs", file=sys.stderr)
    return 1 if climbing or not series["reading.ms"] else 0


if __name__ == "__main__":
    sys.exit(main())
