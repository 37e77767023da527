"""Extended targets: several plots of one hull made one, and a hull's length, beam and heading learnt."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from moonless.echo.types import Plots
from moonless.track.measurements import Measured
from moonless.track.track_store import TrackStore
from moonless.track.types import AisTarget

Floats = NDArray[np.float64]

# Below this a hull is one plot; two plots of it do not happen, and small boats lying close must not be made one.
EXTENDED_M = 20.0
# Gap between two parts of one hull, of the parts' own sizes together.
GAP_OF_SIZE = 0.6
# No hull is longer: the longest ships are just under 400 m.
LONGEST_M = 420.0
# A part of a broken hull shows at least this share of her length.
PIECE_OF_HULL = 0.2
# So many hills of one body of echo, in a line at least so long and no broader than this share of it, are one hull: two
# may be two boats side by side.  Own figures.
HILLS_OF_HULL, LINE_M, BREADTH_SHARE = 3, 40.0, 0.35
# Her hills stand so high over the floor, which those of sea hardly do, and no farther apart: where the echo hangs
# together between them, and where it does not.  Own figures.
HILL_DB, HILLS_APART_M, BODIES_APART_M = 20.0, 120.0, 30.0
# Before an outline is known: rows of marks and piles shine too, but hardly so.
LINE_DB = 35.0
# Of an outline so long, as learnt, that many strong hills within it are hers; two may be two boats that lay as one, but
# not past the second length.
LIKELY_HULL_M, SURE_HULL_M = 60.0, 100.0
# A ship of unknown beam is so many times as long as broad; common practice, no source.
LENGTHS_OF_BEAM = 6.5
# Turns of memory for a hull's shape: she shows her length only slowly as she turns.
SHAPE_MEMORY = 10.0


def plot_shapes(got: Measured, plots: Plots) -> Floats:
    """Return (n, 2, 2) second moment over the ground, square metres, of each plot's echo; zero where not resolved.

    A line of length L has L^2 / 12 along it.  Range and cross extents and the long axis together give length and
    breadth; near 45 degrees from the beam, where they do not, the echo is taken as a line.
    """
    index = got.plot
    along = np.nan_to_num(plots.range_extent_m[index])
    across = np.nan_to_num(plots.cross_extent_m[index])
    total = along**2 + across**2
    if not np.any(total > 0.0):
        return np.zeros((index.size, 2, 2))
    axis = plots.orientation_rel_rad[index] + plots.heading_true_rad[index]
    turned = axis - got.bearing_rad
    c2, s2 = np.cos(turned) ** 2, np.sin(turned) ** 2
    den = c2 - s2
    sure = np.abs(den) > 0.3
    safe = np.where(sure, den, 1.0)
    length2 = np.where(sure, np.clip((along**2 * c2 - across**2 * s2) / safe, 0.0, total), total)
    breadth2 = np.where(sure, np.clip(total - length2, 0.0, length2), 0.0)
    known = np.isfinite(axis) & (total > 0.0)
    # Without an axis the box itself is all there is.
    angle = np.where(known, axis, got.bearing_rad)
    first = np.where(known, length2, along**2) / 12.0
    second = np.where(known, breadth2, across**2) / 12.0
    s, c = np.sin(angle), np.cos(angle)
    out = np.empty((index.size, 2, 2))
    out[:, 0, 0] = first * s * s + second * c * c
    out[:, 1, 1] = first * c * c + second * s * s
    out[:, 0, 1] = out[:, 1, 0] = (first - second) * s * c
    return out


def axes(shape: Floats) -> tuple[Floats, Floats, Floats]:
    """Return (length m, beam m, orientation rad true in [0, pi)) of second moments (n, 2, 2)."""
    a, b, d = shape[:, 0, 0], shape[:, 0, 1], shape[:, 1, 1]
    middle, half = 0.5 * (a + d), np.hypot(0.5 * (a - d), b)
    # The long axis lies at half the angle of (north-north minus east-east, twice east-north), clockwise from north.
    angle = 0.5 * np.arctan2(2.0 * b, d - a)
    return (
        np.sqrt(12.0 * (middle + half)),
        np.sqrt(12.0 * np.maximum(middle - half, 0.0)),
        np.mod(angle, math.pi),
    )


def join_hulls(
    got: Measured, shapes: Floats, plots: Plots, store: TrackStore, ais: Mapping[int, AisTarget] | None = None
) -> tuple[Measured, Floats]:
    """Return the plots with those of one hull made one, and their shapes.

    Plots belong to one hull when they lie within the outline of one confirmed extended track, when at least one is
    itself extended and the gap between them is small against their sizes, or when several hang together in a line.
    ``ais``: by the id of the track it belongs to; what it says of her length holds, where more shows than was learnt.
    """
    n = len(got)
    if n == 0:
        return got, shapes
    size = np.sqrt(12.0 * (shapes[:, 0, 0] + shapes[:, 1, 1]))
    length, beam, angle, is_told = _outlines(store, ais or {})
    hulls = np.flatnonzero(store.confirmed & (length >= EXTENDED_M))
    group = np.arange(n)
    _join_lines(group, got, size, plots)
    if hulls.size == 0 and not np.any(size >= EXTENDED_M) and np.array_equal(group, np.arange(n)):
        return got, shapes
    for i in np.flatnonzero(size >= EXTENDED_M):
        gap = np.hypot(*(got.place_m - got.place_m[i]).T)
        near = (gap <= GAP_OF_SIZE * (size + size[i])) & (size >= EXTENDED_M)
        near &= gap + 0.5 * (size + size[i]) <= LONGEST_M
        for j in np.flatnonzero(near):
            _join(group, int(i), int(j))
    group = _bounded(group, got.place_m, size)
    strong = plots.strength_db[got.plot] >= HILL_DB
    hull = np.full(n, -1)
    for i in hulls:
        centre = store.mu[i] @ store.x[i, :, :2]
        d = got.place_m - centre
        s, c = math.sin(angle[i]), math.cos(angle[i])
        slack = np.sqrt(0.5 * (got.noise[:, 0, 0] + got.noise[:, 1, 1]))
        # A piece overlaps her when half of it does.
        u = (d[:, 0] * s + d[:, 1] * c) / (0.5 * length[i] + slack + 0.25 * np.where(size > EXTENDED_M, size, 0.0))
        v = (d[:, 0] * c - d[:, 1] * s) / (0.5 * beam[i] + slack)
        inside = np.flatnonzero(u * u + v * v <= 1.0)
        hull[inside] = i
        # Only what is itself a piece of hull belongs to one: two small boats side by side, once taken for one hull,
        # would else stay one for good.
        is_hers = strong[inside] & (is_told[i] or length[i] >= SURE_HULL_M)
        pieces = inside[(size[inside] >= PIECE_OF_HULL * length[i]) | is_hers]
        if length[i] >= LIKELY_HULL_M and np.count_nonzero(strong[inside]) >= HILLS_OF_HULL:
            pieces = inside[strong[inside] | np.isin(inside, pieces)]
        for j in pieces[1:]:
            _join(group, int(pieces[0]), int(j))
    roots = _bounded(group, got.place_m, size)
    if np.unique(roots).size < n:
        hull = np.array([hull[roots == root].max() for root in np.unique(roots)])
        got, shapes = _joined(got, shapes, plots, roots)
    return _doubted(got, shapes, hull, store, length), shapes


def _outlines(store: TrackStore, ais: Mapping[int, AisTarget]) -> tuple[Floats, Floats, Floats, NDArray[np.bool_]]:
    """Return (length, beam, orientation, whether AIS tells it) of each track's hull; 0 where nothing was resolved."""
    length, beam, angle = axes(store.shape)
    length, is_told = np.where(store.shape_weight > 0.5, length, 0.0), np.zeros(len(store), dtype=np.bool_)
    for i, one in ((k, ais[t]) for k, t in enumerate(store.id.tolist()) if t in ais):
        way = one.heading_rad if one.heading_rad is not None else one.cog_rad if (one.sog or 0.0) > 1.0 else None
        if one.length_m is not None and way is not None and length[i] < one.length_m <= LONGEST_M:
            length[i], angle[i], is_told[i] = one.length_m, way % math.pi, True
            beam[i] = one.beam_m or one.length_m / LENGTHS_OF_BEAM
    return length, beam, angle, is_told


