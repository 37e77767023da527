"""Several sources of one thing: which one is followed, and why, in plain words.

The watch follows one source of a thing and never mixes two (see `intake`, which keeps these ranks):

- the source that the skipper has chosen, while it speaks;
- else a true heading before a compass; RMC or group 129029 before GGA before GLL before group 129025; what a server
  passes on last;
- of equals the first heard.  Another takes over when it has been silent for `TAKE_OVER_S`.

A *source* here is one talker on one link: one receiver says RMC and GGA, and that is no conflict.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from moonless.units import NS_PER_S
from moonless.wire.nmea_events import (
    AisSaid,
    ClockSaid,
    DepthLostSaid,
    DepthSaid,
    PoseSaid,
    Said,
    TargetPlaceSaid,
    TargetSaid,
    WindSaid,
)

What = Literal["radar", "position", "motion", "heading", "turn", "date", "depth", "wind", "ais", "targets"]

TAKE_OVER_S = 2.0
# A source not renewed for this long is not there any more.  AIS sends seldom.
GONE_S: Mapping[str, float] = {"ais": 180.0, "date": 15.0, "targets": 15.0}
GONE_ELSE_S = 6.0

# Of a bus: 129029 says its time and whether there is a fix, 129025 neither.  A server passes on what others say.
POSITION_RANK = {"RMC": 0, "129029": 0, "GGA": 1, "GLL": 2, "129025": 3, "SK": 4}
MOTION_RANK = {"RMC": 0, "129026": 0, "VTG": 1, "SK": 4}
DATE_RANK = {"RMC": 0, "129029": 0, "ZDA": 1, "126992": 1, "SK": 4}
# The kind of what a recorded polar set says of the boat.
POLAR_SET = "polar set"
# Chosen by the skipper: before every kind.
CHOSEN = -100
# Of these the watch follows one; of the rest it takes all.
FOLLOWED: tuple[What, ...] = ("radar", "position", "motion", "heading", "turn")
# What a skipper may choose the source of, and the words for it.
CHOOSABLE: tuple[What, ...] = ("position", "motion", "heading", "turn")
WORDS: Mapping[What, str] = {
    "radar": "radar video",
    "position": "position",
    "motion": "course and speed over ground",
    "heading": "heading",
    "turn": "rate of turn",
    "date": "date and time",
    "depth": "depth",
    "wind": "wind",
    "ais": "AIS",
    "targets": "another radar's targets",
}

Preferred = Mapping[str, tuple[str, str]]
"""What is chosen: thing -> (link, talker).  An empty talker: any on that link."""


@dataclass(frozen=True, slots=True)
class SentenceSource:
    """One thing that one kind of sentence of one talker on one link gives."""

    what: What
    link: str
    talker: str
    kind: str
    first_ns: int
    last_ns: int
    value: str  # the newest, in words; "" where there is nothing worth saying
    is_magnetic: bool = False

    def is_there(self, now_ns: int) -> bool:
        """Return whether it still comes."""
        return now_ns - self.last_ns <= GONE_S.get(self.what, GONE_ELSE_S) * NS_PER_S


@dataclass(frozen=True, slots=True)
class SourceChoice:
    """What becomes of the sources of one thing: one is taken, the others wait; ``why`` is one plain sentence."""

    what: What
    taken: SentenceSource
    waiting: tuple[SentenceSource, ...]  # of other sources, best first
    why: str

    @property
    def is_conflict(self) -> bool:
        """Return whether there is something to choose."""
        return bool(self.waiting)


def rank(what: str, kind: str, is_magnetic: bool, is_chosen: bool) -> int:
    """Return how good a source is; the least is followed."""
    base = {"position": POSITION_RANK, "motion": MOTION_RANK, "date": DATE_RANK}.get(what, {}).get(kind)
    if base is None:
        if what == "heading":
            base = int(is_magnetic or kind == POLAR_SET)
        else:
            base = 5 if what in ("position", "motion", "date") else 0
    return base + (CHOSEN if is_chosen else 0)


def is_chosen(what: str, link: str, talker: str, preferred: Preferred) -> bool:
    """Return whether the skipper has chosen this source."""
    wanted = preferred.get(what)
    return wanted is not None and wanted[0] == link and wanted[1] in ("", talker)


def choose_sources(sources: Iterable[SentenceSource], preferred: Preferred, now_ns: int) -> list[SourceChoice]:
    """Return, thing by thing, what is taken of the sources that are there now."""
    by_what: dict[What, dict[tuple[str, str], SentenceSource]] = {}
    for source in sources:
        if not source.is_there(now_ns):
            continue
        of_thing = by_what.setdefault(source.what, {})
        key = (source.link, source.talker)
        # The best sentence of a source speaks for it.
        if key not in of_thing or _order(source, preferred) < _order(of_thing[key], preferred):
            of_thing[key] = source
    out = []
    for what in WORDS:
        ranked = sorted(by_what.get(what, {}).values(), key=lambda source: _order(source, preferred))
        if ranked:
            out.append(SourceChoice(what, ranked[0], tuple(ranked[1:]), _why(ranked, preferred)))
    return out


def source_words(source: SentenceSource) -> str:
    """Return a source as people read it."""
    if source.kind.isdigit():
        said = f"group {source.kind} of device {source.talker}"
    elif source.kind == "SK":
        said = f"Signal K source {source.talker}" if source.talker else "Signal K"
    else:
        said = source.kind if not source.talker else f"{source.talker} {source.kind}"
    return f"{said} on {source.link}"


def _order(source: SentenceSource, preferred: Preferred) -> tuple[int, int, str]:
    chosen = is_chosen(source.what, source.link, source.talker, preferred)
    return rank(source.what, source.kind, source.is_magnetic, chosen), source.first_ns, source.link


def _why(ranked: list[SentenceSource], preferred: Preferred) -> str:
    first, *rest = ranked
    what = WORDS[first.what]
    if not rest:
        return f"the only {what} heard"
    if first.what not in FOLLOWED:
        return "all of them are used"
    count = "two" if len(ranked) == 2 else str(len(ranked))
    head = f"{count} say {what}: {source_words(first)} is followed, "
    if first.what == "radar":
        return f"{count} links carry radar video: choose one; the other is not read"
    if is_chosen(first.what, first.link, first.talker, preferred):
        why = "because you chose it"
    elif _order(first, preferred)[0] < _order(rest[0], preferred)[0]:
        if first.what == "heading" and rest[0].is_magnetic and not first.is_magnetic:
            why = "because a true heading goes before a compass"
        else:
            why = f"because {first.kind} goes before {rest[0].kind}"
    else:
        why = "because it was heard first"
    other = "the other takes" if len(rest) == 1 else "another takes"
    return f"{head}{why}; {other} over when it has been silent for {TAKE_OVER_S:g} seconds"


def whats_of(event: Said) -> set[What]:
    """Return what an event brings."""
    if isinstance(event, PoseSaid):
        pose, found = event.pose, set[What]()
        found |= {"position"} if pose.lat_deg is not None else set()
        found |= {"motion"} if pose.sog is not None else set()
        found |= {"heading"} if pose.heading_true_rad is not None else set()
        return found | ({"turn"} if pose.turn_rate is not None else set())
    for kinds, what in _BRINGS:
        if isinstance(event, kinds):
            return {what}
    return set()


_BRINGS: tuple[tuple[tuple[type[Said], ...], What], ...] = (
    ((ClockSaid,), "date"),
    ((DepthSaid, DepthLostSaid), "depth"),
    ((WindSaid,), "wind"),
    ((AisSaid,), "ais"),
    ((TargetSaid, TargetPlaceSaid), "targets"),
)
