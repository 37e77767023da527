"""Listening places on this machine: real sockets on the loopback, real pseudo-terminals."""

from __future__ import annotations

import asyncio
import os
import pty
import socket
import sys
import termios
import threading
import time
from collections.abc import Callable, Coroutine
from typing import Any

import pytest

from moonless.errors import InputError
from moonless.watch.link_survey.discovery import LinkDiscovery, ListenedLink
from moonless.watch.link_survey.named_links import links_of, usual_links
from moonless.wire.links import ReceiptClock, parse_link
from moonless.wire.nmea_write import write_hdt

HDT = write_hdt(0.5).encode() + b"\r\n"


def none() -> list[tuple[str, str]]:
    return []


def free_udp_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        port: int = sock.getsockname()[1]
        return port


def with_discovery(discovery: LinkDiscovery, work: Callable[[], Coroutine[Any, Any, None]]) -> None:
    """Run a discovery while ``work`` looks at it."""

    async def go() -> None:
        running = asyncio.create_task(discovery.run())
        try:
            await work()
        finally:
            running.cancel()
            await asyncio.gather(running, return_exceptions=True)

    asyncio.run(go())


async def until(condition: Callable[[], object], wait_s: float = 60.0) -> None:
    for _ in range(int(wait_s / 0.02)):
        if condition():
            return
        await asyncio.sleep(0.02)
    raise AssertionError("still not so")


def only(discovery: LinkDiscovery) -> ListenedLink:
    (place,) = discovery.links.values()
    return place


def test_a_datagram_on_a_usual_port_is_heard() -> None:
    port = free_udp_port()
    discovery = LinkDiscovery(ReceiptClock(), usual=[f"udp://0.0.0.0:{port}"], devices=none)

    async def work() -> None:
        await until(lambda: only(discovery).state == "listening")
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            sock.sendto(HDT, ("127.0.0.1", port))
        await until(lambda: only(discovery).content.kind == "nmea")

    with_discovery(discovery, work)
    # The port is free again for the watch.
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("0.0.0.0", port))


def test_a_port_of_another_program_is_not_taken_and_that_is_one_line() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as theirs:
        theirs.bind(("0.0.0.0", 0))
        port = theirs.getsockname()[1]
        discovery = LinkDiscovery(ReceiptClock(), usual=[f"udp://0.0.0.0:{port}"], devices=none)

        async def work() -> None:
            await until(lambda: only(discovery).state == "in use")
            assert only(discovery).line == (
                f"port {port} is in use by another program on this computer; it is not taken from it"
            )
            # Even when asked: this program does not share it.
            discovery.share(only(discovery).link)
            await until(lambda: only(discovery).task is not None and only(discovery).task.done())  # type: ignore[union-attr]
            assert only(discovery).state == "in use"

        with_discovery(discovery, work)


def test_a_port_that_another_program_shares_is_listened_to_only_when_asked() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as theirs:
        theirs.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        theirs.bind(("0.0.0.0", 0))
        port = theirs.getsockname()[1]
        discovery = LinkDiscovery(ReceiptClock(), usual=[f"udp://0.0.0.0:{port}"], devices=none)

        async def work() -> None:
            await until(lambda: only(discovery).state == "in use")
            discovery.share(only(discovery).link)
            await until(lambda: only(discovery).state == "listening")
            assert "shared" in only(discovery).line

        with_discovery(discovery, work)


def test_a_tcp_host_by_hand_is_heard_and_its_end_is_said() -> None:
    async def go() -> None:
        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            writer.write(HDT * 3)
            await writer.drain()
            writer.close()
            await writer.wait_closed()

        server = await asyncio.start_server(serve, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        discovery = LinkDiscovery(ReceiptClock(), usual=[], devices=none)
        running = asyncio.create_task(discovery.run())
        assert discovery.add(f"127.0.0.1:{port}") == [f"tcp://127.0.0.1:{port}"]
        await until(lambda: only(discovery).content.sentences)
        assert only(discovery).content.sentences["HEHDT"].count == 3
        discovery.forget(f"tcp://127.0.0.1:{port}")
        assert discovery.links == {}
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)
        server.close()
        await server.wait_closed()

    asyncio.run(go())


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="pseudo-terminals tell their rate on Linux")
def test_a_serial_device_is_tried_until_its_rate_is_right() -> None:
    ours, theirs = pty.openpty()
    device = os.ttyname(theirs)
    rates: list[int] = []
    over = threading.Event()

    def talk() -> None:
        # A talker at 38400 baud, as heard at any other rate: something, but nothing right.
        while not over.is_set():
            rate = termios.tcgetattr(ours)[4]
            if not rates or rates[-1] != rate:
                rates.append(rate)
            os.write(ours, HDT if rate == termios.B38400 else b"\xfe\x80\x12\xff\x00" * 8)
            time.sleep(0.05)

    talker = threading.Thread(target=talk)
    discovery = LinkDiscovery(ReceiptClock(), usual=[], devices=lambda: [(device, "a made device")], try_baud_s=0.4)

    async def work() -> None:
        talker.start()
        await until(lambda: discovery.links and only(discovery).content.kind == "nmea")
        assert only(discovery).link == f"serial:{device}?baud=38400"
        assert only(discovery).said == "a made device"
        assert parse_link(only(discovery).link).baud == 38400
        await until(lambda: only(discovery).content.sentences["HEHDT"].count > 3)

    try:
        with_discovery(discovery, work)
    finally:
        over.set()
        talker.join()
        os.close(ours)
        os.close(theirs)
    assert termios.B4800 in rates


