"""Who may talk to the helm, and what its pages may load.

* Host must be this machine, an address written as numbers, or the name given at start: a name that a stranger's
  server resolves to us (DNS rebinding) is refused.
* A WebSocket, and whatever changes something, must come from our own page: its Origin is the Host it asks.
* From another machine nothing is served but the page to pair at, until the screen is paired (`pairing`).
* A screen that only looks changes nothing: it is told so in one line, here for forms and in `Session` for its requests.
* Pages may load from this server alone; inline style is allowed by its hash only.
"""

from __future__ import annotations

import base64
import hashlib
import ipaddress
import re
from collections.abc import Callable, Iterable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from moonless.helm.door.gate import Gate
from moonless.helm.door.pairing import Pairings, Screen

COOKIE = "moonless_screen"
# Where the guard says, in the scope of what it lets through, what the one who asks may do, and which screen it is.
ROLE, SCREEN = "moonless.role", "moonless.screen"
ONLY_LOOKS = "this screen only looks: to act it is paired again for that"
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
    """ASGI middleware; see the rules at the head.  ``pairings`` None: only this machine is served."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        names: Iterable[str] = (),
        pairings: Pairings | None = None,
        policy: str = "",
        gate: Gate | None = None,
    ) -> None:
        self._app = app
        self._names = {"localhost", *(name.lower() for name in names)}
        self._pairings = pairings
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
        if _is_loopback(scope):
            scope[ROLE] = "act"
        elif (screen := self._screen(headers)) is not None:
            scope[ROLE], scope[SCREEN] = screen.role, screen
            if screen.role == "look" and scope.get("method", "GET") not in ("GET", "HEAD") and scope["path"] != "/pair":
                await _refuse(scope, receive, send, ONLY_LOOKS)
                return
        elif scope["type"] == "websocket" or scope["path"] != "/pair" or self._pairings is None:
            await self._turn_to_pairing(scope, receive, send)
            return
        if ROLE in scope and self._gate is not None and (client := scope.get("client")) is not None:
            peer, gate = (client[0], client[1]), self._gate
            is_feed = scope["type"] == "websocket"
            gate.let_in(peer, is_feed=is_feed)
            if is_feed:
                receive = _noting(receive, lambda: gate.heard(peer))

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                out.setdefault("Content-Security-Policy", self._policy)
                out.setdefault("Referrer-Policy", "no-referrer")
                out["X-Content-Type-Options"] = "nosniff"
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
        return None

    async def _turn_to_pairing(self, scope: Scope, receive: Receive, send: Send) -> None:
        """A person who opens the address is led to the page to pair at; all else is refused in one line."""
        if scope["type"] == "http" and scope["method"] == "GET" and scope["path"] == "/" and self._pairings is not None:
            await RedirectResponse("/pair", status_code=303)(scope, receive, send)
            return
        await _refuse(scope, receive, send, "this screen is not paired: open /pair on it")

    def _is_ours(self, host: str) -> bool:
        try:
            name = urlsplit(f"//{host}").hostname or ""
            if name in self._names:
                return True
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True

    def _screen(self, headers: Headers) -> Screen | None:
        if self._pairings is None:
            return None
        try:
            morsel = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            return None
        return None if morsel is None else self._pairings.screen_of(morsel.value)


def _noting(receive: Receive, heard: Callable[[], None]) -> Receive:
    """Return what receives the same, and notes each time that the other end has spoken."""

    async def received() -> Message:
        message = await receive()
        if message["type"] == "websocket.receive":
            heard()
        return message

    return received


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
