"""Lights seen with the eye: what she is, which way she goes, and who keeps clear.

The truth is the vessel that was drawn and the side she was drawn from; the lights are those the rules ask of her
(`moonless.rules.required`).  Only vessels that show another set to that side, and no other side of which shows this
one, stand among the wrong words.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from moonless.practice.keys import WordKey
from moonless.practice.steps.draw import Draw
from moonless.practice.types import Exercise, Spot
from moonless.rules.lights import Light, Vessel
from moonless.rules.required import required
from moonless.rules.steering import Encounter, encounters

# Words for each vessel asked about, and herself.
VESSELS: dict[str, Vessel] = {
    "a power-driven vessel under 50 m": Vessel("power", 20.0),
    "a power-driven vessel, probably 50 m or over": Vessel("power", 80.0),
    "a sailing vessel": Vessel("sail", 14.0),
    "a vessel trawling": Vessel("trawling", 25.0),
    "a vessel fishing, not trawling": Vessel("fishing", 18.0),
    "a vessel towing, the tow over 200 m": Vessel("towing", 25.0, tow_m=300.0),
    "a vessel towing, the tow 200 m or less": Vessel("towing", 25.0, tow_m=100.0),
    "a vessel not under command": Vessel("not under command", 40.0),
    "a vessel restricted in her ability to manoeuvre": Vessel("restricted", 40.0),
    "a pilot vessel": Vessel("pilot", 20.0),
    "a vessel at anchor": Vessel("anchored", 30.0),
    "a vessel constrained by her draught": Vessel("constrained by draught", 150.0),
    "a vessel aground": Vessel("aground", 30.0),
}
RIGHT, LEFT, TOWARDS, AWAY = "to your right", "to your left", "towards you", "away from you"
YOU, SHE, BOTH = "you keep clear", "she keeps clear, you hold on", "both turn to starboard"
_WORDS = 5
# Rule 18(a) puts these before a power-driven vessel; by AIS status as `moonless.rules.steering` takes it.
_STATUS = {"not under command": 2, "restricted": 3, "fishing": 7, "trawling": 7, "sail": 8}
_ALONG = {"masthead": 0.25, "side": 0.12, "stern": -0.5, "towing": -0.5}


def _lights_of(vessel: Vessel) -> tuple[Light, ...]:
    return required(vessel)[0].lights


def look(lights: Sequence[Light], bearing_deg: float) -> tuple[tuple[str, ...], ...]:
    """Return what the eye can tell of lights from a bearing: the colours of each vertical line, sorted."""
    lines: dict[str, list[Light]] = {}
    for number, light in enumerate(lights):
        if light.shows_to(bearing_deg):
            lines.setdefault(light.group or f"alone {number}", []).append(light)
    ordered = [sorted(line, key=lambda one: one.level or 0) for line in lines.values()]
    return tuple(sorted(tuple(one.colour for one in line) for line in ordered))


def spots(lights: Sequence[Light], bearing_deg: float) -> tuple[Spot, ...]:
    """Return where each light that shows stands to the eye; her bow is to the right when her starboard side is seen.

    Heights and places along the hull keep the order of Annex I and no more.
    """
    sine = math.sin(math.radians(bearing_deg))
    out = []
    for light in lights:
        if not light.shows_to(bearing_deg):
            continue
        along = _ALONG.get(light.role, 0.0)
        up = {"masthead": 0.62, "side": 0.3, "stern": 0.26, "towing": 0.36}.get(light.role, 0.55)
        if light.role == "masthead" and "higher" in light.where:
            along, up = -0.2, 0.85
        if light.group and light.level is not None:
            members = [one for one in lights if one.group == light.group]
            up = (0.42 if light.group == "stern" else 0.9) - 0.13 * light.level - (0.0 if len(members) > 1 else 0.1)
        side = {"green": 0.06, "red": -0.06}.get(light.colour, 0.0) if light.role == "side" else 0.0
        # Seen from ahead her green is to the left of her red.
        across = along * sine - side * math.cos(math.radians(bearing_deg))
        out.append(Spot(light.colour, max(-1.0, min(1.0, across)), up, light.role in ("flashing", "special flashing")))
    return tuple(out)


def lights(draw: Draw) -> Exercise | None:
    """One of three questions about one vessel."""
    name = str(draw.chance.choice(np.array(list(VESSELS))))
    vessel = VESSELS[name]
    shown = _lights_of(vessel)
    # Away from the edges of the sectors, where two may show or none (Annex I section 9: up to five degrees).
    bearing = float(
        draw.chance.choice([0.0, draw.between(25.0, 100.0), draw.between(260.0, 335.0), draw.between(125.0, 235.0)])
    )
    if not look(shown, bearing):
        return None
    question = draw.lot_of(1, "what", "way", "clear")
    made = {"what": _what, "way": _way, "clear": _clear}[question](draw, name, vessel, bearing)
    if made is None:
        return None
    asks, told, word, words, because = made
    return Exercise(
        step="lights", seed=draw.seed, asks=asks, told=told, key=WordKey(words, word), words=words, knowable=1.0,
        because=because, lights=spots(shown, bearing), withheld_words="it cannot be told from this side",
    )  # fmt: skip


_Made = tuple[str, tuple[str, ...], str, tuple[str, ...], str]


def _what(draw: Draw, name: str, vessel: Vessel, bearing: float) -> _Made | None:
    seen = look(_lights_of(vessel), bearing)
    others = []
    for other, she in VESSELS.items():
        if other == name:
            continue
        sides = {look(_lights_of(she), float(b)) for b in range(0, 360, 5)}
        if seen not in sides:
            others.append(other)
    # A stern light alone is anybody's.
    if len(others) < len(VESSELS) - 2:
        return None
    chosen = list(draw.chance.choice(np.array(others), _WORDS - 1, replace=False))
    words = tuple(str(w) for w in draw.chance.permutation(np.array([*chosen, name])))
    rule = ", ".join(sorted({one.rule for one in _lights_of(vessel) if one.shows_to(bearing)}))
    return "You see these lights. What is she?", (), name, words, f"She is {name}: Rules {rule}."


def _way(draw: Draw, name: str, vessel: Vessel, bearing: float) -> _Made | None:
    shown = [one for one in _lights_of(vessel) if one.shows_to(bearing)]
    if vessel.kind in ("anchored", "aground") or not any(one.role in ("side", "stern") for one in shown):
        return None
    word = TOWARDS if bearing == 0.0 else RIGHT if bearing < 112.5 else LEFT if bearing > 247.5 else AWAY
    told = ("She makes way through the water.",)
    why = {
        RIGHT: "her green is seen: her starboard side, so her bow points to your right",
        LEFT: "her red is seen: her port side, so her bow points to your left",
        TOWARDS: "both sidelights are seen: you are right ahead of her",
        AWAY: "her sternlight is seen, and neither sidelight",
    }[word]
    return "Which way does she go?", told, word, (TOWARDS, RIGHT, LEFT, AWAY), f"{why.capitalize()} (Rule 21)."


def _clear(draw: Draw, name: str, vessel: Vessel, bearing: float) -> _Made | None:
    if vessel.kind in ("anchored", "aground", "constrained by draught", "towing", "pilot"):
        # At anchor nobody gives way by these rules; of the others Rule 18 says more than one word.
        return None
    if not any(one.role in ("side", "stern") for one in _lights_of(vessel) if one.shows_to(bearing)):
        return None
    from_bow = _where_she_is(draw, bearing)
    met = meeting_under_rules(vessel, bearing, from_bow)
    if met is None:
        return None
    word = BOTH if met.gives_way is None else YOU if met.gives_way else SHE
    says = "keep out of her way." if vessel.kind in _STATUS and met.gives_way else met.action
    side = (
        "right ahead"
        if from_bow == 0.0
        else f"{abs(from_bow):.0f}° on your {'starboard' if from_bow > 0 else 'port'} bow"
    )
    told = (f"You are a power-driven vessel under way. She bears {side}, and the bearing does not change.",)
    return "Who keeps clear?", told, word, (YOU, SHE, BOTH), f"She is {name}. Rule {met.rule}: {says}"


def _where_she_is(draw: Draw, bearing: float) -> float:
    """Return where she bears from our bow, degrees to starboard, for a steady bearing with that side of her in view."""
    if bearing == 0.0:
        return 0.0
    if 112.5 < bearing < 247.5:
        return round(draw.between(-15.0, 15.0))
    # On a steady bearing her red is seen to starboard and her green to port.
    away = round(draw.between(25.0, 70.0))
    return float(away if bearing > 180.0 else -away)


def meeting_under_rules(vessel: Vessel, bearing_deg: float, from_bow_deg: float) -> Encounter | None:
    """Return what the rules say of her, we steering north at ten knots; in sight of one another."""
    bears = math.radians(from_bow_deg)
    course = bears + math.pi - math.radians(bearing_deg)
    overtaken = 112.5 < bearing_deg < 247.5
    found = encounters("in sight", 0.0, 5.0, bears, course, 2.5 if overtaken else 5.0, _STATUS.get(vessel.kind))
    return found[0] if found else None
