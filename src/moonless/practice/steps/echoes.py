"""Echoes held against the chart: which is the boat, what the chart does not know, what is missing."""

from __future__ import annotations

import math

import numpy as np

from moonless.constants import TAU
from moonless.practice.keys import PlaceKey
from moonless.practice.stage import Stage, StagedMover, at_least, off
from moonless.practice.steps.draw import Draw, going, miles, resolution_m
from moonless.practice.types import Exercise, Marking, Place
from moonless.scene.truth import Seen
from moonless.units import kn_to_mps, mps_to_kn

_LOOKS = tuple(float(t) for t in range(-60, 1, 10))
# Of the looks, so many must show a thing before a careful reader trusts it.  Own choice: about half.
_TRUSTED = 3


# What a thing is drawn as that local knowledge has by these words; anything else as a pile.
_KIND_BY_WORDS = (
    ("swings", "mooring buoy"), ("mooring", "mooring buoy"), ("barge", "barge"), ("float", "float"),
    ("pot", "pot float"), ("vessel", "launch"), ("boat", "launch"),
)  # fmt: skip


def _mark_places(draw: Draw) -> list[Place]:
    return [(m.east_m, m.north_m) for m in draw.waters.world.marks]


def _in_plain_sight(seen: list[Seen | None], least: float, reach_m: float) -> list[int]:
    """Return the marks that show by themselves, neither at the rim nor under the boat."""
    return [
        k
        for k, s in enumerate(seen)
        if s is not None
        and s.merged_with is None
        and s.p_detect >= least
        and 0.12 * reach_m < s.range_m < 0.85 * reach_m
    ]


def boat_or_beacon(draw: Draw) -> Exercise | None:
    """Two echoes close together, one of them a charted mark: which is the boat?"""
    scale_nm = float(draw.chance.choice([0.75, 1.5]))
    own = draw.own((3.0, 7.0), back_s=-_LOOKS[0])
    if own is None:
        return None
    base = Stage(draw.waters, draw.boat.radar, own, scale_nm, draw.calm(), times_s=_LOOKS, trails="relative")
    shown = _in_plain_sight(base.seen()[1], 0.9, base.reach_m)
    if not shown:
        return None
    which = int(draw.chance.choice(shown))
    mark, at = draw.waters.world.marks[which], _mark_places(draw)[which]
    place = off(at, draw.between(0.0, TAU), draw.between(0.09, 0.2) * base.reach_m)
    kind = draw.one_of("launch", "motor yacht", "fishing boat", "rib", "yacht with reflector")
    course, speed = draw.between(0.0, TAU), kn_to_mps(draw.between(0.0, 6.0))
    boat = StagedMover(f"a {kind}", kind, *place, course, speed)
    track = off(place, course + math.pi, -_LOOKS[0] * speed)
    if not draw.waters.is_navigable(place) or not draw.waters.is_clear(track, place):
        return None
    stage = Stage(draw.waters, draw.boat.radar, own, scale_nm, base.weather, (boat,), times_s=_LOOKS, trails="relative")
    boats, marks = stage.seen()
    shown_mark = marks[which]
    near_m = resolution_m(draw.boat.radar.beam_horizontal_rad, math.dist(stage.here, place))
    if boats[0] is None or boats[0].merged_with is not None or shown_mark is None:
        return None
    if shown_mark.merged_with is not None or math.dist(place, at) < 2.2 * near_m:
        return None
    knowable = at_least(stage.chances()[:, 0], _TRUSTED) * at_least([shown_mark.p_detect] * len(_LOOKS), _TRUSTED)
    # Two that ran into one echo before parting: by that nothing can be asked.
    if knowable < 0.3:
        return None
    pair = (place, at) if draw.lot(3) < 0.5 else (at, place)
    name = mark.name or f"the charted {mark.object}"
    return Exercise(
        step="boat_or_beacon", seed=draw.seed,
        asks="One of the two ringed echoes is a charted mark, the other a boat. Touch the boat.",
        told=(going(own), "Seven looks, ten seconds apart."),
        key=PlaceKey((place,), near_m, 1.1 * near_m, stage.here, stage.reach_m), knowable=knowable,
        because=(
            f"{name} stands where the chart has it; the other, {miles(math.dist(place, at))} from it, is {boat.name} "
            + ("that lies still." if speed < 0.5 else f"at {mps_to_kn(speed):.1f} kn.")
        ),
        pictures=stage.pictures(draw.chance), chart="beside it",
        asked=tuple(Marking("ring", "asked", (p,), w) for p, w in zip(pair, "AB", strict=True)),
        notes=(Marking("ring", "truth", (place,), boat.name), Marking("ring", "charted", (at,), name)),
    )  # fmt: skip


