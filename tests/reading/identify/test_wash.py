"""The edge of the sea round the boat goes with her: it is no vessel in company."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from moonless.reading.identify.evidence import goes_with_boat

OWN: Any = SimpleNamespace(velocity=(0.0, 7.0))


def _kept(velocity: tuple[float, float], reach_m: float, own: Any = OWN) -> float:
    track: Any = SimpleNamespace(velocity_east=velocity[0], velocity_north=velocity[1])
    return float(goes_with_boat((track,), np.array([reach_m]), own, 20.0)[0])


def test_what_keeps_to_the_boat_at_the_nearest_the_radar_hears_goes_with_her() -> None:
    assert _kept((0.0, 7.0), 22.0) == pytest.approx(1.0)
    assert _kept((0.7, 6.5), 24.0) > 0.8


def test_what_passes_close_aboard_does_not() -> None:
    assert _kept((0.0, -4.0), 22.0) < 1e-6  # meeting
    assert _kept((6.0, 0.0), 22.0) < 1e-3  # crossing
    assert _kept((0.0, 0.0), 22.0) < 1e-3  # a float, left behind
    assert _kept((0.0, 12.0), 22.0) < 0.05  # overtaking


def test_farther_off_or_lying_still_nothing_does() -> None:
    assert _kept((0.0, 7.0), 60.0) == 0.0
    assert _kept((0.0, 0.0), 22.0, SimpleNamespace(velocity=(0.0, 0.3))) == 0.0
