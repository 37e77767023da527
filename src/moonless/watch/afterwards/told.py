"""What was told on a run: the readings of a recording, with depth and wind beside each.

A recording made at the helm holds the readings as the skipper had them: those are taken, and the radar video is not
even looked at.  One without them, or when they are asked for anew, goes through the whole chain again.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.errors import InputError, WireError
from moonless.reading.line import ReadingLine
from moonless.units import utc_to_ns
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.instruments.intake import Intake, Wind
from moonless.watch.instruments.tides import TideUnderWay
from moonless.watch.instruments.timebase import TimeBase
from moonless.watch.pipeline.decode import InstrumentDecoding
from moonless.wire.recording import RecordingReader

# Below this share of a second per turn nothing is gained by telling how far the work is more often.
_TELL_EVERY = 16


@dataclass(frozen=True, slots=True, eq=False)
class ToldTurn:
    """One line of readings.jsonl, and what the instruments said at that moment; None where nobody said, or long ago."""

    time_ns: int
    line: ReadingLine
    depth_m: float | None  # from the waterline
    wind: Wind | None  # over the ground


class AcknowledgedCall(NamedTuple):
    """A call that the skipper answered at the helm."""

    time_ns: int
    key: str


@dataclass(slots=True)
class BesideRecording:
    """What stands beside a recording when it is read anew."""

    boat: Boat
    chart: Chart | None = None
    knowledge: Knowledge | None = None
    tide: TideUnderWay | None = None
    tide_m: float | None = None


@dataclass(slots=True)
class PastRun:
    """A recording and how it is taken.  After `turns`, ``notes`` say what was wrong with it."""

    path: Path
    given: BesideRecording
    anew: bool = False  # read the radar again though there are readings
    is_anew: bool = field(default=False, init=False)  # it was
    notes: list[str] = field(default_factory=list, init=False)
    answers: list[AcknowledgedCall] = field(default_factory=list, init=False)  # of a run whose readings were kept

    def turns(self, progress: Callable[[float], None] | None = None) -> Iterator[ToldTurn]:
        """Yield what was told, turn by turn, in order of time.  ``progress`` is told the share done, 0 to 1.

        Raises
        ------
        WireError  If it is no recording, or holds neither readings nor radar video.
        InputError  If it is not there.
        """
        if not self.path.is_file():
            raise InputError(f"{self.path} is {'a folder' if self.path.is_dir() else 'not there'}; give a recording")
        told = progress or (lambda done: None)
        if not self.anew:
            n_turn = 0
            for turn in self._kept(told):
                n_turn += 1
                yield turn
            if n_turn:
                return
        self.is_anew = True
        yield from self._read_anew(told)

    def _kept(self, told: Callable[[float], None]) -> Iterator[ToldTurn]:
        reader = RecordingReader(self.path)
        times, faults = TimeBase(), FaultWatch()
        decoding = InstrumentDecoding(Intake(self.given.boat, times, faults))
        intake, size, got, n_turn, last_ns = decoding.intake, max(self.path.stat().st_size, 1), 0, 0, 0
        for record in reader.only("nmea", "bus", "signalk", "readings", "answers"):
            got += len(record.data)
            if record.kind == "answers":
                self._answered(record.data, record.received_ns)
                continue
            if record.kind != "readings":
                times.received(record.received_ns)
                if decoding.decode(record.data, record.received_ns, str(record.link), is_datagram=False) != "same":
                    intake.forget()
                continue
            line = _line_of(record.data, self.path)
            time_ns = time_of(line)
            if time_ns <= last_ns:
                continue  # a clock that was put back: what was told twice of one moment is taken once
            last_ns = time_ns
            n_turn += 1
            if n_turn % _TELL_EVERY == 0:
                told(min(got / size, 1.0))
            own = intake.own(time_ns, frozenset())
            yield ToldTurn(time_ns, line, intake.depth_below_surface_m(time_ns), intake.wind(time_ns, own))
        if not reader.is_whole:
            self.notes.append(f"{self.path} has no end, as after a crash; it was read as far as it goes")

    def _answered(self, data: bytes, time_ns: int) -> None:
        try:
            self.answers.append(AcknowledgedCall(time_ns, str(json.loads(data)["key"])))
        except (ValueError, KeyError, TypeError):
            self.notes.append(f"{self.path}: an answer in it cannot be read")

    def _read_anew(self, told: Callable[[float], None]) -> Iterator[ToldTurn]:
        # Not loaded for a run whose readings were kept: the whole chain takes seconds to load.
        from moonless.watch.pipeline.chain import Chain
        from moonless.watch.pipeline.replay import Replay, play

        given = self.given
        chain = Chain(given.boat, given.chart, given.knowledge, radar_named=True)
        chain.given.tide, chain.given.tide_m = given.tide, given.tide_m
        replay = Replay(recording=self.path)
        n_scan = 0
        for turn, done in play(chain, replay):
            told(done)
            n_scan += turn.scan is not None
            time_ns = turn.reading.time_ns
            own = chain.intake.own(time_ns, frozenset())
            yield ToldTurn(
                time_ns, turn.reading.as_dict(), chain.intake.depth_below_surface_m(time_ns),
                chain.intake.wind(time_ns, own),
            )  # fmt: skip
        if n_scan == 0:
            raise WireError(f"{self.path} holds neither readings nor a whole turn of radar video")
        self.notes += [note for note in replay.notes if note not in self.notes]


def time_of(line: ReadingLine) -> int:
    """Return the time of a line of readings.jsonl, Unix nanoseconds UTC."""
    return utc_to_ns(datetime.fromisoformat(line["time"]))


def _line_of(data: bytes, path: Path) -> ReadingLine:
    try:
        line: ReadingLine = json.loads(data)
        if not isinstance(line, dict) or not {"time", "own", "echoes", "missing"} <= line.keys():
            raise ValueError("is not a line of readings")
    except ValueError as problem:
        raise WireError(f"{path}: a reading in it cannot be read: {problem}") from problem
    return line
