"""The house stands on its floors: a file imports only from floors below its own."""

from __future__ import annotations

import ast
import functools
from pathlib import Path

import pytest

SRC = Path(__file__).parents[1] / "src" / "moonless"

# Lowest first.  Names on one floor do not import each other, except the single files of the ground floor, which
# stand in the order given.
FLOORS: list[list[str]] = [
    ["errors"],
    ["version"],
    ["constants"],
    ["units"],
    ["clock"],
    ["files"],
    ["folders"],
    ["tables"],
    ["pages"],
    ["geojson"],
    ["frames"],
    ["boat", "rules", "sky", "sea"],
    ["chart", "scan"],
    ["sight"],
    ["radar", "wire", "picture"],
    ["echo", "scene"],
    ["track"],
    ["reading"],
    ["watch"],
    ["passage"],
    ["practice", "debrief", "memory", "share"],
    ["helm"],
    ["cli", "api"],
]
FLOOR_OF = {name: height for height, floor in enumerate(FLOORS) for name in floor}
NUMBA_ONLY_IN = "_kernels.py"

# The reading's own floors, lowest first: its stages in the order of a turn, on what all stand on.  Identification
# asks visibility how far a thing shows; visibility asks nothing of identification (it is given plain bodies).
READING_FLOORS: list[list[str]] = [
    ["line"],
    ["types", "polar"],
    ["situation", "words", "contact", "trial_types"],
    ["own", "chart_around"],
    ["expected"],
    ["registration"],
    ["visibility"],
    ["identify"],
    ["collision"],
    ["alerts"],
    ["publish"],
    ["judge"],
]
READING_FLOOR_OF = {name: height for height, floor in enumerate(READING_FLOORS) for name in floor}


def _files() -> list[Path]:
    return sorted(SRC.rglob("*.py"))


@functools.cache
def _nodes(path: Path) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


@functools.cache
def _imports(path: Path) -> set[str]:
    """Return the dotted names a file imports, wherever in it the import stands."""
    found: set[str] = set()
    for node in _nodes(path):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide which floor they reach"
            found.add(node.module or "")
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
    return found


def _room(dotted: str) -> str | None:
    parts = dotted.split(".")
    return parts[1] if parts[0] == "moonless" and len(parts) > 1 and parts[1] in FLOOR_OF else None


def test_every_package_has_a_floor() -> None:
    rooms = {p.name if p.is_dir() else p.stem for p in SRC.iterdir() if p.is_dir() or p.suffix == ".py"}
    assert rooms - {"__init__", "__main__", "__pycache__", "data"} <= set(FLOOR_OF)


@pytest.mark.parametrize("path", _files(), ids=lambda p: str(p.relative_to(SRC)))
def test_imports_go_down(path: Path) -> None:
    here = path.relative_to(SRC).parts[0].removesuffix(".py")
    if here in ("__init__", "__main__"):
        return
    for dotted in _imports(path):
        room = _room(dotted)
        if room is not None and room != here:
            assert FLOOR_OF[room] < FLOOR_OF[here], f"{here} (in {path.name}) imports {room}, which is not below it"


def test_every_part_of_the_reading_has_a_floor() -> None:
    parts = {p.stem for p in (SRC / "reading").iterdir() if p.is_dir() or p.suffix == ".py"}
    assert parts - {"__init__", "__pycache__"} == set(READING_FLOOR_OF)


@pytest.mark.parametrize("path", sorted((SRC / "reading").rglob("*.py")), ids=lambda p: str(p.relative_to(SRC)))
def test_the_stages_of_a_reading_are_walked_one_way(path: Path) -> None:
    here = path.relative_to(SRC / "reading").parts[0].removesuffix(".py")
    if here == "__init__":
        return
    for dotted in _imports(path):
        parts = dotted.split(".")
        if parts[:2] != ["moonless", "reading"] or len(parts) < 3 or parts[2] == here:
            continue
        assert READING_FLOOR_OF[parts[2]] < READING_FLOOR_OF[here], f"{here} ({path.name}) imports {parts[2]}"


@pytest.mark.parametrize("path", _files(), ids=lambda p: str(p.relative_to(SRC)))
def test_compilers_stay_in_kernels(path: Path) -> None:
    uses_numba = any(name.split(".")[0] == "numba" for name in _imports(path))
    assert not uses_numba or path.name.endswith(NUMBA_ONLY_IN), f"{path}: numba belongs in files named *{NUMBA_ONLY_IN}"


def test_only_the_clock_reads_a_clock() -> None:
    forbidden = {"time.time", "time.time_ns", "time.monotonic", "datetime.now", "datetime.utcnow"}
    for path in _files():
        if path.name == "clock.py":
            continue
        for node in _nodes(path):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                called = ast.unparse(node.func)
                assert not any(called == f or called.endswith("." + f) for f in forbidden), f"{path}: {called}"


def _called(path: Path) -> set[str]:
    return {ast.unparse(node.func) for node in _nodes(path) if isinstance(node, ast.Call)}


def test_only_files_replaces_a_file() -> None:
    forbidden = {"os.replace", "os.rename", "os.fsync", "os.link", "tempfile.mkstemp", "tempfile.NamedTemporaryFile"}
    ends = (".write_text", ".write_bytes")
    for path in _files():
        if path.name != "files.py":
            bad = {name for name in _called(path) if name in forbidden or name.endswith(ends)}
            # Inside a temporary folder of its own that goes again nothing is replaced.
            bad -= {n for n in bad if path.name == "paper.py" and n.endswith(ends)}
            assert not bad, f"{path}: {sorted(bad)}; write through moonless.files"


def test_only_folders_knows_the_users_folders() -> None:
    for path in _files():
        if path.name != "folders.py":
            words = {
                n.value for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Constant)
            }
            known = {
                w for w in words if isinstance(w, str) and w in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "LOCALAPPDATA")
            }
            assert not known and "platformdirs" not in _imports(path), f"{path}: ask moonless.folders"


def test_only_tables_reads_toml() -> None:
    for path in _files():
        assert path.name == "tables.py" or "tomllib" not in _imports(path), f"{path}: read through moonless.tables"
