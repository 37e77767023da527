"""Whether the tests bite: small wrong changes drawn at random, and whether the tests of the room see each.

    python -m bench.mutants [--seed N] [--sample N] [--room ROOM ...] [--at FILE:LINE ...] [--named]

A change is one that a slip of the pen makes: a comparison turned, a sign, a sine for a cosine, port for starboard, a
number doubled, a condition negated.  Each is written into a copy of the source, the tests of that room alone are run on
the copy until the first failure, and one JSON line tells it.  What passes is a survivor: read it, and where it would
mislead a skipper write the test.  Some survivors change nothing that anybody can see; those stay.

The sample is drawn by the seed from all changes of the rooms, each room by its share; the last line has the figures.
``--named`` tries the changes of `_mutants_named`, which were made by hand and would each mislead; all must be caught.

Why not a general tool: what misleads here is a side, a unit or a sign, which none of them changes, and a sample of a
room's own tests takes minutes where a run of all changes takes days.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from bench._mutants_named import NAMED

REPO = Path(__file__).parents[1]
ROOMS = ("rules", "sea", "wire", "passage", "reading", "track", "watch")
# A run of a room's tests takes half a minute at the most; what takes ten times that hangs.
TIMEOUT_S = 300.0

_COMPARED = {
    ast.Lt: ("<", (">", "<=")), ast.LtE: ("<=", (">", "<")), ast.Gt: (">", ("<", ">=")), ast.GtE: (">=", ("<", ">")),
    ast.Eq: ("==", ("!=",)), ast.NotEq: ("!=", ("==",)), ast.Is: ("is", ("is not",)), ast.IsNot: ("is not", ("is",)),
    ast.In: ("in", ("not in",)), ast.NotIn: ("not in", ("in",)),
}  # fmt: skip
_REACHED = {
    ast.Add: ("+", "-"), ast.Sub: ("-", "+"), ast.Mult: ("*", "/"), ast.Div: ("/", "*"), ast.Pow: ("**", "*"),
    ast.Mod: ("%", "//"), ast.FloorDiv: ("//", "%"), ast.BitAnd: ("&", "|"), ast.BitOr: ("|", "&"),
}  # fmt: skip
_CALLED = {
    "sin": "cos", "cos": "sin", "min": "max", "max": "min", "floor": "ceil", "ceil": "floor", "minimum": "maximum",
    "maximum": "minimum", "any": "all", "all": "any", "argmin": "argmax", "argmax": "argmin", "radians": "float",
    "degrees": "float", "abs": "float", "wrap_180": "wrap_360", "wrap_360": "wrap_180", "kn_to_mps": "float",
    "mps_to_kn": "float", "append": "count",
}  # fmt: skip
_SAID = {
    "port": "starboard", "starboard": "port", "high": "low", "low": "high", "E": "W", "W": "E", "N": "S", "S": "N",
    "K": "N", "M": "K", "T": "M", "R": "T", "ahead": "astern", "in sight": "radar only", "radar only": "in sight",
    "vessel": "uncharted", "uncharted": "vessel", "metres": "yards", "flood": "ebb", "ebb": "flood", "f": "M",
}  # fmt: skip


@dataclass(frozen=True)
class Change:
    """One wrong change: bytes ``start`` to ``end`` of a file become ``now``."""

    file: Path
    line: int
    start: int
    end: int
    was: str
    now: str

    @property
    def room(self) -> str:
        """The package the file stands in, whose tests must see it."""
        return self.file.parts[2]


def _is_type(node: ast.expr) -> bool:
    """Whether a name is one of a type: ``None``, or written large."""
    if isinstance(node, ast.Subscript | ast.Attribute):
        return _is_type(node.value) or (isinstance(node, ast.Attribute) and node.attr[:1].isupper())
    return (isinstance(node, ast.Constant) and node.value is None) or (
        isinstance(node, ast.Name) and (node.id[:1].isupper() or node.id in ("int", "str", "float", "bytes", "list"))
    )


class _Finder(ast.NodeVisitor):
    """Walks a module and keeps every change of it.  Words of errors, types and docstrings are nobody's figures."""

    def __init__(self, file: Path, source: bytes) -> None:
        self._file, self._source, self.found = file, source, list[Change]()
        self._starts = [0]
        for line in source.splitlines(keepends=True):
            self._starts.append(self._starts[-1] + len(line))

    def _span(self, node: ast.expr) -> tuple[int, int]:
        assert node.end_lineno is not None and node.end_col_offset is not None
        return self._starts[node.lineno - 1] + node.col_offset, self._starts[node.end_lineno - 1] + node.end_col_offset

    def _put(self, node: ast.expr, start: int, end: int, now: str) -> None:
        was = self._source[start:end].decode()
        if was != now:
            self.found.append(Change(self._file, node.lineno, start, end, was, now))

    def _between(self, node: ast.expr, left: ast.expr, right: ast.expr, was: str, nows: tuple[str, ...]) -> None:
        """Change the operator that stands somewhere between two operands."""
        low, high = self._span(left)[1], self._span(right)[0]
        at = self._source[low:high].decode().find(was)
        if at >= 0:
            for now in nows:
                self._put(node, low + at, low + at + len(was), now)

    def visit_Compare(self, node: ast.Compare) -> None:
        for left, operator, right in zip([node.left, *node.comparators], node.ops, node.comparators, strict=False):
            if type(operator) in _COMPARED:
                self._between(node, left, right, *_COMPARED[type(operator)])
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if type(node.op) in _REACHED and not (isinstance(node.op, ast.BitOr) and _is_type(node.right)):
            was, now = _REACHED[type(node.op)]
            self._between(node, node.left, node.right, was, (now,))
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        was, now = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
        for left, right in zip(node.values, node.values[1:], strict=False):
            self._between(node, left, right, was, (now,))
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.USub | ast.Not | ast.Invert):
            start = self._span(node)[0]
            self._put(node, start, start + (3 if isinstance(node.op, ast.Not) else 1), "")
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        value = node.value
        if isinstance(value, bool):
            self._put(node, *self._span(node), str(not value))
        elif isinstance(value, int | float):
            now = 1 if value == 0 else 0 if value == 1 and isinstance(value, int) else value * 2
            self._put(node, *self._span(node), repr(type(value)(now)))
        elif isinstance(value, str) and value in _SAID:
            self._put(node, *self._span(node), repr(_SAID[value]))

    def visit_Call(self, node: ast.Call) -> None:
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in _CALLED and len(node.args) >= 1:
            end = self._span(node.func)[1]
            whole = isinstance(node.func, ast.Attribute) and _CALLED[name] == "float"
            self._put(node, self._span(node.func)[0] if whole else end - len(name), end, _CALLED[name])
        if name in ("atan2", "arctan2", "hypot") and name != "hypot" and len(node.args) == 2:
            (a, b), (c, d) = self._span(node.args[0]), self._span(node.args[1])
            source = self._source
            self._put(node, a, d, (source[c:d] + source[b:c] + source[a:b]).decode())
        self.generic_visit(node)

    def _negate(self, test: ast.expr) -> None:
        start, end = self._span(test)
        self._put(test, start, end, f"not ({self._source[start:end].decode()})")

    def visit_If(self, node: ast.If) -> None:
        if not (isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"):
            self._negate(node.test)
            self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        self._negate(node.test)
        self.generic_visit(node)

    # What is said of types, of errors and to readers of the source is no figure.
    def visit_Raise(self, node: ast.Raise) -> None: ...
    def visit_Assert(self, node: ast.Assert) -> None: ...
    def visit_JoinedStr(self, node: ast.JoinedStr) -> None: ...

    def visit_Expr(self, node: ast.Expr) -> None:
        if not isinstance(node.value, ast.Constant):
            self.generic_visit(node)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_arg(self, node: ast.arg) -> None: ...

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        for default in (*node.args.defaults, *(d for d in node.args.kw_defaults if d is not None)):
            self.visit(default)
        for inner in node.body:
            self.visit(inner)


def changes_of(file: Path, source: bytes) -> list[Change]:
    """Return every change of one file that still parses, in order of the text."""
    finder = _Finder(file, source)
    finder.visit(ast.parse(source))
    return sorted(set(finder.found), key=lambda c: (c.start, c.end, c.now))


def all_changes(rooms: tuple[str, ...]) -> list[Change]:
    """Return every change of the rooms."""
    out: list[Change] = []
    for room in rooms:
        for path in sorted((REPO / "src" / "moonless" / room).rglob("*.py")):
            out += changes_of(path.relative_to(REPO), path.read_bytes())
    return out


def named_changes() -> list[Change]:
    """Return the changes made by hand; SystemExit where the source has gone on and one does not fit any more."""
    out = []
    for name, was, now, _ in NAMED:
        path = REPO / "src" / "moonless" / name
        source = path.read_bytes()
        at = source.find(was.encode())
        if at < 0:
            raise SystemExit(f"{name} has no {was!r} any more: put the list of named changes right")
        line = source[:at].count(b"\n") + 1
        out.append(Change(path.relative_to(REPO), line, at, at + len(was.encode()), was, now))
    return out


def _copy(folder: Path) -> None:
    """Copy what tests need, the compiled kernels with it; the built screens are not."""
    leave = shutil.ignore_patterns("static", ".*")
    for name in ("src", "tests", "bench", "demo", "docs"):
        shutil.copytree(REPO / name, folder / name, ignore=leave)
    for name in ("pyproject.toml", "README.md", "REFERENCES.md"):
        if (REPO / name).exists():
            shutil.copy(REPO / name, folder / name)
    with (folder / "tests" / "conftest.py").open("a") as conftest:
        # What fails need not be made small.
        conftest.write(
            "\nfrom hypothesis import Phase as _Phase\n"
            "settings.register_profile('mutants', settings.get_profile('unhurried'), derandomize=True, database=None,\n"
            "                          phases=[_Phase.explicit, _Phase.generate])\nsettings.load_profile('mutants')\n"
        )


def _tests(folder: Path, asked: list[str], *more: str) -> tuple[bool, str, str]:
    """Run tests on the copy; returns whether all passed, the first that did not, and what was printed."""
    data = os.environ.get("MOONLESS_DATA", str(REPO.parent / "shared" / "data"))
    env = {**os.environ, "PYTHONPATH": str(folder / "src"), "MOONLESS_DATA": data, "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", "pytest", *asked, "-x", "-q", "-p", "no:cacheprovider", "--tb=no", *more]
    try:
        done = subprocess.run(command, cwd=folder, env=env, capture_output=True, text=True, timeout=TIMEOUT_S)
    except subprocess.TimeoutExpired:
        return False, "it never ended", ""
    first = next((line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))), "")
    return done.returncode == 0, first[:160], done.stdout


