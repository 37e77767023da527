"""The plan's dangers against a brute-force reading of the chart that shares no code with it."""

from __future__ import annotations

from pathlib import Path

import pytest
from bench.plans.plan_truth import check

from moonless.boat.types import Boat
from moonless.chart.dangers import layout
from moonless.scene.story import demo_chart


def test_none_missed_and_none_invented_over_the_invented_waters(boat: Boat, tmp_path: Path) -> None:
    tally = check(demo_chart(), 4, 11, boat, tmp_path)
    assert tally.legs >= 4 and tally.dangers > 0
    assert (tally.missed, tally.invented) == ([], [])


@pytest.mark.data
@pytest.mark.parametrize("cell", ["US5MA11M", "US5MA12M"])
@pytest.mark.filterwarnings("ignore:.*organizePolygons.*:RuntimeWarning")
def test_none_missed_and_none_invented_over_a_real_cell(data_dir: Path, boat: Boat, tmp_path: Path, cell: str) -> None:
    tally = check(data_dir / "enc" / cell / f"{cell}.000", 3, 11, boat, tmp_path)
    assert tally.legs >= 3 and tally.dangers > 5
    assert (tally.missed, tally.invented) == ([], [])


def test_an_engine_without_marks_is_found_out(boat: Boat, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(layout, "_put_marks", lambda columns, local: None)
    assert check(demo_chart(), 8, 11, boat, tmp_path).missed
