"""The watch kept on live links: bytes in from the loop, turns out of a thread.

    links (asyncio) ─► inbox ─► one thread: recording, chain ─► on_event
                                        ▲
                                       ask

Rules of this file:
- The loop never waits for the chain, and the chain never waits for a link.
- What came in is kept before it is worked on: a fault in the work loses nothing of the recording.
- When the work falls behind by more than `LATE_S`, whole scans are passed over until it has caught up: the newest
  picture is the one that matters.  Spokes, positions and AIS are never passed over.
- A link that is lost is told of, and opened again; the watch goes on with what it has.
"""

from __future__ import annotations

import asyncio
import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.clock import steady_s
from moonless.errors import InputError, MoonlessError
from moonless.units import NS_PER_S
from moonless.watch.instruments.source_priority import Preferred
from moonless.watch.outputs.sender import OutputKind, Sender
from moonless.watch.pipeline.chain import Chain
from moonless.watch.pipeline.inbox import Inbox, Item, joined
from moonless.watch.screen.pictured import read_any_link, source_of
from moonless.watch.types import LinkNow, LinkState, SpokesNow, Turn
from moonless.wire.links import LinkSpec, ReceiptClock
from moonless.wire.recording import RecordingWriter

_log = logging.getLogger(__name__)

LATE_S = 2.0

LiveEvent = Turn | SpokesNow | LinkNow


@dataclass(slots=True)
class LiveCounts:
    """What the live watch has done so far."""

    bytes_in: int = 0
    bytes_dropped: int = 0
    failures: int = 0  # pieces of work that ended in an error of ours


