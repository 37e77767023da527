"""Which lights a vessel must show: every lawful set, by Rules 20 to 31 and Annex II.

In our own words; sources as `moonless.rules.lights` says.  From memory: 23(b), (c), 24(f), (g), 27(c), (f), 28, Annex
II and the inland light of law enforcement, 33 CFR 88.
"""

from __future__ import annotations

import math
from dataclasses import replace

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
    range_nm,
)


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


def _with_flash(vessel: Vessel, colour: Colour, rule: str, where: str) -> list[Outfit]:
    """Return a power-driven vessel's sets, each with one all-round flashing light."""
    reach = range_nm("flashing", vessel.length_m)
    flash = Light("flashing", colour, ALL_ROUND, reach, rule, where)
    plain = _power(replace(vessel, kind="power"))
    # The small craft's white alone is not for these: the rule adds to what a power-driven vessel shows.
    return [Outfit(vessel.kind, (*o.lights, flash), o.note) for o in plain if len(o.lights) > 1]


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
    if vessel.tow_restricts:
        lights += _all_round(length, "27(b)(i), (c)", "red", "white", "red")
        return [Outfit("towing, restricted by her tow", lights, note)]
    return [Outfit("towing", lights, note)]


# Rule 24(g)(i) to (iii), 22(d).
BROAD_M, LONG_M, TOW_LIGHT_NM = 25.0, 100.0, 3.0


def _partly_submerged(vessel: Vessel) -> list[Outfit]:
    def white(where: str, rule: str) -> Light:
        return Light("all-round", "white", ALL_ROUND, TOW_LIGHT_NM, rule, where)

    lights = [white("at or near the forward end", "24(g)(i)"), white("at or near the after end", "24(g)(i)")]
    if vessel.breadth_m >= BROAD_M:
        lights += [white(f"at or near the {side} edge", "24(g)(ii)") for side in ("port", "starboard")]
    # No more than 100 m between the lights.
    between = max(0, math.ceil(vessel.length_m / LONG_M) - 1)
    lights += [white("between them, no more than 100 m apart", "24(g)(iii)")] * between
    return [Outfit("partly submerged tow", tuple(lights), "low in the water, hard to see by eye and by radar")]


def _pushed(vessel: Vessel) -> list[Outfit]:
    """Return the lights of what is pushed ahead, or towed alongside; of a group, one set."""
    length, alongside = vessel.length_m, vessel.kind == "towed alongside"
    rule = "24(f)(ii)" if alongside else "24(f)(i)"
    lights: tuple[Light, ...] = tuple(replace(x, where=f"{x.where}, at the forward end") for x in _sides(length, rule))
    if alongside:
        lights += (_stern(length, rule),)
    if vessel.inland:
        # 180 to 225 degrees, 50 to 70 flashes a minute.
        reach = range_nm("special flashing", length)
        lights += (Light("special flashing", "yellow", (270.0, 90.0), reach, f"inland {rule}", "at the forward end"),)
    return [Outfit(vessel.kind, lights, "not one rigid whole with the vessel that pushes: that is Rule 24(b)")]


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
    if vessel.net_signal is not None:
        lights += _net_lights(vessel)
    if vessel.making_way and not vessel.at_anchor:
        lights += _sides_and_stern(length, f"{rule}(iii)")
    return [Outfit(vessel.kind, lights)]


def _net_lights(vessel: Vessel) -> tuple[Light, ...]:
    """Return the signal to others who fish close by: seen at a mile at least, less far than the lights of Rule 26."""
    if vessel.net_signal == "purse seine":
        where = "in a vertical line, flashing by turns every second, only while held by her gear"
        colours: tuple[Colour, Colour] = ("yellow", "yellow")
        rule = "Annex II 3"
    else:
        colours = {"shooting": ("white", "white"), "hauling": ("white", "red"), "fast": ("red", "red")}[
            vessel.net_signal or "shooting"
        ]  # type: ignore[assignment]
        where, rule = "in a vertical line, lower than the lights of Rule 26", "Annex II 2(a)"
    role: Role = "flashing" if vessel.net_signal == "purse seine" else "all-round"
    return tuple(
        Light(role, colour, ALL_ROUND, 1.0, rule, where, "nets", level) for level, colour in enumerate(colours)
    )


def _with_way(vessel: Vessel, name: str, top: tuple[Light, ...], rule: str, *, mastheads: bool) -> list[Outfit]:
    lights = top
    if vessel.at_anchor:
        return [Outfit(f"{name}, at anchor", (*top, *_anchor_lights(vessel.length_m)))]
    if vessel.making_way:
        if mastheads:
            lights += _power_mastheads(vessel)
        lights += _sides_and_stern(vessel.length_m, rule)
    return [Outfit(name, lights, "" if vessel.making_way else "not making way: no sidelights, no sternlight")]


