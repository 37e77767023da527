"""``make a823``: the four target-tracking scenarios of IMO resolution A.823(19) with its sensor errors, run many times.

Scenarios: Appendix 2.  Sensor errors: Appendix 3 (roll and pitch, beam shape, pulse shape, antenna backlash,
quantisation, bearing encoder, gyro, log).  Limits (95 %): tables of 3.8.2 and 3.8.3, written down FROM MEMORY, to be
checked against the resolution; ``--limits msc192`` asks the table of MSC.192(79) 5.25.4.7.1 instead, one for all four,
from memory too.  Glint (``--glint``) is that of Appendix 3 for a target of 200 m: 30 m along her and 1 m across, one
sigma, new each turn, from memory too; she lies along her true course.  The tracker is told of none: what it learns of
the scatter it learns from the plots.

Told under four conditions: 48 antenna turns a minute and the 24 of the shipped sets, without glint and with.
``--rpm`` and ``--glint`` ask for one of them.  What the resolution leaves open and we chose besides: a roll of
10 degrees with a period drawn from 6 to 12 s; a calibration error is drawn evenly between its two limits, once a run;
the own place is reckoned from gyro and log with their errors (``--own log``, as the resolution has it) or comes from a
satellite receiver (``--own gnss``, 4 m one sigma, wandering over ten minutes), as on the boats this is for.

Beside each figure stands its bound: what a straight line gives that is laid through the very same plots by least
squares, each plot weighed by its true covariance, with the line known to be straight.  For normal errors that is the
most likely motion and meets the Cramer-Rao bound.  Where it too is above half the limit, the plots do not hold what is
asked, and no unbiased filter gets there with these errors and this rate.

Runs are tracked twenty at a time by one tracker, so far apart that they have nothing to do with each other (but for
the plots' scatter, which it learns from all of them), and shared out among processes; a run's draw does not depend on
how.  ``--together 1`` gives each run a tracker of its own.

    python -m bench.a823 [--runs N] [--rpm N] [--glint | --no-glint] [--own log|gnss|both] [--limits a823|msc192]
                         [--jobs N] [--together N]
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from moonless.constants import NAUTICAL_MILE_M
from moonless.echo.types import Plots
from moonless.frames import LocalFrame
from moonless.scan.types import ScanErrors
from moonless.track.cpa import cpa
from moonless.track.settings import PoseErrors, TrackerSettings
from moonless.track.tracker import Tracker
from moonless.track.types import Track
from moonless.units import KNOT_MPS, NS_PER_S

FIGURES = ("relative course deg", "relative speed kn", "CPA nm", "TCPA min", "true course deg", "true speed kn")
# Runs that share a tracker, and how far apart they lie: the farthest target is at 8 miles, the stray plots of a place
# are counted over 0.15 of the range about it.
TOGETHER, APART_M = 20, 25_000.0
NO_TRACK = 999.0  # in any unit of FIGURES
# One sigma along the target and across her; A.823(19) Appendix 3, for a target of 200 m, from memory.
GLINT_M = (30.0, 1.0)
# Turns a minute, and with glint or without.
CONDITIONS = ((48.0, False), (24.0, False), (48.0, True), (24.0, True))


@dataclass(frozen=True, slots=True)
class Scenario:
    """Own course and speed, target range and bearing, relative course and speed; the limits after 1 and 3 minutes."""

    own_kn: float  # course 000 in all four
    range_nm: float
    bearing_deg: float
    relative_course_deg: float
    relative_speed_kn: float
    limit_1: tuple[float | None, ...]  # as FIGURES
    limit_3: tuple[float | None, ...]


SCENARIOS = (
    Scenario(10, 8, 0, 180, 20, (11, 2.8, 1.6, None, None, None), (3.0, 0.8, 0.5, 1.0, 7.4, 1.2)),
    Scenario(10, 1, 0, 90, 10, (7, 0.6, None, None, None, None), (2.3, 0.3, None, None, 2.8, 0.8)),
    Scenario(5, 8, 45, 225, 20, (14, 2.2, 1.8, None, None, None), (4.4, 0.9, 0.7, 1.0, 3.3, 1.0)),
    Scenario(25, 8, 45, 225, 20, (15, 1.5, 2.0, None, None, None), (4.6, 0.8, 0.7, 1.0, 2.6, 1.2)),
)


def limits(s: Scenario, table: str) -> tuple[tuple[int, tuple[float | None, ...]], ...]:
    """Return what a table asks of a scenario after 1 minute and after 3: that of A.823 or, by speed, of MSC.192."""
    if table == "a823":
        return (1, s.limit_1), (3, s.limit_3)
    true_kn = (
        float(np.hypot(*(_vector(0.0, s.own_kn) + _vector(s.relative_course_deg, s.relative_speed_kn)))) / KNOT_MPS
    )
    relative_kn = s.relative_speed_kn
    trend = (11.0, max(1.5, 0.1 * relative_kn), 1.0, None, None, None)
    return (1, trend), (3, (3.0, max(0.8, 0.01 * relative_kn), 0.3, 0.5, 5.0, max(0.5, 0.01 * true_kn)))


def _vector(course_deg: float, speed_kn: float) -> NDArray[np.float64]:
    a = math.radians(course_deg)
    return np.array([math.sin(a), math.cos(a)]) * speed_kn * KNOT_MPS


@dataclass(frozen=True, slots=True, eq=False)
class Draw:
    """One draw of all errors, over n turns; what the tracker is fed and what the figures need."""

    t: NDArray[np.float64]  # (n,) seconds, 0 at the moment of prediction
    range_m: NDArray[np.float64]
    azimuth: NDArray[np.float64]  # from the bow, rad
    heading: NDArray[np.float64]
    place: NDArray[np.float64]  # (n, 2) own place as reckoned, metres
    own_v_told: NDArray[np.float64]  # (2,)
    rel: NDArray[np.float64]  # (2,) true place at t = 0, from the boat
    sigma_r: float
    sigma_a: float
    glint: NDArray[np.float64]  # (2, 2) covariance over the ground


def draw(
    s: Scenario, rng: np.random.Generator, own: str, duration: float, turn_s: float, *, has_glint: bool = False
) -> Draw:
    """Return one run's errors.  Where the scenario's range and bearing hold, the prediction is made: at the end."""
    n = round(duration / turn_s) + 1
    t = np.arange(n) * turn_s - duration
    own_v = _vector(0.0, s.own_kn)
    at_end = _vector(s.bearing_deg, 1.0) / KNOT_MPS * s.range_nm * NAUTICAL_MILE_M
    rel = at_end + t[:, None] * _vector(s.relative_course_deg, s.relative_speed_kn)
    range_m = np.hypot(rel[:, 0], rel[:, 1])
    bearing = np.arctan2(rel[:, 0], rel[:, 1])  # own course 000: relative and true are one

    # Roll: zero on bow and beam, peaks at 045, 135 ...; mean 0.22 deg and a sine of 0.22 deg at twice the roll.
    roll_hz = 1.0 / rng.uniform(6.0, 12.0)
    shape = np.sin(2.0 * bearing)
    roll = np.radians(0.22) * shape * (1.0 + np.sin(4.0 * np.pi * roll_hz * t + rng.uniform(0, 2 * np.pi)))
    azimuth = (
        bearing
        + roll
        + rng.normal(0, np.radians(0.05), n)
        + rng.uniform(-1, 1, n) * np.radians(0.05)
        + rng.normal(0, np.radians(0.03), n)
        + rng.uniform(-1, 1, n) * np.radians(0.1)
    )
    measured_range = range_m + rng.normal(0, 20.0, n) + rng.uniform(-1, 1, n) * 0.01 * NAUTICAL_MILE_M
    heading = rng.uniform(-1, 1) * np.radians(0.5) + rng.normal(0, np.radians(0.12), n)

    if own == "log":
        speed = s.own_kn + rng.uniform(-1, 1) * 0.5 + rng.normal(0, 0.2 / 3, n)
        step = speed[:, None] * KNOT_MPS * turn_s * np.stack([np.sin(heading), np.cos(heading)], axis=1)
        place = np.cumsum(step, axis=0)
        minute = round(60 / turn_s)
        own_v_told = _vector(math.degrees(float(np.mean(heading[-minute:]))), float(np.mean(speed[-minute:])))
    else:
        keep = math.exp(-turn_s / 600.0)
        wander = np.zeros((n, 2))
        wander[0] = rng.normal(0, 4.0, 2)
        for k in range(1, n):
            wander[k] = keep * wander[k - 1] + rng.normal(0, 4.0 * math.sqrt(1 - keep * keep), 2)
        place = t[:, None] * own_v + wander
        # A receiver's own velocity, 0.1 m/s each second, meaned over a minute as the log is above.
        own_v_told = own_v + rng.normal(0, 0.1 / math.sqrt(60.0), 2)
    sigma_a = math.hypot(math.radians(0.09), math.radians(0.22) / math.sqrt(2) * abs(math.sin(2 * float(bearing[-1]))))
    sigma_r = math.hypot(20.0, 0.01 * NAUTICAL_MILE_M / math.sqrt(3))
    glint = np.zeros((2, 2))
    if has_glint:
        # Drawn last, so that all other errors are those of the run without it.
        along = _vector(0.0, s.own_kn) + _vector(s.relative_course_deg, s.relative_speed_kn)
        along = along / np.hypot(*along)
        axes = np.stack([along, np.array([along[1], -along[0]])])
        glint = axes.T @ np.diag(np.square(GLINT_M)) @ axes
        off = rng.normal(size=(n, 2)) * GLINT_M @ axes
        ahead = np.stack([np.sin(bearing), np.cos(bearing)], axis=1)
        side = np.stack([np.cos(bearing), -np.sin(bearing)], axis=1)
        measured_range = measured_range + np.sum(off * ahead, axis=1)
        azimuth = azimuth + np.sum(off * side, axis=1) / range_m
    return Draw(t, measured_range, azimuth, heading, place, own_v_told, rel[-1], sigma_r, sigma_a, glint)


def pose_errors(own: str) -> PoseErrors:
    """Return what the tracker is told: the size of the errors, as a boat file tells them, and never their draw."""
    return PoseErrors(
        heading_sigma_rad=math.radians(0.3), heading_correlation_s=3600.0, heading_jitter_rad=math.radians(0.12),
        position_sigma_m=4.0 if own == "gnss" else 1.0, position_correlation_s=600.0 if own == "gnss" else 3600.0,
    )  # fmt: skip


def tracked(runs: Sequence[Draw], own: str) -> list[Track | None]:
    """Return the one confirmed track of each run at its end, its place from the boat; None: not one.

    The runs share one tracker, as boats of one ocean would, each on a spot of its own: strung out along the equator,
    where all meridians are parallel, too far apart for any plot of one to come near another's tracks.
    """
    frame = LocalFrame(0.0, 0.0)
    errors = ScanErrors(
        beam_rad=math.radians(2.0), pulse_m=60.0, azimuth_sigma_rad=math.radians(0.2), range_sigma_m=10.0
    )
    # Nothing is near enough to be merged with or hidden; by bearing from the middle of them all it might seem so.
    settings = TrackerSettings(
        glint_sigma_m=0.5, unresolved_most=0.0, shadowed=0.0,
        noise_memory_plots=TrackerSettings().noise_memory_plots * len(runs),
    )  # fmt: skip
    tracker = Tracker(frame, pose_errors=pose_errors(own), settings=settings)
    spots = np.stack([(np.arange(len(runs)) - 0.5 * (len(runs) - 1)) * APART_M, np.zeros(len(runs))], axis=1)
    tracks: tuple[Track, ...] = ()
    for k in range(len(runs[0].t)):
        when = round((runs[0].t[k] - runs[0].t[0]) * NS_PER_S)
        lat, lon = frame.to_geographic(*(spots + [r.place[k] for r in runs]).T)
        tracks = tracker.update(when, _plots(when, runs, k, lat, lon), errors)
    out: list[Track | None] = []
    for spot, run in zip(spots, runs, strict=True):
        boat = spot + run.place[-1]
        near = [x for x in tracks if x.state != "tentative" and abs(x.east_m - boat[0] - run.rel[0]) < 0.5 * APART_M]
        one = near[0] if len(near) == 1 else None
        out.append(None if one is None else replace(one, east_m=one.east_m - boat[0], north_m=one.north_m - boat[1]))
    return out


def errors_of(s: Scenario, run: Draw, track: Track | None, own: str) -> NDArray[np.float64]:
    """Return (2, figures): errors in the units of FIGURES, ours and the bound's; inf where there is no track."""
    own_v, rel_v = _vector(0.0, s.own_kn), _vector(s.relative_course_deg, s.relative_speed_kn)
    true_v = own_v + rel_v
    compass = run.azimuth + run.heading
    seen = run.range_m[:, None] * np.stack([np.sin(compass), np.cos(compass)], axis=1)
    across = math.hypot(run.sigma_a, pose_errors(own).heading_jitter_rad) * run.range_m
    line = _line(run.t, seen, compass, run.sigma_r, across, run.glint)
    ground = _line(run.t, seen + run.place, compass, run.sigma_r, across, run.glint)
    bound = _figures(line[:2], line[2:], ground[2:], run.rel, rel_v, true_v)
    if track is None:
        return np.stack([np.full(len(FIGURES), np.inf), bound])
    v = np.array([track.velocity_east, track.velocity_north])
    told = _figures(np.array([track.east_m, track.north_m]), v - run.own_v_told, v, run.rel, rel_v, true_v)
    return np.stack([told, bound])


