"""Local knowledge: what has been seen and named here that no chart shows, where not to go, and notes.

Kept in a GeoPackage that any GIS can read and mend.  Rules of the file:

* a missing file is knowledge of nothing, and is made by the first addition;
* every change writes a new file beside the old one and puts it in its place, so the file is whole at any moment;
* times come from the caller, Unix nanoseconds UTC, and are kept to the millisecond;
* memory changes when the file has: a slow card holds up who writes, and nobody who reads from another thread;
* numbers once given are not given again while the file lives, so a number in a log keeps its meaning.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal, TypeVar

import numpy as np
import shapely

from moonless.chart.local_knowledge.file import (
    Contents,
    KeepOut,
    Note,
    Thing,
    Usual,
    UsualKind,
    read_contents,
    write_contents,
)
from moonless.errors import InputError
from moonless.frames import geodesic

__all__ = ["KeepOut", "Knowledge", "Note", "Thing", "Usual", "UsualKind"]

_Placed = TypeVar("_Placed", Thing, Note)
_Area = TypeVar("_Area", KeepOut, Usual)
_What = Literal["_things", "_keep_outs", "_notes", "_usual"]
_Entry = Thing | KeepOut | Note | Usual
_NS_PER_MS = 1_000_000


class Knowledge:
    """The local knowledge of one file, held in memory and written whole at each change."""

    def __init__(
        self,
        path: Path,
        things: Iterable[Thing] = (),
        keep_outs: Iterable[KeepOut] = (),
        notes: Iterable[Note] = (),
        usual: Iterable[Usual] = (),
        next_number: int = 1,
    ) -> None:
        self.path = path
        self._things = {thing.number: thing for thing in things}
        self._keep_outs = {area.number: area for area in keep_outs}
        self._notes = {note.number: note for note in notes}
        self._usual = {water.number: water for water in usual}
        given = (*self._things, *self._keep_outs, *self._notes, *self._usual)
        self._next = max([next_number, *(n + 1 for n in given)])

    @classmethod
    def open(cls, path: Path) -> Knowledge:
        """Return the knowledge kept in a file; none at all if there is no such file.

        Raises SourceError if the file is there but cannot be read: it is never overwritten unread.
        """
        if not path.exists():
            return cls(path)
        kept = read_contents(path)
        return cls(path, kept.things, kept.keep_outs, kept.notes, kept.usual, kept.next_number)

    @property
    def things(self) -> tuple[Thing, ...]:
        """Everything seen and named, in the order it was added."""
        return tuple(self._things.values())

    @property
    def keep_outs(self) -> tuple[KeepOut, ...]:
        """The areas not to be entered."""
        return tuple(self._keep_outs.values())

    @property
    def notes(self) -> tuple[Note, ...]:
        """The notes."""
        return tuple(self._notes.values())

    @property
    def usual(self) -> tuple[Usual, ...]:
        """The waters where boats usually anchor or run."""
        return tuple(self._usual.values())

    def add(
        self,
        lat_deg: float,
        lon_deg: float,
        words: str,
        *,
        seen_ns: int,
        kind: str = "other",
        confidence: float | None = None,
        note: str = "",
    ) -> Thing:
        """Add a thing seen at a place, write it, and return it with its number.

        Raises InputError for a place not on earth, no words, or a confidence outside 0..1.
        """
        _check_place(lat_deg, lon_deg)
        _check_words(words)
        _check_confidence(confidence)
        seen_ns = _to_ms(seen_ns)
        thing = Thing(self._next, float(lat_deg), float(lon_deg), words, kind, seen_ns, seen_ns, 1, confidence, note)
        self._put("_things", thing)
        return thing

    def seen_again(
        self,
        number: int,
        *,
        seen_ns: int,
        lat_deg: float | None = None,
        lon_deg: float | None = None,
        confidence: float | None = None,
    ) -> Thing:
        """Note that a thing was seen again, perhaps at a better place; ``confidence`` None leaves it as it was."""
        old = self._thing_numbered(number)
        _check_confidence(confidence)
        new = replace(
            old,
            lat_deg=old.lat_deg if lat_deg is None else float(lat_deg),
            lon_deg=old.lon_deg if lon_deg is None else float(lon_deg),
            first_seen_ns=min(old.first_seen_ns, _to_ms(seen_ns)),
            last_seen_ns=max(old.last_seen_ns, _to_ms(seen_ns)),
            times_seen=old.times_seen + 1,
            confidence=old.confidence if confidence is None else confidence,
        )
        _check_place(new.lat_deg, new.lon_deg)
        self._put("_things", new)
        return new

    def update(
        self,
        number: int,
        *,
        words: str | None = None,
        kind: str | None = None,
        confidence: float | None = None,
        note: str | None = None,
    ) -> Thing:
        """Change what is said of a thing; None leaves as it was."""
        old = self._thing_numbered(number)
        _check_confidence(confidence)
        if words is not None:
            _check_words(words)
        new = replace(
            old,
            words=old.words if words is None else words,
            kind=old.kind if kind is None else kind,
            confidence=old.confidence if confidence is None else confidence,
            note=old.note if note is None else note,
        )
        self._put("_things", new)
        return new

    def learned_again(
        self,
        number: int,
        *,
        lat_deg: float,
        lon_deg: float,
        words: str,
        first_seen_ns: int,
        last_seen_ns: int,
        times_seen: int,
        confidence: float,
        note: str,
    ) -> Thing:
        """Put a thing where many runs have it, with what they say of it; its kind stays."""
        old = self._thing_numbered(number)
        _check_place(lat_deg, lon_deg)
        _check_words(words)
        _check_confidence(confidence)
        new = Thing(
            number, float(lat_deg), float(lon_deg), words, old.kind, _to_ms(first_seen_ns), _to_ms(last_seen_ns),
            times_seen, confidence, note,
        )  # fmt: skip
        self._put("_things", new)
        return new

    def add_keep_out(self, outline_lonlat: shapely.Geometry, words: str, *, since_ns: int, note: str = "") -> KeepOut:
        """Add an area not to be entered, a polygon in (lon, lat) degrees.

        Raises InputError if it is not a valid polygon on earth.
        """
        _check_words(words)
        if not (
            isinstance(outline_lonlat, shapely.Polygon) and outline_lonlat.is_valid and not outline_lonlat.is_empty
        ):
            raise InputError("a keep-out area must be one polygon whose outline does not cross itself")
        west, south, east, north = outline_lonlat.bounds
        _check_place(south, west)
        _check_place(north, east)
        area = KeepOut(self._next, outline_lonlat, words, _to_ms(since_ns), note)
        self._put("_keep_outs", area)
        return area

    def add_note(self, lat_deg: float, lon_deg: float, words: str, *, written_ns: int, note: str = "") -> Note:
        """Add words about a place; ``note``: where they are from."""
        _check_place(lat_deg, lon_deg)
        _check_words(words)
        new = Note(self._next, float(lat_deg), float(lon_deg), words, _to_ms(written_ns), note)
        self._put("_notes", new)
        return new

    def put_usual(
        self,
        outline_lonlat: shapely.Geometry,
        kind: UsualKind,
        words: str,
        *,
        per_km2: float,
        seen_ns: int,
        note: str = "",
        number: int | None = None,
    ) -> Usual:
        """Add water where boats usually anchor or run; with ``number``, in the place of what bears it.

        Raises InputError if the outline is no area on earth, or the boats in a square kilometre are no number.
        """
        _check_words(words)
        if shapely.is_empty(outline_lonlat) or outline_lonlat.geom_type not in ("Polygon", "MultiPolygon"):
            raise InputError("usual water must be an area")
        west, south, east, north = outline_lonlat.bounds
        _check_place(south, west)
        _check_place(north, east)
        if not 0.0 <= per_km2 < float("inf"):
            raise InputError(f"{per_km2} boats in a square kilometre is no number of boats")
        if number is not None and number not in self._usual:
            raise InputError(f"local knowledge has no usual water numbered {number}")
        water = Usual(
            self._next if number is None else number, outline_lonlat, kind, words, float(per_km2), _to_ms(seen_ns), note
        )
        self._put("_usual", water)
        return water

    def remove(self, number: int) -> None:
        """Forget a thing, an area or a note.

        Raises InputError if nothing has that number.
        """
        kinds: tuple[_What, ...] = ("_things", "_keep_outs", "_notes", "_usual")
        for what in kinds:
            entries: dict[int, _Entry] = getattr(self, what)
            if number in entries:
                self._change(what, {k: v for k, v in entries.items() if k != number}, self._next)
                return
        raise InputError(f"local knowledge has nothing numbered {number}")

    def things_around(self, lat_deg: float, lon_deg: float, radius_m: float) -> tuple[Thing, ...]:
        """Return the things within a distance of a place, nearest first."""
        return _around(self.things, lat_deg, lon_deg, radius_m)

    def notes_around(self, lat_deg: float, lon_deg: float, radius_m: float) -> tuple[Note, ...]:
        """Return the notes within a distance of a place, nearest first."""
        return _around(self.notes, lat_deg, lon_deg, radius_m)

    def keep_outs_around(self, lat_deg: float, lon_deg: float, radius_m: float) -> tuple[KeepOut, ...]:
        """Return the areas any part of which lies within a distance of a place, nearest first."""
        return _areas_around(self.keep_outs, lat_deg, lon_deg, radius_m)

    def usual_around(self, lat_deg: float, lon_deg: float, radius_m: float) -> tuple[Usual, ...]:
        """Return the usual waters any part of which lies within a distance of a place, nearest first."""
        return _areas_around(self.usual, lat_deg, lon_deg, radius_m)

    def _thing_numbered(self, number: int) -> Thing:
        if number not in self._things:
            raise InputError(f"local knowledge has no thing numbered {number}")
        return self._things[number]

    def _put(self, what: _What, entry: _Entry) -> None:
        """Put an entry in."""
        self._change(what, {**getattr(self, what), entry.number: entry}, max(self._next, entry.number + 1))

    def _change(self, what: _What, entries: dict[int, _Entry], next_number: int) -> None:
        """Write what is to be known, then know it; what cannot be written changes nothing."""
        new: dict[str, Any] = {
            "_things": self._things, "_keep_outs": self._keep_outs, "_notes": self._notes, "_usual": self._usual
        }  # fmt: skip
        new[what] = entries
        things, keep_outs, notes, usual = (tuple(entry.values()) for entry in new.values())
        write_contents(self.path, Contents(things, keep_outs, notes, usual, next_number))
        setattr(self, what, entries)
        self._next = next_number


def _around(entries: Sequence[_Placed], lat_deg: float, lon_deg: float, radius_m: float) -> tuple[_Placed, ...]:
    if not entries:
        return ()
    lat = np.array([entry.lat_deg for entry in entries])
    lon = np.array([entry.lon_deg for entry in entries])
    distance_m, _ = geodesic(np.full(len(lat), lat_deg), np.full(len(lon), lon_deg), lat, lon)
    order = np.argsort(distance_m, kind="stable")
    return tuple(entries[i] for i in order.tolist() if distance_m[i] <= radius_m)


def _areas_around(areas: Sequence[_Area], lat_deg: float, lon_deg: float, radius_m: float) -> tuple[_Area, ...]:
    place = shapely.Point(lon_deg, lat_deg)
    found = []
    for area in areas:
        nearest = shapely.get_coordinates(shapely.shortest_line(area.outline_lonlat, place))[0]
        distance_m = float(geodesic(lat_deg, lon_deg, nearest[1], nearest[0])[0])
        if distance_m <= radius_m:
            found.append((distance_m, area.number, area))
    return tuple(area for _, _, area in sorted(found, key=lambda entry: entry[:2]))


def _check_place(lat_deg: float, lon_deg: float) -> None:
    if not (-90.0 <= lat_deg <= 90.0 and -180.0 <= lon_deg <= 180.0):
        raise InputError(f"latitude {lat_deg}, longitude {lon_deg} is not a place on earth")


def _check_words(words: str) -> None:
    if not words.strip():
        raise InputError("say in a word or two what it is; nothing was said")


def _check_confidence(confidence: float | None) -> None:
    if confidence is not None and not 0.0 <= confidence <= 1.0:
        raise InputError(f"confidence {confidence} must lie between 0 and 1")


def _to_ms(time_ns: int) -> int:
    """Return a time as the file can keep it."""
    return time_ns // _NS_PER_MS * _NS_PER_MS
