"""The serial devices of this computer: which there are, who has them open, and one read in a thread of its own."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import serial
from serial.tools import list_ports


def serial_devices() -> list[tuple[str, str]]:
    """Return (device, what the system calls it) of the serial devices of this computer."""
    found = []
    for port in list_ports.comports():
        # Boards list serial ports that are not there; what has no hardware id is none of ours.
        if port.hwid and port.hwid != "n/a":
            found.append((port.device, port.description if port.description not in ("", "n/a") else ""))
    return sorted(found)


def programs_holding(device: str) -> int:
    """Return how many other programs, as far as we may see, have a device open.  0 where that cannot be told."""
    if not sys.platform.startswith("linux"):
        return 0
    real = os.path.realpath(device)
    count = 0
    for process in Path("/proc").iterdir():
        if not process.name.isdigit() or int(process.name) == os.getpid():
            continue
        with contextlib.suppress(OSError):
            count += any(os.path.realpath(entry) == real for entry in (process / "fd").iterdir())
    return count


def read_device(
    device: str,
    baud: int,
    put: Callable[[bytes], None],
    finish: Callable[[str], None],
    stop: threading.Event,
    loop: asyncio.AbstractEventLoop,
) -> None:
    """Read a serial device in a thread of its own until told to stop."""
    why = "the device has gone"
    try:
        with serial.Serial(device, baud, timeout=0.1) as port:
            while not stop.is_set():
                data = port.read(1)
                if data:
                    data += port.read(port.in_waiting)
                    loop.call_soon_threadsafe(put, data)
    # The device may go in the middle of any of these calls; termios.error is no OSError.
    except Exception as problem:
        why = _device_words(device, problem)
    with contextlib.suppress(RuntimeError):
        loop.call_soon_threadsafe(finish, why)


def _device_words(device: str, problem: Exception) -> str:
    number = getattr(problem, "errno", None)
    if number == errno.EACCES:
        return f"{device}: this user may not open it (on Linux, be in the group `dialout`)"
    if number == errno.ENOENT:
        return f"{device}: there is no such device"
    if number in (errno.EBUSY, errno.EAGAIN):
        return f"{device} is in use by another program on this computer"
    return f"{device}: {os.strerror(number) if isinstance(number, int) else 'the device has gone'}"