def _line(
    t: NDArray[np.float64], places: NDArray[np.float64], bearing: NDArray[np.float64], along: float,
    across: NDArray[np.float64], glint: NDArray[np.float64],
) -> NDArray[np.float64]:  # fmt: skip
    """Return (east, north, velocity east, north) at t = 0 of the straight line by weighted least squares.

    ``along`` and ``across`` (n,) are one sigma of each place, metres, along its bearing and across it; ``glint`` (2, 2)
    is the covariance over the ground of what is added to it.
    """
    s, c = np.sin(bearing), np.cos(bearing)
    rows = np.stack([np.stack([s, c], axis=1), np.stack([c, -s], axis=1)], axis=1)
    sizes = np.stack([np.full(len(t), along**2), across**2], axis=1)
    cov = np.einsum("nka,nk,nkb->nab", rows, sizes, rows) + glint
    white = np.linalg.inv(np.linalg.cholesky(cov))
    told = np.einsum("nka,na->nk", white, places).reshape(-1)
    design = np.concatenate([white, white * t[:, None, None]], axis=2).reshape(-1, 4)
    return np.asarray(np.linalg.lstsq(design, told, rcond=None)[0])


def _figures(
    told_p: NDArray[np.float64], told_v: NDArray[np.float64], v: NDArray[np.float64],
    rel: NDArray[np.float64], rel_v: NDArray[np.float64], true_v: NDArray[np.float64],
) -> NDArray[np.float64]:  # fmt: skip
    truth, told = cpa(rel, rel_v), cpa(told_p, told_v)
    return np.array(
        [
            _angle(told_v, rel_v),
            abs(np.hypot(*told_v) - np.hypot(*rel_v)) / KNOT_MPS,
            abs(float(told.distance_m) - float(truth.distance_m)) / NAUTICAL_MILE_M,
            abs(float(told.time_s) - float(truth.time_s)) / 60.0,
            _angle(v, true_v),
            abs(np.hypot(*v) - np.hypot(*true_v)) / KNOT_MPS,
        ]
    )


