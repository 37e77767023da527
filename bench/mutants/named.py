"""The changes of every day, from ``named.toml``: each would mislead, and each has the test that must see it."""

from __future__ import annotations

import re
import tomllib
from collections import defaultdict
from pathlib import Path

from bench.mutants.draw import REPO, Change, fitted

NAMED = Path(__file__).with_name("named.toml")


def named() -> list[tuple[Change, str]]:
    """Return the changes and their tests; SystemExit where a change or its test is not there any more."""
    where = defaultdict(list)
    for path in sorted((REPO / "tests").rglob("test_*.py")):
        for name in re.findall(r"^def (test_\w+)\(", path.read_text(encoding="utf-8"), re.MULTILINE):
            where[name].append(str(path.relative_to(REPO)))
    out = []
    for one in tomllib.loads(NAMED.read_text(encoding="utf-8"))["change"]:
        files = where[one["by"]]
        if len(files) != 1:
            raise SystemExit(f"{len(files)} tests are called {one['by']}: put {NAMED.name} right")
        out.append((fitted(one["file"], one["was"], one["now"]), f"{files[0]}::{one['by']}"))
    return out