def _join_lines(group: NDArray[np.int64], got: Measured, size: Floats, plots: Plots) -> None:
    """Join strong hills that follow each other in a line: a ship shines at several places at once."""
    body = plots.body[got.plot]
    members = np.flatnonzero((plots.strength_db[got.plot] >= LINE_DB) & (body >= 0))
    if members.size < 2:
        return
    place, body = got.place_m[members], body[members]
    i, j = cKDTree(place).query_pairs(HILLS_APART_M + float(size[members].max()), output_type="ndarray").T
    apart = np.hypot(*(place[i] - place[j]).T) - 0.5 * (size[members[i]] + size[members[j]])
    linked = apart <= np.where(body[i] == body[j], HILLS_APART_M, BODIES_APART_M)
    pairs = coo_matrix((np.ones(linked.sum()), (i[linked], j[linked])), shape=(members.size, members.size))
    _, chain = connected_components(pairs, directed=False)
    for k in np.flatnonzero(np.bincount(chain) >= 2):
        one = members[chain == k]
        # Two behind each other in one echo are bow and stern: no skirt of the beam fills the water between two boats.
        if one.size < HILLS_OF_HULL and np.ptp(got.range_m[one]) < LINE_M:
            continue
        if _is_line(got, one, size):
            for m in one[1:]:
                _join(group, int(one[0]), int(m))


def _is_line(got: Measured, members: NDArray[np.intp], size: Floats) -> bool:
    """Return whether plots lie along a line as long as a ship may be, and no broader than she is."""
    d = got.place_m[members] - got.place_m[members].mean(axis=0)
    along = np.linalg.eigh(d.T @ d)[1][:, 1]
    length = float(np.ptp(d @ along) + np.mean(size[members]))
    breadth = float(np.ptp(d[:, 0] * along[1] - d[:, 1] * along[0]))
    slack = 2.0 * math.sqrt(0.5 * float(np.mean(got.noise[members, 0, 0] + got.noise[members, 1, 1])))
    return LINE_M <= length <= LONGEST_M and breadth <= BREADTH_SHARE * length + slack


