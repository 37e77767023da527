"""What each echo is: a probability over the kinds, from all that is known of it.

For every track and every kind of thing, how many such things with such an echo are to be expected per square metre
at that place; the kinds' probabilities are these densities over their sum (see docs/judgement.md).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

from moonless.reading.chart_around import MOVE_ON_M, Place
from moonless.reading.identify.evidence import Evidence
from moonless.reading.identify.past.clutter_runs import hopping
from moonless.reading.identify.strength import mark_strength_speaks, section_speaks, weak_for_its_length
from moonless.reading.line import Kind

Floats = NDArray[np.float64]

KINDS: tuple[Kind, ...] = ("shore", "charted", "bridge", "vessel", "uncharted", "clutter", "false")
SHORE, CHARTED, BRIDGE, VESSEL, UNCHARTED, CLUTTER, FALSE = range(7)

# How many uncharted still things and moving boats to expect: three in a square kilometre of sheltered water.
# Our own figures, no source; docs/judgement.md says what changes when they are wrong.
UNCHARTED_PER_M2 = 3e-6
VESSEL_PER_M2 = 3e-6
# Land returns one separate echo for about this length of shore.
SHORE_SPACING_M = 90.0
# A bridge answers along all its length; where its end meets the shore its word says more.
BRIDGE_SPACING_M = 30.0
# A mark stands where the chart has it, but for accidents.
MARK_THERE = 0.97
# The model of a mark's echo is not trusted to rule it out.
LEAST_P = 0.2
# How well a motion goes with hopping along a shore, for the square of the share of turns in which it was missed: own
# figure, chosen on wild scenes 160 to 199.
HOPPING = 1.5
# Share of what is hit so seldom and moves that is a hull all the same; own figure.
RARELY_A_HULL = 0.05
# What is young, has come nowhere yet, hardly goes, or whose velocity is known poorly is told as a hull under way only
# by what speaks for it otherwise: each such doubt leaves this share of the vessels' density, in full up to the first
# figure of its pair and gone from the second on.  In 21 wild scenes 15 % of what was told a vessel on six hits and
# fewer was one, 21 % of what had come less than 20 m, 9 % of what went slower than 1 m/s, 34 % of what was known worse
# than 2 m/s, and 85 % of what had been hit thirty times.  Own figures, chosen with all these scenes in sight; either
# half of them gains by them.
DOUBTED = 0.25
YOUNG_HITS, CAME_M, GOES_MPS, SURE_MPS = (4.0, 9.0), (10.0, 30.0), (0.5, 1.5), (2.0, 1.0)
# A tracker's certainty that something moves or not is not taken for more than this.
MOTION_CAP = 0.98
GATE_SIGMA = 4.0
# A mark is no longer than this, wandering of the echo included.
MARK_LENGTH_M = 25.0
# Marks nearer to each other than this share of the beam's width at their range may make one echo.
UNRESOLVED_BEAMS = 1.0
# A length is believed past this share of the range: about a small radar's beam.
BEAM_OF_LENGTH = 0.07
# However long it seems, length alone does not rule a thing out.
LENGTH_FLOOR = 0.2
# How well a wandering echo goes with a group of marks in one beam, while it keeps within them; own figure, no source.
WANDERS = 0.3
# A floating mark that is not at its place has dragged this far, one sigma each axis, and is found that often.
DRAGGED_SIGMA_M = 60.0
DRAGGED_NOT_SUNK = 0.9
DRAGGED_FROM = 0.35
# What the tracker calls a ghost is one, unless its record is that of chance or a charted thing stands just there.
GHOST, CHANCE_GHOST = 2e-4, 1e-6
WASH_PER_M2 = 1e-3  # round every boat, beside the chance of another that keeps so near; own figure
# Pieces of shore a square metre to expect where one is seen and no chart covers the water: a piece of a shore that a
# tracker hops along counts against a vessel, one that runs steadily does not.  Own figure.
RADAR_SHORE_PER_M2 = 1e-4
# Tracks that hop over ground that answers in every turn, per square metre of it, and how many hits are counted at most.
# Own figures.
ANYWAY_PER_M2, RUN_HITS = 1e-4, 20.0
# What a chartless shore's glints wander by, and how well one that keeps within that goes with a shore; own figures.
STAYS_M, STAYS = 30.0, 0.5
# Share of the ghosts that are let stand over land; own figure.
FALSE_ASHORE = 0.02
# A shore's echo is smeared along the bearing circle by this share of the beam, one sigma.
SMEAR_BEAMS = 0.25
# An echo this many times as long as it is away is hardly one thing.
ABOUT, ABOUT_LEFT = 1.5, 0.05
# An echo this long is no small craft and no mark.
LONG_M = 60.0


@dataclass(frozen=True, slots=True)
class Explained:
    """One track's explanation."""

    kind: Kind
    confidence: float
    probability: Floats  # (7,) over `KINDS`
    mark: int | None  # index into the place's marks, when kind is "charted"
    offset_m: float | None  # from the mark


