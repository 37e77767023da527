"""A whole night run: one track through the waters, and at each of its stations the question that belongs there."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from moonless.practice.stage import off
from moonless.practice.steps.draw import Draw, Template
from moonless.practice.types import Exercise, Place

# Stations on one run, and how far apart at the least.
STATIONS = 6
_LEG_M = (500.0, 1400.0)


def track(draw: Draw) -> tuple[Place, ...]:
    """Return the stations of the run that ``draw.seed`` belongs to; fewer where the water ends."""
    chance = np.random.default_rng([draw.seed // STATIONS, 303])
    for _ in range(40):
        place = draw.waters.place(chance, (80.0, 900.0))
        if place is None:
            return ()
        stations, course = [place], float(chance.uniform(0.0, 2.0 * math.pi))
        for _ in range(60):
            if len(stations) == STATIONS:
                return tuple(stations)
            turn = float(chance.normal(0.0, 0.6))
            reach = float(chance.uniform(*_LEG_M))
            nxt = off(stations[-1], course + turn, reach)
            if draw.waters.is_clear(stations[-1], nxt):
                stations.append(nxt)
                course += turn
    return ()


def night_run(draw: Draw, templates: Mapping[str, Template]) -> Exercise | None:
    """The station ``seed % STATIONS`` of run ``seed // STATIONS``, with any question that fits there."""
    stations = track(draw)
    number = draw.seed % STATIONS
    if number >= len(stations):
        return None
    order = draw.chance.permutation(np.array(list(templates)))
    for name in order:
        made = templates[str(name)](replace(draw, here=stations[number]))
        if made is not None:
            where = f"Station {number + 1} of {STATIONS} of a night's run."
            return replace(made, step="night_run", told=(where, *made.told))
    return None
