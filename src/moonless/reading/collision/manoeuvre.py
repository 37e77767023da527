"""The smallest changes that clear, and the skipper's own trial, against this turn's echoes, chart and hidden water.

What must be kept off by how much: a vessel by the skipper's keep-off distance; a still thing that the chart does not
know by the share of it that calls use; a charted mark, which is meant to be passed close, by what would be a collision.
Shore, bridges, clutter and false echoes are the chart's business or nobody's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.chart.dangers.types import Danger
from moonless.chart.dangers.words import danger_words, depth_words
from moonless.frames import wrap_180, wrap_360, wrap_pi
from moonless.reading.collision import charted_dangers
from moonless.reading.collision.closest import relative_covariance
from moonless.reading.collision.counts import MARK_M, MEET_S, STILL_S, STILL_SHARE
from moonless.reading.collision.trial import (
    HORIZON_S,
    MIN_SPEED,
    TURNS_DEG,
    Approach,
    Mover,
    Tried,
    approach,
    discouraged,
    hold_s,
    needed_m,
    smallest_that_clear,
    vector,
)
from moonless.reading.collision.trial_types import Trial, TrialChart, TrialEcho, TrialHidden
from moonless.reading.contact import Passing
from moonless.reading.own import OwnPlane
from moonless.reading.types import Change, Manoeuvres, RefusedChange
from moonless.reading.visibility.raster import CAUSES, VisibilityRaster
from moonless.reading.words import distance_words, time_words
from moonless.rules.encounters import Meeting, meeting_of
from moonless.rules.steering import Sight, encounters
from moonless.track.cpa import cpa_sigma
from moonless.units import mps_to_kn

Floats = NDArray[np.float64]

# Told kinds that a manoeuvre is held against, and from which confidence on.
KINDS = ("vessel", "uncharted", "charted")
LEAST_CONFIDENCE = 0.5
# A change smaller than this is not readily apparent to another vessel (Rule 8(b) gives no figure; common practice).
APPARENT_DEG = 30.0
# Hidden water that something may come out of, by its place in `CAUSES`: land, vessel, blind sector.
COUNTED = (1, 2, 3)

@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What a manoeuvre of this turn is held against."""

    time_ns: int
    own: OwnPlane  # put right
    passings: tuple[Passing, ...]
    boat: Boat
    sight: Sight
    dangers: charted_dangers.Charted | None
    tide_m: float | None
    position_sigma_m: float
    raster: VisibilityRaster | None

    @property
    def way(self) -> tuple[float, float] | None:
        """Course and speed over ground; None where either is not known, or she hardly moves."""
        if self.own.cog_rad is None or self.own.sog is None or self.own.sog < MIN_SPEED:
            return None
        return self.own.cog_rad, self.own.sog


def movers_of(seen: Seen) -> tuple[list[Mover], list[int]]:
    """Return what a manoeuvre is held against, and the row of each among the passings."""
    keep_off = seen.boat.skipper.keep_off_m
    own_keep = {"vessel": keep_off, "uncharted": STILL_SHARE * keep_off, "charted": MARK_M}
    movers, rows = [], []
    for row, passing in enumerate(seen.passings):
        one = passing.contact
        if one.kind not in KINDS or one.confidence < LEAST_CONFIDENCE:
            continue
        place = (one.position_en[0] - seen.own.east_m, one.position_en[1] - seen.own.north_m)
        movers.append(Mover(one.id, place, one.velocity_en, own_keep[one.kind], one.kind == "charted"))
        rows.append(row)
    return movers, rows


