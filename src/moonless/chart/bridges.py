"""Bridges: spans that belong together made one, each span's clearances kept."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from moonless.chart.types import Bridge, Feature, Span

# Spans of one bridge touch, or nearly.
_GAP_M = 3.0
# CATBRG: 2 opening (any kind), 3 swing, 4 lifting, 5 bascule, 7 draw, 8 transporter is none of these.
_OPENING = frozenset({2, 3, 4, 5, 7})


def bridges_of(features: Sequence[Feature]) -> tuple[Bridge, ...]:
    """Return bridges from BRIDGE features: touching spans are one bridge unless they bear different names."""
    if not features:
        return ()
    leader = list(range(len(features)))
    names = [f.name for f in features]

    def find(i: int) -> int:
        while leader[i] != i:
            i = leader[i]
        return i

    shapes = np.array([f.shape for f in features], dtype=object)
    pairs = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=_GAP_M).T
    # Spans of one name first, so that an unnamed span cannot be taken by a neighbour before its own bridge is whole.
    for i, j in sorted(((int(i), int(j)) for i, j in pairs if i < j), key=lambda p: names[p[0]] != names[p[1]]):
        a, b = find(i), find(j)
        if a != b and (names[a] is None or names[b] is None or names[a] == names[b]):
            first, second = min(a, b), max(a, b)
            leader[second] = first
            names[first] = names[first] or names[second]
    groups: dict[int, list[Feature]] = {}
    for i, feature in enumerate(features):
        groups.setdefault(find(i), []).append(feature)
    return tuple(_bridge(group, names[first]) for first, group in groups.items())


def _bridge(group: Sequence[Feature], name: str | None) -> Bridge:
    spans = tuple(_span(f) for f in group)
    low = min((s for s in spans if s.clearance_m is not None), key=lambda s: s.clearance_m or 0.0, default=spans[0])
    opened = [s.clearance_open_m for s in spans if s.clearance_open_m is not None]
    return Bridge(
        name=name,
        cell=group[0].cell,
        feature=low.feature,
        shape=shapely.union_all([s.shape for s in spans]),
        clearance_m=low.clearance_m,
        clearance_open_m=min(opened, default=None),
        opens=any(s.opens for s in spans),
        attributes=low.attributes,
        spans=spans,
    )


def _span(feature: Feature) -> Span:
    given = feature.attributes
    closed, opened = feature.number("VERCCL"), feature.number("VERCOP")
    opens = bool(_OPENING & set(given.get("CATBRG", ()))) or closed is not None or opened is not None
    fixed = feature.number("VERCLR")
    return Span(
        feature=feature.feature,
        shape=feature.shape,
        clearance_m=closed if opens and closed is not None else fixed,
        clearance_open_m=opened,
        width_m=feature.number("HORCLR"),
        opens=opens,
        attributes=given,
    )
