"""``moonless practice`` typed: the ladder, an exercise, its answer, the record; and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from moonless.cli import main
from moonless.practice.ladder import LADDER
from moonless.practice.store import read_answers


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> str:
    with pytest.raises(SystemExit) as leaving:
        main(["practice", *argv])
    assert leaving.value.code == 0
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], *argv: str) -> str:
    with pytest.raises(SystemExit) as leaving:
        main(["practice", *argv])
    assert leaving.value.code == 2
    line = capsys.readouterr().err.strip()
    assert line.startswith("moonless: ") and "\n" not in line
    return line


def test_the_ladder_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    told = run(capsys, "--list")
    assert all(step.key in told and step.by_day in told for step in LADDER)


@pytest.mark.slow
def test_an_exercise_is_asked_answered_and_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record, png, js = tmp_path / "r.json", tmp_path / "a.png", tmp_path / "a.json"
    of = ("--step", "lights", "--seed", "3", "--record", str(record))
    asked = run(capsys, *of, "--png", str(png), "--json", str(js))
    body = json.loads(js.read_text())
    assert body["asks"] in asked and "because" not in body and not record.exists()
    with Image.open(png) as drawn:
        assert drawn.size[0] > 300
    told = run(capsys, *of, "--answer", body["words"][0], "--json", str(js))
    mark = json.loads(js.read_text())
    assert mark["because"] in told and mark["right"]["word"] in body["words"]
    kept = read_answers(record)
    assert len(kept) == 1 and kept[0].step == "lights" and kept[0].points == mark["points"]
    assert "1 answers" in run(capsys, "--progress", "--record", str(record))
    assert "never a licence" in run(capsys, "--progress", "--record", str(record))


@pytest.mark.slow
def test_a_touch_is_typed_as_range_and_relative_bearing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Seeds of `rings` that ask for a touch name the figures in the question itself.
    import re

    for seed in range(20):
        of = ("--step", "rings", "--seed", str(seed), "--record", str(tmp_path / "r.json"))
        found = re.search(r"Touch the place ([\d.]+) NM off on the relative bearing (\d+)", run(capsys, *of))
        if found is not None:
            assert "Right." in run(capsys, *of, "--answer", f"{found[1]},{found[2]}")
            assert "Not so." in run(capsys, *of, "--answer", f"{found[1]},{(int(found[2]) + 90) % 360}")
            return
    raise AssertionError("no seed of twenty asked for a touch")


def test_wrong_input_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = tmp_path / "r.json"
    assert "there is no step 'sailing'" in refused(capsys, "--step", "sailing", "--record", str(record))
    assert "go with --step" in refused(capsys, "--answer", "?")
    assert "no such file" in refused(capsys, "--chart", str(tmp_path / "none"), "--step", "rings")
    assert "LAT,LON" in refused(capsys, "--at", "somewhere")
    record.write_text("{}")
    assert "no record of practice" in refused(capsys, "--progress", "--record", str(record))
    assert record.read_text() == "{}"


@pytest.mark.slow
def test_an_answer_that_is_none_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record, png = tmp_path / "r.json", tmp_path / "a.png"
    line = refused(
        capsys, "--step", "lights", "--seed", "3", "--answer", "a submarine", "--png", str(png), "--record", str(record)
    )
    assert "is not among the words" in line
    assert list(tmp_path.iterdir()) == []
