"""The two pages of the door: a new screen pairs itself; the skipper lists, invites and lets go.

They are plain forms, without a script, in night's ink (`web/src/look/table.ts`): they come before anything else does.

    /pair      for a screen that is not paired: the code, or the secret of a QR code, and a name
    /screens   for the helm's own computer and screens that may act
"""

from __future__ import annotations

import asyncio
import base64
import hashlib
from collections.abc import Mapping
from urllib.parse import parse_qs, quote

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from moonless.errors import InputError
from moonless.helm.door.guard import COOKIE, ROLE
from moonless.helm.door.pairing import INVITED_S, ROLES, Invitation, Pairings, Role, Tries
from moonless.helm.door.qr import as_svg
from moonless.pages import filled

MAX_BYTES, MAX_S = 4096, 10.0  # a form of a few fields, sent at once
KEPT_S = 400 * 86_400  # the longest that browsers keep a cookie (RFC 6265 and its revision, from memory)
SAYS: Mapping[Role, str] = {"act": "may act", "look": "only looks"}

_STYLE = (
    ":root{color-scheme:dark}body{background:#000;color:#c40e06;font:20px/1.4 sans-serif;margin:24px auto;"
    "max-width:640px;padding:0 16px}h1{font-size:26px}input,button{font:inherit;color:#ff160a;background:#000;"
    "border:2px solid #700402;padding:14px;min-height:60px;box-sizing:border-box}input{width:100%;margin:4px 0 16px}"
    "button{min-width:78px}li{margin:16px 0}ul{padding:0;list-style:none}form{display:inline}"
    "::placeholder{color:#700402;opacity:1}:focus{outline:3px solid #ff160a}b{white-space:nowrap}"
    ".code{font-size:44px;letter-spacing:4px;color:#ff160a}.said{color:#ff160a}small{color:#c40e06}a{color:#ff160a}"
)
POLICY = (
    "default-src 'none'; "
    f"style-src 'sha256-{base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()}'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


def door_routes(pairings: Pairings | None, *, is_secure: bool) -> list[Route]:
    """Return the routes of the door.  Who may reach which is `Guard`'s to say.  None: this computer alone is served."""
    if pairings is None:

        async def alone(_: Request) -> Response:
            return _page("alone.html.jinja", "Screens")

        return [Route("/screens", alone)]
    tries = Tries()

    async def pair(request: Request) -> Response:
        if request.method == "GET":
            return _pair_page(request.query_params.get("with", "")[:200])
        form = await _form(request)
        if form is None:
            return _pair_page("", "That did not come whole.", 400)
        given = (form.get("code") or form.get("with") or "").strip()
        if not tries.may("" if request.client is None else request.client.host):
            return _pair_page("", "Too many tries. Wait a minute.", 429)
        try:
            accepted = await asyncio.to_thread(pairings.accept, given, form.get("name", ""))
        except InputError as problem:
            return _pair_page("", str(problem), 409)
        if accepted is None:
            return _pair_page("", "No such code is open. One holds ten minutes, for one screen.", 403)
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(
            COOKIE, accepted[1], httponly=True, samesite="strict", max_age=KEPT_S, secure=is_secure, path="/"
        )
        return answer

    async def screens(request: Request) -> Response:
        if request.scope.get(ROLE) != "act":
            return _page("page.html.jinja", "Screens", status=403, words="This screen only looks.")
        if request.method == "GET":
            return _screens_page(pairings)
        form = await _form(request) or {}
        try:
            if (role := next((one for one in ROLES if one == form.get("invite")), None)) is not None:
                return _screens_page(pairings, await asyncio.to_thread(pairings.invite, role))
            gone = pairings.let_go(form.get("let_go", "")[:20])
        except InputError as problem:
            return _screens_page(pairings, said=str(problem), status=400)
        return _screens_page(pairings, said=f"{gone.name} is refused from now on.")

    return [Route("/pair", pair, methods=["GET", "POST"]), Route("/screens", screens, methods=["GET", "POST"])]


def pair_address(address: str, invitation: Invitation) -> str:
    """Return what a QR code of an invitation says."""
    return f"{address}pair?with={quote(invitation.secret)}"


def spaced(code: str) -> str:
    """Return a code as it is read aloud."""
    return f"{code[:4]} {code[4:]}"


async def _form(request: Request) -> dict[str, str] | None:
    body = b""
    try:
        async with asyncio.timeout(MAX_S):
            async for chunk in request.stream():
                body += chunk
                if len(body) > MAX_BYTES:
                    return None
    except TimeoutError:
        return None
    try:
        fields = parse_qs(body.decode(), keep_blank_values=True, max_num_fields=10, errors="replace")
    except ValueError:
        return None
    return {key: values[0] for key, values in fields.items()}


def _pair_page(secret: str, said: str = "", status: int = 200) -> Response:
    return _page("pair.html.jinja", "Pair this screen", said, status, secret=secret)


def _screens_page(
    pairings: Pairings, invitation: Invitation | None = None, said: str = "", status: int = 200
) -> Response:
    picture = "" if invitation is None else as_svg(pair_address(pairings.address, invitation), "#c40e06", "#000")
    return _page(
        "screens.html.jinja",
        "Screens",
        said or pairings.problem or "",
        status,
        invitation=invitation,
        code_picture=picture,
        minutes=INVITED_S // 60,
        address=pairings.address,
        screens=pairings.screens,
        says=SAYS,
        spaced=spaced,
    )


def _page(template: str, title: str, said: str = "", status: int = 200, **values: object) -> Response:
    text = filled(__package__, template, title=title, style=_STYLE, said=said, **values)
    headers = {
        "Content-Security-Policy": POLICY,
        # With "no-referrer" a browser sends a form with the Origin "null", which nobody can tell from a stranger's.
        "Referrer-Policy": "same-origin",
        "Cache-Control": "no-store",
    }
    return HTMLResponse(text, status, headers)
