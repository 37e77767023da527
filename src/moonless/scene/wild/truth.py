"""What a wild scene's turn truly holds: what is there, what could be detected, where false echoes lie, what is hidden.

Detectable by this drawer's own figures: the chance that the thing's fluctuating echo passes the power that noise and
clutter, by their own distributions, pass once in ten thousand cells, and that this receiver tells from it by a step.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import special

from moonless.scene.ground import SceneGround
from moonless.scene.truth import MarkTruth, ObjectTruth, Seen, near_land
from moonless.scene.wild import clutter, polar
from moonless.scene.wild.draw import Drawn, State
from moonless.scene.wild.polar import RadarView
from moonless.scene.wild.receiver import level, power_of_level, stc
from moonless.scene.wild.types import Receiver, Wild, WildThing

Floats = NDArray[np.float64]
PFA = 1e-4
# Slower than this over the ground, a thing is still to a reading: as in the other scenes.
STILL_MPS = 0.3
# A thing is one with the shore within so many beams and pulses of it, with another within a beam and so many pulses.
LAND_BEAMS, LAND_PULSES, PULSES = 0.75, 1.0, 1.5
# A false echo is looked for within this of its place, besides half a beam and a pulse.
FALSE_M = 40.0
# Side lobes of a strong thing show where they stand so far over the noise.
LOBE_OVER = 6.0
# Hidden water is told on every so many spokes and cells.
WATER_EVERY = (4, 2)
SMALL_M = 1.0  # height of the smallest thing cared about


@dataclass(frozen=True, slots=True)
class FalsePlace:
    """Where a false echo lies: true bearing and range from the antenna, and how far about."""

    kind: str
    bearing_rad: float
    range_m: float
    half_rad: float
    half_m: float


@dataclass(frozen=True, slots=True)
class WildWater:
    """Cells of the turn: where they lie, whether a small thing there is hidden by what stands before, whether wet."""

    east_m: NDArray[np.float32]
    north_m: NDArray[np.float32]
    range_m: NDArray[np.float32]
    is_hidden: NDArray[np.bool_]
    is_wet: NDArray[np.bool_]


def threshold_of(wild: Wild) -> tuple[float, float, float]:
    """Return how far over their own means noise, sea and rain pass once in ten thousand cells."""
    looks = wild.antenna.looks
    noise = float(special.gammainccinv(looks, PFA) / looks)
    sea = clutter.tail(wild.sea, looks, PFA) if wild.sea.kind != "none" else 0.0
    rough = max((one.rough for one in wild.rain), default=0.0)
    as_sea = type(wild.sea)(kind="lognormal", shape=max(rough, 0.05))
    rain = clutter.tail(as_sea, looks, PFA) if wild.rain else 0.0
    return noise, sea, rain


def chance(signal: float, background: float, threshold: float, fluctuation: str, looks: int) -> float:
    """Return the chance that signal and background pass a threshold, all as power."""
    need = threshold - background
    if need <= 0.0:
        return 1.0
    if fluctuation == "steady":
        # |s + n|^2 averaged over the looks is a noncentral chi-squared of twice as many degrees (elementary).
        scale = 2.0 * looks / background
        return float(1.0 - special.chndtr(threshold * scale, 2.0 * looks, signal * scale))
    if signal <= 0.0:
        return 0.0
    if fluctuation == "slow3":
        x = 2.0 * need / signal
        return float((1.0 + x) * math.exp(-x))
    return math.exp(-need / signal)


def told_apart(threshold: float, gain: float, receiver: Receiver) -> float:
    """Return the least power at or over a threshold that the receiver's steps tell from it: infinite when saturated.

    ``gain``: what the time-varied gain leaves, as power.
    """
    step = float(level(np.array([threshold * gain], dtype=np.float32), receiver)[0])
    return power_of_level(math.floor(step) + 1.0, receiver) / gain


def judge_turn(
    wild: Wild, ground: SceneGround, view: RadarView, state: State, drawn: Drawn, end: State
) -> tuple[tuple[ObjectTruth, ...], tuple[MarkTruth, ...], tuple[FalsePlace, ...], WildWater]:
    """Return the truth of one turn; places of things at its end."""
    seen = _seen(wild, view, state, drawn)
    by_name = {one.name: k for k, one in enumerate(wild.things)}
    objects = []
    charted = {mark.charted.name for mark in ground.marks}
    for k, thing in enumerate(wild.things):
        # A mark that no chart given to the program tells of is a thing like any other.
        if thing.mark is not None and thing.mark in charted:
            continue
        speed = math.hypot(end.velocity_east[k], end.velocity_north[k])
        objects.append(
            ObjectTruth(
                thing.name, thing.kind, "vessel" if speed > STILL_MPS or thing.ais is not None else "uncharted",
                float(end.east_m[k]), float(end.north_m[k]), float(end.velocity_east[k]), float(end.velocity_north[k]),
                float(end.heading_rad[k]), thing.length_m, None if thing.ais is None else thing.ais.mmsi, seen[k],
            )
        )  # fmt: skip
    marks = []
    here = {one.mark: by_name[one.name] for one in wild.things if one.mark is not None}
    for index, mark in enumerate(ground.marks):
        if mark.is_there:
            one = seen[here[mark.charted.name or ""]]
        else:
            one = _of_gone(wild, view, drawn, mark.east_m, mark.north_m)
        if one is not None:
            marks.append(MarkTruth(index, one))
    return tuple(objects), tuple(marks), _false_places(wild, view, state, drawn), _water(wild, view, drawn)


def _seen(wild: Wild, view: RadarView, state: State, drawn: Drawn) -> list[Seen | None]:
    antenna = wild.antenna
    m = len(wild.things)
    row = polar.when_crossed(view, state.east_m, state.north_m, (state.velocity_east, state.velocity_north))
    middle = len(view.time_s) // 2
    late = view.time_s[row] - view.time_s[middle]
    e = state.east_m + state.velocity_east * late - view.own_east_m[row]
    n = state.north_m + state.velocity_north * late - view.own_north_m[row]
    reach, bearing = np.hypot(e, n), np.mod(np.arctan2(e, n), 2.0 * math.pi)
    length = np.array([one.length_m for one in wild.things])
    cell_m = float(view.range_m[1] - view.range_m[0])
    # A hull's power is spread over the cells it spans, in range and across.
    span = np.maximum(1.0, 0.6 * length / np.maximum(antenna.pulse_m, cell_m))
    peak = drawn.mean_power / span
    own = (float(view.own_east_m[middle]), float(view.own_north_m[middle]))
    land = None if wild.land is None else wild.land.real
    if wild.land is not None and wild.land.bridges:
        land = shapely.union_all([land, *[shapely.LineString(list(one)).buffer(6.0) for one in wild.land.bridges]])
    on_shore = near_land(
        own, reach, bearing, land, LAND_BEAMS * antenna.beam_rad, LAND_PULSES * antenna.pulse_m
    ) if land is not None else np.zeros(m, dtype=bool)  # fmt: skip
    thresholds = threshold_of(wild)
    out: list[Seen | None] = []
    for k, thing in enumerate(wild.things):
        if reach[k] > view.range_m[-1] or drawn.mean_power[k] <= 0.0:
            out.append(None)
            continue
        off = np.abs(np.mod(bearing - bearing[k] + math.pi, 2.0 * math.pi) - math.pi)
        lobes = np.where(np.arange(m) == k, 0.0, peak * np.square(polar.beam_gain(off, antenna)))
        same_ring = np.abs(reach - reach[k]) < PULSES * antenna.pulse_m + 0.5 * length
        wide = antenna.beam_rad + 0.5 * length / np.maximum(reach, 1.0)
        close = (off < wide) & same_ring & (peak > peak[k])
        close[k] = False
        side = float(lobes[same_ring & (off >= wide)].sum())
        merged = "land" if on_shore[k] else None
        if merged is None and close.any():
            merged = wild.things[int(np.argmax(np.where(close, peak, 0.0)))].name
        cell = int(np.clip(round(float(reach[k] - view.range_m[0]) / cell_m), 0, view.shape[1] - 1))
        hidden = _is_hidden(wild, view, drawn, thing, int(row[k]), cell)
        p = _chance_at(wild, view, drawn, thresholds, int(row[k]), cell, float(peak[k]), side, thing)
        out.append(
            Seen(float(reach[k]), float(bearing[k]), p, 10.0 * math.log10(max(float(peak[k]), 1e-9)), hidden, merged)
        )
    return out


def _is_hidden(wild: Wild, view: RadarView, drawn: Drawn, thing: WildThing, row: int, cell: int) -> bool:
    """Return whether what stands before a thing hides its top; a hull's own wall does not count."""
    before = max(0, cell - math.ceil(0.6 * thing.length_m / float(view.range_m[0])) - 1)
    slope = float(polar.slope_of(np.array([thing.height_m]), np.array([view.range_m[cell]]), wild.antenna.height_m)[0])
    return bool(drawn.horizon[row, before] > slope) or _is_blind(wild, float(view.angle_rad[row]))


