"""Rings and bearings: where an echo is, in figures, and where a place in figures lies on the scope."""

from __future__ import annotations

import math

import shapely

from moonless.constants import NAUTICAL_MILE_M, TAU
from moonless.practice.keys import FiguresKey, PlaceKey
from moonless.practice.stage import Stage, StagedMover, off, polar
from moonless.practice.steps.draw import RINGS, Draw, degrees, going, miles
from moonless.practice.types import Exercise, Figure, Marking, Place
from moonless.units import kn_to_mps


def rings(draw: Draw) -> Exercise | None:
    """Read an echo off the rings and the bearing scale, or find the place that figures name."""
    scale_nm = float(draw.chance.choice([0.75, 1.5, 3.0]))
    own = draw.own((3.0, 8.0), (150.0, math.inf))
    if own is None:
        return None
    apart_m = scale_nm * NAUTICAL_MILE_M / RINGS[scale_nm]
    bearing, range_m = draw.between(0.0, TAU), draw.between(0.25, 0.9) * scale_nm * NAUTICAL_MILE_M
    place = off((own.east_m, own.north_m), bearing, range_m)
    if not draw.waters.is_navigable(place):
        return None
    kind = draw.one_of("fishing boat", "coaster", "buoy")
    thing = StagedMover(f"a {kind}", kind, *place, draw.between(0.0, TAU), 0.0 if kind == "buoy" else kn_to_mps(5.0))
    stage = Stage(draw.waters, draw.boat.radar, own, scale_nm, draw.calm(), (thing,))
    seen = stage.seen()[0][0]
    if seen is None or seen.merged_with is not None or seen.p_detect < 0.97:
        return None
    told = (going(own), f"The rings stand {apart_m / NAUTICAL_MILE_M:.3g} NM apart.")
    relative = (bearing - own.course_rad) % TAU
    truth = f"It lies {miles(range_m)} off, {degrees(relative)} from the bow, true bearing {degrees(bearing)}."
    note = Marking("ring", "truth", (place,), thing.name)
    pictures = stage.pictures(draw.chance)
    if draw.lot(1) < 0.35:
        # By eye between two rings a tenth of their distance can be told.  Common practice, no source.
        key = PlaceKey((place,), 0.12 * apart_m, 0.4 * apart_m, stage.here, stage.reach_m)
        asks = f"Touch the place {miles(range_m)} off on the relative bearing {degrees(relative)}."
        return Exercise(
            step="rings", seed=draw.seed, asks=asks, told=told, key=key, knowable=1.0,
            because=f"{truth} Out from the middle along the bearing.", pictures=pictures, notes=(note,),
        )  # fmt: skip
    is_true = bool(draw.chance.uniform() < 0.5)
    what = "true bearing" if is_true else "relative bearing"
    shown = math.degrees(bearing if is_true else relative)
    figures = (
        Figure(
            "range", "nm", range_m / NAUTICAL_MILE_M, 0.1 * apart_m / NAUTICAL_MILE_M, 0.35 * apart_m / NAUTICAL_MILE_M,
            0.0, scale_nm,
        ),
        Figure(what, "deg", shown, 4.0, 12.0, 0.0, 360.0),
    )  # fmt: skip
    return Exercise(
        step="rings", seed=draw.seed, asks=f"How far off is the echo in the ring, and on what {what}?", told=told,
        key=FiguresKey(figures), figures=figures, knowable=seen.p_detect,
        because=f"{truth} A true bearing is the heading and the relative bearing added.", pictures=pictures,
        asked=(Marking("ring", "asked", (place,), "A"),), notes=(note,),
    )  # fmt: skip


def find_place(draw: Draw) -> Exercise | None:
    """A picture as the plan draws it ahead: find on the chart where it was taken."""
    scale_nm = 1.5
    own = draw.own((4.0, 8.0), (100.0, 1400.0))
    if own is None:
        return None
    stage = Stage(draw.waters, draw.boat.radar, own, scale_nm, draw.calm())
    # Land in some directions and not in all is what a place is known by.
    if not 0.2 <= draw.shores(stage.here, 0.9 * stage.reach_m) <= 0.95:
        return None
    full_m, none_m = 0.08 * stage.reach_m, 0.3 * stage.reach_m
    chart = draw.waters.chart
    middle = chart.frame.to_plane(chart.centre_lat_deg, chart.centre_lon_deg)
    key = PlaceKey((stage.here,), full_m, none_m, (float(middle[0]), float(middle[1])), chart.radius_m, form="chart")
    land_m = polar(stage.here, _nearest_shore(draw, stage.here))
    return Exercise(
        step="find_place", seed=draw.seed,
        asks="This is how the radar looks from one place of these waters. Touch on the chart where it was taken.",
        told=(f"The bow points {degrees(own.course_rad)}; the picture reaches {scale_nm:g} NM.",),
        key=key, knowable=1.0,
        because=(
            f"The nearest land lies {miles(land_m[0])} off, bearing {degrees(land_m[1])}; turn the picture until north "
            "is up, and hold the shores against the chart's."
        ),
        pictures=stage.pictures(draw.chance),
        notes=(Marking("ring", "truth", (stage.here,), "here"),),
        chart="beside it",
        withheld_words="it could be several places",
    )  # fmt: skip


def _nearest_shore(draw: Draw, here: Place) -> Place:
    nearest = shapely.shortest_line(shapely.Point(here), draw.waters.world.land)
    east, north = shapely.get_coordinates(nearest)[-1]
    return float(east), float(north)
