"""A raw picture and the knobs: set range, gain, sea and rain by hand, and see what is lost.

What a setting is worth is counted on the picture itself: which of the things that are there (and that a careful reader
could have seen at some setting) still stand out, and how much of the empty water is painted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from moonless.constants import NAUTICAL_MILE_M, TAU
from moonless.errors import InputError
from moonless.practice.raw import NEUTRAL, levels, threshold_db
from moonless.practice.stage import Stage, StagedMover, off
from moonless.practice.steps.draw import Draw, going, wind
from moonless.practice.types import Exercise, ExerciseAnswer, Form, Knobs, Marking, Pictures
from moonless.radar.types import RainCell, Weather
from moonless.sea.waves import significant_wave_height
from moonless.units import kn_to_mps

SCALES_NM = (0.5, 0.75, 1.5)
_LOOKS = (-20.0, -10.0, 0.0)
# The share of empty water that may be speckled without harm, and the share at which nothing can be read any more.  Own
# choice; design/practice/knobs.py shows both.
QUIET, NOISY = 0.02, 0.25
# An echo stands out where less than so much of the water beside it is painted.
CROWDED = 0.35
_OF_LOOKS = 2
_Survey = tuple[NDArray[np.float64], list[NDArray[np.float32]], NDArray[np.float32], NDArray[np.int64]]


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """Where a thing's echo falls, and the water beside it at the same range."""

    rows: NDArray[np.int64]
    beside: NDArray[np.int64]  # rows, two to five beams to either side
    cells: NDArray[np.int64]
    range_m: float


