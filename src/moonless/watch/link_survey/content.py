"""What one link carries, told from its bytes alone: instruments of any tongue, radar video, or something else.  No I/O.

    ear = Ear("udp://0.0.0.0:10110")
    ear.put(data, received_ns, is_datagram=True)
    ear.kind, ear.sentences, ear.radar, ear.offers

Rules of this file:
- Nothing is believed that the watch would not believe: a sentence needs its checksum, a block must read whole.
- A place that has gone silent keeps what it was, with its age.
"""

from __future__ import annotations

import math
from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.scan.types import Spoke
from moonless.units import NS_PER_S, mps_to_kn
from moonless.watch.instruments.source_priority import Offer, What
from moonless.wire.cat240 import CATEGORY, Cat240Decoder, Video
from moonless.wire.instruments import InstrumentDecoder, LineKind
from moonless.wire.n2k.frames import frame_of
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
# Spokes a second and the rate of turning are told over this long.
RATE_NS = 4 * NS_PER_S
# The small fan that shows spokes coming in: bearings and cells.
FAN_ROWS, FAN_CELLS = 180, 40
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


@dataclass(slots=True)
class RadarHeard:
    """The radar video of one link, as far as it has been heard."""

    spokes: int = 0
    n_cell: int = 0
    cell_m: float = math.nan
    first_cell_m: float = math.nan
    bits: int = 0
    has_time: bool = False
    sources: Counter[tuple[int, int]] = field(default_factory=Counter)  # spokes of each SAC/SIC
    fan: NDArray[np.uint8] = field(default_factory=lambda: np.zeros((FAN_ROWS, FAN_CELLS), np.uint8))
    fan_ns: NDArray[np.int64] = field(default_factory=lambda: np.zeros(FAN_ROWS, np.int64))  # 0: not yet
    newest_row: int = 0
    last_ns: int = 0
    _turned: deque[tuple[int, int, float]] = field(default_factory=deque)  # (time, spokes, unwrapped angle)
    _u: float = 0.0
    _azimuth: float = math.nan
    _steps: deque[float] = field(default_factory=lambda: deque(maxlen=200))

    @property
    def range_m(self) -> float:
        """Slant range to the end of the last cell."""
        return self.first_cell_m + (self.n_cell - 0.5) * self.cell_m

    def spokes_per_s(self, now_ns: int) -> float:
        """Spokes that came in a second, over the last seconds."""
        recent = [t for t in self._turned if now_ns - t[0] <= RATE_NS]
        if len(recent) < 2:
            return 0.0
        span = max(now_ns - recent[0][0], 1) / NS_PER_S
        return (recent[-1][1] - recent[0][1]) / span

    @property
    def turns_per_min(self) -> float | None:
        """Turns of the antenna a minute, negative anticlockwise; None while it cannot be told."""
        if len(self._turned) < 3:
            return None
        (t0, _, u0), (t1, _, u1) = self._turned[0], self._turned[-1]
        if t1 - t0 < NS_PER_S // 2:
            return None
        return (u1 - u0) / TAU / ((t1 - t0) / NS_PER_S) * 60.0

    @property
    def spokes_per_turn(self) -> int | None:
        """Spokes in a turn by their spacing; None while it cannot be told."""
        if len(self._steps) < 20:
            return None
        step = float(np.median(np.abs(self._steps)))
        return round(TAU / step) if step > 1e-5 else None

    def take(self, spoke: Spoke, received_ns: int) -> None:
        """Take in one spoke."""
        self.spokes += 1
        self.last_ns = received_ns
        self.n_cell, self.cell_m, self.first_cell_m = spoke.echo.shape[0], spoke.cell_m, spoke.first_cell_m
        azimuth = spoke.azimuth_start_rad
        if math.isfinite(self._azimuth):
            step = (azimuth - self._azimuth + math.pi) % TAU - math.pi
            if step:
                self._steps.append(step)
            self._u += step
        self._azimuth = azimuth
        if not self._turned or received_ns - self._turned[-1][0] >= NS_PER_S // 20:
            self._turned.append((received_ns, self.spokes, self._u))
            while received_ns - self._turned[0][0] > RATE_NS:
                self._turned.popleft()
        row = int(azimuth / TAU * FAN_ROWS) % FAN_ROWS
        cells = _pooled(spoke)
        if row == self.newest_row and received_ns - int(self.fan_ns[row]) < NS_PER_S:
            cells = np.maximum(cells, self.fan[row])
        self.fan[row], self.fan_ns[row], self.newest_row = cells, received_ns, row


