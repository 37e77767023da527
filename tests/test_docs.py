"""The manual keeps up with the work: every command and page is named, every link leads somewhere."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

import moonless
from moonless.cli import COMMANDS, group

REPO = Path(__file__).parents[1]
PAGES = [
    *(REPO / name for name in ("README.md", "REFERENCES.md", "CHANGELOG.md", "CONTRIBUTING.md")),
    *sorted((REPO / "docs").rglob("*.md")),
]


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


def test_the_newest_release_is_the_version() -> None:
    released = re.findall(r"^## (\d+\.\d+\.\d+)", (REPO / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert released[0] == moonless.__version__ and released == sorted(released, reverse=True)


def test_every_page_is_in_the_readme() -> None:
    readme = (REPO / "README.md").read_text(encoding="utf-8")
    missing = [page.name for page in PAGES if page.parent.name == "docs" and page.name not in readme]
    assert missing == []


def test_help_lists_every_command() -> None:
    told = CliRunner().invoke(group, ["--help"]).output
    assert all(f"  {name}" in told for name in COMMANDS)
    assert "Rule 5" in told


def _code(page: Path) -> list[str]:
    """Return what a page shows as code: indented lines, and words between backticks; continued lines are joined."""
    text = re.sub(r"\\\n\s*", " ", page.read_text(encoding="utf-8"))
    lines = [line.strip() for line in text.splitlines() if line.startswith("    ")]
    return lines + re.findall(r"`([^`\n]+)`", text)


SHOWN = sorted({line.split("  #")[0].strip() for page in PAGES for line in _code(page)})
TYPED = [line for line in SHOWN if line.startswith("moonless ") and len(line.split()) > 2 and "..." not in line]


@pytest.mark.parametrize("line", TYPED)
def test_commands_in_the_manual_can_be_typed(line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every option and value of a command shown is one the command takes; nothing is run."""
    monkeypatch.chdir(tmp_path)
    _, name, *args = shlex.split(line)
    for word in args:
        if re.fullmatch(r"[\w-]+(\.\w+|/)", word):  # files and folders that an owner would have
            (tmp_path / word).mkdir(parents=True) if word.endswith("/") else (tmp_path / word).touch()
    command = group.get_command(group.make_context("moonless", ["doctor"]), name)
    assert command is not None, f"there is no command {name}"
    command.make_context(name, args)


def test_the_manual_shows_commands_to_type() -> None:
    assert len(TYPED) >= 10


def test_options_named_in_the_manual_exist() -> None:
    known = set()
    context = group.make_context("moonless", ["doctor"])
    for name in COMMANDS:
        command = group.get_command(context, name)
        assert command is not None
        known |= {option for param in command.params for option in (*param.opts, *param.secondary_opts)}
    others = {"--use-angle", "--runs", "--limits", "--help", "--version"}  # a browser's, a benchmark's, everybody's
    # Of `python -m bench wild`.
    others |= {"--seed", "--count", "--jobs", "--verbose", "--each", "--pictures", "--plain"}
    others |= {"--seconds", "--cells"}  # of `python -m bench.fuzz`
    others |= {"--part", "--longest"}  # of `python -m bench.mutants.in_memory`
    named = {option for line in SHOWN for option in re.findall(r"(?<![\w-])--[a-z][a-z-]+", line)}
    assert named - known - others == set()


def test_benchmarks_named_in_the_manual_exist() -> None:
    listed = subprocess.run(
        [sys.executable, "-m", "bench"], cwd=REPO, capture_output=True, text=True, check=True, timeout=120
    ).stdout
    names = set(re.findall(r"[a-z_0-9]+(?:\.[a-z_0-9]+)*", listed))
    stems = {name.split(".")[0] for name in names}
    for line in SHOWN:
        for module in re.findall(r"python -m bench\.(\w+)", line):
            bench = REPO / "bench"
            assert (bench / f"{module}.py").exists() or (bench / module / "__main__.py").exists(), line
        told = re.search(r"python -m bench (.+)", line)
        if told is None:
            continue
        first, *rest = told.group(1).split()
        # What follows these are their own words.
        has_own = first in ("scenes", "wild", "blobs", "real", "real_variants", "helm_words", "faults")
        asked = [first] if has_own else [first, *rest]
        for word in asked:
            assert word in names | stems | {"NAME", "NAME..."} or any(n.startswith(word + ".") for n in names), line


