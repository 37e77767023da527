"""A long ship is a plot, near and far, on every range scale, however she lies; never only a shore."""

from __future__ import annotations

import math

import numpy as np
import pytest
from bench.made.video import Made

from moonless.echo.detector import Detector

MILE_M = 1852.0


@pytest.mark.parametrize("scale_nm", [0.5, 0.75, 1.5, 3.0, 6.0, 12.0])
@pytest.mark.parametrize("aspect_deg", [0.0, 45.0, 90.0])
@pytest.mark.parametrize("snr_db", [35.0, 55.0])
def test_a_ship_of_200_m_is_a_plot_within_two_turns(scale_nm: float, aspect_deg: float, snr_db: float) -> None:
    reach_m = scale_nm * MILE_M
    made = Made(
        n_spoke=1024, n_cell=512, cell_m=reach_m / 512, beam_deg=2.0 if scale_nm < 6.0 else 4.0,
        pulse_m=max(12.0, reach_m / 100.0),
    )  # fmt: skip
    # Three ships of one picture, a third of a turn apart.
    ships = [(bearing, share * reach_m) for bearing, share in ((1.0, 0.3), (3.1, 0.6), (5.2, 0.9))]
    ships = [(bearing, r) for bearing, r in ships if 0.28 * MILE_M <= r <= 6.1 * MILE_M]
    assert ships
    for bearing, range_m in ships:
        rng = np.random.default_rng(1)
        for along in np.linspace(-100.0, 100.0, 15):
            across = along * math.sin(math.radians(aspect_deg))
            deep = along * math.cos(math.radians(aspect_deg))
            made.point(bearing + across / range_m, range_m + deep, snr_db + rng.normal(0.0, 4.0))
    detector = Detector()
    for number in range(3):
        plots = detector.detect(made.scan(number=number)).plots
        at = plots.range_m * np.exp(1j * plots.azimuth_rel_rad)
        for bearing, range_m in ships if number else ():
            # On her, or where the beam spreads her ends.
            assert np.abs(at - range_m * np.exp(1j * bearing)).min() < 100.0 + 0.25 * made.beam_rad * range_m
