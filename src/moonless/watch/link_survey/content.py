"""What one link carries, told from its bytes alone: instruments of any tongue, radar video, or something else.  No I/O.

    content = LinkContent("udp://0.0.0.0:10110")
    content.put(data, received_ns, is_datagram=True)
    content.kind, content.sentences, content.radar, content.sources

Rules of this file:
- Nothing is believed that the watch would not believe: a sentence needs its checksum, a block must read whole.
- A place that has gone silent keeps what it was, with its age.
"""

from __future__ import annotations

import math
from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from moonless.units import NS_PER_S, mps_to_kn
from moonless.watch.instruments.source_priority import SentenceSource, What
from moonless.watch.link_survey.radar_content import RadarContent
from moonless.wire.cat240 import CATEGORY, Cat240Decoder, Video
from moonless.wire.instruments import InstrumentDecoder, LineKind
from moonless.wire.nmea_events import (
    AisSaid,
    ClockSaid,
    DepthLostSaid,
    DepthSaid,
    NoFixSaid,
    PoseSaid,
    Said,
    TargetPlaceSaid,
    TargetSaid,
    WindSaid,
)
from moonless.wire.sentences import Sentence

Carries = Literal["nothing", "nmea", "bus", "signalk", "radar", "asterix", "unknown"]
"""``asterix``: sound blocks, but none of radar video; ``unknown``: bytes, and none of them readable."""

# Lines kept for a person to look at.
TICKER = 12
MOST_VESSELS = 5000
# As much of a line as a person looks at: the whole of a sentence.
_TICKER_OCTETS = 160
# A talker changes its name no more often than this on one link; what is kept of a flood is bounded by it.
MOST_KINDS = 400
# As many octets as tell that a stream is neither: two of the longest lines.
ENOUGH_BYTES = 2048


@dataclass(slots=True)
class SentenceCount:
    """One formatter of one talker."""

    count: int = 0
    first_ns: int = 0
    last_ns: int = 0

    @property
    def per_s(self) -> float | None:
        """Sentences a second; None before there are two."""
        span = (self.last_ns - self.first_ns) / NS_PER_S
        return (self.count - 1) / span if self.count > 1 and span > 0.0 else None


