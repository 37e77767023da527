"""Bridges: spans that belong together made one, each span's clearances kept."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from moonless.chart.overlay import joined
from moonless.chart.s57.attributes import codes
from moonless.chart.types import Bridge, Feature, Span

# Spans of one bridge touch, or nearly.
_GAP_M = 3.0
# CATBRG: 2 opening (any kind), 3 swing, 4 lifting, 5 bascule, 7 draw.  6 is pontoon, 8 transporter: neither opens.
_OPENING = frozenset({2, 3, 4, 5, 7})


def bridges_of(features: Sequence[Feature]) -> tuple[Bridge, ...]:
    """Return bridges from BRIDGE features: what touches is one bridge, whatever its spans are called.

    A channel span often bears the channel's name between two spans that bear the bridge's.
    """
    if not features:
        return ()
    shapes = np.array([f.shape for f in features], dtype=object)
    first, second = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=_GAP_M)
    links = coo_array((np.ones(len(first)), (first, second)), shape=(len(features), len(features)))
    count, group_of = connected_components(links, directed=False)
    return tuple(_bridge([features[i] for i in np.flatnonzero(group_of == group).tolist()]) for group in range(count))


def _bridge(group: Sequence[Feature]) -> Bridge:
    spans = tuple(_span(f) for f in group)
    stated = [s for s in spans if s.clearance_m is not None]
    low = min(stated, key=lambda s: s.clearance_m or 0.0, default=spans[0])
    opened = [s.clearance_open_m for s in spans if s.clearance_open_m is not None]
    names = Counter(s.name for s in spans if s.name is not None).most_common(1)
    return Bridge(
        name=names[0][0] if names else None,
        cell=group[0].cell,
        feature=low.feature,
        shape=joined([s.shape for s in spans]),
        clearance_m=low.clearance_m,
        clearance_open_m=min(opened, default=None),
        opens=any(s.opens for s in spans),
        attributes=low.attributes,
        spans=spans,
    )


def _span(feature: Feature) -> Span:
    given = feature.attributes
    closed, opened = feature.number("VERCCL"), feature.number("VERCOP")
    opens = not _OPENING.isdisjoint(codes(given, "CATBRG")) or closed is not None or opened is not None
    fixed = feature.number("VERCLR")
    return Span(
        name=feature.name,
        feature=feature.feature,
        shape=feature.shape,
        clearance_m=closed if opens and closed is not None else fixed,
        clearance_open_m=opened,
        width_m=feature.number("HORCLR"),
        opens=opens,
        attributes=given,
    )
