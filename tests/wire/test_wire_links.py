"""Links: what they are called, and what happens when the far side goes and comes back."""

from __future__ import annotations

import asyncio
import os
import socket
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moonless.errors import InputError
from moonless.wire import links
from moonless.wire.links import LinkSpec, ReceiptClock, parse_link, read_link, udp_socket


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("run/radar.ast", LinkSpec("run/radar.ast", "file", path=Path("run/radar.ast"))),
        ("udp://239.255.0.1:8600", LinkSpec("udp://239.255.0.1:8600", "udp", host="239.255.0.1", port=8600)),
        ("udp://0.0.0.0:10110", LinkSpec("udp://0.0.0.0:10110", "udp", host="0.0.0.0", port=10110)),
        ("tcp://gateway.local:2000", LinkSpec("tcp://gateway.local:2000", "tcp", host="gateway.local", port=2000)),
        ("tcp://[::1]:2000", LinkSpec("tcp://[::1]:2000", "tcp", host="::1", port=2000)),
        ("serial:/dev/ttyUSB0", LinkSpec("serial:/dev/ttyUSB0", "serial", device="/dev/ttyUSB0")),
        ("serial:COM3?baud=38400", LinkSpec("serial:COM3?baud=38400", "serial", device="COM3", baud=38400)),
    ],
)
def test_links_are_parsed(text: str, expected: LinkSpec) -> None:
    assert parse_link(text) == expected
    assert parse_link("udp://239.255.0.1:8600").is_multicast


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not nothing"),
        ("http://host:80", "http:// is not known"),
        ("udp://239.0.0.1", "both host and port"),
        ("udp://:8600", "both host and port"),
        ("tcp://host:99999", "out of range"),
        ("tcp://host:20/more", "nothing follows the port"),
        ("serial:", "no device"),
        ("serial:/dev/x?baud=fast", "not a whole number"),
        ("serial:/dev/x?bawd=9600", "'bawd' is not known"),
        ("serial:/dev/x?9600", "only baud is"),
    ],
)
def test_what_cannot_be_a_link_is_said(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        parse_link(text)


@given(st.text(max_size=40))
def test_any_text_is_a_link_or_a_plain_error(text: str) -> None:
    try:
        parse_link(text)
    except InputError as problem:
        assert str(problem)


class _Told:
    """Collects what a link gives and says; `until` waits for it without a clock of its own."""

    def __init__(self) -> None:
        self.data: list[tuple[bytes, bool]] = []
        self.said: list[tuple[str, str]] = []
        self._event = asyncio.Event()

    def put(self, data: bytes, received_ns: int, is_datagram: bool) -> None:
        assert received_ns > 0
        self.data.append((data, is_datagram))
        self._event.set()

    def say(self, state: str, line: str) -> None:
        self.said.append((state, line))
        self._event.set()

    @property
    def bytes(self) -> bytes:
        return b"".join(data for data, _ in self.data)

    async def until(self, there: Callable[[], bool]) -> None:
        async with asyncio.timeout(60.0):
            while not there():
                self._event.clear()
                await self._event.wait()


def _run(text: str, scenario: Callable[[_Told], object], monkeypatch: pytest.MonkeyPatch) -> _Told:
    monkeypatch.setattr(links, "FIRST_PAUSE_S", 0.01)

    async def go() -> _Told:
        told = _Told()
        task = asyncio.create_task(read_link(parse_link(text), told.put, told.say, ReceiptClock()))
        try:
            await scenario(told)  # type: ignore[misc]
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
        return told

    return asyncio.run(go())


def _free_port(kind: int) -> int:
    with socket.socket(socket.AF_INET, kind) as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def test_file_is_read_to_its_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.nmea"
    path.write_bytes(b"abc" * 50_000)

    async def scenario(told: _Told) -> None:
        await told.until(lambda: any(state == "ended" for state, _ in told.said))

    assert _run(str(path), scenario, monkeypatch).bytes == path.read_bytes()


def test_datagrams_come_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    port = _free_port(socket.SOCK_DGRAM)

    async def scenario(told: _Told) -> None:
        await told.until(lambda: bool(told.said))
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            for data in (b"one", b"two" * 300):
                sender.sendto(data, ("127.0.0.1", port))
        await told.until(lambda: len(told.data) == 2)

    told = _run(f"udp://127.0.0.1:{port}", scenario, monkeypatch)
    assert told.data == [(b"one", True), (b"two" * 300, True)]


def test_multicast_group_is_joined(monkeypatch: pytest.MonkeyPatch) -> None:
    port = _free_port(socket.SOCK_DGRAM)
    group = "239.255.77.1"

    async def scenario(told: _Told) -> None:
        await told.until(lambda: bool(told.said))
        if told.said[0][0] != "open":
            pytest.skip(f"this machine joins no multicast group: {told.said[0][1]}")
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            sender.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_LOOP, 1)
            try:
                sender.sendto(b"spoke", (group, port))
            except OSError as problem:
                pytest.skip(f"this machine has no route for multicast: {problem}")
        await told.until(lambda: bool(told.data))

    assert _run(f"udp://{group}:{port}", scenario, monkeypatch).data == [(b"spoke", True)]


