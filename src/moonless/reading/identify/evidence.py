"""All that speaks for or against each kind of thing, gathered once per turn as arrays over the tracks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from moonless.boat.types import Boat
from moonless.echo.types import EchoPicture
from moonless.reading.chart_around import Known, Place
from moonless.reading.identify.ghosts.hulls import mirrored
from moonless.reading.identify.ghosts.own_mast import off_own_mast
from moonless.reading.identify.ghosts.repeats import multiples
from moonless.reading.identify.ghosts.second_traces import second_traces
from moonless.reading.identify.ghosts.side_lobes import goes_as_marked, side_lobes
from moonless.reading.identify.ghosts.walls import in_walls
from moonless.reading.identify.past.clutter_runs import clutter_runs, hit_shares
from moonless.reading.identify.reported import PoseSigma
from moonless.reading.identify.usual import KnownHere, known_here
from moonless.reading.own import OwnPlane
from moonless.reading.visibility.seeing import Curve
from moonless.scan.types import Scan
from moonless.track.types import Track

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """One row per track."""

    tracks: tuple[Track, ...]
    ids: NDArray[np.int64]
    position_en: Floats  # (n, 2) put right by the registration
    covariance: Floats  # (n, 2, 2) of that position, every error counted but the chart's
    sigma_m: Floats  # (n,) root mean square of both axes, the chart's accuracy included
    range_m: Floats
    bearing_rad: Floats
    p_moving: Floats
    length_m: Floats  # NaN: not resolved
    level_db: Floats  # of each echo over receiver noise; the tracker's strength where no picture tells
    shore_distance_m: Floats  # 0 on land
    bridge_distance_m: Floats
    ais_vessel: NDArray[np.bool_]
    is_ghost: NDArray[np.bool_]
    goes_as_ghost: Floats  # how well each goes as what it was marked as would, 0..1
    clutter_density: Floats  # clutter tracks per square metre that look like this one
    known: KnownHere  # what local knowledge says of each place
    own_en: Floats  # (2,)
    beam_rad: float
    hit_share: Floats  # turns with an echo over turns since it began
    rcs_db: Floats  # cross-section that each echo's strength and range imply, dB over 1 m2; NaN: not known
    rcs_sigma_db: float  # how unsure all of these are together
    clipped: NDArray[np.bool_]  # whose level is the top of the scale, and may be any higher
    multiple_density: Floats  # per square metre: ghosts of other echoes, by all ways round, to be met here
    lobe_density: Floats  # per square metre: side-lobe echoes of what is strong at the same range, to be met here
    roamed_m: Floats  # how far each has come in the last minute or so, by its places
    of_shore: NDArray[np.bool_]  # this turn's echo is a piece of one, or of a chain, longer than any hull
    afloat: Floats  # how likely it lies in water at all, 0..1: an echo well inside charted land does not
    answered: Floats  # in what share of the turns before it came there the ground on its way had answered
    with_boat: Floats  # how well each goes with the boat's own wash, at the nearest that the radar hears, 0..1
    field_density: Floats  # per square metre: patches of a field that drifts as it does (rain, a squall's sea)


def gather(
    tracks: tuple[Track, ...],
    own: OwnPlane,
    place: Place | None,
    boat: Boat,
    pose: PoseSigma,
    moved_en: Floats | None = None,
    known: Known | None = None,
    clutter_db: Floats | None = None,
    p_moving: Floats | None = None,
    curve: Curve | None = None,
    level_db: Floats | None = None,
    roamed_m: Floats | None = None,
    ring_db: Floats | None = None,
    of_shore: NDArray[np.bool_] | None = None,
    answered: Floats | None = None,
    clipped: NDArray[np.bool_] | None = None,
    peak: Floats | None = None,
    late_log_odds: Floats | None = None,
    stray: Floats | None = None,
    field_density: Floats | None = None,
    offset_db: float = 0.0,
    offset_sigma_db: float = 0.0,
    was_false: NDArray[np.bool_] | None = None,
) -> Evidence:
    """Return the evidence of the tracks that are to be told: all but tentative ones.

    ``moved_en``: (n, 2) positions put right by the registration; None: as tracked.  ``clutter_db``: (n,) level of
    clutter over noise where each track is, NaN where not known.  ``p_moving``: (n,) put together with the track's past;
    None: the tracker's own.  ``level_db``: (n,) of each echo over receiver noise.  ``curve``: None where the receiver's
    scale is not known: then no strength says what a thing is, and of two echoes the counts of their peaks, ``peak``
    (n,) and NaN where not seen this turn, say which is stronger.  ``late_log_odds``: (n,) see `second_traces`.
    ``stray`` (n,): how much likelier each strength is for a stray of this picture than for a thing, see `Strays`.
    ``field_density`` (n,): see `FieldDrift`; ``offset_db``, ``offset_sigma_db``: of all implied cross-sections, see
    `StrengthCalibration`.  ``was_false`` (n,): which have been told as false so far.
    """
    position = np.array([(t.east_m, t.north_m) for t in tracks]).reshape(-1, 2) if moved_en is None else moved_en
    rel = position - np.array([own.east_m, own.north_m])
    reach = np.hypot(rel[:, 0], rel[:, 1])
    bearing = np.mod(np.arctan2(rel[:, 0], rel[:, 1]), math.tau)
    tracked = np.array([t.covariance[:2, :2] for t in tracks]).reshape(-1, 2, 2)
    covariance = tracked + _pose_covariance(rel, reach, boat, pose)
    chart_sigma = 0.0
    shore = np.full(len(tracks), np.inf)
    bridge = np.full(len(tracks), np.inf)
    inland = np.zeros(len(tracks))
    if place is not None and len(tracks):
        chart_sigma = float(np.median(place.mark_sigma_m)) if len(place.mark_sigma_m) else 10.0
        shore = place.shore.distance(position)
        on_land = place.on_land(position)
        inland = np.where(on_land, shore, 0.0)
        shore = np.where(on_land, 0.0, shore)
        bridge = place.bridge_outline.distance(position)
    rcs = _implied_rcs_db(tracks, reach, level_db, curve) - offset_db
    # What stands over its own floor by so much says nothing between two places where no scale is learnt.
    loud = level_db if curve is not None or peak is None else peak
    moves = np.array([t.p_moving for t in tracks]) if p_moving is None else p_moving
    sigma = np.sqrt(np.trace(covariance, axis1=1, axis2=2) / 2.0 + chart_sigma**2)
    beam_rad = boat.radar.beam_horizontal_rad
    return Evidence(
        tracks=tracks,
        ids=np.array([t.id for t in tracks], dtype=np.int64),
        position_en=position,
        covariance=covariance,
        sigma_m=sigma,
        range_m=reach,
        bearing_rad=bearing,
        p_moving=moves,
        length_m=np.array([math.nan if t.length_m is None else t.length_m for t in tracks]),
        level_db=np.array([t.strength_db for t in tracks]) if level_db is None else level_db,
        shore_distance_m=shore,
        bridge_distance_m=bridge,
        ais_vessel=np.array([t.ais is not None and not t.ais.is_aid for t in tracks], dtype=np.bool_),
        is_ghost=np.array([t.false_parent is not None or t.false_cause is not None for t in tracks], dtype=np.bool_),
        goes_as_ghost=goes_as_marked(tracks, rel, own, moves),
        clutter_density=clutter_runs(tracks, reach, clutter_db, _off_land(stray, shore, sigma, of_shore)),
        known=known_here(position, covariance, known),
        own_en=np.array([own.east_m, own.north_m]),
        beam_rad=beam_rad,
        hit_share=hit_shares(tracks),
        rcs_db=rcs,
        rcs_sigma_db=offset_sigma_db,
        clipped=np.zeros(len(tracks), dtype=np.bool_) if clipped is None else clipped,
        multiple_density=multiples(tracks, rel, covariance, own, loud, rcs, clipped, moves)
        + mirrored(tracks, rel, covariance, own, loud, beam_rad, curve is not None, clipped, moves)
        + in_walls(tracks, rel, covariance, own, loud, _faces(place), curve is not None, clipped, moves, was_false)
        + off_own_mast(tracks, rel, covariance, own, loud, beam_rad, clipped, moves)
        + second_traces(late_log_odds, len(tracks)),
        lobe_density=side_lobes(level_db, ring_db, boat.radar),
        roamed_m=np.zeros(len(tracks)) if roamed_m is None else roamed_m,
        of_shore=np.zeros(len(tracks), dtype=np.bool_) if of_shore is None else of_shore,
        # On the shoreline itself land says nothing against a boat that lies along it.
        afloat=np.minimum(1.0, 2.0 * ndtr(-inland / np.maximum(sigma, 1.0))),
        answered=np.zeros(len(tracks)) if answered is None else answered,
        with_boat=goes_with_boat(tracks, reach, own, boat.radar.min_range_m),
        field_density=np.zeros(len(tracks)) if field_density is None else field_density,
    )


def _faces(place: Place | None) -> Floats:
    return np.zeros((0, 4)) if place is None else place.faces


def _off_land(stray: Floats | None, shore_m: Floats, sigma_m: Floats, of_shore: NDArray[np.bool_] | None) -> Floats:
    """Return (n,) what strays say of each, less where land lies: weak plots that come and go there are its own."""
    if stray is None:
        return np.zeros(len(shore_m))
    off = 1.0 - np.exp(-0.5 * (shore_m / (2.0 * np.maximum(sigma_m, 1.0))) ** 2)
    return np.asarray(stray * (off if of_shore is None else np.where(of_shore, 0.0, off)))


# So much past the nearest that the radar hears, what keeps to the boat's own velocity, to this share of it (one sigma),
# is her wash or the edge of the sea round her; a boat that near is past any radar's help.  Own figures.
WASH_M, WASH_SHARE, WASH_FROM_MPS = 15.0, 0.25, 1.5


def goes_with_boat(tracks: tuple[Track, ...], reach: Floats, own: OwnPlane, nearest_m: float) -> Floats:
    """Return (n,) how well each keeps close aboard at the boat's own velocity, 0..1; none where she lies still."""
    speed = math.hypot(*own.velocity)
    if speed < WASH_FROM_MPS or not len(tracks):
        return np.zeros(len(tracks))
    away = np.array([math.hypot(t.velocity_east - own.velocity[0], t.velocity_north - own.velocity[1]) for t in tracks])
    keeps = np.exp(-0.5 * (away / (WASH_SHARE * speed)) ** 2)
    return np.asarray(np.where(reach < nearest_m + WASH_M, keeps, 0.0))


