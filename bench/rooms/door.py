"""The helm's door under a flood: silent connections by the thousand, and how a new screen still gets in.

The real command serves, with no more files than most systems give; everything here speaks to it over this computer's
own network.  Needs the screens built (`make web`).
"""

from __future__ import annotations

import contextlib
import http.client
import os
import re
import resource
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from bench.result import Result
from moonless.clock import steady_s

NAMES = ("door.flood",)
SILENT, SCREENS, FILES = 1200, 20, 1024


def run(names: list[str]) -> Iterator[Result]:
    """Yield seconds until a new screen has its page, beside silent connections and without, and the bytes of log."""
    with tempfile.TemporaryDirectory() as folder, (Path(folder) / "log").open("w") as log:
        own = {f"XDG_{what}_HOME": folder for what in ("CONFIG", "DATA", "CACHE")}
        helm = subprocess.Popen(
            [sys.executable, "-m", "moonless", "helm", "--port", "0"], stdout=subprocess.PIPE, stderr=log, text=True,
            env={**os.environ, **own, "PYTHONUNBUFFERED": "1"},
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_NOFILE, (FILES, FILES)),
        )  # fmt: skip
        try:
            assert helm.stdout is not None
            port = int(re.findall(r"127\.0\.0\.1:(\d+)", helm.stdout.readline())[0])
            quiet = sorted(_page_s(port) for _ in range(SCREENS))
            standing = _silent(port)
            flooded = sorted(_page_s(port) for _ in range(SCREENS))
            for one in standing:
                one.close()
        finally:
            helm.kill()
            helm.wait()
        size = (Path(folder) / "log").stat().st_size
    yield Result("door.flood.median", flooded[SCREENS // 2], "s to a page", "without", quiet[SCREENS // 2])
    yield Result("door.flood.worst_tenth", flooded[-SCREENS // 10], "s to a page", "without", quiet[-SCREENS // 10])
    yield Result("door.flood.log", float(size), "bytes of log")


def _silent(port: int) -> list[socket.socket]:
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, max(soft, 2 * SILENT)), hard))
    made = []
    for n in range(SILENT):
        one = socket.create_connection(("127.0.0.1", port), timeout=60)
        if n % 3 == 0:
            with contextlib.suppress(OSError):  # it may be ended already
                one.sendall(b"GET / HTTP/1.1\r\nX-Slow: ")
        made.append(one)
    return made


def _page_s(port: int) -> float:
    began = steady_s()
    asked = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    asked.request("GET", "/")
    answer = asked.getresponse()
    assert answer.status == 200 and answer.read()
    asked.close()
    return steady_s() - began
