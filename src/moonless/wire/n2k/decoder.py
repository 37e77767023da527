"""NMEA 2000 decoded: lines of frames in, events out.  No I/O.

    decoder = BusDecoder()
    for event in decoder.line(line, received_ns): ...

Rules of this file:
- Each device is a source of its own (`Said.talker`): two receivers on one bus are two, as on two links.
- Groups that nobody here needs are counted, up to `MAX_COUNTED` of them, and cost nothing more.
- What a line does not hold whole, a message too short, a value out of range: counted, never guessed.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from moonless.wire.n2k.addresses import CLAIM_GROUP, Addresses
from moonless.wire.n2k.assemble import FastPackets
from moonless.wire.n2k.fields import BadMessage, fields_of
from moonless.wire.n2k.frames import Frame, frame_of
from moonless.wire.n2k.own import OWN_OCTETS, OwnGroups, Stamp
from moonless.wire.n2k.vessels import AIS_OCTETS, report_of
from moonless.wire.nmea_events import AisSaid, Said

USED_GROUPS = frozenset(OWN_OCTETS) | frozenset(AIS_OCTETS)
# Longer than one frame.
FAST_GROUPS = frozenset(AIS_OCTETS) | {128520, 129029}
MAX_COUNTED = 256


@dataclass(slots=True)
class BusCounts:
    """What the decoder has met so far."""

    frames: int = 0
    used: Counter[int] = field(default_factory=Counter)  # messages, by group
    unused: Counter[int] = field(default_factory=Counter)  # groups that say nothing we need; 0: all beyond the count
    bad: Counter[str] = field(default_factory=Counter)  # messages not used, by reason


class BusDecoder:
    """Turns frames into events; see the rules of this file."""

    def __init__(self) -> None:
        self.counts = BusCounts()
        self.packets = FastPackets()
        self.addresses = Addresses()
        self.own = OwnGroups()

    def line(self, line: bytes, received_ns: int) -> list[Said] | None:
        """Take in one line; return what it says, or None if it is no frame."""
        frame = frame_of(line)
        return None if frame is None else self.frame(frame, received_ns)

    def frame(self, frame: Frame, received_ns: int) -> list[Said]:
        """Take in one frame; return what is said by the message it completes."""
        self.counts.frames += 1
        group = frame.group
        if group == CLAIM_GROUP:
            self.addresses.claim(frame.source, frame.data, received_ns)
            return []
        if group not in USED_GROUPS:
            known = group in self.counts.unused or len(self.counts.unused) < MAX_COUNTED
            self.counts.unused[group if known else 0] += 1
            return []
        data: bytes | None = frame.data
        if group in FAST_GROUPS and not frame.is_whole:
            data = self.packets.add(group, frame.source, frame.destination, frame.data, received_ns)
        return [] if data is None else self._message(group, frame.source, data, received_ns)

    def _message(self, group: int, source: int, data: bytes, received_ns: int) -> list[Said]:
        stamp = Stamp(received_ns, self.addresses.label(source), str(group))
        try:
            fields = fields_of(group, data, OWN_OCTETS.get(group) or AIS_OCTETS[group])
        except BadMessage as problem:
            self.counts.bad[str(problem)] += 1
            return []
        self.counts.used[group] += 1
        if group in OWN_OCTETS:
            return self.own.read(group, fields, stamp)
        report = report_of(group, fields, received_ns)
        if report is None:
            self.counts.bad["no MMSI or type"] += 1
            return []
        return [AisSaid(*stamp.said(), report)]
