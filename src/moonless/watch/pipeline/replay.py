"""Runs played again: from a recording, or from a radar file and NMEA files that carry no times of receipt.

Rules of this file:
- A recording is fed as it was received.
- Files are merged by the times they carry themselves: the time of day in the radar's records; in NMEA the tag blocks,
  the date and time of RMC and ZDA, the time of GGA and GLL; of a bus the times its logger wrote, else groups 126992 and
  129029; the time stamps of Signal K.  A sentence without a time lies between its timed
  neighbours, evenly spread; file order is kept.
- Where no file says the day, it is taken from the file's own date, and that is said in `notes`.
- A radar file whose records carry no time is spread evenly over the time of the NMEA beside it.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, NamedTuple

from moonless.errors import InputError, TruncatedRecord, WireError
from moonless.files import read_small
from moonless.scan.pose import PoseSample
from moonless.scan.read import is_polar, open_polar
from moonless.scan.types import AntennaAngle, Spoke
from moonless.units import NS_PER_S
from moonless.watch.pipeline.chain import Chain
from moonless.watch.types import Turn
from moonless.wire.cat240 import CATEGORY, Cat240Decoder, Summary, Video
from moonless.wire.instruments import InstrumentDecoder, kind_of
from moonless.wire.n2k.frames import frame_of
from moonless.wire.nmea_events import AisSaid
from moonless.wire.recording import RecordingReader
from moonless.wire.sentences import SentenceReader
from moonless.wire.signalk.values import stamp_of

_READ_BYTES = 1 << 20
# Sentences after the last timed one, or before the first, are a burst of this step.
_BURST_NS = 10_000_000
# Untimed sentences are spread over at most this long: a gap between fixes is no reason to place them in it.
_SPREAD_NS = NS_PER_S
_FOR_EVER_NS = 2**63 - 1
# Spokes of a polar set handed on together: a twentieth of a turn or so.
_SPOKES_AT_ONCE = 32
_FROM = {"bow": "the bow", "true": "true north"}
# Records of a radar file follow one another within this; a pause in the recording is longer, and then so many agree.
FOLLOWS_S, AGREE_BLOCKS = 10.0, 40
# Three days of a full line of 38 400 baud; all of it is held at once.  Own choice.
MOST_LOG_BYTES = 1_000_000_000
# A radar file that begins this long outside its NMEA has another clock, or another night.
APART_S = 120.0


class Fed(NamedTuple):
    """One piece of what came in."""

    time_ns: int
    kind: Literal["radar", "nmea", "spokes"]
    data: bytes
    link: str
    is_datagram: bool
    done: float  # share of the whole, 0 to 1
    spokes: Sequence[Spoke] = ()
    poses: Sequence[PoseSample] = ()


@dataclass(slots=True)
class Replay:
    """What is to be played again.  `feeds` yields it in order of time; ``notes`` tells what had to be assumed."""

    radar: tuple[Path, ...] = ()
    nmea: tuple[Path, ...] = ()
    recording: Path | None = None
    angle_from: AntennaAngle = "bow"  # what the boat file says; a polar set says it itself and must agree
    until_damage: bool = False  # a radar file that breaks off in a block is played to there, instead of refused
    from_ns: int | None = None  # what came in before is passed over
    notes: list[str] = field(default_factory=list)
    _n_odd: int = 0

    def feeds(self) -> Iterator[Fed]:
        """Yield what came in.

        Raises
        ------
        TruncatedRecord  At the end of a radar file that breaks off inside a block, unless ``until_damage``.
        WireError  If a file holds nothing of its kind.
        """
        if self.recording is not None:
            yield from self._recorded(self.recording)
            return
        if not self.radar and not self.nmea:
            raise InputError("nothing to replay: give a recording, or a radar file and NMEA files")
        lines = [self._lines(path) for path in self.nmea]
        first_ns = min((line.time_ns for part in lines for line in part), default=None)
        last_ns = max((line.time_ns for part in lines for line in part), default=None)
        span = None if first_ns is None or last_ns is None else (first_ns, last_ns)
        sources: list[Iterator[Fed]] = [iter(part) for part in lines]
        sources += [self._polar(path) if is_polar(path) else self._blocks(path, span) for path in self.radar]
        merged = heapq.merge(*sources, key=lambda fed: fed.time_ns)
        yield from (fed for fed in merged if self.from_ns is None or fed.time_ns >= self.from_ns)

    # --- recordings ------------------------------------------------------------------------------------------------

    def _recorded(self, path: Path) -> Iterator[Fed]:
        reader = RecordingReader(path)
        size, got = max(path.stat().st_size, 1), 0
        within = None if self.from_ns is None else (self.from_ns, _FOR_EVER_NS)
        for record in reader.only("radar", "nmea", "bus", "signalk", within=within):
            got += len(record.data)
            # What is on the disk is packed and indexed; near enough to show how far it is.
            done = min(got / size, 1.0)
            is_radar = record.kind == "radar"
            kind: Literal["radar", "nmea"] = "radar" if is_radar else "nmea"
            yield Fed(record.received_ns, kind, record.data, str(record.link), is_radar, done)
        if not reader.is_whole:
            self.notes.append(f"{path} has no end, as after a crash; it was read as far as it goes")

    # --- radar files -----------------------------------------------------------------------------------------------

    def _blocks(self, path: Path, span: tuple[int, int] | None) -> Iterator[Fed]:
        even: tuple[int, float] | None = None  # when there is no time in the records: from when, and step
        reference_ns = span[0] if span is not None else None
        last_ns: int | None = None
        at = 0
        odd: list[tuple[int, Fed]] = []  # blocks whose time does not follow on, until enough of them agree
        for block, video, done in self._read_blocks(path):
            at += 1
            if video is not None and video.time_of_day_s is not None:
                if reference_ns is None:
                    reference_ns = _file_time(path)
                    self.notes.append(f"{path}: no date is said; the file's own is taken")
                # Near the record before: a day is crossed without a jump.
                time_ns = video.time_ns(last_ns if last_ns is not None else reference_ns)
                if last_ns is None:
                    if span is not None:
                        self._note_apart(path, time_ns, span)
                elif abs(time_ns - last_ns) > FOLLOWS_S * NS_PER_S:
                    if odd and abs(time_ns - odd[-1][0]) > FOLLOWS_S * NS_PER_S:
                        yield from self._placed_by_neighbour(odd)
                    odd.append((time_ns, Fed(last_ns, "radar", block, "radar", False, done)))
                    if len(odd) >= AGREE_BLOCKS:
                        # A pause in the recording: the time line goes on from there.
                        yield from (fed._replace(time_ns=own_ns) for own_ns, fed in odd)
                        last_ns, odd = time_ns, []
                    continue
                last_ns = time_ns
            elif last_ns is None:
                if even is None:
                    even = self._even(path, span)
                yield Fed(even[0] + round(at * even[1]), "radar", block, "radar", False, done)
                continue
            yield from self._placed_by_neighbour(odd)
            yield Fed(last_ns, "radar", block, "radar", False, done)
        yield from self._placed_by_neighbour(odd)
        if self._n_odd:
            self.notes.append(
                f"{path}: {self._n_odd} records whose time of day cannot be; they are placed by their neighbours"
            )

    def _placed_by_neighbour(self, odd: list[tuple[int, Fed]]) -> Iterator[Fed]:
        """Yield blocks whose own times were wrong, at the time of the last one that was right."""
        self._n_odd += len(odd)
        yield from (fed for _, fed in odd)
        odd.clear()

    def _polar(self, path: Path) -> Iterator[Fed]:
        """Yield a recorded polar set, some spokes at a time."""
        run = open_polar(path)
        if run.angle_from != self.angle_from:
            raise InputError(
                f"{path} counts its angles from {_FROM[run.angle_from]}; "
                f'say so in the boat file: angle_from = "{run.angle_from}" under [radar]'
            )
        n_turn, told = max(len(run.sources), 1), 0
        for number, (turn, spokes) in enumerate(run.turns_and_spokes()):
            poses = turn.poses
            for at in range(0, len(spokes), _SPOKES_AT_ONCE):
                part = spokes[at : at + _SPOKES_AT_ONCE]
                done = min((number + at / len(spokes)) / n_turn, 1.0)
                until_ns = part[-1].time_ns
                yield Fed(
                    until_ns, "spokes", b"", "radar", False, done, part, [p for p in poses if p.time_ns <= until_ns]
                )
                poses = tuple(p for p in poses if p.time_ns > until_ns)
            self.notes += run.notes[told:]
            told = len(run.notes)

    def _note_apart(self, path: Path, begins_ns: int, span: tuple[int, int]) -> None:
        apart_s = max(span[0] - begins_ns, begins_ns - span[1]) / NS_PER_S
        if apart_s > APART_S:
            side = "before" if begins_ns < span[0] else "after"
            self.notes.append(
                f"{path} begins {apart_s / 60.0:.0f} minutes {side} the NMEA beside it: is its clock set to UTC?"
            )

    def _even(self, path: Path, span: tuple[int, int] | None) -> tuple[int, float]:
        if span is None:
            raise WireError(
                f"{path}: its records carry no time of day, and there is no NMEA beside it to say when it was; "
                f"replay it with its NMEA file"
            )
        n_block = sum(1 for _ in self._read_blocks(path, quiet=True))
        self.notes.append(f"{path}: no time of day in its records; they are spread evenly over the NMEA beside it")
        return span[0], (span[1] - span[0]) / max(n_block, 1)

    def _read_blocks(self, path: Path, quiet: bool = False) -> Iterator[tuple[bytes, Video | None, float]]:
        blocks: list[bytes] = []
        decoder = Cat240Decoder(on_block=blocks.append)
        size = max(_size(path), 1)
        got = 0
        with path.open("rb") as file:
            while data := file.read(_READ_BYTES):
                got += len(data)
                decoder.feed(data)
                for block in blocks:
                    yield block, _first_video(block), got / size
                blocks.clear()
        _, unfinished = decoder.finish()
        for block in blocks:
            yield block, _first_video(block), 1.0
        if quiet:
            return
        counts = decoder.counts
        begins_as_block = unfinished is not None and unfinished.offset == 0 and _first_octet(path) == CATEGORY
        if counts.blocks == 0 and not begins_as_block:
            raise WireError(f"{path} holds no ASTERIX category 240 block")
        if counts.other_categories:
            others = ", ".join(f"{n} of category {c}" for c, n in sorted(counts.other_categories.items()))
            self.notes.append(f"{path}: blocks passed over: {others}")
        if counts.damaged:
            self.notes.append(f"{path}: {counts.damaged} damaged blocks, {counts.skipped_bytes} bytes passed over")
        if counts.unknown_compression:
            self.notes.append(f"{path}: {counts.unknown_compression} blocks are compressed in a way that is not known")
        if unfinished is not None:
            problem = TruncatedRecord(path, *unfinished)
            if not self.until_damage:
                raise problem
            self.notes.append(str(problem))

    # --- NMEA files ------------------------------------------------------------------------------------------------

    def _lines(self, path: Path) -> list[Fed]:
        """Return a file's lines with their times; see the rules of this file."""
        _size(path)
        lines = [line for line in read_small(path, MOST_LOG_BYTES).replace(b"\r", b"\n").split(b"\n") if line.strip()]
        times = _own_times(lines, _file_time(path))
        known = [(i, t) for i, (t, _) in enumerate(times) if t is not None]
        if not known:
            counts = SentenceReader()
            if not any(counts.line(line) or kind_of(line) != "nmea" for line in lines):
                raise WireError(
                    f"{path} holds no NMEA 0183 sentence with a right checksum, no frame of a bus, no Signal K"
                )
            raise WireError(
                f"{path}: no line in it says a time (RMC, ZDA, GGA, GLL or tag blocks; frames with their time, "
                f"groups 126992 or 129029; time stamps), so it has no place"
            )
        if not any(is_dated for _, is_dated in times):
            self.notes.append(f"{path}: no date is said; the file's own is taken")
        filled = _spread([t for t, _ in times])
        n_line = len(lines)
        return [
            Fed(time_ns, "nmea", line + b"\r\n", str(path), False, (i + 1) / n_line)
            for i, (line, time_ns) in enumerate(zip(lines, filled, strict=True))
        ]


