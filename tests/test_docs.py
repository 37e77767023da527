"""The manual keeps up with the work: every command and page is named, every link leads somewhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from moonless.cli import COMMANDS, group

REPO = Path(__file__).parents[1]
PAGES = [REPO / "README.md", REPO / "REFERENCES.md", *sorted((REPO / "docs").glob("*.md"))]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_stands_in_the_manual(name: str) -> None:
    assert any(f"moonless {name}" in page.read_text(encoding="utf-8") for page in PAGES)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself_with_an_example(name: str) -> None:
    told = CliRunner().invoke(group, [name, "--help"])
    assert told.exit_code == 0
    assert f"moonless {name}" in told.output, "no example in its help"


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
        if not target.startswith("http"):
            assert (page.parent / target).exists(), f"{page.name}: {target}"


def test_every_page_is_in_the_readme() -> None:
    readme = (REPO / "README.md").read_text(encoding="utf-8")
    missing = [page.name for page in PAGES if page.parent.name == "docs" and page.name not in readme]
    assert missing == []


def test_help_lists_every_command() -> None:
    told = CliRunner().invoke(group, ["--help"]).output
    assert all(f"  {name}" in told for name in COMMANDS)
    assert "Rule 5" in told
