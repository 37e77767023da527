"""The skipper's own trial of a course or speed, against a turn's echoes, chart and hidden water."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.chart.dangers.types import Danger
from moonless.frames import wrap_pi
from moonless.reading.collision.closest import relative_covariance
from moonless.reading.collision.held_against import HeldAgainst, moved
from moonless.reading.collision.trial import (
    HORIZON_S,
    MIN_SPEED,
    Approach,
    Mover,
    approach,
    discouraged,
    hold_s,
    needed_m,
    vector,
)
from moonless.reading.contact import Passing
from moonless.reading.line import HiddenBy
from moonless.reading.own import OwnPlane
from moonless.reading.visibility.raster import CAUSES
from moonless.rules.encounters import Meeting, meeting_of
from moonless.rules.steering import encounters
from moonless.track.cpa import cpa_sigma

Floats = NDArray[np.float64]
Vector = tuple[float, float]

# Hidden water that something may come out of, by its place in `CAUSES`: land, vessel, blind sector.
COUNTED = (1, 2, 3)
# Slower than this she runs into nothing.
CREEP = 0.1


@dataclass(frozen=True, slots=True)
class Manoeuvre:
    """A change that begins ``delay_s`` from now."""

    own: OwnPlane
    before_rad: float  # course over ground until then
    before_speed: float
    course_rad: float  # after it
    speed: float
    delay_s: float

    @property
    def old(self) -> Vector:
        """East and north m/s until it begins."""
        return vector(self.before_rad, self.before_speed)

    @property
    def new(self) -> Vector:
        """East and north m/s after it."""
        return vector(self.course_rad, self.speed)

    @property
    def turn_rad(self) -> float:
        """Positive to starboard."""
        return float(wrap_pi(self.course_rad - self.before_rad))

    def place(self, at_s: float) -> Vector:
        """Return where she is so long from now, in the plane."""
        first, then = min(at_s, self.delay_s), max(at_s - self.delay_s, 0.0)
        return (
            self.own.east_m + self.old[0] * first + self.new[0] * then,
            self.own.north_m + self.old[1] * first + self.new[1] * then,
        )


@dataclass(frozen=True, slots=True)
class TriedContact:
    """One contact's closest approach if the manoeuvre is carried out and she holds course and speed."""

    id: int
    cpa_m: float
    at_s: float
    cpa_sigma_m: float | None
    is_inside: bool  # of her keep-off
    is_mark: bool  # meant to be passed close
    own_en: Vector  # both at that moment
    her_en: Vector
    meeting: Meeting | None  # as things are now
    rules: tuple[str, ...]
    discouraged: str | None  # why the rules speak against the turn


@dataclass(frozen=True, slots=True)
class TriedDanger:
    """The first thing that the chart has in the way."""

    danger: Danger
    in_s: float
    distance_m: float  # run by then
    place_en: Vector


@dataclass(frozen=True, slots=True)
class TriedHidden:
    """The first water, hidden as things are now, that the boat would come into."""

    by: HiddenBy
    in_s: float
    distance_m: float
    place_en: Vector


@dataclass(frozen=True, slots=True)
class SkipperTrial:
    """What the manoeuvre would bring."""

    time_ns: int
    manoeuvre: Manoeuvre
    keep_off_m: float
    contacts: tuple[TriedContact, ...]  # nearest first
    danger: TriedDanger | None
    is_danger_in_way: bool  # this side of what she turns for: somewhere ahead every course ends on a shore
    hidden: TriedHidden | None

    @property
    def discouraged(self) -> str | None:
        """Why the rules speak against it, or None."""
        return next((one.discouraged for one in self.contacts if one.discouraged is not None), None)

    @property
    def clears(self) -> bool:
        """Whether everything stays outside its keep-off, and the chart has nothing in the way."""
        return not any(one.is_inside for one in self.contacts) and not self.is_danger_in_way


def try_manoeuvre(
    turn: HeldAgainst, course_rad: float | None, speed: float | None, delay_s: float
) -> SkipperTrial | None:
    """Return what a course (true, over ground) or speed would bring; None: as now.  None where none can be tried."""
    own = turn.own
    before = own.ahead_rad
    if own.sog is None or before is None:
        return None
    course = before if course_rad is None else course_rad
    change = Manoeuvre(own, before, own.sog, course, own.sog if speed is None else speed, delay_s)
    movers, rows = turn.movers()
    gaps = approach(change.old, change.new, delay_s, movers)
    need = needed_m(movers, turn.boat.skipper.keep_off_m)
    passings = [turn.passings[row] for row in rows]
    sigma = _sigma(change, movers, passings, gaps)
    contacts = [
        _tried(turn, change, mover, passings[k], float(gaps.distance_m[k]), float(gaps.time_s[k]), float(sigma[k]),
               is_inside=bool(gaps.distance_m[k] < need[k]))
        for k, mover in enumerate(movers)
    ]  # fmt: skip
    contacts.sort(key=lambda one: one.cpa_m)
    danger = _danger(turn, change)
    held_s = delay_s + hold_s(gaps, movers, turn.boat.skipper.keep_off_m)
    return SkipperTrial(
        turn.time_ns, change, turn.boat.skipper.keep_off_m, tuple(contacts), danger,
        danger is not None and danger.in_s <= held_s, _hidden(turn, change),
    )  # fmt: skip


