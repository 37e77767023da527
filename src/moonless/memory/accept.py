"""What the skipper accepts of the lessons, put into local knowledge.

Rules of this file:
- Nothing goes there by itself.
- Each entry says which runs it rests on.  Accepting the same thing again brings the entry up to date, and makes no
  second one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import shapely

from moonless.chart.local_knowledge.knowledge import Knowledge, UsualKind
from moonless.errors import InputError
from moonless.frames import geodesic
from moonless.memory.outline import outline_of, per_km2
from moonless.memory.summary import Run
from moonless.memory.teaching.lessons import Lesson, Lessons

FROM_RUNS = "learned from runs"
# An entry that was learned and lies this near is the same one.
SAME_M = 40.0
# Sources named in a note; the rest are counted.
_NAMED = 6
_KIND = {"thing": "learned", "mark moved": "mark"}
_USUAL: dict[str, tuple[UsualKind, str]] = {
    "anchorage": ("anchorage", "boats anchor here"),
    "way": ("way", "vessels usually run here"),
}


def chosen(lessons: Lessons, asked: str) -> tuple[Lesson, ...]:
    """Return the proposals asked for: "all", or numbers as the listing gives them, with commas between.

    Raises InputError for what is not a number of the listing.
    """
    if asked.strip().lower() == "all":
        return lessons.proposals
    out = []
    for word in asked.split(","):
        if not word.strip().isdigit() or not 1 <= int(word) <= len(lessons.proposals):
            raise InputError(
                f"--accept {word.strip()!r}: give numbers of the listing, 1 to {len(lessons.proposals)}, or all"
                if lessons.proposals
                else f"--accept {word.strip()!r}: nothing is proposed yet"
            )
        out.append(lessons.proposals[int(word) - 1])
    return tuple(dict.fromkeys(out))


def accept(knowledge: Knowledge, proposals: Sequence[Lesson], runs: Mapping[str, Run]) -> tuple[int, int]:
    """Put proposals into local knowledge; return how many entries are new and how many were brought up to date."""
    n_new = n_old = 0
    put: set[int] = set()
    for one in proposals:
        if one.kind in ("thing", "mark moved"):
            is_new = _put_thing(knowledge, one, runs)
        elif one.kind in _USUAL:
            is_new = _put_usual(knowledge, one, runs, put)
        else:
            is_new = _put_note(knowledge, one, runs)
        n_new, n_old = n_new + is_new, n_old + (not is_new)
    return n_new, n_old


def _put_thing(knowledge: Knowledge, one: Lesson, runs: Mapping[str, Run]) -> bool:
    words = one.likely if one.kind == "thing" else f"{one.name or one.object}, moved from its charted place"
    note = trace(one, runs)
    for thing in knowledge.things:
        off_m = float(geodesic(thing.lat_deg, thing.lon_deg, one.lat_deg, one.lon_deg)[0])
        if off_m > SAME_M:
            continue
        # What the skipper has named keeps its words; what was learned before takes the new ones.
        mine = FROM_RUNS in thing.note
        knowledge.learned_again(
            thing.number, lat_deg=one.lat_deg, lon_deg=one.lon_deg, words=words if mine else thing.words,
            first_seen_ns=one.first_ns, last_seen_ns=one.last_ns, times_seen=len(one.runs), confidence=one.present,
            note=note if mine else " ".join([thing.note.split(f" {FROM_RUNS}")[0], note]).strip(),
        )  # fmt: skip
        return False
    thing = knowledge.add(
        one.lat_deg, one.lon_deg, words, seen_ns=one.last_ns, kind=_KIND[one.kind], confidence=one.present, note=note
    )
    knowledge.learned_again(
        thing.number, lat_deg=one.lat_deg, lon_deg=one.lon_deg, words=words, first_seen_ns=one.first_ns,
        last_seen_ns=one.last_ns, times_seen=len(one.runs), confidence=one.present, note=note,
    )  # fmt: skip
    return True


def _put_usual(knowledge: Knowledge, one: Lesson, runs: Mapping[str, Run], put: set[int]) -> bool:
    """Put an anchorage or a way in, in the place of what was learned of the same water before.

    ``put``: numbers of what this accepting has put in already; they are not the same water, however near.
    """
    kind, words = _USUAL[one.kind]
    shape = outline_of(one)
    here = shape if one.kind == "way" else shapely.Point(one.lon_deg, one.lat_deg)
    old = [
        water.number
        for water in knowledge.usual
        if water.number not in put
        and water.kind == kind
        and FROM_RUNS in water.note
        and shapely.intersects(water.outline_lonlat, here)
    ]
    for number in old[1:]:
        knowledge.remove(number)
    new = knowledge.put_usual(
        shape, kind, words, per_km2=per_km2(one), seen_ns=one.last_ns, note=f"{one.say} {trace(one, runs)}",
        number=old[0] if old else None,
    )  # fmt: skip
    put.add(new.number)
    return not old


def _put_note(knowledge: Knowledge, one: Lesson, runs: Mapping[str, Run]) -> bool:
    old = [
        note
        for note in knowledge.notes_around(one.lat_deg, one.lon_deg, max(SAME_M, one.sigma_m))
        # Before notes had a word of where they are from, it stood in them.
        if FROM_RUNS in note.note + note.words and note.words.split()[:2] == one.say.split()[:2]
    ]
    for note in old:
        knowledge.remove(note.number)
    knowledge.add_note(one.lat_deg, one.lon_deg, one.say, written_ns=one.last_ns, note=trace(one, runs))
    return not old


def trace(one: Lesson, runs: Mapping[str, Run]) -> str:
    """Return which runs a proposal rests on, in words."""
    sources = sorted({runs[number].source for number in one.runs if number in runs})
    named = ", ".join(sources[:_NAMED])
    more = f" and {len(sources) - _NAMED} more" if len(sources) > _NAMED else ""
    return f"{FROM_RUNS} of {one.boats} boat{'s' if one.boats > 1 else ''}: {named}{more}"