def smallest(seen: Seen) -> Manoeuvres | None:
    """Return the smallest changes that clear; None while nothing comes inside its keep-off, or it cannot be said."""
    way = seen.way
    if way is None:
        return None
    keep_off = seen.boat.skipper.keep_off_m
    threats = []
    for one in seen.passings:
        if one.cpa_m is None or one.tcpa_s is None or one.contact.confidence < LEAST_CONFIDENCE or one.tcpa_s <= 0.0:
            continue
        near_m, soon_s = {"vessel": (keep_off, MEET_S), "uncharted": (STILL_SHARE * keep_off, STILL_S)}.get(
            one.contact.kind, (0.0, 0.0)
        )
        if one.cpa_m < near_m and one.tcpa_s <= soon_s:
            threats.append((one.tcpa_s, one.contact.id))
    if not threats:
        return None
    threats.sort(key=lambda threat: threat[0])
    movers, _ = movers_of(seen)

    def shoal(course_rad: float, speed: float, delay_s: float, hold_s: float) -> str | None:
        danger = _first_danger(seen, course_rad, speed, delay_s, hold_s)
        return None if danger is None else f"{_chart_words(danger[0])} that way"

    found = smallest_that_clear(*way, movers, keep_off, seen.sight, 0.0, shoal)
    turn = None if found.turn is None else _change(seen, way, found.turn)
    slow = None if found.slow is None else _change(seen, way, found.slow)
    refused = tuple(
        RefusedChange(
            float(one.turn_deg),
            wrap_360(math.degrees(way[0]) + one.turn_deg),
            mps_to_kn(one.speed),
            one.closest_m,
            int(one.closest_id or 0),
            str(one.refused),
        )
        for one in found.refused
    )
    said = [one.say for one in (turn, slow) if one is not None]
    if not said:
        most = f"No turn of up to {TURNS_DEG[-1]} degrees and no slowing"
        said = [f"{most} keeps everything off that the rules and the chart allow; stopping is one that was tried."]
        if found.refused:
            said.append(f"{found.refused[0].refused}.")
    return Manoeuvres(keep_off, tuple(echo for _, echo in threats), turn, slow, refused, " ".join(said))


def _change(seen: Seen, way: tuple[float, float], tried: Tried) -> Change:
    unit = seen.boat.skipper.distance_unit
    course = wrap_360(math.degrees(way[0]) + tried.turn_deg)
    speed = mps_to_kn(tried.speed)
    off = distance_words(tried.closest_m, unit)
    is_slight = 0.0 < abs(tried.turn_deg) < APPARENT_DEG
    if tried.turn_deg:
        side = "starboard" if tried.turn_deg > 0 else "port"
        say = f"{abs(tried.turn_deg):.0f} degrees to {side}, course {round(course) % 360:03d}: nearest {off}."
        # Section I of the steering rules: in any condition of visibility.
        if is_slight:
            say += " Rule 8(b): an alteration should be large enough to be readily apparent."
    elif tried.speed < MIN_SPEED:
        say = f"Stopped: nearest {off}."
    else:
        say = f"Slowed to {speed:.0f} knots: nearest {off}."
    return Change(float(tried.turn_deg), course, speed, tried.closest_m, int(tried.closest_id or 0), say, is_slight)


def try_manoeuvre(seen: Seen, course_rad: float | None, speed: float | None, delay_s: float) -> Trial | str:
    """Return what a course (true, over ground) or speed would bring; None: as now.  A sentence where none can be tried.

    The manoeuvre begins ``delay_s`` from now.
    """
    own = seen.own
    if own.sog is None or (own.cog_rad is None and own.heading_rad is None):
        return "No trial: own course or speed is not known."
    before = own.ahead_rad
    assert before is not None
    course = before if course_rad is None else course_rad
    after = own.sog if speed is None else speed
    turn_deg = wrap_180(math.degrees(wrap_pi(course - before)))
    old, new = vector(before, own.sog), vector(course, after)
    movers, rows = movers_of(seen)
    gaps = approach(old, new, delay_s, movers)
    need = needed_m(movers, seen.boat.skipper.keep_off_m)
    sigma = _sigma(seen, movers, rows, gaps, old, new, delay_s)
    told = []
    for k, (mover, row) in enumerate(zip(movers, rows, strict=True)):
        told.append(
            _told(seen, mover, row, gaps, k, bool(gaps.distance_m[k] < need[k]), sigma[k], (before, own.sog, turn_deg),
                  old, new, delay_s)
        )  # fmt: skip
    told.sort(key=lambda echo: echo.cpa_m)
    refused = next((echo.discouraged for echo in told if echo.discouraged is not None), None)
    chart = _chart(seen, before, course, after, delay_s)
    # Somewhere ahead every course ends on a shore: what counts is what lies this side of what she turns for.
    in_way = chart is not None and chart.in_s <= delay_s + hold_s(gaps, movers, seen.boat.skipper.keep_off_m)
    if refused is None and chart is not None and in_way:
        refused = chart.say
    clears = not any(echo.inside for echo in told) and not in_way
    hidden = _hidden(seen, old, new, delay_s)
    start = _place(own, old, delay_s)
    end = (start[0] + new[0] * HORIZON_S, start[1] + new[1] * HORIZON_S)
    marks = {mover.id for mover in movers if mover.is_mark}
    nearest = next((echo for echo in told if echo.id not in marks), None)
    said = [echo for echo in told if echo.inside or echo.id not in marks]
    return Trial(
        time_ms=seen.time_ns // 1_000_000,
        course_deg=wrap_360(math.degrees(course)),
        speed_kn=mps_to_kn(after),
        turn_deg=turn_deg,
        delay_s=delay_s,
        horizon_s=HORIZON_S,
        path=(_lonlat(own, own.east_m, own.north_m), _lonlat(own, *start), _lonlat(own, *end)),
        keep_off_m=seen.boat.skipper.keep_off_m,
        clears=clears,
        closest_m=None if nearest is None else nearest.cpa_m,
        closest_id=None if nearest is None else nearest.id,
        echoes=tuple(told),
        chart=chart,
        hidden=hidden,
        refused=refused,
        say=_say(seen, course, after, delay_s, said, chart, hidden, refused),
    )


