"""Where data might come from, and what comes: ports, serial devices and hosts listened to, an ear on each.

    finder = Finder(ReceiptClock())
    finder.add("239.255.0.1:8600"); finder.add("5000-5050"); finder.add("gateway:2000")
    await finder.run()            # until cancelled
    finder.places                 # what was found, each with its `Ear`

Rules of this file:
- Nothing is sent and nobody is asked: it only listens, on this computer's own ports and devices, and connects to the
  hosts that a person names.
- A port or device that another program has is not taken from it: that is one plain line, and a person may say to
  listen beside it.
- A serial device is tried at each usual rate until sentences with right checksums come; until then it says at which
  it stands.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import ipaddress
import os
import re
import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import serial
from serial.tools import list_ports

from moonless.errors import InputError
from moonless.units import NS_PER_S
from moonless.watch.link_survey.content import Ear
from moonless.wire.links import LinkSpec, LinkState, ReceiptClock, parse_link, read_link, reason_of, udp_socket
from moonless.wire.n2k.can_link import can_interfaces

# 10110 (NMEA 0183 navigational data) and 8600 (ASTERIX) are IANA's; IEC 61162-450 counts its groups from 60001 up;
# the others are where serial-to-network adapters are often left.  All from memory and common practice.
USUAL_UDP = (10110, 8600, 2000, 2002, 4001, 4002, 5000, 5001, 8601, 8602, 10111, 10112, 20000, 50000)
# IEC 61162-450's transmission groups for navigation: 239.192.0.n port 60000 + n.  From memory.
USUAL_GROUPS = tuple(f"239.192.0.{n}:{60000 + n}" for n in range(1, 9))
USUAL_TCP = (10110, 2000, 4001, 8600, 5000)
# NMEA 0183 and its high-speed form, and what GNSS and AIS sets are often left at.  Common practice.
USUAL_BAUD = (4800, 38400, 9600, 115200)
# As long as a sentence a second needs to come at least once.
TRY_BAUD_S = 2.4
LOOK_FOR_DEVICES_S = 3.0
# A range of ports that a person names is held to so many.
MOST_PORTS = 256
MOST_PLACES = 600

PlaceKind = Literal["udp", "tcp", "serial", "can", "ws"]
PlaceState = Literal["listening", "trying", "lost", "in use", "watched"]


@dataclass(eq=False, slots=True)
class Place:
    """One place listened to."""

    link: str  # as the command line writes it; a serial device without its rate until that is known
    kind: PlaceKind
    by_hand: bool  # a person named it: shown even while nothing comes
    ear: Ear
    state: PlaceState = "trying"
    line: str = ""  # one plain line of how it stands
    may_share: bool = False
    device: str = ""
    said: str = ""  # what the system calls a serial device
    task: asyncio.Task[None] | None = field(default=None, repr=False)


def usual_places() -> list[str]:
    """Return the places tried without being asked."""
    return [*(f"udp://0.0.0.0:{port}" for port in USUAL_UDP), *(f"udp://{group}" for group in USUAL_GROUPS)]


def links_of(text: str) -> list[str]:
    """Return the links that a person's words name.

    ``8600`` and ``5000-5050`` are UDP ports of this computer; ``239.255.0.1:8600`` a multicast group;
    ``gateway:2000`` a TCP host; ``gateway`` the usual TCP ports of it; a LINK is itself.

    Raises InputError in one plain line.
    """
    text = text.strip()
    if not text:
        raise InputError("name a UDP port, a range of ports, a multicast group with its port, or a host")
    ports = re.fullmatch(r"(?:udp://0\.0\.0\.0:)?(\d{1,5})(?:\s*(?:-|to)\s*(\d{1,5}))?", text)
    if ports is not None:
        first, last = int(ports[1]), int(ports[2] or ports[1])
        if not 1 <= first <= last <= 65535:
            raise InputError(f"{text}: ports go from 1 to 65535, the lower one first")
        if last - first + 1 > MOST_PORTS:
            raise InputError(f"{text}: {last - first + 1} ports; at most {MOST_PORTS} are listened to at once")
        return [f"udp://0.0.0.0:{port}" for port in range(first, last + 1)]
    if "://" in text or text.startswith(("serial:", "can:")):
        spec = parse_link(text)
        if spec.kind == "file":
            raise InputError(f"{text}: a file cannot be listened to")
        return [text]
    if text.startswith("/dev/") or re.fullmatch(r"COM\d+", text):
        return [f"serial:{text}"]
    if "/" in text or " " in text:
        raise InputError(f"{text!r} is no port, no group and no host")
    host, _, port_text = text.rpartition(":")
    if not host:
        if _is_group(text):
            raise InputError(f"{text}: a multicast group needs its port too, as {text}:8600")
        return [f"tcp://{text}:{port}" for port in USUAL_TCP]
    if not port_text.isdigit():
        raise InputError(f"{text!r} is no port, no group and no host")
    link = f"{'udp' if _is_group(host) else 'tcp'}://{host}:{port_text}"
    parse_link(link)
    return [link]


def _is_group(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_multicast
    except ValueError:
        return False


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


class Finder:
    """Listens to places and keeps them; see the rules of this file.

    Parameters
    ----------
    usual : places tried without being asked
    devices : tells the serial devices there are
    interfaces : tells the CAN interfaces there are
    watched : links that the watch itself reads now: their bytes come by `feed`
    """

    def __init__(
        self,
        clock: ReceiptClock,
        *,
        usual: Sequence[str] | None = None,
        devices: Callable[[], list[tuple[str, str]]] = serial_devices,
        interfaces: Callable[[], list[str]] = can_interfaces,
        watched: Sequence[str] = (),
        try_baud_s: float = TRY_BAUD_S,
    ) -> None:
        self.clock = clock
        self.places: dict[str, Place] = {}
        self._devices = devices
        self._interfaces = interfaces
        self._try_baud_s = try_baud_s
        self._is_running = False
        for link in watched:
            self.places[link] = Place(link, _kind_of(link), True, Ear(link), "watched", "read by the watch now")
        for link in usual_places() if usual is None else usual:
            self._put(link, by_hand=False)

    # --- asked -----------------------------------------------------------------------------------------------------

    def add(self, text: str) -> list[str]:
        """Listen to what a person names; return its links.  Raises InputError in one plain line."""
        links = links_of(text)
        if len(self.places) + len(links) > MOST_PLACES:
            raise InputError(f"{len(self.places)} places are listened to already; take some away first")
        for link in links:
            self._put(link, by_hand=True)
        return links

    def share(self, link: str) -> None:
        """Listen beside the program that has this port or device.  Raises InputError if it is no place of ours."""
        place = self._place(link)
        place.may_share = True
        if place.state == "in use":
            self._start(place)

    def forget(self, link: str) -> None:
        """Listen there no more."""
        place = self.places.pop(self._place(link).link, None)
        if place is not None and place.task is not None:
            place.task.cancel()

    def feed(self, link: str, data: bytes, received_ns: int, is_datagram: bool) -> None:
        """Take in bytes that the watch read on a link of its own."""
        place = self.places.get(link)
        if place is not None and place.state == "watched":
            place.ear.put(data, received_ns, is_datagram)

    async def run(self) -> None:
        """Listen until cancelled."""
        self._is_running = True
        try:
            for place in list(self.places.values()):
                self._start(place)
            while True:
                for device, said in await asyncio.to_thread(self._devices):
                    self._found(device, said)
                for interface in await asyncio.to_thread(self._interfaces):
                    self._put(f"can:{interface}", by_hand=False)
                await asyncio.sleep(LOOK_FOR_DEVICES_S)
        finally:
            self._is_running = False
            tasks = [p.task for p in self.places.values() if p.task is not None]
            for task in tasks:
                task.cancel()
            # So that the ports are free for the watch when this returns.
            await asyncio.gather(*tasks, return_exceptions=True)

    # --- places ----------------------------------------------------------------------------------------------------

    def _place(self, link: str) -> Place:
        place = self.places.get(link)
        if place is None:
            raise InputError(f"{link} is not listened to")
        return place

    def _put(self, link: str, *, by_hand: bool) -> None:
        spec = parse_link(link)
        if spec.kind == "serial":
            known = next((p for p in self.places.values() if p.device == spec.device), None)
            if known is not None:
                known.by_hand = known.by_hand or by_hand
                return
        if link in self.places:
            place = self.places[link]
            place.by_hand = place.by_hand or by_hand
            return
        place = Place(link, _kind_of(link), by_hand, Ear(link), device=spec.device)
        self.places[link] = place
        if self._is_running:
            self._start(place)

    def _found(self, device: str, said: str) -> None:
        real = os.path.realpath(device)
        for place in self.places.values():
            if place.device and os.path.realpath(place.device) == real:
                place.said = said
                return
            is_watched = place.state == "watched" and place.kind == "serial"
            if is_watched and os.path.realpath(parse_link(place.link).device) == real:
                return
        link = f"serial:{device}"
        self.places[link] = place = Place(link, "serial", False, Ear(link), device=device, said=said)
        self._start(place)

    def _start(self, place: Place) -> None:
        if place.state == "watched" or (place.task is not None and not place.task.done()):
            return
        place.state = "trying"
        work = {"udp": self._udp, "serial": self._serial}.get(place.kind, self._link)
        place.task = asyncio.create_task(work(place), name=f"ear {place.link}")

    # --- one of each kind ------------------------------------------------------------------------------------------

    async def _udp(self, place: Place) -> None:
        spec = parse_link(place.link)
        try:
            taken = udp_socket(spec, may_share=place.may_share)
        except OSError as problem:
            if problem.errno == errno.EADDRINUSE:
                self._in_use(place, f"port {spec.port}")
            else:
                place.state, place.line = "lost", reason_of(problem)
            return
        ear, clock = place.ear, self.clock

        class Protocol(asyncio.DatagramProtocol):
            def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
                if taken.only_from is None or addr[0] == taken.only_from:
                    ear.put(data, clock.now_ns(), True)

        transport, _ = await asyncio.get_running_loop().create_datagram_endpoint(Protocol, sock=taken.sock)
        place.state = "listening"
        place.line = "shared with another program: it may get what we miss" if taken.is_shared else ""
        try:
            await asyncio.get_running_loop().create_future()
        finally:
            transport.close()

    async def _link(self, place: Place) -> None:
        def say(state: LinkState, line: str) -> None:
            told = line.removeprefix(place.link).removeprefix(":").strip()
            place.state, place.line = ("listening", "") if state == "open" else ("lost", told)

        await read_link(parse_link(place.link), place.ear.put, say, self.clock)

    async def _serial(self, place: Place) -> None:
        spec = parse_link(place.link)
        is_given = "baud=" in place.link
        rates = (spec.baud,) if is_given else USUAL_BAUD
        while True:
            if not place.may_share and await asyncio.to_thread(programs_holding, spec.device) > 0:
                self._in_use(place, spec.device)
                return
            for baud in rates:
                place.state, place.line = "trying", f"trying {baud} baud"
                if not await self._at(place, spec, baud):
                    # It cannot be opened, or was pulled out: look again in a while.
                    await asyncio.sleep(LOOK_FOR_DEVICES_S)
            if place.ear.n_byte == 0:
                place.line = "open, and nothing comes"

    async def _at(self, place: Place, spec: LinkSpec, baud: int) -> bool:
        """Listen at one rate: for good once a sentence is right, else for a short while.  False: it is lost."""
        loop = asyncio.get_running_loop()
        stop = threading.Event()
        ear = Ear(f"serial:{spec.device}?baud={baud}")
        began_ns = self.clock.now_ns()
        good = loop.create_future()
        ended: asyncio.Future[str] = loop.create_future()

        def put(data: bytes) -> None:
            ear.put(data, self.clock.now_ns(), False)
            if ear.n_line and not good.done():
                good.set_result(True)

        def finish(why: str) -> None:
            if not ended.done():
                ended.set_result(why)

        thread = threading.Thread(
            target=_read_device, args=(spec.device, baud, put, finish, stop, loop), name=f"ear {baud}", daemon=True
        )
        thread.start()
        try:
            await asyncio.wait({good, ended}, timeout=self._try_baud_s, return_when=asyncio.FIRST_COMPLETED)
            if ended.done():
                place.state, place.line = "lost", ended.result()
                return False
            if not good.done() and "baud=" not in place.link:
                if ear.n_byte:
                    place.ear.n_byte += ear.n_byte
                    place.ear.last_ns = self.clock.now_ns()
                    place.line = f"something comes, and no right sentence at {baud} baud"
                return True
            # From here on the place has its rate, and its name says so.
            self._settle(place, ear, baud, (self.clock.now_ns() - began_ns) / NS_PER_S)
            place.line = f"{baud} baud" if good.done() else f"nothing right at {baud} baud"
            why = await ended
            place.state, place.line = "lost", why
            return False
        finally:
            stop.set()
            await asyncio.to_thread(thread.join, 2.0)

    def _settle(self, place: Place, ear: Ear, baud: int, after_s: float) -> None:
        self.places.pop(place.link, None)
        place.link, place.ear, place.state = ear.name, ear, "listening"
        place.line = f"{baud} baud, found in {after_s:.0f} s"
        self.places[place.link] = place

    def _in_use(self, place: Place, what: str) -> None:
        place.state = "in use"
        place.line = f"{what} is in use by another program on this computer; it is not taken from it"


def _read_device(
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


def _kind_of(link: str) -> PlaceKind:
    kind = parse_link(link).kind
    if kind == "file":
        raise InputError(f"{link}: a file cannot be listened to")
    return kind
