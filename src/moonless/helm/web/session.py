"""One screen's side of the WebSocket."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import Mapping
from typing import Protocol

from starlette.websockets import WebSocket, WebSocketDisconnect

from moonless.errors import InputError, WireError
from moonless.helm.bodies.routes import ReplyBody
from moonless.helm.bodies.sheet import NOTHING, TrialBody
from moonless.helm.door.guard import ONLY_LOOKS
from moonless.helm.process.requests import HELM, Asker, Request
from moonless.helm.web.controls import read_control
from moonless.helm.web.protocol import (
    ACK,
    CALL,
    CHART,
    CONTROL,
    HEARD,
    HELLO,
    READING,
    REPLY,
    STATUS,
    TRIAL,
    decode_head,
    decode_json,
    encode_fan,
    encode_json,
    encode_pose,
    encode_spokes,
)
from moonless.helm.web.slots import Outbox
from moonless.helm.web.spokes import SpokeStore

_log = logging.getLogger(__name__)
# Pictures that may be under way and not yet taken in.  Without this the kernel's socket buffer would be the
# queue of the past that the slots avoid.
UNDER_WAY = 2


class Middle(Protocol):
    """What a screen needs of the hub, which knows the sessions; they need not know it."""

    @property
    def store(self) -> SpokeStore:
        """The radar's picture."""
        ...

    def join(self, session: Session) -> None:
        """Give a new screen the present."""
        ...

    def leave(self, session: Session) -> None:
        """Forget a screen."""
        ...

    def ask(self, request: Request, asker: Asker) -> str | None:
        """Do what a screen asked; return one plain line for it, or None."""
        ...


class Session:
    """Rules: what goes out waits in the `Outbox`, which is bounded; the sender alone writes."""

    def __init__(self, *, may_act: bool = True) -> None:
        self._may_act = may_act
        self.number: Asker = HELM  # its own once it has joined
        self.out = Outbox()
        self._trial: TrialBody | None = None
        self._seen_version = 0
        self._sequence = 0
        self._under_way: list[int] = []
        self._fresh = asyncio.Event()

    def wake(self) -> None:
        """Something is new.  Never blocks."""
        self._fresh.set()

    def forget_reading(self) -> None:
        """Drop a waiting reading that the source has withdrawn."""
        self.out.reading.take()

    async def run(self, websocket: WebSocket, hub: Middle) -> None:
        """Serve one accepted WebSocket until it closes."""
        hub.join(self)
        ways = [asyncio.create_task(self._send(websocket, hub)), asyncio.create_task(self._receive(websocket, hub))]
        try:
            done, _ = await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
            for way in done:
                await self._end_by(way, websocket)
        finally:
            hub.leave(self)
            for way in ways:
                way.cancel()
            await asyncio.gather(*ways, return_exceptions=True)

    async def _end_by(self, way: asyncio.Task[None], websocket: WebSocket) -> None:
        """End this session, and no other, by what ended one of its ways; a screen that is not fed must know it."""
        problem = way.exception()
        if problem is None or isinstance(problem, WebSocketDisconnect | RuntimeError):
            return
        _log.error("a screen's session failed", exc_info=problem)
        with contextlib.suppress(Exception):
            await websocket.close(code=1011, reason="this session failed; load the page afresh")

    def _next_sequence(self) -> int:
        self._sequence += 1
        return self._sequence

    async def _send(self, websocket: WebSocket, hub: Middle) -> None:
        while True:
            await self._fresh.wait()
            self._fresh.clear()
            # Calls first: they are what a skipper cannot do without.
            out = self.out
            while (call := out.calls.take()) is not None:
                await websocket.send_bytes(encode_json(CALL, self._next_sequence(), call))
            for kind, slot in (
                (HELLO, out.hello),
                (CHART, out.chart),
                (STATUS, out.status),
                (STATUS, out.answer),
                (TRIAL, out.trial),
            ):
                body: Mapping[str, object] | None = slot.take()
                if body is not None:
                    if kind == HELLO and not self._may_act:
                        body = {**body, "setup": False}
                    await websocket.send_bytes(encode_json(kind, self._next_sequence(), body))
            while out.replies:
                await websocket.send_bytes(encode_json(REPLY, self._next_sequence(), out.replies.popleft()))
            if (pose := out.pose.take()) is not None:
                await websocket.send_bytes(encode_pose(self._next_sequence(), pose))
            if len(self._under_way) >= UNDER_WAY:
                continue  # the ack wakes us
            if (heard := out.heard.take()) is not None:
                for fan in out.fans.take() or ():
                    await websocket.send_bytes(encode_fan(self._next_sequence(), fan))
                sequence = self._next_sequence()
                self._under_way.append(sequence)
                await websocket.send_bytes(encode_json(HEARD, sequence, heard))
            if (reading := out.reading.take()) is not None:
                sequence = self._next_sequence()
                self._under_way.append(sequence)
                await websocket.send_bytes(encode_json(READING, sequence, reading))
            version = hub.store.version
            if (spokes := hub.store.frame_since(self._seen_version)) is not None:
                self._seen_version = version
                sequence = self._next_sequence()
                self._under_way.append(sequence)
                await websocket.send_bytes(encode_spokes(sequence, spokes))

    async def _receive(self, websocket: WebSocket, hub: Middle) -> None:
        while True:
            message = await websocket.receive()
            if message["type"] == "websocket.disconnect":
                return
            frame = message.get("bytes")
            if frame is None:
                await websocket.close(code=1003, reason="this helm speaks binary frames")
                return
            try:
                kind, sequence = decode_head(frame)
                if kind == ACK:
                    self._under_way = [s for s in self._under_way if s > sequence]
                    self.wake()
                elif kind == CONTROL:
                    if not self._may_act:
                        raise InputError(ONLY_LOOKS)
                    answer = hub.ask(read_control(decode_json(frame)), self.number)
                    if answer is not None:
                        self.say(answer)
                else:
                    raise WireError(f"a frame of kind {kind} is not for the helm")
            except (InputError, WireError) as problem:
                _log.info("refused: %s", problem)
                self.say(str(problem))

    def reply(self, body: ReplyBody) -> None:
        """Hand on what became of a question.  Never blocks."""
        self.out.replies.append(body)
        self.wake()

    def show_trial(self, body: TrialBody | None) -> None:
        """Show what a trial brings, None for none; nothing goes out where it is shown already."""
        if body != self._trial:
            self._trial = body
            self.out.trial.put(NOTHING if body is None else body)

    def say(self, line: str) -> None:
        """Tell this screen one plain line.  Never blocks."""
        self.out.answer.put({"answer": line})
        self.wake()
