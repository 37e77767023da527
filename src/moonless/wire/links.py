"""Where bytes come from: files, UDP, TCP, serial lines, CAN interfaces, Signal K streams.

    LINK     what it is
    PATH                     a file
    udp://HOST:PORT          datagrams; a multicast group is joined; HOST is this machine's address, or the sender's
    tcp://HOST:PORT          a connection made to HOST
    serial:DEVICE?baud=N     a serial line, 4800 baud unless told
    picture:SOURCE           a radar by the picture of its screen; read by `moonless.watch.screen.pictured`
    can:INTERFACE            a CAN interface of this computer, as lines of frames
    ws://HOST:PORT           a Signal K server's stream, as lines of deltas

Rules of this file:
- A link that fails is opened again, after a pause that grows from `FIRST_PAUSE_S` to `LONGEST_PAUSE_S`; each change is
  told once in one plain line.  Nothing is raised for what happens on the far side.
- Times of receipt come from a clock that never jumps (`ReceiptClock`), whatever is done to the computer's.
- A UDP port is taken for this program alone where that can be done, so that no other takes its datagrams away unseen.
  Where another program already has the port and shares it, it is shared, and that is said.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import ipaddress
import os
import re
import socket
import struct
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NamedTuple
from urllib.parse import parse_qsl, urlsplit

import serial

from moonless.clock import Clock, SystemClock, steady_s
from moonless.errors import InputError
from moonless.units import NS_PER_S
from moonless.wire.n2k.can_link import INTERFACE, read_can
from moonless.wire.signalk.stream_link import DEFAULT_PATH, read_stream

LinkKind = Literal["file", "udp", "tcp", "serial", "picture", "can", "ws"]
LinkState = Literal["opening", "open", "lost", "ended"]

FIRST_PAUSE_S = 0.5
LONGEST_PAUSE_S = 8.0
# NMEA 0183's own rate; AIS and GNSS sets often use 38400.
DEFAULT_BAUD = 4800
_BAUDS = (50, 4_000_000)
_READ_BYTES = 65_536
# A turn of the antenna as datagrams, with room for a busy second: the kernel's own default loses spokes.
_SOCKET_BUFFER = 8 * 1024 * 1024

Put = Callable[[bytes, int, bool], None]
"""(data, time of receipt, whether it is one whole datagram)."""
Say = Callable[[LinkState, str], None]
"""(state, one plain line)."""


@dataclass(frozen=True, slots=True)
class LinkSpec:
    """A link as the command line names it."""

    text: str
    kind: LinkKind
    path: Path | None = None
    host: str = ""
    port: int = 0
    device: str = ""  # a serial device, or a CAN interface
    baud: int = DEFAULT_BAUD

    @property
    def is_multicast(self) -> bool:
        """Whether HOST is a group to join."""
        return self.kind == "udp" and _is_multicast(self.host)


class ReceiptClock:
    """Unix time that was right when it began and goes on evenly from there."""

    def __init__(self, clock: Clock | None = None) -> None:
        self._began_ns = (clock or SystemClock()).now_ns()
        self._began_s = steady_s()

    def now_ns(self) -> int:
        """Return the time."""
        return self._began_ns + round((steady_s() - self._began_s) * NS_PER_S)

    def steady_s(self, received_ns: int) -> float:
        """Return what `moonless.clock.steady_s` was at a time of receipt."""
        return self._began_s + (received_ns - self._began_ns) / NS_PER_S


def parse_link(text: str) -> LinkSpec:
    """Return what a LINK names.

    Raises InputError, saying which part cannot be used.
    """
    if text.startswith("serial:"):
        return _serial_spec(text)
    if text.startswith("can:"):
        return _can_spec(text)
    if text.startswith("picture:"):
        source = text.removeprefix("picture:").partition("?")[0]
        if not source:
            raise InputError(f"link {text!r}: no source is named; write picture:SOURCE")
        return LinkSpec(text, "picture", device=source)
    scheme = re.match(r"([A-Za-z][A-Za-z0-9+.-]*)://", text)
    if scheme is None:
        if not text:
            raise InputError(
                "a link is a path, udp://HOST:PORT, tcp://HOST:PORT, serial:DEVICE?baud=N, can:INTERFACE or "
                "ws://HOST:PORT, not nothing"
            )
        return LinkSpec(text, "file", path=Path(text))
    kind = scheme[1].lower()
    if kind not in ("udp", "tcp", "ws"):
        raise InputError(f"link {text!r}: {kind}:// is not known; use udp://, tcp://, ws://, serial:, can: or a path")
    try:
        parts = urlsplit(text)
        host, port = parts.hostname, parts.port
    except ValueError as problem:
        raise InputError(f"link {text!r}: {problem}") from problem
    if not host or not port:
        raise InputError(f"link {text!r}: give both host and port, as {kind}://HOST:PORT")
    parts_of = host.split(".")  # figures alone are an address, and no name is looked up for them
    if "".join(parts_of).isdigit() and (len(parts_of) != 4 or any(not p or int(p) > 255 for p in parts_of)):
        raise InputError(f"link {text!r}: {host} is not an address: four figures from 0 to 255")
    if kind == "ws" and not parts.fragment and not parts.username:
        return LinkSpec(text, "ws", host=host, port=port)
    if parts.path not in ("", "/") or parts.query or parts.fragment or parts.username:
        raise InputError(f"link {text!r}: nothing follows the port")
    return LinkSpec(text, "udp" if kind == "udp" else "tcp", host=host, port=port)


def parse_radar_link(text: str) -> LinkSpec:
    """Return what a LINK to a radar names.  Raises InputError, also for links that carry instruments only."""
    spec = parse_link(text)
    if spec.kind in ("can", "ws"):
        raise InputError(f"link {text!r} brings what instruments say, no radar video: name it with --nmea")
    return spec


def _serial_spec(text: str) -> LinkSpec:
    device, _, query = text.removeprefix("serial:").partition("?")
    if not device:
        raise InputError(f"link {text!r}: no device is named; write serial:DEVICE?baud=N")
    baud = DEFAULT_BAUD
    for key, value in parse_qsl(query, keep_blank_values=True):
        if key != "baud":
            raise InputError(f"link {text!r}: {key!r} is not known; only baud is")
        if not value.isascii() or not value.isdigit() or not _BAUDS[0] <= int(value) <= _BAUDS[1]:
            raise InputError(f"link {text!r}: baud {value!r} is not a whole number from {_BAUDS[0]} to {_BAUDS[1]}")
        baud = int(value)
    return LinkSpec(text, "serial", device=device, baud=baud)


def _can_spec(text: str) -> LinkSpec:
    interface = text.removeprefix("can:")
    if INTERFACE.fullmatch(interface) is None:
        raise InputError(f"link {text!r}: name an interface of this computer, as can:can0")
    return LinkSpec(text, "can", device=interface)


async def read_link(spec: LinkSpec, put: Put, say: Say, clock: ReceiptClock) -> None:
    """Read a link until cancelled (a file: until its end), opening it again whenever it is lost."""
    if spec.kind == "file":
        await _read_file(spec, put, say, clock)
        return
    read = {"udp": _read_udp, "tcp": _read_tcp, "serial": _read_serial, "can": _read_can, "ws": _read_ws}[spec.kind]
    pause = FIRST_PAUSE_S
    told = ""
    while True:
        opened = _Opened(put, say)
        try:
            await read(spec, opened, clock)
            problem = f"{spec.text}: the other side has closed"
        except (OSError, serial.SerialException, ValueError) as failure:
            problem = f"{spec.text}: {reason_of(failure)}"
        if opened.has_data:
            pause = FIRST_PAUSE_S
        if opened.was_open:
            told = ""
        if problem != told:
            say("lost", problem)
            told = problem
        await asyncio.sleep(pause)
        pause = min(2.0 * pause, LONGEST_PAUSE_S)


class _Opened:
    """Passes data on, and says once that the link is open."""

    def __init__(self, put: Put, say: Say) -> None:
        self._put = put
        self._say = say
        self.was_open = False
        self.has_data = False

    def open(self, line: str) -> None:
        self.was_open = True
        self._say("open", line)

    def put(self, data: bytes, received_ns: int, is_datagram: bool) -> None:
        self.has_data = True
        self._put(data, received_ns, is_datagram)


async def _read_file(spec: LinkSpec, put: Put, say: Say, clock: ReceiptClock) -> None:
    assert spec.path is not None
    try:
        with spec.path.open("rb") as file:
            say("open", f"{spec.text}: reading")
            while data := await asyncio.to_thread(file.read, _READ_BYTES):
                put(data, clock.now_ns(), False)
    except OSError as failure:
        say("lost", f"{spec.text}: {reason_of(failure)}")
        return
    say("ended", f"{spec.text}: at its end")


async def _read_tcp(spec: LinkSpec, opened: _Opened, clock: ReceiptClock) -> None:
    reader, writer = await asyncio.wait_for(asyncio.open_connection(spec.host, spec.port), 10.0)
    try:
        opened.open(f"{spec.text}: connected")
        while data := await reader.read(_READ_BYTES):
            opened.put(data, clock.now_ns(), False)
    finally:
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()


async def _read_udp(spec: LinkSpec, opened: _Opened, clock: ReceiptClock) -> None:
    taken = udp_socket(spec)
    only_from = taken.only_from
    failed: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    class Protocol(asyncio.DatagramProtocol):
        def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
            if only_from is None or addr[0] == only_from:
                opened.put(data, clock.now_ns(), True)

        def error_received(self, exc: Exception) -> None:
            if not failed.done():
                failed.set_exception(exc)

    transport, _ = await asyncio.get_running_loop().create_datagram_endpoint(Protocol, sock=taken.sock)
    try:
        words = f" for {only_from}" if only_from else ""
        words += f"; {SHARED}" if taken.is_shared else ""
        opened.open(f"{spec.text}: listening{words}")
        await failed
    finally:
        transport.close()


SHARED = "another program has this port too: what is sent to this computer alone reaches only one of the two"


class UdpSocket(NamedTuple):
    """A bound socket; ``only_from``: the one sender to listen to, where HOST is not this machine's own."""

    sock: socket.socket
    only_from: str | None
    is_shared: bool  # another program has the port too


