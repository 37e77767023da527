"""Every example in a docstring gives what it says it gives."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

SRC = Path(__file__).parents[1] / "src"
MODULES = sorted(
    ".".join(path.relative_to(SRC).with_suffix("").parts)
    for path in (SRC / "moonless").rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("module", MODULES)
def test_examples(module: str) -> None:
    found = doctest.testmod(importlib.import_module(module), optionflags=doctest.ELLIPSIS)
    assert found.failed == 0


def test_some_modules_show_examples() -> None:
    assert len(MODULES) >= 4
