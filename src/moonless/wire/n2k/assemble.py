"""Fast packets: messages of up to 223 octets in frames of eight, put together.

    first frame   sequence (3 bits) and 0 (5 bits), length, 6 octets
    next frames   sequence and 1, 2, 3 ..., 7 octets each

Rules of this file:
- A message comes out only when each of its frames came, once, in order, from one device, within `GIVE_UP_S`.
- One message is in the making for each device and group: what is kept is bounded by the 256 addresses.

Source: the open descriptions of NMEA 2000 fast packets (canboat); the standard itself is not free to read.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from moonless.units import NS_PER_S
from moonless.wire.n2k.frames import MOST_OCTETS

# The frames of one message follow each other within milliseconds; 750 ms is ISO 11783-3's own wait for a next packet.
GIVE_UP_S = 0.75


@dataclass(slots=True)
class _Making:
    sequence: int
    length: int
    next_frame: int
    data: bytearray
    last_ns: int


@dataclass(slots=True)
class FastPackets:
    """Puts fast packets together."""

    broken: int = 0  # messages given up: a frame missing, out of order, or too late
    strays: int = 0  # frames of no message in the making
    _making: dict[tuple[int, int, int], _Making] = field(default_factory=dict)

    def add(self, group: int, source: int, destination: int, data: bytes, received_ns: int) -> bytes | None:
        """Take in one frame; return the message it completes."""
        if len(data) < 2:
            self.strays += 1
            return None
        key = (group, source, destination)
        sequence, frame = data[0] >> 5, data[0] & 0x1F
        making = self._making.get(key)
        if frame == 0:
            if making is not None:
                self.broken += 1
            return self._begin(key, sequence, data, received_ns)
        if making is None:
            self.strays += 1
            return None
        late = abs(received_ns - making.last_ns) > GIVE_UP_S * NS_PER_S
        if late or sequence != making.sequence or frame != making.next_frame:
            self._give_up(key)
            return None
        making.data += data[1:]
        making.next_frame += 1
        making.last_ns = received_ns
        return self._whole(key, making)

    def _begin(self, key: tuple[int, int, int], sequence: int, data: bytes, received_ns: int) -> bytes | None:
        length = data[1]
        self._making.pop(key, None)
        if not 1 <= length <= MOST_OCTETS:
            self.broken += 1
            return None
        making = self._making[key] = _Making(sequence, length, 1, bytearray(data[2:]), received_ns)
        return self._whole(key, making)

    def _whole(self, key: tuple[int, int, int], making: _Making) -> bytes | None:
        if len(making.data) >= making.length:
            del self._making[key]
            return bytes(making.data[: making.length])
        # Each frame but the last is full; a short one in the middle would shift what follows.
        if len(making.data) != 6 + 7 * (making.next_frame - 1):
            self._give_up(key)
        return None

    def _give_up(self, key: tuple[int, int, int]) -> None:
        self.broken += 1
        del self._making[key]

    @property
    def waiting(self) -> int:
        """Messages in the making."""
        return len(self._making)


def split_fast(data: bytes, sequence: int = 0) -> list[bytes]:
    """Return the frames of one message, the last filled up with 0xFF."""
    frames = [bytes([sequence << 5, len(data)]) + data[:6]]
    frames += [bytes([sequence << 5 | (i + 1)]) + data[at : at + 7] for i, at in enumerate(range(6, len(data), 7))]
    return [frame.ljust(8, b"\xff") for frame in frames]