def test_scenes_named_in_the_manual_exist() -> None:
    folders = (REPO / "src" / "moonless" / "data" / "scenes", REPO / "bench" / "over_charts")
    scenes = {path.stem for folder in folders for path in folder.glob("*.toml")}
    for line in SHOWN:
        told = re.search(r"python -m bench scenes (.+)", line)
        for word in told.group(1).split() if told else []:
            assert word in scenes or (REPO / word).exists(), line


def test_make_targets_named_in_the_manual_exist() -> None:
    targets = set(re.findall(r"^([a-z0-9]+):", (REPO / "Makefile").read_text(encoding="utf-8"), re.MULTILINE))
    for line in SHOWN:
        told = re.match(r"make ((?:[a-z0-9]+ ?)+)", line)
        for word in told.group(1).split() if told else []:
            assert word in targets, line


def test_files_named_in_the_manual_exist() -> None:
    ours = [p for folder in ("src", "tests", "bench", "design", "demo", "web/src") for p in (REPO / folder).rglob("*")]
    names = {str(p.relative_to(REPO)) for p in ours if p.is_file()}
    missing = []
    for page in PAGES:
        for file in re.findall(r"`([\w/.-]+\.(?:py|ts))\b[^`]*`", page.read_text(encoding="utf-8")):
            if not any(name == file or name.endswith("/" + file) for name in names):
                missing.append(f"{page.name}: {file}")
    assert missing == []


# Standards by their numbers, and works as "Name (1990)" or "(Name 1990)" or "Name and Name 1990".
_STANDARD = re.compile(
    r"ITU-R [A-Z]\.\d+|MSC\.\d+\(\d+\)|\bA\.\d{3}\(\d+\)|SN/Circ\.\d+|\bRFC \d+|\bIEC \d{5}|ISO(?:/IEC)? \d{4}|"
    r"\bS-\d{2}\b|OGC [\w-]*\d\w*|EUROCONTROL-SPEC-[\d-]+|NRL/MR/[\d-]+|Pub\. \d+|NGA\.STND\.\d+|MBTiles|WMO code \d+"
)
_WORK = re.compile(r"\b([A-Z][a-z]{2,})(?: et al\.)?,? \(?(?:19|20)\d\d\)|\[([A-Z][a-z]+)(?:\d{4})\]")
_NOT_A_WORK = {"April", "August", "Apr", "Conference", "Manual", "Southampton", "September", "July", "June", "System"}


def test_every_source_cited_is_in_the_references() -> None:
    references = (REPO / "REFERENCES.md").read_text(encoding="utf-8")
    listed = re.sub(r"\W+", " ", references)
    missing = set()
    for folder in ("src/moonless", "tests", "bench", "design", "demo"):
        for path in (REPO / folder).rglob("*.py"):
            if path == Path(__file__):
                continue
            text = path.read_text(encoding="utf-8")
            for standard in _STANDARD.findall(text):
                number = re.split(r"[ .(]", standard.removeprefix("EUROCONTROL-"))[-1].strip(")")
                whole = re.sub(r"\W+", " ", standard)
                if whole not in listed and number not in references:
                    missing.add(f"{path.relative_to(REPO)}: {standard}")
            for names in _WORK.findall(text):
                name = next(n for n in names if n)
                if name not in _NOT_A_WORK and name not in references:
                    missing.add(f"{path.relative_to(REPO)}: {name}")
    assert sorted(missing) == []


def test_every_reference_is_cited() -> None:
    cited = "\n".join(
        path.read_text(encoding="utf-8")
        for folder in ("src/moonless", "tests", "bench", "design", "demo", "docs")
        for path in (REPO / folder).rglob("*")
        if path.suffix in (".py", ".md", ".toml")
    )
    unused = []
    for entry in re.findall(r"\*\*([^*]+)\*\*", (REPO / "REFERENCES.md").read_text(encoding="utf-8")):
        words = [w for w in re.findall(r"[\w.-]*\w", entry) if w not in ("and", "et", "al", "of", "the", "van")]
        if not any(word in cited for word in words):
            unused.append(entry)
    assert unused == []
