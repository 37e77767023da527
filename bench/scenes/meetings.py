"""What is said of meetings, scored: closest approaches by range, who is called and when, and calls of nothing."""

from __future__ import annotations

import math

import numpy as np

from bench.scenes.truth import Laid, Thing
from moonless.reading.types import Echo, Reading

# Closest approaches nearer than this, within so long, are compared.
CPA_M, CPA_S = 1_000.0, 600.0
# By the range at which they are told: within half a mile, two miles, and beyond.
BANDS_M = {"near": (0.0, 926.0), "middle": (926.0, 3_704.0), "far": (3_704.0, math.inf)}
# What will pass nearer than this within so long should be called; from this urgency on a call is not made in passing.
MEET_M, MEET_S, URGENT = 150.0, 180.0, 2


class Meetings:
    """Gathers one scene."""

    def __init__(self) -> None:
        self.cpa_m: list[tuple[float, float]] = []  # range when told, error
        self.able_since: dict[str, int] = {}  # by thing, when it could first be seen
        self.due_since: dict[str, int] = {}  # when it first was to be called
        self.called_at: dict[str, int] = {}
        self.false_called: set[int] = set()

    def closest(self, echo: Echo, thing: Thing, laid: Laid) -> None:
        """Take in a closest approach that is told; the truth is by straight lines from here."""
        met = _meeting(thing, laid)
        if echo.cpa_m is not None and met is not None and 0.0 < met[1] < CPA_S and met[0] < CPA_M:
            reach = math.hypot(thing.east_m - laid.own_m[0], thing.north_m - laid.own_m[1])
            self.cpa_m.append((reach, abs(echo.cpa_m - met[0])))

    def calls(self, reading: Reading, laid: Laid, whose: dict[int, Thing]) -> None:
        """Take in a turn: which near meetings are called, and which calls are of nothing."""
        for thing in laid.things:
            if thing.mark is not None or not thing.detectable:
                continue
            self.able_since.setdefault(thing.key, reading.time_ns)
            met = _meeting(thing, laid)
            if met is not None and met[0] < MEET_M and 0.0 < met[1] < MEET_S:
                self.due_since.setdefault(thing.key, reading.time_ns)
        number = {echo.id: k for k, echo in enumerate(reading.echoes)}
        for call in reading.calls:
            if call.echo is None or call.echo not in number:
                continue
            called = whose.get(number[call.echo])
            if called is not None:
                self.called_at.setdefault(called.key, reading.time_ns)
            elif call.urgency >= URGENT and reading.echoes[number[call.echo]].kind == "vessel":
                self.false_called.add(call.echo)

    def figures(self, lasted_s: float) -> dict[str, float]:
        """Return the figures by name; those that had nothing to measure are left out."""
        out: dict[str, float] = {}
        for name, (least, most) in {"": (0.0, math.inf), **{f"_{n}": b for n, b in BANDS_M.items()}}.items():
            off = [error for reach, error in self.cpa_m if least <= reach < most]
            if off:
                out[f"cpa_error{name}_m"] = float(np.sqrt(np.mean(np.square(off))))
        if self.due_since:
            out["meetings_called"] = sum(key in self.called_at for key in self.due_since) / len(self.due_since)
        for name, since in (("call_after_s", self.due_since), ("call_after_detectable_s", self.able_since)):
            # Of those that had to be called; of the others a call tells of something else.
            keys = [key for key in self.due_since if key in self.called_at and key in since]
            if keys:
                waits = [(self.called_at[key] - since[key]) / 1e9 for key in keys]
                out[name] = float(np.median(np.maximum(waits, 0.0)))
        if lasted_s > 0.0:
            out["false_calls_per_hour"] = 3600.0 * len(self.false_called) / lasted_s
        return out


def _meeting(thing: Thing, laid: Laid) -> tuple[float, float] | None:
    """Return closest approach and the time to it, by straight lines from here; None where there is no way between."""
    e, n = thing.east_m - laid.own_m[0], thing.north_m - laid.own_m[1]
    ve, vn = thing.velocity[0] - laid.own_velocity[0], thing.velocity[1] - laid.own_velocity[1]
    square = ve * ve + vn * vn
    if square < 0.25:
        return None
    time_s = -(e * ve + n * vn) / square
    return math.hypot(e + ve * time_s, n + vn * time_s), time_s
