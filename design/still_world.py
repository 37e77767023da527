"""Chose the figures of `moonless.echo.still_world` and of `moonless.watch.instruments.evidence.still_watch`.

    python design/still_world.py [SCENE...] [--turns N]

Plays scenes as far as the plots of each turn, as they are and with a position that drifts by 1 m/s from the eighth turn
on, and prints for several tolerances and votes how often a sound receiver would be told, and after how many seconds a
drifting one is.  Chosen on the demo and ten scenes of `moonless.data.scenes`: at 5 m, 4 m and 0.008 rad echoes that are
paired by chance bear out a shift 1.3 times as well as none at the most, and at 1.4 the drift is told after 10 to 17 s
(28 s among traffic in the open).  Held against two real runs of 350 turns: nothing told.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np

from moonless.echo import still_world
from moonless.echo.detector import Detector
from moonless.echo.types import Plots
from moonless.scan.types import Scan
from moonless.scene.file import load_scene
from moonless.scene.player import ScenePlayer
from moonless.units import NS_PER_S
from moonless.watch.pipeline.chain import Chain

SCENES = ("quiet", "rain", "squall", "crossing-traffic", "sea-state-4", "river", "dense-anchorage", "hard-turns")
BACK, FROM_TURN = 5, 8
TOLERANCES = ((8.0, 5.0, 0.012), (5.0, 4.0, 0.008))
VOTES = (1.2, 1.3, 1.4, 1.6)
EACH_M, MEAN_M = 6.0, 8.0


def turns_of(name: str, n_turns: int) -> list[tuple[Scan, Plots]]:
    """Return the scans of a scene with the pose as it was reported, and their plots."""
    scene = load_scene(Path(str(files("moonless.data.scenes").joinpath(f"{name}.toml"))))
    chain, detector, out = Chain(scene.boat), Detector(), list[tuple[Scan, Plots]]()

    def read(scan: Scan, _: int) -> list[object]:
        out.append((scan, detector.detect(scan).plots))
        return []

    chain._read_scan = read  # type: ignore[method-assign, assignment]
    for turn in ScenePlayer(scene).turns():
        events = [(t, 0, data) for t, data in turn.radar] + [(n.time_ns, 1, n.tagged()) for n in turn.nmea]
        for time_ns, which, data in sorted(events, key=lambda event: event[0]):
            (chain.feed_nmea if which else chain.feed_radar)(data, time_ns)
        if len(out) >= n_turns:
            break
    return out


def words(turns: list[tuple[Scan, Plots]], drift: float) -> list[tuple[int, still_world.Against]]:
    """Return (turn, what it says) of each against the one `BACK` before it, with a position that drifts east."""
    kept: list[still_world.Laid | None] = []
    out = []
    for k, (scan, plots) in enumerate(turns):
        since_s = np.maximum((scan.time_ns - turns[FROM_TURN][0].end_ns) / NS_PER_S, 0.0)
        degrees = drift * since_s / (111_320.0 * math.cos(math.radians(float(np.nanmean(scan.lat_deg)))))
        first = next((one for one in kept if one is not None), None)
        now = still_world.lay(replace(scan, lon_deg=scan.lon_deg + degrees), plots, first.frame if first else None)
        kept.append(now)
        before = kept[k - BACK] if k >= BACK else None
        said = None if now is None or before is None else still_world.against(before, now, may_turn=False)
        if said is not None:
            out.append((k, said))
    return out


def told_at(said: list[tuple[int, still_world.Against]], votes: float) -> int | None:
    """Return the turn at which a drift would be told."""
    last: tuple[int, np.ndarray] | None = None
    for k, one in said:
        shift = np.array([one.east_m, one.north_m])
        if np.hypot(*shift) < EACH_M or one.paired < votes * one.unmoved:
            last = None
            continue
        if last is not None and last[0] == k - 1 and np.hypot(*(0.5 * (shift + last[1]))) > MEAN_M:
            return k
        last = (k, shift)
    return None


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scenes", nargs="*", default=list(SCENES))
    parser.add_argument("--turns", type=int, default=40)
    asked = parser.parse_args()
    print("| scene | range, m | across, m | rad | votes | sound: told | drifts east, west: told after, s |")
    for name in asked.scenes:
        turns = turns_of(name, asked.turns)
        period_s = (turns[-1][0].end_ns - turns[0][0].end_ns) / NS_PER_S / (len(turns) - 1)
        for tolerance in TOLERANCES:
            still_world.RANGE_M, still_world.ACROSS_M, still_world.ACROSS_RAD = tolerance
            sound, drifts = words(turns, 0.0), [words(turns, rate) for rate in (1.0, -1.0)]
            for votes in VOTES:
                after = [None if (k := told_at(d, votes)) is None else (k - FROM_TURN) * period_s for d in drifts]
                said = " ".join("never" if s is None else f"{s:.1f}" for s in after)
                of = " | ".join(f"{t:g}" for t in tolerance)
                print(f"| {name} | {of} | {votes} | {told_at(sound, votes)} | {said} |")


if __name__ == "__main__":
    main()
