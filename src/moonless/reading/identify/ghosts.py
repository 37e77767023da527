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
from dataclasses import dataclass

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
    length, ways = _lengths(tracks), _Ways.of(tracks, p_moving)
    large = (level_db > FROM_DB) & (rcs_db > FROM_RCS_DB)
    unscaled = ~np.isfinite(rcs_db)
    # It is large that is long, however faint this radar hears; without a scale, or what stands at the top of it.
    large |= (length > LONG_PARENT_M) | (unscaled & (False if clipped is None else clipped))
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
        i, k = np.nonzero(near & weaker)
        parent = parents[k]
        moved = trips * ways.velocity[parent] - (trips - 1.0) * np.array(own.velocity)
        as_moved = ways.fit(i, moved, trips**2 * ways.noise[parent], ~unscaled[i])
        np.add.at(out, i, shows * _density(gap[i, k], spread[i, k]) * as_moved)
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
    length = _lengths(tracks)
    hulls = np.flatnonzero(firm & (length >= MIRROR_M))
    if not hulls.size:
        return out
    ways = _Ways.of(tracks, p_moving)
    velocity, noise = ways.velocity - np.array(own.velocity), ways.noise
    named = np.array([t.ais is not None for t in tracks])
    lit = length >= LIT_M
    things = int(np.count_nonzero(firm & (lit | is_scaled)))
    crowded = min(1.0, MIRROR_HULLS / hulls.size) * min(1.0, MIRROR_THINGS / max(things, 1))
    # A small thing must be much stronger than its ghost.
    more = np.where(lit, 0.0, SMALL_DB)
    less = 0.5 * WEAKER_DB if is_scaled else -1e-9
    top_db = _at_most(level_db, clipped)
    spread = np.trace(covariance, axis1=1, axis2=2) / 2.0
    reach = np.hypot(rel[:, 0], rel[:, 1])
    away = np.maximum(reach[hulls], 1.0)
    unit = rel[hulls] / away[:, None]
    ahead, aside = unit @ rel.T, np.column_stack([unit[:, 1], -unit[:, 0]]) @ rel.T
    # Only what lies behind a hull, within the beam and her own breadth to the eye, can be one.
    breadth = 0.3 * beam_rad + 0.3 * length[hulls] / away
    behind = (ahead > away[:, None]) & (np.abs(aside) < 3.0 * (breadth[:, None] * reach + np.sqrt(spread))) & ~named
    apart = np.hypot(*np.moveaxis(rel[None] - rel[hulls, None], -1, 0))
    lights = (firm & (lit | is_scaled)) & (apart > MIRROR_M) & (apart < MIRROR_REACH_M)
    behind[np.arange(hulls.size), hulls] = False
    # Pairs of a hull and an echo behind her (m,), against all that she may show the boat (n,).
    q, i = np.nonzero(behind & lights.any(axis=1)[:, None])
    path = (away[:, None] + apart)[q]
    # Along the bearing by both hulls' own errors, across it by the beam and the hull's own breadth.
    var_along = spread[i, None] + spread + (2.0 * HULLS_M**2 + (HULL_SHARE * length[hulls[q], None]) ** 2)
    var_across = spread[i, None] + (breadth[q, None] * path) ** 2
    squared = (ahead[q, i, None] - path) ** 2 / var_along + aside[q, i, None] ** 2 / var_across
    weaker = level_db[i, None] < np.minimum(top_db - more, top_db[hulls[q], None]) - less
    weaker |= np.isnan(level_db[i])[:, None]
    if not is_scaled:
        weaker &= length[i, None] <= length + SHORT_M
    pair, k = np.nonzero((squared < 9.0) & weaker & lights[q] & (i[:, None] != np.arange(n)))
    i, hull = i[pair], hulls[q[pair]]
    now = _by_way_of(rel[hull], rel[k])
    moved = _by_way_of(rel[hull] + velocity[hull], rel[k] + velocity[k]) - now + np.array(own.velocity)
    place = np.exp(-0.5 * squared[pair, k]) / (2.0 * math.pi * np.sqrt(var_along[pair, k] * var_across[pair, k]))
    as_moved = ways.fit(i, moved, noise[k] + 2.0 * noise[hull], is_scaled)
    lies = np.hypot(moved[:, 0], moved[:, 1]) < MAST_SPEED
    np.add.at(out, i, MIRROR_SHOWS * np.where(lies & (not is_scaled), crowded, 1.0) * place * as_moved)
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
    ways = _Ways.of(tracks, p_moving)
    closing = np.sum((ways.velocity - np.array(own.velocity)) * unit, axis=1)
    firm = np.array([t.state == "confirmed" for t in tracks])
    moving = np.array([t.p_moving > 0.5 and t.ais is None for t in tracks]) & (reach >= MAST_FROM_M)
    along = np.einsum("ni,nij,nj->n", unit, covariance, unit)
    bearing = np.arctan2(rel[:, 0], rel[:, 1])
    turn = np.abs(np.mod(bearing[:, None] - bearing[None, :] + math.pi, math.tau) - math.pi)
    partner, length = np.full(n, -1), _lengths(tracks)
    for i in np.flatnonzero(moving):
        variance = along[i] + along + MAST_RANGE_M**2
        off2 = (reach[i] - reach) ** 2 / variance
        stronger = (_at_most(level_db, clipped) >= level_db[i]) | np.isnan(level_db[i])
        plainly = level_db > level_db[i]
        # A ghost is a picture of its parent, and a weaker one: no longer than she is.
        larger = length[i] <= GHOST_OF_LENGTH * length + SHORT_M + np.where(plainly, MAST_WIDE_RAD * reach[i], 0.0)
        fits = np.flatnonzero(firm & (off2 < 6.0) & (turn[i] > 3.0 * beam_rad) & stronger & larger)
        moved = np.array(own.velocity) + closing[fits, None] * unit[i]
        goes = np.hypot(moved[:, 0], moved[:, 1]) >= MAST_SPEED
        fits, moved = fits[goes], moved[goes]
        if not fits.size:
            continue
        place = np.exp(-0.5 * off2[fits]) / (np.sqrt(2.0 * math.pi * variance[fits]) * 2.0 * math.pi * reach[i])
        density = MAST_SHOWS * place * ways.fit(np.full(fits.size, i), moved, ways.noise[fits])
        best = int(density.argmax())
        if density[best] > 0.0:
            out[i], partner[i] = density[best], fits[best]
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


