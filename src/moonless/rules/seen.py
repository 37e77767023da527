"""What a watcher says he sees, read: ``red over white, two whites, flashing yellow``."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import cast, get_args

from moonless.errors import InputError
from moonless.rules.lights import Colour, Role

_ROLE_WORDS: dict[str, Role] = {
    "masthead": "masthead",
    "side": "side",
    "sidelight": "side",
    "stern": "stern",
    "sternlight": "stern",
    "towing": "towing",
    "allround": "all-round",
    "all-round": "all-round",
}
_USUAL: dict[Role, Colour] = {"masthead": "white", "stern": "white", "towing": "yellow"}
_FILLERS = {"light", "all", "round", "a", "an", "the", "fixed", "steady"}
_NUMBERS = {"one": 1, "two": 2, "three": 3, "four": 4, "1": 1, "2": 2, "3": 3, "4": 4}
_FLASHING = {"flashing", "blinking", "quick", "strobe"}


@dataclass(frozen=True, slots=True)
class SeenGroup:
    """Lights seen in one vertical line, top first, or one alone.  ``flashing`` holds for all of them."""

    colours: tuple[Colour, ...]
    role: Role | None = None
    flashing: bool = False
    one_lantern: bool = False  # a tricolour: what is seen of it comes from one place at the masthead


def parse_seen(text: str) -> tuple[SeenGroup, ...]:
    """Read ``"red over white, masthead, green"``.  Raises InputError naming the word that is not understood.

    A comma, "and", "with" or "plus" part groups; "over" or "above" stacks lights; "two white" are two lights apart.
    """
    groups: list[SeenGroup] = []
    for part in re.split(r"[,;+&]|\b(?:and|with|plus)\b", text.lower()):
        words = re.sub(r"\b(?:over|above)\b", " > ", part).split()
        if words:
            groups += _read_group(part.strip(), words)
    if not groups:
        raise InputError('no lights were named; write them as "red over white, green"')
    return tuple(groups)


def _read_group(part: str, words: list[str]) -> list[SeenGroup]:
    colours: list[Colour] = []
    role: Role | None = None
    times, flashing, stacked = 1, False, False
    for given in words:
        word = given if given in _ROLE_WORDS or given in get_args(Colour) else given.removesuffix("s")
        if word == ">":
            stacked = True
        elif word in get_args(Colour):
            colours.append(cast(Colour, word))
        elif word in ("tricolour", "tricolor"):
            return [SeenGroup((), None, one_lantern=True)]
        elif word in _ROLE_WORDS:
            role = _ROLE_WORDS[word]
        elif given in _NUMBERS:
            times = _NUMBERS[given]
        elif given in _FLASHING:
            flashing = True
        elif word not in _FILLERS and given not in _FILLERS:
            raise InputError(f"{given!r} is neither a colour ({', '.join(get_args(Colour))}) nor a light's name")
    if not colours:
        if role not in _USUAL:
            raise InputError(f"{part!r} names no colour")
        colours = [_USUAL[role]]
    if len(colours) > 1 and not stacked:
        raise InputError(f"{part!r}: put a comma between lights that stand apart, 'over' between lights in line")
    if times > 1 and len(colours) > 1:
        raise InputError(f"{part!r}: a number goes with one colour")
    one = SeenGroup(tuple(colours), role, flashing)
    return [one] * times if times > 1 else [replace(one)]
