"""A run played through the live watch on the story's own clock, which a slow computer's work is charged to."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from bench.faults.arrivals import Arrival, Arrivals
from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.reading.types import Reading
from moonless.units import NS_PER_S
from moonless.watch.live.watch import LiveEvent, LiveWatch
from moonless.watch.pipeline.chain import Chain
from moonless.watch.types import LinkNow, Turn
from moonless.wire.links import ReceiptClock, parse_link

TICK_NS = NS_PER_S // 10


@dataclass(frozen=True, slots=True)
class Cost:
    """Seconds of the computer's time that work takes: what a slow or busy one needs."""

    scan_s: float = 0.0  # a scan looked into: echoes, tracks, reading
    radar_byte_s: float = 0.0
    nmea_byte_s: float = 0.0


class StoryClock(ReceiptClock):
    """Stands still until it is moved."""

    def __init__(self, now_ns: int) -> None:
        super().__init__()
        self.at_ns = now_ns

    def now_ns(self) -> int:
        """Return the story's time."""
        return self.at_ns


@dataclass(frozen=True, slots=True)
class Told:
    """A reading and when it left the watch, seconds since the run began."""

    at_s: float
    of_s: float  # the moment it speaks of
    reading: Reading

    @property
    def is_confident(self) -> bool:
        """Whether it shows echoes, or says a speed."""
        return bool(self.reading.echoes) or self.reading.speed.advised_kn is not None


@dataclass(slots=True)
class Played:
    """What came of a run."""

    told: list[Told] = field(default_factory=list)
    lines: list[tuple[float, str]] = field(default_factory=list)  # what was said of links
    failures: int = 0
    bytes_dropped: int = 0


class _Run:
    """One watch, its arrivals and its clock."""

    def __init__(self, boat: Boat, chart: Chart | None, arrivals: Arrivals, cost: Cost) -> None:
        self._waiting: Iterator[Arrival] = iter(arrivals)
        self._next: Arrival | None = next(self._waiting)
        self.began_ns = self._next.time_ns
        self.clock = StoryClock(self.began_ns)
        self.played = Played()
        links = [parse_link(f"udp://127.0.0.1:{port}") for port in (9001, 9002)]
        self.watch = LiveWatch(
            boat, chart, None, radar=parse_link("udp://127.0.0.1:9000"), nmea=links, on_event=self._on_event,
            clock=self.clock, with_spokes=True,
        )  # fmt: skip
        self._cost = cost
        self._charge(self.watch.chain)

    def _charge(self, chain: Chain) -> None:
        """Let the chain's work cost time: while it works, more comes in."""
        feed_radar, feed_nmea, counts = chain.feed_radar, chain.feed_nmea, chain.counts

        def radar(data: bytes, received_ns: int, *, is_datagram: bool = False) -> list[Turn]:
            before = counts.scans - counts.scans_skipped
            self.spend(len(data) * self._cost.radar_byte_s)
            turns = feed_radar(data, received_ns, is_datagram=is_datagram)
            self.spend((counts.scans - counts.scans_skipped - before) * self._cost.scan_s)
            return turns

        def nmea(data: bytes, received_ns: int, *, link: str = "nmea", is_datagram: bool = False) -> list[Turn]:
            self.spend(len(data) * self._cost.nmea_byte_s)
            return feed_nmea(data, received_ns, link=link, is_datagram=is_datagram)

        chain.feed_radar, chain.feed_nmea = radar, nmea  # type: ignore[method-assign]

    def _on_event(self, event: LiveEvent) -> None:
        at_s = (self.clock.at_ns - self.began_ns) / NS_PER_S
        if isinstance(event, Turn):
            of_s = (event.reading.time_ns - self.began_ns) / NS_PER_S
            self.played.told.append(Told(at_s, of_s, event.reading))
        elif isinstance(event, LinkNow):
            self.played.lines.append((at_s, event.text))

    def spend(self, seconds: float) -> None:
        """Let the computer be busy for so long."""
        self.pass_to(self.clock.at_ns + round(seconds * NS_PER_S))

    def pass_to(self, until_ns: int) -> None:
        """Let time pass; what comes in meanwhile waits in the inbox."""
        while self._next is not None and self._next.time_ns <= until_ns:
            one = self._next
            self.clock.at_ns = max(self.clock.at_ns, one.time_ns)
            self.watch.receive(one.link, one.data, one.time_ns, is_datagram=one.is_datagram)
            self._next = next(self._waiting, None)
        self.clock.at_ns = max(self.clock.at_ns, until_ns)

    def play(self, until_s: float) -> Played:
        """Play to a time of the story."""
        end_ns = self.began_ns + round(until_s * NS_PER_S)
        while self.clock.at_ns < end_ns:
            self.pass_to(self.clock.at_ns + TICK_NS // 2)
            self.watch.work_once(wait_s=0.0)
        self.played.failures = self.watch.counts.failures
        self.played.bytes_dropped = self.watch.counts.bytes_dropped
        return self.played


def play(
    boat: Boat, chart: Chart | None, arrivals: Arrivals, until_s: float, *, cost: Cost | None = None,
    prepare: Callable[[LiveWatch], None] | None = None,
) -> Played:  # fmt: skip
    """Play a run through a live watch.  ``prepare``: what is done to the watch before."""
    run = _Run(boat, chart, arrivals, cost or Cost())
    if prepare is not None:
        prepare(run.watch)
    return run.play(until_s)
