"""The links tried without being asked, and those that a person's words name."""

from __future__ import annotations

import ipaddress
import re
from typing import Literal

from moonless.errors import InputError
from moonless.wire.links import parse_link

LinkKind = Literal["udp", "tcp", "serial", "picture", "can", "ws"]

# 10110 (NMEA 0183 navigational data) and 8600 (ASTERIX) are IANA's; IEC 61162-450 counts its groups from 60001 up;
# the others are where serial-to-network adapters are often left.  All from memory and common practice.
USUAL_UDP = (10110, 8600, 2000, 2002, 4001, 4002, 5000, 5001, 8601, 8602, 10111, 10112, 20000, 50000)
# IEC 61162-450's transmission groups for navigation: 239.192.0.n port 60000 + n.  From memory.
USUAL_GROUPS = tuple(f"239.192.0.{n}:{60000 + n}" for n in range(1, 9))
USUAL_TCP = (10110, 2000, 4001, 8600, 5000)
# A range of ports that a person names is held to so many.
MOST_PORTS = 256


def usual_links() -> list[str]:
    """Return the links tried without being asked."""
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
    if "://" in text or text.startswith(("serial:", "can:", "picture:")):
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


def kind_of(link: str) -> LinkKind:
    """Return what a link is.  Raises InputError for a file, which cannot be listened to."""
    kind = parse_link(link).kind
    if kind == "file":
        raise InputError(f"{link}: a file cannot be listened to")
    return kind