def _told(
    seen: Seen,
    mover: Mover,
    row: int,
    gaps: Approach,
    k: int,
    inside: bool,
    sigma_m: float,
    way: tuple[float, float, float],
    old: tuple[float, float],
    new: tuple[float, float],
    delay_s: float,
) -> TrialEcho:
    passing, own = seen.passings[row], seen.own
    echo, course = passing.contact, passing.contact.course_rad
    before, speed, turn_deg = way
    at_s = float(gaps.time_s[k])
    mine = _own_at(own, old, new, delay_s, at_s)
    hers = (
        own.east_m + mover.position_en[0] + mover.velocity_en[0] * at_s,
        own.north_m + mover.position_en[1] + mover.velocity_en[1] * at_s,
    )
    meeting: Meeting | None = None
    rules: tuple[str, ...] = ()
    why = None
    if echo.kind == "vessel" and course is not None and passing.tcpa_s is not None and passing.tcpa_s > 0.0:
        args = (before, speed, echo.bearing_rad, course, echo.speed)
        meeting = meeting_of(*args)
        rules = tuple(one.rule for one in encounters(seen.sight, *args, echo.nav_status))
        why = discouraged(before, speed, turn_deg, mover, seen.sight)
    return TrialEcho(
        id=echo.id,
        cpa_m=float(gaps.distance_m[k]),
        tcpa_s=at_s,
        cpa_sigma_m=sigma_m if math.isfinite(sigma_m) else None,
        inside=inside,
        own=_lonlat(own, *mine),
        her=_lonlat(own, *hers),
        meeting=meeting,
        rules=rules,
        discouraged=why,
    )


def _sigma(
    seen: Seen,
    movers: list[Mover],
    rows: list[int],
    gaps: Approach,
    old: tuple[float, float],
    new: tuple[float, float],
    delay_s: float,
) -> Floats:
    """Return (n,) one standard deviation of each closest approach.

    Seen from the new course she is where she would have to be now for that course to have been held all along.
    """
    if not movers:
        return np.zeros(0)
    p = np.array([m.position_en for m in movers])
    w = np.array([m.velocity_en for m in movers])
    later = gaps.time_s > delay_s
    kept = np.where(later[:, None], p + (np.array(new) - np.array(old)) * delay_s, p)
    own = np.where(later[:, None], np.array(new), np.array(old))
    covariance = relative_covariance([seen.passings[row].contact for row in rows])
    return np.asarray(cpa_sigma(kept, w - own, covariance).distance_m, dtype=np.float64)


def _chart(seen: Seen, before: float, course: float, speed: float, delay_s: float) -> TrialChart | None:
    """Return the first thing that the chart has in the way: on the present course until the turn, then on the new."""
    own, now = seen.own, seen.own.sog or 0.0
    found = _first_danger(seen, before, now, 0.0, delay_s) if delay_s > 0.0 and now > MIN_SPEED else None
    base_s, base_m, from_, heading, pace = 0.0, 0.0, own, before, now
    if found is None and speed > 0.1:
        found = _first_danger(seen, course, speed, delay_s, HORIZON_S)
        base_s, base_m, heading, pace = delay_s, now * delay_s, course, speed
        from_ = _moved(own, before, now, delay_s)
    if found is None:
        return None
    danger, along_m = found
    in_s, distance = base_s + along_m / max(pace, 0.1), base_m + along_m
    east, north = from_.east_m + along_m * math.sin(heading), from_.north_m + along_m * math.cos(heading)
    lon, lat = _lonlat(own, east, north)
    far = distance_words(distance, seen.boat.skipper.distance_unit)
    say = f"{_chart_words(danger)} in {time_words(in_s)}, after {far}{depth_words(danger, None)}"
    return TrialChart(danger.kind, in_s, distance, danger.depth_m, danger.name, lat, lon, say)