def _anchor_lights(length_m: float) -> tuple[Light, ...]:
    """Return what Rule 30 asks for at the least, whatever her length: those at work show it at any."""
    return _anchored(Vessel("anchored", max(length_m, 7.0)))[0].lights


def _dredging(vessel: Vessel) -> list[Outfit]:
    length = vessel.length_m
    top = _all_round(length, "27(d)", "red", "white", "red")
    foul = [replace(x, group="foul side") for x in _all_round(length, "27(d)(i)", "red", "red")]
    clear = [replace(x, group="clear side") for x in _all_round(length, "27(d)(ii)", "green", "green")]
    top = (*top, *(replace(x, where="on the obstructed side, in a vertical line") for x in foul))
    marked = (*top, *(replace(x, where="on the side where another may pass, in a vertical line") for x in clear))
    # The pairs are for an obstruction; a diving vessel too small for them shows the three alone, 27(e)(i).
    alone = _all_round(length, "27(d), (e)(i)", "red", "white", "red")
    if vessel.at_anchor:
        # 27(d)(iii): these in place of the anchor light while there is an obstruction; 27(b)(iv) with it otherwise.
        return [
            Outfit("dredging or diving", marked, "at anchor: no anchor light, Rule 27(d)(iii)"),
            *_with_way(vessel, "dredging or diving, nothing in the way", alone, "27(b)(iii)", mastheads=True),
        ]
    return [
        *_with_way(vessel, "dredging or diving", marked, "27(b)(iii)", mastheads=True),
        *_with_way(vessel, "dredging or diving, nothing in the way", alone, "27(b)(iii)", mastheads=True),
    ]


def _mine_clearance(vessel: Vessel) -> list[Outfit]:
    reach = range_nm("all-round", vessel.length_m)
    places = ("near the foremast head", "at one end of the fore yard", "at the other end of the fore yard")
    greens = tuple(Light("all-round", "green", ALL_ROUND, reach, "27(f)", where) for where in places)
    note = "nobody comes within 1000 m of her"
    if vessel.at_anchor:
        return [Outfit("mine clearance, at anchor", (*greens, *_anchor_lights(vessel.length_m)), note)]
    plain = (*_power_mastheads(vessel), *_sides_and_stern(vessel.length_m, "27(f), 23(a)"))
    return [Outfit("mine clearance", (*greens, *plain), note)]


# What a small vessel shows that Rule 27(g) lets off: not a signal, so nobody can be told by it.
LET_OFF = "as a power-driven vessel"


def _let_off(vessel: Vessel) -> list[Outfit]:
    if vessel.length_m >= 12.0:
        return []
    note = "under 12 m and not diving: the lights of Rule 27 are not asked of her, Rule 27(g)"
    return [Outfit(LET_OFF, _power(replace(vessel, kind="power", at_anchor=False))[0].lights, note)]


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
    if vessel.at_anchor:
        return [Outfit("pilot vessel at anchor", (*lights, *_anchor_lights(vessel.length_m)), "Rule 29(a)(iii)")]
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
        case "air-cushion":
            return _with_flash(vessel, "yellow", "23(b)", "where best seen, while she is not held up by the water")
        case "wing-in-ground":
            return _with_flash(vessel, "red", "23(c)", "of high intensity: taking off, landing, flying near the water")
        case "law enforcement":
            if not vessel.inland:
                raise InputError("a law enforcement vessel's flashing blue light is told with the inland rules alone")
            return _with_flash(vessel, "blue", "33 CFR 88", "she may show it while at work")
        case "towing":
            return _towing(vessel)
        case "pushing":
            return _pushing(vessel)
        case "towed":
            return [Outfit("towed", _sides_and_stern(length, "24(e)"))]
        case "pushed" | "towed alongside":
            return _pushed(vessel)
        case "partly submerged tow":
            return _partly_submerged(vessel)
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
            return _dredging(vessel)
        case "mine clearance":
            return _mine_clearance(vessel)
        case "constrained by draught":
            if vessel.inland:
                raise InputError("the US inland rules do not know a vessel constrained by her draught")
            # In addition to the lights of Rule 23, which do not depend on making way.
            top = _all_round(length, "28", "red", "red", "red")
            lights = (*top, *_power_mastheads(vessel), *_sides_and_stern(length, "28, 23(a)"))
            return [Outfit("constrained by her draught", lights)]
        case "pilot":
            return _pilot(vessel)
        case "anchored":
            return _anchored(vessel)
        case "aground":
            return _aground(vessel)
