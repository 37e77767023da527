"""The factor of a cell length holds for that length alone, and can be taken back."""

from __future__ import annotations

import numpy as np

from moonless.scan.range_factors import RangeFactors
from moonless.scan.types import Spoke


def _spoke(cell_m: float) -> Spoke:
    return Spoke(0, 0.0, 0.01, 0.5 * cell_m, cell_m, np.zeros(4, dtype=np.uint8), 255, 0)


def test_a_factor_holds_for_the_cell_length_it_was_found_on() -> None:
    factors = RangeFactors()
    assert [s.cell_m for s in factors.put_right([_spoke(5.5)])] == [5.5]
    assert factors.now == 1.0 and factors.since_ns is None
    factors.found(2.0, 77)
    (spoke,) = factors.put_right([_spoke(5.5)])
    assert (spoke.cell_m, spoke.first_cell_m) == (11.0, 5.5)
    assert factors.now == 2.0 and factors.since_ns == 77
    assert [s.cell_m for s in factors.put_right([_spoke(5.5), _spoke(20.0)])] == [11.0, 20.0]
    assert factors.now == 1.0 and factors.since_ns is None


def test_a_factor_that_was_wrong_is_taken_back_by_its_inverse() -> None:
    factors = RangeFactors()
    factors.put_right([_spoke(8.0)])
    factors.found(2.0, 1)
    factors.put_right([_spoke(8.0)])
    factors.found(0.5, 2)
    assert [s.cell_m for s in factors.put_right([_spoke(8.0)])] == [8.0]
    assert factors.since_ns is None


def test_nothing_is_found_before_anything_was_told() -> None:
    factors = RangeFactors()
    factors.found(2.0, 1)
    assert [s.cell_m for s in factors.put_right([_spoke(8.0)])] == [8.0]