def play(chain: Chain, replay: Replay) -> Iterator[tuple[Turn, float]]:
    """Feed a replay to a chain; yield each turn and how far it is, 0 to 1."""
    done = 0.0
    for fed in replay.feeds():
        # Of several sources the one behind is told: the bar never runs ahead of the work.
        done = fed.done if fed.kind != "nmea" or not replay.radar else done
        if fed.kind == "spokes":
            turns = chain.feed_spokes(fed.spokes, fed.poses)
        elif fed.kind == "radar":
            turns = chain.feed_radar(fed.data, fed.time_ns, is_datagram=fed.is_datagram)
        else:
            turns = chain.feed_nmea(fed.data, fed.time_ns, link=fed.link)
        for turn in turns:
            yield turn, done
    for turn in chain.finish():
        yield turn, 1.0


def _first_video(block: bytes) -> Video | None:
    found = Cat240Decoder().datagram(block)
    return next((event for event in found if isinstance(event, Video) and not isinstance(event, Summary)), None)


def _own_times(lines: list[bytes], file_ns: int) -> list[tuple[int | None, bool]]:
    """Return for each line (its own time or None, whether it says the date)."""
    # A time of day before the first date lies near the first date; so the first date is looked for beforehand.
    reference = file_ns
    ahead = _Times(file_ns)
    for line in lines:
        time_ns, is_dated = ahead.of(line)
        if time_ns is not None and is_dated:
            reference = time_ns
            break
    times = _Times(reference)
    return [times.of(line) for line in lines]


