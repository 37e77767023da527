"""The same wrong changes tried in memory: a tenth of a second each, for whole rooms and not a sample.

    python -m bench.mutants.in_memory [--seed N --sample N | --part TEXT ... --share S] [--seconds S] [--longest S]

All tests are collected once; each change is compiled into the live functions of a fork, which runs the quick tests that
reach it until the first failure.  So it tells clusters of survivors in minutes, where the command beside it tells
single ones in hours; what it leaves out is told on each line, and what passes here is to be tried there:

- tests longer than ``--longest``, and all past ``--seconds`` together (of the processor, as they were mapped);
- changes inside compiled kernels and of what a class or a default holds, which live in no function (``skipped``);
- what a file sets up for all its tests is not in a test's own seconds, and each change pays for it anew: where a whole
  run or plan is set up so, half a minute;
- tables made as a file is read, of a function that is changed: they stand as they were.
"""

from __future__ import annotations

import argparse
import ast
import functools
import importlib
import json
import os
import random
import resource
import select
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

import pytest
from _pytest.runner import runtestprotocol
from hypothesis import Phase, settings

from bench.mutants.client import Server
from bench.mutants.draw import REPO, ROOMS, Change, all_changes, sampled
from bench.mutants.judged import judged
from bench.mutants.reach import Reach
from bench.mutants.tree import tree

# A fork is given so long beside ten times what its tests took when they were mapped.
START_S, TIMES = 60.0, 10.0
MOST_TESTS = 600


def _functions(value: object) -> list[FunctionType]:
    """Return the plain functions behind what a name holds: of a property, a method of a class, what is wrapped."""
    while True:
        if isinstance(value, property):
            return [f for f in (value.fget, value.fset) if isinstance(f, FunctionType)]
        if isinstance(value, staticmethod | classmethod):
            value = value.__func__
        elif isinstance(value, functools.cached_property):
            value = value.func
        elif hasattr(value, "__wrapped__"):
            value = value.__wrapped__
        else:
            return [value] if isinstance(value, FunctionType) else []


def _live(module: ModuleType) -> dict[tuple[str, int], FunctionType]:
    """Return the functions of a module and its classes by name and first line."""
    out: dict[tuple[str, int], FunctionType] = {}

    def walk(names: dict[str, object]) -> None:
        for value in names.values():
            if isinstance(value, type):
                if value.__module__ == module.__name__:
                    walk(dict(vars(value)))
                continue
            for function in _functions(value):
                if function.__module__ == module.__name__:
                    out[function.__code__.co_qualname, function.__code__.co_firstlineno] = function

    walk(dict(vars(module)))
    return out


def _codes(code: CodeType) -> Iterator[CodeType]:
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            yield inner
            yield from _codes(inner)


def _statement(body: list[ast.stmt], line: int) -> tuple[ast.stmt | None, bool]:
    """Return the outermost statement of a file that holds a line, and whether a class does."""
    for node in body:
        first = min([node.lineno, *(d.lineno for d in getattr(node, "decorator_list", ()))])
        if first <= line <= (node.end_lineno or node.lineno):
            if isinstance(node, ast.ClassDef) and line >= node.body[0].lineno:
                return _statement(node.body, line)[0], True
            return node, isinstance(node, ast.ClassDef)
    return None, False


def apply(change: Change) -> str:
    """Put a change into this process; return why it cannot be, "" where it is done."""
    name = ".".join(change.file.with_suffix("").parts[1:]).removesuffix(".__init__")
    module = importlib.import_module(name)
    old = (REPO / change.file).read_bytes()
    new = change.in_source(old)
    node, in_class = _statement(ast.parse(new).body, change.line)
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        if any("njit" in ast.unparse(d) or "vectorize" in ast.unparse(d) for d in node.decorator_list):
            return "in a kernel"
        path, live, done = str(module.__file__), _live(module), 0
        pairs = zip(_codes(compile(old, path, "exec")), _codes(compile(new, path, "exec")), strict=True)
        for was, now in pairs:
            function = live.get((was.co_qualname, was.co_firstlineno))
            if function is not None and was != now:
                function.__code__ = now
                done += 1
        return "" if done else "in no function that lives on"
    if in_class or not isinstance(node, ast.Assign | ast.AnnAssign):
        return "of a class or a file"
    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
    names = [n.id for target in targets for n in ast.walk(target) if isinstance(n, ast.Name)]
    before, after = {n: vars(module)[n] for n in names}, dict(vars(module))
    exec(compile(ast.Module([node], []), str(module.__file__), "exec"), after)
    for other in [m for m in sys.modules.values() if getattr(m, "__name__", "").startswith("moonless")]:
        for n in names:
            if n in vars(other) and (vars(other)[n] is before[n] or other is module):
                setattr(other, n, after[n])
    return ""


