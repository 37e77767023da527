"""The radar is lying: side lobes, a second trace, a reflection, a heading that is off, a picture that stands still.

Each is put into the picture by its own geometry, and the answer is what was put in.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import shapely

from moonless.constants import NAUTICAL_MILE_M, TAU
from moonless.practice.keys import FiguresKey, WordKey
from moonless.practice.stage import Stage, StagedMover, off, polar
from moonless.practice.steps.draw import Draw, degrees
from moonless.practice.types import Exercise, Figure, Marking, Pictures
from moonless.radar.artefacts import Mishaps
from moonless.radar.types import PointTarget
from moonless.units import kn_to_mps, mps_to_kn

_False = Callable[[float], Sequence[PointTarget]]
LOBES, SECOND_TRACE, MIRRORED = "side lobes of a near ship", "a second trace", "a reflection in the own mast"
HEADING, FROZEN, SOUND = "the heading is off", "the picture stands still", "nothing is wrong"
WORDS = (LOBES, SECOND_TRACE, MIRRORED, HEADING, FROZEN, SOUND)
_LOOKS = tuple(float(t) for t in range(-75, 1, 15))
_BECAUSE = {
    LOBES: "The range of the strong near echo, to both sides of it: turn gain or sea down and they go first.",
    SECOND_TRACE: (
        "The echo of something beyond the pulse interval, shown by that much too near: no chart has it, it keeps its "
        "bearing as you go by, and on a range scale with another pulse rate it jumps."
    ),
    MIRRORED: "It stands where the own mast stands, at the range of a strong echo elsewhere, and moves as that does.",
    HEADING: "Every shore is turned by the same angle about the middle: the heading sensor, not the chart.",
    FROZEN: "You have gone on and no echo has moved, not even the noise: an old picture, which says nothing of now.",
    SOUND: "Shores and marks lie on the chart's, and every echo goes its own way.",
}
# Where the own mast stands, from the bow: right aft, as on most small boats.
_MAST_RAD = math.pi
# Of a picture that asks about an echo: its peak is so many counts over noise at least, 14 dB.
_PLAIN_COUNTS = 62


def lying(draw: Draw) -> Exercise | None:
    """What is wrong with this picture?"""
    word = draw.lot_of(1, *WORDS)
    own = draw.own((5.0, 9.0), (250.0, 1300.0), back_s=-_LOOKS[0])
    if own is None:
        return None
    ship = _ship(draw, own, word)
    stage = Stage(draw.waters, draw.boat.radar, own, 1.5, draw.calm(), (ship,), times_s=_LOOKS, trails="none")
    if not draw.waters.is_clear(ship.at(_LOOKS[0]), ship.at(0.0), 60.0):
        return None
    notes: tuple[Marking, ...] = (Marking("ring", "truth", (ship.at(0.0),), "a ship"),)
    bias_rad = 0.0
    if word == LOBES:
        lobes = _lobes(stage, ship)
        stage = replace(stage, false=lobes)
        arc = sorted(
            ((p.east_m, p.north_m) for p in lobes(0.0)),
            key=lambda p: (polar(stage.here, p)[1] - polar(stage.here, ship.at(0.0))[1] + math.pi) % TAU,
        )
        # Over land they are lost in its echo.
        if shapely.distance(draw.waters.solid, shapely.MultiPoint(arc)) < 80.0:
            return None
        notes += (Marking("line", "chance", tuple(arc), LOBES),)
    elif word == SECOND_TRACE:
        trace = _second_trace(draw, stage)
        stage = replace(stage, false=trace)
        middle = trace(0.0)[len(trace(0.0)) // 2]
        notes += (Marking("ring", "chance", ((middle.east_m, middle.north_m),), SECOND_TRACE),)
        if draw.waters.world.is_on_land(middle.east_m, middle.north_m):
            return None
    elif word == MIRRORED:
        stage = replace(
            stage, mishaps=Mishaps(indirect_db=-42.0, mast_rel_rad=_MAST_RAD, second_trace=False, racons=False)
        )
        at = off(stage.here, own.course_rad + _MAST_RAD, math.dist(stage.here, ship.at(0.0)))
        if draw.waters.world.is_on_land(*at):
            return None
        notes += (Marking("ring", "chance", (at,), MIRRORED),)
    elif word == HEADING:
        bias_rad = math.radians(draw.between(5.0, 14.0)) * (1.0 if draw.chance.uniform() < 0.5 else -1.0)
        stage = replace(stage, heading_bias_rad=bias_rad)
    elif word == FROZEN:
        stage = replace(stage, is_frozen=True)
    pictures = stage.pictures(draw.chance)
    if word in (HEADING, SOUND, FROZEN):
        # By one islet nobody could tell.
        if draw.shores(stage.here, 0.8 * stage.reach_m) < 0.2:
            return None
    else:
        false = [place for note in notes if note.role == "chance" for place in note.places]
        if max(_peak(stage, pictures, at) for at in false) < _PLAIN_COUNTS:
            return None
    # The sensor's heading and no other: beside the true one it would give its own error away.
    told = (
        f"The heading sensor says {degrees(own.course_rad + bias_rad)}; you make {mps_to_kn(own.speed):.1f} kn.",
        "Six looks, fifteen seconds apart; the chart is laid over by that heading.",
    )
    if word == HEADING and draw.lot(2) < 0.5:
        figures = (Figure("heading shown is too great by", "deg", math.degrees(bias_rad), 2.0, 6.0, -20.0, 20.0),)
        return Exercise(
            step="lying", seed=draw.seed,
            asks="The heading is off. By how many degrees is what the sensor shows too great? Too small is below 0.",
            told=told, key=FiguresKey(figures), figures=figures, knowable=1.0,
            because=f"The true heading is {degrees(own.course_rad)}. {_BECAUSE[HEADING]}", pictures=pictures,
            notes=notes, chart="with the question",
        )  # fmt: skip
    return Exercise(
        step="lying", seed=draw.seed, asks="One of these, or nothing, is wrong with this picture. Which?",
        told=told, key=WordKey(WORDS, word), words=WORDS, knowable=1.0, because=_BECAUSE[word], pictures=pictures,
        notes=notes, chart="with the question",
    )  # fmt: skip


def _ship(draw: Draw, own: StagedMover, word: str) -> StagedMover:
    near = word == LOBES
    range_m = draw.between(350.0, 700.0) if near else draw.between(500.0, 1800.0)
    # Forward of the beam, so that what the mast mirrors lies apart from it.
    bearing = own.course_rad + draw.between(-1.4, 1.4)
    place = off((own.east_m, own.north_m), bearing, range_m)
    return StagedMover(
        "a ship", "ship" if near else "coaster", *place, draw.between(0.0, TAU), kn_to_mps(draw.between(0.0, 7.0))
    )


def _lobes(stage: Stage, ship: StagedMover) -> _False:
    """Return the false echoes of a ship met by the antenna's side lobes: her range, other bearings, there and back."""
    radar = stage.radar

    def at(time_s: float) -> Sequence[PointTarget]:
        here, target = stage.own.at(time_s), ship.target(time_s)
        east, north = target.east_m - here[0], target.north_m - here[1]
        range_m, bearing = math.hypot(east, north), math.atan2(east, north)
        out = []
        for turn in range(5, 46, 2):
            # Near lobes within ten degrees, far ones beyond, as the boat file has them; both ways.
            down_db = 2.0 * (radar.side_lobe_near_db if turn <= 10 else radar.side_lobe_far_db + turn * -0.1)
            for side in (1.0, -1.0):
                place = off(here, bearing + side * math.radians(turn), range_m)
                # A large merchant ship broadside on, from memory: ten times the kind's mean.
                rcs_m2 = 10.0 * target.rcs_m2 * 10.0 ** (down_db / 10.0)
                out.append(PointTarget("lobe", *place, rcs_m2, target.height_m, 3))
        return out

    return at


