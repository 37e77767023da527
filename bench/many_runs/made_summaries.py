"""Summaries made by hand, for tests and benches: things that stand, boats at anchor, marks, cells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from moonless.frames import LocalFrame
from moonless.memory.lattice import key_of
from moonless.memory.summary import Cells, MarkSeen, Run, RunSummary, Sighting
from moonless.units import NS_PER_S

FRAME = LocalFrame(-12.4, -118.3)
T0 = 1_840_000_000 * NS_PER_S
DAY_NS = 86_400 * NS_PER_S


@dataclass
class Water:
    """What there is to see, metres about `FRAME`."""

    things: tuple[tuple[float, float], ...] = ((0.0, 0.0), (400.0, 300.0))
    anchorage: tuple[float, float] | None = (-900.0, 200.0)
    p_told: float = 0.9


def sighting(east_m: float, north_m: float, time_ns: int = T0, **given: object) -> Sighting:
    """Return a sighting at a place."""
    lat, lon = FRAME.to_geographic(east_m, north_m)
    values: dict[str, object] = dict(
        lat_deg=lat, lon_deg=lon, sigma_m=6.0, spread_m=2.0, first_ns=time_ns, last_ns=time_ns + 60 * NS_PER_S,
        looks=8, seen=7, told=20, confidence=0.9, length_m=None, is_vessel=False,
    )  # fmt: skip
    return Sighting(**(values | given))  # type: ignore[arg-type]


def mark(name: str, east_m: float, north_m: float, **given: object) -> MarkSeen:
    """Return a mark told where it is charted, unless something else is said."""
    lat, lon = FRAME.to_geographic(east_m, north_m)
    values: dict[str, object] = dict(
        object="BOYCAR", name=name, cell="C", feature=name, lat_deg=lat, lon_deg=lon, told=20, missed=0, looks=0,
        p_if_there=0.0, offset_m=4.0, range_m=600.0,
    )  # fmt: skip
    return MarkSeen(**(values | given))  # type: ignore[arg-type]


def cells(radius_m: float = 2000.0, looks: int = 6, **given: int) -> Cells:
    """Return cells all looked at, within a square about the middle."""
    step = np.arange(-radius_m, radius_m, 100.0)
    east, north = (a.ravel() for a in np.meshgrid(step, step))
    key = np.unique(key_of(*FRAME.to_geographic(east, north)))
    ones = np.ones(len(key), dtype=np.int32)
    counts = {name: ones * given.get(name, 0) for name in ("hidden", "clutter", "moving", "vessels", "east", "north")}
    return Cells(key, ones * looks, *counts.values())


def run(number: str, night: float = 0.0, boat: str = "one", turns: int = 30, **given: object) -> Run:
    """Return the run of a night."""
    begins = T0 + round(night * DAY_NS)
    values: dict[str, object] = dict(
        number=number, boat=boat, source=f"{number}.mcap", begins_ns=begins, ends_ns=begins + 600 * NS_PER_S,
        turns=turns, looks=8, wind_speed=4.0, wind_from_deg=200.0, heading_bias_deg=1.0, east_m=2.0, north_m=-1.0,
    )  # fmt: skip
    return Run(**(values | given))  # type: ignore[arg-type]


def night(k: int, water: Water | None = None, boat: str = "one", seed: int = 0) -> RunSummary:
    """Return the summary of night ``k`` over a water: each thing told or not by chance, places off by their sigma."""
    there, rng = water or Water(), np.random.default_rng([seed, k])
    begins = T0 + k * DAY_NS
    told = [
        sighting(e + float(rng.normal(0.0, 5.0)), n + float(rng.normal(0.0, 5.0)), begins)
        for e, n in there.things
        if rng.random() < there.p_told
    ]
    if there.anchorage is not None:
        for _ in range(int(rng.integers(1, 4))):
            east, north = np.array(there.anchorage) + rng.uniform(-110.0, 110.0, 2)
            told.append(sighting(float(east), float(north), begins))
    return RunSummary(run(f"{boat}{k:05d}", float(k), boat), tuple(told), (mark("North", 100.0, 800.0),), cells())
