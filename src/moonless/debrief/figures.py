"""The figures of a run: pace, hidden water, depth, how the radar saw, registration, marks, and the plan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.debrief.ledger import Ledger
from moonless.passage.way.route import Waypoint
from moonless.units import KNOT_MPS

# Faster than advised by less than this is the log's own error.
OVER_KN = 0.5
# A waypoint is passed where the boat came this near; further off it was left out.
PASSED_M = 400.0


@dataclass(frozen=True, slots=True)
class Pace:
    """Speed made against the speed that went with what was seen."""

    over_s: float  # faster than advised
    most_over_kn: float
    most_over_ns: int | None
    because: str  # of the advice then
    not_known_s: float  # no advice was given


@dataclass(frozen=True, slots=True)
class HiddenNear:
    """Time in which a boat from hidden water would have met us before we could stop."""

    near_s: float
    nearest_m: float | None
    nearest_ns: int | None


@dataclass(frozen=True, slots=True)
class DepthMargin:
    """Water under the boat, by her own sounder; None: no sounder spoke."""

    least_below_keel_m: float | None
    least_ns: int | None
    below_margin_s: float  # less than the skipper's margin
    at_datum_m: float | None  # what would be under the keel there with the tide at chart datum; None: tide not known
    known_s: float


@dataclass(frozen=True, slots=True)
class RadarHealth:
    """How the radar saw."""

    performance_db: float | None  # mean against its own figures
    worst_db: float | None
    seeing_m: float | None  # median range at which a small boat would be held
    least_seeing_m: float | None
    least_seeing_ns: int | None
    faults: tuple[tuple[str, str, float], ...]  # what, state, seconds


@dataclass(frozen=True, slots=True)
class Registered:
    """What registration found."""

    bias_deg: float | None
    bias_spread_deg: float | None
    east_m: float | None
    north_m: float | None
    agreed_share: float | None


@dataclass(frozen=True, slots=True)
class MarkMissed:
    """A mark told missing."""

    object: str
    name: str | None
    lat_deg: float
    lon_deg: float
    first_ns: int
    looks: int
    was_found: bool  # told as missing no more while it was still in reach at the end


@dataclass(frozen=True, slots=True)
class WaypointPassed:
    """A turning point of the plan and how it was passed."""

    name: str
    off_m: float
    passed_ns: int | None  # None: not passed
    planned_ns: int | None
    off_leg_m: float  # greatest distance off the leg that leads there


def pace(run: Ledger) -> Pace:
    """Return the pace of a run."""
    over = run.sog_kn - run.advised_kn
    known = np.isfinite(over)
    k = int(np.nanargmax(over)) if known.any() else None
    most = 0.0 if k is None else max(float(over[k]), 0.0)
    is_over = known & (np.nan_to_num(over) > OVER_KN)
    because = "" if k is None or most <= OVER_KN else str((run.lines[k]["speed"] or {}).get("because", ""))
    when = int(run.time_ns[k]) if k is not None and most > OVER_KN else None
    return Pace(round(run.seconds(is_over), 1), round(most, 1), when, because, round(run.seconds(~known), 1))


def hidden_near(run: Ledger, boat: Boat) -> HiddenNear:
    """Return for how long hidden water in the way lay nearer than it takes to stop for what comes out of it.

    She comes on while we react and until we lie still: even slowing, twice the way over the speed.
    """
    speed, react_s = KNOT_MPS * run.sog_kn, boat.skipper.react_s
    slowing_m = np.maximum(run.stopping_m - speed * react_s, 0.0)
    stop_s = react_s + np.divide(2.0 * slowing_m, speed, out=np.zeros_like(speed), where=speed > 0.0)
    reach = run.stopping_m + boat.skipper.hidden_boat_speed * stop_s
    near = np.isfinite(run.hidden_m) & np.isfinite(reach) & (run.hidden_m < reach)
    known = np.isfinite(run.hidden_m)
    k = int(np.argmin(np.where(known, run.hidden_m, np.inf))) if known.any() else None
    return HiddenNear(
        round(run.seconds(near), 1),
        None if k is None else round(float(run.hidden_m[k]), 1),
        None if k is None else int(run.time_ns[k]),
    )


def depth_margin(run: Ledger, boat: Boat, tide_m: NDArray[np.float64] | None) -> DepthMargin:
    """Return the water under the keel; ``tide_m`` (n,): above chart datum, None or NaN where not known."""
    below = run.depth_m - boat.draught_m
    known = np.isfinite(below)
    if not known.any():
        return DepthMargin(None, None, 0.0, None, 0.0)
    k = int(np.nanargmin(below))
    at_datum = None
    if tide_m is not None and math.isfinite(float(tide_m[k])):
        at_datum = round(float(below[k] - tide_m[k]), 2)
    short = known & (np.nan_to_num(below, nan=np.inf) < boat.skipper.depth_margin_m)
    return DepthMargin(
        round(float(below[k]), 2), int(run.time_ns[k]), round(run.seconds(short), 1), at_datum,
        round(run.seconds(known), 1),
    )  # fmt: skip


def radar_health(run: Ledger) -> RadarHealth:
    """Return how the radar saw over the run."""
    faults: dict[tuple[str, str], float] = {}
    for line, step in zip(run.lines, run.step_s.tolist(), strict=True):
        for fault in line["faults"] or ():
            key = (fault["what"], fault["state"])
            faults[key] = faults.get(key, 0.0) + step
    seeing = run.seeing_m
    k = int(np.nanargmin(seeing)) if np.isfinite(seeing).any() else None
    return RadarHealth(
        _mean(run.performance_db), _least(run.performance_db),
        None if k is None else round(float(np.nanmedian(seeing)), 0),
        None if k is None else round(float(seeing[k]), 0),
        None if k is None else int(run.time_ns[k]),
        tuple((what, state, round(s, 1)) for (what, state), s in sorted(faults.items())),
    )  # fmt: skip


def registered(run: Ledger) -> Registered:
    """Return what registration found."""
    bias = run.bias_deg[np.isfinite(run.bias_deg)]
    return Registered(
        _mean(run.bias_deg), round(float(np.std(bias)), 2) if len(bias) else None, _mean(run.offset_east_m),
        _mean(run.offset_north_m), _mean(run.agrees),
    )  # fmt: skip


def marks_missed(run: Ledger) -> tuple[MarkMissed, ...]:
    """Return the marks that were told missing, in order of time."""
    found: dict[tuple[str, str | None, float, float], list[int]] = {}
    looks: dict[tuple[str, str | None, float, float], int] = {}
    for row, line in enumerate(run.lines):
        for mark in line["missing"] or ():
            key = (mark["object"], mark["name"], round(mark["lat"], 6), round(mark["lon"], 6))
            found.setdefault(key, []).append(row)
            looks[key] = max(looks.get(key, 0), int(mark["scans_looked"]))
    return tuple(
        MarkMissed(*key, int(run.time_ns[rows[0]]), looks[key], rows[-1] < len(run.lines) - 20 and len(rows) < 5)
        for key, rows in found.items()
    )


def against_plan(
    run: Ledger, waypoints: Sequence[Waypoint], planned_ns: Sequence[int | None]
) -> tuple[WaypointPassed, ...]:
    """Return how each turning point was passed, and how far off each leg the boat was."""
    at = np.array([run.frame.to_plane(w.lat_deg, w.lon_deg) for w in waypoints])
    own = np.column_stack([run.east_m, run.north_m])
    known = np.isfinite(own[:, 0]) & np.isfinite(own[:, 1])
    passed: list[int | None] = []
    off_m: list[float] = []
    for place in at:
        off = np.where(known, np.hypot(*(own - place).T), np.inf)
        k = int(np.argmin(off))
        off_m.append(float(off[k]))
        passed.append(k if off[k] <= PASSED_M else None)
    out = []
    for k, waypoint in enumerate(waypoints):
        before, now = passed[k - 1] if k else None, passed[k]
        off_leg = 0.0
        if k and before is not None and now is not None and before < now:
            rows = [r for r in range(before, now + 1) if known[r]]
            off_leg = float(np.max(_off_line(own[rows], at[k - 1], at[k])))
        out.append(
            WaypointPassed(
                waypoint.name, round(off_m[k], 1), None if now is None else int(run.time_ns[now]), planned_ns[k],
                round(off_leg, 1),
            )
        )  # fmt: skip
    return tuple(out)


def _off_line(places: NDArray[np.float64], a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    step = b - a
    length = float(np.hypot(*step))
    if length == 0.0:
        return np.asarray(np.hypot(*(places - a).T))
    along = np.clip((places - a) @ step / length**2, 0.0, 1.0)
    return np.asarray(np.hypot(*(places - a - along[:, None] * step).T))


def _mean(values: NDArray[np.float64]) -> float | None:
    known = values[np.isfinite(values)]
    return round(float(known.mean()), 2) if len(known) else None


def _least(values: NDArray[np.float64]) -> float | None:
    known = values[np.isfinite(values)]
    return round(float(known.min()), 2) if len(known) else None
