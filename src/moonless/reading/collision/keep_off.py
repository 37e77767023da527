"""How far to keep off each thing: by what it is, how fast the boat goes, and how much room the water leaves.

The skipper's own figure is the one for vessels that move in open water.  All figures here are our own choice; a quarter
mile from any boat at night is common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from moonless.boat.types import Boat
from moonless.constants import TAU
from moonless.reading.chart_around import Place
from moonless.reading.contact import Contact
from moonless.reading.polar import N_BEARINGS, bearing_index
from moonless.reading.visibility.raster import VisibilityRaster

# A charted mark; and one that is steered by, in a channel or along the route, where nearer than this she runs at it.
MARK_M, STEERED_BY_M = 30.0, 15.0
# A pier stands beside the way under its bridge: nearer than this she runs at it.  Own: a third of a span of 30 m.
PIER_M, AT_BRIDGE_M = 10.0, 15.0
# What lies still is passed at so many seconds of own way: slow boats may pass close.
STILL_S, UNCHARTED_S = 15.0, 25.0
LEAST_STILL_M, LEAST_UNCHARTED_M, LEAST_MOVING_M = 40.0, 60.0, 60.0
# Of the skipper's figure, the most that still things ask; the rest of the room is theirs.
STILL_SHARE, UNCHARTED_SHARE = 0.35, 0.5
# Where the water abeam is narrower than this many keep-offs, both must fit in it: a third of it is kept off a mover.
OPEN_KEEP_OFFS, SHARE_OF_ROOM = 4.0, 1.0 / 3.0
# In a channel nothing is given more than a third of its width: what lies beside it is out of the way, and in it boats
# meet.  Own figures.
LEAST_IN_CHANNEL_M = 30.0
# The room is looked for square to the way, so much to either hand.
ABEAM_RAD = math.radians(25.0)


def room_m(water: VisibilityRaster | None, ahead_rad: float | None) -> float:
    """Return the width of the water across the boat's way, metres; inf where none is known or no land stands near."""
    if water is None or ahead_rad is None:
        return math.inf
    span = round(ABEAM_RAD / TAU * N_BEARINGS)
    width = 0.0
    for side in (-1.0, 1.0):
        middle = bearing_index(ahead_rad + side * math.pi / 2.0)
        land = water.land[(middle + np.arange(-span, span + 1)) % N_BEARINGS]
        first = np.where(land.any(axis=1), np.argmax(land, axis=1) * water.cell_m, np.inf)
        width += float(first.min())
    return width


def keep_off_m(
    contact: Contact, boat: Boat, sog: float | None, room: float = math.inf, channel: float | None = None
) -> float:
    """Return the distance to keep from one thing, metres.

    ``sog``: own speed, m/s; ``room``: width of the water; ``channel``: of the channel she runs in, None: in none.
    """
    if contact.kind == "charted":
        return MARK_M if channel is None else STEERED_BY_M
    asked = _asked_m(contact, boat, sog or 0.0, room)
    return asked if channel is None else min(asked, max(LEAST_IN_CHANNEL_M, SHARE_OF_ROOM * channel))


def piers(contacts: Sequence[Contact], place: Place | None) -> frozenset[int]:
    """Return which contacts are charted piers of a bridge."""
    pylons = [c for c in contacts if c.charted_as is not None and c.charted_as.object == "PYLONS"]
    if place is None or not pylons:
        return frozenset()
    away = place.bridge_outline.distance(np.array([c.position_en for c in pylons]))
    return frozenset(c.id for c, d in zip(pylons, away.tolist(), strict=True) if d <= AT_BRIDGE_M)


def _asked_m(contact: Contact, boat: Boat, speed: float, room: float) -> float:
    asked = boat.skipper.keep_off_m
    if contact.kind == "uncharted":
        return _between(LEAST_UNCHARTED_M, UNCHARTED_S * speed, UNCHARTED_SHARE * asked)
    if not contact.moves:
        return _between(LEAST_STILL_M, STILL_S * speed, STILL_SHARE * asked)
    if room < OPEN_KEEP_OFFS * asked:
        return _between(LEAST_MOVING_M, SHARE_OF_ROOM * room, asked)
    return asked


def _between(least: float, value: float, most: float) -> float:
    """Return a value within bounds; a skipper's figure under the least goes before it."""
    return min(max(least, value), most)