class _Times:
    """Tells the time that a line says itself: its writer's (tag block, time stamp) before its instrument's."""

    def __init__(self, reference_ns: int) -> None:
        self._reference_ns = reference_ns
        self._decoder = InstrumentDecoder()

    def of(self, line: bytes) -> tuple[int | None, bool]:
        """Return (its time or None, whether it says the date)."""
        time_ns, is_dated = self._stamped(line), True
        if time_ns is None:
            time_ns, is_dated = self._said(line)
        if time_ns is not None:
            self._reference_ns = time_ns
        return time_ns, is_dated and time_ns is not None

    def _stamped(self, line: bytes) -> int | None:
        if line[:1] == b"{":
            return stamp_of(line)
        if line[:1] == b"\\":
            for sentence in self._decoder.nmea.reader.line(line):
                if sentence.tag is not None and sentence.tag.time_ns is not None:
                    return sentence.tag.time_ns
        frame = None if line[:1] in (b"$", b"!", b"\\") else frame_of(line)
        return None if frame is None else frame.time_ns

    def _said(self, line: bytes) -> tuple[int | None, bool]:
        time_ns, is_dated = None, False
        for event in self._decoder.line(line, self._reference_ns):
            if event.is_timed and not isinstance(event, AisSaid):
                time_ns = event.time_ns
                is_dated = is_dated or event.kind in _DATED
        return time_ns, is_dated