def _chart_words(danger: Danger) -> str:
    return "The chart ends" if danger.kind == "chart ends" else f"The chart has {danger_words(danger)}"


def _first_danger(
    seen: Seen, course_rad: float, speed: float, delay_s: float, hold_s: float
) -> tuple[Danger, float] | None:
    """Return the first charted thing that refuses a course that begins ``delay_s`` from now, and how far on it lies."""
    if seen.dangers is None:
        return None
    own = seen.own
    if delay_s > 0.0 and own.sog is not None and own.ahead_rad is not None:
        own = _moved(own, own.ahead_rad, own.sog, delay_s)
    line = charted_dangers.line_ahead(own, course_rad, max(speed * hold_s, seen.boat.length_m))
    danger = charted_dangers.first_refusal(
        seen.dangers, seen.boat, line, speed, seen.tide_m, seen.position_sigma_m
    )
    return None if danger is None else (danger, danger.along_m)


def _hidden(seen: Seen, old: tuple[float, float], new: tuple[float, float], delay_s: float) -> TrialHidden | None:
    """Return the first water hidden now that the boat would run into."""
    raster, own = seen.raster, seen.own
    if raster is None:
        return None
    seconds = np.arange(0.0, delay_s + HORIZON_S, 1.0)
    along = np.minimum(seconds, delay_s)[:, None] * np.array(old) + np.maximum(seconds - delay_s, 0.0)[
        :, None
    ] * np.array(new)
    east, north = own.east_m + along[:, 0], own.north_m + along[:, 1]
    cause = raster.cause_at(east, north)
    past_own_side = np.hypot(along[:, 0], along[:, 1]) > 2.0 * raster.cell_m
    ends = np.flatnonzero(past_own_side & (raster.is_land_at(east, north) | np.isin(cause, COUNTED)))
    if not ends.size or not cause[ends[0]]:
        return None
    k = int(ends[0])
    lon, lat = _lonlat(own, float(east[k]), float(north[k]))
    by = CAUSES[int(cause[k]) - 1]
    in_s = float(seconds[k])
    run_m = min(in_s, delay_s) * math.hypot(*old) + max(in_s - delay_s, 0.0) * math.hypot(*new)
    say = f"In {time_words(in_s)} she comes into water that is hidden now ({by})"
    return TrialHidden(by, in_s, run_m, lat, lon, say)


def _say(
    seen: Seen,
    course: float,
    speed: float,
    delay_s: float,
    told: list[TrialEcho],
    chart: TrialChart | None,
    hidden: TrialHidden | None,
    refused: str | None,
) -> str:
    unit = seen.boat.skipper.distance_unit
    when = "now" if delay_s < 1.0 else f"in {time_words(delay_s)}"
    what = f"Trial: course {round(math.degrees(course)) % 360:03d}, {mps_to_kn(speed):.0f} knots, {when}."
    inside = [echo for echo in told if echo.inside]
    if inside:
        more = "" if len(inside) == 1 else f", and {len(inside) - 1} more come inside"
        what += f" Nearest {distance_words(inside[0].cpa_m, unit)} in {time_words(inside[0].tcpa_s)}{more}."
    elif told:
        what += f" Nothing inside its keep-off; nearest {distance_words(told[0].cpa_m, unit)}."
    else:
        what += " No echo comes near."
    if refused is not None and (chart is None or refused != chart.say):
        what += f" {refused}."
    if chart is not None:
        what += f" {chart.say}."
    if hidden is not None:
        what += f" {hidden.say}."
    return what


def _own_at(
    own: OwnPlane, old: tuple[float, float], new: tuple[float, float], delay_s: float, at_s: float
) -> tuple[float, float]:
    first, then = min(at_s, delay_s), max(at_s - delay_s, 0.0)
    return own.east_m + old[0] * first + new[0] * then, own.north_m + old[1] * first + new[1] * then


def _place(own: OwnPlane, velocity: tuple[float, float], seconds: float) -> tuple[float, float]:
    return own.east_m + velocity[0] * seconds, own.north_m + velocity[1] * seconds


def _moved(own: OwnPlane, course_rad: float, speed: float, seconds: float) -> OwnPlane:
    east, north = _place(own, vector(course_rad, speed), seconds)
    return OwnPlane(own.frame, east, north, own.heading_rad, own.cog_rad, own.sog)


def _lonlat(own: OwnPlane, east_m: float, north_m: float) -> tuple[float, float]:
    lat, lon = own.frame.to_geographic(east_m, north_m)
    return round(float(lon), 7), round(float(lat), 7)


