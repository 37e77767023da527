"""Open the door: a socket, a server, and the address to print."""

from __future__ import annotations

import errno
import ipaddress
import secrets
import socket
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn

from moonless.errors import LinkError
from moonless.helm.door.gate import Gate, GatedSocket
from moonless.helm.door.quiet_log import quieten
from moonless.helm.hub import Hub
from moonless.helm.process.events import Source
from moonless.helm.voice import Loudspeaker
from moonless.helm.web.app import STATIC, check_built, make_app

if TYPE_CHECKING:
    from moonless.helm.setup.service import SetupService

# Small frames come from a screen; nothing it sends is longer.
MAX_FROM_SCREEN = 16 * 1024
# Connections taken in one turn of the loop: those that the gate ends are closed only after it.  With the gate's own
# strangers, and as many still to be closed, this stays below the files of a process.
AT_ONCE = 128


def open_socket(host: str, port: int, gate: Gate | None = None) -> socket.socket:
    """Return a listening-ready socket; what is taken from it stands at the gate.

    Raises LinkError in one plain line if the port is in use or the address is not ours.
    """
    try:
        family, kind, proto, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
    except (socket.gaierror, OverflowError) as problem:
        raise LinkError(f"cannot listen on {host} port {port}: {problem}") from problem
    sock = GatedSocket(family, kind, proto)
    sock.gate = gate or Gate()
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind(address)
    except OSError as problem:
        sock.close()
        if problem.errno == errno.EADDRINUSE:
            raise LinkError(
                f"port {port} on {host} is in use; stop what holds it or give another with --port"
            ) from problem
        raise LinkError(f"cannot listen on {host} port {port}: {problem.strerror}") from problem
    return sock


def is_loopback(host: str) -> bool:
    """Return whether an address is this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def serve(
    source: Source,
    *,
    host: str = "127.0.0.1",
    port: int = 8440,
    on_open: Callable[[str], None] = lambda address: None,
    setup: SetupService | None = None,
    without: tuple[str, ...] = (),
    static: Path = STATIC,
) -> None:
    """Serve the helm until interrupted.  ``on_open`` gets the address to show once it answers.

    Parameters
    ----------
    without : what the watch goes on without, in plain lines
    setup : what the set-up screen writes to; None: this helm cannot be set up
    host : this machine alone unless told; on any other address a key is made that a new screen must bring once.

    Raises
    ------
    InputError  If the screens are not built.
    LinkError  If the port is in use.
    """
    check_built(static)
    gate = Gate()
    sock = open_socket(host, port, gate)
    port = sock.getsockname()[1]
    key = None if is_loopback(host) else secrets.token_urlsafe(9)
    shown = _shown_host(host)
    address = f"http://{shown}:{port}/" + ("" if key is None else f"?key={key}")
    hub = Hub(source, Loudspeaker.find(), setup, without)
    app = make_app(hub, static=static, names=(host, socket.gethostname()), key=key, gate=gate)
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        lifespan="on",
        loop="asyncio",  # it takes connections from the socket itself, where the gate stands
        http="h11",
        backlog=AT_ONCE,
        ws="websockets-sansio",
        ws_max_size=MAX_FROM_SCREEN,
        ws_per_message_deflate=False,
        server_header=False,
        timeout_graceful_shutdown=1,
    )
    quieten()
    server = _Server(config, lambda: on_open(address))
    try:
        server.run(sockets=[sock])
    finally:
        sock.close()


def _shown_host(host: str) -> str:
    if host in ("0.0.0.0", "::"):
        return socket.gethostname()
    return f"[{host}]" if ":" in host else host


class _Server(uvicorn.Server):
    """A server that says when it answers."""

    def __init__(self, config: uvicorn.Config, on_open: Callable[[], None]) -> None:
        super().__init__(config)
        self._on_open = on_open

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets=sockets)
        if self.started:
            self._on_open()
