"""The lights of the rules: their arcs, ranges and colours, and which a vessel must show.

Source: Convention on the International Regulations for Preventing Collisions at Sea, 1972, as amended (COLREGs), Rules
20 to 31 and Annex I; the US inland rules 33 CFR 83 and 84 where ``inland`` says so.  In our own words: the rules
themselves and local regulations hold.  Rule numbers stand on every light.  Which texts were read, and where, stands in
REFERENCES.md.  Left out: 24(f) and (g) (what is pushed, alongside or partly submerged) and 27(f) (mine clearance).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from moonless.errors import InputError

Colour = Literal["white", "red", "green", "yellow"]
Role = Literal["masthead", "side", "stern", "towing", "all-round", "flashing", "special flashing"]
Kind = Literal[
    "power",
    "sail",
    "oars",
    "towing",
    "pushing",
    "towed",
    "trawling",
    "fishing",
    "not under command",
    "restricted",
    "dredging or diving",
    "constrained by draught",
    "pilot",
    "anchored",
    "aground",
]

KINDS: tuple[Kind, ...] = (
    "power", "sail", "oars", "towing", "pushing", "towed", "trawling", "fishing", "not under command", "restricted",
    "dredging or diving", "constrained by draught", "pilot", "anchored", "aground",
)  # fmt: skip

# Arcs, (from, to) degrees clockwise from the bow: Rule 21.
MASTHEAD_ARC = (247.5, 112.5)
STARBOARD_ARC = (0.0, 112.5)
PORT_ARC = (247.5, 0.0)
STERN_ARC = (112.5, 247.5)
ALL_ROUND = (0.0, 360.0)


@dataclass(frozen=True, slots=True)
class Light:
    """One light as the rules ask for it.  ``level``: order within a vertical group, 0 the highest; None: alone."""

    role: Role
    colour: Colour
    arc_deg: tuple[float, float]
    range_nm: float
    rule: str
    where: str
    group: str = ""  # lights of one vertical line share a group
    level: int | None = None
    optional: bool = False

    def shows_to(self, bearing_deg: float) -> bool:
        """Return True if an observer at this bearing from the bow sees it; both edges of an arc count."""
        start, end = self.arc_deg
        if (start, end) == ALL_ROUND:
            return True
        width = (end - start) % 360.0
        return (bearing_deg - start) % 360.0 <= width + 1e-9


@dataclass(frozen=True, slots=True)
class Vessel:
    """A vessel by what the rules care about.

    ``length_m`` overall; ``max_speed_kn`` None: not known; ``making_way``: moving through the water.
    ``tow_m``: length of the tow from the towing vessel's stern; ``gear_m``: outlying fishing gear, horizontally.
    """

    kind: Kind
    length_m: float
    max_speed_kn: float | None = None
    making_way: bool = True
    inland: bool = False
    tow_m: float = 0.0
    gear_m: float = 0.0
    under_sail_and_power: bool = False

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InputError(f"kind {self.kind!r} is not one of {', '.join(KINDS)}")
        if not 0.0 < self.length_m < 600.0:
            raise InputError(f"length {self.length_m} m is not a vessel's length (above 0, below 600)")
        if self.max_speed_kn is not None and not 0.0 <= self.max_speed_kn < 200.0:
            raise InputError(f"speed {self.max_speed_kn} kn is not a vessel's speed (0 to 200)")
        for what, metres in (("tow", self.tow_m), ("gear", self.gear_m)):
            if not 0.0 <= metres < 10_000.0:
                raise InputError(f"{what} {metres} m is not a length (0 to 10 000)")


@dataclass(frozen=True, slots=True)
class Outfit:
    """One lawful set of lights, and when the rules allow it."""

    name: str
    lights: tuple[Light, ...]
    note: str = ""


def range_nm(role: Role, length_m: float) -> float:
    """Return the least visible range of a light, nautical miles: Rule 22."""
    if role == "special flashing":
        return 2.0  # 33 CFR 83.22
    if length_m >= 50.0:
        return 6.0 if role == "masthead" else 3.0
    if length_m >= 20.0:
        return 5.0 if role == "masthead" else 2.0
    if length_m >= 12.0:
        return 3.0 if role == "masthead" else 2.0
    if role == "side":
        return 1.0
    return 2.0


def intensity_cd(range_in_nm: float, transmissivity: float = 0.8) -> float:
    """Return the candela that a light needs for a range: Annex I section 8, I = 3.43e6 T D^2 K^-D."""
    return float(3.43e6 * 2e-7 * range_in_nm**2 * transmissivity**-range_in_nm)


def range_for_intensity_nm(candela: float, transmissivity: float = 0.8) -> float:
    """Return the range that an intensity gives by the same formula; 0 for none."""
    if candela <= 0.0:
        return 0.0
    low, high = 0.0, 40.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if intensity_cd(middle, transmissivity) < candela:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


# ---- the pieces ----------------------------------------------------------------------------------------------------


def _masthead(length_m: float, rule: str, *, aft: bool = False, optional: bool = False) -> Light:
    where = "abaft and higher than the forward one" if aft else "forward, on the centre line"
    return Light("masthead", "white", MASTHEAD_ARC, range_nm("masthead", length_m), rule, where, optional=optional)


def _masthead_line(length_m: float, rule: str, count: int) -> tuple[Light, ...]:
    reach = range_nm("masthead", length_m)
    return tuple(
        Light("masthead", "white", MASTHEAD_ARC, reach, rule, "in a vertical line", "masthead", level)
        for level in range(count)
    )


def _sides_and_stern(length_m: float, rule: str) -> tuple[Light, ...]:
    return (*_sides(length_m, rule), _stern(length_m, rule))


def _sides(length_m: float, rule: str) -> tuple[Light, Light]:
    where = "on each side, or both in one lantern on the centre line" if length_m < 20.0 else "on each side"
    reach = range_nm("side", length_m)
    return (
        Light("side", "green", STARBOARD_ARC, reach, rule, f"starboard: {where}"),
        Light("side", "red", PORT_ARC, reach, rule, f"port: {where}"),
    )


def _stern(length_m: float, rule: str) -> Light:
    return Light("stern", "white", STERN_ARC, range_nm("stern", length_m), rule, "as near the stern as can be")


def _all_round(length_m: float, rule: str, *colours: Colour, where: str = "where best seen") -> tuple[Light, ...]:
    reach = range_nm("all-round", length_m)
    if len(colours) == 1:
        return (Light("all-round", colours[0], ALL_ROUND, reach, rule, where),)
    return tuple(
        Light("all-round", colour, ALL_ROUND, reach, rule, f"{where}, in a vertical line", "all-round", level)
        for level, colour in enumerate(colours)
    )


def _power_mastheads(vessel: Vessel) -> tuple[Light, ...]:
    forward = _masthead(vessel.length_m, "23(a)(i)")
    if vessel.length_m >= 50.0:
        return (forward, _masthead(vessel.length_m, "23(a)(ii)", aft=True))
    return (forward,)


def _power(vessel: Vessel) -> list[Outfit]:
    length = vessel.length_m
    lights = (*_power_mastheads(vessel), *_sides_and_stern(length, "23(a)"))
    out = [Outfit("masthead, sidelights, sternlight", lights)]
    if 20.0 <= length < 50.0:
        # Under 50 m she is not obliged to show it but may; below 20 m it is lawful too, and not met in practice.
        after = _masthead(length, "23(a)(ii)", aft=True)
        out.append(Outfit("two masthead lights, sidelights, sternlight", (*lights, after), "under 50 m she may"))
    if length < 12.0:
        out.append(
            Outfit(
                "all-round white and sidelights",
                (*_all_round(length, "23(d)(i)", "white"), *_sides(length, "23(d)(i)")),
                "under 12 m: the all-round white in place of masthead and sternlight",
            )
        )
    slow = vessel.max_speed_kn is not None and vessel.max_speed_kn <= 7.0
    if length < 7.0 and slow and not vessel.inland:
        out.append(
            Outfit(
                "all-round white alone",
                _all_round(length, "23(d)(ii)", "white"),
                "under 7 m and no faster than 7 knots; sidelights too if practicable",
            )
        )
    return out


def _sail(vessel: Vessel) -> list[Outfit]:
    length = vessel.length_m
    if vessel.under_sail_and_power:
        return _power(replace(vessel, kind="power", under_sail_and_power=False))
    base = _sides_and_stern(length, "25(a)")
    out = [Outfit("sidelights and sternlight", base)]
    top = _all_round(length, "25(c)", "red", "green", where="at or near the top of the mast")
    out.append(Outfit("sidelights, sternlight, red over green", (*top, *base), "optional, never with a tricolour"))
    if length < 20.0:
        reach = range_nm("side", length)
        lantern = "in one lantern at or near the top of the mast"
        out.append(
            Outfit(
                "tricolour lantern",
                (
                    Light("side", "green", STARBOARD_ARC, reach, "25(b)", lantern),
                    Light("side", "red", PORT_ARC, reach, "25(b)", lantern),
                    Light("stern", "white", STERN_ARC, range_nm("stern", length), "25(b)", lantern),
                ),
                "under 20 m, under sail alone",
            )
        )
    if length < 7.0:
        out.append(_torch("25(d)(i)", length))
    return out


def _torch(rule: str, length_m: float) -> Outfit:
    light = Light("all-round", "white", ALL_ROUND, range_nm("all-round", length_m), rule, "a torch or lantern in hand")
    return Outfit("white light ready to show", (light,), "shown in time to prevent collision")


def _towing(vessel: Vessel) -> list[Outfit]:
    length = vessel.length_m
    count = 3 if vessel.tow_m > 200.0 else 2
    reach = range_nm("towing", length)
    yellow = Light("towing", "yellow", STERN_ARC, reach, "24(a)(iv)", "above the sternlight", "stern", 0)
    stern = replace(_stern(length, "24(a)(iii)"), group="stern", level=1)
    lights: tuple[Light, ...] = _masthead_line(length, "24(a)(i)", count)
    lights += (*_sides(length, "24(a)(ii)"), stern, yellow)
    if length >= 50.0:
        lights += (_masthead(length, "24(d), 23(a)(ii)", aft=True),)
    note = "tow over 200 m: three masthead lights in line" if count == 3 else "tow of 200 m or less"
    return [Outfit("towing", lights, note)]


def _pushing(vessel: Vessel) -> list[Outfit]:
    length = vessel.length_m
    lights: tuple[Light, ...] = (*_masthead_line(length, "24(c)(i)", 2), *_sides(length, "24(c)(ii)"))
    if vessel.inland:
        reach = range_nm("towing", length)
        lights += tuple(
            Light("towing", "yellow", STERN_ARC, reach, "inland 24(c)(iii)", "in a vertical line aft", "stern", level)
            for level in range(2)
        )
    else:
        lights += (_stern(length, "24(c)(iii)"),)
    if length >= 50.0:
        lights += (_masthead(length, "24(d), 23(a)(ii)", aft=True),)
    return [Outfit("pushing ahead or towing alongside", lights)]


def _fishing(vessel: Vessel) -> list[Outfit]:
    length = vessel.length_m
    trawling = vessel.kind == "trawling"
    rule = "26(b)" if trawling else "26(c)"
    colours: tuple[Colour, Colour] = ("green", "white") if trawling else ("red", "white")
    lights: tuple[Light, ...] = _all_round(length, f"{rule}(i)", *colours)
    if trawling:
        above = "abaft and higher than the all-round green"
        reach = range_nm("masthead", length)
        must = length >= 50.0
        lights += (Light("masthead", "white", MASTHEAD_ARC, reach, "26(b)(ii)", above, optional=not must),)
    elif vessel.gear_m > 150.0:
        reach = range_nm("all-round", length)
        lights += (Light("all-round", "white", ALL_ROUND, reach, "26(c)(ii)", "towards the outlying gear"),)
    if vessel.making_way:
        lights += _sides_and_stern(length, f"{rule}(iii)")
    return [Outfit(vessel.kind, lights)]


def _with_way(vessel: Vessel, name: str, top: tuple[Light, ...], rule: str, *, mastheads: bool) -> list[Outfit]:
    lights = top
    if vessel.making_way:
        if mastheads:
            lights += _power_mastheads(vessel)
        lights += _sides_and_stern(vessel.length_m, rule)
    return [Outfit(name, lights, "" if vessel.making_way else "not making way: no sidelights, no sternlight")]


# What a small vessel shows that Rule 27(g) lets off: not a signal, so nobody can be told by it.
LET_OFF = "as a power-driven vessel"


def _let_off(vessel: Vessel) -> list[Outfit]:
    if vessel.length_m >= 12.0:
        return []
    note = "under 12 m and not diving: the lights of Rule 27 are not asked of her, Rule 27(g)"
    return [Outfit(LET_OFF, _power(replace(vessel, kind="power"))[0].lights, note)]


def _anchored(vessel: Vessel) -> list[Outfit]:
    length = vessel.length_m
    reach = range_nm("all-round", length)
    fore = Light("all-round", "white", ALL_ROUND, reach, "30(a)(i)", "in the fore part")
    aft = Light("all-round", "white", ALL_ROUND, reach, "30(a)(ii)", "at the stern, lower")
    note = "100 m and over: the decks lit as well, Rule 30(c)" if length >= 100.0 else ""
    out = [Outfit("two all-round white", (fore, aft), note)]
    if length < 50.0:
        out.insert(0, Outfit("one all-round white", _all_round(length, "30(b)", "white")))
    if length < 7.0:
        away = "under 7 m, away from channels, fairways, anchorages and where others go: Rule 30(e)"
        out.append(Outfit("none", (), away))
    if vessel.inland and length < 20.0:
        out.append(Outfit("none in a special anchorage", (), "under 20 m, where one is designated: inland Rule 30(g)"))
    return out


def _aground(vessel: Vessel) -> list[Outfit]:
    anchor = _anchored(replace(vessel, kind="anchored", length_m=max(vessel.length_m, 7.0)))[0].lights
    red = _all_round(vessel.length_m, "30(d)(i)", "red", "red")
    out = [Outfit("anchor light and red over red", (*anchor, *red))]
    if vessel.length_m < 12.0:
        out.append(Outfit("anchor light alone", anchor, "under 12 m the two reds are not required: Rule 30(f)"))
    return out


def _pilot(vessel: Vessel) -> list[Outfit]:
    lights = _all_round(vessel.length_m, "29(a)(i)", "white", "red", where="at or near the masthead")
    return [Outfit("pilot vessel under way", (*lights, *_sides_and_stern(vessel.length_m, "29(a)(ii)")))]


def required(vessel: Vessel) -> list[Outfit]:
    """Return the lawful sets of lights for a vessel, the fullest first.

    Raises InputError for a vessel that the chosen rules do not know (constrained by draught on US inland waters).
    """
    length = vessel.length_m
    match vessel.kind:
        case "power":
            return _power(vessel)
        case "sail":
            return _sail(vessel)
        case "oars":
            return [Outfit("as a sailing vessel", _sides_and_stern(length, "25(d)(ii)")), _torch("25(d)(ii)", length)]
        case "towing":
            return _towing(vessel)
        case "pushing":
            return _pushing(vessel)
        case "towed":
            return [Outfit("towed", _sides_and_stern(length, "24(e)"))]
        case "trawling" | "fishing":
            return _fishing(vessel)
        case "not under command":
            top = _all_round(length, "27(a)(i)", "red", "red")
            shown = _with_way(vessel, "not under command", top, "27(a)(iii)", mastheads=False)
            return shown + _let_off(vessel)
        case "restricted":
            top = _all_round(length, "27(b)(i)", "red", "white", "red")
            shown = _with_way(vessel, "restricted in her ability to manoeuvre", top, "27(b)(iii)", mastheads=True)
            return shown + _let_off(vessel)
        case "dredging or diving":
            top = _all_round(length, "27(d)", "red", "white", "red")
            foul = [replace(x, group="foul side") for x in _all_round(length, "27(d)(i)", "red", "red")]
            clear = [replace(x, group="clear side") for x in _all_round(length, "27(d)(ii)", "green", "green")]
            top = (*top, *(replace(x, where="on the obstructed side") for x in foul))
            marked = (*top, *(replace(x, where="on the side where another may pass") for x in clear))
            # The pairs are for an obstruction; a diving vessel too small for them shows the three alone, 27(e)(i).
            alone = _all_round(length, "27(d), (e)(i)", "red", "white", "red")
            return [
                *_with_way(vessel, "dredging or diving", marked, "27(b)(iii)", mastheads=True),
                *_with_way(vessel, "dredging or diving, nothing in the way", alone, "27(b)(iii)", mastheads=True),
            ]
        case "constrained by draught":
            if vessel.inland:
                raise InputError("the US inland rules do not know a vessel constrained by her draught")
            top = _all_round(length, "28", "red", "red", "red")
            return _with_way(vessel, "constrained by her draught", top, "23(a)", mastheads=True)
        case "pilot":
            return _pilot(vessel)
        case "anchored":
            return _anchored(vessel)
        case "aground":
            return _aground(vessel)