def _angle(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    return abs(math.degrees(math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b))))


def _plots(when: int, runs: Sequence[Draw], k: int, lat: NDArray[np.float64], lon: NDArray[np.float64]) -> Plots:
    n = len(runs)
    zero, nan = np.zeros(n), np.full(n, np.nan)
    return Plots(
        time_ns=np.full(n, when, dtype=np.int64), range_m=np.array([r.range_m[k] for r in runs]),
        azimuth_rel_rad=np.array([r.azimuth[k] % (2 * math.pi) for r in runs]),
        heading_true_rad=np.array([r.heading[k] % (2 * math.pi) for r in runs]),
        own_lat_deg=np.atleast_1d(lat), own_lon_deg=np.atleast_1d(lon),
        range_sigma_m=np.array([r.sigma_r for r in runs]), azimuth_sigma_rad=np.array([r.sigma_a for r in runs]),
        range_extent_m=zero, cross_extent_m=zero, orientation_rel_rad=nan, strength_db=zero + 20.0, peak_count=nan,
        n_cells=np.ones(n, dtype=np.int64), is_clipped=np.zeros(n, dtype=np.bool_),
        false_parent=np.full(n, -1, dtype=np.int64), false_cause=(None,) * n,
    )  # fmt: skip


def _some(number: int, own: str, turn_s: float, has_glint: bool, runs: range) -> dict[int, NDArray[np.float64]]:
    scenario, out = SCENARIOS[number - 1], {}
    rngs = [np.random.default_rng([823, number, run]) for run in runs]
    for minutes in (1, 3):
        drawn = [draw(scenario, rng, own, minutes * 60.0, turn_s, has_glint=has_glint) for rng in rngs]
        tracks = tracked(drawn, own)
        out[minutes] = np.array([errors_of(scenario, d, x, own) for d, x in zip(drawn, tracks, strict=True)])
    return out


