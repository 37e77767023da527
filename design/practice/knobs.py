"""What speckle costs: how much of the empty water is painted at each gain, and what still stands out.

    python design/practice/knobs.py [SEED]

Prints, for one exercise of `by_hand` at its best sea and rain, what each gain keeps and paints.
"""

from __future__ import annotations

import sys

from moonless.boat.file import default_boat
from moonless.practice.ladder import make
from moonless.practice.steps.by_hand import KnobsKey
from moonless.practice.types import Knobs
from moonless.practice.waters import open_waters
from moonless.scene.file import demo_folder


def main(seed: int) -> None:
    """Sweep and print."""
    boat = default_boat()
    one = make("by_hand", seed, open_waters([demo_folder() / "waters.gpkg"], boat.draught_m), boat)
    assert isinstance(one.key, KnobsKey)
    best, worth = one.key.best
    print(f"best: gain {best.gain:.0f} sea {best.sea:.0f} rain {best.rain:.0f}, worth {worth:.2f}")
    print("gain  kept  painted  worth")
    for gain in range(20, 101, 5):
        knobs = Knobs(float(gain), best.sea, best.rain, 1.5)
        kept, share = one.key.keeps(knobs)
        print(f"{gain:4d}  {sum(kept)}/{len(kept)}   {share:.4f}   {one.key.value(knobs):.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 0)
