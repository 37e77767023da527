"""What was planted, matched to what is proposed: by kind, by distance, and by overlap where it is an area.

Rules of this file: a planted change is found by one proposal at the most and a proposal finds one change at the most,
the pairs that match best first; what a proposal says of itself counts for nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from bench.many_runs.nights import ANCHORAGES, GONE, MOVED, SIDE_M, THINGS, WAY
from moonless.frames import LocalFrame
from moonless.memory.lattice import CELL_M
from moonless.memory.outline import outline_of
from moonless.memory.teaching.lessons import Lesson

# A thing is found where it was told this near to where it was planted; an anchorage where the two areas overlap by this
# much of all that either covers, as boxes are counted found in pictures (common practice).
THING_M, OVERLAP = 30.0, 0.5
# A cell of a way belongs to the way where its middle lies so near the lines that vessels run along: a cell across.
WAY_M = SIDE_M + CELL_M


@dataclass(frozen=True, slots=True)
class Planted:
    """One difference from the chart: a place, or of an anchorage the area where boats lie, metres."""

    kind: str
    name: str
    shape: shapely.Geometry


@dataclass(frozen=True, slots=True)
class Found:
    """How what is proposed stands to what was planted."""

    precision: float  # of the proposals, ways left out
    recall: float  # of what was planted
    off_m: tuple[float, ...]  # of the things and marks that were found
    overlap: tuple[float, ...]  # of the anchorages that were found
    wrong: tuple[str, ...]  # in words


def planted() -> tuple[Planted, ...]:
    """Return all that differs from the chart."""
    (name, charted), by = MOVED
    return (
        *(Planted("thing", "", shapely.Point(place)) for _, _, place in THINGS),
        *(Planted("mark gone", name, shapely.Point(place)) for name, place in GONE),
        Planted("mark moved", name, shapely.Point(charted[0] + by[0], charted[1] + by[1])),
        *(Planted("anchorage", "", shapely.Point(middle).buffer(radius)) for middle, radius in ANCHORAGES),
    )


def match(proposals: Sequence[Lesson], frame: LocalFrame) -> Found:
    """Return precision and recall; with no proposal the precision is 1.

    A way that vessels use is no change of the water and was not planted as one: `ways` holds it against where they run.
    """
    told = [one for one in proposals if one.kind != "way"]
    shapes = [_on_plane(one, frame) for one in told]
    there = planted()
    pairs = []
    for i, one in enumerate(there):
        for k, proposal in enumerate(told):
            if proposal.kind != one.kind or (one.name and proposal.name != one.name):
                continue
            worth = _overlap(one.shape, shapes[k]) if one.kind == "anchorage" else one.shape.distance(shapes[k])
            if one.kind == "anchorage" and worth >= OVERLAP:
                pairs.append((-worth, i, k))
            elif one.kind != "anchorage" and worth <= THING_M:
                pairs.append((worth / THING_M, i, k))
    by_change: dict[int, tuple[int, float]] = {}
    taken: set[int] = set()
    for worth, i, k in sorted(pairs):
        if i not in by_change and k not in taken:
            by_change[i] = (k, worth)
            taken.add(k)
    is_area = [one.kind == "anchorage" for one in there]
    return Found(
        len(taken) / len(told) if told else 1.0,
        len(taken) / len(there),
        tuple(worth * THING_M for i, (_, worth) in sorted(by_change.items()) if not is_area[i]),
        tuple(-worth for i, (_, worth) in sorted(by_change.items()) if is_area[i]),
        (
            *(f"not found: {a.kind} {a.name} {_at(a.shape)}" for i, a in enumerate(there) if i not in by_change),
            *(f"not there: {p.kind} {_at(shapes[k])}: {p.say}" for k, p in enumerate(told) if k not in taken),
        ),
    )


def ways(proposals: Sequence[Lesson], frame: LocalFrame) -> tuple[float | None, float]:
    """Return (how much of the cells told as ways lies where vessels run, how much of where they run is told).

    The first is None where no way is told.  Where they run is the line of the way home, either way; how much of it is
    told goes by its length within half a cell's diagonal of a cell that is.
    """
    line = shapely.LineString(WAY)
    shapes = [_on_plane(one, frame) for one in proposals if one.kind == "way"]
    if not shapes:
        return None, 0.0
    told = shapely.union_all(shapes)
    right = shapely.intersection(told, line.buffer(WAY_M)).area / told.area
    return right, shapely.intersection(line, told.buffer(SIDE_M + 0.71 * CELL_M)).length / line.length


def _on_plane(one: Lesson, frame: LocalFrame) -> shapely.Geometry:
    return shapely.transform(outline_of(one), lambda at: np.column_stack(frame.to_plane(at[:, 1], at[:, 0])))


def _overlap(a: shapely.Geometry, b: shapely.Geometry) -> float:
    return float(shapely.intersection(a, b).area / shapely.union(a, b).area)


def _at(shape: shapely.Geometry) -> str:
    middle = shapely.centroid(shape)
    return f"{middle.x:.0f} m east, {middle.y:.0f} m north"