def _bounded(group: NDArray[np.int64], place_m: Floats, size: Floats) -> NDArray[np.int64]:
    """Return the groups with those parted again that reach farther than any hull: a chain of pieces is a shore."""
    roots = np.array([_root(group, i) for i in range(group.size)])
    for root in np.unique(roots[roots != np.arange(group.size)]):
        members = np.flatnonzero(roots == root)
        apart = np.hypot(*(place_m[members, None] - place_m[None, members]).transpose(2, 0, 1))
        if float(np.max(apart + 0.5 * (size[members, None] + size[None, members]))) > LONGEST_M:
            roots[members] = members
    return roots


def _doubted(got: Measured, shapes: Floats, hull: NDArray[np.int64], store: TrackStore, length: Floats) -> Measured:
    """A plot much shorter than the hull it lies on may be any part of her: its middle is not hers."""
    size = np.sqrt(12.0 * (shapes[:, 0, 0] + shapes[:, 1, 1]))
    part = np.where(hull >= 0, 1.0 - size / np.maximum(length[hull], 1e-9), 0.0) if len(store) else np.zeros(len(got))
    at = np.flatnonzero(part > 0.3)
    if at.size == 0:
        return got
    noise = got.noise.copy()
    noise[at] += part[at, None, None] * store.shape[hull[at]]
    return replace(got, noise=noise)


def _root(group: NDArray[np.int64], i: int) -> int:
    while group[i] != i:
        i = int(group[i])
    return i


def _join(group: NDArray[np.int64], i: int, j: int) -> None:
    a, b = _root(group, i), _root(group, j)
    group[max(a, b)] = min(a, b)


def _joined(got: Measured, shapes: Floats, plots: Plots, roots: NDArray[np.intp]) -> tuple[Measured, Floats]:
    keep = np.unique(roots)
    place, noise, moment = got.place_m[keep].copy(), got.noise[keep].copy(), shapes[keep].copy()
    strongest = got.plot[keep].copy()
    for k, root in enumerate(keep):
        members = np.flatnonzero(roots == root)
        if members.size == 1:
            continue
        weight = np.maximum(plots.n_cells[got.plot[members]].astype(np.float64), 1.0)
        weight /= weight.sum()
        centre = weight @ got.place_m[members]
        d = got.place_m[members] - centre
        spread = np.einsum("m,mab->ab", weight, shapes[members]) + np.einsum("m,ma,mb->ab", weight, d, d)
        reach2 = _reach2(got.place_m[members], shapes[members])
        moment[k] = spread * min(1.0, reach2 / max(12.0 * float(np.trace(spread)), 1e-9))
        place[k] = centre
        # The middle of a broken hull wanders as its parts come and go: a sixth of her length, as glint does, and less
        # the more of them there are.
        noise[k] = np.einsum("m,mab->ab", weight, got.noise[members]) + 12.0 / 36.0 * (2.0 / members.size) * moment[k]
        strongest[k] = got.plot[members[np.argmax(np.nan_to_num(plots.strength_db[got.plot[members]]))]]
    joined = replace(
        got, plot=strongest, place_m=place, noise=noise, shared_jacobian=got.shared_jacobian[keep],
        ahead_s=got.ahead_s[keep], range_m=got.range_m[keep], bearing_rad=got.bearing_rad[keep], own_m=got.own_m[keep],
        strength_db=np.nan_to_num(plots.strength_db[strongest].astype(np.float64), nan=0.0),
    )  # fmt: skip
    return joined, moment


def _reach2(place_m: Floats, shapes: Floats) -> float:
    """Return the square of how far the parts reach, end to end: two points have more moment than a bar as long."""
    size = np.sqrt(12.0 * (shapes[:, 0, 0] + shapes[:, 1, 1]))
    apart = np.hypot(*(place_m[:, None] - place_m[None, :]).transpose(2, 0, 1))
    return float(np.max(apart + 0.5 * (size[:, None] + size[None, :]))) ** 2


def learn_shapes(store: TrackStore, tracks: NDArray[np.intp], shapes: Floats) -> None:
    """Smooth the shapes of plots (k, 2, 2) into the tracks (k,) they belong to; unresolved plots teach nothing."""
    size = np.sqrt(12.0 * (shapes[:, 0, 0] + shapes[:, 1, 1]))
    resolved = size > 0.0
    at, new, size = tracks[resolved], shapes[resolved], size[resolved]
    weight = store.shape_weight[at]
    gain = 1.0 / (np.minimum(weight, SHAPE_MEMORY - 1.0) + 1.0)
    store.shape[at] += gain[:, None, None] * (new - store.shape[at])
    store.shape_sq[at] += gain * (size**2 * size**2 - store.shape_sq[at])
    store.shape_weight[at] = weight + 1.0
