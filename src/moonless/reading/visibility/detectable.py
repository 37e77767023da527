"""Where an echo could be seen at all: what the tracker asks before it holds a miss against a track."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.frames import LocalFrame
from moonless.reading.own import OwnPlane
from moonless.scan.types import Scan

Floats = NDArray[np.float64]

# What is behind land may still show over a low point, the edge of hidden water is not known to a metre, and a thing out
# of sight for minutes is not where it was reckoned to be: a track in there is remembered for a minute or two, not for
# ever.  0.15 takes a sure track to an even chance in about forty turns.  Our own figures, no source.
IN_VIEW_HIDDEN = 0.15
# Charts draw land where there is none any more, miss what is low, and lie beside the true coast; and a radar sees over
# low land.  Where echoes come out of hidden water as densely as out of open water at the same ranges, nothing is hidden
# there, and a thing in it is missed like any other.
IN_VIEW_ANSWERING = 0.8
ANSWER_KEEP = 0.8  # of what was learnt, from turn to turn
ANSWER_TURNS = 12  # places at the same range that each echo is held against
ANSWER_LEAST = 0.05  # share of these in hidden water, below which nothing is learnt
# In clutter strong things are still seen, weak ones are not.
IN_VIEW_CLUTTER = 0.6


class HiddenWater:
    """Learns how much of what the chart hides answers all the same."""

    def __init__(self) -> None:
        self.answers = 0.0  # 0: as little as land hides; 1: as much as open water

    @property
    def in_view(self) -> float:
        """How likely a thing in hidden water is seen."""
        return IN_VIEW_HIDDEN + (IN_VIEW_ANSWERING - IN_VIEW_HIDDEN) * self.answers

    def learn(self, own: OwnPlane, hidden: Mapping[str, Any] | None, east_m: Floats, north_m: Floats) -> None:
        """Take in where a turn's plots lie, (n,) each, in the plane of ``own``; ``hidden`` as last read."""
        covers = _covers(hidden, own.frame, IN_VIEW_HIDDEN)
        sound = np.isfinite(east_m) & np.isfinite(north_m)
        if covers is None or not np.any(sound):
            return
        east, north = east_m[sound] - own.east_m, north_m[sound] - own.north_m
        turn = np.arange(ANSWER_TURNS)[:, None] * (TAU / ANSWER_TURNS)
        c, s = np.cos(turn), np.sin(turn)
        # The first row is the plots themselves, the others the same ranges on other bearings.
        at_east, at_north = own.east_m + east * c + north * s, own.north_m + north * c - east * s
        inside = np.zeros(at_east.size, dtype=np.bool_)
        point, shape = covers[0].query(shapely.points(at_east.ravel(), at_north.ravel()), predicate="intersects")
        inside[point[covers[1][shape] == IN_VIEW_HIDDEN]] = True
        share = inside.reshape(at_east.shape).mean(axis=1)
        elsewhere = float(share[1:].mean())
        if elsewhere >= ANSWER_LEAST:
            now = min(float(share[0]) / elsewhere, 1.0)
            self.answers = ANSWER_KEEP * self.answers + (1.0 - ANSWER_KEEP) * now


def visibility(
    scan: Scan, own: OwnPlane, hidden: Mapping[str, Any] | None, in_hidden: float = IN_VIEW_HIDDEN
) -> Callable[[Floats, Floats], Floats]:
    """Return a function (east, north) -> probability of being in view, from a boat and by a heading put right.

    It is 0 along rows that were not received and beyond or inside the picture; ``in_hidden`` in water that the last
    reading found hidden (None: not known, taken as in view); else 1.
    """
    heading = float(scan.heading_true_rad[np.isfinite(scan.heading_true_rad)].mean()) if scan.is_received.any() else 0.0
    # Headings round north must not be averaged as numbers; the middle row's own is near enough where they wrap.
    if np.ptp(scan.heading_true_rad) > np.pi:
        heading = float(scan.heading_true_rad[scan.n_spoke // 2])
    covers = _covers(hidden, own.frame, in_hidden)

    def in_view(east_m: Floats, north_m: Floats) -> Floats:
        east, north = np.asarray(east_m) - own.east_m, np.asarray(north_m) - own.north_m
        away = np.hypot(east, north)
        row = np.rint((np.arctan2(east, north) - heading - scan.azimuth_offset_rad) * scan.n_spoke / TAU).astype(int)
        seen = scan.is_received[np.mod(row, scan.n_spoke)]
        seen &= (away >= scan.first_cell_m) & (away <= scan.max_range_m)
        likely = np.asarray(seen, dtype=np.float64)
        if covers is not None:
            tree, weight = covers
            point, shape = tree.query(shapely.points(np.asarray(east_m), np.asarray(north_m)), predicate="intersects")
            np.minimum.at(likely, point, weight[shape])
        return likely

    return in_view


def _covers(hidden: Mapping[str, Any] | None, frame: LocalFrame, in_hidden: float) -> Any:
    """Return the hidden water as (tree of shapes of the plane, how likely each is seen into), or None."""
    if not hidden or not hidden.get("features"):
        return None
    rings: list[Any] = []
    shape_of_ring: list[int] = []
    weights: list[float] = []
    for feature in hidden["features"]:
        # Hidden behind a vessel moves with her; the last turn's is not where this turn's is.
        by = (feature.get("properties") or {}).get("by", feature.get("by"))
        if by == "vessel":
            continue
        geometry = feature["geometry"]
        parts = [geometry["coordinates"]] if geometry["type"] == "Polygon" else geometry["coordinates"]
        for part in parts:
            rings.extend(part)
            shape_of_ring.extend([len(weights)] * len(part))
            weights.append(IN_VIEW_CLUTTER if by == "clutter" else in_hidden)
    if not rings:
        return None
    # All rings through one projection: this is asked every turn.
    lonlat = np.concatenate([np.asarray(ring, dtype=np.float64) for ring in rings])
    plane = np.column_stack(frame.to_plane(lonlat[:, 1], lonlat[:, 0]))
    of_point = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
    shapes = shapely.polygons(shapely.linearrings(plane, indices=of_point), indices=np.array(shape_of_ring))
    return shapely.STRtree(shapes), np.array(weights)
