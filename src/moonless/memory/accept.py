"""What the skipper accepts of the lessons, put into local knowledge.

Rules of this file:
- Nothing goes there by itself.
- Each entry says which runs it rests on.  Accepting the same thing again brings the entry up to date, and makes no
  second one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from moonless.chart.local_knowledge.knowledge import Knowledge
from moonless.errors import InputError
from moonless.frames import geodesic
from moonless.memory.summary import Run
from moonless.memory.teaching.lessons import Lesson, Lessons

FROM_RUNS = "learned from runs"
# An entry that was learned and lies this near is the same one.
SAME_M = 40.0
# Sources named in a note; the rest are counted.
_NAMED = 6
_KIND = {"thing": "learned", "mark moved": "mark", "anchorage": "anchorage", "mark gone": "mark"}


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
    for one in proposals:
        if one.kind in ("thing", "mark moved"):
            is_new = _put_thing(knowledge, one, runs)
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


def _put_note(knowledge: Knowledge, one: Lesson, runs: Mapping[str, Run]) -> bool:
    words = f"{one.say} {trace(one, runs)}"
    for note in knowledge.notes_around(one.lat_deg, one.lon_deg, max(SAME_M, one.sigma_m)):
        if FROM_RUNS in note.words and note.words.split()[:2] == one.say.split()[:2]:
            knowledge.remove(note.number)
            knowledge.add_note(one.lat_deg, one.lon_deg, words, written_ns=one.last_ns)
            return False
    knowledge.add_note(one.lat_deg, one.lon_deg, words, written_ns=one.last_ns)
    return True


def trace(one: Lesson, runs: Mapping[str, Run]) -> str:
    """Return which runs a proposal rests on, in words."""
    sources = sorted({runs[number].source for number in one.runs if number in runs})
    named = ", ".join(sources[:_NAMED])
    more = f" and {len(sources) - _NAMED} more" if len(sources) > _NAMED else ""
    return f"{FROM_RUNS} of {one.boats} boat{'s' if one.boats > 1 else ''}: {named}{more}"
