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
from moonless.watch.link_survey.discovery import Finder, Place, links_of, usual_places
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


def with_finder(finder: Finder, work: Callable[[], Coroutine[Any, Any, None]]) -> None:
    """Run a finder while ``work`` looks at it."""

    async def go() -> None:
        running = asyncio.create_task(finder.run())
        try:
            await work()
        finally:
            running.cancel()
            await asyncio.gather(running, return_exceptions=True)

    asyncio.run(go())


async def until(condition: Callable[[], object], wait_s: float = 8.0) -> None:
    for _ in range(int(wait_s / 0.02)):
        if condition():
            return
        await asyncio.sleep(0.02)
    raise AssertionError("still not so")


def only(finder: Finder) -> Place:
    (place,) = finder.places.values()
    return place


def test_a_datagram_on_a_usual_port_is_heard() -> None:
    port = free_udp_port()
    finder = Finder(ReceiptClock(), usual=[f"udp://0.0.0.0:{port}"], devices=none)

    async def work() -> None:
        await until(lambda: only(finder).state == "listening")
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            sock.sendto(HDT, ("127.0.0.1", port))
        await until(lambda: only(finder).ear.kind == "nmea")

    with_finder(finder, work)
    # The port is free again for the watch.
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("0.0.0.0", port))


def test_a_port_of_another_program_is_not_taken_and_that_is_one_line() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as theirs:
        theirs.bind(("0.0.0.0", 0))
        port = theirs.getsockname()[1]
        finder = Finder(ReceiptClock(), usual=[f"udp://0.0.0.0:{port}"], devices=none)

        async def work() -> None:
            await until(lambda: only(finder).state == "in use")
            assert only(finder).line == (
                f"port {port} is in use by another program on this computer; it is not taken from it"
            )
            # Even when asked: this program does not share it.
            finder.share(only(finder).link)
            await until(lambda: only(finder).task is not None and only(finder).task.done())  # type: ignore[union-attr]
            assert only(finder).state == "in use"

        with_finder(finder, work)


def test_a_port_that_another_program_shares_is_listened_to_only_when_asked() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as theirs:
        theirs.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        theirs.bind(("0.0.0.0", 0))
        port = theirs.getsockname()[1]
        finder = Finder(ReceiptClock(), usual=[f"udp://0.0.0.0:{port}"], devices=none)

        async def work() -> None:
            await until(lambda: only(finder).state == "in use")
            finder.share(only(finder).link)
            await until(lambda: only(finder).state == "listening")
            assert "shared" in only(finder).line

        with_finder(finder, work)


def test_a_tcp_host_by_hand_is_heard_and_its_end_is_said() -> None:
    async def go() -> None:
        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            writer.write(HDT * 3)
            await writer.drain()
            writer.close()
            await writer.wait_closed()

        server = await asyncio.start_server(serve, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        finder = Finder(ReceiptClock(), usual=[], devices=none)
        running = asyncio.create_task(finder.run())
        assert finder.add(f"127.0.0.1:{port}") == [f"tcp://127.0.0.1:{port}"]
        await until(lambda: only(finder).ear.sentences)
        assert only(finder).ear.sentences["HEHDT"].count == 3
        finder.forget(f"tcp://127.0.0.1:{port}")
        assert finder.places == {}
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
    finder = Finder(ReceiptClock(), usual=[], devices=lambda: [(device, "a made device")], try_baud_s=0.4)

    async def work() -> None:
        talker.start()
        await until(lambda: finder.places and only(finder).ear.kind == "nmea")
        assert only(finder).link == f"serial:{device}?baud=38400"
        assert only(finder).said == "a made device"
        assert parse_link(only(finder).link).baud == 38400
        await until(lambda: only(finder).ear.sentences["HEHDT"].count > 3)

    try:
        with_finder(finder, work)
    finally:
        over.set()
        talker.join()
        os.close(ours)
        os.close(theirs)
    assert termios.B4800 in rates


def test_a_serial_device_that_is_not_there_is_one_line() -> None:
    finder = Finder(ReceiptClock(), usual=[], devices=none, try_baud_s=0.2)

    async def work() -> None:
        finder.add("/dev/no-such-device")
        await until(lambda: only(finder).state == "lost")
        assert only(finder).line == "/dev/no-such-device: there is no such device"

    with_finder(finder, work)


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
        finder = Finder(ReceiptClock(), usual=[], devices=none, try_baud_s=0.2)

        async def work() -> None:
            for _ in range(200):
                from moonless.watch.link_survey.discovery import programs_holding

                if programs_holding(device):
                    break
                await asyncio.sleep(0.02)
            finder.add(device)
            await until(lambda: only(finder).state == "in use")
            assert f"{device} is in use by another program" in only(finder).line

        with_finder(finder, work)
    finally:
        assert holder.stdin is not None
        holder.stdin.close()
        holder.wait()
        os.close(ours)


def test_what_the_watch_reads_is_shown_and_not_opened_again() -> None:
    port = free_udp_port()
    link = f"udp://0.0.0.0:{port}"
    finder = Finder(ReceiptClock(), usual=[link], devices=none, watched=[link])

    async def work() -> None:
        await asyncio.sleep(0.1)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            sock.bind(("0.0.0.0", port))  # nobody has it
        finder.feed(link, HDT, finder.clock.now_ns(), True)
        assert only(finder).state == "watched" and only(finder).ear.kind == "nmea"

    with_finder(finder, work)


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


def test_usual_places_are_links() -> None:
    assert all(parse_link(link).kind == "udp" for link in usual_places())
