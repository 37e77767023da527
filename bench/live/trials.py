"""A screen that asks for 300 trials a second: how old the readings are meanwhile, and whether its newest is answered.

    python -m bench trials

The demo on live links under the real helm; the same screen first asks nothing.
"""

from __future__ import annotations

import asyncio
import statistics
import time
from collections.abc import Iterator
from datetime import datetime

from bench.live.rig import LiveHelm, Screen
from bench.result import Result
from moonless.helm.web import protocol

NAMES = ("trials.flood",)
SETTLED_S, EACH_S, A_SECOND = 60.0, 30.0, 300


def run(names: list[str]) -> Iterator[Result]:
    """Yield the age of readings on the screen, and the seconds until the last trial is answered."""
    with LiveHelm() as helm:
        helm.send()
        quiet, flooded, answered_s, n_answers = asyncio.run(_watch(helm))
    yield Result("trials.flood.age", statistics.median(flooded), "s, the middle", "without", statistics.median(quiet))
    yield Result("trials.flood.age_worst", max(flooded), "s, the worst", "without", max(quiet))
    yield Result("trials.flood.answers", n_answers / EACH_S, f"answers a second to {A_SECOND} questions a second")
    yield Result("trials.flood.answered", answered_s, "s until the last one is answered")


async def _watch(helm: LiveHelm) -> tuple[list[float], list[float], float, int]:
    screen = await Screen.on(helm.address)
    ages: list[float] = []
    courses: list[tuple[float, float | None]] = []  # when, and the course that was tried

    async def take_in() -> None:
        async for kind, frame in screen.frames():
            if kind == protocol.READING and (reading := protocol.decode_json(frame))["echoes"]:
                ages.append(time.time() - datetime.fromisoformat(reading["time"]).timestamp())
            elif kind == protocol.TRIAL:
                courses.append((time.monotonic(), protocol.decode_json(frame).get("course_deg")))

    taking = asyncio.create_task(take_in())
    await asyncio.sleep(SETTLED_S)
    ages.clear()
    await asyncio.sleep(EACH_S)
    quiet = list(ages)
    ages.clear()
    courses.clear()
    begin = time.monotonic()
    for k in range(int(EACH_S * A_SECOND)):
        await screen.ask(do="trial", value={"course_deg": float(k % 360), "speed_kn": 6.0, "delay_s": 0.0})
        if (left_s := begin + (k + 1) / A_SECOND - time.monotonic()) > 0.0:
            await asyncio.sleep(left_s)
    flooded, n_answers = list(ages), len(courses)
    last, asked_s = 123.0, time.monotonic()
    await screen.ask(do="trial", value={"course_deg": last, "speed_kn": 6.0, "delay_s": 0.0})
    while not (courses and round(courses[-1][1] or 0.0, 6) == last):
        assert time.monotonic() - asked_s < 30.0, f"the last trial is not answered: {courses[-3:]}"
        await asyncio.sleep(0.01)
    answered_s = time.monotonic() - asked_s
    taking.cancel()
    await asyncio.gather(taking, return_exceptions=True)
    return quiet, flooded, answered_s, n_answers
