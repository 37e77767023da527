"""How often are lone things seen, of those the model gives a chance?  In clear, and in the clutter of two seas.

Draws turns, runs the plot extractor on them, and sets the share of turns with a plot at each target beside the chance
the model gave.  `moonless.radar.link.detection.spike_weight` took its square root from here.
"""

from __future__ import annotations

import math

import numpy as np
import shapely

from moonless.boat import GENERIC_SETS
from moonless.echo.detector import Detector
from moonless.radar.drawn import SeaMemory, drawn_scan
from moonless.radar.expected import expected_marks
from moonless.radar.types import PointTarget, RadarPose, ScanGrid, Weather
from moonless.radar.world import World
from moonless.scan.types import Scan, ScanErrors

N_SPOKE, N_CELL, SCALE_NM, N_TURN, N_TARGET = 2048, 512, 1.5, 30, 48


def main() -> None:
    """Print one line a band of chances."""
    world = World.of_land(shapely.MultiPolygon(), radius_m=3000.0)
    radar = GENERIC_SETS["small radome"]
    cell_m = SCALE_NM * 1852.0 / N_CELL
    grid = ScanGrid(N_SPOKE, N_CELL, cell_m, cell_m)
    here = RadarPose(0.0, 0.0, 0.0)
    rng = np.random.default_rng(3)
    for words, weather in (("clear", Weather(0.0, 0.0, 0.0)), ("0.9 m", Weather(0.9)), ("1.9 m", Weather(1.9))):
        targets = []
        for k in range(N_TARGET):
            angle, reach = k * math.tau / N_TARGET, rng.uniform(500.0, 2500.0)
            rcs = 10.0 ** rng.uniform(-2.0, 1.5)
            targets.append(PointTarget(str(k), reach * math.sin(angle), reach * math.cos(angle), rcs, 1.0, 1))
        chances = expected_marks(world, radar, here, SCALE_NM, targets, weather)
        detector, memory = Detector(), SeaMemory()
        seen, false = np.zeros(N_TARGET), 0
        for turn in range(N_TURN):
            counts = drawn_scan(world, radar, here, grid, SCALE_NM, weather, targets, rng, memory=memory)
            plots = detector.detect(_scan(counts, cell_m, radar.beam_horizontal_rad, turn)).plots
            range_m, azimuth = np.asarray(plots.range_m), np.asarray(plots.azimuth_rel_rad)
            used = np.zeros(len(range_m), dtype=bool)
            for i, one in enumerate(chances):
                off = (azimuth - one.azimuth_rel_rad + math.pi) % math.tau - math.pi
                hit = (np.abs(range_m - one.range_m) < 30.0) & (np.abs(off) < radar.beam_horizontal_rad)
                seen[i] += hit.any()
                used |= hit
            false += int((~used).sum())
        chance = np.array([one.p_detect for one in chances])
        print(f"{words}: {false / N_TURN:.1f} false plots a turn")
        for low, high in ((0.0, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01)):
            band = (chance >= low) & (chance < high)
            if band.any():
                given, found = chance[band].mean(), seen[band].mean() / N_TURN
                print(f"  {int(band.sum()):2d} targets given {given:.2f}, seen {found:.2f}")


def _scan(counts: np.ndarray, cell_m: float, beam_rad: float, turn: int) -> Scan:
    time_ns = np.arange(N_SPOKE, dtype=np.int64) * 1_220_703 + turn * 2_500_000_000
    return Scan(
        counts, np.ones(N_SPOKE, dtype=np.bool_), time_ns, *(np.zeros(N_SPOKE) for _ in range(4)),
        first_cell_m=cell_m, cell_m=cell_m, full_scale=255, errors=ScanErrors(beam_rad, 12.0, 0.005, 5.0), number=turn,
    )  # fmt: skip


if __name__ == "__main__":
    main()
