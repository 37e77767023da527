"""``moonless learn`` as someone would type it, wrong input too: one line, exit 2, nothing half-written."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from test_work import made

from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.cli import main


def run(*words: object) -> int:
    with pytest.raises(SystemExit) as left:
        main(["learn", *(str(word) for word in words)])
    return int(left.value.code or 0)


@pytest.fixture
def runs(tmp_path: Path) -> Path:
    folder = tmp_path / "runs"
    folder.mkdir()
    for k in range(3):
        made(folder / f"night{k}.mcap", 300.0 + k)
    return folder


def test_runs_are_learned_once_listed_and_accepted(
    runs: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store, known = tmp_path / "learned", tmp_path / "known.gpkg"
    # Three boats: the made runs all cover the same minute, and one boat's would count once.
    for k in range(3):
        assert run(runs / f"night{k}.mcap", "--store", store, "--boat-name", f"boat {k}") == 0
    out = capsys.readouterr()
    assert "Told on 3 of 3 runs that looked" in out.out and "3 boats" in out.out
    assert run(runs, "--store", store) == 0
    assert "0 learned, 3 known already" in capsys.readouterr().err
    shown = tmp_path / "learned.geojson"
    assert run("--store", store, "--accept", "all", "--knowledge", known, "--geojson", shown, "--quiet") == 0
    assert run("--store", store, "--accept", "1", "--knowledge", known) == 0
    assert "0 entries new, 1 brought up to date" in capsys.readouterr().err
    (thing,) = Knowledge.open(known).things
    assert thing.times_seen == 3 and "night0.mcap, night1.mcap, night2.mcap" in thing.note
    features = json.loads(shown.read_text(encoding="utf-8"))["features"]
    (proposal,) = [f for f in features if f["properties"]["layer"] == "proposals"]
    assert proposal["properties"]["sources"] == "night0.mcap, night1.mcap, night2.mcap"


def test_one_boats_runs_of_the_same_time_count_once(
    runs: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(runs, "--store", tmp_path / "learned", "--workers", 1) == 0
    out = capsys.readouterr().out
    assert out.startswith("1 runs of one boat") and out.count("not counted") == 2 and "--boat-name" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["none.mcap"], "none.mcap is not there"),
        (["--accept", "1"], "nothing is proposed yet"),
        (["--accept", "one"], "nothing is proposed yet"),
        (["--accept", "all"], "nothing is proposed yet"),
        (["--knowledge", "k.gpkg"], "give both"),
        (["--with", "nowhere"], "nothing was learned there"),
        (["--gpkg", "none/x.gpkg"], "there is no folder"),
        (["--gpkg", "x.gpkg"], "nothing was learned yet"),
        (["--boat", "none.toml"], "none.toml"),
        (["--chart", "nowhere"], "nowhere is not there"),
        (["--cluster", "tcp://127.0.0.1:1", "--workers", "2"], "not both"),
    ],
)
def test_wrong_input_is_one_line(
    words: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(*words, "--store", "learned") == 2
    lines = capsys.readouterr().err.strip().splitlines()
    assert len(lines) == 1 and said in lines[0]
    assert list(tmp_path.iterdir()) == []


def test_when_nothing_could_be_read_it_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "bad.mcap").write_bytes(b"\x89MCAP0\r\n and no more")
    assert run(tmp_path / "bad.mcap", "--store", tmp_path / "learned") == 2
    assert "passed by" in capsys.readouterr().err and not (tmp_path / "learned").exists()
