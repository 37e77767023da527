"""The lights of the rules: their arcs, ranges and colours, and the vessels that show them.

Source: Convention on the International Regulations for Preventing Collisions at Sea, 1972, as amended (COLREGs), Rules
20 to 31 and Annex I; the US inland rules 33 CFR 83 and 84 where ``inland`` says so.  In our own words: the rules
themselves and local regulations hold.  Rule numbers stand on every light.  Which texts were read, and where, stands in
REFERENCES.md.  Which set a vessel must show: `moonless.rules.required`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from moonless.errors import InputError

Colour = Literal["white", "red", "green", "yellow", "blue"]
Role = Literal["masthead", "side", "stern", "towing", "all-round", "flashing", "special flashing"]
Kind = Literal[
    "power",
    "sail",
    "oars",
    "air-cushion",
    "wing-in-ground",
    "towing",
    "pushing",
    "towed",
    "towed alongside",
    "pushed",
    "partly submerged tow",
    "trawling",
    "fishing",
    "not under command",
    "restricted",
    "dredging or diving",
    "mine clearance",
    "constrained by draught",
    "pilot",
    "anchored",
    "aground",
    "law enforcement",
]
KINDS: tuple[Kind, ...] = get_args(Kind)

# What a vessel fishing near others may show besides, Annex II: trawlers 2(a), purse seiners 3.
NetSignal = Literal["shooting", "hauling", "fast", "purse seine"]

# Arcs, (from, to) degrees clockwise from the bow: Rule 21.
MASTHEAD_ARC = (247.5, 112.5)
STARBOARD_ARC = (0.0, 112.5)
PORT_ARC = (247.5, 0.0)
STERN_ARC = (112.5, 247.5)
ALL_ROUND = (0.0, 360.0)


@dataclass(frozen=True, slots=True, repr=False)
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

    def __repr__(self) -> str:
        arc = "" if self.arc_deg == ALL_ROUND else f" {self.arc_deg[0]:05.1f}-{self.arc_deg[1]:05.1f}°"
        return f"Light({self.role} {self.colour} {self.range_nm:g} NM{arc})"

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

    ``length_m`` overall (of a partly submerged tow: its own); ``max_speed_kn`` None: not known; ``making_way``: moving
    through the water.  ``tow_m``: length of the tow from the towing vessel's stern; ``gear_m``: outlying fishing gear,
    horizontally; ``breadth_m`` of a partly submerged tow.  ``at_anchor`` for those who work, pilot or clear mines at
    anchor.  ``tow_restricts``: the tow severely restricts her in leaving her course, Rule 27(c).
    """

    kind: Kind
    length_m: float
    max_speed_kn: float | None = None
    making_way: bool = True
    inland: bool = False
    tow_m: float = 0.0
    gear_m: float = 0.0
    breadth_m: float = 10.0
    under_sail_and_power: bool = False
    at_anchor: bool = False
    tow_restricts: bool = False
    net_signal: NetSignal | None = None

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InputError(f"kind {self.kind!r} is not one of {', '.join(KINDS)}")
        if not 0.0 < self.length_m < 600.0:
            raise InputError(f"length {self.length_m} m is not a vessel's length (above 0, below 600)")
        if self.max_speed_kn is not None and not 0.0 <= self.max_speed_kn < 200.0:
            raise InputError(f"speed {self.max_speed_kn} kn is not a vessel's speed (0 to 200)")
        for what, metres in (("tow", self.tow_m), ("gear", self.gear_m), ("breadth", self.breadth_m)):
            if not 0.0 <= metres < 10_000.0:
                raise InputError(f"{what} {metres} m is not a length (0 to 10 000)")
        if self.under_sail_and_power and self.kind != "sail":
            raise InputError(f"sail with the engine running is said of a sailing vessel, not of one {self.kind}")
        if self.at_anchor and self.kind not in ANCHORED_AT_WORK:
            raise InputError(f"at anchor is told by the kind 'anchored', or with {', '.join(ANCHORED_AT_WORK)}")
        if self.tow_restricts and self.kind != "towing":
            raise InputError("a tow that restricts goes with the kind 'towing', Rule 27(c)")
        if self.net_signal is not None and self.kind != _NETS[self.net_signal]:
            raise InputError(f"the signal {self.net_signal!r} is for a vessel {_NETS[self.net_signal]}, Annex II")


# Rules 26(a), 27(b)(iv), (d)(iii), (f), 29(a)(iii): at anchor they show more than a vessel that only lies there.
ANCHORED_AT_WORK: tuple[Kind, ...] = (
    "trawling", "fishing", "restricted", "dredging or diving", "mine clearance", "pilot",
)  # fmt: skip
_NETS: dict[NetSignal, Kind] = {
    "shooting": "trawling", "hauling": "trawling", "fast": "trawling", "purse seine": "fishing",
}  # fmt: skip


@dataclass(frozen=True, slots=True, repr=False)
class Outfit:
    """One lawful set of lights, and when the rules allow it."""

    name: str
    lights: tuple[Light, ...]
    note: str = ""

    def __repr__(self) -> str:
        return f"Outfit({self.name}: {', '.join(f'{one.colour} {one.role}' for one in self.lights)})"


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
