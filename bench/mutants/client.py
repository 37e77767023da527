"""Asks the server of `bench.mutants.server` to run tests on the copy."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from bench.mutants.draw import REPO


@dataclass(frozen=True)
class Ran:
    """What came of one order: ``first`` is the test that failed first, ``seconds`` are of the processor."""

    passed: bool
    first: str
    ran: int
    seconds: float


class Server:
    """One process with the libraries loaded; every order is a fork of it."""

    def __init__(self, folder: Path) -> None:
        data = os.environ.get("MOONLESS_DATA", str(REPO.parent / "shared" / "data"))
        env = {
            **os.environ, "PYTHONPATH": os.pathsep.join((str(folder / "src"), str(folder))), "MOONLESS_DATA": data,
            "PYTHONDONTWRITEBYTECODE": "1",
        }  # fmt: skip
        self._process = subprocess.Popen(
            [sys.executable, "-m", "bench.mutants.server"],
            cwd=folder, env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip

    def run(self, files: list[str], tests: list[str] | None, cpu_s: float, lines_to: Path | None = None) -> Ran:
        """Run tests until the first failure; of the whole files, and all of them, where ``lines_to`` is given."""
        order = {"files": files, "tests": tests, "cpu_s": max(1, round(cpu_s)), "map": str(lines_to or "")}
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write(json.dumps(order) + "\n")
        self._process.stdin.flush()
        said = json.loads(self._process.stdout.readline())
        return Ran(said["passed"], said["first"], said["ran"], said["seconds"])

    def close(self) -> None:
        """End it."""
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.wait()
