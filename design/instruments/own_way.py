"""How far may a receiver's course and speed lie from its own places before one of them is wrong?

    python design/instruments/own_way.py

Boats of 8 and 15 m/s run straight, turn hard and stop, with receivers whose places have noise (white, and wandering
with a memory of 40 s) and whose motion is smoothed by 0.5 to 2.5 s; or whose motion is wrong from the beginning.
Printed for each lag allowed: false alarms an hour, by smoothing, and how long each fault takes to be seen (seconds, the
middle and the worst of 20; "-": one at least was not seen in 30 s).
"""

from __future__ import annotations

import math

import numpy as np

from moonless.constants import EARTH_MEAN_RADIUS_M
from moonless.units import NS_PER_S
from moonless.watch.instruments.evidence import own_way

SMOOTHED_S = (0.5, 1.5, 2.5)
FAULTS = {
    "reversed": lambda c, v, t: (c + math.pi, v),
    "40 degrees off": lambda c, v, t: (c + math.radians(40.0), v),
    "in km/h": lambda c, v, t: (c, 1.852 * v),
    "halved": lambda c, v, t: (c, 0.5 * v),
    "to nought in 10 s": lambda c, v, t: (c, v * max(0.0, 1.0 - t / 10.0)),
}


def run(rng: np.random.Generator, speed: float, smoothed_s: float, seconds: int, fault: str = "") -> tuple[int, float]:
    """Return how often a receiver contradicted itself, and when first (s; infinite: never).

    A manoeuvre each 40 s: a turn of 60 to 150 degrees at 10 to 25 degrees a second, or a stop.
    """
    way, told, first = own_way.OwnWay(), 0, math.inf
    east = north = course = 0.0
    wanted, now, rate = 0.0, speed, 0.3
    said_e, said_n, wander = 0.0, speed, np.zeros(2)
    keep = math.exp(-1.0 / 40.0)
    for k in range(seconds * 10):
        if not fault and k % 400 == 200:
            if rng.random() < 0.7:
                wanted, rate = course + rng.choice((-1, 1)) * rng.uniform(1.0, 2.6), math.radians(rng.uniform(10, 25))
            else:
                speed = 0.3 if speed > 2.0 else rng.uniform(6.0, 16.0)
        course += float(np.clip(wanted - course, -rate * 0.1, rate * 0.1))
        now += float(np.clip(speed - now, -0.15, 0.1))
        v_e, v_n = now * math.sin(course), now * math.cos(course)
        east, north = east + 0.1 * v_e, north + 0.1 * v_n
        said_e, said_n = said_e + (v_e - said_e) * 0.1 / smoothed_s, said_n + (v_n - said_n) * 0.1 / smoothed_s
        if k % 10:
            continue
        wander = keep * wander + math.sqrt(1.0 - keep * keep) * 4.0 * rng.standard_normal(2)
        at = np.array([east, north]) + wander + 1.0 * rng.standard_normal(2)
        c, v = math.atan2(said_e, said_n), math.hypot(said_e, said_n) + 0.1 * rng.standard_normal()
        if fault:
            c, v = FAULTS[fault](c, v, k / 10.0)
        lat, lon = 50.0 + math.degrees(at[1] / EARTH_MEAN_RADIUS_M), math.degrees(at[0] / EARTH_MEAN_RADIUS_M)
        lon /= math.cos(math.radians(50.0))
        if way.fix(k * NS_PER_S // 10, lat, lon, (c, v)):
            told, first = told + 1, min(first, k / 10.0)
    return told, first


def main() -> None:
    """Print the table."""
    for lag_s in (0.0, 1.5, 2.5, 4.0):
        own_way.LAG_S = lag_s
        rng = np.random.default_rng(1)
        false = [sum(run(rng, v, s, 3600)[0] for v in (8.0, 15.0)) / 2.0 for s in SMOOTHED_S]
        words = []
        for fault in FAULTS:
            firsts = sorted(run(rng, 8.0, 1.0, 30, fault)[1] for _ in range(20))
            words.append(f"{fault} {firsts[10]:.0f}, " + (f"{firsts[-1]:.0f}" if firsts[-1] < 30 else "-"))
        print(f"lag {lag_s:3.1f} s: false alarms an hour {false}; " + "; ".join(words), flush=True)


if __name__ == "__main__":
    main()
