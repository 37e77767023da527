"""What the point hides: water that the radar cannot see, and where a boat comes out of it.

The truth is the straight line over the chart's land; it is asked only where the radar model, which knows heights and
what bends over them, agrees with it.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.practice.keys import AreaKey, PlaceKey, WordKey
from moonless.practice.stage import Stage, StagedMover, off, polar
from moonless.practice.steps.draw import Draw, degrees, going, miles, minutes, resolution_m
from moonless.practice.types import Exercise, Marking, Place
from moonless.practice.waters import STEP_M
from moonless.radar.expected import expected_marks
from moonless.radar.types import MarkExpectation
from moonless.units import kn_to_mps, mps_to_kn

SHOWS, HIDDEN, TOO_SMALL = "it would show", "land hides it", "too small for so far"
# A line over less land than this grazes it: neither clear nor hidden beyond doubt.
_OVER_LAND_M = 40.0
_MOST_SAMPLED = 500


def over_land_m(land: shapely.Geometry, here: Place, places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return (n,) metres of land that the straight line to each of the places (n, 2) runs over."""
    ends = np.empty((len(places), 2, 2))
    ends[:, 0] = here
    ends[:, 1] = places
    lines = shapely.linestrings(ends)
    met = shapely.intersects(lines, land)
    out = np.zeros(len(places))
    if met.any():
        out[met] = shapely.length(shapely.intersection(lines[met], land))
    return out


def _asked_of(stage: Stage, kind: str, places: NDArray[np.float64]) -> dict[int, MarkExpectation]:
    """Return what the model makes of a thing of a kind at each place, by its number."""
    things = [StagedMover(kind, kind, float(e), float(n)).target(0.0) for e, n in places]
    found = expected_marks(stage.world, stage.radar, stage.pose(0.0), stage.scale_nm, things, stage.weather)
    return {one.index: one for one in found}


def hidden(draw: Draw) -> Exercise | None:
    """One of three questions about the same thing."""
    return (_would_it_show, _touch_hidden_water, _comes_out)[int(3.0 * draw.lot(1))](draw)


def _would_it_show(draw: Draw) -> Exercise | None:
    own = draw.own((3.0, 8.0), (100.0, 900.0))
    if own is None:
        return None
    scale_nm = float(draw.chance.choice([1.5, 3.0]))
    stage = Stage(draw.waters, draw.boat.radar, own, scale_nm, draw.calm())
    kind = draw.one_of("launch", "rowing boat", "kayak")
    bearing = draw.between(0.0, TAU)
    place = off(stage.here, bearing, draw.between(0.15, 0.9) * stage.reach_m)
    if not draw.waters.is_navigable(place, 0.0):
        return None
    over_m = float(over_land_m(draw.waters.world.land, stage.here, np.array([place]))[0])
    found = _asked_of(stage, kind, np.array([place])).get(0)
    if found is None:
        return None
    far = miles(found.range_m)
    if over_m >= _OVER_LAND_M and found.hidden_by_land:
        word, why = HIDDEN, f"{over_m:.0f} m of land lie on the line to it."
    elif over_m == 0.0 and not found.hidden_by_land and found.p_detect >= 0.9 and found.beside_snr < 1.0:
        word, why = SHOWS, f"Nothing stands between, and at {far} she shows in {found.p_detect:.0%} of turns."
    elif over_m == 0.0 and not found.hidden_by_land and found.p_detect <= 0.1:
        word, why = TOO_SMALL, f"Nothing stands between, but at {far} she shows in {found.p_detect:.0%} of turns."
    else:
        return None
    if word != draw.lot_of(2, SHOWS, HIDDEN, TOO_SMALL):
        return None
    return Exercise(
        step="hidden", seed=draw.seed,
        asks=f"If a {kind} lay in the ring, would this radar show her?",
        told=(going(own),), key=WordKey((SHOWS, HIDDEN, TOO_SMALL), word), words=(SHOWS, HIDDEN, TOO_SMALL),
        knowable=1.0, because=f"{why} What does not show is not therefore clear.",
        pictures=stage.pictures(draw.chance), asked=(Marking("ring", "asked", (place,), "A"),),
        notes=(Marking("line", "hidden" if word == HIDDEN else "truth", (stage.here, place), word),),
    )  # fmt: skip


