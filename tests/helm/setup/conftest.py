"""A home with charts, a secret and a way out of it."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    home = tmp_path / "home"
    (home / "charts" / "north").mkdir(parents=True)
    (home / ".secret").mkdir()
    (home / "charts" / "north" / "XX5MADE1.000").write_bytes(b"made")
    (home / "charts" / "north" / "notes.txt").write_text("mine alone")
    (tmp_path / "outside").mkdir()
    (home / "way out").symlink_to(tmp_path / "outside")
    monkeypatch.setenv("HOME", str(home))
    return home
