"""Open the door: a socket, a server, and the address to print."""

from __future__ import annotations

import errno
import ipaddress
import socket
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn

from moonless.errors import InputError, LinkError
from moonless.helm.door.address import shown_host
from moonless.helm.door.gate import Gate, GatedSocket
from moonless.helm.door.pairing import Invitation, Pairings
from moonless.helm.door.quiet_log import quieten
from moonless.helm.hub import Hub
from moonless.helm.process.events import Source
from moonless.helm.voice import Loudspeaker
from moonless.helm.web.app import STATIC, check_built, make_app

if TYPE_CHECKING:
    from moonless.helm.practice.process import PracticeProcess
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
    on_invite: Callable[[str, Invitation], None] = lambda address, invitation: None,
    pairings: Pairings | None = None,
    name: str | None = None,
    certificate: ssl.SSLContext | None = None,
    setup: SetupService | None = None,
    practice: PracticeProcess | None = None,
    without: tuple[str, ...] = (),
    static: Path = STATIC,
) -> None:
    """Serve the helm until interrupted.  ``on_open`` gets the address to show once it answers.

    Parameters
    ----------
    without : what the watch goes on without, in plain lines
    setup : what the set-up screen writes to; None: this helm cannot be set up
    practice : what makes exercises on this helm's charts; None: none are made
    host : this machine alone unless told
    pairings : which screens of other machines may talk to it; None: none may
    on_invite : gets the address and an invitation where other machines may come and no screen is paired yet
    name : by which tablets reach this computer, if they do by a name
    certificate : the skipper's own; without one nothing is encrypted

    Raises
    ------
    InputError  If the screens are not built.
    LinkError  If the port is in use.
    """
    check_built(static)
    gate = Gate()
    sock = open_socket(host, port, gate)
    port = sock.getsockname()[1]
    address = f"http{'' if certificate is None else 's'}://{shown_host(host, name)}:{port}/"
    invitation = None
    if is_loopback(host):
        pairings = None
    elif pairings is not None:
        try:
            pairings.keep_address(address)
            if not pairings.screens:
                invitation = pairings.invite("act")
        except InputError as problem:
            # The watch is worth more than its tablets: it begins, and says why they are not let in.
            without = (*without, f"no other screen is let in: {problem}")
    hub = Hub(source, Loudspeaker.find(), setup, without)
    names = [host, socket.gethostname(), *([] if name is None else [name])]
    app = make_app(
        hub, static=static, names=names, pairings=pairings, gate=gate, is_secure=certificate is not None,
        practice=practice,
    )  # fmt: skip

    def opened() -> None:
        on_open(address)
        if invitation is not None:
            on_invite(address, invitation)

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
    config.load()
    config.ssl = certificate
    quieten()
    server = SayingServer(config, opened)
    try:
        server.run(sockets=[sock])
    finally:
        sock.close()


class SayingServer(uvicorn.Server):
    """A server that says when it answers."""

    def __init__(self, config: uvicorn.Config, on_open: Callable[[], None]) -> None:
        super().__init__(config)
        self._on_open = on_open

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets=sockets)
        if self.started:
            self._on_open()
