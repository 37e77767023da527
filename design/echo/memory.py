"""What does the memory over the ground gain?  A steady point in spiky sea, turn by turn.

K clutter of shape 0.8, 10 dB over the noise, new each turn; a steady point.  Prints, for each SNR of the point, the
share of turns that show it at the start (turns 2 and 3, hardly any memory) and later (turn 6 on), and the plots a turn,
of which one is the point.

    python design/echo/memory.py
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from bench.made.video import Made

from moonless.echo.detector import Detector

SEEDS, TURNS = 4, 11


def main() -> None:
    for snr in (15, 17, 19, 21, 23, 25):
        early, late, plots = [], [], []
        for seed in range(SEEDS):
            made = Made(seed=seed, n_spoke=360, n_cell=300, cell_m=6.0, pulse_m=18.0)
            made.point(2.0, 900.0, snr)
            detector = Detector()
            for turn in range(TURNS):
                sea = 10.0 * made.texture(0.8, 4, 3)
                sea[:, 220:] = 0.0
                found = detector.detect(made.scan(made.counts(made.draw(sea)), number=turn)).plots
                hit = np.any((np.abs(found.range_m - 900) < 20) & (np.abs(found.azimuth_rel_rad - 2.0) < 0.06))
                if turn in (1, 2):
                    early.append(hit)
                if turn >= 5:
                    late.append(hit)
                    plots.append(len(found))
        print(f"{snr} dB  early {np.mean(early):.2f}  later {np.mean(late):.2f}  plots a turn {np.mean(plots):.1f}")


if __name__ == "__main__":
    main()
