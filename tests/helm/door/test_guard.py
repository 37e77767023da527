"""Who may talk to the helm; what its pages may load; what it says when it cannot start."""

from __future__ import annotations

import asyncio
import re
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from helm_made import MadeSource

from moonless.errors import InputError, LinkError
from moonless.helm.door.guard import content_policy
from moonless.helm.hub import Hub
from moonless.helm.web.app import check_built, make_app
from moonless.helm.web.serve import is_loopback, open_socket


@pytest.fixture
def static(tmp_path: Path) -> Path:
    (tmp_path / "index.html").write_text("<html><style>body{background:#000}</style></html>")
    (tmp_path / "offline.js").write_text("//")
    return tmp_path


Answer = tuple[int, dict[str, str], bytes]


def ask(
    app: Any, path: str, *, client: str = "127.0.0.1", kind: str = "http", query: str = "", method: str = "GET",
    body: bytes = b"", **headers: str,
) -> Answer:  # fmt: skip
    """Ask an ASGI application one thing, without a network."""
    sent: list[dict[str, Any]] = []
    scope = {
        "type": kind, "method": method, "path": path, "raw_path": path.encode(), "query_string": query.encode(),
        "root_path": "", "scheme": "ws" if kind == "websocket" else "http", "http_version": "1.1",
        "headers": [(k.replace("_", "-").encode(), v.encode()) for k, v in headers.items()],
        "client": (client, 40000), "server": ("127.0.0.1", 8440), "subprotocols": [],
        "asgi": {"version": "3.0", "spec_version": "2.4"},
    }  # fmt: skip
    first = {"type": "websocket.connect"} if kind == "websocket" else {"type": "http.request", "body": body}

    async def go() -> None:
        waiting = [first]

        async def receive() -> dict[str, Any]:
            return waiting.pop() if waiting else {"type": f"{kind}.disconnect", "code": 1000}

        async def send(message: Any) -> None:
            sent.append(dict(message))

        await app(scope, receive, send)

    asyncio.run(go())
    if kind == "websocket":
        return (101 if sent[0]["type"] == "websocket.accept" else 403), {}, b""
    head = {k.decode(): v.decode() for k, v in sent[0]["headers"]}
    return sent[0]["status"], head, b"".join(m.get("body", b"") for m in sent[1:])


def test_own_page_is_served_with_a_strict_policy(static: Path) -> None:
    app = make_app(Hub(MadeSource()), static=static)
    status, head, _ = ask(app, "/", host="127.0.0.1:8440")
    assert status == 200
    policy = head["content-security-policy"]
    assert (
        "default-src 'none'" in policy and "unsafe" not in policy and "http:" not in policy and "https:" not in policy
    )
    assert re.search(r"style-src 'self' 'sha256-[A-Za-z0-9+/=]{44}'", policy)


def test_policy_hash_is_the_published_one() -> None:
    # SHA-256 of "abc", base64 of FIPS 180-4's example (SHA256.pdf, NIST): ba7816bf ... 15ad.
    expected = "ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0="
    assert f"'sha256-{expected}'" in content_policy("<style>abc</style>")


@pytest.mark.parametrize("host", ["evil.example", "helm.evil.example:8440", "", "[", "[::1", "]:8440"])
def test_a_name_that_is_not_ours_is_refused(static: Path, host: str) -> None:
    # DNS rebinding: a stranger's name that resolves to this machine.
    status, _, body = ask(make_app(Hub(MadeSource()), static=static), "/", host=host)
    assert status == 403 and b"not called" in body


@pytest.mark.parametrize(
    ("origin", "status"),
    [
        ("http://127.0.0.1:8440", 101),
        ("http://evil.example", 403),
        ("http://127.0.0.1:9999", 403),
        ("null", 403),
        (None, 403),
    ],
)
def test_a_socket_must_come_from_our_own_page(static: Path, origin: str | None, status: int) -> None:
    headers = {"host": "127.0.0.1:8440"} | ({} if origin is None else {"origin": origin})
    assert ask(make_app(Hub(MadeSource()), static=static), "/live", kind="websocket", **headers)[0] == status


@pytest.mark.parametrize(
    ("origin", "status"),
    [("http://127.0.0.1:8440", 405), ("http://evil.example", 403), ("null", 403), (None, 403)],
)
def test_what_changes_something_must_come_from_our_own_page(static: Path, origin: str | None, status: int) -> None:
    # A stranger's page may post to this machine without asking: its Origin gives it away.
    headers = {"host": "127.0.0.1:8440"} | ({} if origin is None else {"origin": origin})
    assert ask(make_app(Hub(MadeSource()), static=static), "/", method="POST", **headers)[0] == status


def test_without_pairing_another_machine_gets_nothing(static: Path) -> None:
    app = make_app(Hub(MadeSource()), static=static)
    for path in ("/", "/pair", "/screens", "/index.html"):
        assert ask(app, path, client="192.0.2.7", host="192.0.2.1:8440")[0] in (403, 404), path


def test_an_unknown_chart_is_not_found(static: Path) -> None:
    assert ask(make_app(Hub(MadeSource()), static=static), "/chart/x.json", host="localhost")[0] == 404


def test_without_screens_one_line_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="make web"):
        check_built(tmp_path)


@pytest.fixture
def taken() -> Iterator[int]:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        sock.listen()
        yield sock.getsockname()[1]


def test_a_port_in_use_is_one_line(taken: int) -> None:
    with pytest.raises(LinkError, match=f"port {taken} on 127.0.0.1 is in use"):
        open_socket("127.0.0.1", taken)


def test_an_address_that_is_not_ours_is_one_line() -> None:
    # 192.0.2.0/24 is TEST-NET-1: RFC 5737.
    with pytest.raises(LinkError, match=r"cannot listen on 192\.0\.2\.1"):
        open_socket("192.0.2.1", 0)


@pytest.mark.parametrize(
    ("host", "alone"), [("127.0.0.1", True), ("::1", True), ("localhost", True), ("0.0.0.0", False)]
)
def test_what_counts_as_this_machine_alone(host: str, alone: bool) -> None:
    assert is_loopback(host) is alone


def test_a_helm_for_this_computer_alone_says_what_tablets_need(static: Path) -> None:
    status, _, body = ask(make_app(Hub(MadeSource()), static=static), "/screens", host="127.0.0.1:8440")
    assert status == 200 and b"--host 0.0.0.0" in body
