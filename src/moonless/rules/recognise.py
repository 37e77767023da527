"""What a set of lights seen at night can be: every vessel of the rules, from every side, held against it.

What is seen is given as groups: ``red over white, white, green``.  Colours in one group stand in a vertical line, top
first.  A light may carry a word for where it seems to be (masthead, side, stern); most watchers cannot tell, and
then it may be any light of that colour.  Lights that a vessel shows and that were not seen cost likelihood, since a
dim one is missed; lights that were seen and that a vessel does not show rule her out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import cast, get_args

from moonless.errors import InputError
from moonless.rules.lights import LET_OFF, Colour, Kind, Light, Outfit, Role, Vessel, required

_ROLE_WORDS: dict[str, Role] = {
    "masthead": "masthead",
    "side": "side",
    "sidelight": "side",
    "stern": "stern",
    "sternlight": "stern",
    "towing": "towing",
}
_FILLERS = {"light", "lights", "all-round", "a", "one"}


@dataclass(frozen=True, slots=True)
class SeenGroup:
    """Lights seen in one vertical line, top first, or one alone."""

    colours: tuple[Colour, ...]
    role: Role | None = None


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing the lights can be."""

    name: str
    kind: Kind
    aspect: str  # which side of her is seen
    rule: str  # the rule that gives her these lights
    share: float  # of the likelihood over all candidates, 0..1
    unseen: tuple[str, ...]  # lights she also shows that way and that were not reported
    meaning: str  # what she may be doing, and which rule then speaks


def parse_seen(text: str) -> tuple[SeenGroup, ...]:
    """Read ``"red over white, masthead, green"``.  Raises InputError naming the word that is not understood."""
    groups = []
    for part in text.lower().split(","):
        words = part.replace(" over ", " > ").split()
        if not words:
            continue
        colours: list[Colour] = []
        role: Role | None = None
        for word in words:
            if word == ">":
                continue
            if word in get_args(Colour):
                colours.append(cast(Colour, word))
            elif word in _ROLE_WORDS:
                role = _ROLE_WORDS[word]
            elif word not in _FILLERS:
                raise InputError(f"{word!r} is neither a colour ({', '.join(get_args(Colour))}) nor a light's name")
        if not colours:
            if role in ("masthead", "stern"):
                colours = ["white"]
            elif role == "towing":
                colours = ["yellow"]
            else:
                raise InputError(f"{part.strip()!r} names no colour")
        groups.append(SeenGroup(tuple(colours), role))
    if not groups:
        raise InputError('no lights were named; write them as "red over white, green"')
    return tuple(groups)


# How often each is met at night, as shares that only order otherwise equal answers.  Common practice, no source.
_PRIOR: dict[Kind, float] = {
    "power": 1.0, "sail": 0.35, "anchored": 0.4, "fishing": 0.25, "trawling": 0.15, "towing": 0.12, "pushing": 0.06,
    "towed": 0.06, "restricted": 0.06, "dredging or diving": 0.03, "not under command": 0.02, "aground": 0.01,
    "constrained by draught": 0.02, "pilot": 0.05, "oars": 0.05,
}  # fmt: skip

# Of power-driven vessels, the share of tenders under 7 m that may show one white light only.  No source.
_RARE = 0.1

_MEANING: dict[Kind, str] = {
    "power": "power-driven, under way: Rules 13 to 15 say who keeps clear",
    "sail": "under sail: a power-driven vessel keeps out of her way, Rule 18(a)",
    "oars": "under oars, slow and low: keep well clear",
    "towing": "towing: look for the tow and never pass between, Rules 18 and 24",
    "pushing": "pushing or towing alongside: Rules 13 to 15, and she turns slowly",
    "towed": "being towed: look for the tug ahead and keep out of the line between",
    "trawling": "trawling: keep clear, Rule 18(a)(iii); gear astern of her",
    "fishing": "fishing, not trawling: keep clear, Rule 18(a)(iii); gear may lie far out",
    "not under command": "not under command: cannot keep clear of you, Rule 18(a)(i)",
    "restricted": "restricted in her ability to manoeuvre: keep clear, Rule 18(a)(ii)",
    "dredging or diving": "dredging or diving: pass on the side of the two greens, Rule 27(d)",
    "constrained by draught": "constrained by her draught: do not impede her, Rule 18(d)",
    "pilot": "on pilotage duty: Rules 13 to 15, and she may stop or turn short",
    "anchored": "at anchor: pass clear, and mind her cable and her swing",
    "aground": "aground: the water there is shallower than she draws",
}

_ASPECTS: tuple[tuple[str, float], ...] = (
    ("from right ahead", 0.0),
    ("from her starboard side", 60.0),
    ("from her port side", 300.0),
    ("from astern", 180.0),
)

# Lengths that stand for the classes of Rules 22 and 23.
_LENGTHS = (9.0, 15.0, 30.0, 80.0)


@dataclass(frozen=True, slots=True)
class _Shown:
    """What one vessel shows to one side: vertical groups and single lights, each with its role."""

    groups: tuple[tuple[tuple[Colour, ...], Role, str, bool], ...]  # colours, role, words, optional


