"""Every tutorial runs as it stands, and draws the picture it shows.

``python tests/test_tutorials.py`` runs them and puts the pictures into docs/tutorials/pictures afresh.
"""

from __future__ import annotations

import re
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from PIL import Image

import moonless as ml

TUTORIALS = Path(__file__).parents[1] / "docs" / "tutorials"
PAGES = sorted(path for path in TUTORIALS.glob("*.md") if path.name != "index.md")


def code_of(page: Path) -> str:
    """Return the Python of a page, its other lines blank, so that a line's number is the page's."""
    out, is_code = [], False
    for line in page.read_text(encoding="utf-8").splitlines():
        if line.startswith("```"):
            is_code = line == "```python"
            out.append("")
        else:
            out.append(line if is_code else "")
    return "\n".join(out)


@contextmanager
def _in(folder: Path) -> Iterator[None]:
    import os

    before = Path.cwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


def run(page: Path, folder: Path) -> Path:
    """Run a page in a folder; return the picture it drew."""
    matplotlib.use("Agg")
    from matplotlib import pyplot

    with _in(folder):
        try:
            exec(compile(code_of(page), str(page), "exec"), {"__name__": page.stem})
        finally:
            pyplot.close("all")
    return folder / f"{page.stem}.png"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_it_runs_and_draws_its_picture(page: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    drawn = run(page, tmp_path)
    assert capsys.readouterr().out.strip(), "it prints nothing"
    kept = TUTORIALS / "pictures" / drawn.name
    with Image.open(drawn) as now, Image.open(kept) as before:
        assert now.size == before.size
        a, b = (np.asarray(one.convert("L").resize((64, 64)), dtype=float) for one in (now, before))
    assert np.abs(a - b).mean() < 12.0, "the picture on the page is another one: python tests/test_tutorials.py"


def test_there_are_eight_and_the_index_names_them_all() -> None:
    index = (TUTORIALS / "index.md").read_text(encoding="utf-8")
    assert len(PAGES) == 8 and all(f"({page.name})" in index for page in PAGES)
    for page in PAGES:
        assert f"(pictures/{page.stem}.png)" in page.read_text(encoding="utf-8")


def test_between_them_they_show_every_job_of_the_door() -> None:
    used = set(re.findall(r"\bml\.(\w+)", "\n".join(code_of(page) for page in PAGES)))
    jobs = {name for name in ml.__all__ if name[0].islower()} - {"detect", "default_boat", "read_boat", "scenes"}
    assert jobs <= used and used <= set(ml.__all__)


if __name__ == "__main__":
    import tempfile

    for given in [page for page in PAGES if len(sys.argv) < 2 or page.stem in sys.argv[1:]]:
        with tempfile.TemporaryDirectory() as name:
            shutil.copy(run(given, Path(name)), TUTORIALS / "pictures")
