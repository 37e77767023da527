"""Light on the water and lights at a distance."""

from __future__ import annotations

import numpy as np
import pytest

from moonless.constants import FOOT_M, NAUTICAL_MILE_M
from moonless.sky.ephemeris import SkyState
from moonless.sky.light import darkness, light_lux, moon_lux
from moonless.sky.visibility import computed_range_m, geographic_range_m, horizon_m, light_range_m, nominal_intensity_cd


def _state(sun_deg: float, moon_deg: float, phase_deg: float) -> SkyState:
    return SkyState(
        np.radians([sun_deg]), np.zeros(1), np.radians([moon_deg]), np.zeros(1), np.radians([phase_deg]),
        (1 + np.cos(np.radians([phase_deg]))) / 2, np.array([True]), np.array([384_400_000.0]),
    )  # fmt: skip


def test_full_moon() -> None:
    # Kyba et al. 2017, Astronomy & Geophysics 58 1.31: a typical full moon gives 0.05 to 0.1 lux in middle latitudes,
    # and no more than 0.32 lux anywhere.
    assert 0.05 < moon_lux(_state(-40, 30, 0))[0] < 0.13
    assert moon_lux(_state(-40, 90, 0))[0] < 0.32


def test_half_moon_is_a_tenth() -> None:
    # [Allen1973] magnitude law: at phase angle 90 degrees 0.0286 of 0.314 lux outside the air.
    ratio = moon_lux(_state(-40, 45, 90))[0] / moon_lux(_state(-40, 45, 0))[0]
    assert ratio == pytest.approx(0.0286 / 0.314, rel=0.01)


@pytest.mark.parametrize(
    ("sun_deg", "moon_deg", "phase_deg", "word"),
    [
        (10, -5, 0, "daylight"), (-3, -5, 0, "civil twilight"), (-9, -5, 0, "nautical twilight"),
        (-15, -5, 0, "astronomical twilight"), (-30, 40, 10, "moonlit night"), (-30, 40, 170, "dark night"),
        (-30, -1, 0, "dark night"),
    ],
)  # fmt: skip
def test_words(sun_deg: float, moon_deg: float, phase_deg: float, word: str) -> None:
    assert darkness(_state(sun_deg, moon_deg, phase_deg)) == [word]


def test_cloud_darkens() -> None:
    state = _state(-30, 40, 0)
    assert light_lux(state, 1.0)[0] < light_lux(state, 0.5)[0] < light_lux(state, 0.0)[0]


@pytest.mark.parametrize(
    ("nominal_nm", "visibility_nm", "luminous_nm"),
    [
        # Allard's law worked through for the IALA nominal range (computed); 15 NM at 11 and 1 NM is Bowditch's example
        # on the luminous range diagram, read there as 16 and 2.8.
        (5, 2, 2.14), (10, 5, 6.46), (15, 10, 15.0), (20, 20, 33.22), (15, 11, 16.02), (15, 1, 2.66),
    ],
)  # fmt: skip
def test_luminous_range(nominal_nm: float, visibility_nm: float, luminous_nm: float) -> None:
    intensity = nominal_intensity_cd(nominal_nm * NAUTICAL_MILE_M)
    found = light_range_m(intensity, visibility_nm * NAUTICAL_MILE_M) / NAUTICAL_MILE_M
    assert found == pytest.approx(luminous_nm, abs=0.006)


@pytest.mark.parametrize(("nominal_nm", "candela"), [(2, 5.0), (3, 15), (5, 77), (10, 1372), (15, 13806)])
def test_nominal_intensity(nominal_nm: float, candela: float) -> None:
    # Allard at 10 NM visibility and 2e-7 lx (computed): the IALA table rounds these.
    assert nominal_intensity_cd(nominal_nm * NAUTICAL_MILE_M) == pytest.approx(candela, rel=0.012)


def test_computed_visibility_examples() -> None:
    # US Navy training manual 14220 p. 109: eye 50 ft, light 90 ft, nominal 20 NM: 8.3 + 11.1 = 19.4 NM;
    # eye 35, light 80, nominal 10: the light's own 10.0 NM governs.
    near = computed_range_m(50 * FOOT_M, 90 * FOOT_M, 20 * NAUTICAL_MILE_M, 10 * NAUTICAL_MILE_M)
    assert near / NAUTICAL_MILE_M == pytest.approx(19.4, abs=0.05)
    far = computed_range_m(35 * FOOT_M, 80 * FOOT_M, 10 * NAUTICAL_MILE_M, 10 * NAUTICAL_MILE_M)
    assert far / NAUTICAL_MILE_M == pytest.approx(10.0, abs=0.01)
    assert geographic_range_m(8 * FOOT_M, 170 * FOOT_M) / NAUTICAL_MILE_M == pytest.approx(18.56, abs=0.02)


@pytest.mark.parametrize(("feet", "nm"), [(4, 2.34), (9, 3.51), (25, 5.85), (50, 8.27), (100, 11.70), (200, 16.55)])
def test_horizon_table(feet: float, nm: float) -> None:
    # Bowditch table 12, 1.17 sqrt(h).
    assert horizon_m(feet * FOOT_M) / NAUTICAL_MILE_M == pytest.approx(nm, abs=0.01)