def udp_socket(spec: LinkSpec, *, may_share: bool = True) -> UdpSocket:
    """Return a socket bound to a UDP link.

    Parameters
    ----------
    may_share : whether to bind beside another program that has the port and shares it.  A multicast group is always
        shared: each member gets a copy.

    Raises OSError; EADDRINUSE where another program has the port.
    """
    info = socket.getaddrinfo(spec.host, spec.port, type=socket.SOCK_DGRAM)[0]
    family, address = info[0], str(info[4][0])
    if _is_multicast(address):
        # Bound to the group itself, so that what others send to this computer on the same port is left to others.
        own = "" if family == socket.AF_INET else "::"
        sock = _bound(family, address if sys.platform != "win32" else own, spec.port, is_shared=True)
        try:
            _join(sock, family, address)
        except OSError:
            sock.close()
            raise
        return UdpSocket(sock, None, False)
    host, only_from = address, None
    try:
        sock = _bound(family, host, spec.port, is_shared=False)
    except OSError as problem:
        if problem.errno == errno.EADDRNOTAVAIL:
            host, only_from = ("" if family == socket.AF_INET else "::"), address
        elif problem.errno != errno.EADDRINUSE or not may_share:
            raise
    else:
        return UdpSocket(sock, None, False)
    try:
        return UdpSocket(_bound(family, host, spec.port, is_shared=False), only_from, False)
    except OSError as problem:
        if problem.errno != errno.EADDRINUSE or not may_share:
            raise
    return UdpSocket(_bound(family, host, spec.port, is_shared=True), only_from, True)