def _is_blind(wild: Wild, angle_rad: float) -> bool:
    return any(start <= angle_rad < stop for start, stop in wild.antenna.blind_rad)


def _chance_at(
    wild: Wild,
    view: RadarView,
    drawn: Drawn,
    thresholds: tuple[float, float, float],
    row: int,
    cell: int,
    signal: float,
    side: float,
    thing: WildThing | None,
) -> float:
    sea, rain = float(drawn.sea_mean[row, cell]), float(drawn.rain_mean[row, cell])
    land = float(drawn.land_mean[row, cell]) + float(drawn.ring[cell]) + side
    threshold = thresholds[0] * (1.0 + land) + thresholds[1] * sea + thresholds[2] * rain
    gain = float(stc(view.range_m[cell : cell + 1], wild.receiver)[0])
    least = told_apart(threshold, gain, wild.receiver)
    if math.isinf(least):
        return 0.0
    kind = "slow" if thing is None else thing.fluctuation
    return chance(signal, 1.0 + sea + rain + land, least, kind, wild.antenna.looks)


def _of_gone(wild: Wild, view: RadarView, drawn: Drawn, east_m: float, north_m: float) -> Seen | None:
    """Return what the radar would make of a charted mark that is not there: of the figures marks here have."""
    middle = len(view.time_s) // 2
    e, n = east_m - float(view.own_east_m[middle]), north_m - float(view.own_north_m[middle])
    reach, bearing = math.hypot(e, n), math.atan2(e, n) % (2.0 * math.pi)
    if reach > view.range_m[-1]:
        return None
    row = int(polar.when_crossed(view, np.array([east_m]), np.array([north_m]), (np.zeros(1), np.zeros(1)))[0])
    cell = int(np.clip(round((reach - float(view.range_m[0])) / float(view.range_m[0])), 0, view.shape[1] - 1))
    thing = WildThing("gone", "buoy", wild.scene.own, 5.0, 3.0)
    power = float(polar.echo_power(np.array([5.0]), np.array([3.0]), np.array([reach]), wild.antenna)[0])
    p = _chance_at(wild, view, drawn, threshold_of(wild), row, cell, power, 0.0, thing)
    land = None if wild.land is None else wild.land.real
    on_shore = land is not None and bool(
        near_land(
            (float(view.own_east_m[middle]), float(view.own_north_m[middle])), np.array([reach]), np.array([bearing]),
            land, LAND_BEAMS * wild.antenna.beam_rad, LAND_PULSES * wild.antenna.pulse_m,
        )[0]
    )  # fmt: skip
    hidden = _is_hidden(wild, view, drawn, thing, row, cell)
    return Seen(reach, bearing, p, 10.0 * math.log10(max(power, 1e-9)), hidden, "land" if on_shore else None)


