"""The copy of the source that wrong changes are written into, kept between runs so that what is compiled holds."""

from __future__ import annotations

import ast
import compileall
import fcntl
import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from bench.mutants.draw import REPO, Change

KEPT = REPO / ".mutants"
_COPIED = ("src", "tests", "bench", "demo", "docs", "pyproject.toml", "README.md", "REFERENCES.md", "Makefile")
_LEFT = {"static", "__pycache__"}
_PROFILE = """
from hypothesis import Phase as _Phase
# What fails need not be made small, and must fail again.
settings.register_profile("mutants", settings.get_profile("unhurried"), derandomize=True, database=None,
                          phases=[_Phase.explicit, _Phase.generate])
settings.load_profile("mutants")
"""


@contextmanager
def tree() -> Iterator[Path]:
    """Give a copy of the repository as it is now, for this process alone."""
    for n in range(16):
        folder = KEPT / f"tree-{n}"
        folder.mkdir(parents=True, exist_ok=True)
        with (KEPT / f"lock-{n}").open("w") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                continue
            _synchronise(folder)
            yield folder
            return
    raise SystemExit(f"sixteen runs at once are enough; else remove {KEPT}")


def _files(under: Path) -> Iterator[Path]:
    for name in _COPIED:
        top = under / name
        if top.is_file():
            yield top.relative_to(under)
        for folder, folders, files in os.walk(top):
            folders[:] = [f for f in folders if f not in _LEFT and not f.startswith(".")]
            yield from ((Path(folder) / f).relative_to(under) for f in files)


def _synchronise(folder: Path) -> None:
    """Copy what differs, times and all: what Python and numba compiled of an unchanged file holds."""
    wanted = set(_files(REPO))
    for file in set(_files(folder)) - wanted:
        (folder / file).unlink()
    for file in wanted:
        source, copy = REPO / file, folder / file
        old, new = copy.stat() if copy.exists() else None, source.stat()
        if old is None or (old.st_size, old.st_mtime_ns) != (new.st_size, new.st_mtime_ns):
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(source, copy)
    conftest = folder / "tests" / "conftest.py"
    conftest.write_text((REPO / "tests" / "conftest.py").read_text() + _PROFILE)
    for cache in (REPO / "src").rglob("__pycache__"):
        for compiled in cache.glob("*.nb[ic]"):
            copy = folder / compiled.relative_to(REPO)
            if not copy.exists():
                copy.parent.mkdir(parents=True, exist_ok=True)
                shutil.copy2(compiled, copy)
    for name in ("src", "tests", "bench"):
        compileall.compile_dir(folder / name, quiet=2)


class Kernels:
    """Which compiled files hold what of another: a wrong change must be compiled into all of them.

    numba asks only whether the file of a kernel itself has changed, not what it calls or which constants it froze.
    """

    def __init__(self, folder: Path) -> None:
        self._folder, source = folder, folder / "src"
        self._files = {p: _imported(p) for p in source.rglob("*_kernels.py")}

    def holding(self, changed: Path) -> list[Path]:
        """Return the kernel files that a change in ``changed`` (from the repository) goes into."""
        out: set[Path] = set()
        new = {self._folder / changed}
        while new:
            modules = {".".join(p.relative_to(self._folder / "src").with_suffix("").parts) for p in new}
            new = {p for p, imported in self._files.items() if imported & modules} - out
            out |= new
        return sorted(out | ({self._folder / changed} & set(self._files)))

    @contextmanager
    def afresh(self, changed: Path) -> Iterator[None]:
        """Put what was compiled of a change's kernels aside, and back again."""
        aside: list[tuple[Path, Path]] = []
        patterns: list[tuple[Path, re.Pattern[str]]] = []
        for path in self.holding(changed):
            cache, pattern = path.parent / "__pycache__", re.compile(re.escape(path.stem) + r"\..*\.nb[ic]")
            patterns.append((cache, pattern))
            for file in sorted(cache.glob("*.nb[ic]")):
                if pattern.fullmatch(file.name):
                    kept = file.with_name(file.name + ".kept")
                    os.replace(file, kept)
                    aside.append((kept, file))
        try:
            yield
        finally:
            for cache, pattern in patterns:
                for file in cache.glob("*.nb[ic]"):
                    if pattern.fullmatch(file.name):
                        file.unlink()
            for kept, file in aside:
                os.replace(kept, file)


def _imported(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_bytes())):
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return found


@contextmanager
def changed(folder: Path, kernels: Kernels, change: Change) -> Iterator[None]:
    """Write a change into the copy and take it out again."""
    path = folder / change.file
    source, stamp = path.read_bytes(), path.stat()
    with kernels.afresh(change.file):
        path.write_bytes(change.in_source(source))
        try:
            yield
        finally:
            path.write_bytes(source)
            # As if it had never been touched: what was compiled of it holds again.
            os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
