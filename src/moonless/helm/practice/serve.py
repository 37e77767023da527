"""The page of practice without a watch: at home, on the chart of the next water."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import uvicorn
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from moonless.helm.door.gate import Gate
from moonless.helm.door.guard import Guard, content_policy
from moonless.helm.practice.http import practice_routes
from moonless.helm.practice.process import PracticeOutfit, PracticeProcess
from moonless.helm.web.app import STATIC, check_built
from moonless.helm.web.serve import AT_ONCE, SayingServer, open_socket

PAGE = "practice.html"


def make_practice_app(process: PracticeProcess, gate: Gate, static: Path = STATIC) -> Starlette:
    """Return the application of the page alone; its lifespan runs the gate.  Raises InputError if the screens are not
    built."""
    check_built(static)

    async def to_page(_: Request) -> Response:
        return RedirectResponse(f"/{PAGE}")

    @contextlib.asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        at_gate = asyncio.create_task(gate.run())
        try:
            yield
        finally:
            at_gate.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await at_gate
            await process.close()

    policy = content_policy((static / PAGE).read_text(encoding="utf-8"))
    return Starlette(
        routes=[
            *practice_routes(process),
            Route("/", to_page),
            Mount("/", StaticFiles(directory=static, html=True)),
        ],
        middleware=[Middleware(Guard, policy=policy, gate=gate)],
        lifespan=lifespan,
    )


def serve_practice(outfit: PracticeOutfit, *, port: int, on_open: Callable[[str], None] = lambda address: None) -> None:
    """Serve the page on this machine until interrupted.

    Raises InputError if the screens are not built, LinkError if the port is in use.
    """
    gate = Gate()
    app = make_practice_app(PracticeProcess(lambda: outfit), gate)
    sock = open_socket("127.0.0.1", port, gate)
    address = f"http://127.0.0.1:{sock.getsockname()[1]}/"
    config = uvicorn.Config(
        app, log_level="warning", access_log=False, lifespan="on", loop="asyncio", http="h11", backlog=AT_ONCE,
        server_header=False, timeout_graceful_shutdown=1,
    )  # fmt: skip
    try:
        SayingServer(config, lambda: on_open(address)).run(sockets=[sock])
    finally:
        sock.close()
