"""How far a thing is held."""

from __future__ import annotations

import pytest
from reading_fakes import RADAR
from scipy import stats

from moonless.reading.visibility.seeing import P_TURN_HELD, curve_for


def test_held_is_three_of_five_turns_nine_times_in_ten() -> None:
    # Binomial, elementary: P(at least 3 of 5) = 0.9.
    assert stats.binom.sf(2, 5, P_TURN_HELD) == pytest.approx(0.9, abs=1e-3)


def test_larger_things_and_better_radar_are_seen_further() -> None:
    curve = curve_for(RADAR, 5556.0, 1.0, 0.3)
    ranges = [curve.held_to_m(s, 0.0, 20.0) for s in (0.5, 2.5, 10.0)]
    assert ranges == sorted(ranges)  # type: ignore[type-var]
    assert curve.held_to_m(2.5, -6.0, 20.0) < curve.held_to_m(2.5, 0.0, 20.0)  # type: ignore[operator]
