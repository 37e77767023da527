"""Which tracks are told: those that are something, each once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.reading.own import OwnPlane
from moonless.track.types import Track
from moonless.units import NS_PER_S

Floats = NDArray[np.float64]

# A coasting track this near a confirmed one, and no more than this different in speed, is the same thing's past.
SAME_PLACE_M = 25.0
SAME_WAY = 1.5
# How long and how vaguely a track that is not seen any more is still told, and how near the boat in least ranges.
COAST_S, COAST_SIGMA_M, COAST_NEAR = 30.0, 80.0, 4.0
# What was hit in fewer than this share of at least so many turns, and is placed no better than this, is no one thing.
RARE_SHARE, RARE_SCANS, RARE_SIGMA_M = 0.25, 12, 25.0
# Nor is what was hit so seldom in so many turns, and seems longer than any boat of these waters: glints of a shore.
RARE_LONG_SCANS, RARE_LONG_M = 30, 60.0
# In a picture that the set has cut, what is there shows in most turns; nearer than this, in fewer.  Own figures, chosen
# on the strait of docs/real-water.md.  What has been hit so often, in every second turn, is there and fades: a target
# seen on 5 of 10 turns is to be kept (IMO MSC.192(79) 5.25.4.3).
CUT_SEEN, CUT_SEEN_MOVING, CUT_NEAR_M = 0.75, 0.5, 300.0
CUT_OFTEN = 10
# Two tracks this near, in beams across the bearing and pulses along it, share one echo; the one that was missed no
# longer than this many turns has it.
UNPARTED_BEAMS, UNPARTED_PULSES, SHORT_MISS = 0.5, 1.0, 2
# From this length a hull shows as several echoes; how far past her outline one of them may be placed.
HULL_FROM_M, HULL_SLACK_M = 30.0, 12.0
# Of a vessel, by AIS or under way, the middle of either piece may have wandered along her by this share of her length;
# two still marks in one beam may be no farther apart than that.
HULL_WANDER = 0.25
# An echo seems no longer than this, times and more, of what AIS tells of the one thing it is of.
AIS_TIMES, AIS_MORE_M = 2.0, 30.0
# How far apart, of both pieces' own lengths, two may be that run one behind the other as one ship does; a ship's beam.
APART_OF_SIZES, APART_M, LONGEST_M, BEAM_M = 0.75, 50.0, 420.0, 25.0
# What is placed more vaguely than this, or than half a beam where that is more, is no place to look at.
VAGUE_M = 40.0
VAGUE_OF_LENGTH = 1.0 / 3.0  # of a long hull the middle of the echo may be anywhere between bow and stern
# A memory is no longer than what it remembers: it is told for half as many turns as it was seen.
COAST_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class PoseSigma:
    """What is left of the errors in own position and heading after registration, one standard deviation."""

    position_m: float  # each axis
    heading_rad: float


def worth_telling(
    tracks: tuple[Track, ...],
    own: OwnPlane,
    least_m: float,
    reach_m: float,
    beam_rad: float = 0.0,
    pulse_m: float = 0.0,
    shared: PoseSigma | None = None,
    is_cut: bool = False,
) -> tuple[Track, ...]:
    """Return the tracks that are told: confirmed ones, and coasting ones that are still a memory of something.

    Left out: tentative ones; what lies inside the radar's least range, or past the picture's edge, where nothing is
    heard any more; what is placed too vaguely; what coasts close aboard or for too long; what coasts on the very place
    of a confirmed track and goes no other way, which is that track's own past; of two that the radar cannot part and
    that go no other way, the poorer one.  ``shared``: what all echoes of a turn are off by together, which makes none
    of them vague.  ``is_cut``: the set has cut noise and sea away; what comes and goes there is a skirt, a lobe or a
    wave that reaches over the set's own threshold now and then, unless it is near.
    """
    away = {t.id: math.hypot(t.east_m - own.east_m, t.north_m - own.north_m) for t in tracks}
    sigma_of = {t.id: math.sqrt(float(np.trace(t.covariance[:2, :2])) / 2.0) for t in tracks}
    common = PoseSigma(0.0, 0.0) if shared is None else shared
    placed = [
        t
        for t in tracks
        if sigma_of[t.id]
        <= math.hypot(
            max(VAGUE_M, 0.5 * beam_rad * away[t.id], VAGUE_OF_LENGTH * (t.length_m or 0.0)),
            common.position_m,
            common.heading_rad * away[t.id] / math.sqrt(2.0),
        )
    ]
    told = [t for t in placed if t.state == "confirmed" and least_m < away[t.id] <= reach_m and not _is_rare(t)]
    if is_cut:
        told = [t for t in told if _stands_out(t, away[t.id])]
        placed = [t for t in placed if _stands_out(t, away[t.id])]
    coasting = [t for t in placed if t.state == "coasting" and COAST_NEAR * least_m < away[t.id] <= reach_m]
    here = np.array([(t.east_m, t.north_m, t.velocity_east, t.velocity_north) for t in told]).reshape(-1, 4)
    for t in coasting:
        sigma = sigma_of[t.id]
        if (t.time_ns - t.last_plot_ns) / NS_PER_S > COAST_S or sigma > COAST_SIGMA_M:
            continue
        if t.misses_in_a_row > COAST_SHARE * t.n_hits:
            continue
        apart = np.hypot(here[:, 0] - t.east_m, here[:, 1] - t.north_m)
        other_way = np.hypot(here[:, 2] - t.velocity_east, here[:, 3] - t.velocity_north)
        if not np.any((apart < max(SAME_PLACE_M, 1.5 * sigma)) & (other_way < SAME_WAY)):
            told.append(t)
    return one_of_each(tuple(told), own, beam_rad, pulse_m)


def one_of_each(tracks: tuple[Track, ...], own: OwnPlane, beam_rad: float, pulse_m: float) -> tuple[Track, ...]:
    """Return the tracks without the poorer of each two that the radar cannot part: it has one echo for both.

    Only one of them is hit in a turn; two that were both hit are two echoes.  The better is the one that was not missed
    for long, of those the one that AIS names, then the one that has been hit more often.  A vessel that passes a beacon
    goes another way, and stays.
    """
    if len(tracks) < 2 or beam_rad <= 0.0:
        return tracks
    state = np.array(
        [(t.east_m - own.east_m, t.north_m - own.north_m, t.velocity_east, t.velocity_north) for t in tracks]
    )
    reach = np.maximum(np.hypot(state[:, 0], state[:, 1]), 1.0)
    ahead = state[:, :2] / reach[:, None]
    gap = state[None, :, :2] - state[:, None, :2]
    along = np.abs(gap[..., 0] * ahead[:, None, 0] + gap[..., 1] * ahead[:, None, 1])
    across = np.abs(gap[..., 0] * ahead[:, None, 1] - gap[..., 1] * ahead[:, None, 0])
    other_way = np.hypot(*(state[None, :, 2:] - state[:, None, 2:]).transpose(2, 0, 1))
    missed = np.array([t.misses_in_a_row for t in tracks])
    both_hit = (missed[:, None] == 0) & (missed[None, :] == 0)
    close = (along < UNPARTED_PULSES * pulse_m) & (across < UNPARTED_BEAMS * beam_rad * reach[:, None])
    close &= (other_way < SAME_WAY) & ~both_hit
    close |= _pieces(tracks, state, beam_rad * reach)
    worth = np.array([(t.misses_in_a_row <= SHORT_MISS) * (1e6 + 1e6 * _is_named(t)) + t.n_hits for t in tracks])
    # Of equal worth the older stays.
    better = (worth[None, :] > worth[:, None]) | (
        (worth[None, :] == worth[:, None]) & np.tri(len(tracks), k=-1, dtype=bool)
    )
    np.fill_diagonal(close, False)
    poorer = {tracks[int(i)].id for i in np.flatnonzero((close & better).any(axis=1)) if tracks[int(i)].ais is None}
    return tuple(t for t in tracks if t.id not in poorer) if poorer else tracks


def _pieces(tracks: tuple[Track, ...], state: Floats, beam_m: Floats) -> NDArray[np.bool_]:
    """Return (n, n), symmetric: which two are pieces of one long hull, by her outline and the way both go.

    ``state`` (n, 4) from the boat; ``beam_m`` (n,) how wide the beam is at each.  A second vessel alongside a ship is
    taken for a piece of her too, until she goes another way.
    """
    n = len(tracks)
    out = np.zeros((n, n), dtype=np.bool_)
    sigma = np.array([math.sqrt((t.covariance[2, 2] + t.covariance[3, 3]) / 2.0) for t in tracks])
    outline = [_outline(t) for t in tracks]
    length = np.array([one[0] for one in outline])
    for k, hull in enumerate(tracks):
        if length[k] < HULL_FROM_M or hull.state == "tentative":
            continue
        gap = state[:, :2] - state[k, :2]
        angle = outline[k][1]
        wanders = HULL_WANDER if hull.ais is not None or hull.p_moving > 0.5 else 0.0
        half_length = (0.5 + wanders) * length[k] + HULL_SLACK_M
        half_beam = 0.5 * (hull.beam_m or 0.0) + HULL_SLACK_M + 0.25 * float(beam_m[k])
        if angle is None:
            angle, half_beam = 0.0, half_length
        along = gap[:, 0] * math.sin(angle) + gap[:, 1] * math.cos(angle)
        across = gap[:, 0] * math.cos(angle) - gap[:, 1] * math.sin(angle)
        inside = (along / half_length) ** 2 + (across / half_beam) ** 2 <= 1.0
        way = np.hypot(state[:, 2] - state[k, 2], state[:, 3] - state[k, 3])
        # Pieces of a ship under way lie one behind the other on her course, however little of her either shows.
        speed = float(np.hypot(*state[k, 2:]))
        if speed > 2.0 * SAME_WAY:
            course = state[k, 2:] / speed
            ahead, aside = np.abs(gap @ course), np.abs(gap[:, 0] * course[1] - gap[:, 1] * course[0])
            sizes = length[k] + length
            inside |= (ahead <= np.minimum(APART_OF_SIZES * sizes + APART_M, LONGEST_M)) & (aside <= half_beam + BEAM_M)
        inside &= way <= SAME_WAY + sigma + sigma[k]
        out[k] |= inside
        out[:, k] |= inside
    np.fill_diagonal(out, False)
    return out


def _is_named(track: Track) -> bool:
    """Return whether AIS tells which vessel this is."""
    return track.ais is not None and not track.ais.is_aid


def _outline(track: Track) -> tuple[float, float | None]:
    """Return (length, orientation) of a hull, as it shows or as AIS tells where that is longer; 0 and None: neither.

    What seems far longer than AIS has it is more than one thing in one echo: AIS is believed.
    """
    ais, length = track.ais, track.length_m or 0.0
    if ais is None or ais.length_m is None or ais.length_m <= length <= AIS_TIMES * ais.length_m + AIS_MORE_M:
        return length, track.orientation_rad
    way = ais.heading_rad if ais.heading_rad is not None else ais.cog_rad if (ais.sog or 0.0) > 1.0 else None
    return ais.length_m, track.orientation_rad if way is None else way


def _stands_out(track: Track, away_m: float) -> bool:
    """Return whether a track of a picture cut by the set is seen often enough, for how near it is."""
    share = CUT_SEEN_MOVING if track.p_moving > 0.5 or track.n_hits >= CUT_OFTEN else CUT_SEEN
    return track.ais is not None or away_m <= CUT_NEAR_M or track.seen_share >= share


def _is_rare(track: Track) -> bool:
    """Return whether a track lives on single hits far between: chance, whatever the tracker says."""
    if track.n_scans < RARE_SCANS or track.n_hits >= RARE_SHARE * track.n_scans or track.ais is not None:
        return False
    if track.n_scans >= RARE_LONG_SCANS and track.length_m is not None and track.length_m > RARE_LONG_M:
        return True
    return math.sqrt(float(np.trace(track.covariance[:2, :2])) / 2.0) > RARE_SIGMA_M
