"""How fast does the sea's return go from a sector of a radar that hears, and from one that goes deaf?

    python design/instruments/deaf_sectors.py [SCENE...]

Plays the first turns of the demo and of scenes through the chain, as they are and with a sector of 60 degrees made deaf
(its noise only) after twelve turns.  Printed for each: the least return close aboard of any sector (dB over noise), the
most that went from one turn to the next, and how many sectors the rule took for deaf.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from bench.faults import arrivals as put

from moonless.chart.library import Chart
from moonless.scene.file import load_scene
from moonless.scene.player import ScenePlayer
from moonless.scene.story import open_demo
from moonless.scene.types import Scene
from moonless.watch.instruments.radar import deaf_sectors
from moonless.watch.pipeline.chain import Chain

TURNS, DEAF_FROM = 24, 12
SCENES = ("demo", "hard-turns", "river", "sea-state-4", "quiet")


def arrivals(scene: Scene, is_deaf: bool) -> Iterator[put.Arrival]:
    """Yield what comes in."""
    rng = np.random.default_rng(1)
    for number, turn in enumerate(ScenePlayer(scene).turns()):
        if number >= TURNS:
            return
        came = [put.Arrival(t, put.RADAR, data) for t, data in turn.radar]
        came += [put.Arrival(n.time_ns, put.NMEA, n.sentence.encode() + b"\r\n") for n in turn.nmea]
        for one in sorted(came, key=lambda arrival: arrival.time_ns):
            deaf = is_deaf and number >= DEAF_FROM and one.link == put.RADAR
            yield put.without_hearing(one, (math.radians(330.0), math.radians(30.0)), rng) if deaf else one


def main(names: list[str]) -> None:
    """Print a line for each scene, sound and with a deaf sector."""
    for name in names or SCENES:
        folder = Path("src/moonless/data/scenes")
        scene = open_demo() if name == "demo" else load_scene(folder / f"{name}.toml")
        for is_deaf in (False, True):
            levels: list[np.ndarray] = []
            sectors = deaf_sectors.DeafSectors
            took, n_deaf = sectors.take, 0

            def take(self, scan, picture, took=took, levels=levels):  # type: ignore[no-untyped-def]
                nonlocal n_deaf
                levels.append(deaf_sectors._returns(scan, picture)[0])
                took(self, scan, picture)
                n_deaf = max(n_deaf, int(self._deaf.sum()))

            sectors.take = take  # type: ignore[method-assign]
            chain = Chain(scene.boat, Chart.open(list(scene.waters.paths)) if scene.waters.paths else None)
            for one in arrivals(replace(scene), is_deaf):
                feed = chain.feed_radar if one.link == put.RADAR else chain.feed_nmea
                feed(one.data, one.time_ns, is_datagram=one.is_datagram)
            sectors.take = took  # type: ignore[method-assign]
            seen = np.array(levels)
            words = f"{name}{' with a deaf sector' if is_deaf else ''}: least {np.nanmin(seen):.1f} dB"
            lost_db = np.nanmax(seen[:-1] - seen[1:])
            print(f"{words}, most lost in a turn {lost_db:.1f} dB, deaf at most {n_deaf} of 36", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