def _pose_covariance(rel: Floats, reach: Floats, boat: Boat, pose: PoseSigma) -> Floats:
    """Return (n, 2, 2): own position, heading and antenna angle across the bearing, range offset along it."""
    across = np.hypot(pose.heading_rad, boat.radar.azimuth_sigma_rad) * reach
    along = np.full_like(reach, boat.radar.range_sigma_m)
    unit = rel / np.maximum(reach, 1.0)[:, None]
    side = np.column_stack([unit[:, 1], -unit[:, 0]])
    out = np.einsum("n,ni,nj->nij", along**2, unit, unit) + np.einsum("n,ni,nj->nij", across**2, side, side)
    return np.asarray(out + pose.position_m**2 * np.eye(2))




def _implied_rcs_db(tracks: tuple[Track, ...], reach: Floats, level_db: Floats | None, curve: Curve | None) -> Floats:
    if curve is None or level_db is None:
        return np.full(len(tracks), np.nan)
    return np.asarray(level_db - 10.0 * np.log10(np.interp(reach, curve.range_m, curve.snr)))


def pieces_of_shore(
    tracks: tuple[Track, ...], picture: EchoPicture, in_chain: NDArray[np.bool_] | None = None
) -> NDArray[np.bool_]:
    """Return (n,) whether this turn's echo of each is a piece of an extended one.

    ``in_chain`` (p,): plots that stand in a chain longer than any hull.
    """
    of_shore = picture.plots.is_of_shore if in_chain is None else picture.plots.is_of_shore | in_chain
    return np.array([t.last_plot is not None and bool(of_shore[t.last_plot]) for t in tracks], dtype=np.bool_)


