"""The lights a boat carries, held against what the rules ask of her."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

from moonless.errors import InputError
from moonless.rules.lights import (
    ALL_ROUND,
    MASTHEAD_ARC,
    PORT_ARC,
    STARBOARD_ARC,
    STERN_ARC,
    Colour,
    Light,
    Outfit,
    Role,
    Vessel,
    range_for_intensity_nm,
)
from moonless.rules.required import required
from moonless.tables import Values

# Annex I section 9: sidelights cut off within 1 to 3 degrees outside their sector ahead; the other edges within 5.
EDGE_TOLERANCE_DEG = 5.0
AHEAD_TOLERANCE_DEG = 3.0


@dataclass(frozen=True, slots=True)
class Fitted:
    """One light as fitted and measured; None: not measured."""

    role: Role
    colour: Colour
    arc_deg: tuple[float, float]
    height_m: float | None = None  # above the hull or gunwale
    candela: float | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not agree; ``rule`` names where to look."""

    rule: str
    say: str


# By the word of the boat file.
ARC_OF_ROLE: dict[str, tuple[float, float]] = {
    "masthead": MASTHEAD_ARC,
    "starboard": STARBOARD_ARC,
    "port": PORT_ARC,
    "stern": STERN_ARC,
    "towing": STERN_ARC,
    "all-round": ALL_ROUND,
}
_COLOUR_OF_ROLE: dict[str, Colour] = {"starboard": "green", "port": "red", "towing": "yellow"}


def fitted_from_tables(tables: Sequence[Values]) -> tuple[Fitted, ...]:
    """Return the lights of the boat file's ``[[light]]`` tables, as it was read (`moonless.boat.keys`).

    Raises InputError naming the table, if an arc has one end.
    """
    out = []
    for number, table in enumerate(tables, 1):
        word: str = table["role"]
        arc = ARC_OF_ROLE[word]
        if "from_deg" in table or "to_deg" in table:
            if not ("from_deg" in table and "to_deg" in table):
                raise InputError(f"light {number}: from_deg and to_deg go together, as degrees from the bow")
            arc = (table["from_deg"], table["to_deg"])
        usual: Colour = _COLOUR_OF_ROLE.get(word, "white")
        role = cast(Role, "side" if word in ("starboard", "port") else word)
        colour: Colour = table.get("colour", usual)
        out.append(Fitted(role, colour, arc, table.get("height_m"), table.get("candela"), table.get("name", word)))
    return tuple(out)


def _matches(light: Light, fitted: Fitted) -> bool:
    return light.role == fitted.role and light.colour == fitted.colour


def _arc_findings(light: Light, fitted: Fitted) -> list[Finding]:
    found = []
    if light.arc_deg == ALL_ROUND:
        missing = 0.0 if fitted.arc_deg == ALL_ROUND else 360.0 - (fitted.arc_deg[1] - fitted.arc_deg[0]) % 360.0
        if missing > 6.0:
            say = f"the {fitted.name} light is hidden over {missing:.0f}°; an all-round light may be over 6°"
            found.append(Finding("Annex I 9(b)", say))
        return found
    if fitted.arc_deg == ALL_ROUND:
        found.append(Finding("21", f"the {fitted.name} light shows all round; its arc is {_arc_words(light.arc_deg)}"))
        return found
    for edge, (asked, made) in enumerate(zip(light.arc_deg, fitted.arc_deg, strict=True)):
        sign = -1.0 if edge == 0 else 1.0
        over = sign * ((made - asked + 180.0) % 360.0 - 180.0)  # positive: shows beyond the arc
        ahead = light.role == "side" and asked == 0.0
        allowed = AHEAD_TOLERANCE_DEG if ahead else EDGE_TOLERANCE_DEG
        if over > allowed:
            say = f"the {fitted.name} light shows {over:.0f}° beyond {asked % 360:05.1f}°; {allowed:.0f}° is allowed"
            found.append(Finding("21, Annex I 9", say))
        elif over < -0.5:
            say = f"the {fitted.name} light stops {-over:.0f}° short of {asked % 360:05.1f}°"
            found.append(Finding("21", say))
    return found


