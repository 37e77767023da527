"""What of the chart is drawn, as what kind, and from which zoom on.  One table; the looks are the screen's business.

The grouping and the zooms are ours: a decluttered chart under a radar picture.  Where the chart itself says down to
which scale a thing is worth showing (SCAMIN), that holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from moonless.chart.drawn.grid import zoom_of_scale
from moonless.chart.s57 import classes
from moonless.chart.s57.attributes import Attributes, codes, number

MIN_ZOOM = 6
# Beyond this the screen enlarges: a tile of it is drawn to a quarter of a metre.
MAX_ZOOM = 14
# Tiles from here on are cut from one block of this zoom, which is worked out once.
BLOCK_ZOOM = 10

# Areas that meet without gap or overlap, by what they are: land, built, water.
LAND = frozenset({"LNDARE"})
BUILT = frozenset(classes.SOLID_ON_WATER)
WATER = frozenset({*classes.DEPTH_AREAS, "UNSARE"})
FLOOR = LAND | BUILT | WATER


class Rule(NamedTuple):
    """How a class is drawn as a line: its kind, and the zoom it begins at where the chart gives none."""

    kind: str
    zoom: float


# What is drawn as lines: an area's outline, or the line itself.
LINES: Mapping[str, Rule] = {
    "SLCONS": Rule("works", 12.0),
    "MORFAC": Rule("works", 14.0),
    "PONTON": Rule("works", 13.0),
    "CAUSWY": Rule("works", 11.0),
    "DAMCON": Rule("works", 11.0),
    "DYKCON": Rule("works", 12.0),
    "GATCON": Rule("works", 12.0),
    "OFSPLF": Rule("works", 12.0),
    "CONVYR": Rule("works", 13.0),
    "OILBAR": Rule("works", 12.0),
    "LOGPON": Rule("works", 12.0),
    "FSHFAC": Rule("stakes", 12.0),
    "MARCUL": Rule("stakes", 12.0),
    "OBSTRN": Rule("foul", 12.0),
    "WRECKS": Rule("foul", 12.0),
    "CBLOHD": Rule("overhead", 11.0),
    "PIPOHD": Rule("overhead", 11.0),
    "CBLSUB": Rule("cable", 12.0),
    "PIPSOL": Rule("cable", 12.0),
    "CBLARE": Rule("cables", 12.0),
    "PIPARE": Rule("cables", 12.0),
    "ACHARE": Rule("anchorage", 11.5),
    "ACHBRT": Rule("anchorage", 12.5),
    "RESARE": Rule("area", 11.0),
    "CTNARE": Rule("area", 11.5),
    "PRCARE": Rule("area", 10.0),
    "MIPARE": Rule("area", 10.0),
    "DMPGRD": Rule("area", 12.0),
    "SPLARE": Rule("area", 12.0),
    "FAIRWY": Rule("fairway", 10.5),
    "DWRTPT": Rule("fairway", 9.0),
    "TSSLPT": Rule("fairway", 9.0),
    "TSEZNE": Rule("entry", 9.0),
    "TSSBND": Rule("fairway", 9.0),
    "TSELNE": Rule("fairway", 9.0),
    "RECTRC": Rule("lead", 11.0),
    "NAVLNE": Rule("lead", 11.0),
    "LAKARE": Rule("inland", 13.0),
    "RIVERS": Rule("inland", 13.0),
    "BUISGL": Rule("house", 14.0),
}
# RESTRN: 7 entry prohibited, 8 entry restricted, 14 area to be avoided.
_KEEP_OUT = frozenset({7, 8, 14})

# Whose names are written, and how near: areas from the zoom that shows them large enough, points from this one.
NAMES: Mapping[str, float] = {
    "SEAARE": 12.0, "LNDRGN": 12.0, "LNDARE": 12.0, "BUAARE": 11.0, "ACHARE": 12.5, "RESARE": 12.5, "FAIRWY": 12.5,
    "SLCONS": 14.0, "HRBFAC": 13.5, "PRCARE": 12.0, "CTNARE": 13.0, "MIPARE": 12.0,
}  # fmt: skip
NEVER_CROWDED = 17.0

# Marks by their zoom: what a boat steers by comes early, what it merely passes late.
MARKS: Mapping[str, float] = {
    **dict.fromkeys(classes.AID_STRUCTURES, 10.5),
    "LNDMRK": 11.5, "OFSPLF": 11.5, "WRECKS": 11.5, "LIGHTS": 10.5, "PILPNT": 13.0, "MORFAC": 13.0, "PYLONS": 12.0,
}  # fmt: skip
MARK_ZOOM = 12.5
DANGER_ZOOM = 11.5
BRIDGE_ZOOM = 10.0
LIGHT_ZOOM = 10.5
# A light of ten miles and more is what a small scale is looked at for.
MAJOR_LIGHT_NM = 10.0
MAJOR_LIGHT_ZOOM = 8.0
SOUNDING_ZOOM = 11
SOUNDING_LAST_ZOOM = 17

# Of small scales only this is read.
_SMALL_SCALE = FLOOR | frozenset(
    {"LIGHTS", "LNDMRK", *classes.AID_STRUCTURES, "SEAARE", "LNDRGN", "BUAARE", "BRIDGE", "PRCARE", "MIPARE"}
    | {name for name, rule in LINES.items() if rule.zoom <= 9.0}
)
_ALL = (
    _SMALL_SCALE
    | frozenset(LINES)
    | frozenset(NAMES)
    | frozenset(classes.EQUIPMENT)
    | frozenset(classes.DANGERS)
    | frozenset({"SOUNDG", "PILPNT", "PYLONS", "HULKES", "CRANES", "SILTNK", "MORFAC", "OFSPLF", "M_COVR"})
)


def classes_at(zoom: int) -> frozenset[str]:
    """Return the object classes that any tile of a zoom needs."""
    return _SMALL_SCALE if zoom < BLOCK_ZOOM else _ALL


def zoom_from(attributes: Attributes, ours: float, lat_deg: float) -> float:
    """Return the zoom a feature is drawn from: what the chart says (SCAMIN), else ours."""
    scale = number(attributes, "SCAMIN")
    return zoom_of_scale(scale, lat_deg) if scale else ours


def line_kind(name: str, attributes: Attributes) -> str:
    """Return the kind of stroke of a feature in `LINES`."""
    kind = LINES[name].kind
    if kind == "area" and not _KEEP_OUT.isdisjoint(codes(attributes, "RESTRN")):
        return "entry"
    if kind == "works" and attributes.get("WATLEV") in (3, 4, 5):
        # Always or at times under water: a training wall that a boat may meet without seeing it.
        return "drowned"
    return kind