@dataclass(frozen=True, eq=False)
class KnobsKey:
    """Worth by what a setting keeps and what it paints, over the best that any setting gives."""

    pictures: Pictures
    windows: tuple[Window, ...]  # where each thing's echo falls, and beside it
    empty: NDArray[np.bool_]  # (n_spoke, n_cell) water with nothing in it
    form: Form = "knobs"

    def keeps(self, knobs: Knobs) -> tuple[tuple[bool, ...], float]:
        """Return which things stand out at a setting, and the share of the empty water that is painted."""
        return self._counted(self._survey(knobs.sea, knobs.rain), knobs)

    def value(self, knobs: Knobs) -> float:
        """Return the share kept, less what the speckle costs."""
        return _value(*self.keeps(knobs))

    @cached_property
    def best(self) -> tuple[Knobs, float]:
        """The best of a net of settings, and what it keeps."""
        tried = []
        for sea in (0.0, 20.0, 40.0, 60.0, 80.0):
            for rain in (0.0, 30.0, 60.0):
                survey = self._survey(sea, rain)
                for gain in range(20, 91, 5):
                    knobs = Knobs(float(gain), sea, rain, SCALES_NM[-1])
                    tried.append((knobs, _value(*self._counted(survey, knobs))))
        return max(tried, key=lambda pair: pair[1])

    def _survey(self, sea: float, rain: float) -> _Survey:
        """Return the levels that decide, at gain 0, so that any gain can be asked afterwards."""
        grid = self.pictures.grid
        looks = [levels(look, grid, Knobs(0.0, sea, rain)) for look in self.pictures.counts]
        peaks = [[float(look[np.ix_(w.rows, w.cells)].max()) for look in looks] for w in self.windows]
        beside = [np.concatenate([look[np.ix_(w.beside, w.cells)].ravel() for look in looks]) for w in self.windows]
        # A thousand cells of the empty water tell its share as well as all do.
        rows, cells = np.nonzero(self.empty)
        every = max(1, len(rows) // 4000)
        water = np.concatenate([look[rows[::every], cells[::every]] for look in looks])
        return np.array(peaks), beside, water, np.tile(cells[::every], len(looks))

    def _counted(self, survey: _Survey, knobs: Knobs) -> tuple[tuple[bool, ...], float]:
        peaks, beside, water, cells = survey
        grid = self.pictures.grid
        lifted = threshold_db(knobs.gain) - threshold_db(0.0)
        last = knobs.scale_nm * NAUTICAL_MILE_M / grid.cell_m
        shown = water[cells < last]
        share = float(np.mean(shown > lifted)) if len(shown) else 0.0
        kept = tuple(
            window.range_m <= knobs.scale_nm * NAUTICAL_MILE_M
            and int((peaks[k] > lifted).sum()) >= _OF_LOOKS
            and float(np.mean(beside[k] > lifted)) < CROWDED
            for k, window in enumerate(self.windows)
        )
        return kept, share

    @property
    def right(self) -> ExerciseAnswer:
        """The best setting found."""
        return ExerciseAnswer(knobs=self.best[0])

    @property
    def by_luck(self) -> float:
        """A blind setting is worth something; it is left out of account."""
        return 0.0

    def worth(self, answer: ExerciseAnswer) -> float:
        """What the setting gains over leaving it as it stood, of what the best gains."""
        if answer.knobs is None or answer.knobs.scale_nm not in SCALES_NM:
            raise InputError(f"this is answered by the knobs, on a range scale of {', '.join(map(str, SCALES_NM))} NM")
        plain = self.value(NEUTRAL)
        return float(np.clip((self.value(answer.knobs) - plain) / (self.best[1] - plain), 0.0, 1.0))

    def blind(self, chance: np.random.Generator) -> ExerciseAnswer:
        """Turn the knobs anywhere."""
        gain, sea, rain = (float(chance.uniform(0.0, 100.0)) for _ in range(3))
        return ExerciseAnswer(knobs=Knobs(gain, sea, rain, float(chance.choice(np.array(SCALES_NM)))))


def _value(kept: tuple[bool, ...], share: float) -> float:
    cost = float(np.interp(share, [QUIET, NOISY], [0.0, 1.0]))
    return max(0.0, float(np.mean(kept)) * (1.0 - cost))


def by_hand(draw: Draw) -> Exercise | None:
    """Some small things in sea, rain and the far noise: show as many as can be shown."""
    own = draw.own((2.0, 5.0), (300.0, math.inf))
    if own is None:
        return None
    speed = kn_to_mps(draw.between(9.0, 18.0))
    here = (own.east_m, own.north_m)
    shower = off(here, draw.between(0.0, TAU), draw.between(900.0, 1900.0))
    weather = Weather(
        significant_wave_height(speed, 4_000.0), draw.between(0.0, TAU), speed, 0.0,
        (RainCell(*shower, draw.between(300.0, 600.0), draw.between(8.0, 25.0)),),
    )  # fmt: skip
    movers: list[StagedMover] = []
    for low, high in ((150.0, 400.0), (300.0, 700.0), (700.0, 1300.0), (1300.0, 2300.0), (1500.0, 2500.0)):
        kind = draw.one_of("launch", "rib", "motor yacht", "fishing boat", "buoy", "sailing yacht")
        place = off(here, draw.between(0.0, TAU), draw.between(low, high))
        if draw.waters.is_navigable(place, 100.0):
            movers.append(StagedMover(f"a {kind}", kind, *place, draw.between(0.0, TAU)))
    if draw.chance.uniform() < 0.6:
        place = off(shower, draw.between(0.0, TAU), draw.between(0.0, 250.0))
        if draw.waters.is_navigable(place, 100.0):
            movers.append(StagedMover("a fishing boat in the rain", "fishing boat", *place, 0.0))
    stage = Stage(draw.waters, draw.boat.radar, own, SCALES_NM[-1], weather, tuple(movers), times_s=_LOOKS)
    chances = stage.chances()
    # A thing that no setting could show is nobody's loss.
    fit = [k for k in range(len(movers)) if chances[:, k].mean() >= 0.5]
    if len(fit) < 3:
        return None
    pictures = stage.pictures(draw.chance)
    key = KnobsKey(pictures, tuple(_window(stage, movers[k]) for k in fit), _empty(stage))
    best, _ = key.best
    kept, _ = key.keeps(best)
    plain, _ = key.keeps(NEUTRAL)
    if sum(kept) < 3 or key.value(NEUTRAL) > 0.8 * key.best[1]:
        return None
    lost = [movers[k].name for k, stays in zip(fit, plain, strict=True) if not stays]
    return Exercise(
        step="by_hand", seed=draw.seed,
        asks="Set range, gain, sea and rain so that all that can be shown within 1.5 NM stands out in a quiet sea.",
        told=(going(own), wind(weather), "A shower lies in range; boats lie near, far, and perhaps in the rain."),
        key=key, knowable=1.0,
        because=(
            f"Gain {best.gain:.0f}, sea {best.sea:.0f}, rain {best.rain:.0f} on 1.5 NM shows {sum(kept)} "
            f"of {len(fit)}; too much sea or rain takes small boats with the clutter, too little gain the far ones."
            + (f" As it stood {', '.join(lost)} could not be told." if lost else "")
        ),
        pictures=pictures,
        notes=(
            *(Marking("ring", "truth", (movers[k].at(0.0),), movers[k].name) for k in fit),
            Marking("ring", "chance", (shower,), "shower"),
        ),
        withheld_words="leave it as it is",
    )  # fmt: skip


def _rows_and_cells(stage: Stage, place: tuple[float, float]) -> tuple[float, float]:
    east, north = place[0] - stage.here[0], place[1] - stage.here[1]
    grid = stage.grid
    row = (math.atan2(east, north) - stage.own.course_rad) % TAU / TAU * grid.n_spoke
    return row, (math.hypot(east, north) - grid.first_cell_m) / grid.cell_m


def _window(stage: Stage, thing: StagedMover) -> Window:
    place = thing.at(0.0)
    row, cell = _rows_and_cells(stage, place)
    n_spoke, n_cell = stage.grid.n_spoke, stage.grid.n_cell
    beam = stage.radar.beam_horizontal_rad / TAU * n_spoke
    half = max(1, round(0.35 * beam))
    rows = np.arange(round(row) - half, round(row) + half + 1) % n_spoke
    out = np.arange(round(2.0 * beam), round(5.0 * beam))
    beside = np.concatenate([round(row) - out, round(row) + out]) % n_spoke
    cells = np.arange(max(0, round(cell) - 2), min(n_cell, round(cell) + 3))
    return Window(rows, beside, cells, math.dist(stage.here, place))


def _empty(stage: Stage) -> NDArray[np.bool_]:
    """Return where in the picture there is water with nothing in it, by the chart and the scene."""
    import shapely

    grid = stage.grid
    rows, cells = np.arange(grid.n_spoke), np.arange(grid.n_cell)
    bearing = stage.own.course_rad + rows[:, np.newaxis] * (TAU / grid.n_spoke)
    reach = grid.first_cell_m + cells[np.newaxis, :] * grid.cell_m
    east, north = stage.here[0] + reach * np.sin(bearing), stage.here[1] + reach * np.cos(bearing)
    # Land and all within reach of its echo, thinned to every fourth cell for speed and spread again.
    near_land = shapely.buffer(stage.waters.solid.simplify(10.0), 80.0, quad_segs=2)
    shapely.prepare(near_land)
    coarse = shapely.contains_xy(near_land, east[::4, ::4], north[::4, ::4])
    taken = np.repeat(np.repeat(coarse, 4, axis=0), 4, axis=1)[: grid.n_spoke, : grid.n_cell]
    marks = [(m.east_m, m.north_m) for m in stage.waters.world.marks]
    for thing in [*(m.at(0.0) for m in stage.movers), *(m for m in marks if math.dist(m, stage.here) < stage.reach_m)]:
        taken = taken | (np.hypot(east - thing[0], north - thing[1]) < 0.06 * reach + 60.0)
    return np.asarray(~taken & (reach > 60.0))