_TOOK = re.compile(r"^([0-9.]+)s (?:call|setup|teardown) +(tests/[^:]+\.py)::", re.MULTILINE)


def _quickest_first(folder: Path, room: str) -> list[str]:
    """Return a room's test files, those that take the least time first; SystemExit where they fail unchanged."""
    passed, first, said = _tests(folder, [f"tests/{room}"], "--durations=0", "--durations-min=0.01")
    if not passed:
        raise SystemExit(f"the tests of {room} fail before anything is changed: {first}")
    took: dict[str, float] = {}
    for seconds, file in _TOOK.findall(said):
        took[file] = took.get(file, 0.0) + float(seconds)
    files = [str(path.relative_to(folder)) for path in (folder / "tests" / room).rglob("test_*.py")]
    return sorted(files, key=lambda file: (took.get(file, 0.0), file))


def run(changes: list[Change]) -> Iterator[dict[str, object]]:
    """Try each change on a copy of the source; yields what is told of it."""
    with tempfile.TemporaryDirectory(prefix="moonless-mutants-") as name:
        folder = Path(name)
        _copy(folder)
        files = {room: _quickest_first(folder, room) for room in sorted({change.room for change in changes})}
        for change in changes:
            path = folder / change.file
            source, stamp = path.read_bytes(), path.stat()
            path.write_bytes(source[: change.start] + change.now.encode() + source[change.end :])
            begun = time.monotonic()
            passed, first, _ = _tests(folder, files[change.room])
            path.write_bytes(source)
            # As if it had never been touched: what was compiled of it holds again.
            os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
            text = source.splitlines()[change.line - 1].decode().strip()
            yield {
                "file": str(change.file), "line": change.line, "was": change.was, "now": change.now, "text": text,
                "caught": not passed, "by": first, "seconds": round(time.monotonic() - begun, 1),
            }  # fmt: skip


