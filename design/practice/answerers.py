"""What four answerers earn on every step: who knows, who does not look, who never commits, who is careful.

    python design/practice/answerers.py [SEEDS]

The careful one knows it with the chance the model gives and leaves it open else.  Tells means over seeds, the worst
tenth of what the careful one earns, and the mean of `knowable`.
"""

from __future__ import annotations

import sys

import numpy as np

from moonless.boat.file import default_boat
from moonless.practice.ladder import LADDER, make
from moonless.practice.scoring import mark
from moonless.practice.types import CANNOT_TELL
from moonless.practice.waters import open_waters
from moonless.scene.file import demo_folder

# The first seeds are those that templates were tried on.
FROM_SEED = 5_000


def main(seeds: int) -> None:
    """Answer and print."""
    boat = default_boat()
    waters = open_waters([demo_folder() / "waters.gpkg"], boat.draught_m)
    print("step             knows  blind  never  careful (worst tenth)  knowable")
    for step in LADDER:
        knows, blind, never, careful, knowable = [], [], [], [], []
        for seed in range(FROM_SEED, FROM_SEED + seeds):
            one = make(step.key, seed, waters, boat)
            chance = np.random.default_rng(seed)
            knows.append(mark(one, one.key.right).points)
            blind.append(np.mean([mark(one, one.key.blind(chance)).points for _ in range(40)]))
            never.append(mark(one, CANNOT_TELL).points)
            tries = chance.uniform(size=40) < one.knowable
            careful.append(np.mean([mark(one, one.key.right if known else CANNOT_TELL).points for known in tries]))
            knowable.append(one.knowable)
        worst = np.sort(careful)[: max(1, seeds // 10)].mean()
        print(
            f"{step.key:15}  {np.mean(knows):5.2f}  {np.mean(blind):5.2f}  {np.mean(never):5.2f}  "
            f"{np.mean(careful):7.2f} ({worst:.2f})         {np.mean(knowable):.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
