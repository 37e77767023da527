"""Closed forms of detection against published values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from moonless.echo.background.theory import (
    ca_multiplier,
    k_quantile_db,
    k_survival,
    noise_threshold,
    os_false_alarm,
    os_multiplier,
    p_detect,
)


def db(ratio: float) -> float:
    return 10.0 * math.log10(ratio)


def test_ordered_statistic_multiplier_of_richards():
    # Richards, Fundamentals of Radar Signal Processing, ch. 6 (p. 525): N = 20, k = 15, alpha = 6.857.  The rate
    # itself is printed as a picture; 1e-3 is what its formula gives to three figures.
    assert os_multiplier(20, 15, 1e-3) == pytest.approx(6.857, abs=2e-3)
    assert os_false_alarm(20, 15, 6.857) == pytest.approx(1e-3, rel=2e-3)


@pytest.mark.parametrize(
    ("n", "k", "p_false", "alpha"),
    # The same formula evaluated elsewhere (general library sdr 0.0.30): pinned to the printed three decimals.
    [
        (16, 12, 1e-4, 11.080),
        (16, 12, 1e-6, 20.954),
        (24, 18, 1e-4, 9.341),
        (32, 24, 1e-6, 14.399),
        (50, 37, 1e-4, 8.060),
    ],
)
def test_ordered_statistic_multipliers(n, k, p_false, alpha):
    assert os_multiplier(n, k, p_false) == pytest.approx(alpha, abs=6e-4)


@pytest.mark.parametrize(
    ("n", "p_false", "alpha"),
    # alpha = N (Pfa^(-1/N) - 1), Richards ch. 6; evaluated with sdr 0.0.30 to three decimals.
    [
        (8, 1e-4, 17.298),
        (8, 1e-6, 36.987),
        (16, 1e-4, 12.453),
        (16, 1e-6, 21.942),
        (32, 1e-4, 10.673),
        (32, 1e-6, 17.278),
    ],
)
def test_cell_averaging_multipliers(n, p_false, alpha):
    assert ca_multiplier(n, p_false) == pytest.approx(alpha, abs=6e-4)


def test_cell_averaging_loss():
    # Swerling 1, N = 16, Pd 0.5, Pfa 1e-4: 1.301 dB; Pd = (1 + (alpha / N) / (1 + S))^-N (sdr 0.0.30, three decimals).
    n, p_false, p_wanted = 16, 1e-4, 0.5
    ideal = math.log(p_false) / math.log(p_wanted) - 1.0
    with_cfar = (ca_multiplier(n, p_false) / n) / (p_wanted ** (-1.0 / n) - 1.0) - 1.0
    assert db(with_cfar / ideal) == pytest.approx(1.301, abs=6e-4)


def test_steady_echo_one_look():
    # sdr documentation, min_snr: exact square law, Pd 0.9, Pfa 1e-6, one look: 13.183490056794499 dB.
    snr = 10.0 ** (13.183490056794499 / 10.0)
    assert p_detect(snr, 1, noise_threshold(1, 1e-6), 0)[0] == pytest.approx(0.9, abs=1e-6)


@pytest.mark.parametrize(
    ("p_false", "p_wanted", "snr_db"), [(1e-6, 0.5, 12.772), (1e-6, 0.9, 21.144), (1e-4, 0.8, 16.050)]
)
def test_swerling_1_one_look(p_false, p_wanted, snr_db):
    # Exact: Pd = Pfa^(1 / (1 + S)) (Richards ch. 6); SNR printed to three decimals.
    found = p_detect(10.0 ** (snr_db / 10.0), 1, noise_threshold(1, p_false), 1)[0]
    assert found == pytest.approx(p_wanted, abs=2e-3)


@pytest.mark.parametrize(
    ("case", "looks", "snr_db"),
    # Shnidman's equation, Pd 0.9, Pfa 1e-6, dB a look; the equation itself is good to about 0.5 dB.
    [(0, 1, 13.122), (0, 10, 5.334), (0, 20, 3.202), (1, 5, 15.814), (1, 20, 11.473), (3, 5, 11.696), (3, 20, 7.338)],
)
def test_many_looks_beside_shnidman(case, looks, snr_db):
    threshold = noise_threshold(looks, 1e-6)
    below = p_detect(10.0 ** ((snr_db - 0.5) / 10.0), looks, threshold, case)[0]
    above = p_detect(10.0 ** ((snr_db + 0.5) / 10.0), looks, threshold, case)[0]
    assert below < 0.9 < above


def test_noise_threshold_is_the_exponential_for_one_look():
    assert noise_threshold(1, 1e-4) == pytest.approx(-math.log(1e-4))


def test_k_clutter_of_shape_one_half_has_its_closed_form():
    # One look, shape 1/2: the K density's Bessel function is elementary and P(x > t) = exp(-sqrt(2 t)) for mean 1
    # (product of an exponential and a chi-square with one degree; Ward, Tough and Watts give the K form).
    t = np.array([0.5, 2.0, 8.0, 20.0])
    assert k_survival(t, 1.0, 0.5) == pytest.approx(np.exp(-np.sqrt(2.0 * t)), rel=5e-3)


def test_k_clutter_goes_to_noise():
    assert k_quantile_db(1e-4, 4.0, 1e5) == pytest.approx(db(noise_threshold(4, 1e-4)), abs=0.02)
    assert k_quantile_db(1e-4, 4.0, 0.5) > k_quantile_db(1e-4, 4.0, 5.0) > k_quantile_db(1e-4, 4.0, math.inf)
