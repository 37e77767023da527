"""How well own motion tells a steady error of bearings: `python design/wild/steady_bearing.py [SEED ...]`.

Plays wild scenes through the whole chain and prints, for each, the true error, what
`moonless.watch.instruments.evidence.steady_bearing` says at the end and its sigma, and what the chart says.  Seeds for
telling are refused.
"""

from __future__ import annotations

import math
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from bench.scenes.built_in import play  # noqa: E402
from bench.scenes.score import Score  # noqa: E402
from bench.scenes.stage import WildStage  # noqa: E402
from bench.scenes.wild import TELLING  # noqa: E402

from moonless.scene.wild.player import WildPlayer  # noqa: E402
from moonless.scene.wild.recipe import wild_of  # noqa: E402
from moonless.watch.instruments.faults import FaultWatch  # noqa: E402

# Boats of 2.5 to 9.5 m/s over charts drawn right, a little off and bent.
SEEDS = (162, 171, 179, 183, 192)


def told_of(seed: int) -> str:
    """Return a line about one scene."""
    wild = wild_of(seed)
    by_motion: list[Any] = [None]
    by_chart: list[Any] = [None]
    picture, add = FaultWatch.picture, Score.add

    def seen(self: FaultWatch, *turn: Any) -> None:
        picture(self, *turn)
        by_motion[0] = self.bearing_by_motion or by_motion[0]

    def added(self: Score, turn: Any, reading: Any) -> None:
        by_chart[0] = reading.registration.heading_bias_deg
        add(self, turn, reading)

    FaultWatch.picture = seen  # type: ignore[assignment, method-assign]
    Score.add = added  # type: ignore[method-assign]
    try:
        with tempfile.TemporaryDirectory() as folder:
            stage = WildStage(WildPlayer(wild, Path(folder)))
            play(stage)
    finally:
        FaultWatch.picture = picture  # type: ignore[method-assign]
        Score.add = add  # type: ignore[method-assign]
    found = by_motion[0]
    motion = "nothing" if found is None else f"{_deg(found.bias_rad):5.2f} +- {_deg(found.sigma_rad):.2f}"
    chart = "nothing" if by_chart[0] is None else f"{by_chart[0]:5.2f}"
    speed = wild.scene.own.speed
    return f"{seed}: truly {stage.heading_bias_deg:5.2f} deg, own motion {motion}, chart {chart}; {speed:.1f} m/s"


def _deg(angle_rad: float) -> float:
    return math.degrees(angle_rad)


def main() -> None:
    """Print a line for each scene."""
    seeds = [int(one) for one in sys.argv[1:]] or list(SEEDS)
    if set(seeds) & set(TELLING):
        raise SystemExit(f"seeds {TELLING.start} to {TELLING.stop - 1} are for telling: they are not looked into")
    for seed in seeds:
        print(told_of(seed), flush=True)


if __name__ == "__main__":
    main()
