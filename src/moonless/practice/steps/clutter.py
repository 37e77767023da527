"""Sea and rain: what stays in the clutter, and what is no echo of a thing at all."""

from __future__ import annotations

import math

import numpy as np
import shapely

from moonless.constants import TAU
from moonless.practice.keys import PlaceKey, WordKey
from moonless.practice.raw import settled
from moonless.practice.stage import Stage, StagedMover, at_least, off
from moonless.practice.steps.draw import Draw, going, miles, resolution_m, wind
from moonless.practice.types import Exercise, Marking, Place
from moonless.radar.expected import expected_scan
from moonless.radar.types import RainCell, Weather
from moonless.sea.waves import significant_wave_height
from moonless.units import kn_to_mps

RAIN, LAND, THING = "rain", "land", "a vessel or mark"
# Turns that follow each other, and how many must show a thing before it is trusted among waves that come and go.  Own
# choice: half; design/practice/trusted.py sweeps it.
N_TURNS, TRUSTED = 10, 5


def sea_or_float(draw: Draw) -> Exercise | None:
    """Ten turns in a seaway: does anything stay?"""
    own = draw.own((2.0, 4.0), (350.0, math.inf))
    if own is None:
        return None
    speed = kn_to_mps(draw.between(12.0, 28.0))
    weather = Weather(significant_wave_height(speed, 8_000.0), draw.between(0.0, TAU), speed)
    is_there = draw.lot(1) < 0.7
    kind = draw.one_of("float", "pot float", "log", "kayak", "rowing boat", "mooring buoy")
    bearing = weather.wind_from_rad + draw.between(-2.2, 2.2)
    place = off((own.east_m, own.north_m), bearing, draw.between(170.0, 900.0))
    thing = StagedMover(f"a {kind}", kind, *place, draw.between(0.0, TAU))
    if not draw.waters.is_navigable(place, 150.0):
        return None
    turn_s = 1.0 / draw.boat.radar.rotation_hz
    times = tuple(float(t) for t in (np.arange(N_TURNS) - N_TURNS + 1) * turn_s)
    stage = Stage(
        draw.waters, draw.boat.radar, own, 0.75, weather, (thing,) if is_there else (), times_s=times, trails="true"
    )
    knowable = 1.0
    because = (
        "Nothing stands in that sea: each speck is gone by the next turn or two. What is small may still lie unseen."
    )
    if is_there:
        seen = stage.seen()[0][0]
        if seen is None or seen.merged_with is not None:
            return None
        # What shows at once and what hardly ever come up as often as what is between.
        if abs(seen.p_detect - (0.1 + 0.9 * draw.lot(2))) > 0.12:
            return None
        knowable = at_least(stage.chances()[:, 0], TRUSTED)
        because = (
            f"{thing.name.capitalize()} lies {miles(seen.range_m)} off and shows in {seen.p_detect:.0%} of turns, "
            "at the same place; waves show once or twice and elsewhere."
        )
    near_m = resolution_m(draw.boat.radar.beam_horizontal_rad, math.dist(stage.here, place))
    pictures = stage.pictures(draw.chance)
    return Exercise(
        step="sea_or_float", seed=draw.seed,
        asks=f"{N_TURNS} turns follow each other. Touch what stays among the waves, if anything does.",
        told=(going(own), wind(weather)),
        key=PlaceKey((place,) if is_there else (), near_m, 1.3 * near_m, stage.here, stage.reach_m), knowable=knowable,
        because=because, pictures=pictures, view=settled(pictures.counts, pictures.grid),
        notes=(Marking("ring", "truth", (place,), thing.name),) if is_there else (),
        withheld_words="nothing stays that shows",
    )  # fmt: skip


