"""Is the tail of box over floor a straight line in (-ln p)^power?

Chose TAIL_POWER of ``moonless.echo.background.clutter``.

For noise and for K clutter of several shapes and patch sizes, 20 dB over the noise: fits the line through the measured
rates 0.1 to 0.004 and prints what rate the threshold so drawn for 1e-4 really has, over 1e-4.

    python design/echo/tail.py
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from bench.made.video import Made

from moonless.echo.background.clutter import MEASURED_RATES
from moonless.echo.detector import Detector

POWERS = (0.30, 0.36, 0.42, 0.48, 0.60, 1.0)
SEA_COLS = 320
TURNS = 20


def excesses(shape: float | None, patch: tuple[int, int]) -> np.ndarray:
    """Box over floor in dB, all boxes of all turns."""
    made = Made(n_spoke=1024, n_cell=512, cell_m=6.0, beam_deg=3.9, pulse_m=18.0)
    detector = Detector()
    out = []
    for turn in range(TURNS):
        sea = np.zeros((made.n_spoke, made.n_cell))
        if shape is not None:
            sea[:, :SEA_COLS] = 100.0 * made.texture(shape, *patch)[:, :SEA_COLS]
        seen = detector.examine(made.scan(made.counts(made.draw(sea)), number=turn))
        out.append((seen.box_db - seen.floor_db)[:, : (SEA_COLS - 30) // seen.grid.col_cells].ravel())
    return np.concatenate(out)


def main() -> None:
    rates = np.asarray(MEASURED_RATES)
    print("case".ljust(22) + "".join(f"{p:>8.2f}" for p in POWERS))
    for shape, patch in [(None, (1, 1))] + [(s, p) for s in (0.5, 1.0, 2.0, 10.0) for p in ((11, 3), (22, 12), (6, 1))]:
        z = excesses(shape, patch)
        levels = np.quantile(z, 1.0 - rates)
        row = []
        for power in POWERS:
            x = (-np.log(rates)) ** power
            slope, start = np.polyfit(x, levels, 1)
            threshold = start + slope * (-math.log(1e-4)) ** power
            row.append(float(np.mean(z > threshold)) / 1e-4)
        name = "noise" if shape is None else f"K {shape} patch {patch}"
        print(name.ljust(22) + "".join(f"{r:8.2f}" for r in row), flush=True)


if __name__ == "__main__":
    main()
