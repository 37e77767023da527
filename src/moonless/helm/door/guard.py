"""Who may talk to the helm, and what its pages may load.

* Host must be this machine, an address written as numbers, or the name given at start: a name that a stranger's
  server resolves to us (DNS rebinding) is refused.
* A WebSocket, and whatever changes something, must come from our own page: its Origin is the Host it asks.
* From another machine nothing is served without the key that the start printed (a cookie after the first visit).
* Pages may load from this server alone; inline style is allowed by its hash only.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import ipaddress
import re
from collections.abc import Iterable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from moonless.helm.door.gate import Gate

COOKIE = "moonless_key"
_STYLE = re.compile(r"<style[^>]*>(.*?)</style>", re.S)


def content_policy(html: str) -> str:
    """Return the Content-Security-Policy for a page: its own origin, and the inline styles it holds by hash."""
    hashes = " ".join(f"'sha256-{_sha256(style)}'" for style in _STYLE.findall(html))
    return (
        "default-src 'none'; script-src 'self'; worker-src 'self'; "
        f"style-src 'self' {hashes}; "
        "img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; manifest-src 'self'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ).replace("  ", " ")


def _sha256(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


class Guard:
    """ASGI middleware; see the rules at the head."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        names: Iterable[str] = (),
        key: str | None = None,
        policy: str = "",
        gate: Gate | None = None,
    ) -> None:
        self._app = app
        self._names = {"localhost", *(name.lower() for name in names)}
        self._key = key
        self._policy = policy
        self._gate = gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        problem = self._problem(scope, headers)
        if problem is not None:
            await _refuse(scope, receive, send, problem)
            return
        if self._gate is not None and (client := scope.get("client")) is not None:
            self._gate.let_in((client[0], client[1]))
        if scope["type"] == "http" and self._brings_key(scope) and self._key is not None:
            response = RedirectResponse("/", status_code=303)
            response.set_cookie(COOKIE, self._key, httponly=True, samesite="strict", max_age=30 * 86400)
            await response(scope, receive, send)
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                out["Content-Security-Policy"] = self._policy
                out["X-Content-Type-Options"] = "nosniff"
                out["Referrer-Policy"] = "no-referrer"
                out["Cross-Origin-Opener-Policy"] = "same-origin"
                out["Cross-Origin-Resource-Policy"] = "same-origin"
                out["Permissions-Policy"] = "geolocation=(), camera=(), microphone=()"
            await send(message)

        await self._app(scope, receive, send_guarded)

    def _problem(self, scope: Scope, headers: Headers) -> str | None:
        host = headers.get("host", "")
        if not self._is_ours(host):
            return f"this helm is not called {host!r}"
        if scope["type"] == "websocket" or scope.get("method") not in ("GET", "HEAD"):
            origin = headers.get("origin")
            if origin is None or urlsplit(origin).netloc.lower() != host.lower():
                return f"a page of {origin!r} may not talk to this helm"
        if self._key is not None and not _is_loopback(scope) and not self._has_key(scope, headers):
            return "this screen is not paired: open the address with its key as the start printed it"
        return None

    def _is_ours(self, host: str) -> bool:
        name = urlsplit(f"//{host}").hostname or ""
        if name in self._names:
            return True
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True

    def _brings_key(self, scope: Scope) -> bool:
        given = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("key", [""])[0]
        return self._key is not None and hmac.compare_digest(given.encode(), self._key.encode())

    def _has_key(self, scope: Scope, headers: Headers) -> bool:
        if scope["type"] == "http" and self._brings_key(scope):
            return True
        try:
            morsel = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            return False
        return morsel is not None and self._key is not None and hmac.compare_digest(morsel.value, self._key)


def _is_loopback(scope: Scope) -> bool:
    client = scope.get("client")
    if client is None:
        return False
    try:
        return ipaddress.ip_address(client[0]).is_loopback
    except ValueError:
        return False


async def _refuse(scope: Scope, receive: Receive, send: Send, problem: str) -> None:
    if scope["type"] == "websocket":
        # Closing before accepting answers the handshake with 403.
        await receive()
        await send({"type": "websocket.close", "code": 1008, "reason": problem[:120]})
        return
    await PlainTextResponse(problem + "\n", status_code=403)(scope, receive, send)
