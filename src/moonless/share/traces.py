"""What a shared recording must not hold, gathered from the original, and looked for in what was written.

The written file is read with the same decoders as any recording, and by its bare texts beside; it is not taken on trust
that it was made anew.

- numbers of AIS stations, names, call signs: wherever they could stand
- texts: every field of a sentence with four letters or more, every text of a reading, every name of a link; and in what
  was written no text but our own words
- places: none within `NEAR_M` of one of the original's
- times, where they were moved: none within the original's span
- radar: no text and no number of the set it came from
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from moonless.share.aliases import OURS
from moonless.share.readings import LEFT_OUT, OBJECT, WORDS, line_in
from moonless.units import utc_to_ns
from moonless.watch.screen.transcribe import SIC, errors_in
from moonless.wire.ais import AisReport
from moonless.wire.cat240 import Cat240Decoder, Summary
from moonless.wire.instruments import InstrumentDecoder, kind_of
from moonless.wire.nmea_events import AisSaid, PoseSaid, Said, TargetPlaceSaid, TargetSaid
from moonless.wire.recording import Recorded, RecordingReader

NEAR_M = 100_000.0
# Numbers that are given out to radars.
_MOST_RADARS = 9
_EARTH_M = 6_371_000.0
_TEXT = re.compile(r"[A-Za-z]{4}")
# By itself, and no part of a figure.
_NUMBER = re.compile(r"(?<![\d.])\d{9}(?![\d.])")
_ISO = re.compile(r"\d{4}-\d\d-\d\dT[\d:.]+Z")
# Words of GeoJSON, and what stands for a text that was left out.
_OUR_WORDS = WORDS | {LEFT_OUT, "Polygon", "MultiPolygon", "Feature", "FeatureCollection", ""}
# A cell of this size of latitude and longitude, as words of the run's places; 0.001 degrees are a hundred metres.
_PLACES_PER_DEGREE = 1000


@dataclass(slots=True)
class Traces:
    """What an original holds that tells whose it is, where and when."""

    numbers: set[int] = field(default_factory=set)
    names: set[str] = field(default_factory=set)
    texts: set[str] = field(default_factory=set)
    places: set[tuple[int, int]] = field(default_factory=set)
    links: list[str] = field(default_factory=list)  # the numbers they bear in the recording
    first_ns: int = 2**63
    last_ns: int = 0

    def time(self, time_ns: int) -> None:
        """Note a moment."""
        self.first_ns, self.last_ns = min(self.first_ns, time_ns), max(self.last_ns, time_ns)

    def place(self, lat_deg: float | None, lon_deg: float | None) -> None:
        """Note a place."""
        if lat_deg is not None and lon_deg is not None:
            self.places.add((round(lat_deg * _PLACES_PER_DEGREE), round(lon_deg * _PLACES_PER_DEGREE)))

    def station(self, report: AisReport) -> None:
        """Note what an AIS message tells of who sends it."""
        self.numbers.add(report.mmsi)
        self.names |= {text for text in (report.name, report.call_sign) if text}
        self.place(report.lat_deg, report.lon_deg)

    def said(self, event: Said) -> None:
        """Note what an instrument told of places and of others."""
        if isinstance(event, AisSaid):
            self.station(event.report)
        elif isinstance(event, PoseSaid):
            self.place(event.pose.lat_deg, event.pose.lon_deg)
        elif isinstance(event, TargetPlaceSaid):
            self.place(event.lat_deg, event.lon_deg)
        if isinstance(event, TargetSaid | TargetPlaceSaid) and event.name:
            self.names.add(event.name)


def traces_of(path: Path) -> Traces:
    """Return what a recording holds.  Raises WireError if it is none."""
    found = Traces()
    reader = RecordingReader(path)
    instruments: dict[int, InstrumentDecoder] = {}
    for record in reader.only("nmea", "bus", "signalk", "readings", "eye", "answers"):
        found.time(record.received_ns)
        if record.kind in ("readings", "eye", "answers"):
            _of_reading(found, record.data)
            continue
        found.texts |= {text for text in _fields(record.data) if _TEXT.search(text)}
        for event in instruments.setdefault(record.link, InstrumentDecoder()).feed(record.data, record.received_ns):
            found.said(event)
    found.texts |= {text for text in reader.links.values() if _TEXT.search(text)}
    found.links = sorted(reader.links)
    return found


def left_in(path: Path, original: Traces, is_time_moved: bool) -> str | None:
    """Return in one line what of an original is left in what was written; None where nothing is."""
    search, reader = _Search(original), RecordingReader(path)
    for record in reader:
        found = search.record(record)
        if found is not None:
            return found
    written = search.written
    if (number := next(iter(written.numbers & original.numbers), None)) is not None:
        return f"a station's number is left: {number}"
    if name := next((n for n in written.names if not OURS.fullmatch(n) and not OURS.fullmatch(n.title())), None):
        return f"a name is left: {name!r}"
    if (text := next((t for t in reader.links.values() if not re.fullmatch(r"link \d+", t)), None)) is not None:
        return f"the name of a link is left: {text!r}"
    if not reader.is_whole:
        return "the file has no end: not all of it could be looked at"
    if is_time_moved and written.first_ns <= original.last_ns and written.last_ns >= original.first_ns:
        return "a time of the original is left"
    return _near(original, written)


class _Search:
    """Looks through what was written, message by message; ``written`` gathers what it holds itself."""

    def __init__(self, original: Traces) -> None:
        self.written = Traces()
        self._texts = {text.casefold() for text in original.texts | original.names}
        self._numbers = {f"{number:09d}" for number in original.numbers}
        self._radar, self._instruments = Cat240Decoder(), InstrumentDecoder()

    def record(self, record: Recorded) -> str | None:
        """Return in one line what is left in one message."""
        self.written.time(record.received_ns)
        if record.kind == "radar":
            return self._in_radar(record.data)
        if record.kind in ("bus", "signalk") or (record.kind == "nmea" and kind_of(record.data.strip()) != "nmea"):
            return "a message of another kind is left"
        if record.kind == "nmea":
            texts = list(_fields(record.data))
            for event in self._instruments.feed(record.data, record.received_ns):
                if event.is_timed:
                    self.written.time(event.time_ns)
                self.written.said(event)
        else:
            _of_reading(self.written, record.data)
            texts = [text for _, text in _leaves(line_in(record.data))]
            if (odd := next((text for text in texts if not _is_ours(text)), None)) is not None:
                return f"a text is left: {odd[:40]!r}"
        odd = next((text for text in texts if text.casefold() in self._texts and not _is_ours(text)), None)
        if odd is not None:
            return f"a text of the original is left: {odd[:40]!r}"
        said = set(_NUMBER.findall(record.data.decode("utf-8", "replace")))
        number = next(iter(said & self._numbers), None)
        return None if number is None else f"a station's number is left: {number}"

    def _in_radar(self, data: bytes) -> str | None:
        for event in self._radar.datagram(data):
            if isinstance(event, Summary) and errors_in(event.text) is None:
                return f"a text of the radar is left: {event.text[:40]!r}"
            if event.sac or (event.sic > _MOST_RADARS and event.sic != SIC):
                return f"the number of a radar is left: {event.sac}/{event.sic}"
        return None


def _near(original: Traces, written: Traces) -> str | None:
    if not original.places or not written.places:
        return None
    theirs, ours = (np.array(sorted(places), dtype=np.float64) / _PLACES_PER_DEGREE for places in
                    (original.places, written.places))  # fmt: skip
    away, _ = cKDTree(_xyz(theirs)).query(_xyz(ours), distance_upper_bound=NEAR_M)
    near = np.flatnonzero(np.isfinite(away))
    if not len(near):
        return None
    lat, lon = ours[near[0]]
    return f"a place of the original is left: {lat:.3f}, {lon:.3f}"


def _xyz(degrees: NDArray[np.float64]) -> NDArray[np.float64]:
    phi, lam = np.radians(degrees[:, 0]), np.radians(degrees[:, 1])
    return _EARTH_M * np.column_stack([np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)])


def _is_ours(text: str) -> bool:
    return text in _OUR_WORDS or bool(OURS.fullmatch(text) or _ISO.fullmatch(text) or OBJECT.fullmatch(text))


def _of_reading(found: Traces, data: bytes) -> None:
    line = line_in(data)
    found.time(utc_to_ns(datetime.fromisoformat(line["time"])))
    for key, text in _leaves(line):
        if key not in ("time", "since") and text not in _OUR_WORDS and not OBJECT.fullmatch(text) and len(text) > 1:
            found.texts.add(text)
    for thing in (line.get("own") or {}, *(line.get("echoes") or ()), *(line.get("missing") or ()), line):
        found.place(thing.get("lat"), thing.get("lon"))
        ais = thing.get("ais")
        if isinstance(ais, dict):
            found.numbers.add(int(ais["mmsi"]))
            found.names |= {ais["name"]} - {None}
    hidden = [one["geometry"] for one in (line.get("hidden") or {}).get("features") or ()]
    for shape in (line.get("seeing_line"), *hidden):
        for lat, lon in _corners(shape):
            found.place(lat, lon)


def _corners(shape: Any) -> Iterator[tuple[float, float]]:
    for ring in (shape or {}).get("coordinates") or ():
        for corner in ring:
            if len(corner) == 2 and isinstance(corner[0], float):
                yield corner[1], corner[0]


def _leaves(value: object, key: str = "") -> Iterator[tuple[str, str]]:
    """Yield (key, text) of every text in a JSON value."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from _leaves(inner, name)
    elif isinstance(value, list):
        for inner in value:
            yield from _leaves(inner, key)
    elif isinstance(value, str):
        yield key, value


def _fields(data: bytes) -> Iterator[str]:
    """Yield the fields of a line but for the first, which names the sentence; the texts of one in JSON."""
    text = data.decode("ascii", "replace").strip()
    if text.startswith("{"):
        try:
            yield from (leaf for _, leaf in _leaves(json.loads(text)))
        except ValueError:
            yield text
        return
    yield from (part for part in re.split(r"[,*\\]", text)[1:] if part)
