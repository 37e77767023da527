"""The smallest changes of course or speed that keep everything off, while something comes inside its keep-off."""

from __future__ import annotations

from dataclasses import dataclass

from moonless.reading.collision.held_against import LEAST_CONFIDENCE, HeldAgainst
from moonless.reading.collision.roles import MEET_S
from moonless.reading.collision.trial import Tried, smallest_that_clear

# A still thing counts this soon.  Own figure.
STILL_S = 240.0


@dataclass(frozen=True, slots=True)
class Clearing:
    """What comes inside its keep-off, and the smallest changes that would keep it off."""

    keep_off_m: float
    threats: tuple[int, ...]  # contacts, soonest first
    course_rad: float  # over ground, now
    turn: Tried | None
    slow: Tried | None
    refused: tuple[Tried, ...]  # turns as small that would clear


def clearing_changes(turn: HeldAgainst) -> Clearing | None:
    """Return the smallest changes that clear; None while nothing comes inside its keep-off, or it cannot be said."""
    if turn.way is None:
        return None
    threats = _threats(turn)
    if not threats:
        return None
    keep_off = turn.boat.skipper.keep_off_m
    found = smallest_that_clear(*turn.way, turn.movers()[0], keep_off, turn.sight, 0.0, turn.refuses)
    return Clearing(keep_off, threats, turn.way[0], found.turn, found.slow, found.refused)


def _threats(turn: HeldAgainst) -> tuple[int, ...]:
    soon = {"vessel": MEET_S, "uncharted": STILL_S}
    threats = []
    for one in turn.passings:
        if one.cpa_m is None or one.tcpa_s is None or one.contact.confidence < LEAST_CONFIDENCE or one.tcpa_s <= 0.0:
            continue
        soon_s = soon.get(one.contact.kind, 0.0)
        if one.cpa_m < turn.keep_off_of(one.contact.id) and one.tcpa_s <= soon_s:
            threats.append((one.tcpa_s, one.contact.id))
    return tuple(echo for _, echo in sorted(threats, key=lambda threat: threat[0]))