def not_charted(draw: Draw) -> Exercise | None:
    """The chart laid over: what shows and is not on it?  Sometimes nothing."""
    scale_nm = float(draw.chance.choice([0.75, 1.5]))
    own = draw.own((3.0, 7.0), (80.0, 1500.0), back_s=-_LOOKS[0])
    if own is None:
        return None
    is_there = draw.lot(1) < 0.75
    kind = draw.one_of("pile", "mooring buoy", "launch", "sailing yacht", "barge", "float", "pot float", "log", "kayak")
    reach_m = scale_nm * 1852.0
    place = off((own.east_m, own.north_m), draw.between(0.0, TAU), draw.between(0.2, 0.8) * reach_m)
    name = f"a {kind}"
    # Half of the time it is what the skipper knows to stand here, where he knows of anything.
    learned = bool(draw.waters.known) and draw.lot(4) < 0.5
    if learned:
        place, name = draw.waters.known[int(draw.chance.integers(len(draw.waters.known)))]
        kind = next((k for word, k in _KIND_BY_WORDS if word in name), "pile")
        if not 0.2 * reach_m <= math.dist((own.east_m, own.north_m), place) <= 0.8 * reach_m:
            return None
    thing = StagedMover(name, kind, *place, draw.between(0.0, TAU))
    if not learned and not draw.waters.is_navigable(place, 0.0):
        return None
    stage = Stage(
        draw.waters, draw.boat.radar, own, scale_nm, draw.calm(), (thing,) if is_there else (), times_s=_LOOKS,
        trails="relative",
    )  # fmt: skip
    near_m = resolution_m(draw.boat.radar.beam_horizontal_rad, math.dist(stage.here, place))
    knowable, seen = 1.0, None
    if is_there:
        seen = stage.seen()[0][0]
        if seen is None or seen.merged_with is not None:
            return None
        # What shows at once and what hardly ever come up as often as what is between.
        if not learned and abs(seen.p_detect - (0.2 + 0.8 * draw.lot(2))) > 0.15:
            return None
        if min((math.dist(place, at) for at in _mark_places(draw)), default=math.inf) < 2.2 * near_m:
            return None
        knowable = at_least(stage.chances()[:, 0], _TRUSTED)
    places = (place,) if is_there else ()
    return Exercise(
        step="not_charted", seed=draw.seed,
        asks="The chart is laid over. Touch what stands there and is not on it.",
        told=(going(own), "Seven looks, ten seconds apart."),
        key=PlaceKey(places, near_m, 1.5 * near_m, stage.here, stage.reach_m), knowable=knowable,
        because=(
            f"{thing.name.capitalize()} lies there, {miles(math.dist(stage.here, place))} off. "
            f"It shows in {seen.p_detect:.0%} of turns." if seen is not None
            else "Every echo that stays stands on something charted. That is not clear water: the small may not show."
        ),
        pictures=stage.pictures(draw.chance), chart="with the question",
        notes=tuple(Marking("ring", "truth", (p,), thing.name) for p in places),
        withheld_words="nothing shows that is not charted",
    )  # fmt: skip


def missing(draw: Draw) -> Exercise | None:
    """The chart laid over: which charted mark should show and does not?  What land hides is not missing."""
    scale_nm = float(draw.chance.choice([0.75, 1.5]))
    own = draw.own((3.0, 7.0), (80.0, 1200.0), back_s=-_LOOKS[0])
    if own is None:
        return None
    base = Stage(draw.waters, draw.boat.radar, own, scale_nm, draw.calm(), times_s=_LOOKS, trails="relative")
    seen = base.seen()[1]
    shown = _in_plain_sight(seen, 0.75, base.reach_m)
    if len(shown) < 3:
        return None
    is_gone = draw.lot(1) < 0.7
    places = _mark_places(draw)
    which = int(draw.chance.choice(shown))
    near_m = resolution_m(draw.boat.radar.beam_horizontal_rad, math.dist(base.here, places[which]))
    # Marks that stand together cannot be told apart by a touch.
    if min(math.dist(places[which], p) for k, p in enumerate(places) if k != which) < 2.2 * near_m:
        return None
    stage = Stage(
        draw.waters, draw.boat.radar, own, scale_nm, base.weather, times_s=_LOOKS, trails="relative",
        gone=frozenset([which]) if is_gone else frozenset(),
    )  # fmt: skip
    mark, shows = draw.waters.world.marks[which], seen[which]
    assert shows is not None
    # It can be known where the others, which stand, do show: else a reader would suspect any.
    others = [s.p_detect for k, s in enumerate(seen) if s is not None and k != which and s.merged_with is None]
    in_doubt = [1.0 - (1.0 - p) ** len(_LOOKS) for p in others if p > 0.3]
    knowable = float(np.prod(in_doubt)) * at_least([shows.p_detect] * len(_LOOKS), _TRUSTED)
    hidden = [k for k, s in enumerate(seen) if s is not None and s.hidden]
    name = mark.name or f"a charted {mark.object}"
    return Exercise(
        step="missing", seed=draw.seed,
        asks="The chart is laid over. Touch the charted mark that should show and does not.",
        told=(going(own), "Seven looks, ten seconds apart."),
        key=PlaceKey((places[which],) if is_gone else (), near_m, 1.5 * near_m, stage.here, stage.reach_m),
        knowable=knowable if is_gone else 1.0,
        because=(
            f"{name} would show in {shows.p_detect:.0%} of turns, and no turn shows it: gone, moved or sunk." if is_gone
            else "Every mark in sight has its echo; those without one lie behind land or in its echo."
        ),
        pictures=stage.pictures(draw.chance), chart="with the question",
        notes=(
            *((Marking("ring", "truth", (places[which],), f"{name}: missing"),) if is_gone else ()),
            *(Marking("ring", "hidden", (places[k],), "behind land") for k in hidden),
        ),
        withheld_words="none is missing that could show",
    )  # fmt: skip