def _touch_hidden_water(draw: Draw) -> Exercise | None:
    own = draw.own((3.0, 8.0), (100.0, 900.0))
    if own is None:
        return None
    stage = Stage(draw.waters, draw.boat.radar, own, 1.5, draw.calm())
    rows = draw.waters.navigable[:, :2]
    away = np.hypot(rows[:, 0] - own.east_m, rows[:, 1] - own.north_m)
    rows = rows[(away < 0.85 * stage.reach_m) & (away > 200.0)]
    behind = rows[over_land_m(draw.waters.world.land, stage.here, rows) >= _OVER_LAND_M]
    if len(behind) < 60:
        return None
    if len(behind) > _MOST_SAMPLED:
        behind = behind[draw.chance.choice(len(behind), _MOST_SAMPLED, replace=False)]
    found = _asked_of(stage, "launch", behind)
    sure = np.array([k for k, one in found.items() if one.hidden_by_land], dtype=np.int64)
    # Where low land lets her show all the same, touching behind it would be half right.
    if len(sure) < 0.9 * len(behind):
        return None
    half = 0.5 * STEP_M * math.sqrt(max(1.0, len(rows) / max(len(behind), 1)) if len(behind) == _MOST_SAMPLED else 1.0)
    cells = [shapely.box(e - half, n - half, e + half, n + half) for e, n in behind[sure]]
    area = shapely.buffer(shapely.union_all(cells), 0.6 * STEP_M)
    parts = sorted(shapely.get_parts(area), key=lambda p: -p.area)
    return Exercise(
        step="hidden", seed=draw.seed,
        asks="Touch water where a boat of nine metres would not show, because land lies in the way.",
        told=(going(own),), key=AreaKey(area, 30.0, stage.here, stage.reach_m), knowable=1.0,
        because="Behind land the picture is black whether a boat lies there or not: that water is hidden, not empty.",
        pictures=stage.pictures(draw.chance),
        notes=tuple(
            Marking(
                "area", "hidden", tuple((float(e), float(n)) for e, n in p.exterior.simplify(15.0).coords), "hidden"
            )
            for p in parts[:6]
        ),
        withheld_words="no water is hidden by land",
    )  # fmt: skip


def _comes_out(draw: Draw) -> Exercise | None:
    own = draw.own((2.0, 6.0), (100.0, 800.0))
    if own is None:
        return None
    stage = Stage(draw.waters, draw.boat.radar, own, 1.5, draw.calm())
    start = off(stage.here, draw.between(0.0, TAU), draw.between(0.3, 0.8) * stage.reach_m)
    course, length_m = draw.between(0.0, TAU), draw.between(0.4, 0.8) * stage.reach_m
    end = off(start, course, length_m)
    if math.dist(stage.here, end) > 0.85 * stage.reach_m or not draw.waters.is_clear(start, end, 20.0):
        return None
    along = np.arange(0.0, length_m, 20.0)
    places = np.column_stack([start[0] + along * math.sin(course), start[1] + along * math.cos(course)])
    over_m = over_land_m(draw.waters.world.land, stage.here, places)
    clear = np.flatnonzero(over_m < 1.0)
    if not len(clear):
        return None
    first = int(clear[0])
    # Hidden for a good while, then in sight to the end: one place and no other.
    if first < 8 or not (over_m[first:] < 1.0).all() or len(along) - first < 8 or (over_m[: first - 2] < 20.0).any():
        return None
    found = _asked_of(stage, "launch", places)
    if len(found) < len(places):
        return None
    model = next((k for k in range(len(places)) if not found[k].hidden_by_land), len(places))
    if abs(model - first) * 20.0 > 60.0 or found[min(first + 3, len(places) - 1)].p_detect < 0.8:
        return None
    where = (float(places[first][0]), float(places[first][1]))
    range_m, bearing = polar(stage.here, where)
    near_m = 1.5 * resolution_m(draw.boat.radar.beam_horizontal_rad, range_m)
    speed = kn_to_mps(8.0)
    return Exercise(
        step="hidden", seed=draw.seed,
        asks=f"A launch runs from A to B at {mps_to_kn(speed):.0f} kn. Touch where the radar can first show her.",
        told=(going(own),), key=PlaceKey((where,), near_m, 2.0 * near_m, stage.here, stage.reach_m), knowable=1.0,
        because=(
            f"Until {miles(range_m)} off, bearing {degrees(bearing)}, land lies on the line to her; she is then "
            f"{minutes(range_m / speed)} of her own speed away and comes without warning."
        ),
        pictures=stage.pictures(draw.chance),
        asked=(
            Marking("line", "asked", (start, end)), Marking("ring", "asked", (start,), "A"),
            Marking("ring", "asked", (end,), "B"),
        ),
        notes=(Marking("ring", "truth", (where,), "first seen"), Marking("line", "hidden", (start, where), "hidden")),
    )  # fmt: skip
