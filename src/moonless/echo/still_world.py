"""Two turns laid on one another by what stands still: how the reported place and heading went against it between them.

Echoes of a turn are laid down by what the receiver says of the place, and the compass of the bow.  Those of a later
turn fall on the same places, but for an error that the two have taken on meanwhile: a drift of the position moves them
all alike, one of the heading turns them all about the boat.  What moves by itself falls anywhere and has no voice.

Method: each echo is paired with the nearest of the other turn, and the shift and turn that bring the pairs together are
found by least squares with weights that fall with what is left, again and again (iterated closest point, Besl and McKay
1992, with the weights of Geman and McClure); where to begin is put to the vote over turns.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from moonless.constants import TAU
from moonless.echo.types import Plots
from moonless.frames import LocalFrame
from moonless.scan.types import Scan

Floats = NDArray[np.float64]

# How well an echo's middle is found again in range and across; twice as much and a few chance echoes outvote what
# stands (design/still_world.py).
RANGE_M, ACROSS_M, ACROSS_RAD = 5.0, 4.0, 0.008
# A pair so many times that far apart has no voice at all.
GATE2 = 30.0
# Turns looked for, and what each degree of one costs in the vote: most often there is none.
MOST_TURN_RAD, TURN_STEP_RAD, TURN_COST = math.radians(30.0), math.radians(1.0), 0.01
VOTE_M, VOTE_RAD, MOST_VOTES = 15.0, 0.01, 100
# No shift that a drift makes between two turns is much larger: what is is another fault's.
SHIFT_SIGMA_M = 50.0
STEPS = 12
# What chance pairs: the most that are paired when all is laid so far aside, to eight sides.  Farther than an echo is
# found again, nearer than the crowd about it changes.
ASIDE_M = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """The echoes of one turn, laid down as reported."""

    time_ns: int
    place_m: Floats  # (n, 2) east and north in ``frame``
    own_m: Floats  # (2,) the boat
    frame: LocalFrame


@dataclass(frozen=True, slots=True)
class Against:
    """How the reported pose went against the still world between two turns."""

    east_m: float  # the position's error, less what it was before
    north_m: float
    turned_rad: float  # the heading's, clockwise
    sigma_m: float  # of the shift, each way
    paired: float  # echoes that bear it out, as their weights add up
    share: float  # of all
    unmoved: float  # as ``paired``, of those that bear out no shift at all
    as_told: float  # as ``paired``, of those that bear out neither turn nor shift
    chance: float  # as ``paired``, the most of eight places aside where nothing can be borne out


def lay(scan: Scan, plots: Plots, frame: LocalFrame | None) -> Laid | None:
    """Return the echoes of a turn by the pose that ``scan`` has of each spoke; None where that is not known.

    ``frame``: the plane to lay them in; None: one at the boat.
    """
    row = np.rint((plots.azimuth_rel_rad - scan.azimuth_offset_rad) / (TAU / scan.n_spoke)).astype(np.intp)
    row %= scan.n_spoke
    lat, lon, heading = scan.lat_deg[row], scan.lon_deg[row], scan.heading_true_rad[row]
    known = np.isfinite(lat) & np.isfinite(lon) & np.isfinite(heading)
    if not known.any():
        return None
    lat, lon = lat[known], lon[known]
    frame = frame or LocalFrame(float(lat[0]), float(lon[0]))
    east, north = frame.to_plane(lat, lon)
    bearing, reach = plots.azimuth_rel_rad[known] + heading[known], plots.range_m[known]
    place = np.stack([east + reach * np.sin(bearing), north + reach * np.cos(bearing)], axis=1)
    return Laid(scan.end_ns, place, np.array([float(np.mean(east)), float(np.mean(north))]), frame)


def against(before: Laid, now: Laid, *, may_turn: bool = True) -> Against | None:
    """Return how the reported pose went against what stands still; None where too little stands.

    ``may_turn``: look for turns of many degrees too; without it only for what is near to none.
    """
    if len(before.place_m) < 3 or len(now.place_m) < 3:
        return None
    tree = cKDTree(before.place_m)
    away = now.place_m - now.own_m
    turn, shift = _first_turn(tree, now.own_m, away) if may_turn else 0.0, np.zeros(2)
    for _ in range(STEPS):
        left, slope, weight = _compared(tree, now.own_m, away, turn, shift)
        both = np.concatenate([weight, weight])
        normal = (slope * both[:, None]).T @ slope + np.diag([1e-6, SHIFT_SIGMA_M**-2, SHIFT_SIGMA_M**-2])
        step = np.linalg.solve(normal, (slope * both[:, None]).T @ left)
        turn, shift = turn + float(step[0]), shift + step[1:]
        if abs(step[0]) < 1e-5 and float(np.abs(step[1:]).max()) < 0.01:
            break
    sigma_m = math.sqrt(float(np.linalg.inv(normal)[1:, 1:].diagonal().max()))
    paired = float(weight.sum())
    unmoved = float(_compared(tree, now.own_m, away, turn, np.zeros(2))[2].sum())
    as_told = float(_compared(tree, now.own_m, away, 0.0, np.zeros(2))[2].sum())
    aside = [shift + ASIDE_M * np.array([math.sin(a), math.cos(a)]) for a in np.arange(8) * (TAU / 8)]
    chance = max(float(_compared(tree, now.own_m, away, turn, a)[2].sum()) for a in aside)
    east_m, north_m = float(shift[0]), float(shift[1])
    return Against(east_m, north_m, turn, sigma_m, paired, paired / len(away), unmoved, as_told, chance)


def _compared(tree: cKDTree, own_m: Floats, away: Floats, turn: float, shift: Floats) -> tuple[Floats, Floats, Floats]:
    """Return what is left of each pair (2 n,), its slope by turn and shift (2 n, 3), and each pair's weight (n,)."""
    laid = own_m + _turned(away, turn) - shift
    _, nearest = tree.query(laid)
    off = tree.data[nearest] - laid
    out = laid - own_m
    reach = np.maximum(np.hypot(out[:, 0], out[:, 1]), 1.0)
    along = out / reach[:, None]
    across = np.stack([along[:, 1], -along[:, 0]], axis=1)  # clockwise
    sigma = ACROSS_M + ACROSS_RAD * reach
    radial, sideways = np.sum(off * along, axis=1) / RANGE_M, np.sum(off * across, axis=1) / sigma
    left2 = radial**2 + sideways**2
    weight = np.where(left2 < GATE2, 1.0 / (1.0 + left2 / 4.0) ** 2, 0.0)
    slope = np.concatenate(
        [
            np.stack([np.zeros(len(off)), -along[:, 0], -along[:, 1]], axis=1) / RANGE_M,
            np.stack([-reach, -across[:, 0], -across[:, 1]], axis=1) / sigma[:, None],
        ]
    )
    return np.concatenate([radial, sideways]), slope, weight


def _turned(away: Floats, turn_rad: float) -> Floats:
    """Return places about the boat with a heading error (clockwise) taken out."""
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    return np.stack([c * away[:, 0] - s * away[:, 1], s * away[:, 0] + c * away[:, 1]], axis=1)


def _first_turn(tree: cKDTree, own_m: Floats, away: Floats) -> float:
    """Return the turn at which most echoes fall on others."""
    away = away[:: -(-len(away) // MOST_VOTES)]
    tolerance = VOTE_M + VOTE_RAD * np.hypot(away[:, 0], away[:, 1])
    turns = np.arange(-MOST_TURN_RAD, MOST_TURN_RAD + 1e-9, TURN_STEP_RAD)
    votes = []
    for turn in turns:
        distance, _ = tree.query(own_m + _turned(away, float(turn)))
        fits = float(np.exp(-0.5 * (distance / tolerance) ** 2).sum())
        votes.append(fits * (1.0 - TURN_COST * abs(math.degrees(turn))))
    return float(turns[int(np.argmax(votes))])
