"""One screen's side of the WebSocket."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections import deque
from collections.abc import Mapping
from typing import Any, Protocol

from starlette.websockets import WebSocket, WebSocketDisconnect

from moonless.errors import InputError, WireError
from moonless.helm.web.controls import Control, read_control
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
    FanFrame,
    PoseFrame,
    decode_head,
    decode_json,
    encode_fan,
    encode_json,
    encode_pose,
    encode_spokes,
)
from moonless.helm.web.slots import CallQueue, LatestSlot
from moonless.helm.web.spokes import SpokeStore

_log = logging.getLogger(__name__)
# Pictures that may be under way and not yet taken in.  Without this the kernel's socket buffer would be the
# queue of the past that the slots avoid.
UNDER_WAY = 2


class Middle(Protocol):
    """What a screen needs of the hub, which knows the sessions; they need not know it."""

    store: SpokeStore

    def join(self, session: Session) -> None:
        """Give a new screen the present."""
        ...

    def leave(self, session: Session) -> None:
        """Forget a screen."""
        ...

    def ask(self, control: Control) -> str | None:
        """Do what a screen asked; return one plain line for it, or None."""
        ...


class Session:
    """Rules: everything whole waits in a `LatestSlot`, calls in a bounded queue; the sender alone writes."""

    def __init__(self) -> None:
        self.hello: LatestSlot[dict[str, Any]] = LatestSlot()
        self.chart: LatestSlot[dict[str, Any]] = LatestSlot()
        self.status: LatestSlot[dict[str, Any]] = LatestSlot()
        self.reading: LatestSlot[dict[str, Any]] = LatestSlot()
        self.pose: LatestSlot[PoseFrame] = LatestSlot()
        self.trial: LatestSlot[dict[str, Any]] = LatestSlot()
        self.answer: LatestSlot[dict[str, Any]] = LatestSlot()
        self.heard: LatestSlot[dict[str, Any]] = LatestSlot()
        self.fans: LatestSlot[list[FanFrame]] = LatestSlot()
        self.calls = CallQueue()
        # The oldest goes when a stalled screen has asked for more than this.
        self._replies: deque[dict[str, Any]] = deque(maxlen=8)
        self._seen_version = 0
        self._sequence = 0
        self._under_way: list[int] = []
        self._fresh = asyncio.Event()

    def wake(self) -> None:
        """Something is new.  Never blocks."""
        self._fresh.set()

    def forget_reading(self) -> None:
        """Drop a waiting reading that the source has withdrawn."""
        self.reading.take()

    async def run(self, websocket: WebSocket, hub: Middle) -> None:
        """Serve one accepted WebSocket until it closes."""
        hub.join(self)
        sending = asyncio.create_task(self._send(websocket, hub))
        try:
            await self._receive(websocket, hub)
        except WebSocketDisconnect:
            pass
        finally:
            hub.leave(self)
            sending.cancel()
            with contextlib.suppress(asyncio.CancelledError, WebSocketDisconnect, RuntimeError):
                await sending

    def _next_sequence(self) -> int:
        self._sequence += 1
        return self._sequence

    async def _send(self, websocket: WebSocket, hub: Middle) -> None:
        while True:
            await self._fresh.wait()
            self._fresh.clear()
            # Calls first: they are what a skipper cannot do without.
            while (call := self.calls.take()) is not None:
                await websocket.send_bytes(encode_json(CALL, self._next_sequence(), call))
            for kind, slot in (
                (HELLO, self.hello),
                (CHART, self.chart),
                (STATUS, self.status),
                (STATUS, self.answer),
                (TRIAL, self.trial),
            ):
                if (body := slot.take()) is not None:
                    await websocket.send_bytes(encode_json(kind, self._next_sequence(), body))
            while self._replies:
                await websocket.send_bytes(encode_json(REPLY, self._next_sequence(), self._replies.popleft()))
            if (pose := self.pose.take()) is not None:
                await websocket.send_bytes(encode_pose(self._next_sequence(), pose))
            if len(self._under_way) >= UNDER_WAY:
                continue  # the ack wakes us
            if (heard := self.heard.take()) is not None:
                for fan in self.fans.take() or ():
                    await websocket.send_bytes(encode_fan(self._next_sequence(), fan))
                sequence = self._next_sequence()
                self._under_way.append(sequence)
                await websocket.send_bytes(encode_json(HEARD, sequence, heard))
            if (reading := self.reading.take()) is not None:
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
                    answer = hub.ask(read_control(decode_json(frame)))
                    if answer is not None:
                        self.say(answer)
                else:
                    raise WireError(f"a frame of kind {kind} is not for the helm")
            except (InputError, WireError) as problem:
                _log.info("refused: %s", problem)
                self.say(str(problem))

    def reply(self, body: Mapping[str, Any]) -> None:
        """Hand on what became of a question.  Never blocks."""
        self._replies.append(dict(body))
        self.wake()

    def say(self, line: str) -> None:
        """Tell this screen one plain line.  Never blocks."""
        self.answer.put({"answer": line})
        self.wake()
