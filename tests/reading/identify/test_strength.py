"""What strength says: less while the radar's offset is unsure, and only "at least" at the top of the scale."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from moonless.reading.identify.strength import (
    THING_RCS_DB,
    THING_RCS_SIGMA_DB,
    section_speaks,
    weak_for_its_length,
)  # fmt: skip

NO, YES = np.array([False]), np.array([True])


def _ratio(rcs_db: float, sigma_db: float, clipped: np.ndarray = NO) -> float:
    thing, wave = section_speaks(np.array([rcs_db]), sigma_db, clipped)
    return float(thing[0] / wave[0])


def test_a_faint_echo_is_hardly_a_thing_where_the_radar_is_known_and_may_be_one_where_it_is_not() -> None:
    known = [_ratio(-25.0, sigma) for sigma in (0.0, 4.0, 8.0, 16.0)]
    assert known == sorted(known)
    assert known[0] < 0.05
    assert known[-1] > 0.2
    # What is as strong as a boat stays the likelier for one, whatever the radar.
    assert all(_ratio(3.0, sigma) > 1.5 for sigma in (0.0, 8.0, 16.0))


def test_a_thing_is_as_likely_as_the_normal_law_with_both_doubts_has_it() -> None:
    thing, _ = section_speaks(np.array([-10.0]), 6.0, NO)
    wide = float(np.hypot(THING_RCS_SIGMA_DB, 6.0))
    assert thing[0] == pytest.approx(60.0 * norm.pdf(-10.0, THING_RCS_DB, wide))


def test_at_the_top_of_the_scale_a_level_says_only_at_least() -> None:
    # A short scale ends at a level that implies little: nothing speaks against a thing, and the less for a wave.
    assert _ratio(-25.0, 0.0, YES) > 1.0
    assert _ratio(-25.0, 0.0, YES) > 10.0 * _ratio(-25.0, 0.0)
    # No wave reaches what a ship implies.
    assert _ratio(20.0, 0.0, YES) > 20.0
    # Nor is a hull too faint for her length there.
    for clipped, speaks in ((NO, 0.02), (YES, 1.0)):
        assert weak_for_its_length(np.array([90.0]), np.array([-15.0]), 0.0, clipped)[0] == speaks


def test_what_is_not_known_says_nothing() -> None:
    thing, wave = section_speaks(np.array([np.nan]), 0.0, NO)
    assert thing[0] == wave[0] == 1.0
    assert weak_for_its_length(np.array([90.0]), np.array([np.nan]), 0.0, NO)[0] == 1.0
