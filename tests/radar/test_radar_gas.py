"""Loss in clear air, held to ITU-R P.676 as a general library works it out."""

from __future__ import annotations

import warnings

import pytest

from moonless.radar.environment.propagation import GAS_DB_PER_M


@pytest.mark.parametrize("frequency_ghz", [9.0, 9.4, 9.6])
def test_clear_air_at_x_band(frequency_ghz: float) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's own, on import
        itu676 = pytest.importorskip("itur.models.itu676")
        # ITU-R P.676 line by line, 1013.25 hPa, 7.5 g/m3, 15 C, one way.  Within 6 %: one figure serves the band, and
        # over the 12 miles a small radar sees the difference is 0.02 dB.
        exact = itu676.gamma_exact(frequency_ghz, 1013.25, 7.5, 288.15).value
    assert pytest.approx(exact, rel=0.06) == 1e3 * GAS_DB_PER_M
