"""What does following gain, and what does looking farther back?  A moving point that fades in spiky sea.

K clutter of shape 0.8, 10 dB over the noise, new each turn; a point that runs away at 6 m/s and fluctuates from turn
to turn (Swerling 1) about the SNR named.  Prints, for still memory alone and with straight runs followed, for six turns
and eight, the share of turns from the sixth on that show it, and the plots a turn.

    python design/echo/follow.py
"""

from __future__ import annotations

import sys
from collections import deque
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from bench.made.video import Made

from moonless.echo.background import scan_correlation
from moonless.echo.detector import Detector

SEEDS, TURNS = 6, 20
DESIGNS = (("still, 6 turns, 1e-3", False, 6, 1e-3), ("runs, 6 turns, 1e-3", True, 6, 1e-3),
           ("runs, 8 turns, 1e-3", True, 8, 1e-3), ("runs, 8 turns, 3e-4", True, 8, 3e-4))  # fmt: skip


def share(snr_db: float, follow: bool, turns: int, chance: float) -> tuple[float, float]:
    """Return (share of turns that show the point, plots a turn)."""
    scan_correlation.P_CHANCE = chance
    hits, plots = [], []
    for seed in range(SEEDS):
        made = Made(seed=seed, n_spoke=360, n_cell=300, cell_m=6.0, pulse_m=18.0)
        detector = Detector()
        detector._memory._turns = deque(maxlen=turns - 1)
        if not follow:
            detector._memory.followed = lambda met: np.zeros(met.hits.shape, np.bool_)  # type: ignore[method-assign]
        for turn in range(TURNS):
            made.clear()
            range_m = 600.0 + 15.0 * turn
            made.point(2.0, range_m, snr_db + 10.0 * np.log10(made.rng.exponential()))
            sea = 10.0 * made.texture(0.8, 4, 3)
            sea[:, 220:] = 0.0
            found = detector.detect(made.scan(made.counts(made.draw(sea)), number=turn)).plots
            if turn >= 5:
                hits.append(
                    np.any((np.abs(found.range_m - range_m) < 20) & (np.abs(found.azimuth_rel_rad - 2.0) < 0.06))
                )
                plots.append(len(found))
    return float(np.mean(hits)), float(np.mean(plots))


def main() -> None:
    for snr in (20, 24, 28, 32):
        for name, *design in DESIGNS:
            found, plots = share(snr, *design)
            print(f"{snr} dB  {name:20s}  shown {found:.2f}  plots a turn {plots:.1f}")


if __name__ == "__main__":
    main()