def explain(
    evidence: Evidence,
    place: Place | None,
    p_detect: Floats | None,
    gone: Floats | None = None,
    mark_db: Floats | None = None,
) -> list[Explained]:
    """Return an explanation for each track in the evidence, in its order.

    ``p_detect``: (k,) chance that each mark of the place shows, 1 where it is not known; None: not known of any.
    ``gone``: (k,) how likely each is not where it is charted; None: nobody looked.  ``mark_db``: (k,) strength that
    each should have, NaN where not known.
    """
    n = len(evidence.ids)
    if n == 0:
        return []
    density = np.full((n, len(KINDS)), 1e-12)
    moving = np.clip(evidence.p_moving, 1.0 - MOTION_CAP, MOTION_CAP)
    still = 1.0 - moving
    # A tracker may hop along a shore from one glint to the next, and think that it moves; its record shows it.
    still_shore = np.maximum(still, HOPPING * (1.0 - evidence.hit_share) ** 2)
    # Nothing moves well inside land, whatever the tracker makes of its glitter; and what is thrown there by something
    # else is told by nobody from what the land itself answers.
    still_shore = np.maximum(still_shore, 1.0 - evidence.afloat)
    size = _believed_length(evidence)
    long_penalty = np.maximum(np.exp(-np.maximum(0.0, size - LONG_M) / 30.0), LENGTH_FLOOR)
    thing, wave = section_speaks(evidence.rcs_db, evidence.rcs_sigma_db, evidence.clipped)
    # What seems longer than it is away is sea all about, not a hull.
    thing = np.where(size > ABOUT * evidence.range_m, ABOUT_LEFT * thing, thing)
    thing = thing * weak_for_its_length(size, evidence.rcs_db, evidence.rcs_sigma_db, evidence.clipped)
    # What the skipper has named is uncharted all the same, and not a surprise.
    known = evidence.known
    # Where boats are known to anchor or to run so many more are to be expected.
    lying = (UNCHARTED_PER_M2 + known.anchored_density) * thing * long_penalty * evidence.afloat
    density[:, UNCHARTED] = (lying + known.named_density) * still
    # What moves and is hit in fewer than half of the turns is more likely a run of this and that than one hull.
    hops = hopping(evidence.hit_share)
    under_way = (VESSEL_PER_M2 + known.on_way_density) * thing * moving * evidence.afloat * _goes_as_hull(evidence)
    density[:, VESSEL] = under_way * np.maximum(1.0 - hops, RARELY_A_HULL)
    density[:, VESSEL] = np.where(evidence.ais_vessel, 1.0, density[:, VESSEL])
    runs = np.maximum(evidence.clutter_density, VESSEL_PER_M2 * hops * moving)
    density[:, CLUTTER] = runs * wave * evidence.afloat
    # What hops from one standing echo to the next is no hull, however strong each of them is.
    anyway = ANYWAY_PER_M2 * _runs_over_standing(evidence) * moving
    density[:, CLUTTER] = np.maximum(density[:, CLUTTER], anyway * evidence.afloat)
    # What goes with many others, spread over the water, is a patch of rain as strong as any boat.
    density[:, CLUTTER] = np.maximum(density[:, CLUTTER], evidence.field_density * evidence.afloat)
    # The edge of the sea round the boat goes with her, as strong as any hull.
    density[:, CLUTTER] = np.maximum(density[:, CLUTTER], WASH_PER_M2 * evidence.with_boat)
    # The ghost of a steady thing is steady; what is hit now and then only happens to lie where a ghost might.
    marked = (GHOST * (1.0 - hops) + CHANCE_GHOST * hops) * evidence.goes_as_ghost
    density[:, FALSE] = np.where(evidence.is_ghost, marked, 1e-9)
    density[:, FALSE] = np.maximum(density[:, FALSE], evidence.multiple_density)
    if len(evidence.lobe_density) == n:
        density[:, FALSE] = np.maximum(density[:, FALSE], evidence.lobe_density)
    density[:, FALSE] *= np.maximum(evidence.afloat, FALSE_ASHORE)
    taken = np.full(n, -1)
    offset = np.full(n, np.nan)
    if place is None:
        # Where no chart tells of land the radar does: pieces of an echo longer than any hull, unless one of them goes.
        # A glint that wanders along it and gets nowhere is a piece of it too, and so is what hops over it.
        near = evidence.roamed_m <= STAYS_M + 0.5 * evidence.beam_rad * evidence.range_m
        stays = np.where(near & (evidence.roamed_m > 0.0), STAYS, 0.0)
        density[:, SHORE] = np.where(
            evidence.of_shore, RADAR_SHORE_PER_M2 * np.maximum(still_shore, stays) + anyway, 0.0
        )
    else:
        smeared = np.hypot(evidence.sigma_m, SMEAR_BEAMS * evidence.beam_rad * evidence.range_m)
        density[:, SHORE] = _line_density(evidence.shore_distance_m, smeared, SHORE_SPACING_M) * still_shore
        bridge = _line_density(evidence.bridge_distance_m, evidence.sigma_m, BRIDGE_SPACING_M)
        density[:, BRIDGE] = bridge * still_shore
        _weigh_marks(evidence, place, p_detect, gone, mark_db, still, density, taken, offset)
    probability = density / density.sum(axis=1, keepdims=True)
    best = np.argmax(probability, axis=1)
    out = []
    for i in range(n):
        is_mark = best[i] == CHARTED and taken[i] >= 0
        out.append(
            Explained(
                KINDS[best[i]],
                float(probability[i, best[i]]),
                probability[i],
                int(taken[i]) if is_mark else None,
                float(offset[i]) if is_mark else None,
            )
        )
    return out


