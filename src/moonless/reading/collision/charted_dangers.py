"""What the chart has ahead of the boat, by the one danger engine, and the sounder held against it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.chart.dangers.layout import ChartDangers
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import KeepOuts, StripDangers
from moonless.chart.dangers.types import TRACK_M, Danger, DangerKind, Strip, swept_m, way_strip
from moonless.chart.local import LocalChart
from moonless.reading.own import OwnPlane
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]

# What speaks against a way and is said at the wheel as well: things to look out for, not doubts of the survey.
_SAID_THOUGH_NO_REFUSAL = frozenset({
    "structure", "mark", "marine farm", "fishing", "bridge", "restricted", "military", "unsurveyed",
})  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Charted:
    """The dangers of the chart round the boat, and the skipper's own water to keep out of."""

    chart: ChartDangers
    keep_outs: KeepOuts = ()


def lay_out_dangers(local: LocalChart, keep_outs: Sequence[tuple[shapely.Geometry, str]] = ()) -> Charted:
    """Lay the dangers of a stretch of chart out, ready to be asked every turn."""
    return Charted(ChartDangers(local), tuple(keep_outs))


@dataclass(frozen=True, slots=True)
class Ahead:
    """The nearest thing of one kind ahead."""

    danger: Danger
    in_way: bool  # within the boat's own swept width, not beside it
    key: str = ""  # which one it is, the same from turn to turn

    @property
    def distance_m(self) -> float:
        """How far she runs to it."""
        return self.danger.along_m


# What is one point is known by its number in the cell; an area by where it is met, which goes on with the boat.
_POINTS: frozenset[DangerKind] = frozenset({"rock", "wreck", "obstruction", "mark", "structure"})
# An area met within so much of where it was met last is the same one; own figure: what a bow that yaws
# sweeps at two cables.
SAME_AREA_M = 150.0
# What was not ahead for so long is another matter when it is there again.
FORGET_S = 60.0


class DangerKeys:
    """Gives each danger an identity that stays from turn to turn: two banks, or two rocks, are two matters."""

    def __init__(self) -> None:
        self._met: dict[str, tuple[DangerKind, float, float, int]] = {}  # kind, where it was met last, when

    def name(self, own: OwnPlane, time_ns: int, dangers: Sequence[Ahead]) -> tuple[Ahead, ...]:
        """Return the dangers of a turn with their keys."""
        self._met = {k: v for k, v in self._met.items() if 0 <= time_ns - v[3] <= FORGET_S * NS_PER_S}
        return tuple(replace(one, key=self._key(own, time_ns, one.danger)) for one in dangers)

    def _key(self, own: OwnPlane, time_ns: int, danger: Danger) -> str:
        lat, lon = (float(v) for v in own.frame.to_geographic(danger.east_m, danger.north_m))
        key = f"danger {danger.kind} {lat:.4f} {lon:.4f}"
        if danger.kind in _POINTS and danger.feature:
            key = f"danger {danger.kind} {danger.cell} {danger.feature}"
        else:
            near = [
                (away, known) for known, (kind, east, north, _) in self._met.items()
                if kind == danger.kind
                and (away := math.hypot(east - danger.east_m, north - danger.north_m)) <= SAME_AREA_M
            ]  # fmt: skip
            key = min(near, default=(0.0, key))[1]
        self._met[key] = (danger.kind, danger.east_m, danger.north_m, time_ns)
        return key


def line_ahead(own: OwnPlane, course_rad: float, length_m: float) -> shapely.LineString:
    """Return the way ahead in the plane."""
    far = (own.east_m + length_m * math.sin(course_rad), own.north_m + length_m * math.cos(course_rad))
    return shapely.LineString([(own.east_m, own.north_m), far])


def ahead(
    charted: Charted,
    boat: Boat,
    own: OwnPlane,
    course_rad: float,
    length_m: float,
    half_width_m: float,
    tide_m: float | None,
    position_sigma_m: float = 0.0,
    shown: frozenset[tuple[str, str, str]] = frozenset(),
) -> tuple[Ahead, ...]:
    """Return the nearest danger of each kind in the boat's own way, and beside it in the corridor, nearest first.

    Both are told: a bank close beside the way is nearer than the one dead ahead, and must not stand for it.
    ``shown``: (class, cell, feature) of marks that the radar holds; they are told as echoes.
    """
    swept = min(half_width_m, swept_m(boat, position_sigma_m))
    line = line_ahead(own, course_rad, length_m)
    strip = Strip(line, swept, half_width_m, half_width_m, half_width_m, place_m=TRACK_M)
    needs = Needs.of(boat, own.sog or 0.0, tide_m)
    found: dict[tuple[str, bool], Ahead] = {}
    for danger in StripDangers(charted.chart, strip, charted.keep_outs).dangers(needs):
        if danger.weight == "note" or (danger.weight != "stops" and danger.kind not in _SAID_THOUGH_NO_REFUSAL):
            continue
        if danger.weight != "stops" and danger.off_m > half_width_m:
            continue
        if (danger.object, danger.cell, danger.feature) in shown:
            continue
        key = (danger.kind, danger.off_m <= swept)
        if key not in found or danger.along_m < found[key].distance_m:
            found[key] = Ahead(danger, key[1])
    return tuple(sorted(found.values(), key=lambda d: d.distance_m))


def first_refusal(
    charted: Charted,
    boat: Boat,
    line: shapely.LineString,
    speed: float,
    tide_m: float | None,
    position_sigma_m: float | None = None,
) -> Danger | None:
    """Return the first thing along a way that refuses it, as a leg of a route would be refused; None for none."""
    strip = way_strip(line, boat, position_sigma_m)
    # What only would be told is not looked for.
    strip = replace(strip, look_m=strip.track_m, land_m=strip.track_m)
    refused = StripDangers(charted.chart, strip, charted.keep_outs).refusals(Needs.of(boat, speed, tide_m))
    return refused[0] if refused else None


@dataclass(frozen=True, slots=True)
class SounderCheck:
    """The sounder against the chart: what was expected here, and whether the two can both be right."""

    sounded_m: float
    expected_least_m: float
    expected_most_m: float
    agrees: bool


def check_sounder(
    charted: Charted, own: OwnPlane, sounded_m: float | None, tide_m: float | None, position_sigma_m: float
) -> SounderCheck | None:
    """Return the sounder against the depth areas within two sigma of the boat; None where either is not known.

    ``sounded_m``: below the surface.  Half a metre and a tenth of the depth are allowed for survey, tide and boat.
    """
    if sounded_m is None or tide_m is None:
        return None
    around = shapely.Point(own.east_m, own.north_m).buffer(max(10.0, 2.0 * position_sigma_m))
    depths = [least for least, _ in charted.chart.depth_areas_at(around)]
    known = [depth for depth in depths if depth is not None]
    if not known or len(known) < len(depths):
        return None
    least = min(known) + tide_m
    # A depth area gives its shallow side; its deep side is at least the next contour, taken as twice and five more.
    most = 2.0 * max(max(known), 0.0) + 5.0 + tide_m
    slack = 0.5 + 0.1 * sounded_m
    return SounderCheck(sounded_m, least, most, least - slack <= sounded_m <= most + slack)
