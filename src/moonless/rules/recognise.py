"""What a set of lights seen at night can be: every vessel of the rules, from every side, held against it.

What is seen is given as groups (`moonless.rules.seen`): ``red over white, white, green``.  Colours in one group stand
in a vertical line, top first.  A light may carry a word for where it seems to be (masthead, side, stern); most watchers
cannot tell, and then it may be any light of that colour.  Lights that a vessel shows and that were not seen cost
likelihood, since a dim one is missed; lights that were seen and that a vessel does not show rule her out.

The sides of one kind of vessel are added up, each by the width of the sector from which it is seen, before kinds are
ranked.  Kinds that show the very same lights to that side stand as one answer: no eye can tell them apart.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from moonless.rules.aids import AidKind, Region, aid_words
from moonless.rules.lights import ALL_ROUND, Colour, Kind, Light, Outfit, Role, Vessel
from moonless.rules.required import LET_OFF, required
from moonless.rules.seen import SeenGroup


@dataclass(frozen=True, slots=True)
class Recognised:
    """One thing the lights can be."""

    name: str
    kind: Kind | AidKind
    aspect: str  # which side of her is seen
    rule: str  # the rule that gives her these lights; empty: none does
    share: float  # of the likelihood over all candidates, 0..1
    unseen: tuple[str, ...]  # lights she also shows that way and that were not reported
    meaning: str  # what she may be doing, and which rule then speaks
    alike: tuple[
        Recognised, ...
    ] = ()  # others that show the very same lights to this side; their shares are in `share`


# How often each is met at night, as shares that only order otherwise equal answers.  Common practice, no source.
_PRIOR: dict[Kind, float] = {
    "power": 1.0, "sail": 0.35, "anchored": 0.4, "fishing": 0.25, "trawling": 0.15, "towing": 0.12, "pushing": 0.06,
    "towed": 0.06, "towed alongside": 0.02, "pushed": 0.02, "partly submerged tow": 0.01, "restricted": 0.06,
    "dredging or diving": 0.03, "mine clearance": 0.004, "not under command": 0.02, "aground": 0.01,
    "constrained by draught": 0.02, "pilot": 0.05, "oars": 0.05, "air-cushion": 0.005, "wing-in-ground": 0.001,
    "law enforcement": 0.02,
}  # fmt: skip

# Of power-driven vessels, the share of tenders under 7 m that may show one white light only; of those fishing, the
# share that shows a signal about her nets; of tows, those that restrict.  No source.
_RARE, _NET_SIGNAL, _RESTRICTING_TOW = 0.1, 0.05, 0.2
# What each light costs that she shows and nobody reported, and each way in which what was said departs from what
# the rules call it, in natural logarithms of likelihood: a part of a line, a line made of lights apart.  Own figures.
_UNSEEN, _LOOSE, _STACKED = 1.6, 2.5, 2.5
# The width of the place between two sectors, where both show: Annex I section 9 gives each cut-off up to 5 degrees.
_EDGE_DEG = 10.0
# The sector right ahead is narrow, and those who look at one from there are the ones to be met: it counts for more.
_AHEAD_DEG = 40.0

_MEANING: dict[Kind, str] = {
    "power": "power-driven, under way: Rules 13 to 15 say who keeps clear",
    "sail": "under sail: a power-driven vessel keeps out of her way, Rule 18(a)",
    "oars": "under oars, slow and low: keep well clear",
    "air-cushion": "an air-cushion vessel off the water: fast, and she slides; Rules 13 to 15",
    "wing-in-ground": "a craft flying close to the water: she keeps clear of all others, Rule 18(f), and is very fast",
    "towing": "towing: look for the tow and never pass between, Rules 18 and 24",
    "pushing": "pushing or towing alongside: Rules 13 to 15, and she turns slowly",
    "towed": "being towed: look for the tug ahead and keep out of the line between",
    "towed alongside": "towed alongside another: look for the vessel that tows her",
    "pushed": "pushed ahead by another: look for the vessel behind her",
    "partly submerged tow": "a low tow, hardly to be seen: look for the tug and keep out of the line between",
    "trawling": "trawling: keep clear, Rule 18(a)(iii); gear astern of her",
    "fishing": "fishing, not trawling: keep clear, Rule 18(a)(iii); gear may lie far out",
    "not under command": "not under command: cannot keep clear of you, Rule 18(a)(i)",
    "restricted": "restricted in her ability to manoeuvre: keep clear, Rule 18(a)(ii)",
    "dredging or diving": "dredging or diving: keep clear, Rule 18(a)(ii), and slow for divers",
    "mine clearance": "clearing mines: stay 1000 m off, Rule 27(f)",
    "constrained by draught": "constrained by her draught: do not impede her, Rule 18(d)",
    "pilot": "on pilotage duty: Rules 13 to 15, and she may stop or turn short",
    "anchored": "at anchor: pass clear, and mind her cable and her swing",
    "aground": "aground: the water there is shallower than she draws",
    "law enforcement": "law enforcement at work: she may stop or turn short, and may want you to",
}
_PASS_GREENS = "dredging or diving with something in the way: pass on the side of the two greens, Rule 27(d)"
_OUT_OF_REACH = "towing and hardly able to turn: keep clear of her and of the tow, Rules 18(a)(ii), 24 and 27(c)"

# Lengths that stand for the classes of Rules 22 and 23.
_LENGTHS = (9.0, 15.0, 30.0, 80.0)
_TOW_LENGTHS = (80.0, 150.0, 250.0, 350.0, 450.0, 550.0)


@dataclass(frozen=True, slots=True)
class _Line:
    """Lights of one vertical line, top first, or one alone, as one vessel shows them to one side."""

    colours: tuple[Colour, ...]
    role: Role
    optional: bool
    height: float  # only an order: the masthead lights highest, Annex I section 2
    flashing: bool = False
    one_lantern: bool = False
    broken: bool = False  # what is left of a line of which some was told apart

    @property
    def words(self) -> str:
        flashing = "flashing " if self.flashing else ""
        if len(self.colours) > 1:
            return flashing + " over ".join(self.colours)
        role = "" if self.role in ("flashing", "special flashing") else f" {self.role}"
        return f"{flashing}{self.colours[0]}{role}"


def _height(light: Light) -> float:
    if light.role == "masthead":
        return 5.0 if "higher" in light.where else 4.0
    if light.role in ("side", "stern", "towing") and "mast" not in light.where:
        return 1.0
    if light.group in ("foul side", "clear side", "nets"):
        return 2.0
    if light.role == "all-round" and not light.group:
        return 2.0 if "lower" not in light.where else 1.0
    return 3.0


def _lines(outfit: Outfit, bearing_deg: float) -> list[_Line]:
    grouped: dict[str, list[Light]] = {}
    out: list[_Line] = []
    for light in outfit.lights:
        if not light.shows_to(bearing_deg):
            continue
        flashing = light.role in ("flashing", "special flashing")
        if light.group:
            grouped.setdefault(light.group, []).append(light)
        else:
            lantern = "one lantern at or near the top" in light.where
            out.append(_Line((light.colour,), light.role, light.optional, _height(light), flashing, lantern))
    for lights in grouped.values():
        ordered = sorted(lights, key=lambda x: x.level or 0)
        top = ordered[0]
        optional, flashing = all(x.optional for x in ordered), top.role in ("flashing", "special flashing")
        out.append(_Line(tuple(x.colour for x in ordered), top.role, optional, _height(top), flashing))
    return out


def _explain(seen: Sequence[SeenGroup], shown: list[_Line], ahead: bool) -> tuple[float, tuple[_Line, ...]] | None:
    """Return (log likelihood, unseen lines) if every light seen is one she shows that way; None if not.

    A vertical line that was seen whole explains itself.  Single lights seen may be members of a line whose order the
    watcher could not make out, and a line that was seen may be made of several lights of different heights: the two
    masthead lights from ahead stand in one.
    """
    left = list(shown)
    score = 0.0
    for group in sorted(seen, key=lambda g: -len(g.colours)):
        told = _take(group, left, ahead)
        if told is None:
            return None
        score -= told
    unseen = tuple(line for line in left if not line.optional)
    # Lights in one line are missed together more easily than lights apart.
    return score - _UNSEEN * sum(0.5 + 0.5 * len(line.colours) for line in unseen), unseen


def _take(group: SeenGroup, left: list[_Line], ahead: bool) -> float | None:
    """Take the lights of a group out of those left; return what it costs, None where she shows none such."""
    if group.one_lantern:
        lantern = [line for line in left if line.one_lantern]
        for line in lantern:
            left.remove(line)
        return 0.0 if lantern else None
    fits = [line for line in left if group.role in (None, line.role) and not (group.flashing and not line.flashing)]
    whole = sorted((line for line in fits if line.colours == group.colours), key=lambda x: (x.flashing, x.optional))
    if whole:
        left.remove(whole[0])
        return _LOOSE * ((whole[0].flashing != group.flashing) + whole[0].broken)
    stack = _stack(group.colours, sorted(fits, key=lambda x: -x.height))
    if stack is not None:
        for line in stack:
            left.remove(line)
        return 0.0 if ahead and all(line.role == "masthead" for line in stack) else _STACKED
    # A part of a longer vertical line: three reds of which two were made out, or one light of a pair.
    part = next((line for line in fits if _contains(line.colours, group.colours)), None)
    if part is None:
        return None
    left.remove(part)
    rest = list(part.colours)
    for colour in group.colours:
        rest.remove(colour)
    left.append(replace(part, colours=tuple(rest), broken=True))
    return _LOOSE if part.flashing == group.flashing else 2.0 * _LOOSE


def _stack(colours: tuple[Colour, ...], lines: list[_Line]) -> list[_Line] | None:
    """Return lines, each lower than the one before, that make up a vertical line of these colours."""
    if not colours:
        return []
    for i, line in enumerate(lines):
        n = len(line.colours)
        if n < len(colours) + 1 and line.colours == colours[:n]:
            rest = _stack(colours[n:], [x for x in lines[i + 1 :] if x.height < line.height])
            if rest is not None:
                return [line, *rest]
    return None


def _contains(line: tuple[Colour, ...], part: tuple[Colour, ...]) -> bool:
    """Return True if ``part`` stands in ``line`` in its order, gaps allowed, and is shorter."""
    if len(part) >= len(line):
        return False
    position = iter(line)
    return all(colour in position for colour in part)


def vessels(inland: bool) -> Iterator[Vessel]:
    """Give every vessel that the lights are held against: each kind at the lengths and in the states that matter."""
    for kind in _PRIOR:
        if kind in (("constrained by draught",) if inland else ("law enforcement",)):
            continue
        for length in _LENGTHS:
            yield Vessel(kind, length, inland=inland)
            if kind in ("fishing", "trawling", "not under command", "restricted", "dredging or diving"):
                yield Vessel(kind, length, making_way=False, inland=inland)
            if kind in ("restricted", "dredging or diving", "mine clearance", "pilot"):
                yield Vessel(kind, length, at_anchor=True, inland=inland)
            if kind == "towing":
                for tow in (100.0, 300.0):
                    yield Vessel(kind, length, tow_m=tow, tow_restricts=True, inland=inland)
                yield Vessel(kind, length, tow_m=300.0, inland=inland)
            if kind == "fishing":
                for way in (True, False):
                    yield Vessel(kind, length, gear_m=200.0, making_way=way, inland=inland)
                    for gear_m in (0.0, 200.0):
                        yield Vessel(
                            kind, length, gear_m=gear_m, net_signal="purse seine", making_way=way, inland=inland
                        )
            if kind == "trawling":
                for signal in ("shooting", "hauling", "fast"):
                    for way in (True, False):
                        yield Vessel(kind, length, net_signal=signal, making_way=way, inland=inland)
    yield Vessel("power", 6.0, max_speed_kn=6.0, inland=inland)
    # One light more for each 100 m of the tow.
    for length in _TOW_LENGTHS:
        for breadth_m in (10.0, 30.0):
            yield Vessel("partly submerged tow", length, breadth_m=breadth_m, inland=inland)


def _sectors(outfit: Outfit) -> list[tuple[float, float]]:
    """Return (bearing from her bow, width), degrees, of each sector in which she shows the same lights."""
    edges = {e % 360.0 for x in outfit.lights if x.arc_deg != ALL_ROUND for e in x.arc_deg}
    if not edges:
        return [(90.0, 360.0)]
    # The edges of Rule 21 part her sides in any case.
    ordered = sorted(edges | {0.0, 112.5, 247.5})
    out = []
    for edge, after in zip(ordered, [*ordered[1:], ordered[0] + 360.0], strict=True):
        out.append((edge, _AHEAD_DEG if edge == 0.0 else _EDGE_DEG))
        out.append((0.5 * (edge + after) % 360.0, max(after - edge - _EDGE_DEG, 0.0)))
    return out


def _side(bearing_deg: float, width_deg: float) -> str:
    if width_deg >= 360.0:
        return "from any side"
    b = bearing_deg % 360.0
    if min(b, 360.0 - b) < 1.0:
        return "from right ahead"
    if min(abs(b - 112.5), abs(b - 247.5)) < 1.0:
        return f"from just abaft her {'starboard' if b < 180.0 else 'port'} beam"
    if 112.5 < b < 247.5:
        return "from astern"
    return f"from her {'starboard' if b < 180.0 else 'port'} side"


_ALL_SIDES = {"from right ahead", "from her starboard side", "from her port side", "from astern"}


@dataclass(slots=True)
class _Sum:
    """What speaks for one kind of vessel over all her sides."""

    sides: dict[str, tuple[float, float, Recognised, tuple[object, ...]]]  # best likelihood, its weight, what, look


def recognise(
    seen: Sequence[SeenGroup], *, inland: bool = False, region: Region | None = None
) -> tuple[Recognised, ...]:
    """Return what the lights can be, likeliest first; empty when nothing that is known shows them.

    ``region``: the IALA region whose lateral marks hold; None: not known, both are told.

    Empty does not mean nothing is there: lights may be unlawful, hidden, on shore, or of several vessels in line.
    """
    sums: dict[Kind, _Sum] = {}
    for vessel in vessels(inland):
        for outfit in required(vessel):
            if not outfit.lights or outfit.name == LET_OFF:
                continue
            rare = _RARE if vessel.kind == "power" and outfit.name == "all-round white alone" else 1.0
            rare *= 1.0 if vessel.net_signal is None else _NET_SIGNAL
            rare *= _RESTRICTING_TOW if vessel.tow_restricts else 1.0
            for bearing, width in _sectors(outfit):
                side = _side(bearing, width)
                lines = _lines(outfit, bearing)
                told = _explain(seen, lines, side == "from right ahead")
                if told is None:
                    continue
                likelihood = rare * math.exp(told[0])
                weight = likelihood * width / 360.0 * _PRIOR[vessel.kind]
                unseen = tuple(line.words for line in told[1])
                rule = outfit.lights[0].rule
                name, meaning = _name(vessel, outfit), _meaning(vessel, outfit)
                found = Recognised(name, vessel.kind, side, rule, 0.0, unseen, meaning)
                look = tuple(sorted((x.colours, x.role) for x in lines if not x.optional))
                best = sums.setdefault(vessel.kind, _Sum({})).sides
                if side not in best or likelihood > best[side][0]:
                    best[side] = (likelihood, weight, found, look)
    rows = [_of_all_sides(found) for found in sums.values()]
    rows += [(c.share, c, ("aid",)) for c in aids(seen, region)]
    return _ranked(rows)


# How often a light alone is one of an aid to navigation or of the shore, beside a vessel's; blue marks a new wreck,
# which is seldom met and shows yellow by turns with it.  Own figures, no source.
_AID_PRIOR, _FIXED_PRIOR, _BLUE_PRIOR = 0.5, 0.1, 0.0005


def aids(seen: Sequence[SeenGroup], region: Region | None) -> list[Recognised]:
    """Return what a single light may be that no vessel shows, each with its weight as `share`; empty for several."""
    if len(seen) != 1 or len(seen[0].colours) != 1 or seen[0].role not in (None, "all-round"):
        return []
    (colour,), flashing = seen[0].colours, seen[0].flashing
    if colour == "blue" and not flashing:
        return []
    words = aid_words(colour, flashing, region)
    name, kind = ("lit aid to navigation", "aid to navigation") if flashing else ("light on shore", "fixed light")
    meaning = f"{words}: find it on the chart"
    weight = _BLUE_PRIOR if colour == "blue" else _AID_PRIOR if flashing else _FIXED_PRIOR
    return [Recognised(name, kind, "from any side", "", weight, (), meaning)]  # type: ignore[arg-type]


def _of_all_sides(found: _Sum) -> tuple[float, Recognised, tuple[object, ...]]:
    """Return one kind's weight over all sides, and what she is by the likeliest of them."""
    sides = dict(found.sides)
    around = sides.get("from any side")
    total = sum(weight for _, weight, _, _ in sides.values())
    if around is not None and len(sides) > 1:
        # An all-round set and one with sectors are other vessels, or other lawful sets: the better one speaks.
        parts = sum(w for side, (_, w, _, _) in sides.items() if side != "from any side")
        total = max(around[1], parts)
        if around[1] >= parts:
            sides = {"from any side": around}
        else:
            del sides["from any side"]
    best = max(sides.values(), key=lambda x: x[1])
    likely = [s for s, (likelihood, _, _, _) in sides.items() if likelihood >= 0.5 * best[0]]
    main = [s for s in likely if "abaft" not in s] or likely
    aspect = "from any side" if set(main) >= _ALL_SIDES else " or ".join(main)
    return total, replace(best[2], aspect=aspect), best[3]


