"""Choose a speed: what is seen ahead, what is hidden ahead, and what the boat needs to stop (Rule 6)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from moonless.boat.types import Boat
from moonless.constants import NAUTICAL_MILE_M, TAU
from moonless.errors import InputError
from moonless.practice.raw import settled
from moonless.practice.stage import Stage, StagedMover, off
from moonless.practice.steps.draw import Draw, degrees, miles, wind
from moonless.practice.steps.hidden import over_land_m
from moonless.practice.types import Exercise, ExerciseAnswer, Figure, Form, Marking
from moonless.radar.expected import expected_marks
from moonless.radar.types import Weather
from moonless.reading.collision.safe_speed import stopping_line_m
from moonless.sea.waves import significant_wave_height
from moonless.units import kn_to_mps, mps_to_kn

_FASTEST_KN = 30.0
# Held: shown in nine turns of ten.
_HELD = 0.9

@dataclass(frozen=True, slots=True)
class SpeedKey:
    """Right at the greatest speed that stops in time or somewhat under it; too fast is worth nothing soon."""

    truth_kn: float
    form: Form = "figures"

    @property
    def right(self) -> ExerciseAnswer:
        """The greatest that stops in time."""
        return ExerciseAnswer(figures=(self.truth_kn,))

    @property
    def by_luck(self) -> float:
        """The share of all speeds that earns full marks."""
        return 0.3 * self.truth_kn / _FASTEST_KN

    def worth(self, answer: ExerciseAnswer) -> float:
        """Full from three quarters of the greatest up to a knot over it, nothing from a third over; slower is less."""
        if len(answer.figures) != 1:
            raise InputError("this is answered by one speed, in knots")
        given = answer.figures[0]
        over = max(self.truth_kn + 1.0, 1.05 * self.truth_kn)
        return float(
            np.interp(
                given, [0.0, 0.5 * self.truth_kn, 0.75 * self.truth_kn, over, over + 0.3 * self.truth_kn],
                [0.0, 0.5, 1.0, 1.0, 0.0],
            )
        )  # fmt: skip

    def blind(self, chance: np.random.Generator) -> ExerciseAnswer:
        """Say any speed."""
        return ExerciseAnswer(figures=(float(chance.uniform(0.0, _FASTEST_KN)),))


def fastest(boat: Boat, within_m: float) -> float:
    """Return the greatest speed, m/s, from which she stops within so many metres, reaction included."""
    low, high = 0.0, kn_to_mps(_FASTEST_KN)
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if stopping_line_m(middle, boat) <= within_m else (low, middle)
    return low


def speed(draw: Draw) -> Exercise | None:
    """How fast may she go here, so that she stops inside what has been seen?"""
    own = draw.own((4.0, 8.0), (120.0, 1500.0))
    if own is None:
        return None
    blows = kn_to_mps(draw.between(3.0, 20.0))
    rain = float(draw.chance.choice([0.0, 0.0, 0.0, 4.0, 8.0]))
    weather = Weather(significant_wave_height(blows, 4_000.0), draw.between(0.0, TAU), blows, rain)
    stage = Stage(draw.waters, draw.boat.radar, own, 0.75, weather, times_s=(-10.0, -5.0, 0.0))
    along = np.arange(60.0, stage.reach_m, 20.0)
    ahead = np.column_stack(
        [own.east_m + along * math.sin(own.course_rad), own.north_m + along * math.cos(own.course_rad)]
    )
    over_m = over_land_m(draw.waters.world.land, stage.here, ahead)
    if (over_m > 0.0).any():
        return None
    things = [StagedMover("a rowing boat", "rowing boat", float(e), float(n)).target(0.0) for e, n in ahead]
    found = expected_marks(stage.world, stage.radar, stage.pose(0.0), stage.scale_nm, things, weather)
    held = np.array([one.p_detect >= _HELD for one in sorted(found, key=lambda one: one.index)])
    if len(held) < len(along):
        return None
    # Held without a gap from the boat outwards; the first few metres are her own.
    seen_m = float(along[int(np.argmin(held)) - 1]) if not held.all() else float(along[-1])
    if not held[0] or seen_m < 200.0:
        return None
    hidden_m, corner = _nearest_hidden(draw, stage)
    within_m = min(seen_m, hidden_m)
    truth_kn = mps_to_kn(fastest(draw.boat, within_m))
    if not 2.5 < truth_kn < _FASTEST_KN - 2.0:
        return None
    table = ", ".join(f"{k} kn {stopping_line_m(kn_to_mps(k), draw.boat):.0f} m" for k in (4, 6, 8, 10, 15, 20, 25))
    figures = (Figure("speed", "kn", truth_kn, 1.0, 3.0, 0.0, _FASTEST_KN),)
    binds = "water that land hides" if hidden_m < seen_m else "how far so small a boat is held"
    pictures = stage.pictures(draw.chance)
    arc = tuple(off(stage.here, own.course_rad + math.radians(a), seen_m) for a in range(-30, 31, 5))
    return Exercise(
        step="speed", seed=draw.seed,
        asks="What is the greatest speed at which she stops inside what has been seen ahead?",
        told=(
            f"You steer {degrees(own.course_rad)}. {wind(weather)}" + (f" Rain {rain:.0f} mm/h." if rain else ""),
            "Inside the dashed arc a rowing boat shows in nine turns of ten. The rings stand 0.25 NM (463 m) apart.",
            f"She needs, from seeing to stopped: {table}.",
        ),
        key=SpeedKey(truth_kn), figures=figures, knowable=1.0,
        because=(
            f"What binds is {binds}: {within_m:.0f} m ({miles(within_m)}) ahead; from {truth_kn:.1f} kn she stops. "
            + ("A boat may come out of it, so half of even that would be no shame." if hidden_m < seen_m else "")
        ),
        pictures=pictures, view=settled(pictures.counts, pictures.grid),
        asked=(Marking("line", "asked", arc, "held to here"),),
        chart="with the question",
        notes=()
        if corner is None or hidden_m >= seen_m
        else (Marking("ring", "hidden", (corner,), "hidden beyond"),),
    )  # fmt: skip


def _nearest_hidden(draw: Draw, stage: Stage) -> tuple[float, tuple[float, float] | None]:
    """Return how far ahead the nearest water is that land hides, within 30 degrees of the course, and where."""
    rows = draw.waters.navigable[:, :2]
    east, north = rows[:, 0] - stage.here[0], rows[:, 1] - stage.here[1]
    away = np.hypot(east, north)
    turn = np.abs((np.arctan2(east, north) - stage.own.course_rad + math.pi) % TAU - math.pi)
    rows = rows[(away < stage.reach_m) & (turn < math.radians(30.0))]
    if not len(rows):
        return math.inf, None
    behind = rows[over_land_m(draw.waters.world.land, stage.here, rows) >= 40.0]
    if not len(behind):
        return math.inf, None
    away = np.hypot(behind[:, 0] - stage.here[0], behind[:, 1] - stage.here[1])
    k = int(np.argmin(away))
    return float(min(away[k], NAUTICAL_MILE_M)), (float(behind[k][0]), float(behind[k][1]))