def test_a_serial_device_that_is_not_there_is_one_line() -> None:
    discovery = LinkDiscovery(ReceiptClock(), usual=[], devices=none, try_baud_s=0.2)

    async def work() -> None:
        discovery.add("/dev/no-such-device")
        await until(lambda: only(discovery).state == "lost")
        assert only(discovery).line == "/dev/no-such-device: there is no such device"

    with_discovery(discovery, work)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="/proc tells who has a device")
def test_a_serial_device_of_another_program_is_not_read_beside_it() -> None:
    import subprocess

    ours, theirs = pty.openpty()
    device = os.ttyname(theirs)
    os.close(theirs)
    holder = subprocess.Popen(
        [sys.executable, "-c", f"import os, sys; os.open({device!r}, os.O_RDWR | os.O_NOCTTY); sys.stdin.read()"],
        stdin=subprocess.PIPE,
    )
    try:
        discovery = LinkDiscovery(ReceiptClock(), usual=[], devices=none, try_baud_s=0.2)

        async def work() -> None:
            for _ in range(3000):
                from moonless.watch.link_survey.serial_devices import programs_holding

                if programs_holding(device):
                    break
                await asyncio.sleep(0.02)
            discovery.add(device)
            await until(lambda: only(discovery).state == "in use")
            assert f"{device} is in use by another program" in only(discovery).line

        with_discovery(discovery, work)
    finally:
        assert holder.stdin is not None
        holder.stdin.close()
        holder.wait()
        os.close(ours)


def test_what_the_watch_reads_is_shown_and_not_opened_again() -> None:
    port = free_udp_port()
    link = f"udp://0.0.0.0:{port}"
    discovery = LinkDiscovery(ReceiptClock(), usual=[link], devices=none, watched=[link])

    async def work() -> None:
        await asyncio.sleep(0.1)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            sock.bind(("0.0.0.0", port))  # nobody has it
        discovery.feed(link, HDT, discovery.clock.now_ns(), True)
        assert only(discovery).state == "watched" and only(discovery).content.kind == "nmea"

    with_discovery(discovery, work)


@pytest.mark.parametrize(
    ("text", "links"),
    [
        ("8600", ["udp://0.0.0.0:8600"]),
        ("5000-5002", ["udp://0.0.0.0:5000", "udp://0.0.0.0:5001", "udp://0.0.0.0:5002"]),
        ("239.255.0.1:8600", ["udp://239.255.0.1:8600"]),
        ("gateway:2000", ["tcp://gateway:2000"]),
        ("/dev/ttyUSB0", ["serial:/dev/ttyUSB0"]),
        ("serial:/dev/ttyUSB0?baud=9600", ["serial:/dev/ttyUSB0?baud=9600"]),
        ("udp://0.0.0.0:2947", ["udp://0.0.0.0:2947"]),
    ],
)
def test_words_name_links(text: str, links: list[str]) -> None:
    assert links_of(text) == links


def test_a_host_alone_is_tried_at_the_usual_ports() -> None:
    assert "tcp://192.0.2.4:10110" in links_of("192.0.2.4")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "name a UDP port"),
        ("70000", "1 to 65535"),
        ("1-5000", "5000 ports; at most 256"),
        ("239.255.0.1", "needs its port"),
        ("http://x:1", "not known"),
        ("/etc/passwd", "no port, no group and no host"),
        ("a:b", "no port"),
        ("serial:/dev/x?baud=fast", "baud"),
    ],
)
def test_words_that_name_nothing_are_one_line(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        links_of(text)


def test_usual_links_are_links() -> None:
    assert all(parse_link(link).kind == "udp" for link in usual_links())