def _tried(
    turn: HeldAgainst,
    change: Manoeuvre,
    mover: Mover,
    passing: Passing,
    cpa_m: float,
    at_s: float,
    sigma_m: float,
    *,
    is_inside: bool,
) -> TriedContact:
    own, contact, course = turn.own, passing.contact, passing.contact.course_rad
    hers = (
        own.east_m + mover.position_en[0] + mover.velocity_en[0] * at_s,
        own.north_m + mover.position_en[1] + mover.velocity_en[1] * at_s,
    )
    meeting: Meeting | None = None
    rules: tuple[str, ...] = ()
    why = None
    if contact.kind == "vessel" and course is not None and passing.tcpa_s is not None and passing.tcpa_s > 0.0:
        args = (change.before_rad, change.before_speed, contact.bearing_rad, course, contact.speed)
        meeting = meeting_of(*args)
        rules = tuple(one.rule for one in encounters(turn.sight, *args, contact.nav_status))
        why = discouraged(change.before_rad, change.before_speed, math.degrees(change.turn_rad), mover, turn.sight)
    known = sigma_m if math.isfinite(sigma_m) else None
    return TriedContact(
        contact.id, cpa_m, at_s, known, is_inside, mover.is_mark, change.place(at_s), hers, meeting, rules, why
    )


def _sigma(change: Manoeuvre, movers: list[Mover], passings: list[Passing], gaps: Approach) -> Floats:
    """Return (n,) one standard deviation of each closest approach.

    Seen from the new course she is where she would have to be now for that course to have been held all along.
    """
    if not movers:
        return np.zeros(0)
    p = np.array([m.position_en for m in movers])
    w = np.array([m.velocity_en for m in movers])
    old, new = np.array(change.old), np.array(change.new)
    later = (gaps.time_s > change.delay_s)[:, None]
    kept = np.where(later, p + (new - old) * change.delay_s, p)
    covariance = relative_covariance([one.contact for one in passings])
    return np.asarray(cpa_sigma(kept, w - np.where(later, new, old), covariance).distance_m, dtype=np.float64)


def _danger(turn: HeldAgainst, change: Manoeuvre) -> TriedDanger | None:
    """Return the first thing that the chart has in the way: on the present course until the turn, then on the new."""
    own, now, delay_s = turn.own, change.before_speed, change.delay_s
    if delay_s > 0.0 and now > MIN_SPEED:
        found = turn.first_danger(change.before_rad, now, 0.0, delay_s)
        if found is not None:
            return _met(found, own, change.before_rad, now, 0.0, 0.0)
    if change.speed <= CREEP:
        return None
    found = turn.first_danger(change.course_rad, change.speed, delay_s, HORIZON_S)
    if found is None:
        return None
    there = moved(own, change.before_rad, now, delay_s)
    return _met(found, there, change.course_rad, change.speed, delay_s, now * delay_s)


def _met(danger: Danger, from_: OwnPlane, course_rad: float, pace: float, base_s: float, base_m: float) -> TriedDanger:
    along = danger.along_m
    place = from_.east_m + along * math.sin(course_rad), from_.north_m + along * math.cos(course_rad)
    return TriedDanger(danger, base_s + along / max(pace, CREEP), base_m + along, place)


def _hidden(turn: HeldAgainst, change: Manoeuvre) -> TriedHidden | None:
    """Return the first water hidden now that the boat would run into."""
    raster, own, delay_s = turn.raster, turn.own, change.delay_s
    if raster is None:
        return None
    seconds = np.arange(0.0, delay_s + HORIZON_S, 1.0)
    first, then = np.minimum(seconds, delay_s)[:, None], np.maximum(seconds - delay_s, 0.0)[:, None]
    along = first * np.array(change.old) + then * np.array(change.new)
    east, north = own.east_m + along[:, 0], own.north_m + along[:, 1]
    cause = raster.cause_at(east, north)
    past_own_side = np.hypot(along[:, 0], along[:, 1]) > 2.0 * raster.cell_m
    ends = np.flatnonzero(past_own_side & (raster.is_land_at(east, north) | np.isin(cause, COUNTED)))
    if not ends.size or not cause[ends[0]]:
        return None
    k = int(ends[0])
    in_s = float(seconds[k])
    run_m = min(in_s, delay_s) * change.before_speed + max(in_s - delay_s, 0.0) * change.speed
    return TriedHidden(CAUSES[int(cause[k]) - 1], in_s, run_m, (float(east[k]), float(north[k])))
