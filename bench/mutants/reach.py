"""Which tests run a line: coverage, test by test and fixture by fixture, kept until a source or a test changes.

What a line is that no coverage can see, a constant at the top of a file or the inside of a kernel, is reached by the
tests that run a line which names it.
"""

from __future__ import annotations

import ast
import hashlib
import os
import pickle
import re
import sys
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

from bench.mutants.client import Server
from bench.mutants.draw import Change
from bench.mutants.tree import KEPT

# A test's file is given so long, of the processor.
FILE_CPU_S = 900.0
# Names so short or so common reach everything and tell nothing.
_COMMON = {"self", "x", "n", "i", "_", "__all__", "__init__"}
# So many names are followed from one constant, and no more.
MOST_NAMES = 40

_Function = ast.FunctionDef | ast.AsyncFunctionDef


class Reach:
    """The map from lines to tests over some folders of tests."""

    def __init__(self, folder: Path, server: Server, under: list[str], without: list[str]) -> None:
        self._folder = folder
        self._sources = {str(p.relative_to(folder)): p.read_bytes() for p in sorted((folder / "src").rglob("*.py"))}
        self._places: dict[str, dict[int, Place]] = {}
        self._tests_at: dict[str, dict[int, set[str]]] = defaultdict(lambda: defaultdict(set))
        self.took: dict[str, float] = {}
        for name in under:
            helpers = hashlib.sha256((folder / "tests" / "conftest.py").read_bytes())
            for file in sorted(p for p in (folder / "tests" / name).rglob("*.py") if not p.name.startswith("test_")):
                helpers.update(file.read_bytes())
            for path in sorted((folder / "tests" / name).rglob("test_*.py")):
                if path.name not in without:
                    self._add(path, server, helpers.copy())

    def _add(self, path: Path, server: Server, key: hashlib._Hash) -> None:
        file = str(path.relative_to(self._folder))
        key.update(file.encode() + path.read_bytes())
        kept = KEPT / f"map-{key.hexdigest()[:32]}"
        if not self._holds(kept):
            lines_to = KEPT / f"new-{os.getpid()}"
            ran = server.run([file], None, FILE_CPU_S, lines_to)
            print(f"{file}: {ran.ran} tests mapped in {ran.seconds:.0f} s", file=sys.stderr, flush=True)
            if not ran.passed:
                lines_to.unlink(missing_ok=True)
                raise SystemExit(f"the tests fail before anything is changed: {ran.first}")
            lines, took, fixtures = pickle.loads(lines_to.read_bytes())
            # Templates run as Python too; what stands in them is not changed here.  Nor does a map hang on a source of
            # which no line was run: coverage tells of all there are.
            lines = {source: at for source, at in lines.items() if at and source in self._sources}
            sources = {source: hashlib.sha256(self._sources[source]).hexdigest() for source in lines}
            kept.write_bytes(pickle.dumps((sources, lines, took, fixtures)))
            lines_to.unlink()
        _, lines, took, fixtures = pickle.loads(kept.read_bytes())
        self.took.update(took)
        users = defaultdict(set)
        for test, names in fixtures.items():
            for name in names:
                users[f"fixture {name}"].add(test)
        for source, at in lines.items():
            mine = self._tests_at[source]
            for line, contexts in at.items():
                for context in contexts:
                    if context.startswith("fixture "):
                        mine[line] |= users[context]
                    elif context:
                        mine[line].add(context)

    def _holds(self, kept: Path) -> bool:
        """Whether a map was made, and no file of it has changed since."""
        if not kept.exists():
            return False
        sources, lines = pickle.loads(kept.read_bytes())[:2]
        now = self._sources
        return all(s in now and hashlib.sha256(now[s]).hexdigest() == was for s, was in sources.items() if lines.get(s))

    def tests(self, change: Change) -> list[str]:
        """Return the tests that reach a change, file by file, those of the least time first."""
        found = self._reaching(str(change.file), change.line, set())
        by_file: dict[str, list[str]] = defaultdict(list)
        for test in found:
            by_file[test.split("::")[0]].append(test)
        costs = {file: sum(self.took.get(t, 0.0) for t in tests) for file, tests in by_file.items()}
        return [
            test
            for file in sorted(by_file, key=lambda f: (costs[f], f))
            for test in sorted(by_file[file], key=lambda t: (self.took.get(t, 0.0), t))
        ]

    def _run_at(self, file: str, first: int, last: int) -> set[str]:
        at = self._tests_at.get(file, {})
        return set[str]().union(*(at.get(line, set()) for line in range(first, last + 1)))

    def _place(self, file: str, line: int) -> Place:
        if file not in self._places:
            self._places[file] = places(ast.parse(self._sources[file]))
        return self._places[file].get(line, NOWHERE)

    def _reaching(self, file: str, line: int, seen: set[tuple[str, str]]) -> set[str]:
        place = self._place(file, line)
        if place.function and not place.is_compiled:
            run = self._run_at(file, min(place.first, line), max(place.last, line))
            if run:
                return run
        # The top of a file, a kernel, or a default of an argument: whoever names it.
        return self._naming(place.names - _COMMON, file, seen)

    def _naming(self, names: frozenset[str], home: str, seen: set[tuple[str, str]]) -> set[str]:
        """Return the tests that run a line which names one of these, or names what is made of it."""
        out: set[str] = set()
        for name in names:
            if (home, name) in seen or len(seen) > MOST_NAMES:
                continue
            seen.add((home, name))
            word = re.compile(rf"\b{re.escape(name)}\b".encode())
            for file, source in self._sources.items():
                if not word.search(source):
                    continue
                for number, text in enumerate(source.splitlines(), 1):
                    if word.search(text) and not text.lstrip().startswith((b"def ", b"import", b"from", b"#")):
                        place = self._place(file, number)
                        if place.function and not place.is_compiled:
                            out |= self._run_at(file, number, number)
                        else:
                            out |= self._naming(place.names - _COMMON, file, seen)
        return out