class _Loop:
    """Takes pytest's own loop: forks for each change, and tells a line of each."""

    def __init__(self, changes: list[Change], reach: Reach, asked: argparse.Namespace) -> None:
        self._changes, self._reach, self._asked = changes, reach, asked
        self.lines: list[dict[str, Any]] = []

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        # What fails need not be made small, and must fail again.
        phases = (Phase.explicit, Phase.generate)
        unhurried = settings.get_profile("unhurried")
        settings.register_profile("mutants", unhurried, derandomize=True, database=None, phases=phases)
        settings.load_profile("mutants")
        items, harmless = {item.nodeid: item for item in session.items}, judged()
        out = os.fdopen(os.dup(1), "w")
        for change in self._changes:
            was, now = change.lines((REPO / change.file).read_bytes())
            found = sorted(self._reach.tests(change), key=lambda t: self._reach.took.get(t, 0.0))
            order, spent = list[pytest.Item](), 0.0
            for test in found:
                took = self._reach.took.get(test, 0.1)
                if test in items and took <= self._asked.longest and spent + took <= self._asked.seconds:
                    order, spent = [*order, items[test]], spent + took
            # Those of a file together, the quickest file first: what a file sets up for all its tests is set up once.
            costs: dict[Path, float] = {}
            for item in order:
                costs[item.path] = costs.get(item.path, 0.0) + self._reach.took.get(item.nodeid, 0.1)
            order.sort(key=lambda item: (costs[item.path], item.path))
            begun = time.monotonic()
            said = _tried(change, order[:MOST_TESTS], START_S + TIMES * spent)
            line = {
                "file": str(change.file), "line": change.line, "was": was, "now": now, **said,
                "ran": len(order[:MOST_TESTS]), "left_out": len(found) - len(order[:MOST_TESTS]),
                "harmless": "" if said["caught"] else harmless.get((was, now), ""),
                "seconds": round(time.monotonic() - begun, 2),
            }  # fmt: skip
            self.lines.append(line)
            print(json.dumps(line, ensure_ascii=False), file=out, flush=True)
        out.close()
        return True


def _tried(change: Change, order: list[pytest.Item], seconds: float) -> dict[str, Any]:
    """Fork, change, run; return whether it was caught and by what, or why it was skipped."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.setsid()
        resource.setrlimit(resource.RLIMIT_CPU, (int(seconds), int(seconds) + 5))
        said: dict[str, Any] = {"caught": True, "by": "it ended the process"}
        try:
            why = apply(change)
            first = ""
            for n, item in enumerate(order if not why else ()):
                following = order[n + 1] if n + 1 < len(order) else None
                if any(r.failed for r in runtestprotocol(item, nextitem=following, log=False)):
                    first = item.nodeid
                    break
            said = {"caught": bool(first), "by": first, "skipped": why}
        finally:
            os.write(write, json.dumps(said).encode() + b"\n")
            os._exit(0)
    os.close(write)
    data, ends = b"", time.monotonic() + 3.0 * seconds
    while not data.endswith(b"\n") and select.select([read], [], [], max(0.0, ends - time.monotonic()))[0]:
        part = os.read(read, 65536)
        if not part:
            break
        data += part
    os.close(read)
    for end in (os.killpg, os.kill):
        try:
            end(child, signal.SIGKILL)
        except ProcessLookupError:
            continue
    os.waitpid(child, 0)
    said = json.loads(data) if data else {"caught": True, "by": "it never ended"}
    return {"skipped": "", **said}


def main() -> int:
    """Draw, try, tell."""
    parser = argparse.ArgumentParser(prog="python -m bench.mutants.in_memory", description=__doc__.split("\n\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sample", type=int, default=60)
    parser.add_argument("--part", nargs="+", default=[], metavar="TEXT", help="files whose path holds this, instead")
    parser.add_argument("--share", type=float, default=1.0, help="of the changes of those files")
    parser.add_argument("--room", nargs="+", choices=ROOMS, default=ROOMS, help="whose tests are run")
    parser.add_argument("--seconds", type=float, default=3.0, help="of tests for each change")
    parser.add_argument("--longest", type=float, default=1.5, help="seconds of one test")
    asked = parser.parse_args()
    changes = all_changes(ROOMS)
    if asked.part:
        changes = [c for c in changes if any(part in str(c.file) for part in asked.part)]
        changes = sorted(
            random.Random(asked.seed).sample(changes, round(asked.share * len(changes))),
            key=lambda c: (str(c.file), c.start),
        )
    else:
        changes = sampled(changes, asked.sample, asked.seed)
    rooms = [room for room in asked.room if (REPO / "tests" / room).is_dir()]
    with tree() as folder:
        server = Server(folder)
        reach = Reach(folder, server, rooms, [])
        server.close()
    loop = _Loop(changes, reach, asked)
    os.environ.setdefault("MOONLESS_DATA", str(REPO.parent / "shared" / "data"))
    os.chdir(REPO)
    paths = [str(Path("tests") / room) for room in rooms]
    pytest.main([*paths, "-q", "-p", "no:cacheprovider", "--no-header", "-W", "ignore"], plugins=[loop])
    tried = [line for line in loop.lines if not line["skipped"]]
    caught, harmless = sum(line["caught"] for line in tried), sum(bool(line["harmless"]) for line in tried)
    print(json.dumps({
        "tried": len(tried), "skipped": len(loop.lines) - len(tried), "caught": caught, "harmless": harmless,
        "open": len(tried) - caught - harmless,
    }))  # fmt: skip
    return 0


if __name__ == "__main__":
    sys.exit(main())
