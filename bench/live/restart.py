"""A watch whose process is killed under the real helm: seconds until it goes on, and what of it is still the same.

    python -m bench restart

The demo on live links, a screen on it that has said what the sight is and answered the first call.  The watch's process
is ended by SIGKILL twice: once when another stands by, and at once again, when none does and what was kept is not
trusted.  Echoes are counted that were there in the two readings before; ``without`` is the same share over the same
turns before the kill, for echoes come and go by themselves.
"""

from __future__ import annotations

import asyncio
import os
import signal
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from bench.live.rig import LiveHelm, Screen, taken_by
from bench.result import Result
from moonless.helm.web import protocol

NAMES = ("restart.kills",)
SETTLED_READINGS = 14  # readings of a scan before the first kill
GIVE_UP_S = 420.0


@dataclass(slots=True)
class _Seen:
    """What the screen has been told last."""

    readings: list[dict[str, Any]] = field(default_factory=list)  # with echoes
    picture_at_s: float = 0.0
    picture_ms: float = 0.0  # when its newest row came in
    told_at_s: float = 0.0  # when it was told that the watch ended
    sight: str = ""
    scans: int = 0


def run(names: list[str]) -> Iterator[Result]:
    """Yield the figures of each kill."""
    with LiveHelm(record="run.mcap") as helm:
        helm.send()
        for case, figures in asyncio.run(_kills(helm)).items():
            for name, (value, unit) in figures.items():
                yield Result(f"restart.{case}.{name}", value, unit)


async def _watch(screen: Screen, seen: _Seen) -> None:
    async for kind, frame in screen.frames():
        now = time.monotonic()
        if kind == protocol.SPOKES:
            seen.picture_at_s, seen.picture_ms = now, protocol.decode_spokes(frame).received_unix_ms
        elif kind == protocol.READING and (reading := protocol.decode_json(frame))["echoes"]:
            seen.scans += 1
            seen.readings = [*seen.readings[-5:], {**reading, "at_s": now}]
        elif kind == protocol.STATUS:
            body = protocol.decode_json(frame)
            seen.sight = body.get("sight", seen.sight)
            if any(one["link"] == "watch" and one["state"] == "lost" for one in body.get("links", ())):
                seen.told_at_s = seen.told_at_s or now
            else:
                seen.told_at_s = 0.0


async def _until(is_so: Any, give_up_s: float = GIVE_UP_S) -> None:
    end = time.monotonic() + give_up_s
    while not is_so():
        assert time.monotonic() < end, "the watch has not come so far"
        await asyncio.sleep(0.02)


async def _kills(helm: LiveHelm) -> dict[str, dict[str, tuple[float, str]]]:
    screen, seen = await Screen.on(helm.address), _Seen()
    watching = asyncio.create_task(_watch(screen, seen))
    try:
        await screen.ask(do="sight", value="in sight")
        await _until(lambda: seen.scans >= SETTLED_READINGS and bool(_alerts(seen, "unacknowledged")))
        for key in _alerts(seen, "unacknowledged"):
            await screen.ask(do="acknowledge", key=key)
        await _until(lambda: bool(_alerts(seen, "acknowledged")))
        await _until(lambda: _stands_by(helm))
        out = {}
        for case in ("standing_by", "at_once_again"):
            out[case] = await _kill(helm, seen)
        return out
    finally:
        watching.cancel()
        await asyncio.gather(watching, return_exceptions=True)
        await screen.close()


def _told(reading: dict[str, Any]) -> set[tuple[int, str]]:
    return {(echo["id"], echo["is"]) for echo in reading["echoes"]}


def _alerts(seen: _Seen, state: str) -> set[str]:
    return {one["key"] for one in seen.readings[-1].get("alerts", ()) if one["state"] == state}


def _stands_by(helm: LiveHelm) -> bool:
    """Whether a second process has done its loading: it takes no more time."""
    pids = helm.children()
    if len(pids) < 2:
        return False
    before = [taken_by(pid).cpu_s for pid in pids]
    time.sleep(2.0)
    return any(taken_by(pid).cpu_s - was < 0.01 for pid, was in zip(pids, before, strict=True) if was > 2.0)


async def _kill(helm: LiveHelm, seen: _Seen) -> dict[str, tuple[float, str]]:
    steady = _told(seen.readings[-1]) & _told(seen.readings[-2])
    earlier = _told(seen.readings[-5]) & _told(seen.readings[-6])
    without = len(earlier & _told(seen.readings[-1])) / max(len(earlier), 1)
    answered = _alerts(seen, "acknowledged")
    pid = helm.watch_pid()
    assert pid is not None
    seen.told_at_s, scans = 0.0, seen.scans
    killed_s, killed_ms = time.monotonic(), time.time() * 1e3
    os.kill(pid, signal.SIGKILL)
    await _until(lambda: seen.told_at_s > 0.0)
    told_s = seen.told_at_s - killed_s
    await _until(lambda: seen.picture_ms > killed_ms)
    picture_s = seen.picture_at_s - killed_s
    await _until(lambda: seen.scans > scans)
    first = seen.readings[-1]
    await _until(lambda: seen.scans > scans + 3)
    fourth = seen.readings[-1]

    def kept(reading: dict[str, Any]) -> float:
        return len(steady & _told(reading)) / max(len(steady), 1)

    open_again = _alerts(seen, "unacknowledged") & answered
    return {
        "told": (told_s, "s until it is said"),
        "picture": (picture_s, "s until radar is drawn again"),
        "echoes": (first["at_s"] - killed_s, "s until echoes are told again; a turn is 2.5 s"),
        "steady_before": (float(len(steady)), "echoes told alike in both readings before"),
        "same_at_first": (kept(first), "of them, same number and same kind, in the first reading"),
        "same_at_fourth": (kept(fourth), "the same, three turns later"),
        "without": (without, "the same over four turns without a kill"),
        "asked_anew": (float(len(open_again)), f"of {len(answered)} answered matters"),
        "sight_kept": (float(seen.sight == "in sight"), "1: what the skipper said of the sight stands"),
    }