def test_refused_connection_is_said_once_and_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    port = _free_port(socket.SOCK_STREAM)

    async def scenario(told: _Told) -> None:
        await told.until(lambda: bool(told.said))
        for _ in range(2):  # it comes, goes, and comes again
            served = asyncio.Event()

            async def serve(
                _: asyncio.StreamReader, writer: asyncio.StreamWriter, served: asyncio.Event = served
            ) -> None:
                writer.write(b"$GPHDT,274.07,T*03\r\n")
                await writer.drain()
                writer.close()
                served.set()

            server = await asyncio.start_server(serve, "127.0.0.1", port)
            await asyncio.wait_for(served.wait(), 60.0)
            server.close()
            await server.wait_closed()
            n_lost = sum(state == "lost" for state, _ in told.said)
            await told.until(lambda n_lost=n_lost: sum(s == "lost" for s, _ in told.said) >= max(n_lost, 2))  # type: ignore[misc]

    told = _run(f"tcp://127.0.0.1:{port}", scenario, monkeypatch)
    assert told.said[0] == ("lost", f"tcp://127.0.0.1:{port}: Connection refused")
    assert told.bytes.count(b"HDT") >= 2
    assert not any(is_datagram for _, is_datagram in told.data)  # what is cut anywhere must be joined


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo-terminals here")
def test_serial_device_that_vanishes_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    master, slave = os.openpty()
    device = os.ttyname(slave)

    async def scenario(told: _Told) -> None:
        await told.until(lambda: bool(told.said))
        os.write(master, b"$GPHDT,274.07,T*03\r\n")
        await told.until(lambda: told.bytes.endswith(b"\n"))
        os.close(slave)
        os.close(master)
        await told.until(lambda: told.said[-1][0] == "lost")

    told = _run(f"serial:{device}?baud=38400", scenario, monkeypatch)
    assert told.bytes == b"$GPHDT,274.07,T*03\r\n"
    assert told.said[0][0] == "open"
    assert device in told.said[-1][1]


def test_serial_device_that_is_not_there_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    async def scenario(told: _Told) -> None:
        await told.until(lambda: bool(told.said))

    told = _run("serial:/dev/no-such-device", scenario, monkeypatch)
    assert told.said[0][0] == "lost"
    assert "no-such-device" in told.said[0][1]


def test_a_port_of_our_own_is_not_told_as_shared() -> None:
    # A port that two programs have gives its datagrams to one of them: that must be said, and of no other port.
    spec = parse_link(f"udp://127.0.0.1:{_free_port(socket.SOCK_DGRAM)}")
    mine = udp_socket(spec)
    with mine.sock:
        assert (mine.is_shared, mine.only_from) == (False, None)
        with pytest.raises(OSError, match="in use"):
            udp_socket(spec, may_share=False)
        with pytest.raises(OSError, match="in use"):
            udp_socket(spec)  # the first does not share


@pytest.mark.skipif(sys.platform == "win32", reason="another rule of sharing")
def test_a_port_that_another_program_shares_is_told_as_shared() -> None:
    port = _free_port(socket.SOCK_DGRAM)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        other.bind(("127.0.0.1", port))
        spec = parse_link(f"udp://127.0.0.1:{port}")
        with pytest.raises(OSError, match="in use"):
            udp_socket(spec, may_share=False)
        shared = udp_socket(spec)
        with shared.sock:
            assert shared.is_shared