def _goes_as_hull(evidence: Evidence) -> Floats:
    """Return (n,) what the record of each leaves of the vessels' density, 0..1: one share for each doubt."""
    hits = np.array([t.n_hits for t in evidence.tracks], dtype=np.float64)
    speed = np.array([t.speed for t in evidence.tracks])
    sigma = np.sqrt([0.5 * np.trace(t.covariance[2:4, 2:4]) for t in evidence.tracks])
    out = np.ones(len(evidence.tracks))
    for value, (least, enough) in (
        (hits, YOUNG_HITS),
        (evidence.roamed_m, CAME_M),
        (speed, GOES_MPS),
        (sigma, SURE_MPS),
    ):
        out *= DOUBTED + (1.0 - DOUBTED) * np.clip((value - least) / (enough - least), 0.0, 1.0)
    return out


def _runs_over_standing(evidence: Evidence) -> Floats:
    """Return (n,) how well each track's record goes with hopping over ground that answers anyway, 0..1.

    The likelihood of so many hits, where each turn's comes with the share in which the ground had answered before,
    against their own share; half of the hits count, since neighbouring turns are alike.  Source: binomial likelihood
    ratio, elementary.
    """
    share = np.clip(evidence.answered, 0.01, 0.95)
    hit = np.clip(evidence.hit_share, 0.05, 0.95)
    gap = hit * np.log(hit / share) + (1.0 - hit) * np.log((1.0 - hit) / (1.0 - share))
    hits = np.minimum(np.array([t.n_hits for t in evidence.tracks], dtype=np.float64), RUN_HITS)
    return np.asarray(share * np.where(hit > share, np.exp(-0.5 * hits * gap), 1.0))


