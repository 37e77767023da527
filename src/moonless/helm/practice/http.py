"""What the page of practice asks over HTTP: questions in JSON, pictures as bytes, refusals in one plain line."""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable, Coroutine, Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from moonless.errors import MoonlessError
from moonless.helm.practice.day import DayQuestions
from moonless.helm.practice.process import PracticeProcess

# An answer is a few numbers or a word.
MAX_BYTES = 16 * 1024
_NEVER_KEPT = {"Cache-Control": "no-store"}


def practice_routes(process: PracticeProcess, day: DayQuestions | None = None) -> list[Route]:
    """Return the routes of practice; ``day`` asks about what a watch reads now.

    That a page of ours asks is seen to by `moonless.helm.door.guard`.
    """

    async def ask(request: Request) -> Response:
        return await answered(request, process.ask)

    async def by_day(request: Request) -> Response:
        if day is None:
            return _refusal("there is no watch here to ask about", 404)
        return await answered(request, day.do)

    async def answered(
        request: Request, by: Callable[[Mapping[str, Any]], Coroutine[Any, Any, dict[str, Any]]]
    ) -> Response:
        body = b""
        async for chunk in request.stream():
            body += chunk
            if len(body) > MAX_BYTES:
                return _refusal("that is more than practice takes at once", 413)
        try:
            found: Any = json.loads(body)
        except ValueError:
            return _refusal("the question is not JSON", 400)
        if not isinstance(found, dict):
            return _refusal("the question is not an object", 400)
        try:
            return JSONResponse(await by(found), headers=_NEVER_KEPT)
        except MoonlessError as problem:
            return _refusal(str(problem), 400)

    async def look(request: Request) -> Response:
        try:
            counts = await process.counts(request.path_params["key"], request.path_params["look"])
        except MoonlessError as problem:
            return _refusal(str(problem), 404)
        headers = dict(_NEVER_KEPT)
        if "gzip" in request.headers.get("accept-encoding", ""):
            counts = gzip.compress(counts, 1)
            headers["Content-Encoding"] = "gzip"
        return Response(counts, media_type="application/octet-stream", headers=headers)

    return [
        Route("/practice/ask", ask, methods=["POST"]),
        Route("/practice/day", by_day, methods=["POST"]),
        Route("/practice/look/{key}/{look:int}", look),
    ]


def _refusal(line: str, status: int) -> Response:
    return JSONResponse({"problem": line}, status_code=status, headers=_NEVER_KEPT)
