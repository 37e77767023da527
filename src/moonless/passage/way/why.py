"""What whoever asked for a way should know of it: ends that were moved, why it is not straight, the side to keep."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

import shapely

from moonless.boat.types import Boat
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import StripDangers
from moonless.chart.dangers.types import Danger, way_strip
from moonless.chart.dangers.words import danger_words
from moonless.chart.s57.names import object_name
from moonless.frames import wrap_180
from moonless.passage.way.grid import WaterGrid

Place = tuple[float, float]

# Moved less far than this, an end is where it was asked for.  No source: a boat's length or two.
UNPLANNED_M = 30.0
# A way longer than this share of the straight one is explained.  Own choice.
DETOUR = 1.2
# Less than this of a fairway or lane is a crossing of its corner.  Own choice.
ALONG_M = 200.0
_FAIRWAYS = ("FAIRWY", "DRGARE", "RECTRC", "DWRTCL")
_LANES = ("TSSLPT", "TWRTPT", "DWRTPT")
# TRAFIC: 1 inbound, 2 outbound, 3 one-way, 4 two-way (S-57 appendix A, attribute 172).
_TWO_WAY = 4
NARROW = "no wider way was found: it may pass piles, beacons and shoals as close as a plan allows"


def moves(ends: Sequence[tuple[float, ...]], places: Sequence[Place]) -> Iterator[str]:
    """Yield what is said of an end that was moved to deep water."""
    for name, asked, used in (("start", ends[0], places[0]), ("end", ends[1], places[-1])):
        moved = math.hypot(asked[0] - used[0], asked[1] - used[1])
        if moved > 1.0:
            between = "; what lies between is not planned" if moved > UNPLANNED_M else ""
            yield f"the {name} was moved {moved:.0f} m to water deep enough on the chart{between}"


def detour(grid: WaterGrid, boat: Boat, needs: Needs, places: Sequence[Place]) -> Iterator[str]:
    """Yield why the way is longer than the straight one."""
    straight = math.dist(places[0], places[-1])
    length = sum(math.dist(a, b) for a, b in itertools.pairwise(places))
    if straight < 1.0 or length < DETOUR * straight:
        return
    line = shapely.segmentize(shapely.LineString([places[0], places[-1]]), 500.0)
    refused = StripDangers(grid.dangers, way_strip(line, boat), grid.keep_outs).refusals(needs)
    kinds: dict[str, Danger] = {}
    for danger in refused:
        kinds.setdefault(danger_words(danger), danger)
    what = " and ".join(list(kinds)[:2]) if kinds else "a better way lies round"
    how = f"straight across lies {what}" if kinds else what
    yield f"it is {length / straight:.1f} times as long as the straight way: {how}"


def sides(grid: WaterGrid, places: Sequence[Place]) -> Iterator[str]:
    """Yield which side to keep where the way follows a channel, and where it goes against a lane's direction."""
    track = shapely.LineString(places)
    along = 0.0
    for feature in grid.dangers.local.features(*_FAIRWAYS):
        if shapely.get_dimensions(feature.shape) == 2:
            along += shapely.length(shapely.intersection(track, feature.shape))
    if along > ALONG_M:
        yield f"{along / 1852.0:.1f} NM of it lie in a marked channel: keep to its starboard side (Rule 9)"
    for feature in grid.dangers.local.features(*_LANES):
        heading = feature.number("ORIENT")
        if heading is None or feature.attributes.get("TRAFIC") == _TWO_WAY:
            continue
        against = 0.0
        for a, b in itertools.pairwise(places):
            inside = shapely.length(shapely.intersection(shapely.LineString([a, b]), feature.shape))
            course = math.degrees(math.atan2(b[0] - a[0], b[1] - a[1]))
            if abs(wrap_180(course - heading)) > 90.0:
                against += inside
        if against > ALONG_M:
            name = feature.name or object_name(feature.object)
            yield f"{against / 1852.0:.1f} NM of it go against the direction of {name}, {heading:03.0f}° (Rule 10)"
