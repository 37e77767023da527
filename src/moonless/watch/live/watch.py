"""The watch kept on live links: bytes in from the loop, turns out of a thread.

    links (asyncio) ─► inbox ─► one thread: chain ─► on_event
              │                    ▲           │
              └─► recorder ◄───────│───────────┘
                                  ask

Rules of this file:
- The loop never waits for the chain, and the chain never waits for a link, nor for a disk.
- What came in is kept before it is worked on: a fault in the work loses nothing of the recording.
- Age is counted from receipt.  When the work falls behind by more than `BEHIND_S`, whole scans are passed over until it
  has caught up; past what the inbox holds, rows of the picture and the oldest of a flood of sentences are left out.
- A scan whose reading is made more than `LATE_S` after it came in is not told as if it were now: the picture is late,
  which withdraws what rests on it, as silence does.
- Now and then, right after a reading, the chain's whole state is handed out, where it is wanted: a watch that dies is
  gone on with from there.
- Each sentence is noted while it is in hand, so that one that ends the process can be put aside by the next.
- A link that is lost is told of, and opened again; the watch goes on with what it has.
"""

from __future__ import annotations

import asyncio
import logging
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.errors import InputError, MoonlessError
from moonless.units import NS_PER_S
from moonless.watch.instruments.source_priority import Preferred
from moonless.watch.live.in_hand import MANY_LINES, InHand, WholeLines
from moonless.watch.live.inbox import RADAR, TICK_S, Inbox, Item, joined
from moonless.watch.live.kept_chain import Keeping, take_up_chain
from moonless.watch.live.recorder import Recorder
from moonless.watch.outputs.sender import OutputKind, Sender
from moonless.watch.pipeline.chain import Chain
from moonless.watch.screen.pictured import read_any_link, source_of
from moonless.watch.types import ChainKept, LinkNow, LinkState, SpokesNow, Turn
from moonless.wire.links import LinkSpec, ReceiptClock

_log = logging.getLogger(__name__)

LATE_S, BEHIND_S = 2.0, 1.0
# What a reading takes in a recording, about.
READING_BYTES = 40_000
SEEN_BYTES = 300
# A flood is over when nothing was left out for so long.
FLOOD_OVER_S = 5.0

# While work waits longer than this the chain's state is not handed out.
KEEP_BEHIND_S = 0.5


