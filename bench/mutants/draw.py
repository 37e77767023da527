"""The wrong changes: what a slip of the pen makes of a source, found by its syntax, and drawn by a seed."""

from __future__ import annotations

import ast
import random
from dataclasses import dataclass
from pathlib import Path

REPO = Path(__file__).parents[2]
ROOMS = ("rules", "sea", "wire", "passage", "reading", "track", "watch")

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

    def in_source(self, source: bytes) -> bytes:
        """Return the source with the change in it."""
        return source[: self.start] + self.now.encode() + source[self.end :]

    def lines(self, source: bytes) -> tuple[str, str]:
        """Return the line of text as it stands and as it becomes: what a change is known by when lines move."""
        was, now = (s.splitlines()[self.line - 1].decode().strip() for s in (source, self.in_source(source)))
        return was, now


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

    def visit_keyword(self, node: ast.keyword) -> None:
        if node.arg != "strict":
            self.visit(node.value)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        for inner in node.body:
            self.visit(inner)

    def visit_AsyncFunctionDef(self, node: ast.AsyncFunctionDef) -> None:
        self._function(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        self._function(node)

    def _function(self, node: ast.FunctionDef | ast.AsyncFunctionDef) -> None:
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


def fitted(file: str, was: str, now: str) -> Change:
    """Return a change by its text; SystemExit where the source has gone on and it does not fit, or not once only."""
    path = REPO / "src" / "moonless" / file
    source = path.read_bytes() if path.exists() else b""
    at = source.find(was.encode())
    if at < 0:
        raise SystemExit(f"{file} has no {was!r} any more: put the list of changes right")
    if source.find(was.encode(), at + 1) >= 0:
        raise SystemExit(f"{file} has {was!r} more than once: give more of its text")
    line = source[:at].count(b"\n") + 1
    return Change(path.relative_to(REPO), line, at, at + len(was.encode()), was, now)


def sampled(changes: list[Change], n: int, seed: int) -> list[Change]:
    """Draw ``n`` of all changes, in a fixed order of each seed."""
    return random.Random(seed).sample(changes, min(n, len(changes)))
