"""``moonless predict``: its files, and what it says when it is asked wrongly."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from moonless.cli import main

DATA = Path(os.environ.get("MOONLESS_DATA", Path(__file__).parents[2].parent / "shared" / "data"))
PLACE = ["--at", "42.3527,-71.0350", "--heading", "110", "--range", "1.5"]


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        main(["predict", *argv])
    said = capsys.readouterr()
    return int(left.value.code or 0), said.out, said.err


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("cache")


@pytest.fixture
def chart(cache: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    cell = DATA / "enc" / "US5MA11M"
    if not cell.is_dir():
        pytest.skip(f"no real charts at {DATA}")
    monkeypatch.setenv("XDG_CACHE_HOME", str(cache))
    return str(cell)


@pytest.mark.data
def test_picture_and_video(chart: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from moonless.wire.cat240 import Cat240Decoder

    png, video = tmp_path / "scope.png", tmp_path / "turn.cat240"
    code, out, _ = run(capsys, "--chart", chart, *PLACE, "--png", str(png), "--cat240", str(video))
    assert code == 0 and "likely to show" in out
    with Image.open(png) as image:
        pixels = np.asarray(image)
    # Red on black: dark on the whole, and never more green or blue than red.
    assert pixels.mean() < 30 and np.all(pixels[..., 0] >= pixels[..., 1]) and pixels[..., 0].max() > 150
    spokes = list(Cat240Decoder().feed(video.read_bytes()))
    assert len(spokes) == 2048
    assert sorted(p.name for p in tmp_path.iterdir() if p.is_file()) == ["scope.png", "turn.cat240"]


@pytest.mark.data
def test_same_question_same_bytes(chart: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one, two = tmp_path / "a", tmp_path / "b"
    for video in (one, two):
        run(capsys, "--chart", chart, *PLACE, "--cat240", str(video), "--waves", "1.5", "--rain", "4")
    assert one.read_bytes() == two.read_bytes()


@pytest.mark.data
def test_no_chart_there(chart: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys, "--chart", chart, "--at", "10,10", "--heading", "0", "--range", "3")
    assert code == 2 and "no chart covers" in err and err.count("\n") == 1


@pytest.mark.parametrize(
    ("argv", "phrase"),
    [
        (["--at", "42,north", "--heading", "0", "--range", "3"], "is not LAT,LON"),
        (["--at", "95,0", "--heading", "0", "--range", "3"], "is not a place on earth"),
        (["--at", "1,1", "--heading", "400", "--range", "3"], "heading"),
        (["--at", "1,1", "--heading", "0", "--range", "-3"], "range"),
        (["--at", "1,1", "--heading", "0", "--range", "3", "--shower", "1,1,1"], "RADIUS_NM"),
        (["--at", "1,1", "--heading", "0"], "range"),
    ],
)
def test_wrong_questions(tmp_path: Path, capsys: pytest.CaptureFixture[str], argv: list[str], phrase: str) -> None:
    code, _, err = run(capsys, "--chart", str(tmp_path), *argv)
    assert code == 2 and phrase in err and err.count("\n") == 1


def test_a_folder_without_a_chart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys, "--chart", str(tmp_path), "--at", "1,1", "--heading", "0", "--range", "3")
    assert code == 2 and str(tmp_path) in err and err.count("\n") == 1
