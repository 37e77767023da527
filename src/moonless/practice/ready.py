"""What the skipper is ready for, as practice and never as a licence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from moonless.practice.progress import Mastery

CAUTION = (
    "This is practice on made pictures, and never a licence. It says what you answered here, not what you will see "
    "out there. Learn the radar by day, where every echo can be checked by eye; local rules and licensed practice "
    "come first."
)


@dataclass(frozen=True, slots=True)
class Level:
    """Something to try next, and the steps that it asks for."""

    to_try: str
    steps: tuple[str, ...]


_FIRST = ("rings", "boat_or_beacon", "not_charted", "hidden")
_SECOND = ("sea_or_float", "rain_or_land", "which_way", "pass_clear", "missing")
_THIRD = ("lying", "by_hand", "speed", "lights")
LEVELS: tuple[Level, ...] = (
    Level("reading the radar by day, under way, with somebody else who looks out", _FIRST),
    Level("a run by radar by day in a breeze, each echo checked by eye", (*_FIRST, *_SECOND)),
    Level("sitting at the radar by night beside a practised skipper", (*_FIRST, *_SECOND, *_THIRD)),
    Level(
        "a short night run in waters well known by day, with a practised person aboard",
        (*_FIRST, *_SECOND, *_THIRD, "find_place", "night_run"),
    ),
)


@dataclass(frozen=True, slots=True)
class Readiness:
    """A level, and what it still wants."""

    level: Level
    wants: tuple[str, ...]  # titles of the steps that are not held, or fade
    is_ready: bool


def readiness(state: Mapping[str, Mastery]) -> tuple[Readiness, ...]:
    """Return every level with what it wants; a step that was held and is due wants to be practised again."""
    out = []
    for level in LEVELS:
        wants = tuple(state[key].step.title for key in level.steps if state[key].word != "held")
        out.append(Readiness(level, wants, not wants))
    return tuple(out)