def _bound(family: int, host: str, port: int, *, is_shared: bool) -> socket.socket:
    sock = socket.socket(family, socket.SOCK_DGRAM)
    try:
        sock.setblocking(False)
        if is_shared:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        with contextlib.suppress(OSError):
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _SOCKET_BUFFER)
        sock.bind((host, port))
    except OSError:
        sock.close()
        raise
    return sock


def _join(sock: socket.socket, family: int, group: str) -> None:
    packed = socket.inet_pton(family, group)
    if family == socket.AF_INET:
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, packed + struct.pack("=I", socket.INADDR_ANY))
    else:
        sock.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_JOIN_GROUP, packed + struct.pack("@I", 0))


async def _read_serial(spec: LinkSpec, opened: _Opened, clock: ReceiptClock) -> None:
    """Read in a thread of its own: a serial device that hangs must not hold up the loop."""
    loop = asyncio.get_running_loop()
    done: asyncio.Future[None] = loop.create_future()
    stop = threading.Event()

    def finish(failure: BaseException | None) -> None:
        if not done.done():
            if failure is None:
                done.set_result(None)
            else:
                done.set_exception(failure)

    def work() -> None:
        failure: BaseException | None = None
        try:
            with serial.Serial(spec.device, spec.baud, timeout=0.1) as port:
                loop.call_soon_threadsafe(opened.open, f"{spec.text}: open")
                while not stop.is_set():
                    data = port.read(1)
                    if data:
                        data += port.read(port.in_waiting)
                        loop.call_soon_threadsafe(opened.put, data, clock.now_ns(), False)
        # The device may go in the middle of any of these calls; termios.error is no OSError.
        except Exception as problem:
            failure = problem if isinstance(problem, OSError) else OSError(str(problem))
        # The loop may have closed while the thread was reading.
        with contextlib.suppress(RuntimeError):
            loop.call_soon_threadsafe(finish, failure)

    thread = threading.Thread(target=work, name=f"link {spec.text}", daemon=True)
    thread.start()
    try:
        await done
    finally:
        stop.set()


async def _read_can(spec: LinkSpec, opened: _Opened, clock: ReceiptClock) -> None:
    await read_can(spec.device, opened, clock.now_ns)


async def _read_ws(spec: LinkSpec, opened: _Opened, clock: ReceiptClock) -> None:
    parts = urlsplit(spec.text)
    is_bare = parts.path in ("", "/") and not parts.query
    await read_stream(spec.text.rstrip("/") + DEFAULT_PATH if is_bare else spec.text, spec.text, opened, clock.now_ns)


def _is_multicast(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_multicast
    except ValueError:
        return False


def reason_of(failure: BaseException) -> str:
    """Return why a link failed, in a few plain words."""
    if isinstance(failure, TimeoutError):
        return "no answer"
    if isinstance(failure, OSError) and failure.errno == errno.EADDRINUSE:
        return "another program on this computer has this port to itself"
    if isinstance(failure, OSError) and failure.errno is not None and failure.errno > 0:
        # The loop writes its own words over the system's; the system's are the plainer.
        return os.strerror(failure.errno)
    return str(failure) or type(failure).__name__
