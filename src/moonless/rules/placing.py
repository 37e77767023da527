"""Where the lights of a set must stand: heights, spacing and distances, by Annex I sections 2 to 4.

In our own words.  From memory where FACTS of the trade were not read: 2(i), (j), (k), 3, 4 and the inland figures.
Heights are above the hull (uppermost continuous deck) from 20 m on, above the gunwale below; metres.
"""

from __future__ import annotations

from dataclasses import dataclass

from moonless.rules.lights import Light, Outfit, Vessel


@dataclass(frozen=True, slots=True)
class Placing:
    """One thing that the annex asks of where lights stand."""

    rule: str
    say: str


def placing(vessel: Vessel, outfit: Outfit) -> tuple[Placing, ...]:
    """Return what Annex I asks for this set of lights, the highest lights first."""
    out = [*_mastheads(vessel, outfit), *_lines(vessel, outfit), *_single(vessel, outfit)]
    return tuple(out)


def _has(outfit: Outfit, role: str) -> list[Light]:
    return [x for x in outfit.lights if x.role == role]


def _mastheads(vessel: Vessel, outfit: Outfit) -> list[Placing]:
    length, mastheads, out = vessel.length_m, _has(outfit, "masthead"), []
    if not mastheads or vessel.kind == "trawling":
        return []
    if length >= 20.0:
        least, most = (5.0, 8.0) if vessel.inland else (6.0, 12.0)
        say = f"forward masthead light {least:g} m above the hull, or her breadth if more; {most:g} m is always enough"
        out.append(Placing("Annex I 2(a)", say))
        if any("higher" in x.where for x in mastheads) and not vessel.inland:
            out.append(Placing("Annex I 2(a)(ii)", "after masthead light 4.5 m higher than the forward one"))
            far = min(0.5 * length, 100.0)
            near = 0.25 * length
            say = f"masthead lights {far:.0f} m apart along the ship, the forward one within {near:.0f} m of the stem"
            out.append(Placing("Annex I 3(a)", say))
    elif length >= 12.0:
        out.append(Placing("Annex I 2(c)", "masthead light 2.5 m above the gunwale"))
    else:
        out.append(Placing("Annex I 2(d)", "masthead light 1 m above the sidelights"))
    return out


def _lines(vessel: Vessel, outfit: Outfit) -> list[Placing]:
    out: list[Placing] = []
    groups = {x.group for x in outfit.lights if x.group} - {"stern", "nets"}
    if groups:
        large = vessel.length_m >= 20.0
        apart = (1.0 if vessel.inland else 2.0) if large else 1.0
        low, of = (4.0, "hull") if large else (2.0, "gunwale")
        say = f"lights in a vertical line {apart:g} m apart, three of them evenly; the lowest {low:g} m above the {of}"
        out.append(Placing("Annex I 2(i)", say))
    if "nets" in {x.group for x in outfit.lights}:
        say = "the net signal 0.9 m apart, lower than the lights of Rule 26, seen at a mile but less far than they"
        out.append(Placing("Annex II 1", say))
    if vessel.kind in ("fishing", "trawling"):
        say = "the lower of the two above the sidelights by twice the distance between the two"
        out.append(Placing("Annex I 2(j)", say))
    if vessel.kind == "fishing" and vessel.gear_m > 150.0:
        say = "the white towards the gear 2 to 6 m off the two, not above their white, not below the sidelights"
        out.append(Placing("Annex I 4(a)", say))
    if groups & {"foul side", "clear side"}:
        say = "the pairs as far to the side as can be, 2 m at least, and no higher than the lower red of the three"
        out.append(Placing("Annex I 4(b)", say))
    return out


def _single(vessel: Vessel, outfit: Outfit) -> list[Placing]:
    out: list[Placing] = []
    length = vessel.length_m
    if _has(outfit, "side") and _has(outfit, "masthead"):
        out.append(Placing("Annex I 2(g)", "sidelights no higher than three quarters of the forward masthead light"))
        if length >= 20.0:
            say = "sidelights at or near the ship's side, not in front of the forward masthead light"
            out.append(Placing("Annex I 3(b)", say))
    if (
        _has(outfit, "side")
        and length < 12.0
        and any(x.role == "all-round" and x.rule == "23(d)(i)" for x in outfit.lights)
    ):
        out.append(Placing("Annex I 2(d)", "all-round white light 1 m above the sidelights"))
    if any(x.rule == "30(a)(i)" for x in outfit.lights):
        out.append(Placing("Annex I 2(k)", "forward anchor light 4.5 m higher than the after one"))
        if length >= 50.0:
            out.append(Placing("Annex I 2(k)", "forward anchor light 6 m above the hull"))
    return out
