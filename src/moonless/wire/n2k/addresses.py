"""Who stands behind an address of the bus: ISO address claims (group 60928), and what storms of them do.

A device claims an address with its 64-bit NAME, which stays its own; the address may change.  Two that want one
address settle it by NAME, and the loser claims another.  What follows one source must follow the NAME.

Rules of this file:
- A device goes by the address it was first heard at; one that comes to an address after another is told apart by a
  letter ("12b").  Before a claim is heard, an address is its device.
- More than `STORM_CLAIMS` claims in `STORM_S` is a storm: then it is not known who is who, and that is said.
- What is kept is bounded: 256 addresses, and the last `MAX_NAMES` NAMEs.

Source: ISO 11783-5 (address claims; NAME: bits 0 to 20 serial number, 21 to 31 maker, 40 to 47 function,
49 to 55 device class); nothing here is sent.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from moonless.units import NS_PER_S

CLAIM_GROUP = 60928  # ISO address claim
NAME_OCTETS = 8  # of the device's name, which the claim carries
NO_ADDRESS = 254  # "cannot claim"
# A bus of fifty devices that all start at once claims perhaps twice each.
STORM_CLAIMS, STORM_S = 150, 10.0
STORM_OVER_S = 5.0
MAX_NAMES = 512
_LETTERS = "bcdefghijklmnopqrstuvwxyz"


@dataclass(slots=True)
class Addresses:
    """Labels of devices by their address."""

    claims: int = 0
    conflicts: int = 0  # claims of an address that another NAME had
    storms: int = 0
    _name_at: dict[int, int] = field(default_factory=dict)  # address -> NAME
    _label_of: dict[int, str] = field(default_factory=dict)  # NAME -> label, oldest first
    _recent: deque[int] = field(default_factory=lambda: deque(maxlen=STORM_CLAIMS + 1))
    _storm_ns: int | None = None

    def claim(self, address: int, data: bytes, received_ns: int) -> None:
        """Take in one address claim."""
        if len(data) < NAME_OCTETS:
            return
        self.claims += 1
        self._recent.append(received_ns)
        if len(self._recent) > STORM_CLAIMS and abs(received_ns - self._recent[0]) < STORM_S * NS_PER_S:
            self.storms += not self.is_storm(received_ns)
            self._storm_ns = received_ns
        if address >= NO_ADDRESS:
            return
        name = int.from_bytes(data[:NAME_OCTETS], "little")
        before = self._name_at.get(address)
        if before == name:
            return
        self.conflicts += before is not None
        for left in [a for a, n in self._name_at.items() if n == name]:
            del self._name_at[left]
        self._name_at[address] = name
        if name not in self._label_of:
            if len(self._label_of) >= MAX_NAMES:
                self._forget_oldest()
            self._label_of[name] = self._free_label(address, before is None)

    def label(self, address: int) -> str:
        """Return what the device at an address goes by."""
        name = self._name_at.get(address)
        return str(address) if name is None else self._label_of.get(name, str(address))

    def is_storm(self, now_ns: int) -> bool:
        """Return whether claims come without end, so that it is not known who sends what."""
        return self._storm_ns is not None and 0 <= now_ns - self._storm_ns < STORM_OVER_S * NS_PER_S

    def _free_label(self, address: int, is_first: bool) -> str:
        taken = set(self._label_of.values())
        plain = str(address)
        if plain not in taken and is_first:
            return plain
        return next((plain + letter for letter in _LETTERS if plain + letter not in taken), plain + "+")

    def _forget_oldest(self) -> None:
        standing = set(self._name_at.values())
        gone = next((name for name in self._label_of if name not in standing), next(iter(self._label_of)))
        del self._label_of[gone]
