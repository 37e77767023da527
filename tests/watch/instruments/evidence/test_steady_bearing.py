"""By what steady angle bearings are out, from the boat's own way: against a still world turned about the boat."""

from __future__ import annotations

import math

import numpy as np
import pytest

from moonless.watch.instruments.evidence.steady_bearing import LEAST_WORDS, SteadyBearing


def _shift(way: np.ndarray, bias: float) -> np.ndarray:
    """How far places laid by a bearing that is out clockwise move against the earth over a way: as a position's error.

    What lies still at p is laid at own + T(p - own), T a turn clockwise by the bias.  Over the way w it is laid farther
    by w - T w; the position would have to be off by as much.
    """
    c, s = math.cos(bias), math.sin(bias)
    turned = np.array([c * way[0] + s * way[1], -s * way[0] + c * way[1]])
    return np.asarray(way - turned)


@pytest.mark.parametrize("course", [0.0, 1.3, 3.0, 5.2])
@pytest.mark.parametrize("bias_deg", [-4.0, 0.0, 2.5])
def test_the_angle_is_found_on_every_course(course: float, bias_deg: float) -> None:
    one, rng = SteadyBearing(), np.random.default_rng(7)
    for _ in range(40):
        turned = course + rng.normal(0.0, 0.3)
        way = 90.0 * np.array([math.sin(turned), math.cos(turned)])
        one.take_in(way, _shift(way, math.radians(bias_deg)) + rng.normal(0.0, 2.0, 2))
    found = one.now
    assert found is not None
    # 2 m of each word over 90 m of way, forty words: 0.2 degrees; what is said allows for words that overlap.
    assert math.degrees(found.bias_rad) == pytest.approx(bias_deg, abs=0.8)
    assert 0.3 < math.degrees(found.sigma_rad) < 0.8


def test_nothing_is_said_of_a_boat_that_lies_or_before_enough_was_seen() -> None:
    lying = SteadyBearing()
    for _ in range(60):
        lying.take_in(np.array([3.0, 2.0]), np.array([1.0, 1.0]))
    assert lying.now is None
    begun = SteadyBearing()
    way = np.array([0.0, 90.0])
    for _ in range(LEAST_WORDS - 1):
        begun.take_in(way, _shift(way, 0.05))
    assert begun.now is None
    begun.take_in(way, _shift(way, 0.05))
    assert begun.now is not None


def test_it_is_the_less_sure_the_slower_the_boat_and_the_more_is_left() -> None:
    def sigma(way_m: float, noise_m: float) -> float:
        one, rng = SteadyBearing(), np.random.default_rng(3)
        for _ in range(60):
            one.take_in(np.array([0.0, way_m]), rng.normal(0.0, noise_m, 2))
        return math.inf if one.now is None else one.now.sigma_rad

    assert sigma(120.0, 2.0) < sigma(60.0, 2.0) < sigma(30.0, 2.0)
    assert sigma(120.0, 2.0) < sigma(120.0, 6.0)
    # A drift of the position along the way is another matter, and no word of bearings.
    drifting = SteadyBearing()
    for _ in range(60):
        drifting.take_in(np.array([0.0, 90.0]), np.array([0.0, 20.0]))
    assert drifting.now is None
