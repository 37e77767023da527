"""What the screen's colours mean: which is water, which are echoes and in what order, which is neither.

Nothing is known of the palette beforehand.  Water is the commonest colour; an echo rises and falls from cell to cell,
so colours that are next to each other in strength are next to each other in the picture.  The order in which all
colours follow each other, from water upward, along the most frequent borders, is the order of strength.

Rules of this file:
- Colours are differences from the water round them: glare and veils, which add light, drop out.
- A colour that only ever stands alone on water, and is the colour of the words beside the scope, is writing.
- What the order rests on is told: `Palette.is_sure`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from moonless.picture.geometry.plane import Floats

Floats32 = NDArray[np.float32]

# What is told from water: so many times the grain, and so many counts.
OVER_GRAIN, LEAST_COUNTS = 4.5, 14.0
# Two colours nearer than this are one, counts.
SAME_COUNTS = 20.0
MOST_COLOURS = 8
# A colour has at least this share of all that is not water.
LEAST_SHARE = 0.004
LUT_BITS = 6
# As it is read: water 0, the strongest colour 254.
STRONGEST, HIDDEN = 254, 255
# Colours whose ways from water cost so nearly the same are not surely ordered.
LEAST_STEP = 0.08


@dataclass(frozen=True, slots=True, eq=False)
class Palette:
    """Colours as differences from water, weakest echo first.

    ``writing``: colours of what lies over the picture.  ``lut``: strength of each difference, `HIDDEN` for writing.
    """

    levels: Floats  # (n_level, 3)
    writing: Floats  # (n, 3)
    grain: float  # of water, counts
    limit: float  # what differs by less is water, counts
    is_sure: bool
    lut: NDArray[np.uint8]

    @property
    def n_level(self) -> int:
        """Strengths told apart, water not counted."""
        return int(self.levels.shape[0])

    def read(self, colour: NDArray[np.uint8], water: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Return the strength of each pixel, 0 water to `STRONGEST`; `HIDDEN` writing."""
        return self.of(colour.astype(np.int16) - water)

    def of(self, difference: NDArray[np.int16]) -> NDArray[np.uint8]:
        """Return the strength of differences from water, (..., 3)."""
        # One picture of 16-bit differences, then one look-up: this is the part done for every frame.
        place = (difference + np.int16(256)) >> (9 - LUT_BITS)
        if place.ndim and difference.size and (place.min() < 0 or place.max() >= 1 << LUT_BITS):
            place = np.clip(place, 0, (1 << LUT_BITS) - 1)
        index = (place[..., 0].astype(np.int32) << (2 * LUT_BITS)) | (place[..., 1].astype(np.int32) << LUT_BITS)
        found: NDArray[np.uint8] = self.lut[index | place[..., 2]]
        return found


def learn_palette(
    colour: NDArray[np.uint8], water: Floats32, grain: float, valid: NDArray[np.bool_], *,
    beside: Floats | None = None, not_echo: Floats | None = None, strongest: Floats | None = None,
) -> Palette:  # fmt: skip
    """Return what the colours mean.

    Parameters
    ----------
    beside : (n, 3) colours of writing seen beside the scope
    not_echo, strongest : (n, 3) colours that the skipper has pointed at
    """
    difference = colour.astype(np.float32) - water
    size = np.sqrt((difference**2).sum(axis=2))
    limit = max(OVER_GRAIN * grain * 1.4, LEAST_COUNTS)
    lit = valid & (size > limit)
    colours = _clusters(difference, lit, valid, limit)
    if colours.shape[0] == 0:
        return _palette(np.zeros((0, 3)), np.zeros((0, 3)), grain, limit, is_sure=False)
    label = np.zeros(lit.shape, np.int64)
    label[lit] = 1 + _nearest(difference[lit], colours)
    borders = _borders(label, valid, colours.shape[0] + 1)
    given_away = _matches(colours, not_echo, 1.6 * SAME_COUNTS)
    writing = given_away | (_matches(colours, beside, 1.3 * SAME_COUNTS) & _stands_alone(borders))
    if strongest is not None:
        writing &= ~_matches(colours, strongest, 1.6 * SAME_COUNTS)
    keep = np.flatnonzero(~writing)
    order, margin = _order(borders, keep, colours, strongest)
    return _palette(colours[order], colours[writing], grain, limit, is_sure=margin)