LiveEvent = Turn | SpokesNow | LinkNow | ChainKept


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
    in_hand, aside : where the sentence worked on is noted, and those that ended a watch before this one
    is_kept : hand the chain's state out as it goes
    kept : the state of a watch that died, to go on from; one that cannot be used is told and done without
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
        in_hand: InHand | None = None,
        aside: Sequence[bytes] = (),
        is_kept: bool = False,
        kept: ChainKept | None = None,
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
        on_spokes, is_late = self._on_spokes if with_spokes else None, self._is_late
        apart = {"chart": chart, "knowledge": knowledge, "on_spokes": on_spokes, "is_late": is_late}
        self._keeping = Keeping(apart) if is_kept else None
        self.chain = self._taken_up(kept, apart) or Chain(
            boat, chart, knowledge, on_spokes=on_spokes, is_late=is_late, radar_named=radar is not None,
            preferred={w: (_number(self._specs, link), talker) for w, (link, talker) in (preferred or {}).items()},
        )  # fmt: skip
        names = {str(i): spec.text for i, spec in enumerate(self._specs) if spec is not None}
        self._recorder = None if record is None else Recorder(record, names, self._say, self._clock.now_ns)
        self._senders = [Sender(kind, spec, self._sending(spec.text)) for kind, spec in outputs]
        files = {i for i, spec in enumerate(self._specs) if spec is not None and spec.kind == "file"}
        self._inbox = Inbox(frozenset(files))
        self._sentences = _Sentences(in_hand, frozenset(aside))
        self._flooded: dict[int, int] = {}  # links of which something was left out, and when last

    def _taken_up(self, kept: ChainKept | None, apart: Mapping[str, object]) -> Chain | None:
        """Return the chain of a watch that died, or None where there is none, or none that can be used."""
        if kept is None:
            return None
        try:
            return take_up_chain(kept, apart)
        except Exception as problem:
            _log.exception("a watch's state could not be taken up")
            self._say("state", "lost", f"what the watch before knew cannot be used, it begins anew: {problem!r}")
            return None

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
            self.receive(number, data, received_ns, is_datagram=is_datagram)

        def say(state: LinkState, line: str) -> None:
            self._say(spec.text, state, line)

        self._say(spec.text, "opening", f"{spec.text}: opening")
        await read_any_link(spec, put, say, self._clock)

    def receive(self, number: int, data: bytes, received_ns: int, *, is_datagram: bool) -> None:
        """Take in bytes of one link, by its number: 0 is the radar.  Never blocks for long."""
        spec = self._specs[number]
        assert spec is not None
        if (tap := self.tap) is not None:
            tap(spec.text, data, received_ns, is_datagram)
        self.counts.bytes_in += len(data)
        item = Item(data, received_ns, is_datagram, number)
        self._keep(item)
        self.counts.bytes_dropped += self._inbox.put(item)

    def _say(self, link: str, state: LinkState, line: str) -> None:
        self.links[link] = LinkNow(link, state, line)
        self._on_event(self.links[link])

    # --- the thread ------------------------------------------------------------------------------------------------

    def _work(self) -> None:
        try:
            while self.work_once():
                pass
        finally:
            self._close()

    def work_once(self, wait_s: float = TICK_S) -> bool:
        """Do what waits, or let time pass where nothing does by then; False when there is nothing more to come."""
        items, asked = self._inbox.take(wait_s)
        if self._inbox.is_stopping:
            return False
        for work in asked:
            self._do(lambda work=work: self._nothing(work))  # type: ignore[misc]
        ready = joined(items)
        for number, item in enumerate(ready):
            self._working_ns = item.received_ns
            if self._do(lambda item=item: self._feed(item)):  # type: ignore[misc]
                # A reading takes long: what has become too old meanwhile is not worked on.
                self.counts.bytes_dropped += self._inbox.give_back(ready[number + 1 :])
                break
        if not items:
            if self._inbox.is_over:
                self._do(self.chain.finish)
                return False
            now_ns = self._clock.now_ns()
            self._working_ns = now_ns
            self._do(lambda now_ns=now_ns: self.chain.tick(now_ns))  # type: ignore[misc]
        self._tell_floods()
        return True

    def _nothing(self, work: Callable[[Chain], None]) -> list[Turn]:
        work(self.chain)
        return []

    def _feed(self, item: Item) -> list[Turn]:
        if item.link == 0:
            return self.chain.feed_radar(item.data, item.received_ns, is_datagram=item.is_datagram)
        turns = self.chain.tick(item.received_ns)  # what falls due by then is not what the sentence does
        for data in self._sentences.of(item):
            turns += self.chain.feed_nmea(data, item.received_ns, link=str(item.link), is_datagram=item.is_datagram)
        return turns

    def _do(self, work: Callable[[], list[Turn]]) -> bool:
        """Do one piece of work and hand on its turns; what goes wrong in it is said, and the watch goes on.

        Return whether there were any.
        """
        try:
            turns = self._in_time(work())
        except MoonlessError as problem:
            self.counts.failures += 1
            self._say("watch", "lost", f"the watch could not use what came in: {problem}")
            return True
        except Exception as problem:
            self.counts.failures += 1
            _log.exception("the watch failed")
            self._say("watch", "lost", f"the watch failed on what came in and goes on: {problem!r}")
            return True
        for turn in turns:
            self._hand_on(replace(turn, received_s=self._clock.steady_s(self._working_ns)))
        return bool(turns)

    def _in_time(self, turns: list[Turn]) -> list[Turn]:
        """Return the turns; where the work on a scan has taken too long, the line that says so in its place."""
        if self._radar_is_file or self._behind_s() <= LATE_S or all(turn.scan is None for turn in turns):
            return turns
        return [turn for turn in turns if turn.scan is None] + self.chain.fell_behind(self._working_ns)

    def _hand_on(self, turn: Turn) -> None:
        if self._recorder is not None:
            line, at_ns = turn.reading.as_dict(), self._working_ns
            self._recorder.add(READING_BYTES, lambda writer: writer.reading(line, at_ns))
        self._on_event(turn)
        for sender in self._senders:
            sender.send(turn.reading)
        if self._keeping is not None and turn.scan is not None and self._behind_s() <= KEEP_BEHIND_S:
            kept = self._keeping.after_turn(self.chain)
            if kept is not None:
                self._on_event(kept)
        if self.links.get("watch") is not None and self.links["watch"].state == "lost":
            self._say("watch", "open", "the watch is well again")

    def record_seen(self, line: Mapping[str, object]) -> None:
        """Keep what the skipper saw at an echo with the run, if it is recorded.  Called in the working thread."""
        if self._recorder is not None:
            at_ns = self._working_ns
            self._recorder.add(SEEN_BYTES, lambda writer: writer.eye(line, at_ns))

    def record_answer(self, key: str) -> None:
        """Keep that the skipper has answered a call, if the run is recorded.  Called in the working thread."""
        if self._recorder is not None:
            at_ns = self._working_ns
            self._recorder.add(SEEN_BYTES, lambda writer: writer.answer(key, at_ns))

    def _keep(self, item: Item) -> None:
        if self._recorder is None:
            return
        data, at_ns, is_datagram, link = item.data, item.received_ns, item.is_datagram, item.link
        if link == RADAR:
            self._recorder.add(len(data), lambda writer: writer.radar(data, at_ns, is_datagram=is_datagram))
        else:
            self._recorder.add(len(data), lambda writer: writer.nmea(data, at_ns, link=link, is_datagram=is_datagram))

    def _tell_floods(self) -> None:
        """Say of which links more comes than can be worked on, and when that is over."""
        now_ns = self._clock.now_ns()
        for number in self._inbox.take_left_out():
            if number not in self._flooded:
                self._say(self._name(number), "lost", f"{self._name(number)}: more comes than can be worked on; "
                          "the oldest is left out")  # fmt: skip
            self._flooded[number] = now_ns
        for number, last_ns in list(self._flooded.items()):
            if now_ns - last_ns > FLOOD_OVER_S * NS_PER_S:
                del self._flooded[number]
                self._say(self._name(number), "open", f"{self._name(number)}: all that comes is worked on again")

    @property
    def _radar_is_file(self) -> bool:
        """Whether the video is a file's: it comes as fast as it is read, and how long it waited says nothing."""
        spec = self._specs[RADAR]
        return spec is not None and spec.kind == "file"

    def _name(self, number: int) -> str:
        spec = self._specs[number]
        assert spec is not None
        return spec.text

    def _close(self) -> None:
        if self._recorder is not None:
            self._recorder.close()
        for sender in self._senders:
            sender.close()

    def _sending(self, link: str) -> Callable[[str, bool], None]:
        return lambda line, is_well: self._say(link, "open" if is_well else "lost", line)

    def _behind_s(self) -> float:
        """Return how long ago what is worked on now came in."""
        return (self._clock.now_ns() - self._working_ns) / NS_PER_S

    def _is_late(self, scan_end_ns: int) -> bool:
        return self._behind_s() > BEHIND_S and not self._radar_is_file

    def _on_spokes(self, spokes: SpokesNow) -> None:
        self._on_event(replace(spokes, received_s=self._clock.steady_s(self._working_ns)))


class _Sentences:
    """Hands out what came on the links of instruments sentence by sentence, noted while in hand; some are put aside."""

    def __init__(self, in_hand: InHand | None, aside: frozenset[bytes]) -> None:
        self._in_hand = in_hand
        self._aside = aside
        self._lines = WholeLines()

    def of(self, item: Item) -> Iterator[bytes]:
        if self._in_hand is None:
            yield item.data
            return
        lines = [item.data] if item.is_datagram else list(self._lines.cut(item.link, item.data))
        if len(lines) > MANY_LINES and not self._aside:
            yield b"".join(lines)
            return
        for line in lines:
            if line.strip() not in self._aside:
                self._in_hand.take_up(line)
                yield line
                self._in_hand.put_down()


def _number(specs: Sequence[LinkSpec | None], link: str) -> str:
    """Return a link's number, as the chain knows it; one that is not read now is no number's."""
    return next((str(i) for i, spec in enumerate(specs) if spec is not None and spec.text == link), "")
