"""A browser and servers to look at, for the tests that need them."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

CHROMIUM = Path("/usr/bin/chromium")
ARGS = [
    "--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
HERE = Path(__file__).parent
STATIC = HERE.parents[1] / "src" / "moonless" / "helm" / "static" / "index.html"


def need_browser() -> None:
    missing = None
    if not CHROMIUM.exists():
        missing = f"{CHROMIUM} is not installed"
    elif not STATIC.exists():
        missing = "the helm's screens are not built (make web)"
    if missing is not None:
        if os.environ.get("MOONLESS_REQUIRE_BROWSER") == "1":
            pytest.fail(f"MOONLESS_REQUIRE_BROWSER=1, but {missing}")
        pytest.skip(missing)


class Server:
    """A helm in a process of its own."""

    def __init__(self, *command: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, *command], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        assert self.process.stdout is not None
        for line in self.process.stdout:
            found = re.search(r"http://\S+", line)
            if found:
                self.address = found.group()
                return
        raise AssertionError("the server ended before it said its address")

    def stop(self) -> None:
        """End it."""
        self.process.kill()
        self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()
