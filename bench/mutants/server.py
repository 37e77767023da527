"""Runs tests in a fork of a process that has the libraries loaded; started by `bench.mutants.client`.

Reads one JSON line an order: ``{"tests": [ids in order] | null, "files": [...], "cpu_s": N, "map": file | null}``.
Answers one line: ``{"passed": bool, "first": id of the first that failed, "seconds": of the processor}``.
Where ``map`` is asked for, the lines that each test and each fixture ran are written there.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import pickle
import resource
import signal
import sys
import time
import traceback
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

# Loaded once for all; nothing of the house itself, which every fork reads anew.
LIBRARIES = (
    "numpy", "scipy.signal", "scipy.optimize", "scipy.special", "scipy.ndimage", "scipy.stats", "numba", "shapely",
    "shapely.ops", "shapely.geometry", "hypothesis.strategies", "hypothesis.extra.numpy", "pyproj", "pyogrio", "pyais",
    "skyfield.api", "mcap.writer", "mcap.reader", "starlette.applications", "uvicorn", "websockets", "tomlkit",
    "PIL.Image", "geographiclib.geodesic", "click.testing", "rich.console", "serial", "pygeomag", "coverage",
    "_pytest.doctest", "numba.core.typed_passes",
)  # fmt: skip


class Chosen:
    """Keeps the tests asked for, in the order asked for; remembers the first that fails."""

    def __init__(self, tests: list[str] | None) -> None:
        self._place = None if tests is None else {test: n for n, test in enumerate(tests)}
        self.first = ""
        self.ran = 0
        self.fixtures: dict[str, list[str]] = {}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        place = self._place
        if place is not None:
            # One without its parameters is all of them.
            at = {i.nodeid: place.get(i.nodeid, place.get(i.nodeid.split("[")[0])) for i in items}
            items[:] = sorted((i for i in items if at[i.nodeid] is not None), key=lambda i: at[i.nodeid] or 0)
        for item in items:
            self.fixtures[item.nodeid] = list(getattr(item, "fixturenames", ()))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.ran += report.when == "call"
        if report.failed and not self.first:
            self.first = report.nodeid

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed and not self.first:
            self.first = report.nodeid


class Mapping:
    """Switches what lines are booked on, as tests and shared fixtures come and go."""

    def __init__(self, cover: Any) -> None:
        self._cover = cover
        self._now: list[str] = [""]
        self.took: dict[str, float] = {}  # of the processor, by test

    @contextlib.contextmanager
    def _booked(self, on: str) -> Iterator[None]:
        self._now.append(on)
        self._cover.switch_context(on)
        try:
            yield
        finally:
            self._now.pop()
            self._cover.switch_context(self._now[-1])

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        begun = time.process_time()
        with self._booked(item.nodeid):
            said = yield
        self.took[item.nodeid] = time.process_time() - begun
        return said

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any) -> Any:
        if fixturedef.scope == "function":
            return (yield)
        with self._booked(f"fixture {fixturedef.argname}"):
            return (yield)


def _run(order: dict[str, Any], out: int) -> None:
    """Run the tests of one order, in the fork; never returns."""
    os.setsid()
    null = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1):
        os.dup2(null, stream)
    cpu_s = int(order["cpu_s"])
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s + 5))
    chosen = Chosen(order["tests"])
    plugins: list[Any] = [chosen]
    cover, mapping = None, None
    if order.get("map"):
        import coverage

        cover = coverage.Coverage(data_file=None, source=[str(Path("src/moonless").absolute())], branch=False)
        cover.start()
        mapping = Mapping(cover)
        plugins.append(mapping)
    arguments = [*order["files"], "-q", "-p", "no:cacheprovider", "--tb=no"]
    # Plugins among the libraries that are loaded already.
    arguments += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]
    code = pytest.main(arguments if cover else [*arguments, "-x"], plugins=plugins)
    if cover is not None and mapping is not None:
        cover.stop()
        data = cover.get_data()
        lines = {
            str(Path(file).relative_to(Path.cwd())): dict(data.contexts_by_lineno(file))
            for file in data.measured_files()
        }
        Path(order["map"]).write_bytes(pickle.dumps((lines, mapping.took, chosen.fixtures)))
    said = {"passed": code == 0, "first": chosen.first, "ran": chosen.ran, "code": int(code)}
    os.write(out, json.dumps(said).encode())
    os._exit(0)


def _answer(order: dict[str, Any]) -> dict[str, Any]:
    """Fork, wait, tell."""
    read, write = os.pipe()
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    child = os.fork()
    if child == 0:
        os.close(read)
        try:
            _run(order, write)
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(9)
    os.close(write)
    said = b""
    # A process that waits for ever uses none of the processor.
    signal.alarm(int(20 * order["cpu_s"]) + 60)
    try:
        while part := os.read(read, 65536):
            said += part
            if said.endswith(b"}"):
                break  # what it has started may live on and hold the pipe
        os.waitpid(child, 0)
    except TimeoutError:
        said = b""
    finally:
        signal.alarm(0)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child, signal.SIGKILL)
        with contextlib.suppress(ChildProcessError):
            os.waitpid(child, 0)
        os.close(read)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    out: dict[str, Any] = json.loads(said) if said else {"passed": False, "first": "it never ended", "ran": 0}
    return {**out, "seconds": round(cpu, 2), "wall": round(time.monotonic() - begun, 2)}


def main() -> None:
    """Serve orders until the input ends."""
    for name in LIBRARIES:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    assert not any(name.split(".")[0] == "moonless" for name in sys.modules), "the house must be read by each fork"

    def rung(signum: int, frame: object) -> None:
        raise TimeoutError

    signal.signal(signal.SIGALRM, rung)
    for line in sys.stdin:
        print(json.dumps(_answer(json.loads(line))), flush=True)


if __name__ == "__main__":
    main()
