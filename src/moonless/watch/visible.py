"""Where an echo could be seen at all: what the tracker asks before it holds a miss against a track."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.frames import LocalFrame
from moonless.scan.types import Scan

Floats = NDArray[np.float64]


def visibility(
    scan: Scan, own_east_m: float, own_north_m: float, frame: LocalFrame, hidden: Mapping[str, Any] | None
) -> Callable[[Floats, Floats], Floats]:
    """Return a function (east, north) -> probability of being in view, 0 or 1.

    Out of view is what lies along rows that were not received, beyond or inside the picture, or in the water that
    the last reading found hidden (None: not known, taken as in view).
    """
    heading = float(scan.heading_true_rad[np.isfinite(scan.heading_true_rad)].mean()) if scan.is_received.any() else 0.0
    # Headings round north must not be averaged as numbers; the middle row's own is near enough where they wrap.
    if np.ptp(scan.heading_true_rad) > np.pi:
        heading = float(scan.heading_true_rad[scan.n_spoke // 2])
    covers = _covers(hidden, frame)

    def in_view(east_m: Floats, north_m: Floats) -> Floats:
        east, north = np.asarray(east_m) - own_east_m, np.asarray(north_m) - own_north_m
        away = np.hypot(east, north)
        row = np.rint((np.arctan2(east, north) - heading - scan.azimuth_offset_rad) * scan.n_spoke / TAU).astype(int)
        seen = scan.is_received[np.mod(row, scan.n_spoke)]
        seen &= (away >= scan.first_cell_m) & (away <= scan.max_range_m)
        if covers is not None:
            inside = covers.query(shapely.points(np.asarray(east_m), np.asarray(north_m)), predicate="intersects")[0]
            seen[inside] = False
        return np.asarray(seen, dtype=np.float64)

    return in_view


def _covers(hidden: Mapping[str, Any] | None, frame: LocalFrame) -> Any:
    """Return the hidden water as a tree of shapes of the plane, or None."""
    if not hidden or not hidden.get("features"):
        return None
    shapes = []
    for feature in hidden["features"]:
        # Hidden behind a vessel moves with her; the last turn's is not where this turn's is.
        if feature.get("properties", {}).get("by", feature.get("by")) == "vessel":
            continue
        shape = shapely.from_geojson(_json(feature["geometry"]))
        shapes.append(
            shapely.transform(shape, lambda lonlat: np.column_stack(frame.to_plane(lonlat[:, 1], lonlat[:, 0])))
        )
    return shapely.STRtree(shapes) if shapes else None


def _json(geometry: Mapping[str, Any]) -> str:
    import json

    return json.dumps(geometry)
