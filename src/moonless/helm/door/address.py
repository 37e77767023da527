"""The address that a tablet on board can open: figures, because a tablet knows no name of this computer."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
import sys

# Addresses that nobody has (RFC 5737, TEST-NET-1) and the group of local names: nothing is sent to either, the system
# is only asked by which of its own addresses it would.
_ASKED = (("192.0.2.1", 9), ("224.0.0.251", 5353))


def own_addresses() -> list[str]:
    """Return this computer's IPv4 addresses that others on its networks reach, the likeliest first; [] for none."""
    found: list[str] = []
    for place in _ASKED:
        with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
            asking.connect(place)
            found.append(str(asking.getsockname()[0]))
    found += _of_interfaces()
    good = []
    for text in dict.fromkeys(found):
        address = ipaddress.ip_address(text)
        if not (address.is_loopback or address.is_unspecified or address.is_link_local):
            good.append(text)
    # A boat's own network has private addresses.
    return sorted(good, key=lambda text: not ipaddress.ip_address(text).is_private)


def _of_interfaces() -> list[str]:
    if not sys.platform.startswith("linux"):
        return []
    import fcntl
    import struct

    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for _, name in socket.if_nameindex():
            with contextlib.suppress(OSError):
                # SIOCGIFADDR of Linux's netdevice(7): the address stands in bytes 20 to 24.
                told = fcntl.ioctl(asking.fileno(), 0x8915, struct.pack("256s", name.encode()[:15]))
                found.append(socket.inet_ntoa(told[20:24]))
    return found


def shown_host(host: str, name: str | None) -> str:
    """Return what stands for the host in an address: the name given, else figures that others reach."""
    if name is not None:
        return name
    if host in ("0.0.0.0", "::", ""):
        return next(iter(own_addresses()), socket.gethostname())
    return f"[{host}]" if ":" in host else host
