"""Channels: lateral marks and the gates they make, areas charted as fairway or dredged, and where a boat runs in one.

In a channel its marks are what one steers by, others pass close, and what lies still beside it is not in the way.
Rule 9(a) has every vessel keep near the starboard side of a narrow channel, so that boats pass within its width.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from moonless.chart.local import LocalChart
from moonless.chart.overlay import joined
from moonless.chart.s57.attributes import codes, number
from moonless.chart.types import Mark

# Marks of two hands this far apart at the most are a gate.  No source: the widest marked channels of small waters.
GATE_M = 700.0
LATERAL = ("BOYLAT", "BCNLAT")
# The next gate, or the one just passed, says that she is in the channel.  Own figures: marks of small channels stand a
# quarter to a third of a mile apart.
GATE_AHEAD_M, GATE_ASTERN_M = 650.0, 300.0
# A gate wider than this leaves room to keep clear as in open water.  Own figure.
WIDEST_M = 400.0
# An area's width is looked for so far to each side.
_ABEAM_M = 500.0
# CATLAM 1 port hand, 2 starboard hand; a preferred channel mark is passed as its main channel asks: 3 to starboard is
# a port-hand mark of it, 4 to port a starboard-hand mark (S-57 appendix A, attribute 36; IALA R1001).
_HAND = {1: "port", 2: "starboard", 3: "port", 4: "starboard"}
_RED, _GREEN = 3, 4  # COLOUR


def hand_of(mark: Mark, system: int | None) -> str | None:
    """Return the hand of a lateral mark: by CATLAM, else by its colour in the system it stands in; None: not known.

    ``system``: MARSYS 1 IALA A (red to port), 2 IALA B (red to starboard).
    """
    hand = _HAND.get(int(number(mark.attributes, "CATLAM") or 0))
    if hand is not None or system not in (1, 2):
        return hand
    colours = codes(mark.attributes, "COLOUR")
    if not colours or colours[0] not in (_RED, _GREEN):
        return None
    return "port" if (colours[0] == _RED) == (system == 1) else "starboard"


def lateral_marks(local: LocalChart) -> tuple[list[Mark], list[str | None]]:
    """Return the lateral marks of a stretch of chart, and the hand of each, None where it is not known."""
    systems = [(f.shape, int(f.number("MARSYS") or 0)) for f in local.features("M_NSYS") if "MARSYS" in f.attributes]
    lateral = [m for m in local.marks if m.object in LATERAL]
    return lateral, [hand_of(m, _system_at(systems, m)) for m in lateral]


def channel_areas(local: LocalChart) -> list[shapely.Geometry]:
    """Return the areas charted as fairway or dredged."""
    return [f.shape for f in local.features("FAIRWY", "DRGARE") if shapely.get_dimensions(f.shape) == 2]


def gate_partner(marks: Sequence[Mark], hands: Sequence[str | None], k: int) -> int | None:
    """Return the mark of the other hand that makes a gate with the k-th: the two are each other's nearest."""
    other = _nearest_other(marks, hands, k)
    return None if other is None or _nearest_other(marks, hands, other) != k else other


def _system_at(systems: Sequence[tuple[shapely.Geometry, int]], mark: Mark) -> int | None:
    for shape, system in systems:
        if shapely.intersects_xy(shape, mark.east_m, mark.north_m):
            return system
    return systems[0][1] if systems else None


def _nearest_other(marks: Sequence[Mark], hands: Sequence[str | None], k: int) -> int | None:
    best, near = None, GATE_M
    for i, (mark, hand) in enumerate(zip(marks, hands, strict=True)):
        if hand is None or hands[k] is None or hand == hands[k]:
            continue
        away = math.hypot(mark.east_m - marks[k].east_m, mark.north_m - marks[k].north_m)
        if 0.0 < away < near:
            best, near = i, away
    return best


@dataclass(frozen=True, slots=True, eq=False)
class Channels:
    """The channels of a stretch of chart, in the metres of its frame."""

    gates: tuple[shapely.LineString, ...]
    areas: shapely.Geometry  # fairways and dredged areas; empty where none is charted

    def width_m(self, east_m: float, north_m: float, course_rad: float) -> float | None:
        """Return the width of the channel that a boat runs in from a place, on a course; None: in none."""
        here = shapely.Point(east_m, north_m)
        way = _line(here, course_rad, -GATE_ASTERN_M, GATE_AHEAD_M)
        crossed = [gate for gate in self.gates if shapely.intersects(gate, way)]
        widths = []
        if crossed:
            widths.append(float(shapely.length(min(crossed, key=lambda gate: float(shapely.distance(gate, here))))))
        if shapely.contains(self.areas, here):
            across = shapely.intersection(self.areas, _line(here, course_rad + math.pi / 2.0, -_ABEAM_M, _ABEAM_M))
            parts = [part for part in shapely.get_parts(across) if shapely.dwithin(part, here, 1.0)]
            widths += [float(shapely.length(part)) for part in parts]
        narrowest = min(widths, default=math.inf)
        return narrowest if narrowest <= WIDEST_M else None


def lay_out_channels(local: LocalChart) -> Channels:
    """Return the channels of a stretch of chart."""
    marks, hands = lateral_marks(local)
    gates = []
    for k, mark in enumerate(marks):
        other = gate_partner(marks, hands, k)
        if other is not None and other > k:
            gates.append(shapely.LineString([(m.east_m, m.north_m) for m in (mark, marks[other])]))
    return Channels(tuple(gates), joined(channel_areas(local)))


def _line(here: shapely.Point, course_rad: float, begin_m: float, end_m: float) -> shapely.LineString:
    east, north = math.sin(course_rad), math.cos(course_rad)
    return shapely.LineString([(here.x + m * east, here.y + m * north) for m in (begin_m, end_m)])