def _line_density(distance_m: Floats, sigma_m: Floats, spacing_m: float) -> Floats:
    """Return echoes per square metre of a line that returns one for each ``spacing_m``; inside counts as on it."""
    return np.exp(-0.5 * (distance_m / sigma_m) ** 2) / (spacing_m * math.sqrt(2 * math.pi) * sigma_m)


def _weigh_marks(
    evidence: Evidence,
    place: Place,
    p_detect: Floats | None,
    gone: Floats | None,
    mark_db: Floats | None,
    still: Floats,
    density: Floats,
    taken: NDArray[np.int64],
    offset: Floats,
) -> None:
    """Give each mark to at most one track, and put the marks' densities into their column."""
    usable = np.flatnonzero(~place.mark_on_land)
    if usable.size == 0:
        return
    east, north = (evidence.position_en[:, k, None] - place.mark_en[usable, k] for k in (0, 1))
    extra = place.mark_sigma_m[usable] ** 2 + place.mark_swing_m[usable] ** 2
    unresolved, extent = _unresolved(place, usable, evidence)
    ee = evidence.covariance[:, 0, 0, None] + extra + unresolved[:, 0, 0]
    nn = evidence.covariance[:, 1, 1, None] + extra + unresolved[:, 1, 1]
    en = evidence.covariance[:, 0, 1, None] + unresolved[:, 0, 1]
    det = ee * nn - en**2
    squared = (nn * east**2 + ee * north**2 - 2 * en * east * north) / det
    apart = np.hypot(east, north)
    # An echo is there; that the model gives the mark a small chance makes it less likely, but not much.
    shows = np.ones(usable.size) if p_detect is None else np.maximum(p_detect[usable], LEAST_P)
    there = MARK_THERE * shows
    # The one echo of a group wanders among its members as they fade, and seems to move; but not past their ends.
    past_ends = np.maximum(0.0, evidence.roamed_m[:, None] - extent[None, :]) / np.maximum(extent, 1.0)[None, :]
    wanders = np.where(extent > 0.0, WANDERS * np.exp(-2.0 * past_ends), 0.0)
    stays = np.maximum(still[:, None], wanders)
    weight = there[None, :] * np.exp(-0.5 * squared) / (2 * math.pi * np.sqrt(det)) * stays
    weight = np.where(squared < GATE_SIGMA**2, weight, 0.0)
    weight = weight * _size_speaks(evidence)[:, None]
    if gone is not None:
        weight = np.maximum(weight, _dragged(apart, place, usable, gone, still))
    if mark_db is not None:
        weight = weight * mark_strength_speaks(evidence.level_db, mark_db[usable])
    rivals = density.sum(axis=1) - density[:, CHARTED]
    gain = np.log(np.maximum(weight, 1e-30)) - np.log(rivals)[:, None]
    # Only pairs better than nothing may be made: a mark is not forced on an echo that something else explains.
    cost = np.where((weight > 0) & (gain > -3.0), -gain, 50.0)
    rows, columns = linear_sum_assignment(cost)
    share = np.zeros(usable.size)
    for i, k in zip(rows, columns, strict=True):
        if cost[i, k] >= 50.0:
            continue
        taken[i] = usable[k]
        offset[i] = apart[i, k]
        density[i, CHARTED] = weight[i, k]
        share[k] = weight[i, k] / (weight[i, k] + rivals[i])
    # What is left of marks given to another track still speaks for this one, by the chance that the other is not it.
    left = weight * (1.0 - share)[None, :]
    for i in range(len(taken)):
        if taken[i] < 0 and left[i].any():
            k = int(np.argmax(left[i]))
            density[i, CHARTED] = max(density[i, CHARTED], left[i, k])
            taken[i] = usable[k]
            offset[i] = apart[i, k]


