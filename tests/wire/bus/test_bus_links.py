"""Links of a bus and of Signal K: what a LINK names, frames from the kernel, a stream by WebSocket."""

from __future__ import annotations

import asyncio
import json
import socket
import struct
from pathlib import Path
from typing import Any

import pytest

from moonless.errors import InputError
from moonless.wire.links import ReceiptClock, parse_link, parse_radar_link, read_link
from moonless.wire.n2k.can_link import can_interfaces, line_of, read_can
from moonless.wire.n2k.frames import frame_of
from moonless.wire.nmea_events import PoseSaid
from moonless.wire.signalk.decoder import SignalKDecoder

NOW_NS = 1_900_000_000_123_456_000
EXTENDED = 0x80000000


def _kernel(identifier: int, data: bytes) -> bytes:
    # struct can_frame of linux/can.h.
    return struct.pack("=IB3x8s", identifier, len(data), data)


@pytest.mark.parametrize("text", ["can:can0", "can:slcan0", "can:vcan1.2", "ws://server:3000", "ws://[::1]:3000/x?y=z"])
def test_links_that_can_be(text: str) -> None:
    assert parse_link(text).kind == text.partition(":")[0]


@pytest.mark.parametrize(
    "text", ["can:", "can:can0/x", "can:a-name-that-is-too-long", "ws://server", "ws://:3000", "wss://server:3000"]
)
def test_links_that_cannot_be(text: str) -> None:
    with pytest.raises(InputError) as told:
        parse_link(text)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("text", ["can:can0", "ws://server:3000"])
def test_instruments_are_no_radar(text: str) -> None:
    with pytest.raises(InputError, match="no radar video"):
        parse_radar_link(text)
    assert parse_radar_link("udp://239.255.0.1:8600").kind == "udp"


def test_a_frame_of_the_kernel_is_a_line_of_candump() -> None:
    line = line_of(_kernel(EXTENDED | 0x09F80102, bytes.fromhex("36729A16021AB80D")), NOW_NS, "can0")
    assert line == b"(1900000000.123456) can0 09F80102#36729A16021AB80D\n"
    assert line_of(_kernel(0x123, b"1234"), NOW_NS, "can0") == b""  # 11 bits
    assert line_of(_kernel(EXTENDED | 0x40000000 | 1, b""), NOW_NS, "can0") == b""  # remote
    assert line_of(_kernel(EXTENDED | 0x20000000 | 1, b"12345678"), NOW_NS, "can0") == b""  # error
    assert line_of(b"short", NOW_NS, "can0") == b""


class _Taken:
    def __init__(self) -> None:
        self.opened: list[str] = []
        self.data: list[bytes] = []

    def open(self, line: str) -> None:
        self.opened.append(line)

    def put(self, data: bytes, received_ns: int, is_datagram: bool) -> None:
        self.data.append(data)


def test_frames_that_wait_come_at_once_and_a_lost_interface_is_told() -> None:
    # A pair of sockets stands for the kernel's: here there may be no CAN interface.
    ours, kernel = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    ours.setblocking(False)
    for i in range(5):
        kernel.send(_kernel(EXTENDED | 0x09F80100 | i, bytes(8)))
    taken = _Taken()

    async def run() -> None:
        task = asyncio.create_task(read_can("can0", taken, lambda: NOW_NS, lambda name: ours))
        while not taken.data:
            await asyncio.sleep(0.001)
        kernel.send(_kernel(0x123, b""))
        kernel.send(_kernel(EXTENDED | 0x09F80109, bytes(8)))
        while len(taken.data) < 2:
            await asyncio.sleep(0.001)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    asyncio.run(run())
    kernel.close()
    assert taken.opened == ["can:can0: listening"]
    first = [frame_of(line) for line in taken.data[0].splitlines()]
    assert [f.source for f in first if f is not None] == [0, 1, 2, 3, 4]
    assert taken.data[1].count(b"\n") == 1


def test_an_interface_that_is_not_there_is_one_plain_line() -> None:
    said: list[tuple[str, str]] = []

    async def run() -> None:
        task = asyncio.create_task(
            read_link(parse_link("can:nosuch7"), lambda *a: None, lambda s, t: said.append((s, t)), ReceiptClock())
        )
        while not said:
            await asyncio.sleep(0.01)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    asyncio.run(run())
    assert said[0][0] == "lost" and said[0][1].startswith("can:nosuch7: ") and "\n" not in said[0][1]


def test_can_interfaces_are_told_by_their_type(tmp_path: Path) -> None:
    for name, kind in (("can0", "280"), ("eth0", "1"), ("vcan0", "280")):
        (tmp_path / name).mkdir()
        (tmp_path / name / "type").write_text(kind + "\n")
    (tmp_path / "broken").mkdir()
    assert can_interfaces(tmp_path) == ["can0", "vcan0"]
    assert can_interfaces(tmp_path / "none") == []


def test_a_signal_k_stream() -> None:
    from websockets.asyncio.server import serve

    hello = {
        "name": "x",
        "version": "1.0.4",
        "self": "vessels.self",
        "roles": ["main"],
        "timestamp": "2031-01-01T00:00:00Z",
    }
    update = {"values": [{"path": "navigation.headingTrue", "value": 1.5}], "timestamp": "2031-01-01T00:00:00Z"}
    asked: list[str] = []

    async def server(stream: Any) -> None:
        asked.append(stream.request.path)
        await stream.send(json.dumps(hello))
        await stream.send(json.dumps({"updates": [update]}, indent=1))
        await stream.wait_closed()

    taken: list[bytes] = []
    said: list[tuple[str, str]] = []

    async def run() -> None:
        async with serve(server, "127.0.0.1", 0) as running:
            port = next(iter(running.sockets)).getsockname()[1]
            spec = parse_link(f"ws://127.0.0.1:{port}")
            task = asyncio.create_task(
                read_link(spec, lambda d, t, g: taken.append(d), lambda s, t: said.append((s, t)), ReceiptClock())
            )
            while len(taken) < 2:
                await asyncio.sleep(0.01)
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    asyncio.run(run())
    assert asked == ["/signalk/v1/stream?subscribe=all"] and said[0][0] == "open"
    assert all(data.count(b"\n") == 1 and data.endswith(b"\n") for data in taken)
    decoder = SignalKDecoder()
    events = [decoder.message(data, NOW_NS) for data in taken]
    assert events[0] == [] and events[1] is not None and isinstance(events[1][0], PoseSaid)


def test_a_server_that_is_none_is_one_plain_line() -> None:
    said: list[tuple[str, str]] = []

    async def other(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"$GPRMC,not a web server\r\n")
        writer.close()

    async def run() -> None:
        async with await asyncio.start_server(other, "127.0.0.1", 0) as running:
            port = running.sockets[0].getsockname()[1]
            task = asyncio.create_task(
                read_link(
                    parse_link(f"ws://127.0.0.1:{port}"),
                    lambda *a: None,
                    lambda s, t: said.append((s, t)),
                    ReceiptClock(),
                )
            )
            while not said:
                await asyncio.sleep(0.01)
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    asyncio.run(run())
    assert said[0][0] == "lost" and "\n" not in said[0][1]
