"""How many of ten turns must show a thing in the sea before it is trusted: misses against waves taken for things.

    python design/practice/trusted.py [SEEDS]

Prints, for each number of turns: the chance that a thing is missed which shows in 40, 60, 80 % of turns, and the share
of places in the painted sea of real exercises (places without anything) that would be trusted.
"""

from __future__ import annotations

import sys

import numpy as np
from scipy import ndimage

from moonless.boat.file import default_boat
from moonless.practice.ladder import make
from moonless.practice.raw import painted
from moonless.practice.stage import at_least
from moonless.practice.steps.clutter import N_TURNS
from moonless.practice.waters import open_waters
from moonless.scene.file import demo_folder


def main(seeds: int) -> None:
    """Sweep and print."""
    boat = default_boat()
    waters = open_waters([demo_folder() / "waters.gpkg"], boat.draught_m)
    counts = np.zeros(N_TURNS + 1)
    total = 0
    for seed in range(900, 900 + 4 * seeds):
        one = make("sea_or_float", seed, waters, boat)
        if not one.key.right.is_withheld or one.pictures is None:
            continue
        grid = one.pictures.grid
        # Within 0.4 NM, where the sea is.  Shown: half of a beam by a pulse is painted, as an echo's body is.
        far = int(740.0 / grid.cell_m)
        looks = [painted(c, grid, one.view).astype(np.float32) for c in one.pictures.counts]
        shown = np.stack([ndimage.uniform_filter(look, (8, 4), mode="wrap") >= 0.5 for look in looks])
        often = shown[:, ::8, 20:far:5].sum(axis=0)
        counts += np.bincount(often.ravel(), minlength=N_TURNS + 1)
        total += often.size
    print("turns  missed at 40 %  60 %  80 %   sea places trusted")
    for wanted in range(2, 9):
        missed = [1.0 - at_least([p] * N_TURNS, wanted) for p in (0.4, 0.6, 0.8)]
        trusted = counts[wanted:].sum() / max(total, 1)
        print(f"{wanted:5d}  {missed[0]:13.3f} {missed[1]:5.3f} {missed[2]:5.3f}   {trusted:.4f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
