"""S-57 values become Python values of their type, however they were kept."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.chart.s57.attributes import LISTS, NUMBERS, WHOLE, from_row, normalised


@pytest.mark.parametrize(
    ("kept", "meant"),
    [
        ("3,1", [3, 1]),
        ("[3,1]", [3, 1]),
        ('[ "3", "1" ]', [3, 1]),
        ("(2:3,1)", [3, 1]),
        ("3", [3]),
        (3, [3]),
        (3.0, [3]),
        (["3", "1"], [3, 1]),
        (np.array(["3", "1"]), [3, 1]),
        ("", None),
        (math.nan, None),
        (None, None),
    ],
)
def test_lists_of_codes(kept: Any, meant: Any) -> None:
    assert normalised("COLOUR", kept) == meant


@given(st.lists(st.integers(0, 30), min_size=1, max_size=5))
def test_lists_survive_every_way_of_writing_them(codes: list[int]) -> None:
    for kept in (codes, ",".join(map(str, codes)), str(codes), np.array(codes), [str(c) for c in codes]):
        assert normalised("COLOUR", kept) == codes


def test_numbers() -> None:
    assert normalised("CATLAM", 2.0) == 2
    assert isinstance(normalised("CATLAM", 2.0), int)
    assert normalised("VALSOU", "4.5") == 4.5
    assert normalised("VALSOU", np.float64("nan")) is None
    assert normalised("VALSOU", "unknown") is None
    assert normalised("VALSOU", math.inf) is None
    assert normalised("DRVAL1", 0.0) == 0.0  # a depth of nothing is not an unknown depth


def test_missing_is_absent() -> None:
    assert from_row({"OBJNAM": "", "HEIGHT": math.nan, "COLOUR": None, "CATLAM": 1}) == {"CATLAM": 1}


@pytest.mark.parametrize(
    ("names", "kinds"),
    [
        (np.array(["022600CE8712119C", "022600CE8713119C"]), np.array([2, 3])),
        ('[ "022600CE8712119C", "022600CE8713119C" ]', "[ 2, 3 ]"),
        ("(2:022600CE8712119C,022600CE8713119C)", "(2:2,3)"),
    ],
)
def test_only_master_and_slave_make_one_thing(names: Any, kinds: Any) -> None:
    kept = from_row({"LNAM": "022600CE8791119C", "LNAM_REFS": names, "FFPT_RIND": kinds})
    assert kept == {"LNAM": "022600CE8791119C", "LNAM_REFS": ["022600CE8712119C"]}


def test_types_do_not_overlap() -> None:
    assert not LISTS & WHOLE and not LISTS & NUMBERS and not WHOLE & NUMBERS