class LinkContent:
    """What the bytes of one link are; see the rules of this file.

    ``name`` is the link as the command line writes it, and stands in every source.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.n_byte = 0
        self.first_ns: int | None = None
        self.last_ns: int | None = None
        self.decoder = InstrumentDecoder(self._sentence, self._other_line)
        self.cat240 = Cat240Decoder()
        self.sentences: dict[str, SentenceCount] = {}  # by address: "GPRMC"; of a bus by group: "129025"
        self.ticker: deque[tuple[int, int, str]] = deque(maxlen=TICKER)  # (number, time, sentence)
        self.radar = RadarContent()
        self.vessels: set[int] = set()
        self.no_fix_ns: int | None = None
        self.place: tuple[float, float] | None = None
        self.foreign: Counter[int] = Counter()  # ASTERIX blocks of other categories
        self._sources: dict[tuple[What, str], SentenceSource] = {}
        self._unreadable = 0

    # --- in --------------------------------------------------------------------------------------------------------

    def put(self, data: bytes, received_ns: int, is_datagram: bool) -> None:
        """Take in what came."""
        if not data:
            return
        self.n_byte += len(data)
        self.first_ns = received_ns if self.first_ns is None else self.first_ns
        self.last_ns = received_ns
        if is_datagram:
            self._datagram(data, received_ns)
        else:
            self._stream(data, received_ns)

    def _datagram(self, data: bytes, received_ns: int) -> None:
        length = int.from_bytes(data[1:3], "big") if len(data) >= 3 else 0
        if 3 <= length <= len(data) and (data[0] == CATEGORY or length == len(data)):
            if data[0] == CATEGORY:
                self._videos(self.cat240.datagram(data), received_ns)
            else:
                self.foreign[data[0]] += 1
            return
        before = self.n_line
        self._events(self.decoder.datagram(data, received_ns))
        self._unreadable += self.n_line == before

    def _stream(self, data: bytes, received_ns: int) -> None:
        # Once one of the two has read something, the other is not asked any more.
        if not self.cat240.counts.videos:
            self._events(self.decoder.feed(data, received_ns))
        if not self.n_line:
            self._videos(self.cat240.feed(data), received_ns)

    def _videos(self, events: Sequence[object], received_ns: int) -> None:
        for event in events:
            if not isinstance(event, Video):
                continue
            self.radar.sources[event.sac, event.sic] += 1
            self.radar.bits, self.radar.has_time = event.bits, event.time_of_day_s is not None
            # Of two radars on one link the first heard is drawn, as the watch follows it.
            if (event.sac, event.sic) == next(iter(self.radar.sources)):
                self.radar.take(event.to_spoke(received_ns), received_ns)
        if self.radar.spokes:
            self._add_source("radar", "", "CAT240", received_ns, "", False)

    def _sentence(self, sentence: Sentence) -> None:
        self._count(f"{sentence.talker}{sentence.kind}", sentence.raw)

    def _other_line(self, kind: LineKind, line: bytes) -> None:
        self._tick(line)
        if kind == "signalk":
            self._seen("delta", None)

    def _count(self, address: str, line: bytes) -> None:
        self._tick(line)
        self._seen(address, None)

    def _tick(self, line: bytes) -> None:
        now_ns = self.last_ns or 0  # of what is being taken in
        self.ticker.append((self.n_line + 1, now_ns, line[:_TICKER_OCTETS].decode("ascii", errors="replace")))

    def _seen(self, address: str, count: int | None) -> None:
        """Count one more of a kind, or so many in all."""
        now_ns = self.last_ns or 0
        one = self.sentences.get(address)
        if one is None:
            if len(self.sentences) >= MOST_KINDS:
                return
            one = self.sentences[address] = SentenceCount(first_ns=now_ns)
        if count != one.count:
            one.count = one.count + 1 if count is None else count
            one.last_ns = now_ns

    def _events(self, events: Sequence[Said]) -> None:
        for event in events:
            self._said(event)
        # Messages of the bus, not frames: some are of one frame and some of many.
        for group, count in self.decoder.bus.counts.used.items():
            self._seen(str(group), count)

    def _said(self, event: Said) -> None:
        at, talker, kind = event.received_ns, event.talker, event.kind
        if isinstance(event, PoseSaid):
            pose = event.pose
            if pose.lat_deg is not None and pose.lon_deg is not None:
                self.place = (pose.lat_deg, pose.lon_deg)
                self._add_source("position", talker, kind, at, place_words(pose.lat_deg, pose.lon_deg), False)
            if pose.sog is not None:
                course = "" if pose.cog_rad is None else f"{math.degrees(pose.cog_rad):03.0f}°, "
                self._add_source("motion", talker, kind, at, f"{course}{mps_to_kn(pose.sog):.1f} kn", False)
            if pose.heading_true_rad is not None:
                words = f"{math.degrees(pose.heading_true_rad):05.1f}°"
                self._add_source("heading", talker, kind, at, words, event.is_magnetic)
            if pose.turn_rate is not None:
                words = f"{math.degrees(pose.turn_rate) * 60.0:+.0f}° a minute"
                self._add_source("turn", talker, kind, at, words, False)
        elif isinstance(event, NoFixSaid):
            self.no_fix_ns = at
        elif isinstance(event, ClockSaid):
            self._add_source("date", talker, kind, at, "", False)
        elif isinstance(event, DepthSaid):
            self._add_source("depth", talker, kind, at, f"{event.below_transducer_m:.1f} m below the transducer", False)
        elif isinstance(event, DepthLostSaid):
            self._add_source("depth", talker, kind, at, "no bottom found", False)
        elif isinstance(event, WindSaid):
            self._add_source("wind", talker, kind, at, f"{mps_to_kn(event.speed):.0f} kn", False)
        elif isinstance(event, AisSaid):
            if len(self.vessels) < MOST_VESSELS:
                self.vessels.add(event.report.mmsi)
            count = len(self.vessels)
            self._add_source("ais", talker, kind, at, f"{count} vessel{'' if count == 1 else 's'}", False)
        elif isinstance(event, TargetSaid | TargetPlaceSaid):
            self._add_source("targets", talker, kind, at, "", False)

    def _add_source(self, what: What, talker: str, kind: str, at_ns: int, value: str, is_magnetic: bool) -> None:
        key = (what, f"{talker}{kind}")
        before = self._sources.get(key)
        if before is None and len(self._sources) >= MOST_KINDS:
            return
        first = at_ns if before is None else before.first_ns
        self._sources[key] = SentenceSource(what, self.name, talker, kind, first, at_ns, value, is_magnetic)

    # --- out -------------------------------------------------------------------------------------------------------

    @property
    def kind(self) -> Carries:
        """What it is."""
        if self.n_byte == 0:
            return "nothing"
        if self.radar.spokes or self.cat240.counts.unknown_compression:
            return "radar"
        if self.decoder.nmea.reader.counts.sentences:
            return "nmea"
        if self.decoder.bus.counts.frames:
            return "bus"
        if self.decoder.signalk.counts.messages:
            return "signalk"
        if self.foreign or self.cat240.counts.blocks or self.cat240.counts.other_categories:
            return "asterix"
        # A stream that has only just begun may be in the middle of a line.
        return "unknown" if self._unreadable or self.n_byte > ENOUGH_BYTES else "nothing"

    @property
    def sources(self) -> tuple[SentenceSource, ...]:
        """The sources on it, each with its newest value."""
        return tuple(self._sources.values())

    @property
    def bad_checksums(self) -> int:
        """Sentences with a wrong checksum, or without one."""
        counts = self.decoder.nmea.reader.counts
        return counts.bad_checksum + counts.no_checksum

    def words(self) -> str:
        """Say in one plain line what it is."""
        kind = self.kind
        if kind == "radar":
            if not self.radar.spokes:
                return "radar video, compressed in a way that is not known: it cannot be used"
            return f"radar video, ASTERIX category 240, {self.radar.bits}-bit"
        if kind == "nmea":
            addresses = sorted({name[-3:] for name in self.sentences if not name.isdigit() and name != "delta"})
            is_ais = any(name in ("VDM", "VDO") for name in addresses)
            head = "AIS" if is_ais and len(addresses) <= 2 else "NMEA 0183 and AIS" if is_ais else "NMEA 0183"
            head += " and NMEA 2000" if self.decoder.bus.counts.frames else ""
            return f"{head}: {', '.join(addresses)}"
        if kind == "bus":
            return self._bus_words()
        if kind == "signalk":
            return "Signal K"
        if kind == "asterix":
            others = sorted(self.foreign | self.cat240.counts.other_categories)
            listed = ", ".join(str(c) for c in others)
            return f"ASTERIX of category {listed}: no radar video" if listed else "ASTERIX category 240 without video"
        if kind == "unknown":
            counts = self.decoder.nmea.reader.counts
            if counts.bad_checksum or counts.no_checksum:
                return "sentences whose checksum is wrong or missing: they are not believed"
            return "data that is neither NMEA 0183, NMEA 2000 as text, Signal K nor radar video of category 240"
        return "nothing yet"

    @property
    def n_line(self) -> int:
        """Sentences, frames and deltas so far."""
        return self.ticker[-1][0] if self.ticker else 0

    def _bus_words(self) -> str:
        bus = self.decoder.bus
        if bus.addresses.is_storm(self.last_ns or 0):
            return "NMEA 2000, and address claims without end: it is not known who sends what"
        used = ", ".join(str(group) for group in sorted(bus.counts.used))
        return f"NMEA 2000: {used}" if used else "NMEA 2000: none of its groups is one that is used"


def place_words(lat_deg: float, lon_deg: float) -> str:
    """Return a position as charts write it: degrees, and minutes to a hundredth."""

    def half(value: float, width: int, letters: str) -> str:
        hundredths = round(abs(value) * 6000.0)
        degrees, rest = divmod(hundredths, 6000)
        return f"{degrees:0{width}d}°{rest // 100:02d}.{rest % 100:02d}' {letters[value < 0.0]}"

    return f"{half(lat_deg, 2, 'NS')}  {half(lon_deg, 3, 'EW')}"