def _ranked(rows: list[tuple[float, Recognised, tuple[object, ...]]]) -> tuple[Recognised, ...]:
    """Return candidates by share; those that show the very same lights stand under the likeliest of them."""
    total = sum(weight for weight, _, _ in rows)
    alike: dict[tuple[object, ...], list[Recognised]] = {}
    for weight, candidate, look in sorted(rows, key=lambda r: (-r[0], r[1].name)):
        key: tuple[object, ...] = (candidate.unseen, look) if look != ("aid",) else (candidate.name,)
        alike.setdefault(key, []).append(replace(candidate, share=weight / total))
    out = [
        replace(first, share=sum(c.share for c in (first, *rest)), alike=tuple(rest))
        for first, *rest in alike.values()
    ]
    return tuple(sorted(out, key=lambda c: (-c.share, c.name)))


def _meaning(vessel: Vessel, outfit: Outfit) -> str:
    if any(x.group == "clear side" for x in outfit.lights):
        return _PASS_GREENS
    return _OUT_OF_REACH if vessel.tow_restricts else _MEANING[vessel.kind]


def _name(vessel: Vessel, outfit: Outfit) -> str:
    name = {
        "power": "power-driven vessel", "sail": "sailing vessel", "oars": "boat under oars",
        "air-cushion": "air-cushion vessel", "wing-in-ground": "wing-in-ground craft",
        "law enforcement": "law enforcement vessel", "pushed": "vessel pushed ahead",
    }.get(vessel.kind)  # fmt: skip
    if name is None:
        bare = ("anchored", "aground", "towed", "towed alongside")
        name = outfit.name if vessel.kind not in bare else f"vessel {vessel.kind}"
    if vessel.kind in ("power", "anchored") and vessel.length_m >= 50.0:
        name += ", 50 m or over"
    if vessel.net_signal is not None:
        name += {"shooting": ", shooting nets", "hauling": ", hauling nets", "fast": ", net fast on something",
                 "purse seine": ", held by her purse seine"}[vessel.net_signal]  # fmt: skip
    if not vessel.making_way:
        name += ", not making way"
    return name