def draws(
    number: int, own: str, runs: int, turn_s: float, has_glint: bool, pool: ProcessPoolExecutor,
    together: int = TOGETHER,
) -> dict[int, NDArray[np.float64]]:  # fmt: skip
    """Return {1: (runs, 2, figures), 3: ...}: the errors of a scenario's runs, ours and the bound's."""
    parts = [range(k, min(k + together, runs)) for k in range(0, runs, together)]
    n = len(parts)
    done = list(pool.map(_some, [number] * n, [own] * n, [turn_s] * n, [has_glint] * n, parts))
    return {minutes: np.concatenate([one[minutes] for one in done]) for minutes in (1, 3)}


def lines(
    owns: Sequence[str], runs: int, rpm: float, has_glint: bool, jobs: int, together: int, table: str
) -> Iterator[dict[str, object]]:
    """Yield the figures of one condition, one after another."""
    with ProcessPoolExecutor(jobs) as pool:
        for own in owns:
            for number, scenario in enumerate(SCENARIOS, start=1):
                errors = draws(number, own, runs, 60.0 / rpm, has_glint, pool, together)
                for minutes, asked in limits(scenario, table):
                    # A run without its one track, or with two, is an error past any limit.
                    lost = float(np.mean(~np.isfinite(errors[minutes][:, 0, 0])))
                    p95, bound = np.percentile(np.minimum(errors[minutes], NO_TRACK), 95.0, axis=0)
                    for name, got, best, limit in zip(FIGURES, p95, bound, asked, strict=True):
                        if limit is None:
                            continue
                        yield {
                            "scenario": number, "own": own, "after_min": minutes, "figure": name,
                            "p95": round(float(got), 3), "bound": round(float(best), 3), "limit": limit,
                            "of_limit": round(float(got) / limit, 3), "bound_of_limit": round(float(best) / limit, 3),
                            "of_bound": round(float(got / best), 3), "runs": runs, "rpm": rpm, "glint": has_glint,
                            "not_one_track": round(lost, 3),
                            "within_half": bool(got <= limit / 2), "within_reach": bool(best <= limit / 2),
                        }  # fmt: skip


