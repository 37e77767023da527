"""Every vessel that came near: when, how near, who, by which rule, what was done, what would have been better."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.debrief.ledger import Ledger, VesselTold
from moonless.frames import wrap_180
from moonless.rules.encounters import meeting_of
from moonless.rules.steering import encounters, turn_discouraged
from moonless.units import NS_PER_S, kn_to_mps

Floats = NDArray[np.float64]

# Slower than this a vessel is at rest, and passing her is no meeting.
MOVES_KN = 1.0
# A vessel told in fewer turns is no meeting: an echo that came and went.
LEAST_TURNS = 6
# Nor is a track that was told as something else for most of its life: the sea close by is called a vessel now and then.
LEAST_SHARE = 0.5
# The same hull under another number: so soon after, and so near to where she would be.  Own figures.
SAME_GAP_S, SAME_M = 15.0, 60.0
# Nearer than so many keep-offs it is told.
TOLD_KEEP_OFFS = 1.5
# Risk begins where the closest approach told is inside the keep-off and so soon; else she is looked at from so far
# ahead.
RISK_S, BEFORE_S = 360.0, 90.0
# A change of course or speed smaller than this is none.
TURNED_DEG, SLOWED_KN = 12.0, 1.5
TRIED_DEG = (20.0, 30.0, 40.0, 50.0, 60.0, 75.0, 90.0)
TRIED_SPEED = 0.5
STILL_CLOSING = "cannot be said: she was still closing when last told"


@dataclass(frozen=True, slots=True)
class MeetingTold:
    """One vessel met.  Times Unix nanoseconds UTC."""

    who: str
    mmsi: int | None
    closest_m: float
    closest_ns: int
    bearing_deg: float  # true, from us, then
    risk_ns: int | None  # when the closest approach told first came inside the keep-off; None: never
    keep_off_m: float
    inside_s: float  # time inside the keep-off
    rule: str
    meeting: str
    done: str
    better: str
    is_open: bool  # she was still closing when she was last told: it may have come nearer
    rows: tuple[int, ...]  # turns she was told in
    east_m: tuple[float, ...]
    north_m: tuple[float, ...]


def meetings(run: Ledger, boat: Boat) -> tuple[MeetingTold, ...]:
    """Return the meetings of a run, nearest first."""
    out = []
    for told in _hulls(run):
        moving = [t for t in told if t.sog_kn >= MOVES_KN]
        if len(told) < LEAST_TURNS or len(moving) < 0.5 * len(told):
            continue
        one = _meeting(run, boat, told)
        # She was going away when she was first told: there was nothing to meet.
        goes_away = one.closest_ns == int(run.time_ns[told[0].row]) and one.closest_m >= one.keep_off_m
        if one.closest_m <= TOLD_KEEP_OFFS * one.keep_off_m and not goes_away:
            out.append(one)
    return tuple(sorted(out, key=lambda m: m.closest_m))


def _hulls(run: Ledger) -> list[list[VesselTold]]:
    """Return the vessels, with the tracks of one hull put together: by AIS, or where one takes over from another."""
    by_mmsi: dict[int, list[VesselTold]] = {}
    nameless: list[list[VesselTold]] = []
    for number, told in run.vessels.items():
        known = next((t.mmsi for t in told if t.mmsi is not None), None)
        if known is None:
            if len(told) >= LEAST_SHARE * run.told[number]:
                nameless.append(told)
        else:
            by_mmsi.setdefault(known, []).extend(told)
    for told in sorted(nameless, key=lambda t: t[0].row):
        first = told[0]
        for others in by_mmsi.values():
            if _goes_on(run, others[-1], first):
                others += told
                break
        else:
            by_mmsi[-1 - len(by_mmsi)] = list(told)
    return [sorted(told, key=lambda t: t.row) for told in by_mmsi.values()]


def _goes_on(run: Ledger, last: VesselTold, first: VesselTold) -> bool:
    gap_s = (run.time_ns[first.row] - run.time_ns[last.row]) / NS_PER_S
    if not 0.0 < gap_s <= SAME_GAP_S or last.cog_deg is None:
        return False
    course, speed = math.radians(last.cog_deg), kn_to_mps(last.sog_kn)
    east = last.east_m + gap_s * speed * math.sin(course)
    north = last.north_m + gap_s * speed * math.cos(course)
    return math.hypot(first.east_m - east, first.north_m - north) <= SAME_M


def _meeting(run: Ledger, boat: Boat, told: list[VesselTold]) -> MeetingTold:
    rows = np.array([t.row for t in told])
    her = np.array([[t.east_m, t.north_m] for t in told])
    own = np.column_stack([run.east_m[rows], run.north_m[rows]])
    time_s = run.time_s[rows]
    closest_m, at_s, k, off = _closest(time_s, her - own)
    asked = run.keep_off_m[rows]
    keep_off = float(np.nanmin(asked)) if np.isfinite(asked).any() else boat.skipper.keep_off_m
    inside = np.hypot(*(her - own).T) < keep_off
    risk = next(
        (
            t.row
            for t in told
            if t.cpa_m is not None and t.tcpa_s is not None and t.cpa_m < keep_off and 0.0 < t.tcpa_s < RISK_S
        ),
        None,
    )
    begin = risk if risk is not None else int(rows[np.argmin(np.abs(time_s - (at_s - BEFORE_S)))])
    begin = min(begin, int(rows[k]))
    rule, meeting = _rule(run, told, begin)
    is_open = at_s >= float(time_s[-1]) - 1e-6
    name = next((t.name for t in told if t.name), None)
    mmsi = next((t.mmsi for t in told if t.mmsi is not None), None)
    return MeetingTold(
        who=name or ("a vessel without AIS" if mmsi is None else f"MMSI {mmsi}"),
        mmsi=mmsi,
        closest_m=round(closest_m, 1),
        closest_ns=int(run.time_ns[0] + round(at_s * NS_PER_S)),
        bearing_deg=round(math.degrees(math.atan2(off[0], off[1])) % 360.0, 1),
        risk_ns=None if risk is None else int(run.time_ns[risk]),
        keep_off_m=keep_off,
        inside_s=round(float(run.step_s[rows][inside].sum()), 1),
        rule=rule,
        meeting=meeting,
        done=_done(run, begin, int(rows[k])),
        better=STILL_CLOSING
        if is_open and closest_m >= keep_off
        else _better(run, told, begin, at_s, closest_m, keep_off),
        is_open=is_open,
        rows=tuple(rows.tolist()),
        east_m=tuple(np.round(her[:, 0], 1).tolist()),
        north_m=tuple(np.round(her[:, 1], 1).tolist()),
    )


def _closest(time_s: Floats, off: Floats) -> tuple[float, float, int, Floats]:
    """Return (least distance, when, row before it, where from us then) of a way relative to us, straight between turns.

    Where is asked for the moment itself: close by, a bearing changes by ten degrees and more within a turn.
    """
    best = (float(np.hypot(*off[0])), float(time_s[0]), 0, off[0])
    for k in range(len(off) - 1):
        step = off[k + 1] - off[k]
        span = float(time_s[k + 1] - time_s[k])
        if span > SAME_GAP_S:
            continue
        squared = float(step @ step)
        part = 0.0 if squared == 0.0 else min(max(-float(off[k] @ step) / squared, 0.0), 1.0)
        there = off[k] + part * step
        distance = float(np.hypot(*there))
        if distance < best[0]:
            best = (distance, float(time_s[k]) + part * span, k, there)
    return best


def _rule(run: Ledger, told: list[VesselTold], row: int) -> tuple[str, str]:
    at = min(told, key=lambda t: abs(t.row - row))
    own_course, own_speed = run.cog_deg[at.row], run.sog_kn[at.row]
    if math.isnan(own_course) or at.cog_deg is None:
        return "not known", "course not known"
    bearing = math.atan2(at.east_m - run.east_m[at.row], at.north_m - run.north_m[at.row])
    args = (math.radians(own_course), kn_to_mps(own_speed), bearing, math.radians(at.cog_deg), kn_to_mps(at.sog_kn))
    found = encounters("unsure", *args)
    rules = " or ".join(f"Rule {one.rule}" for one in found)
    meeting = meeting_of(*args)
    words = next((one.action for one in found if one.meeting is not None), found[-1].action)
    return rules, f"{meeting or 'passing clear'}: {words}"


def _done(run: Ledger, begin: int, closest: int) -> str:
    """Return what was done between two turns, in words."""
    course, speed = run.cog_deg[begin : closest + 1], run.sog_kn[begin : closest + 1]
    if len(course) < 2 or not np.isfinite(course[0]):
        return "not known"
    turned = np.array([wrap_180(float(c - course[0])) for c in course if math.isfinite(c)])
    most = float(turned[np.argmax(np.abs(turned))])
    slowed = float(speed[0] - np.nanmin(speed))
    quicker = float(np.nanmax(speed) - speed[0])
    parts = []
    if abs(most) >= TURNED_DEG:
        parts.append(f"turned {abs(most):.0f}° to {'starboard' if most > 0 else 'port'}")
    if slowed >= SLOWED_KN:
        parts.append(f"slowed from {speed[0]:.0f} to {np.nanmin(speed):.0f} kn")
    elif quicker >= SLOWED_KN:
        parts.append(f"went faster, from {speed[0]:.0f} to {np.nanmax(speed):.0f} kn")
    return " and ".join(parts) or "kept course and speed"


def _better(run: Ledger, told: list[VesselTold], begin: int, at_s: float, closest_m: float, keep_off_m: float) -> str:
    """Return the smallest change at the beginning that would have kept her off, by the way she truly went."""
    if closest_m >= keep_off_m:
        return "nothing: she was kept off"
    course, speed = run.cog_deg[begin], kn_to_mps(float(run.sog_kn[begin]))
    after = [t for t in told if t.row >= begin and run.time_s[t.row] <= at_s + 120.0]
    if not math.isfinite(course) or speed < 0.5 or len(after) < 3:
        return "cannot be said: own course or her way is not known"
    time_s = run.time_s[[t.row for t in after]] - run.time_s[begin]
    her = np.array([[t.east_m, t.north_m] for t in after]) - [run.east_m[begin], run.north_m[begin]]
    first = after[0]
    bearing = math.atan2(her[0, 0], her[0, 1])
    meeting = None
    if first.cog_deg is not None:
        meeting = meeting_of(math.radians(course), speed, bearing, math.radians(first.cog_deg), kn_to_mps(first.sog_kn))
    best, best_words = closest_m, ""
    for turn in (s * d for d in TRIED_DEG for s in (1.0, -1.0)):
        if turn_discouraged("unsure", math.radians(turn), math.radians(course), bearing, meeting) is not None:
            continue
        least = _least(time_s, her, course + turn, speed)
        words = f"{abs(turn):.0f}° to {'starboard' if turn > 0 else 'port'}"
        if least >= keep_off_m:
            return f"turn {words} {_ahead(run, begin, at_s)}: she then passes {least:.0f} m off"
        if least > best + 20.0:
            best, best_words = least, f"turn {words}"
    least = _least(time_s, her, course, TRIED_SPEED * speed)
    if least >= keep_off_m or least > best + 20.0:
        return f"slow to half {_ahead(run, begin, at_s)}: she then passes {least:.0f} m off"
    if best_words:
        return f"{best_words} {_ahead(run, begin, at_s)}: {best:.0f} m off, still inside the keep-off"
    return "nothing tried from there keeps her further off: act earlier"


def _ahead(run: Ledger, begin: int, at_s: float) -> str:
    seconds = at_s - run.time_s[begin]
    return f"{seconds:.0f} s before" if seconds < 120.0 else f"{seconds / 60.0:.0f} minutes before"


def _least(time_s: Floats, her: Floats, course_deg: float, speed: float) -> float:
    """Return the least distance on a straight way from the beginning; the water was not asked."""
    way = speed * np.outer(time_s, [math.sin(math.radians(course_deg)), math.cos(math.radians(course_deg))])
    return _closest(time_s, her - way)[0]
