"""What every room's tests share."""

from __future__ import annotations

import ast
import functools
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# A busy machine makes no example wrong: only what is found decides, never how long it took.
settings.register_profile("unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("unhurried")

REPO = Path(__file__).parents[1]
SRC = REPO / "src"


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add ``--quick``: nothing that needs a browser or data, may compile a kernel, or is slow."""
    parser.addoption("--quick", action="store_true", help="no browser, no data, no kernel to compile, nothing slow")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Leave out of a quick run, before it is imported, each file that reaches a file of compiled functions."""
    is_test = collection_path.name.startswith("test_") and collection_path.suffix == ".py"
    return True if is_test and config.getoption("--quick") and _reaches_kernels(collection_path) else None


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out of a quick run what is marked as needing something, or as slow."""
    if config.getoption("--quick"):
        marks = {"browser", "data", "slow"}
        left_out = [item for item in items if marks & {mark.name for mark in item.iter_markers()}]
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in set(left_out)]


@functools.cache
def _reaches_kernels(path: Path) -> bool:
    """Return whether a file imports, anywhere in it or through ours, a file of compiled functions."""
    seen, wanted = {path}, [path]
    while wanted:
        for found in _imported(wanted.pop()):
            if found.name.endswith("_kernels.py"):
                return True
            if found not in seen:
                seen.add(found)
                wanted.append(found)
    return False


@functools.cache
def _imported(path: Path) -> frozenset[Path]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.update({node.module, *(f"{node.module}.{alias.name}" for alias in node.names)})
    files = set()
    for name in names:
        for base in (SRC, REPO, path.parent):
            whole = base.joinpath(*name.split("."))
            files.update(file for file in (whole.with_suffix(".py"), whole / "__init__.py") if file.is_file())
    return frozenset(files)


@pytest.fixture(scope="session")
def data_dir() -> Path:
    """Return the folder of real charts, logs and tables; skip, visibly, where there is none."""
    folder = Path(os.environ.get("MOONLESS_DATA", REPO.parent / "shared" / "data"))
    if not folder.is_dir():
        pytest.skip(f"real data not found at {folder}; set MOONLESS_DATA")
    return folder