def rain_or_land(draw: Draw) -> Exercise | None:
    """Showers and shores without the chart: what is the echo in the ring?"""
    own = draw.own((3.0, 7.0), (200.0, 1500.0))
    if own is None:
        return None
    stage = Stage(draw.waters, draw.boat.radar, own, 1.5, draw.calm())
    showers = []
    for _ in range(int(draw.chance.integers(1, 3))):
        at = off(stage.here, draw.between(0.0, TAU), draw.between(0.3, 0.8) * stage.reach_m)
        showers.append(RainCell(*at, draw.between(350.0, 800.0), draw.between(12.0, 35.0)))
    calm = stage.weather
    weather = Weather(calm.wave_height_m, calm.wind_from_rad, calm.wind_speed, 0.0, tuple(showers))
    word = draw.lot_of(1, RAIN, LAND, THING)
    place: Place | None
    if word == RAIN:
        place = (showers[0].east_m, showers[0].north_m)
        if shapely.distance(draw.waters.solid, shapely.Point(place)) < 250.0:
            return None
    elif word == LAND:
        place = _facing_shore(draw, stage)
    else:
        place = off(stage.here, draw.between(0.0, TAU), draw.between(0.25, 0.8) * stage.reach_m)
        if not draw.waters.is_navigable(place, 150.0):
            return None
    if place is None:
        return None
    # Inside the others' rain a thing cannot be told; that is a question of its own.
    inside = any(math.dist(place, (s.east_m, s.north_m)) < 1.6 * s.radius_m for s in showers)
    if word != RAIN and inside:
        return None
    movers = (
        StagedMover("a coaster", draw.one_of("coaster", "barge", "fishing boat"), *place, draw.between(0.0, TAU)),
    )
    stage = Stage(
        draw.waters, draw.boat.radar, own, 1.5, weather, movers if word == THING else (),
        times_s=tuple(float(t) for t in range(-60, 1, 20)),
    )  # fmt: skip
    knowable = 1.0
    if word == THING:
        seen = stage.seen()[0][0]
        if seen is None or seen.merged_with is not None or seen.p_detect < 0.6:
            return None
        knowable = at_least(stage.chances()[:, 0], 2)
    elif not _stands_out(stage, place, word):
        return None
    because = {
        RAIN: "Rain: soft at the edge, grainy, no shadow, and the rain knob thins it. What lies in it may be hidden.",
        LAND: "Land: hard at the near edge, black behind, and it stays to the metre.",
        THING: "A single thing: as wide as the beam and no longer than the pulse, turn after turn.",
    }[word]
    return Exercise(
        step="rain_or_land", seed=draw.seed, asks="What is the echo in the ring?",
        told=(going(own), "Four looks, twenty seconds apart."),
        key=WordKey((RAIN, LAND, THING), word), words=(RAIN, LAND, THING), knowable=knowable, because=because,
        pictures=stage.pictures(draw.chance), asked=(Marking("ring", "asked", (place,), "A"),),
        notes=tuple(Marking("ring", "chance", ((s.east_m, s.north_m),), "shower") for s in showers),
    )  # fmt: skip


def _facing_shore(draw: Draw, stage: Stage) -> tuple[float, float] | None:
    """Return a place on the shore that a straight line from here meets first, a little inland."""
    bearing = draw.between(0.0, TAU)
    ray = shapely.LineString([stage.here, off(stage.here, bearing, 0.8 * stage.reach_m)])
    met = shapely.intersection(draw.waters.world.land, ray)
    if shapely.is_empty(met) or met.length < 60.0:
        return None
    away = float(shapely.distance(met, shapely.Point(stage.here)))
    return None if away < 0.2 * stage.reach_m else off(stage.here, bearing, away + 15.0)


def _stands_out(stage: Stage, place: tuple[float, float], word: str) -> bool:
    """Whether the mean echo there is well over noise: rain and land that do not show cannot be asked about."""
    scan = expected_scan(stage.world, stage.radar, stage.pose(0.0), stage.grid, stage.scale_nm, stage.weather)
    east, north = place[0] - stage.here[0], place[1] - stage.here[1]
    turn = (math.atan2(east, north) - stage.own.course_rad) % TAU
    row = round(turn / TAU * stage.grid.n_spoke) % stage.grid.n_spoke
    cell = min(int(math.hypot(east, north) / stage.grid.cell_m), stage.grid.n_cell - 1)
    power = scan.clutter_to_noise if word == RAIN else scan.snr
    # 13 dB: what is painted at a usual gain is 9.
    return bool(power[row, max(0, cell - 4) : cell + 4].max() > 20.0)
