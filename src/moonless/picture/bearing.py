"""Which way the bow is: the heading line, a straight line from own boat outward."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.picture.geometry.edges import Picture
from moonless.picture.geometry.plane import Floats, ScopePlane
from moonless.picture.geometry.scope import Unroller, px_per_ring

Floats32 = NDArray[np.float32]

ROWS = 1440
# The line is looked for between these shares of the way to the outermost ring: nearer, everything is crowded.
NEAR, FAR = 0.18, 0.97
# A whole line is seen in so much of its length at least; a dashed one in half of it.
LEAST_SEEN = 0.45
# Another line that is seen nearly as well and lies so far off leaves it open which one is the bow.
RIVAL, APART_DEG = 0.8, 4.0


@dataclass(frozen=True, slots=True)
class RadialLine:
    """A straight line from the centre outward.  ``angle``: clockwise from the plane's up, radians."""

    angle: float
    seen: float  # share of its length
    sigma: float  # radians
    colour: tuple[int, int, int]  # blue, green, red


def radial_lines(picture: Picture, plane: ScopePlane, outermost: float, most: int = 4) -> list[RadialLine]:
    """Return the straight lines from the centre, best seen first.  ``outermost``: ring spacings to the last ring."""
    n_radius = max(64, round(outermost * px_per_ring(plane)))
    unrolled = Unroller.make(plane, ROWS, n_radius, outermost).unroll(picture)
    first, last = round(NEAR * n_radius), round(FAR * n_radius)
    colour = unrolled.colour.astype(np.float32)[:, first:last]
    inside = unrolled.inside[:, first:last]
    side_px = max(2.5, 0.004 * picture.shape[0])
    px_per_cell = np.float64(outermost * px_per_ring(plane) / n_radius)
    radius_px = np.arange(first + 1.0, last + 1.0, dtype=np.float64) * px_per_cell
    # Beside the line, so many rows off that it is the same number of pixels at every distance.
    rows_off = np.maximum(1, np.rint(side_px / radius_px * ROWS / TAU)).astype(np.int64)
    row = np.arange(ROWS)[:, None]
    column = np.arange(last - first)[None, :]
    left, right = colour[(row - rows_off) % ROWS, column], colour[(row + rows_off) % ROWS, column]
    line = np.clip(2.0 * colour - left - right, -120.0, 120.0) * inside[:, :, None]
    grain = float(np.median(np.abs(line))) * 1.4826 + 0.5
    held = np.clip(line, -8.0 * grain, 8.0 * grain)
    many = np.maximum(inside.sum(axis=1), 1)
    mean = held.sum(axis=1) / many[:, None]
    told = np.sqrt((mean**2).sum(axis=1)) * (many > 0.3 * (last - first))
    found: list[RadialLine] = []
    for at in np.argsort(-told)[:300].tolist():
        if len(found) >= most or told[at] < 3.0 * grain / math.sqrt(last - first):
            break
        angle = at * TAU / ROWS
        if any(abs(math.remainder(angle - other.angle, TAU)) < math.radians(2.0) for other in found):
            continue
        one = _line_at(at, line, mean, rows_off, radius_px, grain, inside, colour)
        if one is not None:
            found.append(one)
    found.sort(key=lambda one: -one.seen)
    return found


def _line_at(
    at: int, line: Floats32, mean: Floats32, rows_off: NDArray[np.int64], radius_px: Floats, grain: float,
    inside: NDArray[np.bool_], colour: Floats32,
) -> RadialLine | None:  # fmt: skip
    """Return the line near a row, its angle to a fraction of a row."""
    toward = mean[at] / max(float(np.linalg.norm(mean[at])), 1e-9)
    span = int(rows_off.max())
    rows = (at + np.arange(-span, span + 1)) % ROWS
    here = np.clip(line[rows] @ toward, 0.0, None)  # (2 span + 1, n_radius)
    off = np.arange(-span, span + 1)[:, None]
    near = np.abs(off) <= rows_off[None, :]
    here = np.where(near, here, 0.0)
    peak = here.max(axis=0)
    # A broken line is half gaps: they are gaps against the line's own brightness, not against the grain.
    bright = float(np.percentile(peak[inside[at]], 80.0)) if inside[at].any() else 0.0
    good = (peak > max(3.0 * grain, 0.45 * bright)) & inside[at]
    seen = float(np.count_nonzero(good)) / max(int(np.count_nonzero(inside[at])), 1)
    if np.count_nonzero(good) < 20:
        return None
    middle = (here * off).sum(axis=0) / np.maximum(here.sum(axis=0), 1e-6)  # rows
    # Far out the same error in pixels is a smaller angle: weights go with the distance squared.
    value, weight = middle[good], radius_px[good] ** 2
    for _ in range(4):
        centre = float(np.sum(value * weight) / np.sum(weight))
        away = np.abs(value - centre) * radius_px[good]
        scale = float(np.median(away)) * 1.4826 + 1e-6
        weight = radius_px[good] ** 2 / (1.0 + (away / (2.0 * scale)) ** 2)
    per_point = float(np.sqrt(np.sum(weight * (value - centre) ** 2) / np.sum(weight)))
    sigma = per_point * TAU / ROWS / math.sqrt(np.count_nonzero(good) / 8.0) + math.radians(0.05)
    shown = colour[at][good].mean(axis=0)
    return RadialLine((at + centre) * TAU / ROWS % TAU, seen, sigma, (int(shown[0]), int(shown[1]), int(shown[2])))


def heading_line(lines: list[RadialLine]) -> RadialLine | None:
    """Return the one line that can be the heading line; None where there is none, or where two could be."""
    if not lines or lines[0].seen < LEAST_SEEN:
        return None
    for other in lines[1:]:
        off = abs(math.remainder(other.angle - lines[0].angle, TAU))
        if other.seen > RIVAL * lines[0].seen and off > math.radians(APART_DEG):
            return None
    return lines[0]
