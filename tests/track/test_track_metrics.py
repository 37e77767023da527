"""GOSPA and OSPA: published geometry and static cases, and what a metric must obey."""

from __future__ import annotations

import math

import numpy as np
import pytest
from bench.metrics import Score, gospa, ospa
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from moonless.errors import InputError

# The geometry of the example in Rahmathullah, Garcia-Fernandez, Svensson (FUSION 2017), as the gospapy repository's
# examples/replicate_table_fusion2017.py has it.  The values beside it are computed from the definitions.
TRUTH = [(-6.0, -6.0), (0.0, 3.0)]
FIRST, SECOND, FALSE = (-6.7, -5.1), (-1.8, 2.9), (22.0, 18.0)


@pytest.mark.parametrize(
    ("tracks", "distance", "localisation", "missed", "false", "ospa_2"),
    [
        ([FIRST, SECOND], 2.13307, 4.55, 0.0, 0.0, 1.50831),
        ([FIRST], 5.77062, 1.30, 32.0, 0.0, 5.71402),
        ([FIRST, SECOND, FALSE], 6.04566, 4.55, 0.0, 32.0, 4.78017),
    ],
)
def test_fusion_2017_geometry(
    tracks: list, distance: float, localisation: float, missed: float, false: float, ospa_2: float
) -> None:
    got = gospa(tracks, TRUTH, c=8.0, p=2.0)
    assert got.distance == pytest.approx(distance, abs=5e-6)
    assert (got.localisation, got.missed, got.false) == pytest.approx((localisation, missed, false))
    assert ospa(tracks, TRUTH, c=8.0, p=2.0) == pytest.approx(ospa_2, abs=5e-6)


def test_fusion_2017_geometry_order_1() -> None:
    assert gospa([FIRST, SECOND], TRUTH, c=8.0, p=1.0).distance == pytest.approx(2.94295, abs=5e-6)


def test_static_cases() -> None:
    # Cases of gospapy test/test_static.py: c = 3, p = 1.
    three = [(0.0, 0.0), (10.0, 0.0), (20.0, 0.0)]
    assert gospa(three, three, c=3.0, p=1.0).distance == 0.0
    assert gospa(three[:2], three, c=3.0, p=1.0).distance == 1.5
    assert gospa([*three, (50.0, 0.0)], three, c=3.0, p=1.0).distance == 1.5


def test_stonesoup_oracle() -> None:
    # Stone Soup, stonesoup/metricgenerator/tests/test_ospametric.py: five one-dimensional tracks each 0.5 off.
    truth = np.arange(5.0)[:, None] * 100.0
    assert gospa(truth + 0.5, truth, c=10.0, p=1.0).distance / 5 == pytest.approx(0.5)
    assert ospa(truth + 0.5, truth, c=10.0, p=1.0) == pytest.approx(0.5)
    assert ospa(truth, truth, c=10.0, p=1.0) == 0.0


def test_empty_sets() -> None:
    assert gospa([], [], c=20.0).distance == 0.0
    assert ospa([], [], c=20.0) == 0.0
    assert gospa([], [(1.0, 2.0)], c=20.0).missed == 200.0
    assert gospa([(1.0, 2.0)], [], c=20.0).false == 200.0
    assert ospa([], [(1.0, 2.0)], c=20.0) == 20.0


def test_what_is_no_metric_is_refused() -> None:
    with pytest.raises(InputError, match="must be positive"):
        gospa([], [], c=0.0)
    with pytest.raises(InputError, match="at least 1"):
        ospa([], [], p=0.5)


SETS = st.integers(0, 4).flatmap(lambda n: arrays(np.float64, (n, 2), elements=st.floats(-50, 50)))


@given(SETS, SETS, SETS)
def test_symmetric_and_triangular(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> None:
    for metric in (lambda x, y: gospa(x, y).distance, ospa):
        assert metric(a, a) == pytest.approx(0.0, abs=1e-6)
        assert metric(a, b) == pytest.approx(metric(b, a))
        assert metric(a, c) <= metric(a, b) + metric(b, c) + 1e-9


def test_score_counts_breaks_and_switches() -> None:
    s = Score()
    truth = [(0.0, 0.0)]
    for time_s, ids, places in (
        (0.0, [], []),
        (2.0, [7], [(3.0, 4.0)]),
        (4.0, [], []),
        (6.0, [7], [(0.0, 0.0)]),
        (8.0, [9, 7], [(1.0, 0.0), (300.0, 0.0)]),
    ):
        s.add(time_s, np.array(ids, dtype=np.int64), places, [1], truth)
    assert s.first_s == {1: 2.0}
    assert (s.breaks, s.switches) == (1, 1)
    assert (s.n_joined, s.n_missed, s.n_false) == (3, 2, 1)
    assert s.rms_m == pytest.approx(math.sqrt((25 + 0 + 1) / 3))
    assert s.mean == pytest.approx((math.sqrt(200) + 5 + math.sqrt(200) + 0 + math.sqrt(1 + 200)) / 5)
