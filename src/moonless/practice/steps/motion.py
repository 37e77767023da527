"""Trails: which way it goes, over the ground and against the boat, and whether it will pass clear."""

from __future__ import annotations

import math

from moonless.constants import NAUTICAL_MILE_M, TAU
from moonless.practice.keys import FiguresKey, PlaceKey, WordKey
from moonless.practice.stage import Stage, StagedMover, at_least, off
from moonless.practice.steps.draw import Draw, degrees, going, miles, minutes, resolution_m
from moonless.practice.types import Exercise, Figure, Marking, Place
from moonless.track.cpa import cpa
from moonless.units import kn_to_mps, mps_to_kn

_LOOKS = tuple(float(t) for t in range(-120, 1, 15))
_TRUSTED = 5
AHEAD, ASTERN, MEETS = "it crosses ahead of you", "it crosses astern of you", "it will be met"
CLEAR = "it does not come near"
# What is met: within a cable's half.  What passes: a quarter mile and more.  Between is not asked.  Own choice.
MEETS_M, CLEAR_M, NEAR_M = 0.05 * NAUTICAL_MILE_M, 0.15 * NAUTICAL_MILE_M, 0.6 * NAUTICAL_MILE_M


def _stage(draw: Draw, movers: tuple[StagedMover, ...], own: StagedMover, trails: str) -> Stage | None:
    stage = Stage(draw.waters, draw.boat.radar, own, 1.5, draw.calm(), movers, times_s=_LOOKS, trails=trails)
    for one in movers:
        start, end = one.at(_LOOKS[0]), one.at(0.0)
        if not draw.waters.is_clear(start, end, 80.0) or math.dist(stage.here, start) > 0.95 * stage.reach_m:
            return None
    for seen in stage.seen()[0]:
        if seen is None or seen.merged_with is not None or seen.p_detect < 0.6:
            return None
    return stage


def which_way(draw: Draw) -> Exercise | None:
    """True course and speed from a relative trail; or which of three trails is of a thing that stands still."""
    return _stands_still(draw) if draw.lot(1) < 0.4 else _course_and_speed(draw)


def _course_and_speed(draw: Draw) -> Exercise | None:
    own = draw.own((4.0, 9.0), (300.0, math.inf), back_s=-_LOOKS[0])
    if own is None:
        return None
    kind = draw.one_of("fishing boat", "coaster", "motor yacht", "launch")
    place = off((own.east_m, own.north_m), draw.between(0.0, TAU), draw.between(0.25, 0.7) * 1.5 * NAUTICAL_MILE_M)
    speed_kn, course = round(draw.between(4.0, 14.0), 1), math.radians(round(draw.between(0.0, 359.0)))
    ship = StagedMover(f"a {kind}", kind, *place, course, kn_to_mps(speed_kn))
    stage = _stage(draw, (ship,), own, "relative")
    if stage is None:
        return None
    figures = (
        Figure("true course", "deg", math.degrees(course), 12.0, 35.0, 0.0, 360.0),
        Figure("speed", "kn", speed_kn, 1.5, 4.0, 0.0, 25.0),
    )
    before, now = ship.at(_LOOKS[0]), ship.at(0.0)
    moved = math.dist(own.at(_LOOKS[0]), own.at(0.0))
    knowable = at_least(stage.chances()[:, 0], _TRUSTED)
    if knowable < 0.3:
        return None
    return Exercise(
        step="which_way", seed=draw.seed,
        asks="The trail is relative to you. What are the echo's true course and speed?",
        told=(going(own), "Nine looks, fifteen seconds apart: two minutes."),
        key=FiguresKey(figures), figures=figures, knowable=knowable,
        because=(
            f"She steers {degrees(course)} at {speed_kn:g} kn. In two minutes you went {miles(moved)} on your course; "
            "set that on from the trail's end, and the line from its beginning is her own way."
        ),
        pictures=stage.pictures(draw.chance),
        asked=(Marking("ring", "asked", (now,), "A"),), notes=(Marking("line", "truth", (before, now), ship.name),),
    )  # fmt: skip


