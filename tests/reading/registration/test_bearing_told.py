"""What is told of a bearing bias through time: by the scalar Kalman filter of the textbooks, and when it is told."""

from __future__ import annotations

import math

import numpy as np
import pytest
from reading_coasts import NONE
from reading_fakes import FRAME, T0, S, make_boat

from moonless.reading.own import OwnPlane
from moonless.reading.registration.bearing_bias import Bearing, BearingSearch
from moonless.reading.registration.observations import Sightings

WALK_DEG = 0.02  # per root second


def test_the_told_bias_follows_as_a_kalman_filter_would() -> None:
    """Prediction and gain by the textbook's scalar form; twelve estimates count as one."""
    search = BearingSearch(make_boat(position_sigma_m=15.0))
    deg = math.radians(1.0)
    search._filter(T0, Bearing(2.0 * deg, 1.4 * deg))
    first = search.correction
    assert first is not None and first.is_anew and first.state == pytest.approx([2.0 * deg, 0.0, 0.0])
    assert np.diag(first.covariance) == pytest.approx([(1.4 * deg) ** 2, 225.0, 225.0])
    x, p, time = 2.0, 1.4**2, 0.0
    told_variance = p
    for after_s, bias, sigma in (
        (2.5, 3.0, 1.2),
        (5.0, -1.0, 0.9),
        (60.0, 2.0, 0.5),
        (61.0, 2.0, 1.5),
        (50.0, 1.0, 1.0),
    ):
        # What is told is never surer than a single estimate, and it goes on from what was told.
        known = told_variance + WALK_DEG**2 * max(0.0, after_s - time)
        fresh = known - p
        noise = 12.0 * sigma**2
        gain = known / (known + noise)
        innovation = bias - x
        search._filter(T0 + round(after_s * S), Bearing(bias * deg, sigma * deg))
        now, correction = search.now, search.correction
        assert now is not None and correction is not None and not correction.is_anew
        moved = gain * innovation
        x, p, time = x + moved, (1.0 - gain) * known, after_s
        told_variance = max(p, sigma**2)
        assert math.degrees(now.bias) == pytest.approx(x, abs=1e-9)
        assert math.degrees(now.sigma) == pytest.approx(math.sqrt(told_variance), abs=1e-9)
        assert correction.state == pytest.approx([x * deg, 0.0, 0.0])
        assert correction.moved == pytest.approx([moved * deg, 0.0, 0.0])
        assert correction.information[0, 0] == pytest.approx(1.0 / (noise * deg**2))
        assert correction.pull[0] == pytest.approx(innovation / noise / deg)
        assert np.count_nonzero(correction.information) == 1 and not correction.pull[1:].any()
        assert correction.fresh == pytest.approx([fresh * deg**2, 0.0, 0.0])
        assert np.diag(correction.covariance) == pytest.approx([told_variance * deg**2, 225.0, 225.0])


def test_what_is_told_no_more_goes_on_being_taken_out_ever_less_sure() -> None:
    search, deg = BearingSearch(make_boat(position_sigma_m=15.0)), math.radians(1.0)
    search._hold(T0)
    assert search.correction is None
    search._filter(T0, Bearing(2.0 * deg, 1.0 * deg))
    for after_s in (100.0, 400.0):
        search._hold(T0 + round(after_s * S))
        held = search.correction
        assert held is not None and held.state[0] == pytest.approx(2.0 * deg) and not held.is_anew
        assert held.covariance[0, 0] == pytest.approx((1.0 + WALK_DEG**2 * after_s) * deg**2)
        assert np.diag(held.covariance)[1:] == pytest.approx(15.0**2)
        assert not held.information.any()
    # Told again, it goes on from there.
    known = 1.0 + WALK_DEG**2 * 410.0
    gain = known / (known + 12.0)
    search._filter(T0 + 410 * S, Bearing(3.0 * deg, 1.0 * deg))
    again = search.correction
    assert again is not None and again.state[0] == pytest.approx((2.0 + gain) * deg)
    assert again.fresh[0] == pytest.approx(WALK_DEG**2 * 10.0 * deg**2)


def test_it_speaks_up_to_a_degree_and_a_half_and_is_lost_past_two(monkeypatch: pytest.MonkeyPatch) -> None:
    search, own = BearingSearch(make_boat()), OwnPlane(FRAME, 0.0, 0.0, 0.0, 0.0, 2.0)
    empty = Sightings(NONE, NONE, NONE, NONE, np.zeros(0), np.zeros(0))
    said = iter([1.55, 1.45, 1.95, 2.05, 1.95, 1.45])
    told = []
    for k in range(6):
        sigma = math.radians(next(said))
        monkeypatch.setattr(BearingSearch, "_posterior", lambda self, m, s=sigma: Bearing(0.05, s))
        told.append(search.update(T0 + 2 * k * S, empty, own, None, ()) is not None)
    assert told == [False, True, True, False, False, True]
