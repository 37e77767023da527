"""Where data might come from, and what comes: ports, serial devices and hosts listened to, what it carries.

    discovery = LinkDiscovery(ReceiptClock())
    discovery.add("239.255.0.1:8600"); discovery.add("5000-5050"); discovery.add("gateway:2000")
    await discovery.run()            # until cancelled
    discovery.links                 # what was found, each with its `LinkContent`

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
import errno
import os
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from moonless.errors import InputError
from moonless.units import NS_PER_S
from moonless.watch.link_survey.content import LinkContent
from moonless.watch.link_survey.named_links import LinkKind, kind_of, links_of, usual_links
from moonless.watch.link_survey.serial_devices import programs_holding, read_device, serial_devices
from moonless.watch.screen.pictured import read_any_link
from moonless.wire.links import LinkSpec, LinkState, ReceiptClock, parse_link, reason_of, udp_socket
from moonless.wire.n2k.can_link import can_interfaces

# NMEA 0183 and its high-speed form, and what GNSS and AIS sets are often left at.  Common practice.
USUAL_BAUD = (4800, 38400, 9600, 115200)
# As long as a sentence a second needs to come at least once.
TRY_BAUD_S = 2.4
LOOK_FOR_DEVICES_S = 3.0
MOST_PLACES = 600

ListenState = Literal["listening", "trying", "lost", "in use", "watched"]


@dataclass(eq=False, slots=True)
class ListenedLink:
    """One link listened to."""

    link: str  # as the command line writes it; a serial device without its rate until that is known
    kind: LinkKind
    by_hand: bool  # a person named it: shown even while nothing comes
    content: LinkContent
    state: ListenState = "trying"
    line: str = ""  # one plain line of how it stands
    may_share: bool = False
    device: str = ""
    said: str = ""  # what the system calls a serial device
    task: asyncio.Task[None] | None = field(default=None, repr=False)


class LinkDiscovery:
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
        self.links: dict[str, ListenedLink] = {}
        self._devices = devices
        self._interfaces = interfaces
        self._try_baud_s = try_baud_s
        self._is_running = False
        for link in watched:
            content = LinkContent(link)
            self.links[link] = ListenedLink(link, kind_of(link), True, content, "watched", "read by the watch now")
        for link in usual_links() if usual is None else usual:
            self._put(link, by_hand=False)

    # --- asked -----------------------------------------------------------------------------------------------------

    def add(self, text: str) -> list[str]:
        """Listen to what a person names; return its links.  Raises InputError in one plain line."""
        links = links_of(text)
        if len(self.links) + len(links) > MOST_PLACES:
            raise InputError(f"{len(self.links)} places are listened to already; take some away first")
        for link in links:
            self._put(link, by_hand=True)
        return links

    def share(self, link: str) -> None:
        """Listen beside the program that has this port or device.  Raises InputError if it is no place of ours."""
        place = self._known(link)
        place.may_share = True
        if place.state == "in use":
            self._start(place)

    def forget(self, link: str) -> None:
        """Listen there no more."""
        place = self.links.pop(self._known(link).link, None)
        if place is not None and place.task is not None:
            place.task.cancel()

    def feed(self, link: str, data: bytes, received_ns: int, is_datagram: bool) -> None:
        """Take in bytes that the watch read on a link of its own."""
        place = self.links.get(link)
        if place is not None and place.state == "watched":
            place.content.put(data, received_ns, is_datagram)

    async def run(self) -> None:
        """Listen until cancelled."""
        self._is_running = True
        try:
            for place in list(self.links.values()):
                self._start(place)
            while True:
                for device, said in await asyncio.to_thread(self._devices):
                    self._found(device, said)
                for interface in await asyncio.to_thread(self._interfaces):
                    self._put(f"can:{interface}", by_hand=False)
                await asyncio.sleep(LOOK_FOR_DEVICES_S)
        finally:
            self._is_running = False
            tasks = [p.task for p in self.links.values() if p.task is not None]
            for task in tasks:
                task.cancel()
            # So that the ports are free for the watch when this returns.
            await asyncio.gather(*tasks, return_exceptions=True)

    # --- places ----------------------------------------------------------------------------------------------------

    def _known(self, link: str) -> ListenedLink:
        place = self.links.get(link)
        if place is None:
            raise InputError(f"{link} is not listened to")
        return place

    def _put(self, link: str, *, by_hand: bool) -> None:
        spec = parse_link(link)
        if spec.kind == "serial":
            known = next((p for p in self.links.values() if p.device == spec.device), None)
            if known is not None:
                known.by_hand = known.by_hand or by_hand
                return
        if link in self.links:
            place = self.links[link]
            place.by_hand = place.by_hand or by_hand
            return
        place = ListenedLink(link, kind_of(link), by_hand, LinkContent(link), device=spec.device)
        self.links[link] = place
        if self._is_running:
            self._start(place)

    def _found(self, device: str, said: str) -> None:
        real = os.path.realpath(device)
        for place in self.links.values():
            if place.device and os.path.realpath(place.device) == real:
                place.said = said
                return
            is_watched = place.state == "watched" and place.kind == "serial"
            if is_watched and os.path.realpath(parse_link(place.link).device) == real:
                return
        link = f"serial:{device}"
        self.links[link] = place = ListenedLink(link, "serial", False, LinkContent(link), device=device, said=said)
        self._start(place)

    def _start(self, place: ListenedLink) -> None:
        if place.state == "watched" or (place.task is not None and not place.task.done()):
            return
        place.state = "trying"
        work = {"udp": self._udp, "serial": self._serial}.get(place.kind, self._link)
        place.task = asyncio.create_task(work(place), name=f"content {place.link}")

    # --- one of each kind ------------------------------------------------------------------------------------------

    async def _udp(self, place: ListenedLink) -> None:
        spec = parse_link(place.link)
        try:
            taken = udp_socket(spec, may_share=place.may_share)
        except OSError as problem:
            if problem.errno == errno.EADDRINUSE:
                self._in_use(place, f"port {spec.port}")
            else:
                place.state, place.line = "lost", reason_of(problem)
            return
        content, clock = place.content, self.clock

        class Protocol(asyncio.DatagramProtocol):
            def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
                if taken.only_from is None or addr[0] == taken.only_from:
                    content.put(data, clock.now_ns(), True)

        transport, _ = await asyncio.get_running_loop().create_datagram_endpoint(Protocol, sock=taken.sock)
        place.state = "listening"
        place.line = "shared with another program: it may get what we miss" if taken.is_shared else ""
        try:
            await asyncio.get_running_loop().create_future()
        finally:
            transport.close()

    async def _link(self, place: ListenedLink) -> None:
        def say(state: LinkState, line: str) -> None:
            told = line.removeprefix(place.link).removeprefix(":").strip()
            place.state, place.line = ("listening", "") if state == "open" else ("lost", told)

        await read_any_link(parse_link(place.link), place.content.put, say, self.clock)

    async def _serial(self, place: ListenedLink) -> None:
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
            if place.content.n_byte == 0:
                place.line = "open, and nothing comes"

    async def _at(self, place: ListenedLink, spec: LinkSpec, baud: int) -> bool:
        """Listen at one rate: for good once a sentence is right, else for a short while.  False: it is lost."""
        loop = asyncio.get_running_loop()
        stop = threading.Event()
        content = LinkContent(f"serial:{spec.device}?baud={baud}")
        began_ns = self.clock.now_ns()
        good = loop.create_future()
        ended: asyncio.Future[str] = loop.create_future()

        def put(data: bytes) -> None:
            content.put(data, self.clock.now_ns(), False)
            if content.n_line and not good.done():
                good.set_result(True)

        def finish(why: str) -> None:
            if not ended.done():
                ended.set_result(why)

        thread = threading.Thread(
            target=read_device, args=(spec.device, baud, put, finish, stop, loop), name=f"content {baud}", daemon=True
        )
        thread.start()
        try:
            await asyncio.wait({good, ended}, timeout=self._try_baud_s, return_when=asyncio.FIRST_COMPLETED)
            if ended.done():
                place.state, place.line = "lost", ended.result()
                return False
            if not good.done() and "baud=" not in place.link:
                if content.n_byte:
                    place.content.n_byte += content.n_byte
                    place.content.last_ns = self.clock.now_ns()
                    place.line = f"something comes, and no right sentence at {baud} baud"
                return True
            # From here on the place has its rate, and its name says so.
            self._settle(place, content, baud, (self.clock.now_ns() - began_ns) / NS_PER_S)
            place.line = f"{baud} baud" if good.done() else f"nothing right at {baud} baud"
            why = await ended
            place.state, place.line = "lost", why
            return False
        finally:
            stop.set()
            await asyncio.to_thread(thread.join, 2.0)

    def _settle(self, place: ListenedLink, content: LinkContent, baud: int, after_s: float) -> None:
        self.links.pop(place.link, None)
        place.link, place.content, place.state = content.name, content, "listening"
        place.line = f"{baud} baud, found in {after_s:.0f} s"
        self.links[place.link] = place

    def _in_use(self, place: ListenedLink, what: str) -> None:
        place.state = "in use"
        place.line = f"{what} is in use by another program on this computer; it is not taken from it"
