"""What the danger engine is asked and what it answers.  Metres of one plane; m/s."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import shapely

from moonless.boat.types import Boat

Weight = Literal["stops", "against", "note"]
Side = Literal["on", "port", "starboard"]
DangerKind = Literal[
    "land", "shoal", "dries", "rock", "wreck", "obstruction", "structure", "mark", "unsurveyed", "chart ends",
    "bridge", "cable", "marine farm", "fishing", "restricted", "military", "caution", "precautionary", "cable area",
    "pipeline area", "dumping", "seaplane", "anchorage", "fairway", "ferry", "traffic scheme", "other area", "keep out",
    "own thing", "own note", "berth", "stream",
]  # fmt: skip

# Half width of the corridor searched; the skipper's keep-off where that is wider.  Common practice, no source.
CORRIDOR_M = 150.0
# Half width within which a shoal, a rock or land refuses a way: the boat's own error and a helmsman's.  No source.
TRACK_M = 25.0
# So near the place where a route begins or ends she comes alongside by eye: three lengths of a nine-metre boat.  Own
# choice.
BERTHING_M = 30.0


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """Where the boat is to go: a line, and how far either side of it what counts."""

    line: shapely.LineString
    swept_m: float  # her hull is somewhere within this: half the beam and one sigma of her position
    track_m: float = TRACK_M  # within it there must be water enough, and no land
    look_m: float = CORRIDOR_M  # marks, rocks and structures are told this far off
    land_m: float = CORRIDOR_M  # land is told this far off
    place_m: float = math.inf  # the most that is counted of how far a rock's charted place may be out
    hull_m: float = 0.0  # half her beam: nearer than this nothing lies alongside
    berths: tuple[shapely.Point, ...] = ()  # where the route begins or ends: there she may come alongside


def swept_m(boat: Boat, position_sigma_m: float | None = None) -> float:
    """Return half the width her hull may take: half her beam and one sigma of where she is (None: the receiver's)."""
    sigma = boat.position_sigma_m if position_sigma_m is None else position_sigma_m
    return 0.5 * boat.beam_m + sigma


def way_strip(
    line: shapely.LineString,
    boat: Boat,
    position_sigma_m: float | None = None,
    berths: tuple[shapely.Point, ...] = (),
) -> Strip:
    """Return the strip of a way that is planned, drawn or tried: the same for all three.

    ``berths``: those of the line's ends where the whole route begins or ends.
    """
    look = max(CORRIDOR_M, boat.skipper.keep_off_m)
    # Land is told to half of the keep-off: farther off every shore would be.
    land = max(TRACK_M, 0.5 * boat.skipper.keep_off_m)
    swept = swept_m(boat, position_sigma_m)
    return Strip(line, swept, TRACK_M, look, land, hull_m=0.5 * boat.beam_m, berths=berths)


@dataclass(frozen=True, slots=True)
class Danger:
    """One charted thing on or beside a strip."""

    kind: DangerKind
    weight: Weight  # stops: refuses the way; against: look before you pass; note: told
    say: str  # the reason in words, without the place
    along_m: float  # from the strip's start to where it is first met, or nearest
    off_m: float  # from the line; 0: on it
    side: Side
    east_m: float  # the nearest or first place of it
    north_m: float
    name: str | None = None
    object: str = ""  # S-57 class
    cell: str = ""
    feature: str = ""
    depth_m: float | None = None  # charted, below datum
    clearance_m: float | None = None  # water under the keel or air over the mast that is left; None: not known
    text_file: str | None = None  # TXTDSC: the file of the cell with more words
