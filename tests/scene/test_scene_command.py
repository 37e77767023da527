"""``moonless scene``: writes a whole run, or one plain line and exit 2."""

from __future__ import annotations

from pathlib import Path

import pytest

from moonless.cli import main

SMALL = """
[scene]
name = "small"
start = 2028-03-01T05:00:00Z
duration_s = 6
origin = [-12.4, -118.3]
[radar]
spokes = 128
cells = 100
[own]
start_m = [0, 0]
"""


def _run(argv: list[str]) -> int:
    with pytest.raises(SystemExit) as leaving:
        main(argv)
    return int(leaving.value.code or 0)


def test_writes_three_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    assert _run(["scene", str(path), "--out", str(tmp_path / "run"), "--quiet"]) == 0
    assert {p.name for p in (tmp_path / "run").iterdir()} == {"radar.cat240", "nmea.nmea", "truth.json"}
    assert "2 turns, 6 s of 'small'" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (SMALL.replace("spokes", "spoke"), 'did you mean "spokes"'),
        (SMALL.replace("6\n", "-6\n", 1), "out of range, allowed is 1 to 10800"),
    ],
)
def test_a_wrong_file_is_one_line_and_nothing_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, words: str
) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text(text, encoding="utf-8")
    assert _run(["scene", str(path), "--out", str(tmp_path / "run")]) == 2
    said = capsys.readouterr().err
    assert words in said and "wrong.toml" in said and said.count("\n") == 1
    assert not (tmp_path / "run").exists()


def test_a_chart_that_is_not_there_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "nochart.toml"
    path.write_text(SMALL + '[chart]\npaths = ["nowhere.gpkg"]\n', encoding="utf-8")
    assert _run(["scene", str(path), "--out", str(tmp_path / "run")]) == 2
    assert "nowhere.gpkg" in capsys.readouterr().err
