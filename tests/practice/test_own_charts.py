"""Real cells as practice waters: every kind of exercise that needs shores and marks can be had there."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from moonless.boat.types import Boat
from moonless.errors import InputError
from moonless.practice.ladder import make
from moonless.practice.scoring import mark
from moonless.practice.types import Exercise
from moonless.practice.waters import PracticeWaters, open_waters

DATA = Path(os.environ.get("MOONLESS_DATA", Path(__file__).parents[2].parent / "shared" / "data"))
pytestmark = [pytest.mark.data, pytest.mark.slow]


@pytest.mark.skipif(not (DATA / "enc").is_dir(), reason="no real cells: MOONLESS_DATA")
@pytest.mark.parametrize("cell", ["US5MA11M", "US4MD81M"])
def test_a_real_cell_gives_exercises(cell: str, boat: Boat) -> None:
    waters = open_waters([DATA / "enc" / cell], boat.draught_m)
    assert len(waters.navigable) > 1_000
    for step in ("hidden", "missing", "lying", "not_charted"):
        one = first(step, waters, boat)
        assert mark(one, one.key.right).points == pytest.approx(1.0)


def first(step: str, waters: PracticeWaters, boat: Boat) -> Exercise:
    """One of three seeds running, as the page takes them: not every question has a place in every water."""
    for seed in (31, 32, 33):
        try:
            return make(step, seed, waters, boat)
        except InputError as problem:
            assert "take another seed or other waters" in str(problem)
    raise AssertionError(f"{waters.name} has nothing for {step}")