@dataclass(frozen=True)
class Place:
    """What stands at a line: the statement's lines, the function whose body it is in, and what to look for by name."""

    first: int
    last: int
    function: str
    is_compiled: bool
    names: frozenset[str]


NOWHERE = Place(0, 0, "", False, frozenset())


def places(tree: ast.Module) -> dict[int, Place]:
    """Return what stands at each line of a module."""
    out: dict[int, Place] = {}

    def walk(body: list[ast.stmt], function: _Function | None, owner: str) -> None:
        for node in body:
            first = min([node.lineno, *(d.lineno for d in getattr(node, "decorator_list", ()))])
            last = node.end_lineno or node.lineno
            inner = [b for name in ("body", "orelse", "finalbody") for b in getattr(node, name, ())]
            inner += [b for h in getattr(node, "handlers", ()) for b in h.body]
            inner += [b for c in getattr(node, "cases", ()) for b in c.body]
            head = max(first, inner[0].lineno - 1) if inner else last
            if function is None:
                names = frozenset(_bound(node) | ({owner} if owner else set()))
                place = Place(first, head, "", False, names)
            else:
                place = Place(first, head, function.name, _compiled(function), frozenset({function.name}))
            for line in range(first, last + 1):
                out[line] = place
            if isinstance(node, ast.ClassDef):
                walk(inner, None, node.name)
            else:
                walk(inner, node if isinstance(node, _Function) and function is None else function, owner)

    walk(tree.body, None, "")
    return out


def _compiled(function: _Function) -> bool:
    return any("njit" in ast.unparse(d) or "vectorize" in ast.unparse(d) for d in function.decorator_list)


def _bound(statement: ast.stmt) -> set[str]:
    """Return the names that a statement at the top of a file or a class gives a value to."""
    if isinstance(statement, ast.Assign):
        return {n.id for t in statement.targets for n in ast.walk(t) if isinstance(n, ast.Name)}
    if isinstance(statement, ast.AnnAssign | ast.AugAssign) and isinstance(statement.target, ast.Name):
        return {statement.target.id}
    if isinstance(statement, _Function | ast.ClassDef):
        return {statement.name}
    return set()
