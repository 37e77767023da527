"""A helm on live links in its own folders, what its processes take of the computer, and a screen that looks at it."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from moonless.helm.web import protocol
from moonless.scene.story import demo_boat, demo_chart


@dataclass(frozen=True, slots=True)
class Taken:
    """What one process takes."""

    memory_mb: float
    handles: int
    threads: int
    cpu_s: float


def free_port(kind: socket.SocketKind = socket.SOCK_DGRAM) -> int:
    """Return a port that nothing listens on now."""
    with socket.socket(socket.AF_INET, kind) as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def taken_by(pid: int) -> Taken:
    """Return what a process takes; Linux only.  Raises OSError where it has ended."""
    status = dict(line.split(":", 1) for line in Path(f"/proc/{pid}/status").read_text().splitlines() if ":" in line)
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return Taken(
        int(status["VmRSS"].split()[0]) / 1024.0, len(os.listdir(f"/proc/{pid}/fd")), int(status["Threads"]),
        (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK"),
    )  # fmt: skip


class LiveHelm:
    """The command ``moonless helm`` and a sender of the demo's radar and instruments; a context that ends both.

    ``chart`` and ``boat``: the demo's unless told, None for none.  ``record``: a recording by that name is kept in the
    folder.
    """

    def __init__(
        self,
        *,
        chart: Path | None = demo_chart(),  # noqa: B008  a path, always the same
        boat: Path | None = demo_boat(),  # noqa: B008
        record: str | None = None,
    ) -> None:
        # A bench that is ended must not leave a helm behind.
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
        self._folder = tempfile.TemporaryDirectory(prefix="moonless-rig-")
        self.folder = Path(self._folder.name)
        self.radar, self.nmea = free_port(), free_port()
        options = {"--chart": chart, "--boat": boat, "--record": None if record is None else self.folder / record}
        more = [word for name, value in options.items() if value is not None for word in (name, str(value))]
        own = {f"XDG_{what}_HOME": str(self.folder / what.lower()) for what in ("CONFIG", "DATA")}
        self._log = (self.folder / "log").open("w")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "moonless", "helm", "--port", "0", "--radar", f"udp://127.0.0.1:{self.radar}",
             "--nmea", f"udp://127.0.0.1:{self.nmea}", *more],
            stdout=subprocess.PIPE, stderr=self._log, text=True, env={**os.environ, **own, "PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        assert self.process.stdout is not None
        said = self.process.stdout.readline()
        found = re.search(r"http://\S+", said)
        assert found is not None, f"the helm said {said!r} and {self.log()!r}"
        self.address = found.group().rstrip("/")
        self._sender: subprocess.Popen[bytes] | None = None

    def send(self, module: str = "bench.live.sender", *more: str) -> None:
        """Begin the story, or what another module sends."""
        self._sender = subprocess.Popen([sys.executable, "-m", module, str(self.radar), str(self.nmea), *more])

    def children(self) -> list[int]:
        """Return the numbers of the processes that the helm has begun and that still run."""
        listed = Path(f"/proc/{self.process.pid}/task").glob("*/children")
        pids = sorted({int(pid) for path in listed for pid in path.read_text().split()})
        return [pid for pid in pids if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()]

    def watch_pid(self) -> int | None:
        """Return the number of the watch's own process: the one that holds the radar's port; None: none does."""
        table = Path(f"/proc/{self.process.pid}/net/udp").read_text().splitlines()[1:]
        inode = next((row.split()[9] for row in table if row.split()[1].endswith(f":{self.radar:04X}")), None)
        for pid in self.children():
            held = (os.readlink(one) for one in Path(f"/proc/{pid}/fd").iterdir() if one.is_symlink())
            if f"socket:[{inode}]" in held:
                return pid
        return None

    def log(self) -> str:
        """Return what the command has written to its log so far."""
        self._log.flush()
        return (self.folder / "log").read_text(errors="replace")

    def __enter__(self) -> LiveHelm:
        return self

    def __exit__(self, *_: object) -> None:
        for one in (self._sender, self.process):
            if one is not None:
                one.terminate()
                try:
                    one.wait(10)
                except subprocess.TimeoutExpired:
                    one.kill()
                    one.wait()
        self._log.close()
        self._folder.cleanup()


class Screen:
    """One screen on the helm, which takes everything in at once.  Made by `Screen.on`."""

    def __init__(self, live: Any) -> None:
        self._live = live

    @staticmethod
    async def on(address: str) -> Screen:
        """Open a screen on the helm that answers at ``address``."""
        import websockets

        return Screen(
            await websockets.connect(
                address.replace("http", "ws") + "/live", origin=address, max_size=None, compression=None  # type: ignore[arg-type]
            )
        )

    async def frames(self) -> AsyncIterator[tuple[int, bytes]]:
        """Yield (kind, frame) as they come; what the helm waits to hear of is said to have come."""
        async for frame in self._live:
            kind, sequence = protocol.decode_head(frame)
            if kind in (protocol.SPOKES, protocol.READING, protocol.HEARD):
                await self._live.send(protocol.encode_ack(sequence))
            yield kind, frame

    async def ask(self, **body: Any) -> None:
        """Ask something of the helm, see `moonless.helm.web.controls`."""
        await self._live.send(protocol.encode_json(protocol.CONTROL, 0, body))

    async def close(self) -> None:
        """Go."""
        await self._live.close()
