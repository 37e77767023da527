"""The house is easy to find one's way in: short files, narrow folders, small classes, no circle of imports.

How it is counted:

- A *file* may have 400 lines; tests and generated files are not counted, and TypeScript's tests neither.
- A *folder* may hold 14 files of code (`.py`, `.ts`, `.css`), tests of it and sub-folders left out; `tests/` too.
- A *class* may have 15 attributes: every name that its own methods assign on ``self``, wherever, and every field where
  it is a dataclass.  A pure record is exempt: a dataclass, NamedTuple, TypedDict, Enum or Protocol whose methods assign
  nothing on ``self``; it only holds what it is given, and a type of twenty fields may be the right one.
- A line of *Any* is one on which the name stands in code, its import too.  Sixty are for what comes from outside and is
  checked value by value as it is taken (a table of TOML, an object of JSON); what is ours has a type.
- A *constant* is a name in capitals for figures; its word of reason is a comment beside or above it (or above the run
  it stands in), a string below, or its name in a docstring of the file, which says where the figure is from.
- A *circle* is any chain of imports back to the file it began at, whether at the head, inside a function, or for types
  alone: two files that need each other are one thought in two places.  The package's own `__init__` is the public
  door, which names what lies within and is imported by nothing within.
"""

from __future__ import annotations

import ast
import re
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SRC, BENCH, WEB = ROOT / "src", ROOT / "bench", ROOT / "web" / "src"
MOST_LINES, MOST_FILES, MOST_ATTRIBUTES, MOST_ANY = 400, 14, 15, 60
# Figures without a word of reason, a tenth of all.  Shorten it.
MOST_BARE_SHARE = 0.1
CODE = {".py", ".ts", ".css"}
RECORDS = {"NamedTuple", "TypedDict", "Protocol", "Enum", "IntEnum", "StrEnum"}

# What does not hold yet, and why.  Shorten it; never add to it without saying who mends it.
# The sentences of the bus are being worked on.
LONG_FILES = {"src/moonless/wire/nmea.py"}
WIDE_FOLDERS: set[str] = set()
LARGE_CLASSES: set[str] = set()
CIRCLES: list[list[str]] = []


def _python(*roots: Path) -> list[Path]:
    return sorted(path for root in roots for path in root.rglob("*.py"))


def _typescript() -> list[Path]:
    return sorted(path for path in WEB.rglob("*.ts") if not path.name.endswith(".test.ts"))


def _is_generated(path: Path) -> bool:
    with path.open(encoding="utf-8") as text:
        return "Made by `python web/make_types.py`" in text.readline()


def _name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def test_no_file_is_long() -> None:
    files = [*_python(SRC, BENCH, ROOT / "demo", ROOT / "design"), *_typescript()]
    long = {
        _name(p) for p in files if len(p.read_text(encoding="utf-8").splitlines()) > MOST_LINES and not _is_generated(p)
    }
    assert long == LONG_FILES


def test_no_folder_is_wide() -> None:
    wide = set()
    for root in (SRC, BENCH, WEB, ROOT / "tests", ROOT / "demo", ROOT / "design"):
        for folder in [root, *(p for p in root.rglob("*") if p.is_dir())]:
            if {"static", "__pycache__", "node_modules"} & set(folder.relative_to(ROOT).parts):
                continue
            code = [p for p in folder.iterdir() if p.suffix in CODE and not p.name.endswith(".test.ts")]
            if len(code) > MOST_FILES:
                wide.add(f"{_name(folder)} ({len(code)})")
    assert {name.split(" ")[0] for name in wide} == WIDE_FOLDERS, sorted(wide)


def _any_lines(path: Path) -> set[int]:
    with path.open("rb") as code:
        return {
            one.start[0]
            for one in tokenize.tokenize(code.readline)
            if one.type == tokenize.NAME and one.string == "Any"
        }


def test_any_stands_on_few_lines() -> None:
    lines = {f"{_name(path)}:{line}" for path in _python(SRC) for line in _any_lines(path)}
    assert len(lines) < MOST_ANY, sorted(lines)


def _constants(path: Path) -> Iterator[tuple[str, bool]]:
    """Yield (name, whether a word of reason stands with it) of each constant of a file."""
    text = path.read_text(encoding="utf-8")
    lines, body = text.splitlines(), ast.parse(text).body
    docstrings = "".join(re.findall(r'"""(.*?)"""', text, re.DOTALL))
    for node, after in zip(body, [*body[1:], None], strict=True):
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
            continue
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        names = [one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name)]
        figures = [
            one for one in ast.walk(node.value) if isinstance(one, ast.Constant) and type(one.value) in (int, float)
        ]
        if (
            not figures
            or isinstance(node.value, ast.Call | ast.Dict)
            or not all(re.fullmatch(r"_?[A-Z][A-Z0-9_]*", n) for n in names)
        ):
            continue
        is_said = "#" in "".join(lines[node.lineno - 1 : node.end_lineno])
        above = node.lineno - 2
        while not is_said and above >= 0 and re.match(r"# |_?[A-Z][A-Z0-9_]*( *[:=,])|[)\"]", lines[above]):
            is_said = lines[above].startswith("#")
            above -= 1
        is_said |= isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant)
        yield f"{_name(path)}: {names[0]}", is_said or any(re.search(rf"\b{name}\b", docstrings) for name in names)


