"""The tail that is measured: against laws whose quantiles are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from moonless.echo.background.amplitude_tail import N_SCORE, SCORE_STEP, TAIL_POWER, index_of_score, score, tail_scores


def counts(scores):
    return np.bincount(index_of_score(scores), minlength=N_SCORE).astype(np.float64)


# Exceedance of each law at a score: Weibull with TAIL_POWER is the nominal one; steeper and flatter ones beside it.
LAWS = {
    "nominal": (lambda x: np.power(x, TAIL_POWER), lambda t: np.exp(-np.power(t, 1.0 / TAIL_POWER))),
    "gamma in decibels": (lambda x: 1.0 + 0.8 * np.log(x), lambda t: np.exp(-np.exp((t - 1.0) / 0.8))),
    "Pareto in decibels": (lambda x: 0.5 + 0.3 * x, lambda t: np.exp(-(t - 0.5) / 0.3)),
}


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_rate_beyond_all_counts_is_met(law, seed):
    """From 150 000 draws the quantile at 1e-5 has a true rate within a factor of two and a half."""
    draw, exceeds = LAWS[law]
    rng = np.random.default_rng(seed)
    sample = draw(rng.exponential(size=150_000))
    (threshold,) = tail_scores(counts(sample), np.array([1e-5]))
    assert 0.4e-5 < exceeds(threshold) < 2.5e-5


def test_echoes_far_beyond_the_strays_do_not_move_the_tail():
    rng = np.random.default_rng(4)
    sample = np.power(rng.exponential(size=150_000), TAIL_POWER)
    (clean,) = tail_scores(counts(sample), np.array([1e-5]))
    (with_boats,) = tail_scores(counts(np.concatenate((sample, np.full(150, 7.0)))), np.array([1e-5]))
    assert with_boats == pytest.approx(clean, abs=4 * SCORE_STEP)


def test_nothing_counted_is_the_nominal_line():
    rates = np.array([1e-2, 1e-5])
    np.testing.assert_array_equal(tail_scores(np.zeros(N_SCORE), rates), score(rates))