def _stands_still(draw: Draw) -> Exercise | None:
    own = draw.own((5.0, 9.0), (300.0, math.inf), back_s=-_LOOKS[0])
    if own is None:
        return None
    movers: list[StagedMover] = []
    for number in range(3):
        bearing = draw.between(0.0, TAU)
        place = off((own.east_m, own.north_m), bearing, draw.between(0.2, 0.7) * 1.5 * NAUTICAL_MILE_M)
        speed = 0.0 if number == 0 else kn_to_mps(draw.between(4.0, 10.0))
        kind = draw.one_of("fishing boat", "motor yacht", "coaster")
        movers.append(StagedMover(f"{kind} {number}", kind, *place, draw.between(0.0, TAU), speed))
        if any(math.dist(place, (m.east_m, m.north_m)) < 450.0 for m in movers[:-1]):
            return None
    stage = _stage(draw, tuple(movers), own, "relative")
    if stage is None:
        return None
    still = movers[0].at(0.0)
    near_m = resolution_m(draw.boat.radar.beam_horizontal_rad, math.dist(stage.here, still))
    chances = stage.chances()
    knowable = math.prod([at_least(chances[:, k], _TRUSTED) for k in range(3)])
    if knowable < 0.3:
        return None
    ringed = sorted(movers, key=lambda m: m.east_m)
    return Exercise(
        step="which_way", seed=draw.seed,
        asks="The trails are relative to you. Touch the ringed echo that stands still over the ground.",
        told=(going(own), "Nine looks, fifteen seconds apart: two minutes."),
        key=PlaceKey((still,), 1.3 * near_m, 1.5 * near_m, stage.here, stage.reach_m), knowable=knowable,
        because="What stands still trails as the land does: opposite to your course and as long as your own way.",
        pictures=stage.pictures(draw.chance),
        asked=tuple(Marking("ring", "asked", (m.at(0.0),), w) for m, w in zip(ringed, "ABC", strict=True)),
        notes=(
            Marking("ring", "truth", (still,), "stands still"),
            *(
                Marking("line", "truth", (m.at(_LOOKS[0]), m.at(0.0)), f"{mps_to_kn(m.speed):.0f} kn")
                for m in movers[1:]
            ),
        ),
    )  # fmt: skip


def meeting(own: StagedMover, ship: StagedMover) -> tuple[float, float, float]:
    """Return (metres at the closest, seconds until, metres ahead of the bow where it crosses the heading line).

    The last is negative astern, and infinite where the heading line is not crossed any more.
    """
    (e, n), (ve, vn) = (ship.east_m - own.east_m, ship.north_m - own.north_m), own.velocity
    re, rn = ship.velocity[0] - ve, ship.velocity[1] - vn
    met = cpa((e, n), (re, rn))
    sine, cosine = math.sin(own.course_rad), math.cos(own.course_rad)
    across, across_rate = e * cosine - n * sine, re * cosine - rn * sine
    ahead, ahead_rate = e * sine + n * cosine, re * sine + rn * cosine
    time_s = -across / across_rate if abs(across_rate) > 1e-6 else -1.0
    crosses = ahead + ahead_rate * time_s if time_s > 0.0 else math.inf
    return float(met.distance_m), float(met.time_s), crosses


def _word(closest_m: float, crosses_m: float) -> str | None:
    """Return what becomes of it, in a word; None where a careful reader could not be sure."""
    if closest_m <= MEETS_M:
        return MEETS
    if CLEAR_M <= closest_m <= NEAR_M and math.isfinite(crosses_m) and abs(crosses_m) > CLEAR_M:
        return AHEAD if crosses_m > 0.0 else ASTERN
    return CLEAR if closest_m > 0.7 * NEAR_M and not math.isfinite(crosses_m) else None