def _unresolved(place: Place, usable: NDArray[np.int64], evidence: Evidence) -> tuple[Floats, Floats]:
    """Return (k, 2, 2), (k,): marks that the beam cannot part make one echo somewhere between them.

    Half the way to each such neighbour is one sigma more, in its direction.  The second is how far off the furthest of
    them stands, 0 for a mark alone.  ``usable``: the marks asked about.
    """
    out, extent = np.zeros((len(usable), 2, 2)), np.zeros(len(usable))
    if len(usable) < 2:
        return out, extent
    mark_en = place.mark_en[usable]
    reach = np.hypot(mark_en[:, 0] - evidence.own_en[0], mark_en[:, 1] - evidence.own_en[1])
    pairs = _neighbours(place, UNRESOLVED_BEAMS * evidence.beam_rad)
    i, j = pairs[:, 0], pairs[:, 1]
    gap = mark_en[j] - mark_en[i]
    apart = np.hypot(gap[:, 0], gap[:, 1])
    near = (apart > 0.1) & (apart < UNRESOLVED_BEAMS * evidence.beam_rad * np.minimum(reach[i], reach[j]))
    i, j, gap = i[near], j[near], gap[near]
    step = 0.25 * gap[:, :, None] * gap[:, None, :]
    np.add.at(out, i, step)
    np.add.at(out, j, step)
    np.maximum.at(extent, i, apart[near])
    np.maximum.at(extent, j, apart[near])
    return out, extent


@lru_cache(maxsize=2)
def _neighbours(place: Place, beam_rad: float) -> NDArray[np.int64]:
    """Return (m, 2) pairs among the marks not on land that a beam may fail to part from anywhere on this stretch."""
    marks = place.mark_en[~place.mark_on_land]
    if len(marks) < 2:
        return np.zeros((0, 2), dtype=np.int64)
    far = np.hypot(marks[:, 0] - place.middle_east_m, marks[:, 1] - place.middle_north_m).max() + MOVE_ON_M
    return np.asarray(cKDTree(marks).query_pairs(beam_rad * far, output_type="ndarray"), dtype=np.int64)


def _believed_length(evidence: Evidence) -> Floats:
    """Return (n,) the part of each resolved length that the beam cannot have made."""
    length = np.where(np.isnan(evidence.length_m), 0.0, evidence.length_m)
    return np.asarray(np.maximum(0.0, length - BEAM_OF_LENGTH * evidence.range_m))


def _size_speaks(evidence: Evidence) -> Floats:
    """Return (n,) how well each resolved length goes with a mark, which is no longer than a few metres."""
    too_long = np.maximum(0.0, _believed_length(evidence) - MARK_LENGTH_M)
    return np.asarray(np.maximum(np.exp(-too_long / 15.0), LENGTH_FLOOR))


def _dragged(apart_m: Floats, place: Place, usable: NDArray[np.int64], gone: Floats, still: Floats) -> Floats:
    """Return (n, k) density of a still echo being a floating mark that has left its place."""
    floats = (place.mark_swing_m[usable] > 0.0) & (gone[usable] > DRAGGED_FROM)
    share = np.where(floats, DRAGGED_NOT_SUNK * gone[usable], 0.0)
    if not floats.any():
        return np.zeros(apart_m.shape)
    spread = np.exp(-0.5 * apart_m**2 / DRAGGED_SIGMA_M**2) / (2 * math.pi * DRAGGED_SIGMA_M**2)
    return np.asarray(spread * share[None, :] * still[:, None])
