"""A Signal K server's stream, by WebSocket: each message becomes a line.  Nothing is sent but the opening."""

from __future__ import annotations

from collections.abc import Callable

from moonless.wire.n2k.can_link import Opened
from moonless.wire.signalk.decoder import MAX_MESSAGE

DEFAULT_PATH = "/signalk/v1/stream?subscribe=all"
OPEN_S = 10.0  # for the handshake; own choice


async def read_stream(url: str, text: str, opened: Opened, now_ns: Callable[[], int]) -> None:
    """Read until the server closes (returns), it is lost (OSError), or this is cancelled."""
    # Loaded by those who have such a link: it takes a tenth of a second, and every command opens links.
    from websockets.asyncio.client import connect
    from websockets.exceptions import WebSocketException

    try:
        async with connect(
            url, open_timeout=OPEN_S, max_size=MAX_MESSAGE, user_agent_header="moonless", proxy=None
        ) as stream:
            opened.open(f"{text}: connected")
            async for message in stream:
                data = message.encode() if isinstance(message, str) else bytes(message)
                opened.put(data.replace(b"\n", b" ").replace(b"\r", b" ") + b"\n", now_ns(), False)
    except WebSocketException as problem:
        raise OSError(f"no Signal K stream there: {str(problem) or type(problem).__name__}") from problem
