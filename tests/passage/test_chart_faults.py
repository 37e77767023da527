"""A bad cell, a missing update, an old edition: said first, and against."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from moonless.boat.types import Boat
from moonless.chart.faults import chart_faults
from moonless.chart.library import Chart
from moonless.cli import main
from moonless.frames import LocalFrame
from moonless.passage.brief.page import page
from moonless.passage.brief.record import plan_dict
from moonless.passage.night import Night
from moonless.passage.plan import make_plan
from moonless.passage.way.route import Route, Waypoint

FRAME = LocalFrame(10.0, -140.0)
HERE = (-140.05, 9.95, -139.95, 10.05)
DEPART = datetime(2031, 3, 24, 7, tzinfo=UTC).timestamp()
BOAT_FILE = """
[boat]
name = "Test"
length_m = 9.0
beam_m = 3.0
draught_m = 0.9
air_draught_m = 3.5
eye_height_m = 2.2
"""


def _route() -> Route:
    return Route("r", tuple(Waypoint(n, *FRAME.to_geographic(e, -500.0)) for n, e in (("A", -5000.0), ("B", 1500.0))))


def _dated(chart_with: Callable[[Any], Chart], issued: str) -> Chart:
    return chart_with({"DSID": ([], {"DSPM_CSCL": [12000], "DSID_ISDT": [issued]})})


@pytest.mark.parametrize(
    ("issued", "said"),
    [
        ("20310101", None),
        ("20300301", "is old: last issued 2030-03-01, 1.1 years before this run"),
        ("20100324", "is old: last issued 2010-03-24, 21 years before this run"),
        ("nonsense", "does not say when it was issued"),
    ],
)
def test_an_old_edition_is_said_first_and_against(
    chart_with: Callable[[Any], Chart], boat: Boat, issued: str, said: str | None
) -> None:
    plan = make_plan(_dated(chart_with, issued), _route(), boat, DEPART, Night(wanted_kn=8.0), events=False)
    against = [p.what for p in plan.points if p.weight == "against" and p.what.startswith("Chart")]
    if said is None:
        assert plan.chart_faults == () and against == []
        return
    assert len(plan.chart_faults) == 1 and said in plan.chart_faults[0]
    assert against == [f"Chart: {plan.chart_faults[0]}"] and plan.points[0].what == against[0]
    assert plan_dict(plan)["chart_faults"] == list(plan.chart_faults)
    sheet = page(plan, UTC, "nm")
    assert said in sheet and sheet.index(said) < sheet.index("Go or not")


def test_a_source_that_cannot_be_read_is_said_wherever_one_goes(made_chart: Chart, boat: Boat, tmp_path: Path) -> None:
    (tmp_path / "bad.000").write_bytes(b"no cell at all")
    shutil.copy(made_chart.cells[0].path, tmp_path / "good.gpkg")
    chart = Chart.open([tmp_path], cache_dir=tmp_path / "cache")
    plan = make_plan(chart, _route(), boat, DEPART, Night(wanted_kn=8.0), events=False)
    assert "bad.000" in plan.chart_faults[0] and plan.chart_faults[0].startswith("not read at all")
    assert str(tmp_path) not in " ".join(plan.chart_faults)
    assert plan.points[0].weight == "against" and "bad.000" in plan.points[0].what


def test_only_the_cells_that_are_asked(chart_with: Callable[[Any], Chart]) -> None:
    chart = _dated(chart_with, "20100324")
    assert len(chart_faults(chart, HERE, DEPART)) == 1
    assert chart_faults(chart, (0.0, 50.0, 1.0, 51.0), DEPART) == ()


@pytest.mark.data
def test_a_missing_update_is_said_first_by_plan_and_predict(
    data_dir: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    cell = tmp_path / "cell"
    shutil.copytree(data_dir / "enc" / "US5MA11M", cell)
    (cell / "US5MA11M.002").unlink()
    (tmp_path / "boat.toml").write_text(BOAT_FILE)
    common = ["--chart", str(cell), "--boat", "boat.toml"]
    with pytest.raises(SystemExit):
        main(["predict", *common, "--at", "42.352,-71.035", "--heading", "110", "--range", "0.5"])
    said = capsys.readouterr().out.splitlines()
    assert "US5MA11M.000: update 2 is missing, so later ones are not applied" in said[0]
    assert any("US5MA11M is old: last issued" in line for line in said)
    ends = ["--from", "42.3345,-70.9670", "--to", "42.3420,-70.9750"]
    with pytest.raises(SystemExit):
        main(["plan", *ends, *common, "--depart", "2026-11-30T19:00", "--no-pictures"])
    said = [line for line in capsys.readouterr().out.splitlines() if not line.startswith("Note:")]
    assert "US5MA11M.000: update 2 is missing" in said[0] and said[0].startswith("CHART")