# A track so near an extended echo, beside half a beam or a pulse, is a piece of it that was cut off this turn.
BESIDE_SHORE_M = 25.0


def beside_shores(position_en: Floats, own: OwnPlane, scan: Scan, picture: EchoPicture) -> NDArray[np.bool_]:
    """Return (n,) which tracks lie on or beside an extended echo of this turn, within half a beam or a pulse of it."""
    out = np.zeros(len(position_en), dtype=np.bool_)
    shores = [s for s in picture.shores if len(s.near_range_m)]
    if not shores or not len(position_en):
        return out
    rel = position_en - np.array([own.east_m, own.north_m])
    reach = np.hypot(rel[:, 0], rel[:, 1])
    azimuth = np.arctan2(rel[:, 0], rel[:, 1]) - (own.heading_rad or 0.0)
    at = np.concatenate([s.azimuth_rel_rad for s in shores])
    near, far = np.concatenate([s.near_range_m for s in shores]), np.concatenate([s.far_range_m for s in shores])
    off = np.abs(np.mod(at[None, :] - azimuth[:, None] + math.pi, math.tau) - math.pi)
    wide = 0.5 * scan.errors.beam_rad + BESIDE_SHORE_M / np.maximum(reach, 1.0)
    deep = BESIDE_SHORE_M + scan.errors.pulse_m
    touches = (off <= wide[:, None]) & (reach[:, None] >= near - deep) & (reach[:, None] <= far + deep)
    return np.asarray(touches.any(axis=1))


def on_raised_ground(tracks: tuple[Track, ...], picture: EchoPicture) -> NDArray[np.bool_]:
    """Return (n,) whether this turn's echo of each lies on ground that stands a little over the water, turn by turn."""
    if picture.raised is None:
        return np.zeros(len(tracks), dtype=np.bool_)
    raised = picture.raised.plots()
    return np.array([t.last_plot is not None and bool(raised[t.last_plot]) for t in tracks], dtype=np.bool_)


