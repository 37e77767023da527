"""Where one area of the sea floor meets the next: the lines between areas that share an edge.

A chart's depth areas and land meet without gap or overlap, so the lines between them are the shore and the depth
contours, whatever lines the chart gives besides; drawn from the areas they lie on the areas' edges to the last corner,
at every generalisation.  Where a chart ends there is no line: its edge is no shore.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Lines between areas: ``lines[i]`` runs between the areas of levels ``low[i]`` < ``high[i]``."""

    lines: NDArray[np.object_]
    low: Floats
    high: Floats


def edges_of(areas: NDArray[np.object_], level: Floats, reach: float) -> Edges:
    """Return the lines between polygons of different level.

    Parameters
    ----------
    areas : polygons of one plane that do not overlap; neighbours share corners, or at least meet within ``reach``
    level : what is told apart, shape (n,): no NaN
    """
    start, end, ring, owner = _segments(areas)
    if not len(owner):
        return Edges(np.empty(0, dtype=object), np.empty(0), np.empty(0))
    mate = _mates(start, end, owner)
    alone = np.flatnonzero(mate < 0)
    if len(alone):
        mate[alone] = _across(areas, start[alone], end[alone], owner[alone], reach)
    # Each line once: from the area of lesser level, on whose edge it lies.
    own = level[owner]
    other = np.where(mate >= 0, level[mate], own)
    drawn = own < other
    # A run goes on while it stays in one ring, on neighbouring segments, before one and the same level.
    breaks = np.ones(len(drawn), dtype=bool)
    breaks[1:] = (ring[1:] != ring[:-1]) | (other[1:] != other[:-1]) | ~drawn[:-1]
    run = np.cumsum(breaks & drawn) - 1
    kept = np.flatnonzero(drawn)
    if not len(kept):
        return Edges(np.empty(0, dtype=object), np.empty(0), np.empty(0))
    runs = run[kept]
    heads = np.flatnonzero(np.diff(runs, prepend=-1))
    # The corners of a run: the start of each segment, and the end of the last.
    counts = np.diff(np.append(heads, len(runs)))
    index = np.repeat(np.arange(len(heads)), counts + 1)
    corners = np.empty((len(index), 2))
    is_last = np.zeros(len(index), dtype=bool)
    is_last[np.cumsum(counts + 1) - 1] = True
    corners[~is_last] = start[kept]
    corners[is_last] = end[kept[np.append(heads[1:], len(runs)) - 1]]
    return Edges(shapely.linestrings(corners, indices=index), own[kept[heads]], other[kept[heads]])


def _segments(areas: NDArray[np.object_]) -> tuple[Floats, Floats, Ints, Ints]:
    """Return the start and end of every segment, the ring it is of, and the area."""
    parts, of_area = shapely.get_parts(areas, return_index=True)
    rings, of_part = shapely.get_rings(parts, return_index=True)
    corners, of_ring = shapely.get_coordinates(rings, return_index=True)
    follows = of_ring[1:] == of_ring[:-1]
    ring = of_ring[:-1][follows].astype(np.int64)
    return corners[:-1][follows], corners[1:][follows], ring, of_area[of_part[ring]].astype(np.int64)


def _mates(start: Floats, end: Floats, owner: Ints) -> Ints:
    """Return for each segment the area on its other side that has the very same segment; -1: none."""
    swapped = (start[:, 0] > end[:, 0]) | ((start[:, 0] == end[:, 0]) & (start[:, 1] > end[:, 1]))
    first = np.where(swapped[:, None], end, start)
    last = np.where(swapped[:, None], start, end)
    order = np.lexsort((last[:, 1], last[:, 0], first[:, 1], first[:, 0]))
    a, b = order[:-1], order[1:]
    same = np.all(first[a] == first[b], axis=1) & np.all(last[a] == last[b], axis=1) & (owner[a] != owner[b])
    mate = np.full(len(owner), -1, dtype=np.int64)
    mate[a[same]] = owner[b[same]]
    mate[b[same]] = owner[a[same]]
    return mate


def _across(areas: NDArray[np.object_], start: Floats, end: Floats, owner: Ints, reach: float) -> Ints:
    """Return the area a little way across each segment, where corners do not match; -1: none."""
    along = end - start
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)
    aside = np.column_stack([-along[:, 1], along[:, 0]]) / length[:, None] * reach
    middle = (start + end) / 2.0
    tree = shapely.STRtree(areas)
    out = np.full(len(owner), -1, dtype=np.int64)
    for side in (1.0, -1.0):
        places = shapely.points(middle + side * aside)
        of_place, area = tree.query(places, predicate="intersects")
        other = area != owner[of_place]
        out[of_place[other]] = area[other]
    return out