def _second_trace(draw: Draw, stage: Stage) -> _False:
    """Return the false echoes of a high coast far beyond the pulse interval, each shown too near by that interval.

    Seen from anywhere near here such a coast has one bearing; its shown range changes with its true one.
    """
    middle, range_m = draw.between(0.0, TAU), draw.between(0.25, 0.75) * stage.reach_m
    shape = np.cumsum(draw.chance.normal(0.0, 25.0, 24))
    start = stage.own.at(0.0)

    def at(time_s: float) -> Sequence[PointTarget]:
        here = stage.own.at(time_s)
        gone = (here[0] - start[0], here[1] - start[1])
        out = []
        for k, rough in enumerate(shape):
            bearing = middle + math.radians(k - 12.0)
            nearer = gone[0] * math.sin(bearing) + gone[1] * math.cos(bearing)
            shown_m = range_m + float(rough) - nearer
            place = off(here, bearing, shown_m)
            # Drawn at a strength that shows plainly at any range: 15 m2 at half a mile.
            rcs_m2 = 15.0 * (shown_m / (0.5 * NAUTICAL_MILE_M)) ** 4
            out.append(PointTarget("second trace", *place, rcs_m2, 6.0, 1))
        return out

    return at


def _peak(stage: Stage, pictures: Pictures, place: tuple[float, float]) -> int:
    """Return the strongest count near a place in the last look."""
    east, north = place[0] - stage.here[0], place[1] - stage.here[1]
    grid = pictures.grid
    row = round((math.atan2(east, north) - stage.own.course_rad) % TAU / TAU * grid.n_spoke)
    cell = round((math.hypot(east, north) - grid.first_cell_m) / grid.cell_m)
    if not 3 <= cell < grid.n_cell - 3:
        return 0
    rows = np.arange(row - 2, row + 3) % grid.n_spoke
    return int(pictures.counts[-1][rows, cell - 3 : cell + 4].max())
