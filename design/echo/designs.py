"""The detectors that were not taken, beside the one that was: false alarms where it hurts.

All work on the same boxes and strips.  Each fixed one has its factor set in noise, by trial, to the design rate of
1e-3; then each is shown other backgrounds, and a weak point beside a strong one (30 dB over it, 60 m nearer).  Prints
false alarms over the design rate, and how often the weak point (box 12 dB over noise) passes.

    CA        mean of both sides                GO        the higher mean
    OS        3/4 rank of both sides together   GO-OS     the higher median
    learnt    the higher median, solid echoes left out, and a factor learnt from each patch's own tail

    python design/echo/designs.py
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from bench.made.video import Made

from moonless.echo.detector import Detector
from moonless.echo.kernels.video_kernels import blocks_kernel, boxes_kernel

DESIGN = 1e-3
GEOMETRY = dict(n_spoke=720, n_cell=320, cell_m=6.0, beam_deg=3.9, pulse_m=18.0)
SEA = 220


def background(name: str, made: Made) -> np.ndarray:
    """Mean clutter power of one turn."""
    power = np.zeros((made.n_spoke, made.n_cell))
    if name.startswith("K"):
        power[:, :SEA] = 100.0 * made.texture(float(name[1:]), 8, 3)[:, :SEA]
    elif name == "edge":
        power[:, :160] = 99.0
    return power


def sides(strip: np.ndarray, guard: int, window: int) -> tuple[np.ndarray, np.ndarray]:
    """Windows on the near and the far side, (n_row, n_col, window), NaN past the ends."""
    pad = np.pad(strip, ((0, 0), (guard + window, guard + window)), constant_values=np.nan)
    view = np.lib.stride_tricks.sliding_window_view(pad, window, axis=1)
    n = strip.shape[1]
    return view[:, :n], view[:, 2 * guard + window + 1 : 2 * guard + window + 1 + n]


def floors(strip: np.ndarray, guard: int, window: int) -> dict[str, np.ndarray]:
    """The fixed designs' references."""
    near, far = sides(strip, guard, window)
    both = np.concatenate((near, far), axis=2)
    with np.errstate(all="ignore"):
        return {
            "CA": np.nanmean(both, axis=2),
            "GO": np.fmax(np.nanmean(near, axis=2), np.nanmean(far, axis=2)),
            "OS": np.nanquantile(both, 0.75, axis=2),
            "GO-OS": np.fmax(np.nanmedian(near, axis=2), np.nanmedian(far, axis=2)),
        }


def main() -> None:
    import warnings

    warnings.simplefilter("ignore", RuntimeWarning)  # windows past the ends are all NaN
    factor: dict[str, float] = {}
    print("background".ljust(12) + "".join(k.rjust(9) for k in ("CA", "GO", "OS", "GO-OS", "learnt")))
    for name in ("noise", "K0.5", "K1", "K5", "edge", "beside"):
        made = Made(**GEOMETRY, seed=11)
        detector = Detector(p_false=DESIGN)
        passed = dict.fromkeys(("CA", "GO", "OS", "GO-OS", "learnt"), 0.0)
        tested = 0
        ratios: dict[str, list[np.ndarray]] = {k: [] for k in passed}
        for turn in range(10):
            spots = []
            if name == "beside":
                made.clear()
                for k in range(20):
                    azimuth, range_m = 0.31 * k, 900.0 + 20.0 * (k % 7)
                    made.point(azimuth, range_m, 13.5)
                    made.point(azimuth, range_m - 60.0, 43.5)
                    spots.append((azimuth, range_m))
            scan = made.scan(made.counts(made.draw(background(name, made))), number=turn)
            detector.detect(scan)
            seen = detector.last_examined
            assert seen is not None
            if turn < 4:
                continue
            grid, video = seen.grid, seen.video
            total, weight = np.empty(seen.box_db.shape, np.float32), np.empty(grid.n_row, np.int64)
            blocks_kernel(
                scan.echo, scan.is_received, grid.row_edge, grid.col_cells, video.power, video.spike, video.reach,
                total, weight,
            )  # fmt: skip
            strip, box = np.empty_like(total), np.empty_like(total)
            boxes_kernel(total, weight, 1, grid.box_rows, grid.box_cols, grid.col_cells, grid.n_cell, strip, box)
            over = {k: box / f for k, f in floors(strip, grid.guard, grid.window).items()}
            # "learnt" is held against its own threshold: 1 is the edge.
            over["learnt"] = 10.0 ** ((seen.box_db - seen.threshold_db) / 10.0)
            if name == "beside":
                for azimuth, range_m in spots:
                    a = round(azimuth / (2 * np.pi) * grid.n_row) % grid.n_row
                    c = round(range_m / made.cell_m / grid.col_cells)
                    for k in passed:
                        near = over[k][max(0, a - 1) : a + 2, c : c + 2]
                        passed[k] += bool(np.any(near > factor.get(k, 1.0)))
                    tested += 1
                continue
            cols = {"noise": slice(None), "edge": slice(146 // grid.col_cells, 174 // grid.col_cells)}.get(
                name, slice(0, 200 // grid.col_cells)
            )
            for k in passed:
                ratios[k].append(over[k][:, cols].ravel())
        if name == "noise":
            for k in ("CA", "GO", "OS", "GO-OS"):
                factor[k] = float(np.quantile(np.concatenate(ratios[k]), 1.0 - DESIGN))
        row = []
        for k in passed:
            if name == "beside":
                row.append(f"{passed[k] / tested:9.2f}")
            else:
                row.append(f"{np.mean(np.concatenate(ratios[k]) > factor.get(k, 1.0)) / DESIGN:9.2f}")
        print(name.ljust(12) + "".join(row), flush=True)


if __name__ == "__main__":
    main()