def _clusters(difference: Floats32, lit: NDArray[np.bool_], valid: NDArray[np.bool_], limit: float) -> Floats:
    """Return the colours that there are, (n, 3): the peaks of their histogram, flat places before borders."""
    dx = np.abs(np.diff(difference, axis=1, append=difference[:, -1:])).max(axis=2)
    dy = np.abs(np.diff(difference, axis=0, append=difference[:1])).max(axis=2)
    flat = lit & (np.maximum(dx, np.roll(dx, 1, axis=1)) < 24.0) & (np.maximum(dy, np.roll(dy, 1, axis=0)) < 24.0)
    chosen = flat if np.count_nonzero(flat) > 400 else lit
    pixels = difference[chosen]
    if pixels.shape[0] < 20:
        return np.zeros((0, 3))
    bins = np.clip(((difference[valid] + 256.0) / 8.0).astype(np.int64), 0, 63)
    counts = np.bincount(bins[:, 0] * 4096 + bins[:, 1] * 64 + bins[:, 2], minlength=64**3).reshape(64, 64, 64)
    smooth = ndimage.gaussian_filter(counts.astype(np.float32), 0.9)
    # A colour of the palette is a peak; what blur mixes of two colours, and the slope from water, are not.
    highest = ndimage.maximum_filter(smooth, size=5)
    peaks = np.flatnonzero((smooth >= highest) & (smooth > 0.4))
    found: list[Floats] = []
    heights = smooth.ravel()
    for at in peaks[np.argsort(-heights[peaks])].tolist():
        middle = (np.array(np.unravel_index(at, smooth.shape)) + 0.5) * 8.0 - 256.0
        if float(np.linalg.norm(middle)) < limit or len(found) >= 3 * MOST_COLOURS:
            continue
        if all(float(np.linalg.norm(middle - other)) > 1.8 * SAME_COUNTS for other in found):
            found.append(middle)
    # Where no place is flat enough to make a peak, mixtures must do; they lie between what they are mixed of.
    pixel_bins = np.clip(((pixels + 256.0) / 16.0).astype(np.int64), 0, 31)
    coarse = np.bincount(pixel_bins[:, 0] * 1024 + pixel_bins[:, 1] * 32 + pixel_bins[:, 2], minlength=32**3)
    for at in np.argsort(-coarse)[:400].tolist():
        if coarse[at] < max(LEAST_SHARE * pixels.shape[0], 12) or len(found) >= MOST_COLOURS:
            break
        middle = (np.array(np.unravel_index(at, (32, 32, 32))) + 0.5) * 16.0 - 256.0
        if all(float(np.linalg.norm(middle - other)) > 2.2 * SAME_COUNTS for other in found):
            found.append(middle)
    if not found:
        return np.zeros((0, 3))
    colours = np.array(found)
    for _ in range(2):  # to the middle of what is nearest
        label = _nearest(pixels, colours)
        many = np.bincount(label, minlength=colours.shape[0])
        means = np.stack([np.bincount(label, weights=pixels[:, k], minlength=colours.shape[0]) for k in range(3)], 1)
        colours = means[many > 0] / many[many > 0, None]
    many = np.bincount(_nearest(pixels, colours), minlength=colours.shape[0])
    most = np.argsort(-many)[:MOST_COLOURS]
    return colours[[k for k in most if many[k] >= max(LEAST_SHARE * pixels.shape[0], 12)]]


def _nearest(pixels: Floats32, colours: Floats) -> NDArray[np.int64]:
    away = ((pixels[:, None, :] - colours[None, :, :].astype(np.float32)) ** 2).sum(axis=2)
    nearest: NDArray[np.int64] = np.argmin(away, axis=1).astype(np.int64)
    return nearest


def _borders(label: NDArray[np.int64], valid: NDArray[np.bool_], n: int) -> Floats:
    """Return (n, n), symmetric: how often two labels lie side by side."""
    counts = np.zeros(n * n)
    for axis in (0, 1):
        other, ok = np.roll(label, -1, axis), valid & np.roll(valid, -1, axis)
        if axis == 1:
            ok = ok.copy()
            ok[:, -1] = False
        counts += np.bincount(label[ok] * n + other[ok], minlength=n * n)
    table = counts.reshape(n, n)
    out: Floats = table + table.T
    return out


