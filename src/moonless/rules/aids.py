"""Lights that no vessel shows: what a single light alone may mark.

Source: the IALA Maritime Buoyage System (regions A and B), from memory; the chart says what stands there.
"""

from __future__ import annotations

from typing import Literal

from moonless.rules.lights import Colour

AidKind = Literal["aid to navigation", "fixed light"]
Region = Literal["A", "B"]

_LATERAL: dict[Region, dict[Colour, str]] = {
    "A": {"red": "port-hand", "green": "starboard-hand"},
    "B": {"red": "starboard-hand", "green": "port-hand"},
}
_BY_COLOUR: dict[Colour, str] = {
    "yellow": "a special mark",
    "white": "a cardinal mark (quick or very quick), an isolated danger (groups of two) or safe water (long, or equal "
    "light and dark)",
    "blue": "with yellow by turns: a new wreck",
}


def aid_words(colour: Colour, flashing: bool, region: Region | None) -> str:
    """Return what a light of this colour alone marks, if an aid to navigation shows it."""
    if not flashing:
        return "a fixed light on a pier, a bridge or the shore, or one of a pair that leads in"
    if colour in _LATERAL["A"]:
        if region is not None:
            return f"a {_LATERAL[region][colour]} mark, as one comes in from sea"
        sides = " and ".join(f"{_LATERAL[r][colour]} in region {r}" for r in ("A", "B"))
        return f"a lateral mark, as one comes in from sea: {sides}"
    return _BY_COLOUR[colour]
