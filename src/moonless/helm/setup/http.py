"""What the set-up screen asks over HTTP: one place to ask at, JSON in and out, refusals in one plain line."""

from __future__ import annotations

import asyncio
import logging

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from moonless.errors import MoonlessError
from moonless.helm.setup.service import SetupHost, SetupService
from moonless.helm.web.protocol import read_object

_log = logging.getLogger(__name__)
# A list of folders or of stops, and service; nothing that is asked is longer.
MAX_BYTES = 64 * 1024
# A question comes at once; one that trickles in is ended.
MAX_S = 10.0


def setup_routes(service: SetupService, hub: SetupHost) -> list[Route]:
    """Return the routes of one set-up.  That a page of ours asks is seen to by `moonless.helm.door.guard`."""

    async def ask(request: Request) -> Response:
        body = b""
        try:
            async with asyncio.timeout(MAX_S):
                async for chunk in request.stream():
                    body += chunk
                    if len(body) > MAX_BYTES:
                        return _refusal("that is more than the set-up takes at once", 413)
        except TimeoutError:
            return _refusal("the question did not come whole", 408)
        try:
            found = read_object(body)
            return JSONResponse(await service.do(found, hub), headers={"Cache-Control": "no-store"})
        except MoonlessError as problem:
            return _refusal(str(problem), 400)
        except Exception:
            _log.exception("set-up failed")
            return _refusal("the set-up failed on this; the helm's log says more", 500)

    return [Route("/setup/ask", ask, methods=["POST"])]


def _refusal(line: str, status: int) -> Response:
    return JSONResponse({"problem": line}, status_code=status, headers={"Cache-Control": "no-store"})
