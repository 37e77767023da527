"""Charted marks that are gone or moved, by what many runs said of each."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from moonless.frames import LocalFrame, geodesic
from moonless.memory.summary import MarkSeen
from moonless.memory.teaching.lessons import Lesson
from moonless.memory.teaching.weigh import share_low
from moonless.units import ns_to_utc

# A run has an opinion of a mark if it told it, or told it missing, on so many turns.
LEAST_TURNS = 3
LEAST_RUNS, LEAST_SHARE = 2, 0.4
# A buoy swings in a circle of 12 m and an echo's place is good to ten: further from its charted place it has moved.
MOVED_M = 40.0
# Further off the beam makes one echo of what stands side by side: so much more for each metre of range, a third of a
# small radar's beam.  Own figure.
MOVED_PER_M = 0.03
# What is told of: aids to navigation, as at the helm.  Piles and posts of a harbour come and go without a notice.
AIDS = ("BCN", "BOY", "LIT", "LIGHTS", "DAYMAR")
# Marks of the same name further apart than this are two; nameless ones, this.
SAME_NAME_M, SAME_PLACE_M = 600.0, 60.0
# Something that stands this near a mark that is gone, and that no chart has, is that mark.
MOVED_TO_M = 300.0
# A thing this near to where a mark now stands is the mark: as far as one thing's places may lie from it.
SAME_THING_M = 45.0


@dataclass(frozen=True, slots=True)
class MarkWord:
    """One run's word of one mark."""

    mark: MarkSeen
    run: str
    boat: str
    weight: int
    ends_ns: int


def find(words: list[MarkWord], things: list[Lesson]) -> tuple[list[Lesson], list[Lesson]]:
    """Return what is to be said of marks, and the things left that are not one of them."""
    out: list[Lesson] = []
    rest = list(things)
    for account in _accounts(words):
        told = _opinion(account)
        if told is None:
            continue
        if told.kind == "mark gone":
            near = [(off, t) for t in rest if (off := _off_m(told, t)) <= MOVED_TO_M]
            if near:
                off, thing = min(near, key=lambda pair: pair[0])
                rest.remove(thing)
                told = _moved(told, thing.lat_deg, thing.lon_deg, off, thing)
        else:
            # Told as the mark on some runs and as something uncharted on others, it is one thing all the same.
            for thing in [t for t in rest if _off_m(told, t) <= SAME_THING_M]:
                rest.remove(thing)
                told = replace(told, runs=tuple(sorted({*told.runs, *thing.runs})))
        out.append(told)
    return out, rest


def _off_m(one: Lesson, other: Lesson) -> float:
    return float(geodesic(one.lat_deg, one.lon_deg, other.lat_deg, other.lon_deg)[0])


def _accounts(words: list[MarkWord]) -> list[list[MarkWord]]:
    """Return the words mark by mark: by name, or by place where it has none."""
    groups: dict[tuple[str, str], list[list[MarkWord]]] = {}
    for word in sorted(words, key=lambda w: (w.mark.object, w.mark.name or "", w.run, w.mark.lat_deg, w.mark.lon_deg)):
        mark = word.mark
        if not mark.object.startswith(AIDS):
            continue
        same = groups.setdefault((mark.object, mark.name or ""), [])
        reach = SAME_NAME_M if mark.name else SAME_PLACE_M + (mark.offset_m or 0.0)
        for group in same:
            first = group[0].mark
            if float(geodesic(first.lat_deg, first.lon_deg, mark.lat_deg, mark.lon_deg)[0]) <= reach:
                group.append(word)
                break
        else:
            same.append([word])
    return [group for same in groups.values() for group in same]


def _opinion(words: list[MarkWord]) -> Lesson | None:
    there: dict[str, MarkWord] = {}
    gone: dict[str, MarkWord] = {}
    for run in sorted({w.run for w in words}):
        mine = [w for w in words if w.run == run]
        told, missed = sum(w.mark.told for w in mine), sum(w.mark.missed for w in mine)
        if max(told, missed) < LEAST_TURNS:
            continue
        if told >= missed:
            there[run] = max((w for w in mine if w.mark.told), key=lambda w: w.mark.told)
        else:
            gone[run] = max((w for w in mine if w.mark.missed), key=lambda w: w.mark.missed)
    moved = {run: w for run, w in there.items() if _is_off(w.mark)}
    says = {**there, **gone}
    for kind, those in (("mark gone", gone), ("mark moved", moved)):
        against = [w for run, w in says.items() if run not in those]
        if kind == "mark moved":
            against = [w for run, w in there.items() if run not in those]
        yes, no = sum(w.weight for w in those.values()), sum(w.weight for w in against)
        mean, low = share_low(yes, yes + no)
        if len(those) < LEAST_RUNS or low < LEAST_SHARE:
            continue
        return _proposal(kind, list(those.values()), len(those) + len(against), mean, low)
    return None


def _is_off(mark: MarkSeen) -> bool:
    if mark.offset_m is None or mark.range_m is None:
        return False
    return mark.offset_m > MOVED_M + MOVED_PER_M * mark.range_m


def _proposal(kind: str, those: list[MarkWord], looked: int, mean: float, low: float) -> Lesson:
    weight = np.array([w.weight for w in those], dtype=np.float64)
    lat = float(np.average([w.mark.lat_deg for w in those], weights=weight))
    lon = float(np.average([w.mark.lon_deg for w in those], weights=weight))
    east, north = LocalFrame(lat, lon).to_plane([w.mark.lat_deg for w in those], [w.mark.lon_deg for w in those])
    spread = math.sqrt(float(np.average(east**2 + north**2, weights=weight)) / 2.0)
    mark = those[0].mark
    called = mark.name or mark.object
    last = max(w.ends_ns for w in those)
    day = f"{ns_to_utc(last):%Y-%m-%d}"
    if kind == "mark gone":
        say = f"{called} was not there on {len(those)} of {looked} runs that looked, last on {day}."
        likely, p_show = "gone", round(float(np.mean([w.mark.p_if_there for w in those])), 3)
    else:
        off = float(np.average([w.mark.offset_m or 0.0 for w in those], weights=weight))
        say = f"{called} stands {off:.0f} m from its charted place: so on {len(those)} of {looked} runs that told it."
        likely, p_show = "moved", None
    return Lesson(
        "mark gone" if kind == "mark gone" else "mark moved", round(lat, 7), round(lon, 7), say, likely,
        round(spread / math.sqrt(len(those)) + 4.0, 1), round(spread, 1), min(w.ends_ns for w in those), last,
        tuple(sorted(w.run for w in those)), len({w.boat for w in those}), looked, round(mean, 3), round(low, 3),
        p_show, mark.object, mark.name,
    )  # fmt: skip


def _moved(gone: Lesson, lat: float, lon: float, off_m: float, thing: Lesson) -> Lesson:
    called = gone.name or gone.object
    return Lesson(
        "mark moved", lat, lon,
        f"{called} is gone from its charted place, and {off_m:.0f} m from it stands something that no chart has: most "
        f"likely it has moved.",
        "moved", thing.sigma_m, thing.spread_m, thing.first_ns, max(gone.last_ns, thing.last_ns),
        tuple(sorted({*gone.runs, *thing.runs})), max(gone.boats, thing.boats), max(gone.looked, thing.looked),
        min(gone.present, thing.present), min(gone.present_low, thing.present_low), thing.p_show,
        gone.object, gone.name,
    )  # fmt: skip