def _aimed(draw: Draw, own: StagedMover, wanted: str) -> tuple[Place, float, float]:
    """Return a place, course and speed that may well become what is wanted; by chance alone most pass plainly clear."""
    here: Place = (own.east_m, own.north_m)
    if wanted == CLEAR:
        # Abreast and opening: on one side, her course like ours or against it, turned a little away.
        side = 1.0 if draw.chance.uniform() < 0.5 else -1.0
        place = off(here, own.course_rad + side * draw.between(0.5, 2.2), draw.between(0.6, 1.1) * NAUTICAL_MILE_M)
        along = 0.0 if draw.chance.uniform() < 0.5 else math.pi
        away = draw.between(0.0, 0.4) * (side if along == 0.0 else -side)
        return place, own.course_rad + along + away, kn_to_mps(draw.between(4.0, 14.0))
    place = off(here, draw.between(0.0, TAU), draw.between(0.35, 0.75) * 1.5 * NAUTICAL_MILE_M)
    time_s = draw.between(180.0, 600.0)
    wide = 0.0 if wanted == MEETS else draw.between(0.1, 0.45) * NAUTICAL_MILE_M
    beside = off(own.at(time_s), draw.between(0.0, TAU), wide)
    return place, math.atan2(beside[0] - place[0], beside[1] - place[1]), math.dist(beside, place) / time_s


def pass_clear(draw: Draw) -> Exercise | None:
    """Will it be met, does it cross ahead or astern; or how close it comes, and when."""
    own = draw.own((4.0, 10.0), (250.0, math.inf), back_s=-_LOOKS[0])
    if own is None:
        return None
    kind = draw.one_of("fishing boat", "coaster", "motor yacht", "launch")
    wanted = draw.lot_of(2, AHEAD, ASTERN, MEETS, CLEAR)
    place, course, speed = _aimed(draw, own, wanted)
    if not kn_to_mps(2.0) < speed < kn_to_mps(18.0):
        return None
    ship = StagedMover(f"a {kind}", kind, *place, course, speed)
    closest_m, in_s, crosses_m = meeting(own, ship)
    is_asked_in_figures = draw.lot(1) < 0.4
    word = _word(closest_m, crosses_m)
    if in_s < 60.0 or (word != wanted and not is_asked_in_figures):
        return None
    stage = _stage(draw, (ship,), own, "relative")
    if stage is None:
        return None
    knowable = at_least(stage.chances()[:, 0], _TRUSTED)
    # By a trail that hardly shows nothing can be asked.
    if knowable < 0.3:
        return None
    told = (going(own), "Nine looks, fifteen seconds apart: two minutes.")
    notes = (
        Marking("line", "truth", (ship.at(0.0), ship.at(in_s)), f"in {in_s / 60.0:.0f} min"),
        Marking("line", "charted", (own.at(0.0), own.at(in_s)), "you"),
    )
    says = f"If both hold on she comes to {miles(closest_m)} in {minutes(in_s)}"
    asked = (Marking("ring", "asked", (place,), "A"),)
    if is_asked_in_figures:
        figures = (
            Figure("closest approach", "nm", closest_m / NAUTICAL_MILE_M, 0.06, 0.2, 0.0, 1.0),
            Figure("in", "min", in_s / 60.0, 1.0, 4.0, 0.0, 15.0),
        )
        return Exercise(
            step="pass_clear", seed=draw.seed,
            asks="How close will the echo in the ring come, and in how many minutes?",
            told=told, key=FiguresKey(figures), figures=figures, knowable=knowable,
            because=f"{says}: carry the relative trail on past the middle and read the nearest ring.",
            pictures=stage.pictures(draw.chance), asked=asked, notes=notes,
        )  # fmt: skip
    words = (AHEAD, ASTERN, MEETS, CLEAR)
    why = {
        MEETS: "the trail points at the middle: a steady bearing and a falling range (Rule 7(d)(i)).",
        AHEAD: "the trail runs on ahead of the middle.",
        ASTERN: "the trail runs on behind the middle.",
        CLEAR: "the trail runs on well off the middle and never crosses your heading line.",
    }[wanted]
    return Exercise(
        step="pass_clear", seed=draw.seed, asks="If both hold course and speed, what becomes of the echo in the ring?",
        told=told, key=WordKey(words, wanted), words=words, knowable=knowable, because=f"{says}; {why}",
        pictures=stage.pictures(draw.chance), asked=asked, notes=notes,
    )  # fmt: skip