def _matches(colours: Floats, given: Floats | None, within: float) -> NDArray[np.bool_]:
    if given is None or given.shape[0] == 0:
        return np.zeros(colours.shape[0], np.bool_)
    away = np.sqrt(((colours[:, None, :] - given[None, :, :]) ** 2).sum(axis=2))
    near: NDArray[np.bool_] = away.min(axis=1) < within
    return near


def _stands_alone(borders: Floats) -> NDArray[np.bool_]:
    """Say of each colour whether it borders on water more than on all other colours together."""
    other = borders.sum(axis=1) - np.diag(borders)
    alone: NDArray[np.bool_] = (borders[:, 0] > 0.5 * other)[1:]
    return alone


def _order(
    borders: Floats, keep: NDArray[np.intp], colours: Floats, strongest: Floats | None
) -> tuple[list[int], bool]:
    """Return the colours from weakest to strongest, and whether no other order fits nearly as well."""
    k = len(keep)
    if k <= 1:
        return [int(i) for i in keep], k == 1
    index = np.concatenate([[0], keep + 1])
    table = borders[np.ix_(index, index)]
    off = table - np.diag(np.diag(table))
    # A rare colour has few borders with anything: what counts is its share.
    total = off.sum(axis=1) + 1.0
    share = np.minimum(np.log((off + 0.5) / np.sqrt(total[:, None] * total[None, :])), 0.0)
    # The cheapest way from water, going from colour to colour over frequent borders.
    cost = np.full(k + 1, np.inf)
    cost[0] = 0.0
    for _ in range(k):
        cost = np.minimum(cost, (cost[:, None] - share).min(axis=0))
    if strongest is not None and strongest.shape[0]:
        away = np.sqrt(((colours[keep][:, None, :] - strongest[None]) ** 2).sum(axis=2)).min(axis=1)
        cost[1 + int(np.argmin(away))] = np.inf
    order = np.argsort(cost[1:], kind="stable")
    steps = np.diff(np.sort(cost[1:]))
    return [int(keep[i]) for i in order], bool((steps > LEAST_STEP).all())


def _palette(levels: Floats, writing: Floats, grain: float, limit: float, *, is_sure: bool) -> Palette:
    n = 1 << LUT_BITS
    step = 512.0 / n
    axis = (np.arange(n) + 0.5) * step - 256.0
    grid = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(-1, 3).astype(np.float32)
    lut = np.zeros(n**3, np.uint8)
    if levels.shape[0] or writing.shape[0]:
        size = np.sqrt((grid**2).sum(axis=1))
        along, nearest_level = _along(grid, levels.astype(np.float32))
        value = np.clip(np.rint(along * STRONGEST), 1, STRONGEST).astype(np.uint8)
        for one in writing.astype(np.float32):
            away = ((grid - one) ** 2).sum(axis=1)
            value[away < nearest_level] = HIDDEN
        first = float(np.linalg.norm(levels[0])) if levels.shape[0] else limit
        lut = np.where(size > min(limit, 0.55 * first) if first > limit else size > 0.55 * first, value, 0)
        lut = lut.astype(np.uint8)
    return Palette(levels, writing, grain, limit, is_sure, lut)


def _along(grid: Floats32, levels: Floats32) -> tuple[Floats32, Floats32]:
    """Return how far along the way from water over all levels each colour lies, 0 to 1, and the squared distance to the
    nearest level.

    What lies between two colours is a mixture of them, of the camera's making, and lies between them in strength.
    """
    nodes = np.concatenate([np.zeros((1, 3), np.float32), levels])
    lengths = np.sqrt((np.diff(nodes, axis=0) ** 2).sum(axis=1))
    began = np.concatenate([[0.0], np.cumsum(lengths)])
    best = np.full(grid.shape[0], np.inf, np.float32)
    along = np.zeros(grid.shape[0], np.float32)
    nearest = np.full(grid.shape[0], np.inf, np.float32)
    for k, length in enumerate(lengths.tolist()):
        toward = (nodes[k + 1] - nodes[k]) / max(length, 1e-6)
        off = grid - nodes[k]
        at = np.clip(off @ toward, 0.0, length)
        away = ((off - at[:, None] * toward) ** 2).sum(axis=1)
        nearer = away < best
        best[nearer], along[nearer] = away[nearer], (began[k] + at[nearer]) / began[-1]
        nearest = np.minimum(nearest, ((grid - nodes[k + 1]) ** 2).sum(axis=1))
    return along, nearest
