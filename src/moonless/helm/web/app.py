"""The helm's pages, its chart and its WebSocket, as one ASGI application."""

from __future__ import annotations

import asyncio
import contextlib
import gzip
import logging
from collections.abc import AsyncIterator, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.websockets import WebSocket

from moonless.errors import InputError
from moonless.helm.door.gate import Gate
from moonless.helm.door.guard import ROLE, SCREEN, Guard, content_policy
from moonless.helm.door.pages import door_routes
from moonless.helm.door.pairing import Pairings
from moonless.helm.hub import Hub
from moonless.helm.web.session import Session

if TYPE_CHECKING:
    from moonless.helm.practice.process import PracticeProcess

_log = logging.getLogger(__name__)
STATIC = Path(__file__).parents[1] / "static"


def check_built(static: Path = STATIC) -> None:
    """Raise InputError with the way out if the helm's screens were never built."""
    if not (static / "index.html").is_file():
        raise InputError(
            f"the helm's screens are not built: {static} has no index.html; run `make web` (needs Node and npm)"
        )


def make_app(
    hub: Hub,
    *,
    static: Path = STATIC,
    names: Iterable[str] = (),
    pairings: Pairings | None = None,
    gate: Gate | None = None,
    is_secure: bool = False,
    practice: PracticeProcess | None = None,
) -> Starlette:
    """Return the application around a hub; its lifespan runs the hub and the gate; ``practice`` makes
    the exercises of its page.

    Raises InputError if the screens are not built.
    """
    check_built(static)
    page = (static / "index.html").read_text(encoding="utf-8")

    async def chart(request: Request) -> Response:
        current = hub.chart.chart
        if current is None or request.path_params["key"] != current.key:
            return PlainTextResponse("there is no such chart now\n", status_code=404)
        headers = {"Cache-Control": "private, max-age=31536000, immutable"}
        body = current.body
        if "gzip" in request.headers.get("accept-encoding", ""):
            body = await asyncio.to_thread(gzip.compress, current.body, 3)
            headers["Content-Encoding"] = "gzip"
        return Response(body, media_type="application/json", headers=headers)

    async def time_bar(_: Request) -> Response:
        bar = hub.status.bar_body()
        return Response(status_code=204) if bar is None else JSONResponse(bar, headers={"Cache-Control": "no-store"})

    async def chart_tile(request: Request) -> Response:
        tiles, asked = hub.chart.tiles, request.path_params
        if tiles is None or asked["key"] != tiles.key:
            return PlainTextResponse("there is no such chart now\n", status_code=404)
        from moonless.chart.drawn.grid import Tile

        try:
            body = await tiles.get(Tile(asked["z"], asked["x"], asked["y"]))
        except ChildProcessError as problem:
            _log.warning("%s", problem)
            return PlainTextResponse(f"{problem}\n", status_code=503)
        headers = {"Cache-Control": "private, max-age=31536000, immutable"}
        if not body:
            return Response(status_code=204, headers=headers)
        if "gzip" in request.headers.get("accept-encoding", ""):
            headers["Content-Encoding"] = "gzip"
        else:
            body = await asyncio.to_thread(gzip.decompress, body)
        return Response(body, media_type="application/vnd.mapbox-vector-tile", headers=headers)

    async def socket(websocket: WebSocket) -> None:
        await websocket.accept()
        screen = websocket.scope.get(SCREEN)
        running = asyncio.create_task(Session(may_act=websocket.scope.get(ROLE) == "act").run(websocket, hub))
        while not running.done():
            await asyncio.wait({running}, timeout=1.0)
            if screen is not None and pairings is not None and not pairings.is_paired(screen) and not running.done():
                # Let go of while it is connected: it sees nothing more.
                await websocket.close(code=1008, reason="this screen is not paired any more")
                break
        await running

    async def worker(_: Request) -> Response:
        # At the root, so that it may look after the whole helm; never kept, so that an update is seen.
        return FileResponse(static / "offline.js", media_type="text/javascript", headers={"Cache-Control": "no-cache"})

    setup: list[Route] = []
    if hub.setup is not None:
        from moonless.helm.setup.http import setup_routes

        setup = setup_routes(hub.setup, hub)
    if practice is not None:
        from moonless.helm.practice.day import DayQuestions
        from moonless.helm.practice.http import practice_routes
        from moonless.helm.process.requests import ToldByDay

        def told(echo: int, eye: str) -> None:
            hub.ask(ToldByDay(echo, eye))

        setup = [*setup, *practice_routes(practice, DayQuestions(hub.picture, practice, told))]

    @contextlib.asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        tasks = [asyncio.create_task(hub.run())]
        if (loudspeaker := hub.announcer.loudspeaker) is not None:
            tasks.append(asyncio.create_task(loudspeaker.run()))
        if gate is not None:
            tasks.append(asyncio.create_task(gate.run()))
        try:
            yield
        finally:
            for task in tasks:
                task.cancel()
            for task in tasks:
                with contextlib.suppress(asyncio.CancelledError):
                    await task
            if practice is not None:
                await practice.close()

    return Starlette(
        routes=[
            WebSocketRoute("/live", socket),
            Route("/timebar", time_bar),
            Route("/chart/{key}.json", chart),
            Route("/chart/{key}/{z:int}/{x:int}/{y:int}.mvt", chart_tile),
            *setup,
            *door_routes(pairings, is_secure=is_secure),
            Route("/offline.js", worker),
            Mount("/", StaticFiles(directory=static, html=True)),
        ],
        middleware=[Middleware(Guard, names=names, pairings=pairings, policy=content_policy(page), gate=gate)],
        lifespan=lifespan,
    )