def summary(told: Sequence[dict[str, object]]) -> dict[str, object]:
    """Return how many figures of a condition are within half the limit and over the whole, ours and the bound's."""
    ours, bound = ([float(str(line[key])) for line in told] for key in ("of_limit", "bound_of_limit"))
    return {
        "figures": len(told),
        "within_half": sum(bool(line["within_half"]) for line in told),
        "bound_within_half": sum(bool(line["within_reach"]) for line in told),
        "over_limit": sum(v > 1.0 for v in ours),
        "bound_over_limit": sum(v > 1.0 for v in bound),
        "above_half_within_reach": sum(bool(line["within_reach"]) and not line["within_half"] for line in told),
        "worst_of_limit": round(max(ours), 3),
        "median_of_bound": round(float(np.median([float(str(line["of_bound"])) for line in told])), 3),
    }


def main(argv: Sequence[str]) -> int:
    """Print one JSON object a line, a summary of each condition last; exit code 1 when a figure is over its limit.

    That of the first condition alone: the one that the limits are commonly held against.
    """
    parser = argparse.ArgumentParser(prog="python -m bench.a823")
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--rpm", type=float)
    parser.add_argument("--glint", action=argparse.BooleanOptionalAction)
    parser.add_argument("--own", choices=("log", "gnss", "both"), default="both")
    parser.add_argument("--limits", choices=("a823", "msc192"), default="a823")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--together", type=int, default=TOGETHER)
    args = parser.parse_args(argv)
    owns = ("log", "gnss") if args.own == "both" else (args.own,)
    asked = [
        (rpm, has_glint) for rpm, has_glint in CONDITIONS if args.rpm in (None, rpm) and args.glint in (None, has_glint)
    ] or [(args.rpm, bool(args.glint))]
    summaries = []
    for rpm, has_glint in asked:
        told = []
        for line in lines(owns, args.runs, rpm, has_glint, args.jobs, args.together, args.limits):
            print(json.dumps(line), flush=True)
            told.append(line)
        summaries.append({"limits": args.limits, "rpm": rpm, "glint": has_glint, **summary(told)})
    for one in summaries:
        print(json.dumps(one))
    return 0 if summaries[0]["over_limit"] == 0 else 1


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
