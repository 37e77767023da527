"""A CAN interface of this computer (SocketCAN), read as lines of candump's log.  Nothing is sent.

Rules of this file:
- Only data frames with 29-bit identifiers are asked of the kernel.
- All frames that wait are handed on at once: a busy bus wakes the watch some hundreds of times a second, not thousands.

Source: Linux, Documentation/networking/can.rst (frames of 16 octets: identifier and flags, length, 3 of padding, data).
"""

from __future__ import annotations

import asyncio
import contextlib
import re
import socket
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from moonless.wire.n2k.frames import candump_line

_FRAME = struct.Struct("=IB3x8s")
_EXTENDED, _REMOTE, _ERROR = 0x80000000, 0x40000000, 0x20000000  # flags in a Linux CAN frame's identifier
# Frames taken at once, at the most: a tenth of a second of the busiest bus.
_MOST_AT_ONCE = 200
# The kernel's own default holds a few hundred frames; a busy second should fit.
_BUFFER = 1024 * 1024
_ARPHRD_CAN = "280"
INTERFACE = re.compile(r"[A-Za-z][A-Za-z0-9_.-]{0,14}")


class Opened(Protocol):
    """What is told of an open link (see `moonless.wire.links`)."""

    def open(self, line: str) -> None: ...
    def put(self, data: bytes, received_ns: int, is_datagram: bool) -> None: ...


def can_interfaces(root: Path = Path("/sys/class/net")) -> list[str]:
    """Return the CAN interfaces of this computer."""
    found = []
    with contextlib.suppress(OSError):
        for interface in root.iterdir():
            with contextlib.suppress(OSError):
                if (interface / "type").read_text(encoding="ascii").strip() == _ARPHRD_CAN:
                    found.append(interface.name)
    return sorted(found)


def can_socket(interface: str) -> socket.socket:
    """Return a socket that hears an interface.  Raises OSError in plain words where there is none."""
    if not hasattr(socket, "AF_CAN"):
        raise OSError("CAN interfaces are Linux's (SocketCAN); this computer has none")
    sock = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
    try:
        sock.setblocking(False)
        with contextlib.suppress(OSError):
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _BUFFER)
        kept = struct.pack("=II", _EXTENDED, _EXTENDED | _REMOTE | _ERROR)
        sock.setsockopt(socket.SOL_CAN_RAW, socket.CAN_RAW_FILTER, kept)
        sock.bind((interface,))
    except OSError:
        sock.close()
        raise
    return sock


async def read_can(
    interface: str,
    opened: Opened,
    now_ns: Callable[[], int],
    connect: Callable[[str], socket.socket] = can_socket,
) -> None:
    """Read an interface until it goes (OSError) or this is cancelled."""
    loop = asyncio.get_running_loop()
    with connect(interface) as sock:
        opened.open(f"can:{interface}: listening")
        while True:
            frames = [await loop.sock_recv(sock, _FRAME.size)]
            with contextlib.suppress(BlockingIOError):
                while len(frames) < _MOST_AT_ONCE:
                    frames.append(sock.recv(_FRAME.size))
            at_ns = now_ns()
            lines = b"".join(line_of(frame, at_ns, interface) for frame in frames)
            if lines:
                opened.put(lines, at_ns, False)


def line_of(frame: bytes, at_ns: int, interface: str) -> bytes:
    """Return one of the kernel's frames as a line; nothing for what is no data frame with a 29-bit identifier."""
    if len(frame) != _FRAME.size:
        return b""
    identifier, length, data = _FRAME.unpack(frame)
    if not identifier & _EXTENDED or identifier & (_REMOTE | _ERROR) or length > 8:
        return b""
    return candump_line(identifier & 0x1FFFFFFF, data[:length], at_ns, interface)