def _shown(outfit: Outfit, bearing_deg: float) -> _Shown:
    grouped: dict[str, list[Light]] = {}
    singles: list[Light] = []
    for light in outfit.lights:
        if not light.shows_to(bearing_deg):
            continue
        if light.group:
            grouped.setdefault(light.group, []).append(light)
        else:
            singles.append(light)
    out: list[tuple[tuple[Colour, ...], Role, str, bool]] = []
    for lights in grouped.values():
        ordered = sorted(lights, key=lambda x: x.level or 0)
        words = " over ".join(x.colour for x in ordered)
        out.append((tuple(x.colour for x in ordered), ordered[0].role, words, all(x.optional for x in ordered)))
    out += [((x.colour,), x.role, f"{x.colour} {x.role}", x.optional) for x in singles]
    return _Shown(tuple(out))


def _explain(seen: Sequence[SeenGroup], shown: _Shown) -> tuple[float, tuple[str, ...]] | None:
    """Return (log likelihood, unseen) if every light seen is one she shows that way; None if not.

    A vertical group that was seen whole explains itself; single lights seen may be members of a group whose order
    the watcher could not make out.
    """
    left = list(shown.groups)
    score = 0.0
    for group in sorted(seen, key=lambda g: -len(g.colours)):
        whole = next((g for g in left if g[0] == group.colours and group.role in (None, g[1])), None)
        if whole is not None:
            left.remove(whole)
            continue
        # A part of a longer vertical line: three reds of which two were made out, or one light of a pair.
        part = next((g for g in left if _contains(g[0], group.colours) and group.role in (None, g[1])), None)
        if part is None:
            return None
        left.remove(part)
        rest = list(part[0])
        for colour in group.colours:
            rest.remove(colour)
        score -= 1.0
        left.append((tuple(rest), part[1], " and ".join(rest), part[3]))
    unseen = tuple(words for _, _, words, optional in left if not optional)
    return score - 1.6 * len(unseen), unseen


def _contains(line: tuple[Colour, ...], part: tuple[Colour, ...]) -> bool:
    """Return True if ``part`` stands in ``line`` in its order, gaps allowed, and is shorter."""
    if len(part) >= len(line):
        return False
    position = iter(line)
    return all(colour in position for colour in part)


def _vessels(inland: bool) -> list[Vessel]:
    out = []
    for kind in _PRIOR:
        if inland and kind == "constrained by draught":
            continue
        for length in _LENGTHS:
            out.append(Vessel(kind, length, inland=inland))
            if kind in ("fishing", "trawling", "not under command", "restricted", "dredging or diving"):
                out.append(Vessel(kind, length, making_way=False, inland=inland))
            if kind == "towing":
                out.append(Vessel(kind, length, tow_m=300.0, inland=inland))
            if kind == "fishing":
                out.append(Vessel(kind, length, gear_m=200.0, inland=inland))
    out.append(Vessel("power", 6.0, max_speed_kn=6.0, inland=inland))
    return out


def recognise(seen: Sequence[SeenGroup], *, inland: bool = False) -> tuple[Candidate, ...]:
    """Return what the lights can be, likeliest first; empty when no vessel of the rules shows them.

    Empty does not mean nothing is there: lights may be unlawful, hidden, on shore, or on an aid to navigation.
    """
    best: dict[tuple[str, str], tuple[float, Candidate]] = {}
    for vessel in _vessels(inland):
        for outfit in required(vessel):
            if not outfit.lights or outfit.name == LET_OFF:
                continue
            rare = _RARE if vessel.kind == "power" and outfit.name == "all-round white alone" else 1.0
            for aspect, bearing in _ASPECTS:
                told = _explain(seen, _shown(outfit, bearing))
                if told is None:
                    continue
                log_likelihood, unseen = told
                weight = rare * math.exp(log_likelihood) * _PRIOR[vessel.kind]
                name, rule = _name(vessel, outfit), outfit.lights[0].rule
                found = Candidate(name, vessel.kind, aspect, rule, 0.0, unseen, _MEANING[vessel.kind])
                key = (vessel.kind, aspect)
                if key not in best or weight > best[key][0]:
                    best[key] = (weight, found)
    return _ranked(list(best.values()))


def _ranked(found: list[tuple[float, Candidate]]) -> tuple[Candidate, ...]:
    """Return candidates by share; the same vessel seen alike from all four sides is said once."""
    alike: dict[tuple[str, tuple[str, ...]], list[tuple[float, Candidate]]] = {}
    for weight, candidate in found:
        alike.setdefault((candidate.name, candidate.unseen), []).append((weight, candidate))
    rows: list[tuple[float, Candidate]] = []
    for group in alike.values():
        if len(group) == len(_ASPECTS):
            rows.append((sum(w for w, _ in group), replace(group[0][1], aspect="from any side")))
        else:
            rows += group
    total = sum(weight for weight, _ in rows)
    rows.sort(key=lambda row: (-row[0], row[1].name, row[1].aspect))
    return tuple(replace(candidate, share=weight / total) for weight, candidate in rows)


def _name(vessel: Vessel, outfit: Outfit) -> str:
    name = {"power": "power-driven vessel", "sail": "sailing vessel", "oars": "boat under oars"}.get(vessel.kind)
    if name is None:
        name = outfit.name if vessel.kind not in ("anchored", "aground", "towed") else f"vessel {vessel.kind}"
    if vessel.kind in ("power", "anchored") and vessel.length_m >= 50.0:
        name += ", 50 m or over"
    if not vessel.making_way:
        name += ", not making way"
    return name