def at_full_scale(tracks: tuple[Track, ...], picture: EchoPicture) -> NDArray[np.bool_]:
    """Return (n,) whether this turn's echo of each stands at the top of the scale."""
    clipped = picture.plots.is_clipped
    return np.array([t.last_plot is not None and bool(clipped[t.last_plot]) for t in tracks], dtype=np.bool_)


def peak_counts(tracks: tuple[Track, ...], picture: EchoPicture) -> Floats:
    """Return (n,) the counts of this turn's peaks; NaN for what was not seen."""
    peak = picture.plots.peak_count
    return np.array([math.nan if t.last_plot is None else float(peak[t.last_plot]) for t in tracks], dtype=np.float64)


def levels(tracks: tuple[Track, ...], clutter_db: Floats, picture: EchoPicture) -> Floats:
    """Return (n,) each echo's level over receiver noise: by its peak this turn, or by its strength over the clutter."""
    strength = np.array([t.strength_db for t in tracks])
    out = strength + np.maximum(np.nan_to_num(clutter_db, nan=0.0), 0.0)
    if picture.db_per_count is None:
        return np.asarray(out)
    peak_db = picture.over_noise_db(np.asarray(picture.plots.peak_count, dtype=np.float64))
    for i, t in enumerate(tracks):
        if t.last_plot is not None and t.last_plot < len(peak_db):
            out[i] = max(out[i], float(peak_db[t.last_plot]))
    return np.asarray(out)


def clutter_where(position_en: Floats, own: OwnPlane, scan: Scan, picture: EchoPicture) -> Floats:
    """Return (n,) the picture's clutter level in dB over noise at each track; NaN where not received."""
    rel = position_en - np.array([own.east_m, own.north_m])
    spoke, cell = _cells(rel, own, scan)
    n_cell = scan.echo.shape[1]
    level = np.asarray(picture.clutter_db)[spoke, np.clip(cell, 0, n_cell - 1)].astype(np.float64)
    return np.where((cell >= 0) & (cell < n_cell), level, np.nan)


def _cells(rel: Floats, own: OwnPlane, scan: Scan) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    n_spoke = scan.echo.shape[0]
    azimuth = np.arctan2(rel[:, 0], rel[:, 1]) - (own.heading_rad or 0.0)
    spoke = np.round(np.mod(azimuth, math.tau) / math.tau * n_spoke).astype(np.int64) % n_spoke
    cell = np.round((np.hypot(rel[:, 0], rel[:, 1]) - scan.first_cell_m) / scan.cell_m).astype(np.int64)
    return spoke, cell


# The sea beside an echo is asked on both sides, from this many beams off to this far, in so many steps.
BESIDE_BEAMS, BESIDE_RAD, BESIDE_STEPS = 1.25, math.radians(15.0), 16
# The sea is what this share of it does not exceed: land on one side alone does not lift it, a shower does.
BESIDE_SHARE = 0.4


def strongest_at(position_en: Floats, own: OwnPlane, scan: Scan, picture: EchoPicture) -> Floats | None:
    """Return (n,) the strongest echo of the whole turn at each track's range, dB over noise; None: no curve learnt."""
    if picture.db_per_count is None:
        return None
    _, cell = _cells(position_en - np.array([own.east_m, own.north_m]), own, scan)
    ring = scan.echo.max(axis=0)
    near = np.clip(cell[:, None] + np.array([-1, 0, 1])[None, :], 0, len(ring) - 1)
    return picture.over_noise_db(ring[near].max(axis=1).astype(np.float64))


def sea_beside(position_en: Floats, own: OwnPlane, scan: Scan, picture: EchoPicture) -> Floats:
    """Return (n,) the clutter level in dB over noise beside each track, at its own range; NaN where not received.

    A strong echo and the land's edge lift the floor of their own neighbourhood, which is then no word of the sea.
    """
    if not len(position_en):
        return np.zeros(0)
    n_spoke, n_cell = scan.echo.shape
    spoke, cell = _cells(position_en - np.array([own.east_m, own.north_m]), own, scan)
    off = np.linspace(BESIDE_BEAMS * scan.errors.beam_rad, max(BESIDE_RAD, 2.0 * scan.errors.beam_rad), BESIDE_STEPS)
    step = np.round(np.concatenate([-off, off]) / math.tau * n_spoke).astype(np.int64)
    rows = (spoke[:, None, None] + step[None, :, None]) % n_spoke
    columns = np.clip(cell[:, None, None] + np.array([-2, 0, 2])[None, None, :], 0, n_cell - 1)
    level = np.asarray(picture.clutter_db)[rows, columns].reshape(len(spoke), -1).astype(np.float64)
    level = np.where(np.isfinite(level), level, np.inf)
    k = int(BESIDE_SHARE * level.shape[1])
    beside = np.partition(level, k, axis=1)[:, k]
    return np.where(np.isfinite(beside) & (cell >= 0) & (cell < n_cell), beside, np.nan)
