"""The helm, measured: from antenna to pixel, frames and processor time of a page, ten clients of which one is stalled.

    python -m bench helm

Needs the built screens and Debian's Chromium, which draws by processor here (SwiftShader): a tablet with a graphics
card does better.
"""

from __future__ import annotations

import asyncio
import os
import re
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from bench.result import Result

NAMES = ("helm.antenna_to_pixel", "helm.frames", "helm.page_cpu", "helm.clients", "helm.clients_memory")
MADE = Path(__file__).parents[2] / "tests" / "helm" / "helm_made.py"
CHROMIUM = "/usr/bin/chromium"
ARGS = [
    "--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
HAS_READING = (
    "typeof moonless === 'object' && moonless.store.state.reading !== null && moonless.screen.delaysMs.length > 0"
)
CLIENTS = 10
CLIENTS_S = 30.0


class _Server:
    def __init__(self, *command: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, *command], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if found := re.search(r"http://\S+", line):
                self.address = found.group()
                return
        raise RuntimeError(f"{command} ended before it said its address")

    def memory_mb(self) -> float:
        """Resident memory of the server's process, MB."""
        for line in Path(f"/proc/{self.process.pid}/status").read_text().splitlines():
            if line.startswith("VmRSS:"):
                return int(line.split()[1]) / 1024.0
        return float("nan")

    def stop(self) -> None:
        self.process.kill()
        self.process.wait()


def run(names: Sequence[str]) -> Iterator[Result]:
    """Measure what is asked."""
    if {"helm.antenna_to_pixel", "helm.frames", "helm.page_cpu"} & set(names):
        yield from (result for result in _pixels() if result.name in names)
    if {"helm.clients", "helm.clients_memory"} & set(names):
        yield from (result for result in _clients() if result.name in names)


def _pixels() -> Iterator[Result]:
    """The demo in a browser of 1024 by 768.

    From the moment the watch's process took the spokes in to the beginning of the frame after the one that drew them;
    both clocks are this machine's.
    """
    from playwright.sync_api import sync_playwright

    demo = _Server("-m", "moonless", "demo", "--port", "0", "--no-browser")
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
            page = browser.new_page(viewport={"width": 1024, "height": 768})
            page.goto(demo.address)
            for _ in range(900):
                if page.evaluate(HAS_READING):
                    break
                page.wait_for_timeout(200)
            page.wait_for_timeout(10_000)
            page.evaluate("moonless.screen.delaysMs.length = 0")
            frames = page.evaluate("moonless.screen.frames")
            began, used = time.perf_counter(), _browser_cpu_s()
            page.wait_for_timeout(20_000)
            passed, used = time.perf_counter() - began, _browser_cpu_s() - used
            drawn = page.evaluate("moonless.screen.frames") - frames
            delays = page.evaluate("moonless.screen.delaysMs")
            browser.close()
    finally:
        demo.stop()
    yield Result("helm.antenna_to_pixel", statistics.median(delays), "ms", None, None, None)
    yield Result("helm.frames", drawn / passed, "frames a second", None, None, None)
    yield Result("helm.page_cpu", used / passed, "processors kept busy by the browser", None, None, None)


def _browser_cpu_s() -> float:
    """Processor time that the browsers begun from here have used, seconds: all their processes, the drawing's too."""
    parents, spent = {}, {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            name, _, rest = stat.read_text().partition("(")[2].rpartition(")")
        except OSError:
            continue  # it ended meanwhile
        fields = rest.split()
        pid = int(stat.parent.name)
        parents[pid] = int(fields[1])
        spent[pid] = (name, (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK"))

    def is_ours(pid: int) -> bool:
        while pid > 1:
            if pid == os.getpid():
                return True
            pid = parents.get(pid, 0)
        return False

    return sum(seconds for pid, (name, seconds) in spent.items() if name.startswith("chrom") and is_ours(pid))


def _clients() -> Iterator[Result]:
    """Ten clients on made turns for half a minute; the tenth never reads.

    The figure is the 95th percentile, over the nine, of the age of the newest spokes when they arrive; the memory is
    what the server's process grew by in the second half.
    """
    server = _Server(str(MADE))
    try:
        ages, half, end = asyncio.run(_watch(server))
    finally:
        server.stop()
    yield Result("helm.clients", statistics.quantiles(ages, n=20)[18], "ms", None, None, None)
    yield Result("helm.clients_memory", end - half, "MB grown in the second half", None, None, None)


async def _watch(server: _Server) -> tuple[list[float], float, float]:
    import websockets

    from moonless.helm.web import protocol

    address = server.address.rstrip("/")
    live = address.replace("http", "ws") + "/live"
    ages: list[float] = []
    until = time.perf_counter() + CLIENTS_S

    async def healthy() -> None:
        async with websockets.connect(live, origin=address, max_size=None) as socket:  # type: ignore[arg-type]
            while time.perf_counter() < until:
                frame: Any = await socket.recv()
                kind, sequence = protocol.decode_head(frame)
                if kind in (protocol.SPOKES, protocol.READING):
                    await socket.send(protocol.encode_ack(sequence))
                if kind == protocol.SPOKES:
                    ages.append(time.time() * 1e3 - protocol.decode_spokes(frame).received_unix_ms)

    async def stalled() -> None:
        # Opened by hand, and never read from again.
        host, port = address.removeprefix("http://").split(":")
        reader, writer = await asyncio.open_connection(host, int(port))
        writer.write(
            f"GET /live HTTP/1.1\r\nHost: {host}:{port}\r\nOrigin: {address}\r\nUpgrade: websocket\r\n"
            f"Connection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
            f"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode()
        )
        await writer.drain()
        await reader.readline()
        reader._transport.pause_reading()  # type: ignore[attr-defined]
        await asyncio.sleep(CLIENTS_S)
        writer.close()

    async def memory() -> tuple[float, float]:
        await asyncio.sleep(CLIENTS_S / 2)
        half = server.memory_mb()
        await asyncio.sleep(CLIENTS_S / 2 - 1.0)
        return half, server.memory_mb()

    measured, *_ = await asyncio.gather(memory(), stalled(), *(healthy() for _ in range(CLIENTS - 1)))
    return ages, measured[0], measured[1]
