"""Ghosts: echoes that are not where they seem, by what must throw them.

One that went to and fro twice between the boat and something large lies at twice its range, on its bearing (three
times: thrice).  It keeps to its parent's bearing and moves over the picture twice as fast.  One that went out and back
by a long hull's side lies on her bearing, behind her by as much as the thing is away from her, and moves as both do.
One off the own mast keeps to one bearing from the bow, at the range of the thing, so that it seems to run along.  One
of the pulse before lies a pulse interval farther off than it seems, so that its bearing keeps and it seems to run
beside the boat.  A side-lobe echo lies at the range of something very strong, on any bearing, and is weaker by what the
lobes are weaker than the beam, there and back.  Held against where each strong echo would throw one, their densities
stand beside those of the real things.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import RadarSet
from moonless.reading.own import OwnPlane
from moonless.track.types import Track

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Only what is this strong over receiver noise, and this large in dB over 1 m2, comes back twice: a ship's side, not a
# buoy.  The second trip is weaker by so much; own figures, from the fourth power: sixteen times, 12 dB, before anything
# is lost at the boat's own side.
FROM_DB, FROM_RCS_DB, WEAKER_DB = 35.0, 18.0, 10.0
# Where no scale is learnt, levels are no decibels: a hull so long is large, and a ghost only stands no higher than her.
LONG_PARENT_M = 30.0
PIECE_M = 40.0
# Only a hull this long throws what it is lit by on to others, and not past this; a small one hides nothing of the sort.
MIRROR_M, MIRROR_REACH_M, LIT_M = 35.0, 2500.0, 20.0
# What is shorter answers little on a second way round: it must stand so much higher over its ghost.  Own figure.
SMALL_DB = 15.0
# How often a thing has such a ghost that shows.  Where neither levels nor a motion rule a pair out, of more hulls and
# things than these some pair fits any place, and no more ghosts are to be expected in all.  Own figures.
MIRROR_SHOWS, MIRROR_HULLS, MIRROR_THINGS = 0.05, 2, 4
# What the own mast throws is told only by a motion over the ground: from this speed of it on.  How often a
# thing has such a ghost, and how much oftener where another on the same bearing from the bow has one; own figures.
MAST_SPEED, MAST_SHOWS, MAST_COMPANY, MAST_RANGE_M = 1.0, 0.05, 30.0, 25.0
# How many still things heard one pulse late are to be expected per square metre, how much oftener where one is proven
# by the boat's own turn, and from which log odds on it is; own figures.
LATE_PER_M2, LATE_COMPANY, LATE_PROVEN = 1e-8, 20.0, 5.0
# How often such an echo has a second one that shows, and a third; own figures, no source.
TRIPS_SHOW = ((2.0, 0.1), (3.0, 0.05))
# Nearer than this something lies at every range, wash and ringing among it: a range tells of no parent.
MAST_FROM_M = 100.0
# What the own mast throws seems no longer than this share of its parent, or than the beam makes of a small thing; and,
# where it is plainly weaker, as wide as what reflects aboard is to the antenna: a few decimetres at a few metres.  What
# came by way of a hull or twice to and fro, where levels do not say which is the weaker, no longer than its parent.
GHOST_OF_LENGTH, SHORT_M, MAST_WIDE_RAD = 0.5, 20.0, math.radians(2.0)
# Where on both hulls the echo is thrown back, one sigma.
HULLS_M, HULL_SHARE = 8.0, 0.25
# Speeds of what moves by itself, one sigma each axis, and how well a doubled motion is kept; own figures.
OWN_WAY, DOUBLED_SIGMA = 4.0, 0.8
MOTION_CAP = (0.02, 20.0)


# How many side-lobe echoes of strong things to expect per square metre, and how well their level is foretold; own
# figures.
LOBES_PER_M2, LOBE_SIGMA_DB = 2e-6, 6.0


def side_lobes(level_db: Floats | None, ring_db: Floats | None, radar: RadarSet) -> Floats:
    """Return (n,) per square metre, how many side-lobe echoes as strong as each are to be expected at its range.

    ``level_db`` of each, ``ring_db`` of the strongest thing at its range on any bearing; both over noise.
    """
    if level_db is None or ring_db is None:
        return np.zeros(0 if level_db is None else len(level_db))
    off = [level_db - ring_db - 2.0 * lobe for lobe in (radar.side_lobe_near_db, radar.side_lobe_far_db)]
    match = np.max([np.exp(-0.5 * (one / LOBE_SIGMA_DB) ** 2) for one in off], axis=0)
    return np.asarray(LOBES_PER_M2 * match)


def second_traces(late_log_odds: Floats | None, n: int) -> Floats:
    """Return (n,) per square metre, how many things heard one pulse late are to be expected that go as each does.

    ``late_log_odds`` (n,): of its way against a vessel's; None: the pulse interval is not known.
    """
    if late_log_odds is None:
        return np.zeros(n)
    proven = late_log_odds >= LATE_PROVEN
    company = np.where(np.count_nonzero(proven) - proven > 0, LATE_COMPANY, 1.0)
    return np.asarray(np.where(late_log_odds > 0.0, LATE_PER_M2 * company * np.exp(late_log_odds), 0.0))


def multiples(
    tracks: tuple[Track, ...],
    rel: Floats,
    covariance: Floats,
    own: OwnPlane,
    level_db: Floats | None,
    rcs_db: Floats,
    clipped: Mask | None = None,
    p_moving: Floats | None = None,
) -> Floats:
    """Return (n,) per square metre, how many such ghosts are to be expected where each echo lies and as it moves.

    ``rel`` (n, 2): places from the boat; ``covariance`` (n, 2, 2) of each; ``rcs_db`` (n,): NaN where not known;
    ``clipped`` (n,): whose level is the top of the scale, and may be any higher; ``p_moving`` (n,): that each moves
    over the ground, None: as the tracker has it.
    """
    n = len(tracks)
    out = np.zeros(n)
    if level_db is None or n < 2:
        return out
    length, moves = _lengths(tracks), _moving(tracks, p_moving)
    large = (level_db > FROM_DB) & (rcs_db > FROM_RCS_DB)
    unscaled = ~np.isfinite(rcs_db)
    # Without a scale it is large that is long, or stands at the top of the scale.
    large |= unscaled & ((length > LONG_PARENT_M) | (False if clipped is None else clipped))
    parents = np.flatnonzero(large & np.array([t.state != "tentative" for t in tracks]))
    if not parents.size:
        return out
    # Of a long hull any piece may be the one that is tracked, and the ghost is thrown by her middle.
    piece = np.where(length[parents] >= LONG_PARENT_M, PIECE_M, 0.0)
    room = HULLS_M**2 + (HULL_SHARE * length[parents] + piece) ** 2
    weaker = level_db[:, None] <= (_at_most(level_db, clipped) - np.where(unscaled, 0.0, WEAKER_DB))[None, parents]
    weaker |= np.isnan(level_db)[:, None]
    weaker &= ~unscaled[:, None] | (length[:, None] <= length[None, parents] + SHORT_M)
    for trips, shows in TRIPS_SHOW:
        gap = rel[:, None, :] - trips * rel[None, parents, :]
        spread = (
            covariance[:, None, :, :]
            + trips**2 * covariance[None, parents, :, :]
            + room[None, :, None, None] * np.eye(2)
        )
        # Most pairs lie far apart: only those that could be are worked out.
        near = np.sum(gap**2, axis=-1) < 9.0 * np.trace(spread, axis1=2, axis2=3)
        for i, k in zip(*np.nonzero(near & weaker), strict=True):
            parent = tracks[int(parents[k])]
            moved = (
                trips * parent.velocity_east - (trips - 1.0) * own.velocity[0],
                trips * parent.velocity_north - (trips - 1.0) * own.velocity[1],
            )
            noise = trips**2 * float(np.trace(parent.covariance[2:, 2:])) / 2.0
            as_moved = _moves_as(tracks[i], moves[i], moved, noise, not unscaled[i])
            out[i] += shows * _density(gap[i, k], spread[i, k]) * as_moved
    return out


def mirrored(
    tracks: tuple[Track, ...],
    rel: Floats,
    covariance: Floats,
    own: OwnPlane,
    level_db: Floats | None,
    beam_rad: float,
    is_scaled: bool = True,
    clipped: Mask | None = None,
    p_moving: Floats | None = None,
) -> Floats:
    """Return (n,) per square metre, how many echoes off the side of a long hull are to be expected where each lies.

    The way is from the boat to the hull, on to the thing and back the same way: the ghost lies on the hull's bearing at
    her range and the distance from her to the thing together.  ``rel`` (n, 2), ``covariance`` (n, 2, 2) as above.
    ``is_scaled``: levels are decibels; ``clipped``, ``p_moving`` as above.  Source: path lengths, elementary.
    """
    n = len(tracks)
    out = np.zeros(n)
    if level_db is None or n < 3:
        return out
    firm = np.array([t.state != "tentative" and t.false_parent is None for t in tracks])
    length, moves = _lengths(tracks), _moving(tracks, p_moving)
    hulls = np.flatnonzero(firm & (length >= MIRROR_M))
    if not hulls.size:
        return out
    velocity = np.array([(t.velocity_east, t.velocity_north) for t in tracks]) - np.array(own.velocity)
    noise = np.array([float(np.trace(t.covariance[2:, 2:])) / 2.0 for t in tracks])
    lit = length >= LIT_M
    things = np.flatnonzero(firm & (lit | is_scaled))
    crowded = min(1.0, MIRROR_HULLS / hulls.size) * min(1.0, MIRROR_THINGS / max(things.size, 1))
    # A small thing must be much stronger than its ghost.
    more = np.where(lit, 0.0, SMALL_DB)
    less = 0.5 * WEAKER_DB if is_scaled else -1e-9
    top_db = _at_most(level_db, clipped)
    spread = np.trace(covariance, axis1=1, axis2=2) / 2.0
    reach = np.hypot(rel[:, 0], rel[:, 1])
    for q in hulls:
        away = max(float(reach[q]), 1.0)
        unit = rel[q] / away
        side = np.array([unit[1], -unit[0]])
        # Only what lies behind her, within the beam and her own breadth to the eye, can be one.
        breadth = 0.3 * beam_rad + 0.3 * length[q] / away
        behind = np.flatnonzero((rel @ unit > away) & (np.abs(rel @ side) < 3.0 * (breadth * reach + np.sqrt(spread))))
        behind = behind[behind != q]
        others = things[things != q]
        apart = np.hypot(*(rel[others] - rel[q]).T)
        others = others[(apart > MIRROR_M) & (apart < MIRROR_REACH_M)]
        if not others.size or not behind.size:
            continue
        now = _by_way_of(rel[q], rel[others])
        soon = _by_way_of(rel[q] + velocity[q], rel[others] + velocity[others])
        # Along the bearing by both hulls' own errors, across it by the beam and the hull's own breadth.
        gap = rel[behind, None, :] - now[None, :, :]
        var_along = spread[behind, None] + spread[None, others] + 2.0 * HULLS_M**2 + (HULL_SHARE * length[q]) ** 2
        var_across = spread[behind, None] + (breadth * np.hypot(now[:, 0], now[:, 1]))[None, :] ** 2
        squared = (gap @ unit) ** 2 / var_along + (gap @ side) ** 2 / var_across
        weaker = level_db[behind, None] < np.minimum(top_db[others][None, :] - more[others][None, :], top_db[q]) - less
        weaker |= np.isnan(level_db[behind])[:, None]
        if not is_scaled:
            weaker &= length[behind, None] <= length[None, others] + SHORT_M
        for row, k in zip(*np.nonzero((squared < 9.0) & weaker), strict=True):
            i = int(behind[row])
            if i == others[k] or tracks[i].ais is not None:
                continue
            moved = soon[k] - now[k] + np.array(own.velocity)
            shared = float(noise[others[k]] + 2.0 * noise[q])
            place = math.exp(-0.5 * float(squared[row, k])) / (
                2.0 * math.pi * math.sqrt(float(var_along[row, k] * var_across[row, k]))
            )
            as_moved = _moves_as(tracks[i], moves[i], (float(moved[0]), float(moved[1])), shared, is_scaled)
            lies = not is_scaled and float(np.hypot(*moved)) < MAST_SPEED
            out[i] += MIRROR_SHOWS * (crowded if lies else 1.0) * place * as_moved
    return out


def off_own_mast(
    tracks: tuple[Track, ...],
    rel: Floats,
    covariance: Floats,
    own: OwnPlane,
    level_db: Floats | None,
    beam_rad: float,
    clipped: Mask | None = None,
    p_moving: Floats | None = None,
) -> Floats:
    """Return (n,) per square metre, how many echoes off the own mast are to be expected where each lies and moves.

    It lies at the range of a thing no weaker, on a bearing from the bow that stays: its velocity is the boat's own and
    that range's change along its bearing.  ``rel`` (n, 2), ``covariance`` (n, 2, 2) as above.  A vessel that runs in
    company does the same, but seldom at the range of something else.  Source: elementary.
    """
    n = len(tracks)
    out = np.zeros(n)
    if level_db is None or n < 2:
        return out
    reach = np.maximum(np.hypot(rel[:, 0], rel[:, 1]), 1.0)
    unit = rel / reach[:, None]
    velocity = np.array([(t.velocity_east, t.velocity_north) for t in tracks]) - np.array(own.velocity)
    closing = np.sum(velocity * unit, axis=1)
    firm = np.array([t.state == "confirmed" for t in tracks])
    moving = np.array([t.p_moving > 0.5 and t.ais is None for t in tracks]) & (reach >= MAST_FROM_M)
    along = np.einsum("ni,nij,nj->n", unit, covariance, unit)
    bearing = np.arctan2(rel[:, 0], rel[:, 1])
    turn = np.abs(np.mod(bearing[:, None] - bearing[None, :] + math.pi, math.tau) - math.pi)
    partner, length, moves = np.full(n, -1), _lengths(tracks), _moving(tracks, p_moving)
    for i in np.flatnonzero(moving):
        variance = along[i] + along + MAST_RANGE_M**2
        off2 = (reach[i] - reach) ** 2 / variance
        stronger = (_at_most(level_db, clipped) >= level_db[i]) | np.isnan(level_db[i])
        plainly = level_db > level_db[i]
        # A ghost is a picture of its parent, and a weaker one: no longer than she is.
        larger = length[i] <= GHOST_OF_LENGTH * length + SHORT_M + np.where(plainly, MAST_WIDE_RAD * reach[i], 0.0)
        fits = np.flatnonzero(firm & (off2 < 6.0) & (turn[i] > 3.0 * beam_rad) & stronger & larger)
        for j in fits:
            moved = np.array(own.velocity) + closing[j] * unit[i]
            if float(np.hypot(*moved)) < MAST_SPEED:
                continue
            place = math.exp(-0.5 * off2[j]) / (math.sqrt(2.0 * math.pi * variance[j]) * 2.0 * math.pi * reach[i])
            noise = float(np.trace(tracks[j].covariance[2:, 2:])) / 2.0
            as_moved = _moves_as(tracks[i], moves[i], (float(moved[0]), float(moved[1])), noise)
            density = MAST_SHOWS * place * as_moved
            if density > out[i]:
                out[i], partner[i] = density, j
    held = np.flatnonzero(partner >= 0)
    for i in held:
        same = held[(turn[i, held] < 1.5 * beam_rad) & (partner[held] != partner[i]) & (held != i)]
        if same.size:
            out[i] *= MAST_COMPANY
    return out


def _at_most(level_db: Floats, clipped: Mask | None) -> Floats:
    """Return (n,) how strong each may be: any, at the top of the scale or where it was not seen."""
    at_top = np.isnan(level_db) if clipped is None else np.isnan(level_db) | clipped
    return np.where(at_top, np.inf, level_db)


def _lengths(tracks: tuple[Track, ...]) -> Floats:
    """Return (n,) how long each is, as it shows or as AIS tells, whichever is more; 0: neither says."""
    told = [0.0 if t.ais is None or t.ais.length_m is None else t.ais.length_m for t in tracks]
    return np.maximum([t.length_m or 0.0 for t in tracks], told)


def _moving(tracks: tuple[Track, ...], p_moving: Floats | None) -> Floats:
    """Return (n,) that each moves over the ground; by the tracker where nobody says more."""
    return np.array([t.p_moving for t in tracks]) if p_moving is None else p_moving


def _by_way_of(hull: Floats, things: Floats) -> Floats:
    """Return (k, 2) where the ghosts of ``things`` (k, 2) off a hull (2,) lie, from the boat."""
    away = max(float(np.hypot(*hull)), 1e-6)
    reach = away + np.hypot(*(things - hull).T)
    return np.asarray(reach[:, None] * hull[None, :] / away)


def _density(gap: Floats, spread: Floats) -> float:
    """Return the normal density per square metre of a gap (2,) with covariance (2, 2)."""
    squared = float(gap @ np.linalg.solve(spread, gap))
    return math.exp(-0.5 * squared) / (2.0 * math.pi * math.sqrt(float(np.linalg.det(spread))))


def _moves_as(
    track: Track, p_moving: float, velocity: tuple[float, float], noise: float, is_scaled: bool = True
) -> float:
    """Return how much better a foretold velocity explains a track's than its own would: any, or none at all.

    ``p_moving``: that it moves over the ground, which the kinds of real things are weighed by too: what lies still is
    no better explained by a ghost that is to lie still, but for its level, where levels are decibels.  ``noise``:
    variance of what is foretold, each axis.
    """
    off_e, off_n = track.velocity_east - velocity[0], track.velocity_north - velocity[1]
    own_noise = float(np.trace(track.covariance[2:, 2:])) / 2.0
    ghost, free = DOUBLED_SIGMA**2 + noise + own_noise, OWN_WAY**2 + noise + own_noise
    ratio = free / ghost * math.exp(-0.5 * (off_e**2 + off_n**2) / ghost + 0.5 * track.speed**2 / free)
    stays = math.exp(-0.5 * (velocity[0] ** 2 + velocity[1] ** 2) / (DOUBLED_SIGMA**2 + noise))
    as_still = max(stays * (MOTION_CAP[1] if is_scaled else 1.0), MOTION_CAP[0])
    as_moving = min(max(ratio, MOTION_CAP[0]), MOTION_CAP[1])
    return p_moving * as_moving + (1.0 - p_moving) * as_still
