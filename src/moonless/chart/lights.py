"""Lights of the chart: their characters in chart abbreviations, their sectors, what is seen from where.

Sector limits are bearings from seaward, true: the bearing of the light as a boat sees it, clockwise from SECTR1 to
SECTR2 (IHO Geospatial Information Registry, attribute SECTR2: the limits run clockwise around the object, the bearing
is from seaward to it).  Abbreviations are those of IHO INT 1, section P, and IHO S-4, B-471; from memory.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from moonless.chart.s57.attributes import Attributes, codes, number
from moonless.chart.types import Feature, Mark
from moonless.constants import NAUTICAL_MILE_M
from moonless.errors import InputError
from moonless.frames import bearing_of, wrap_360

# LITCHR: codes of S-57 appendix A, chapter 2, attribute 107; abbreviations of INT 1, P 10.
CHARACTERS: dict[int, str] = {
    1: "F", 2: "Fl", 3: "LFl", 4: "Q", 5: "VQ", 6: "UQ", 7: "Iso", 8: "Oc", 9: "IQ", 10: "IVQ", 11: "IUQ", 12: "Mo",
    13: "FFl", 14: "Fl+LFl", 15: "Oc+Fl", 16: "F+LFl", 17: "Al.Oc", 18: "Al.LFl", 19: "Al.Fl", 20: "Al.Fl",
    25: "Q+LFl", 26: "VQ+LFl", 27: "UQ+LFl", 28: "Al", 29: "Al.FFl",
}  # fmt: skip
# COLOUR: only those a light can have.  INT 1, P 11.
COLOURS: dict[int, str] = {1: "W", 3: "R", 4: "G", 5: "Bu", 6: "Y", 9: "Am", 10: "Vi", 11: "Or"}
COLOUR_WORDS: dict[int, str] = {
    1: "white", 3: "red", 4: "green", 5: "blue", 6: "yellow", 9: "amber", 10: "violet", 11: "orange",
}  # fmt: skip
_FIXED, _FLASHING = 1, 2
# Without a stop these have no period to give: quick, very quick, ultra quick.
_CONTINUOUS = frozenset({4, 5, 6})
# STATUS: 4 not in use, 11 extinguished.
_OUT = frozenset({4, 11})
# EXCLIT: 2 by day only, 3 in fog only.
_NOT_AT_NIGHT = frozenset({2, 3})
_GROUP = re.compile(r"\(([^()]*)\)")
_PHASE = re.compile(r"(\()?\s*(\d+(?:\.\d+)?)\s*(\))?")


@dataclass(frozen=True, slots=True)
class Sector:
    """Where one LIGHTS feature shows: bearings from seaward, true, clockwise; both None: all round."""

    feature: str
    start_deg: float | None
    end_deg: float | None
    colours: tuple[int, ...]  # S-57 COLOUR codes
    range_nm: float | None  # nominal
    obscured: bool  # LITVIS 7: charted as not seen here
    faint: bool  # LITVIS 3, 8 (partially obscured)
    attributes: Attributes

    def holds(self, bearing_deg: float) -> bool:
        """Return whether a boat that has the light on this true bearing is in the sector; limits belong to it."""
        if self.start_deg is None or self.end_deg is None:
            return True
        span = wrap_360(self.end_deg - self.start_deg)
        # Equal limits are how some charts write an all-round light (000 to 360).
        return span == 0.0 or wrap_360(bearing_deg - self.start_deg) <= span


@dataclass(frozen=True, slots=True)
class ChartLight:
    """One light as a person would speak of it: all sectors that share a place and a character."""

    name: str | None
    cell: str
    east_m: float
    north_m: float
    height_m: float | None  # focal plane above high water, or above the sea for what floats
    text: str  # "Fl(2) R 6s 8m 5M"
    at_night: bool  # shown by night, and in use
    sectors: tuple[Sector, ...]

    def seen_from(self, east_m: float, north_m: float) -> tuple[Sector, ...]:
        """Return the sectors a place lies in, obscured ones left out; empty: the light does not show there.

        Says nothing of distance, land or weather.
        """
        bearing_deg = math.degrees(bearing_of(self.east_m - east_m, self.north_m - north_m))
        held = [sector for sector in self.sectors if sector.holds(bearing_deg)]
        return () if any(sector.obscured for sector in held) else tuple(held)


def lights_of(features: Sequence[Feature]) -> tuple[ChartLight, ...]:
    """Return the lights among features of one frame; LIGHTS on one spot with one character are one light's sectors."""
    groups: dict[tuple[object, ...], list[Feature]] = {}
    for feature in features:
        if feature.object != "LIGHTS":
            continue
        given = feature.attributes
        # A tenth of a metre: sectors of one light stand on the very same point.
        spot = (round(feature.shape.x, 1), round(feature.shape.y, 1))
        character = tuple(given.get(name) for name in ("LITCHR", "SIGGRP", "SIGPER", "HEIGHT"))
        # All-round lights of one character on one post are several lights (one above the other), not sectors.
        alone = feature.feature if "SECTR1" not in given else None
        groups.setdefault((feature.cell, spot, character, alone), []).append(feature)
    return tuple(_light(group) for group in groups.values())