def test_figures_have_a_word_of_reason() -> None:
    told = [one for path in _python(SRC) for one in _constants(path)]
    bare = [name for name, is_said in told if not is_said]
    assert len(told) > 500, "the constants were not found at all"
    assert len(bare) <= MOST_BARE_SHARE * len(told), bare


def _attributes(cls: ast.ClassDef) -> set[str]:
    """Return the names a class assigns on itself, and its fields where it is no pure record."""
    assigned: set[str] = set()
    for method in cls.body:
        if not isinstance(method, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        for node in ast.walk(method):
            if (
                isinstance(node, ast.Attribute)
                and isinstance(node.ctx, ast.Store)
                and isinstance(node.value, ast.Name)
                and node.value.id == "self"
            ):
                assigned.add(node.attr)
    bases = {ast.unparse(base).split("[")[0].split(".")[-1] for base in cls.bases}
    is_dataclass = any("dataclass" in ast.unparse(one) for one in cls.decorator_list)
    if not assigned and (is_dataclass or bases & RECORDS):
        return set()
    fields = {n.target.id for n in cls.body if isinstance(n, ast.AnnAssign) and isinstance(n.target, ast.Name)}
    return assigned | (fields if is_dataclass else set())


def test_no_class_is_large() -> None:
    large = {}
    for path in _python(SRC, BENCH):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef) and len(_attributes(node)) > MOST_ATTRIBUTES:
                large[f"{_name(path)}:{node.name}"] = len(_attributes(node))
    assert set(large) == LARGE_CLASSES, large


def _python_imports(path: Path, modules: dict[str, Path]) -> Iterator[Path]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module is not None:
            for alias in node.names:
                dotted = f"{node.module}.{alias.name}"
                names.append(dotted if dotted in modules else node.module)
        for name in names:
            if name in modules and modules[name] != path:
                yield modules[name]


def _python_graph() -> dict[str, set[str]]:
    modules = {}
    for root, base in ((SRC, SRC), (BENCH, ROOT)):
        for path in root.rglob("*.py"):
            parts = path.relative_to(base).with_suffix("").parts
            modules[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return {_name(path): {_name(to) for to in _python_imports(path, modules)} for path in modules.values()}


def _web_graph() -> dict[str, set[str]]:
    imported = re.compile(r"""(?:from|import)\s*\(?\s*["'](\.[^"']+)["']""")
    graph = {}
    for path in _typescript():
        found = set()
        for where in imported.findall(path.read_text(encoding="utf-8")):
            to = (path.parent / where).resolve()
            for candidate in (to.with_suffix(".ts"), Path(f"{to}.ts"), to / "index.ts"):
                if candidate.is_file() and candidate != path:
                    found.add(_name(candidate))
        graph[_name(path)] = found
    return graph


def _circles(graph: dict[str, set[str]]) -> list[list[str]]:
    """Return the groups of files that reach each other (Tarjan 1972, strongly connected components)."""
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    found: list[list[str]] = []

    def visit(node: str) -> None:
        index[node] = low[node] = len(index)
        stack.append(node)
        for to in graph[node]:
            if to not in index:
                visit(to)
                low[node] = min(low[node], low[to])
            elif to in stack:
                low[node] = min(low[node], index[to])
        if low[node] == index[node]:
            group = []
            while not group or group[-1] != node:
                group.append(stack.pop())
            if len(group) > 1:
                found.append(sorted(group))

    for node in sorted(graph):
        if node not in index:
            visit(node)
    return sorted(found)


@pytest.mark.parametrize("graph", [_python_graph, _web_graph])
def test_no_imports_in_a_circle(graph: object) -> None:
    assert callable(graph)
    files = graph()
    assert len(files) > 50 and any(files.values()), "the imports were not found at all"
    assert [circle for circle in _circles(files) if circle not in CIRCLES] == []


def test_a_circle_would_be_found() -> None:
    assert _circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == [["a", "b", "c"]]


# The door's own short names, which stand for what lies behind them.
DOOR = {"Detector", "Mover", "Prediction", "Tracker"}


def test_no_public_type_name_means_two_things() -> None:
    where: dict[str, set[str]] = {}
    for path in _python(SRC):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                where.setdefault(node.name, set()).add(_name(path))
    two = {name: sorted(files) for name, files in where.items() if len(files) > 1}
    assert set(two) == DOOR, two
    assert all(any("/api/" in file for file in files) for files in two.values())