def _arc_words(arc: tuple[float, float]) -> str:
    return f"{arc[0]:05.1f}° to {arc[1]:05.1f}° from the bow"


def _heights(vessel: Vessel, fitted: Sequence[Fitted]) -> list[Finding]:
    """Annex I section 2: heights that a small power vessel gets wrong most often."""
    found = []
    sides = [f.height_m for f in fitted if f.role == "side" and f.height_m is not None]
    tops = [f for f in fitted if f.role in ("masthead", "all-round") and f.colour == "white" and f.height_m is not None]
    if vessel.kind == "power" and sides and tops:
        top = max(f.height_m or 0.0 for f in tops)
        if vessel.length_m < 12.0 and top - max(sides) < 1.0:
            say = f"the white light stands {top - max(sides):.1f} m above the sidelights; 1 m is the least"
            found.append(Finding("Annex I 2(d)", say))
        if 12.0 <= vessel.length_m < 20.0 and top < 2.5:
            say = f"the masthead light stands {top:.1f} m above the gunwale; 2.5 m is the least"
            found.append(Finding("Annex I 2(c)", say))
        if vessel.length_m >= 20.0 and max(sides) > 0.75 * top:
            say = "the sidelights stand above three quarters of the masthead light's height"
            found.append(Finding("Annex I 2(g)", say))
    return found


def _usual_mistakes(vessel: Vessel, fitted: Sequence[Fitted]) -> list[Finding]:
    found = []
    shown = {(f.role, f.colour) for f in fitted}
    if ("all-round", "white") in shown and ("stern", "white") in shown and vessel.kind == "power" and vessel.making_way:
        say = "an all-round white and a sternlight together show two whites astern; one of them is for another purpose"
        found.append(Finding("23(d), 20(b)", say))
    if ("all-round", "white") in shown and ("masthead", "white") in shown and vessel.kind == "power":
        say = "the all-round white is the anchor light: dark while under way with the masthead light on"
        found.append(Finding("20(b), 30(b)", say))
    return found


def check(vessel: Vessel, fitted: Sequence[Fitted]) -> tuple[Outfit, tuple[Finding, ...]]:
    """Return the lawful outfit the fitted lights come nearest to, and what does not agree with it.

    An empty tuple says only that nothing measured disagrees: what was not measured was not checked.
    """
    best: tuple[Outfit, list[Finding]] | None = None
    for outfit in required(vessel):
        found: list[Finding] = []
        left = list(fitted)
        for light in outfit.lights:
            same = next((f for f in left if _matches(light, f)), None)
            if same is None:
                if not light.optional:
                    asked = f"{_arc_words(light.arc_deg)}, {light.range_nm:g} NM"
                    say = f"no {light.colour} {light.role} light fitted ({asked})"
                    found.append(Finding(light.rule, say))
                continue
            left.remove(same)
            found += _arc_findings(light, same)
            if same.candela is not None and range_for_intensity_nm(same.candela) < light.range_nm - 0.05:
                reach = range_for_intensity_nm(same.candela)
                least = f"{light.range_nm:g} NM is the least"
                say = f"the {same.name} light of {same.candela:g} cd reaches {reach:.1f} NM; {least}"
                found.append(Finding("22, Annex I 8", say))
        extra = [f for f in left if (f.role, f.colour) != ("all-round", "white")]
        found += [Finding("20(b)", f"the {f.name} light does not belong to this set") for f in extra]
        if best is None or len(found) < len(best[1]):
            best = (outfit, found)
    assert best is not None  # required() never answers an empty list
    return best[0], (*best[1], *_heights(vessel, fitted), *_usual_mistakes(vessel, fitted))
