"""What radars do wrong: ghosts, other radars' pulses, beacons that answer.

Side lobes, saturation, the blind sector and the shortest range are part of every scan and live elsewhere.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.constants import SPEED_OF_LIGHT_MPS, TAU
from moonless.radar.mean import MeanEcho
from moonless.radar.points import PointEchoes
from moonless.radar.types import RadarPose
from moonless.radar.world import World

Floats = NDArray[np.float64]

# SART after ITU-R M.628 as SN/Circ.197 describes it: 12 sweeps, each a slow one of 7.5 us and a fast one of 0.4 us.
SART_SWEEPS = 12
SART_SLOW_S = 7.5e-6
SART_FAST_S = 0.4e-6
SART_SPACING_M = (SART_SLOW_S + SART_FAST_S) * SPEED_OF_LIGHT_MPS / 2.0


@dataclass(frozen=True, slots=True)
class Sart:
    """A search and rescue transponder at a place of the frame."""

    east_m: float
    north_m: float
    height_m: float = 1.0


@dataclass(frozen=True, slots=True)
class Mishaps:
    """What goes wrong, or answers, this turn.  Off unless asked for."""

    other_radars: int = 0  # whose pulses are heard
    indirect_db: float | None = None  # two-way loss of a reflection off the own mast (negative); None: no mast
    mast_rel_rad: float = math.pi  # where the mast stands, from the bow
    bridge_db: float | None = None  # two-way loss of a reflection off a bridge (negative); None: bridges do not mirror
    multiple_db: float | None = None  # a strong near vessel echoes again at twice the range; loss of the second trip
    second_trace: bool = True  # what lies beyond the pulse interval is shown too near
    cables: bool = True
    racons: bool = True
    sarts: tuple[Sart, ...] = ()
    roll_rad: float = 0.0  # to starboard
    pitch_rad: float = 0.0  # bow up


@dataclass(frozen=True, slots=True, eq=False)
class Extras:
    """Additional points (columns as in PointEchoes) and power to lay over the scan."""

    spoke: Floats
    cell: Floats
    snr: Floats
    swerling: NDArray[np.int64]
    power: NDArray[np.float32]  # (n_spoke, n_cell), or (0, 0)
    has_power: NDArray[np.bool_]  # (n_spoke,)


def add_extras(
    world: World,
    mean: MeanEcho,
    echoes: PointEchoes,
    pose: RadarPose,
    mishaps: Mishaps | None,
    rng: np.random.Generator,
) -> Extras:
    """Return what this turn has beside the plain echoes."""
    grid = mean.grid
    has_power = np.zeros(grid.n_spoke, dtype=np.bool_)
    if mishaps is None:
        none = np.zeros(0)
        return Extras(none, none, none, np.zeros(0, np.int64), np.zeros((0, 0), np.float32), has_power)
    points: list[tuple[Floats, Floats, Floats]] = []
    if mishaps.indirect_db is not None:
        points.append(indirect(mean, echoes, mishaps.mast_rel_rad, mishaps.indirect_db))
    if mishaps.bridge_db is not None:
        points.append(bridge_images(world, mean, echoes, pose, mishaps.bridge_db))
    if mishaps.multiple_db is not None:
        points.append(multiple(mean, echoes, mishaps.multiple_db))
    if mishaps.second_trace:
        points.append(second_trace(mean, echoes))
    if mishaps.cables:
        points.append(cable_echoes(world, mean, pose))
    for sart in mishaps.sarts:
        points.append(sart_dots(mean, pose, sart))
    spoke, cell, snr = (np.concatenate([p[k] for p in points]) if points else np.zeros(0) for k in range(3))
    power = np.zeros((0, 0), np.float32)
    if mishaps.other_radars or mishaps.racons:
        power = np.zeros((grid.n_spoke, grid.n_cell), np.float32)
        for _ in range(mishaps.other_radars):
            interference(power, has_power, mean, rng)
        if mishaps.racons:
            racons(world, mean, echoes, power, has_power)
    return Extras(spoke, cell, snr, np.zeros(len(spoke), np.int64), power, has_power)


def tilt_gain(mean: MeanEcho, mishaps: Mishaps | None) -> Floats | None:
    """Return (n_spoke,) the two-way share left when roll and pitch tilt the beam off the water; None: on an even keel.

    The beam is Gaussian in height and everything at sea lies near the horizon.
    """
    if mishaps is None or (mishaps.roll_rad == 0.0 and mishaps.pitch_rad == 0.0):
        return None
    azimuth = np.arange(mean.grid.n_spoke) * (TAU / mean.grid.n_spoke)
    tilt = mishaps.pitch_rad * np.cos(azimuth) - mishaps.roll_rad * np.sin(azimuth)
    share = (tilt / mean.link.radar.beam_vertical_rad) ** 2
    return np.asarray(np.exp(-8.0 * math.log(2.0) * share), dtype=np.float64)


def indirect(mean: MeanEcho, echoes: PointEchoes, mast_rel_rad: float, loss_db: float) -> tuple[Floats, Floats, Floats]:
    """Return false echoes of strong things, at their own range but in the direction of the mast that reflects."""
    strong = echoes.snr > 1e4
    n = int(strong.sum())
    spoke = np.full(n, (mast_rel_rad % TAU) / TAU * mean.grid.n_spoke)
    return spoke, echoes.cell[strong], echoes.snr[strong] * 10.0 ** (loss_db / 10.0)


# Parts of a bridge shorter than this are no mirror.
_MIRROR_M = 15.0


def bridge_images(
    world: World, mean: MeanEcho, echoes: PointEchoes, pose: RadarPose, loss_db: float
) -> tuple[Floats, Floats, Floats]:
    """Return the mirror images of strong things in the faces of bridges: beyond the bridge, as far behind as before.

    The ray goes to the bridge, to the thing and back the same way; it is drawn in the bridge's direction at the whole
    length of the path.  A thing beyond the bridge has no image, nor one whose image lies off the end of the face.
    """
    walls = world.walls
    edges = walls.edges
    long = np.hypot(edges.east2 - edges.east1, edges.north2 - edges.north1) >= _MIRROR_M
    near = edges.near(pose.east_m, pose.north_m, 5000.0)
    faces = np.flatnonzero(~walls.blocks & (walls.bottom_m > 1.0) & long & near)
    strong = np.flatnonzero(echoes.snr > 1e4)
    bearing = echoes.azimuth_rel_rad[strong] + pose.heading_rad
    east, north = echoes.range_m[strong] * np.sin(bearing), echoes.range_m[strong] * np.cos(bearing)
    none = np.zeros(0)
    spokes, cells, powers = [none], [none], [none]
    for face in faces:
        a = np.array([edges.east1[face] - pose.east_m, edges.north1[face] - pose.north_m])
        along = np.array([edges.east2[face] - edges.east1[face], edges.north2[face] - edges.north1[face]])
        length = float(np.hypot(*along))
        normal = np.array([-along[1], along[0]]) / length
        ours = float(-a @ normal)
        theirs = (east - a[0]) * normal[0] + (north - a[1]) * normal[1]
        image_e, image_n = east - 2.0 * theirs * normal[0], north - 2.0 * theirs * normal[1]
        # Where the straight line to the image pierces the face, as a distance along it times its length.
        with np.errstate(divide="ignore", invalid="ignore"):
            share = ours / (ours + theirs)
            at = (share * image_e - a[0]) * along[0] + (share * image_n - a[1]) * along[1]
        met = (theirs * ours > 0.0) & (at >= 0.0) & (at <= length**2)
        path_m = np.hypot(image_e, image_n)[met]
        spokes.append(np.mod(np.arctan2(image_e, image_n)[met] - pose.heading_rad, TAU) * (mean.grid.n_spoke / TAU))
        cells.append((path_m - mean.grid.first_cell_m) / mean.grid.cell_m)
        # Spread over the longer way, there and back.
        powers.append(echoes.snr[strong][met] * (echoes.range_m[strong][met] / path_m) ** 4 * 10.0 ** (loss_db / 10.0))
    return np.concatenate(spokes), np.concatenate(cells), np.concatenate(powers)


def multiple(mean: MeanEcho, echoes: PointEchoes, loss_db: float) -> tuple[Floats, Floats, Floats]:
    """Return echoes that went to and fro twice: the same bearing, twice the range, of strong things within a mile."""
    strong = (echoes.snr > 1e5) & (echoes.range_m < 1852.0)
    twice = (2.0 * echoes.range_m[strong] - mean.grid.first_cell_m) / mean.grid.cell_m
    return echoes.spoke[strong], twice, echoes.snr[strong] * 10.0 ** (loss_db / 10.0)


def second_trace(mean: MeanEcho, echoes: PointEchoes) -> tuple[Floats, Floats, Floats]:
    """Return things beyond the pulse interval, shown by that much too near.

    Their strength is scaled from free space at the true range: no finer account is kept of what lies beyond the scan.
    """
    interval_m = SPEED_OF_LIGHT_MPS / (2.0 * mean.link.pulse.prf_hz)
    far = echoes.range_m > interval_m
    cell = (echoes.range_m[far] - interval_m - mean.grid.first_cell_m) / mean.grid.cell_m
    snr = mean.link.snr_at_1m * 1e4 / echoes.range_m[far] ** 4
    return echoes.spoke[far], cell, snr


def cable_echoes(world: World, mean: MeanEcho, pose: RadarPose) -> tuple[Floats, Floats, Floats]:
    """Return the one bright point an overhead cable shows: where the ray meets it at right angles.

    A taut wire is a mirror for everything but the square ray.  Cross-section 30 m2 (from memory, order of magnitude).
    """
    spokes, cells, powers = [], [], []
    here = np.array([pose.east_m, pose.north_m])
    for line in world.cables:
        for start, end in itertools.pairwise(line):
            along = end - start
            length = float(np.hypot(*along))
            if length < 1.0:
                continue
            share = float(np.dot(here - start, along)) / length**2
            if not 0.0 <= share <= 1.0:
                continue
            east, north = start + share * along - here
            range_m = math.hypot(east, north)
            if range_m < mean.link.radar.min_range_m or range_m > mean.grid.max_range_m:
                continue
            azimuth = (math.atan2(east, north) - pose.heading_rad) % TAU
            spokes.append(azimuth / TAU * mean.grid.n_spoke)
            cells.append((range_m - mean.grid.first_cell_m) / mean.grid.cell_m)
            powers.append(mean.link.snr_at_1m * 30.0 / range_m**4)
    return np.array(spokes), np.array(cells), np.array(powers)


def sart_dots(mean: MeanEcho, pose: RadarPose, sart: Sart) -> tuple[Floats, Floats, Floats]:
    """Return the twelve dots of a SART, outward from it, and within a mile the fast sweeps between them.

    Free space over the one way that the radar's pulse is not needed for: 0.4 W at the transponder.
    """
    east, north = sart.east_m - pose.east_m, sart.north_m - pose.north_m
    range_m = max(math.hypot(east, north), 10.0)
    azimuth = (math.atan2(east, north) - pose.heading_rad) % TAU
    radar, link = mean.link.radar, mean.link
    # One way: P G lambda^2 / ((4 pi)^2 R^2), against the two-way budget's P G^2 lambda^2 sigma / ((4 pi)^3 R^4).
    gain = 10.0 ** (radar.gain_db / 10.0)
    snr = link.snr_at_1m * (0.4 / radar.peak_power_w) / gain * 4.0 * math.pi / range_m**2
    n = np.arange(SART_SWEEPS)
    slow = range_m + n * SART_SPACING_M
    fast = slow + SART_SPACING_M * SART_SLOW_S / (SART_SLOW_S + SART_FAST_S)
    dots = np.concatenate([slow, fast]) if range_m < 1852.0 else slow
    cell = (dots - mean.grid.first_cell_m) / mean.grid.cell_m
    spoke = np.full(len(dots), azimuth / TAU * mean.grid.n_spoke)
    return spoke, np.asarray(cell, dtype=np.float64), np.full(len(dots), snr)


def racons(
    world: World, mean: MeanEcho, echoes: PointEchoes, power: NDArray[np.float32], has_power: NDArray[np.bool_]
) -> None:
    """Lay the answer of each charted racon behind its mark: its letter in dots and dashes.

    A dash is three dots and a gap one, after ITU-R M.824; the answer fills up to 2 NM behind the mark.  Its strength is
    a steady 30 dB over noise, as a beacon that answers at its own power does (from memory).
    """
    grid = mean.grid
    for index, mark in enumerate(world.marks):
        if not mark.has_racon:
            continue
        letter = str(mark.attributes.get("SIGGRP", "") or "").strip("()").upper()[:1] or "K"
        shape = _MORSE.get(letter, "-.-")
        mine = np.flatnonzero(echoes.target == index)
        if not mine.size or echoes.snr[mine[0]] < 1.0:
            continue
        units = sum(3 if c == "-" else 1 for c in shape) + len(shape) - 1
        unit_m = min(2.0 * 1852.0, 0.25 * grid.max_range_m) / units
        at = float(echoes.range_m[mine[0]]) + 100.0
        centre = round(float(echoes.spoke[mine[0]]))
        half = max(1, round(mean.beam_spokes / 2.0))
        for c in shape:
            width = unit_m * (3 if c == "-" else 1)
            j0, j1 = (int((at + w - grid.first_cell_m) / grid.cell_m) for w in (0.0, width))
            for k in range(-half, half + 1):
                i = (centre + k) % grid.n_spoke
                power[i, max(j0, 0) : max(j1, 0)] += 1000.0
                has_power[i] = True
            at += width + unit_m


def interference(
    power: NDArray[np.float32], has_power: NDArray[np.bool_], mean: MeanEcho, rng: np.random.Generator
) -> None:
    """Lay another radar's pulses over the scan: short bright dashes on curved lines, as its rate beats with ours."""
    grid = mean.grid
    theirs_hz = mean.link.pulse.prf_hz * float(rng.uniform(0.6, 1.5))
    window_s = 2.0 * grid.max_range_m / SPEED_OF_LIGHT_MPS
    spoke_s = mean.link.turn_s / grid.n_spoke
    start = float(rng.uniform(0.0, 1.0 / theirs_hz))
    # Every pulse of ours that makes up a spoke listens; one that hears is averaged with those that do not.
    n_pulse = max(1, round(mean.link.pulses_per_spoke(grid.n_spoke)))
    heard = rng.random((grid.n_spoke, n_pulse)) < 0.35
    level = 10.0 ** float(rng.uniform(2.0, 4.0))
    long = max(1, round(mean.link.pulse_m / grid.cell_m))
    for i, pulse in np.argwhere(heard):
        delay = (start - i * spoke_s - pulse / mean.link.pulse.prf_hz) % (1.0 / theirs_hz)
        while delay < window_s:
            j = int((delay * SPEED_OF_LIGHT_MPS / 2.0 - grid.first_cell_m) / grid.cell_m)
            if j >= 0:
                power[i, j : j + long] += level / n_pulse
                has_power[i] = True
            delay += 1.0 / theirs_hz


_MORSE = {
    "A": ".-", "B": "-...", "C": "-.-.", "D": "-..", "E": ".", "F": "..-.", "G": "--.", "H": "....", "I": "..",
    "J": ".---", "K": "-.-", "L": ".-..", "M": "--", "N": "-.", "O": "---", "P": ".--.", "Q": "--.-", "R": ".-.",
    "S": "...", "T": "-", "U": "..-", "V": "...-", "W": ".--", "X": "-..-", "Y": "-.--", "Z": "--..",
}  # fmt: skip
