"""A danger in a few words, as said at the wheel or of a manoeuvre that is tried."""

from __future__ import annotations

from moonless.chart.dangers.types import Danger
from moonless.chart.s57.names import object_name
from moonless.units import down

_OF_KIND: dict[str, str] = {
    "land": "land", "shoal": "water too shallow", "dries": "water too shallow", "unsurveyed": "unsurveyed water",
    "chart ends": "the end of the chart", "bridge": "a bridge that does not clear",
    "cable": "an overhead cable too low", "keep out": "water to keep out of", "own thing": "something that you know of",
    "own note": "a note of yours",
}  # fmt: skip
_MANY = ("works", "stakes", "rapids", "breakers", "waves")


def danger_words(danger: Danger) -> str:
    """Return what a danger is, with its article: "a charted rock", "water too shallow"."""
    if danger.kind in _OF_KIND:
        if danger.kind == "bridge" and danger.weight == "against":
            return "a bridge that must open"
        return _OF_KIND[danger.kind]
    if danger.kind in ("restricted", "military") and danger.weight == "stops":
        return "water that is closed to you"
    name = object_name(danger.object)
    return f"charted {name}" if name.endswith(_MANY) else f"a charted {name}"


def depth_words(danger: Danger, tide_m: float | None) -> str:
    """Return the depth charted over a danger, ready to stand behind its words; "" where none is."""
    if danger.depth_m is None:
        return ""
    return f", {down(danger.depth_m)} metres charted" + ("" if tide_m is None else f" and {down(tide_m)} of tide")


def refusal_words(danger: Danger) -> str:
    """Return what the chart has in the way, as a sentence without its end."""
    return "The chart ends" if danger.kind == "chart ends" else f"The chart has {danger_words(danger)}"