def _by_way_of(hulls: Floats, things: Floats) -> Floats:
    """Return (m, 2) where the ghost of each thing (m, 2) off its hull (m, 2) lies, from the boat."""
    away = np.maximum(np.hypot(hulls[:, 0], hulls[:, 1]), 1e-6)
    reach = away + np.hypot(*(things - hulls).T)
    return np.asarray((reach / away)[:, None] * hulls)


def _density(gap: Floats, spread: Floats) -> Floats:
    """Return (m,) the normal density per square metre of gaps (m, 2) with covariances (m, 2, 2)."""
    (ee, en), (_, nn) = np.moveaxis(spread, 0, -1)
    determinant = ee * nn - en**2
    squared = (nn * gap[:, 0] ** 2 - 2.0 * en * gap[:, 0] * gap[:, 1] + ee * gap[:, 1] ** 2) / determinant
    return np.asarray(np.exp(-0.5 * squared) / (2.0 * math.pi * np.sqrt(determinant)))


@dataclass(frozen=True, slots=True)
class _Ways:
    """How n tracks go over the ground."""

    velocity: Floats  # (n, 2) m/s
    noise: Floats  # (n,) variance of it, each axis
    p_moving: Floats  # (n,) that each moves, as all is considered

    @classmethod
    def of(cls, tracks: tuple[Track, ...], p_moving: Floats | None) -> _Ways:
        """``p_moving``: None, as the tracker has it."""
        velocity = np.array([(t.velocity_east, t.velocity_north) for t in tracks]).reshape(-1, 2)
        noise = np.array([(t.covariance[2, 2] + t.covariance[3, 3]) / 2.0 for t in tracks])
        return cls(velocity, noise, np.array([t.p_moving for t in tracks]) if p_moving is None else p_moving)

    def fit(self, which: NDArray[np.int64], foretold: Floats, noise: Floats, is_scaled: Mask | bool = True) -> Floats:
        """Return (m,) how much better a foretold velocity explains a track's than its own would: any, or none at all.

        ``which`` (m,): the tracks; ``foretold`` (m, 2), ``noise`` (m,): its variance, each axis.  That it moves over
        the ground is what the kinds of real things are weighed by too: what lies still is no better explained by a
        ghost that is to lie still, but for its level, where levels are decibels (``is_scaled``).
        """
        velocity, p = self.velocity[which], self.p_moving[which]
        ghost, free = (sigma**2 + noise + self.noise[which] for sigma in (DOUBLED_SIGMA, OWN_WAY))
        off2, speed2 = np.sum((velocity - foretold) ** 2, axis=1), np.sum(velocity**2, axis=1)
        ratio = free / ghost * np.exp(-0.5 * off2 / ghost + 0.5 * speed2 / free)
        stays = np.exp(-0.5 * np.sum(foretold**2, axis=1) / (DOUBLED_SIGMA**2 + noise))
        as_still = np.maximum(stays * np.where(is_scaled, MOTION_CAP[1], 1.0), MOTION_CAP[0])
        return np.asarray(p * np.clip(ratio, *MOTION_CAP) + (1.0 - p) * as_still)