class LiveWatch:
    """One watch on one radar link and some NMEA links.

    Parameters
    ----------
    on_event : given turns, spokes and the state of links.  Called from the watch's thread and from the loop's; it must
        not block for long.
    record : a file to keep the run in; None: it is not kept
    preferred : which source of a thing the skipper has chosen, by the links as the command line writes them
    outputs : what readings are sent as, and where to
    """

    def __init__(
        self,
        boat: Boat,
        chart: Chart | None,
        knowledge: Knowledge | None,
        *,
        radar: LinkSpec | None,
        nmea: Sequence[LinkSpec],
        on_event: Callable[[LiveEvent], None],
        record: Path | None = None,
        clock: ReceiptClock | None = None,
        with_spokes: bool = True,
        preferred: Preferred | None = None,
        outputs: Sequence[tuple[OutputKind, LinkSpec]] = (),
    ) -> None:
        """Make ready; nothing is opened but the recording.  Raises InputError if that cannot be made."""
        if radar is None and not nmea:
            raise InputError("nothing to watch: name a radar link or an NMEA link")
        for spec in (radar, *nmea):
            if spec is not None and spec.kind == "picture":
                source_of(spec.text)  # what is wrong with it is said before anything is opened
        self.counts = LiveCounts()
        self.links: dict[str, LinkNow] = {}
        self._clock = clock or ReceiptClock()
        self._specs = [radar, *nmea]
        self._on_event = on_event
        self._working_ns = 0
        self.tap: Callable[[str, bytes, int, bool], None] | None = None  # given (link, data, receipt, datagram)
        self.chain = Chain(
            boat, chart, knowledge, on_spokes=self._on_spokes if with_spokes else None, is_late=self._is_late,
            radar_named=radar is not None,
            preferred={w: (_number(self._specs, link), talker) for w, (link, talker) in (preferred or {}).items()},
        )  # fmt: skip
        names = {str(i): spec.text for i, spec in enumerate(self._specs) if spec is not None}
        self._recording = RecordingWriter(record, names) if record is not None else None
        self._senders = [Sender(kind, spec, self._sending(spec.text)) for kind, spec in outputs]
        self._inbox = Inbox()

    def ask(self, work: Callable[[Chain], None]) -> None:
        """Have something done with the chain, in its own thread, before the next bytes.  Never blocks."""
        self._inbox.ask(work)

    def now_ns(self) -> int:
        """Return the time of receipt now, by the watch's clock."""
        return self._clock.now_ns()

    async def run(self) -> None:
        """Watch until cancelled, or until every link was a file and is at its end."""
        thread = threading.Thread(target=self._work, name="moonless-watch", daemon=True)
        thread.start()
        tasks = [
            asyncio.create_task(self._read(number, spec)) for number, spec in enumerate(self._specs) if spec is not None
        ]
        try:
            await asyncio.gather(*tasks)
            self._inbox.end()
            await asyncio.to_thread(thread.join)
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            self._inbox.stop()
            await asyncio.to_thread(thread.join, 10.0)

    async def _read(self, number: int, spec: LinkSpec) -> None:
        def put(data: bytes, received_ns: int, is_datagram: bool) -> None:
            if (tap := self.tap) is not None:
                tap(spec.text, data, received_ns, is_datagram)
            self.counts.bytes_in += len(data)
            self.counts.bytes_dropped += self._inbox.put(Item(data, received_ns, is_datagram, number))

        def say(state: LinkState, line: str) -> None:
            self._say(spec.text, state, line)

        self._say(spec.text, "opening", f"{spec.text}: opening")
        await read_any_link(spec, put, say, self._clock)

    def _say(self, link: str, state: LinkState, line: str) -> None:
        self.links[link] = LinkNow(link, state, line)
        self._on_event(self.links[link])

    # --- the thread ------------------------------------------------------------------------------------------------

    def _work(self) -> None:
        try:
            while True:
                items, asked = self._inbox.take()
                if self._inbox.is_stopping:
                    break
                for work in asked:
                    self._do(lambda work=work: self._nothing(work))  # type: ignore[misc]
                for item in items:
                    self._keep(item)
                for item in joined(items):
                    self._working_ns = item.received_ns
                    self._do(lambda item=item: self._feed(item))  # type: ignore[misc]
                if not items:
                    if self._inbox.is_over:
                        self._do(self.chain.finish)
                        break
                    now_ns = self._clock.now_ns()
                    self._working_ns = now_ns
                    self._do(lambda now_ns=now_ns: self.chain.tick(now_ns))  # type: ignore[misc]
                self._flush()
        finally:
            self._close()

    def _nothing(self, work: Callable[[Chain], None]) -> list[Turn]:
        work(self.chain)
        return []

    def _feed(self, item: Item) -> list[Turn]:
        if item.link == 0:
            return self.chain.feed_radar(item.data, item.received_ns, is_datagram=item.is_datagram)
        return self.chain.feed_nmea(item.data, item.received_ns, link=str(item.link), is_datagram=item.is_datagram)

    def _do(self, work: Callable[[], list[Turn]]) -> None:
        """Do one piece of work; what goes wrong in it is said, and the watch goes on."""
        try:
            turns = work()
        except MoonlessError as problem:
            self.counts.failures += 1
            self._say("watch", "lost", f"the watch could not use what came in: {problem}")
            return
        except Exception as problem:
            self.counts.failures += 1
            _log.exception("the watch failed")
            self._say("watch", "lost", f"the watch failed on what came in and goes on: {problem!r}")
            return
        for turn in turns:
            if self._recording is not None:
                self._try(lambda r, turn=turn: r.reading(turn.reading.as_dict(), self._working_ns))  # type: ignore[misc]
            self._on_event(turn)
            for sender in self._senders:
                sender.send(turn.reading)
            if self.links.get("watch") is not None and self.links["watch"].state == "lost":
                self._say("watch", "open", "the watch is well again")

    def _keep(self, item: Item) -> None:
        if item.link == 0:
            self._try(lambda r: r.radar(item.data, item.received_ns, is_datagram=item.is_datagram))
        else:
            self._try(lambda r: r.nmea(item.data, item.received_ns, link=item.link, is_datagram=item.is_datagram))

    def _flush(self) -> None:
        self._try(lambda r: r.flush_if_due(self._clock.now_ns()))

    def _try(self, work: Callable[[RecordingWriter], None]) -> None:
        """Do something with the recording; a disk that is full ends the recording, not the watch."""
        if self._recording is None:
            return
        try:
            work(self._recording)
        except OSError as problem:
            path, self._recording = self._recording.path, None
            self._say(str(path), "lost", f"{path}: recording has stopped: {problem.strerror or problem}")

    def _close(self) -> None:
        self._try(lambda r: r.close())
        for sender in self._senders:
            sender.close()

    def _sending(self, link: str) -> Callable[[str, bool], None]:
        return lambda line, is_well: self._say(link, "open" if is_well else "lost", line)

    def _is_late(self, scan_end_ns: int) -> bool:
        return self._inbox.newest_ns - self._working_ns > LATE_S * NS_PER_S

    def _on_spokes(self, spokes: SpokesNow) -> None:
        self._on_event(replace(spokes, received_s=steady_s()))


def _number(specs: Sequence[LinkSpec | None], link: str) -> str:
    """Return a link's number, as the chain knows it; one that is not read now is no number's."""
    return next((str(i) for i, spec in enumerate(specs) if spec is not None and spec.text == link), "")
