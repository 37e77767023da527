"""The near edge of land and structures as the radar would draw it from a place.

A beam is wide: on each bearing it shows the nearest land within its reach to either side.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.reading.polar import N_BEARINGS
from moonless.sight.lines import crossings

Floats = NDArray[np.float64]

# Land is strong: it still shows when it is this many half-power beam widths off the axis.
LAND_REACH_BEAMS = 0.75


def near_edge(
    edges: Floats, east_m: float, north_m: float, max_range_m: float, beam_rad: float
) -> tuple[Floats, Floats]:
    """Return points (k, 2) of the near edge and their unit normals (k, 2), in the plane of the edges.

    Where the edge leaps from one headland to the next there is no shore between, and no point.
    """
    ranges, _ = crossings(edges, east_m, north_m, max_range_m)
    return smeared_edge(ranges[:, 0], east_m, north_m, beam_rad)


def smeared_edge(first_m: Floats, east_m: float, north_m: float, beam_rad: float) -> tuple[Floats, Floats]:
    """Return the near edge for the first land met on each of the true bearings; inf: none."""
    step = TAU / N_BEARINGS
    reach = max(1, round(LAND_REACH_BEAMS * beam_rad / step))
    near = first_m.copy()
    for k in range(1, reach + 1):
        near = np.minimum(near, np.minimum(np.roll(first_m, k), np.roll(first_m, -k)))
    bearing = np.arange(N_BEARINGS) * step
    both = np.isfinite(near) & np.isfinite(np.roll(near, -1))
    start = np.where(both, near, 0.0)
    end = np.where(both, np.roll(near, -1), 0.0)
    # A leap in range over one step of bearing is a gap behind a headland, not shore.
    joined = both & (np.abs(end - start) < 0.06 * np.minimum(start, end) + 12.0)
    i = np.flatnonzero(joined)
    if i.size == 0:
        return np.zeros((0, 2)), np.zeros((0, 2))
    a = start[i, None] * np.column_stack([np.sin(bearing[i]), np.cos(bearing[i])])
    b = end[i, None] * np.column_stack([np.sin(bearing[i] + step), np.cos(bearing[i] + step)])
    along = b - a
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-6)
    normal = np.column_stack([along[:, 1], -along[:, 0]]) / length[:, None]
    # Cut each piece so that points stand no further apart than a few metres; the tree then finds the right piece.
    pieces = int(min(12, max(1, math.ceil(float(length.max()) / 12.0))))
    fractions = (np.arange(pieces) + 0.5) / pieces
    points = a[:, None, :] + fractions[None, :, None] * along[:, None, :]
    here = np.array([east_m, north_m])
    return points.reshape(-1, 2) + here, np.repeat(normal, pieces, axis=0)