def _false_places(wild: Wild, view: RadarView, state: State, drawn: Drawn) -> tuple[FalsePlace, ...]:
    antenna = wild.antenna
    half_m = FALSE_M + antenna.pulse_m
    out = [FalsePlace(one.kind, one.bearing_rad, one.range_m, antenna.beam_rad, half_m) for one in drawn.false]
    middle = len(view.time_s) // 2
    far = 10.0 ** (2.0 * antenna.lobe_far_db / 10.0)
    near = 10.0 ** (2.0 * antenna.lobe_near_db / 10.0)
    for k, thing in enumerate(wild.things):
        e = float(state.east_m[k] - view.own_east_m[middle])
        n = float(state.north_m[k] - view.own_north_m[middle])
        half = half_m + 0.5 * thing.length_m
        # A fluctuating echo is now and then four times its mean.
        if 4.0 * drawn.mean_power[k] * far > LOBE_OVER:
            out.append(FalsePlace("side lobe", math.atan2(e, n) % (2.0 * math.pi), math.hypot(e, n), math.pi, half))
        elif 4.0 * drawn.mean_power[k] * near > LOBE_OVER:
            wide = math.radians(12.0)
            out.append(FalsePlace("side lobe", math.atan2(e, n) % (2.0 * math.pi), math.hypot(e, n), wide, half))
    cell_m = float(view.range_m[0])
    for cell in np.flatnonzero(drawn.ring > 0.3 * LOBE_OVER):
        out.append(FalsePlace("side lobe", 0.0, float(view.range_m[cell]), math.pi, cell_m + antenna.pulse_m))
    return tuple(out)


def _water(wild: Wild, view: RadarView, drawn: Drawn) -> WildWater:
    rows, cells = slice(None, None, WATER_EVERY[0]), slice(None, None, WATER_EVERY[1])
    slope = polar.slope_of(SMALL_M, view.range_m[cells], wild.antenna.height_m)
    hidden = drawn.horizon[rows, cells] > slope[None, :]
    e, n = view.east_m[rows, cells], view.north_m[rows, cells]
    wet = ~drawn.is_land[rows, cells]
    ranges = np.broadcast_to(view.range_m[cells].astype(np.float32)[None, :], hidden.shape)
    return WildWater(e, n, ranges, hidden, wet)