_DATED = frozenset({"RMC", "ZDA", "126992", "129029"})


def _spread(times: list[int | None]) -> list[int]:
    """Return a time for every line, never going back: untimed ones lie evenly before the next timed one."""
    known = [i for i, t in enumerate(times) if t is not None]
    out: list[int] = [0] * len(times)
    first, last = known[0], known[-1]
    for i in range(first):
        out[i] = (times[first] or 0) - (first - i) * _BURST_NS
    for left, right in zip(known, [*known[1:], None], strict=True):
        start = times[left] or 0
        out[left] = start
        if right is None:
            for i in range(last + 1, len(times)):
                out[i] = start + (i - last) * _BURST_NS
            break
        end = times[right] or 0
        n_between = right - left - 1
        step = min(max(end - start, 0), _SPREAD_NS) / (n_between + 1)
        for k in range(1, n_between + 1):
            out[left + k] = start + round(k * step)
    return out


def _first_octet(path: Path) -> int:
    with path.open("rb") as file:
        return (file.read(1) or b"\0")[0]


def _size(path: Path) -> int:
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder; give a file")
        return path.stat().st_size
    except OSError as problem:
        raise InputError(f"{path} cannot be read: {problem.strerror}") from problem


def _file_time(path: Path) -> int:
    return path.stat().st_mtime_ns