def lights_of_mark(mark: Mark) -> tuple[ChartLight, ...]:
    """Return the lights a mark carries, each under its own name or the mark's."""
    return tuple(replace(light, name=light.name or mark.name) for light in lights_of(mark.lights))


def _light(group: Sequence[Feature]) -> ChartLight:
    first = group[0]
    return ChartLight(
        name=next((f.name for f in group if f.name), None),
        cell=first.cell,
        east_m=float(first.shape.x),
        north_m=float(first.shape.y),
        height_m=first.number("HEIGHT"),
        text=light_text([f.attributes for f in group]),
        at_night=any(is_shown_at_night(f.attributes) for f in group),
        sectors=tuple(_sector(f) for f in group),
    )


def _sector(feature: Feature) -> Sector:
    seen = set(codes(feature.attributes, "LITVIS"))
    return Sector(
        feature=feature.feature,
        start_deg=feature.number("SECTR1"),
        end_deg=feature.number("SECTR2"),
        colours=codes(feature.attributes, "COLOUR"),
        range_nm=feature.number("VALNMR"),
        obscured=7 in seen,
        faint=bool(seen & {3, 8}),
        attributes=feature.attributes,
    )


def is_shown_at_night(attributes: Attributes) -> bool:
    """Return whether a light is in use and shown in the dark."""
    return _OUT.isdisjoint(codes(attributes, "STATUS")) and attributes.get("EXCLIT") not in _NOT_AT_NIGHT


def light_text(sectors: Sequence[Attributes]) -> str:
    """Return the chart's abbreviation of a light: character, colours, period, height, nominal range.

    Parts the chart does not give are left out.  White is written only beside other colours, heights are rounded to
    a metre, differing ranges are written largest first ("15/10M", or "15-7M" for three and more), as INT 1, P 11,
    P 13 and P 14 have it.
    """
    if not sectors:
        raise InputError("a light's text was asked for without any light")
    first = sectors[0]
    words = [character_text(first)]
    colours = list(dict.fromkeys(code for sector in sectors for code in codes(sector, "COLOUR")))
    # White, red, green is the order in which sectors are written, whatever the order of the features.
    letters = [COLOURS[code] for code in sorted(colours, key=_colour_order) if code in COLOURS]
    if letters and letters != ["W"]:
        words.append("".join(letters))
    period, height = number(first, "SIGPER"), number(first, "HEIGHT")
    if period and not (first.get("LITCHR") in (None, _FIXED) or _is_continuous(first)):
        words.append(f"{period:g}s")
    if height is not None:
        words.append(f"{math.floor(height + 0.5)}m")
    told = (number(sector, "VALNMR") for sector in sectors)
    ranges = sorted({one for one in told if one is not None}, reverse=True)
    if ranges:
        joined = f"{ranges[0]:g}-{ranges[-1]:g}" if len(ranges) > 2 else "/".join(f"{r:g}" for r in ranges)
        words.append(f"{joined}M")
    count = number(first, "MLTYLT")
    if count is not None and count > 1:
        words.insert(0, f"{count:g}")
    return " ".join(word for word in words if word)


def character_text(attributes: Attributes) -> str:
    """Return the character with its groups: "Fl(2+1)", "Q(6)+LFl", "Mo(A)"; "" if the chart does not give it."""
    code = attributes.get("LITCHR")
    if not isinstance(code, int) or code not in CHARACTERS:
        return ""
    kinds = CHARACTERS[code].split("+")
    groups = _GROUP.findall(str(attributes.get("SIGGRP", "")))
    if code == 13 and len(groups) > 1:
        # Fixed and flashing: the first bracket is the fixed part and is empty.
        groups = groups[1:]
    out = []
    for i, kind in enumerate(kinds):
        group = groups[i].strip() if i < len(groups) else ""
        # One flash in each period needs no number.
        out.append(kind if group in ("", "1") else f"{kind}({group})")
    return "+".join(out)


def sequence(attributes: Attributes) -> tuple[tuple[bool, float], ...]:
    """Return the phases of one period, (lit, seconds) each, from SIGSEQ; empty if the chart does not give it.

    SIGSEQ writes light as "LL.L" and eclipse as "(EE.E)", joined by "+" (S-57 appendix A, chapter 2, attribute 143).
    """
    text = str(attributes.get("SIGSEQ", ""))
    return tuple((opened == "", float(length)) for opened, length, _ in _PHASE.findall(text))


def nominal_range_m(sector: Sector) -> float | None:
    """Return the nominal range (ten miles of meteorological visibility); None if the chart does not give it."""
    return None if sector.range_nm is None else sector.range_nm * NAUTICAL_MILE_M


def _is_continuous(attributes: Attributes) -> bool:
    groups = [g for g in _GROUP.findall(str(attributes.get("SIGGRP", ""))) if g.strip() not in ("", "1")]
    return attributes.get("LITCHR") in _CONTINUOUS and not groups


def _colour_order(code: int) -> int:
    order = (1, 3, 4)
    return order.index(code) if code in order else len(order) + code