def _pooled(spoke: Spoke) -> NDArray[np.uint8]:
    """Return the strongest echo of each of the fan's cells, of 255."""
    echo = spoke.echo
    if echo.shape[0] == 0:
        return np.zeros(FAN_CELLS, np.uint8)
    if echo.shape[0] >= FAN_CELLS:
        at = np.arange(FAN_CELLS) * echo.shape[0] // FAN_CELLS
        pooled = np.maximum.reduceat(echo, at)
    else:
        pooled = echo[np.arange(FAN_CELLS) * echo.shape[0] // FAN_CELLS]
    return (pooled.astype(np.uint32) * 255 // spoke.full_scale).astype(np.uint8)


class Ear:
    """Listens to the bytes of one link; see the rules of this file.

    ``name`` is the link as the command line writes it, and stands in every offer.
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
        self.radar = RadarHeard()
        self.vessels: set[int] = set()
        self.no_fix_ns: int | None = None
        self.place: tuple[float, float] | None = None
        self.foreign: Counter[int] = Counter()  # ASTERIX blocks of other categories
        self._offers: dict[tuple[What, str], Offer] = {}
        self._unreadable = 0
        self._n_line = 0
        self._now_ns = 0

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
        before = self._n_line
        self._now_ns = received_ns
        self._events(self.decoder.datagram(data, received_ns))
        self._unreadable += self._n_line == before

    def _stream(self, data: bytes, received_ns: int) -> None:
        # Once one of the two has read something, the other is not asked any more.
        if not self.cat240.counts.videos:
            self._now_ns = received_ns
            self._events(self.decoder.feed(data, received_ns))
        if not self._n_line:
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
            self._offer("radar", "", "CAT240", received_ns, "", False)

    def _sentence(self, sentence: Sentence) -> None:
        self._count(f"{sentence.talker}{sentence.kind}", sentence.raw)

    def _other_line(self, kind: LineKind, line: bytes) -> None:
        frame = frame_of(line) if kind == "bus" else None
        self._count("delta" if frame is None else str(frame.group), line)

    def _count(self, address: str, line: bytes) -> None:
        self._n_line += 1
        self.ticker.append((self._n_line, self._now_ns, line[:_TICKER_OCTETS].decode("ascii", errors="replace")))
        one = self.sentences.get(address)
        if one is None:
            if len(self.sentences) >= MOST_KINDS:
                return
            one = self.sentences[address] = SentenceCount(first_ns=self._now_ns)
        one.count += 1
        one.last_ns = self._now_ns

    def _events(self, events: Sequence[Said]) -> None:
        for event in events:
            self._said(event)

    def _said(self, event: Said) -> None:
        at, talker, kind = event.received_ns, event.talker, event.kind
        if isinstance(event, PoseSaid):
            pose = event.pose
            if pose.lat_deg is not None and pose.lon_deg is not None:
                self.place = (pose.lat_deg, pose.lon_deg)
                self._offer("position", talker, kind, at, place_words(pose.lat_deg, pose.lon_deg), False)
            if pose.sog is not None:
                course = "" if pose.cog_rad is None else f"{math.degrees(pose.cog_rad):03.0f}°, "
                self._offer("motion", talker, kind, at, f"{course}{mps_to_kn(pose.sog):.1f} kn", False)
            if pose.heading_true_rad is not None:
                words = f"{math.degrees(pose.heading_true_rad):05.1f}°"
                self._offer("heading", talker, kind, at, words, event.is_magnetic)
            if pose.turn_rate is not None:
                self._offer("turn", talker, kind, at, f"{math.degrees(pose.turn_rate) * 60.0:+.0f}° a minute", False)
        elif isinstance(event, NoFixSaid):
            self.no_fix_ns = at
        elif isinstance(event, ClockSaid):
            self._offer("date", talker, kind, at, "", False)
        elif isinstance(event, DepthSaid):
            self._offer("depth", talker, kind, at, f"{event.below_transducer_m:.1f} m below the transducer", False)
        elif isinstance(event, DepthLostSaid):
            self._offer("depth", talker, kind, at, "no bottom found", False)
        elif isinstance(event, WindSaid):
            self._offer("wind", talker, kind, at, f"{mps_to_kn(event.speed):.0f} kn", False)
        elif isinstance(event, AisSaid):
            if len(self.vessels) < MOST_VESSELS:
                self.vessels.add(event.report.mmsi)
            count = len(self.vessels)
            self._offer("ais", talker, kind, at, f"{count} vessel{'' if count == 1 else 's'}", False)
        elif isinstance(event, TargetSaid | TargetPlaceSaid):
            self._offer("targets", talker, kind, at, "", False)

    def _offer(self, what: What, talker: str, kind: str, at_ns: int, value: str, is_magnetic: bool) -> None:
        key = (what, f"{talker}{kind}")
        before = self._offers.get(key)
        if before is None and len(self._offers) >= MOST_KINDS:
            return
        first = at_ns if before is None else before.first_ns
        self._offers[key] = Offer(what, self.name, talker, kind, first, at_ns, value, is_magnetic)

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
    def offers(self) -> tuple[Offer, ...]:
        """What can be had from it, each with its newest value."""
        return tuple(self._offers.values())

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
        return self._n_line

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
