"""How well are centroids known?  Made points of 6 to 40 dB against the sigmas the plots carry.

Prints, per geometry and SNR, the root mean square error of azimuth (in beams) and range (in pulses), and z, the rms of
error over the plot's own sigma: 1 where the sigma is what the error is.  No one sigma is that for all echoes: the same
figure stands for an echo that is steady through the beam ("slow": z of azimuth 0.05 to 0.73, the sigma too wide the
stronger it is) and for one that changes from spoke to spoke ("fast": 0.73 to 2.27, too narrow).  AZIMUTH_NOISE,
AZIMUTH_FLOOR, SCINTILLATION, RANGE_NOISE and RANGE_FLOOR of ``moonless.echo.plots`` lie between the two; z of range is
0.08 to 1.96.  The last lines give the medians.

    python design/echo/sigma.py
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from bench.made.video import Made

from moonless.echo.detector import Detector

GEOMETRIES = (
    dict(n_spoke=512, n_cell=300, cell_m=6.0, beam_deg=4.0, pulse_m=24.0),
    dict(n_spoke=2048, n_cell=500, cell_m=4.0, beam_deg=3.9, pulse_m=37.5),
    dict(n_spoke=1024, n_cell=400, cell_m=6.0, beam_deg=1.2, pulse_m=12.0),
    dict(n_spoke=360, n_cell=300, cell_m=8.0, beam_deg=2.5, pulse_m=12.0),
)


def main() -> None:
    zs: dict[bool, list[tuple[float, float]]] = {False: [], True: []}
    for geometry in GEOMETRIES:
        made = Made(**geometry, seed=4)
        print(geometry)
        for fast in (False, True):
            for snr in (6, 10, 15, 20, 30, 40):
                errors = []
                detector = Detector()
                for turn in range(6):
                    made.clear()
                    truth = []
                    for k in range(24):
                        azimuth = k * np.pi / 12 + made.rng.uniform(-0.05, 0.05)
                        range_m = made.rng.uniform(200, (made.n_cell - 20) * made.cell_m)
                        if fast:  # a target that fluctuates from spoke to spoke
                            before = made.power.copy()
                            made.point(azimuth, range_m, snr)
                            made.power = before + (made.power - before) * made.rng.exponential(1.0, (made.n_spoke, 1))
                        else:
                            made.point(azimuth, range_m, snr)
                        truth.append((azimuth, range_m))
                    plots = detector.detect(made.scan(number=turn)).plots
                    for azimuth, range_m in truth:
                        off = np.remainder(plots.azimuth_rel_rad - azimuth + np.pi, 2 * np.pi) - np.pi
                        ok = (np.abs(off) < made.beam_rad) & (np.abs(plots.range_m - range_m) < 1.5 * made.pulse_m)
                        if np.any(ok):
                            i = np.flatnonzero(ok)[np.argmax(plots.strength_db[ok])]
                            errors.append(
                                (
                                    off[i] / made.beam_rad,
                                    (plots.range_m[i] - range_m) / made.pulse_m,
                                    off[i] / plots.azimuth_sigma_rad[i],
                                    (plots.range_m[i] - range_m) / plots.range_sigma_m[i],
                                    plots.range_extent_m[i] > 0,
                                    plots.cross_extent_m[i] > 0,
                                )
                            )
                e = np.asarray(errors, dtype=float)
                if len(e) < 10:
                    continue
                rms = np.sqrt(np.mean(e**2, axis=0))
                zs[fast].append((float(rms[2]), float(rms[3])))
                print(
                    f"  {'fast' if fast else 'slow'} {snr:2d} dB n {len(e):3d}"
                    f"  azimuth {rms[0]:.3f} beam (z {rms[2]:.2f})"
                    f"  range {rms[1]:.3f} pulse (bias {np.mean(e[:, 1]):+.3f}, z {rms[3]:.2f})"
                    f"  called extended: range {np.mean(e[:, 4]):.2f} cross {np.mean(e[:, 5]):.2f}"
                )
    for fast, found in zs.items():
        (low_a, low_r), (middle_a, middle_r), (high_a, high_r) = np.percentile(found, (0, 50, 100), axis=0)
        print(
            f"{'fast' if fast else 'slow'}: z of azimuth {low_a:.2f} to {high_a:.2f}, median {middle_a:.2f};"
            f" of range {low_r:.2f} to {high_r:.2f}, median {middle_r:.2f}"
        )


if __name__ == "__main__":
    main()