def sampled(changes: list[Change], n: int, seed: int) -> list[Change]:
    """Draw ``n`` of all changes, in a fixed order of each seed."""
    return random.Random(seed).sample(changes, min(n, len(changes)))


def main() -> None:
    """Draw, try, tell."""
    parser = argparse.ArgumentParser(prog="python -m bench.mutants", description=__doc__.split("\n\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sample", type=int, default=60)
    parser.add_argument("--room", nargs="+", choices=ROOMS, default=ROOMS)
    parser.add_argument("--at", nargs="+", default=[], metavar="FILE:LINE", help="every change of these lines instead")
    parser.add_argument("--named", action="store_true", help="the changes made by hand instead")
    asked = parser.parse_args()
    changes = all_changes(tuple(asked.room))
    total = len(changes)
    if asked.named:
        changes = named_changes()
    elif asked.at:
        changes = [c for c in changes if any(f"{c.file}:{c.line}".endswith(at) for at in asked.at)]
    else:
        changes = sampled(changes, asked.sample, asked.seed)
    begun, rooms = time.monotonic(), dict[str, list[bool]]()
    for told, change in zip(run(changes), changes, strict=True):
        print(json.dumps(told), flush=True)
        rooms.setdefault(change.room, []).append(bool(told["caught"]))
    caught = sum(sum(of) for of in rooms.values())
    print(
        json.dumps({
            "seed": None if asked.named or asked.at else asked.seed,
            "changes": total, "tried": len(changes), "caught": caught,
            "share": round(caught / max(1, len(changes)), 3),
            "rooms": {room: f"{sum(of)}/{len(of)}" for room, of in sorted(rooms.items())},
            "seconds": round(time.monotonic() - begun),
        }),
        flush=True,
    )  # fmt: skip


if __name__ == "__main__":
    main()
