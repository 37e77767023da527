"""How much fainter a radar hears than its file says: by the middle of what is hit turn after turn."""

from __future__ import annotations

import numpy as np
import pytest

from moonless.reading.identify.past.calibration import PRIOR_SIGMA_DB, THINGS_DB, StrengthCalibration


def _after(implied_db: np.ndarray, share: float = 0.95, hits: int = 30, turns: int = 40) -> float:
    one = StrengthCalibration()
    n = len(implied_db)
    for _ in range(turns):
        one.take_in(implied_db, np.full(n, share), np.full(n, hits))
    return one.offset_db


@pytest.mark.parametrize("loss_db", [10.0, 25.0])
def test_a_radar_that_hears_everything_fainter_is_found_to(loss_db: float) -> None:
    things = np.random.default_rng(2).normal(THINGS_DB, 8.0, 41)
    things -= np.median(things) - THINGS_DB
    # Forty things against three of the prior.
    assert _after(things - loss_db) == pytest.approx(-loss_db * 41.0 / 44.0, abs=0.1)
    # A single thing hardly moves it: it may be a small one.
    assert _after(np.array([THINGS_DB - loss_db])) == pytest.approx(-loss_db / 4.0, abs=0.1)


def test_nothing_is_learnt_of_what_comes_and_goes_is_strong_or_not_known() -> None:
    faint = np.full(20, -30.0)
    assert _after(faint, share=0.6) == 0.0
    assert _after(faint, hits=6) == 0.0
    assert _after(np.full(20, 30.0)) == 0.0
    assert _after(np.full(20, np.nan)) == 0.0


def test_it_is_the_surer_the_more_is_heard() -> None:
    one, sigma = StrengthCalibration(), []
    for n in (0, 1, 9, 45):
        for _ in range(40):
            one.take_in(np.full(n, THINGS_DB - 12.0), np.full(n, 0.95), np.full(n, 30))
        sigma.append(one.sigma_db)
    # As the root of the things in the balance, three of the prior among them.
    assert sigma == pytest.approx([PRIOR_SIGMA_DB * (3.0 / (3.0 + n)) ** 0.5 for n in (0, 1, 9, 45)], abs=0.01)
