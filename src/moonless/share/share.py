"""A recording to one that can be given away: cut and thinned, moved, without names; held against the original."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from moonless.errors import InputError, SourceError, WireError
from moonless.files import replacing
from moonless.scan.pose import PoseSample
from moonless.share.aliases import Aliases
from moonless.share.instruments import SharedInstruments
from moonless.share.moved import Moved
from moonless.share.radar import SharedRadar
from moonless.share.readings import SharedReadings, line_in
from moonless.share.traces import Traces, left_in, traces_of
from moonless.units import NS_PER_S
from moonless.wire.instruments import InstrumentDecoder
from moonless.wire.nmea_events import PoseSaid
from moonless.wire.recording import Recorded, RecordingReader, RecordingWriter


@dataclass(frozen=True, slots=True)
class Wanted:
    """What of a run is shared."""

    from_s: float = 0.0  # from its beginning
    to_s: float | None = None  # None: to its end
    one_turn_in: int = 1
    radar: bool = True
    begins_ns: int | None = None  # the run's beginning is put to this time; None: times stay
    own_mmsi: int | None = None


@dataclass(frozen=True, slots=True)
class Shared:
    """What was written."""

    seconds: float
    turns: int  # of the antenna, those left out counted
    readings: int
    stations: int  # of AIS that have other numbers now


def share(
    path: Path, out: Path, wanted: Wanted, progress: Callable[[str, float], None] = lambda words, done: None
) -> Shared:
    """Write what is wanted of a recording, so that nobody can be told from it; whole, or not at all.

    Raises
    ------
    InputError  If there is something at ``out``, or nothing of the run lies between the times.
    WireError  If ``path`` is no recording.
    SourceError  If own position was never known; or if something of the original is left in what was written, which
        is then not kept.
    """
    if os.path.lexists(out):
        raise InputError(f"{out} is there already; a recording is not written over, give another name")
    progress("what must not be shared", 0.0)
    original = traces_of(path)
    begins_ns, first = _begin(path)
    assert first.lat_deg is not None and first.lon_deg is not None
    shift_ns = 0 if wanted.begins_ns is None else wanted.begins_ns - begins_ns
    places = ((lat / 1000.0, lon / 1000.0) for lat, lon in original.places)
    moved = Moved.away(first.lat_deg, first.lon_deg, places, shift_ns)
    with replacing(out) as draft:
        done = _write(path, draft, original.links, wanted, moved, begins_ns, progress)
        progress("whether anything is left", 0.9)
        _refuse_left(draft, out, original, moved)
    return done


def _refuse_left(draft: Path, out: Path, original: Traces, moved: Moved) -> None:
    left = left_in(draft, original, moved.time_ns != 0)
    if left is not None:
        raise SourceError(f"{out} was not written: {left}")


def _begin(path: Path) -> tuple[int, PoseSample]:
    """Return when a recording begins, and its first known position."""
    begins_ns: int | None = None
    decoders: dict[int, InstrumentDecoder] = {}
    for record in RecordingReader(path).only("radar", "nmea", "bus", "signalk", "readings"):
        if begins_ns is None:
            begins_ns = record.received_ns
        if record.kind == "readings":
            own = line_in(record.data).get("own") or {}
            if own.get("lat") is not None and own.get("lon") is not None:
                return begins_ns, PoseSample(record.received_ns, own["lat"], own["lon"])
        elif record.kind != "radar":
            for event in decoders.setdefault(record.link, InstrumentDecoder()).feed(record.data, record.received_ns):
                if isinstance(event, PoseSaid) and event.pose.lat_deg is not None:
                    return begins_ns, event.pose
    raise SourceError(f"{path}: own position was never known on this run: it cannot be moved")


def _write(
    path: Path, draft: Path, links: list[str], wanted: Wanted, moved: Moved, begins_ns: int,
    progress: Callable[[str, float], None],
) -> Shared:  # fmt: skip
    reader, aliases = RecordingReader(path), Aliases()
    names = _Writing(wanted, moved, aliases, begins_ns)
    size, got = max(path.stat().st_size, 1), 0
    # The names of links tell of somebody's boat: only their numbers are kept.
    writer = RecordingWriter(draft, {number: f"link {k}" for k, number in enumerate(links)})
    with contextlib.closing(writer):
        for n, record in enumerate(reader):
            got += len(record.data)
            if n % 4096 == 0:
                progress("writing it anew", 0.05 + 0.8 * min(got / size, 1.0))
            if not names.add(record, writer):
                break
    if names.last_ns is None:
        raise InputError("nothing of the run lies between the times asked for")
    first_ns = names.first_ns or begins_ns
    return Shared((names.last_ns - first_ns) / NS_PER_S, names.radar.turns, names.n_reading, len(aliases.numbers))


class _Writing:
    """Takes a run's messages one by one to a writer."""

    def __init__(self, wanted: Wanted, moved: Moved, aliases: Aliases, begins_ns: int) -> None:
        self._wanted = wanted
        self._moved = moved
        self._from_ns = begins_ns + round(wanted.from_s * NS_PER_S)
        self._to_ns = None if wanted.to_s is None else begins_ns + round(wanted.to_s * NS_PER_S)
        self._instruments = SharedInstruments(moved, aliases, wanted.own_mmsi)
        self._readings = SharedReadings(moved, aliases)
        self.radar = SharedRadar(moved, wanted.one_turn_in)
        self._n_told = self.n_reading = 0
        self.first_ns: int | None = None
        self.last_ns: int | None = None

    def add(self, record: Recorded, writer: RecordingWriter) -> bool:
        """Write one message if it is wanted; False once the time asked for is over."""
        if self._to_ns is not None and record.received_ns > self._to_ns:
            return False
        if record.received_ns < self._from_ns:
            if record.kind in ("nmea", "bus", "signalk"):
                # Names of vessels come every few minutes: what was said before the cut is still known after it.
                self._instruments.line(record.link, record.data, record.received_ns)
            return True
        at_ns = self._moved.time(record.received_ns)
        if self.first_ns is None:
            self.first_ns = record.received_ns
            for link, sentence in self._instruments.static():
                _write_line(writer, sentence, at_ns, link)
        self.last_ns = record.received_ns
        if record.kind == "radar":
            if self._wanted.radar:
                for block in self.radar.block(record.data, record.received_ns):
                    writer.radar(block, at_ns, is_datagram=True)
        elif record.kind == "readings":
            self._n_told += 1
            if (self._n_told - 1) % self._wanted.one_turn_in == 0:
                self.n_reading += 1
                writer.reading(self._readings.line(line_in(record.data)), at_ns)
        elif record.kind == "eye":
            line = self._readings.eye(line_in(record.data))
            if line is not None:
                writer.eye(line, at_ns)
        elif record.kind == "answers":
            writer.answer(self._readings.answered(line_in(record.data)), at_ns)
        else:
            for sentence in self._instruments.line(record.link, record.data, record.received_ns):
                _write_line(writer, sentence, at_ns, record.link)
        return True


def _write_line(writer: RecordingWriter, sentence: str, at_ns: int, link: int) -> None:
    try:
        writer.nmea(sentence.encode("ascii") + b"\r\n", at_ns, link=link)
    except UnicodeEncodeError as problem:
        raise WireError(f"a sentence is not plain text: {sentence!r}") from problem
