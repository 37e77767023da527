"""``moonless debrief`` as someone would type it; the page stands alone, and wrong input is one line."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from test_debrief import crossing

from moonless.cli import main
from moonless.wire.recording import RecordingWriter


def run(*words: object) -> int:
    with pytest.raises(SystemExit) as left:
        main(["debrief", *(str(word) for word in words)])
    return int(left.value.code or 0)


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "run.mcap"
    writer = RecordingWriter(path)
    for number, one in enumerate(crossing(150.0)):
        calls = [{"key": "echo 5", "kind": "vessel", "urgency": 3, "say": "Vessel to starboard", "echo": 5}]
        writer.reading({**one.line, "calls": calls if number == 20 else []}, one.time_ns)
        if number == 24:
            writer.answer("echo 5", one.time_ns)
    writer.close()
    return path


class _Tags(HTMLParser):
    """Holds a page to opening and closing its tags in order."""

    EMPTY = frozenset({"meta", "img", "br", "path", "circle"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.links += [v for k, v in attrs if k in ("src", "href") and v]
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.EMPTY:
            assert self.open.pop() == tag


def test_page_paper_and_data_say_the_same(recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page, paper, data = tmp_path / "run.html", tmp_path / "run.pdf", tmp_path / "run.json"
    assert run(recording, "--out", page, "--pdf", paper, "--json", data) == 0
    assert "Nearest vessel: a vessel without AIS, 150 m off" in capsys.readouterr().out
    html = page.read_text(encoding="utf-8")
    tags = _Tags()
    tags.feed(html)
    assert tags.open == [] and all(link.startswith("data:") for link in tags.links)
    assert "150 m" in html and "no land is drawn" in html and "Not evidence" in html
    assert not re.search(r"\bnan\b|\binf\b|None", re.sub(r"data:[^\"]*", "", html))
    assert paper.read_bytes().startswith(b"%PDF-")
    told = json.loads(data.read_text(encoding="utf-8"))
    assert told["meetings"][0]["closest_m"] == pytest.approx(150.0, abs=1.0)
    # Answered four turns of 2.5 s after it was said.
    assert told["calls"][0]["answered_s"] == pytest.approx(10.0) and "<td>after 10 s</td>" in html


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["none.mcap"], "none.mcap is not there"),
        (["."], "is a folder"),
        (["bad.mcap"], "is not a recording"),
        (["run.mcap", "--out", "none/run.html"], "there is no folder"),
        (["run.mcap", "--plan", "none.gpx"], "is not there"),
        (["run.mcap", "--plan", "plan.json"], "is no plan"),
        (["run.mcap", "--boat", "none.toml"], "none.toml"),
        (["run.mcap", "--anew"], "neither readings nor a whole turn"),
    ],
)
def test_wrong_input_is_one_line_and_nothing_is_written(
    words: list[str], said: str, recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bad.mcap").write_bytes(b"nothing of the kind")
    (tmp_path / "plan.json").write_text("{}", encoding="utf-8")
    before = sorted(tmp_path.iterdir())
    assert run(*words, *([] if "--out" in words else ["--out", "run.html"])) == 2
    lines = capsys.readouterr().err.strip().splitlines()
    assert len(lines) == 1 and said in lines[0]
    assert sorted(tmp_path.iterdir()) == before
