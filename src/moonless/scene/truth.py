"""What is really there at each turn: the key against which readings are scored."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.radar.types import MarkExpectation

# A thing nearer to land than the radar resolves is one echo with the shore: this many beams and pulses.
_BEAMS, _PULSES = 0.75, 1.0


@dataclass(frozen=True, slots=True)
class Seen:
    """What the radar can make of one thing this turn.

    ``p_detect`` is the model's probability that it shows by itself this turn; ``hidden`` that land stands in the way;
    ``merged_with`` names what it cannot be told from: "land" (or what is built along it), or the stronger thing within
    a beam and a pulse.
    """

    range_m: float
    bearing_rad: float  # true
    p_detect: float
    snr_db: float
    hidden: bool
    merged_with: str | None


@dataclass(frozen=True, slots=True)
class ObjectTruth:
    """One thing the chart does not know, at the end of the turn; velocities over the ground."""

    name: str
    kind: str
    cls: str  # "vessel" or "uncharted": what a right reading calls it
    east_m: float
    north_m: float
    velocity_east: float
    velocity_north: float
    heading_rad: float
    length_m: float
    mmsi: int | None
    seen: Seen | None  # None: beyond the radar's range, or not there yet


@dataclass(frozen=True, slots=True)
class MarkTruth:
    """One charted mark within range this turn; ``index`` into the scene's list of marks."""

    index: int
    seen: Seen


@dataclass(frozen=True, slots=True)
class OwnTruth:
    """The boat itself at the end of the turn: the position antenna."""

    east_m: float
    north_m: float
    lat_deg: float
    lon_deg: float
    heading_rad: float
    velocity_east: float
    velocity_north: float


@dataclass(frozen=True, slots=True)
class TurnTruth:
    """One turn of the antenna, whole."""

    number: int
    start_ns: int
    end_ns: int
    own: OwnTruth
    objects: tuple[ObjectTruth, ...]
    marks: tuple[MarkTruth, ...]
    radar_silent: bool

    def as_dict(self) -> dict[str, object]:
        """Return the turn as JSON holds it: degrees and knots where the name says."""
        own = self.own
        return {
            "turn": self.number,
            "start_ns": self.start_ns,
            "end_ns": self.end_ns,
            "radar_silent": self.radar_silent,
            "own": {
                "lat": own.lat_deg,
                "lon": own.lon_deg,
                "east_m": _round(own.east_m),
                "north_m": _round(own.north_m),
                "heading_deg": _round(math.degrees(own.heading_rad)),
                "velocity_east": _round(own.velocity_east),
                "velocity_north": _round(own.velocity_north),
            },
            "objects": [
                {
                    "name": one.name,
                    "kind": one.kind,
                    "is": one.cls,
                    "east_m": _round(one.east_m),
                    "north_m": _round(one.north_m),
                    "velocity_east": _round(one.velocity_east),
                    "velocity_north": _round(one.velocity_north),
                    "heading_deg": _round(math.degrees(one.heading_rad)),
                    "length_m": one.length_m,
                    "mmsi": one.mmsi,
                    "seen": None if one.seen is None else _seen_dict(one.seen),
                }
                for one in self.objects
            ],
            "marks": [{"index": one.index, "seen": _seen_dict(one.seen)} for one in self.marks],
        }


def _seen_dict(seen: Seen) -> dict[str, object]:
    return {
        "range_m": _round(seen.range_m),
        "bearing_deg": _round(math.degrees(seen.bearing_rad)),
        "p_detect": round(seen.p_detect, 4),
        "snr_db": _round(seen.snr_db),
        "hidden": seen.hidden,
        "merged_with": seen.merged_with,
    }


def _round(value: float) -> float:
    return round(float(value), 3)


def seen_of(
    expected: Sequence[MarkExpectation],
    names: Sequence[str],
    places_m: NDArray[np.float64],
    is_there: NDArray[np.bool_],
    antenna_m: tuple[float, float],
    land: shapely.Geometry | None,
    *,
    beam_rad: float,
    pulse_m: float,
    max_range_m: float,
) -> list[Seen | None]:
    """Return what the radar can make of each thing; None beyond its range.

    Parameters
    ----------
    expected : the radar model's word on each, in order
    places_m : (n, 2), where each is, or would be
    is_there : (n,); what is not there hides nothing
    land : all land and what is built along it, or None; metres
    """
    away = places_m - np.asarray(antenna_m)
    ranges = np.hypot(away[:, 0], away[:, 1])
    bearings = np.mod(np.arctan2(away[:, 0], away[:, 1]), 2.0 * math.pi)
    # The radar model leaves out what is out of range.
    word = {one.index: one for one in expected}
    snr = np.array([word[k].snr if k in word else 0.0 for k in range(len(names))])
    on_shore = near_land(antenna_m, ranges, bearings, land, _BEAMS * beam_rad, _PULSES * pulse_m)
    out: list[Seen | None] = []
    for k in range(len(names)):
        if ranges[k] > max_range_m or k not in word:
            out.append(None)
            continue
        merged = "land" if on_shore[k] else None
        if merged is None:
            turn = np.abs(np.mod(bearings - bearings[k] + math.pi, 2.0 * math.pi) - math.pi)
            close = (turn < beam_rad) & (np.abs(ranges - ranges[k]) < 1.5 * pulse_m) & is_there & (snr > snr[k])
            close[k] = False
            stronger = np.flatnonzero(close)
            merged = names[int(stronger[0])] if stronger.size else None
        out.append(
            Seen(
                float(ranges[k]),
                float(bearings[k]),
                float(word[k].p_detect),
                10.0 * math.log10(max(word[k].snr, 1e-9)),
                bool(word[k].hidden_by_land),
                merged,
            )
        )
    return out


def near_land(
    antenna_m: tuple[float, float],
    ranges: NDArray[np.float64],
    bearings: NDArray[np.float64],
    land: shapely.Geometry | None,
    half_angle_rad: float,
    half_range_m: float,
) -> NDArray[np.bool_]:
    """Return whether land lies in the resolution cell about each place, by a fan of test points."""
    if land is None or shapely.is_empty(land):
        return np.zeros(ranges.shape, dtype=np.bool_)
    hit = np.zeros(ranges.shape, dtype=np.bool_)
    for angle in np.linspace(-half_angle_rad, half_angle_rad, 7):
        for reach in np.linspace(-half_range_m, half_range_m, 5):
            r = np.maximum(ranges + reach, 0.0)
            hit |= shapely.contains_xy(
                land, antenna_m[0] + r * np.sin(bearings + angle), antenna_m[1] + r * np.cos(bearings + angle)
            )
    return hit
