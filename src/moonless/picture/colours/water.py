"""Water's own colour, everywhere on the scope: what light falls on the screen lies on it too, and drops out with it.

Glare rises slowly and an echo at once: whatever can be reached from water without a step is water, lit or shaded.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Floats32 = NDArray[np.float32]

# So near the commonest colour is water, counts.
AS_START = 20.0
# Between places two cells apart glare rises by no more than this, counts, or so many times the grain.
LEAST_STEP, GRAIN_STEP = 3.0, 1.2
# A piece of smooth ground is water when so much of it, and so many places, have the commonest colour.
LEAST_SHARE, LEAST_PLACES = 0.02, 60
# Over which the ground is averaged, cells: fine where there is water enough, wide beneath echoes.
FINE, WIDE = 12.0, 40.0
COARSE = 2
# Light of lamps and sky has some of every colour: of its strongest at least this much.
PALE = 0.3


def water_of(colour: NDArray[np.uint8], valid: NDArray[np.bool_]) -> tuple[Floats32, float]:
    """Return water's colour everywhere, (rows, columns, 3), and its grain; rows wrap round.

    The commonest colour to begin with; then what is joined to it without a step, averaged over the neighbourhood.
    """
    start = _commonest(colour[valid])
    values = colour.astype(np.float32)
    away = np.abs(values - start).max(axis=2)
    near = valid & (away < AS_START)
    if np.count_nonzero(near) < 100:
        return np.broadcast_to(start, colour.shape).astype(np.float32), 6.0
    grain = _grain(values, near)
    close = near | _joined(colour, valid, near, start, grain)
    water = np.empty_like(values)
    for _ in range(3):
        water = _spread(values, close, start)
        away = np.abs(values - water).max(axis=2)
        grain = float(np.median(away[close])) / 0.95 + 0.4
        close = close & (away < max(3.0 * grain, 10.0))
        if np.count_nonzero(close) < 100:
            break
    return water, grain


def _commonest(pixels: NDArray[np.uint8]) -> Floats32:
    binned = (pixels >> 3).astype(np.int64)
    counts = np.bincount(binned[:, 0] * 1024 + binned[:, 1] * 32 + binned[:, 2], minlength=32768).reshape(32, 32, 32)
    smooth = counts.astype(np.float64)
    for axis in range(3):
        smooth = smooth + np.roll(smooth, 1, axis) + np.roll(smooth, -1, axis)
    at = np.unravel_index(int(np.argmax(smooth)), smooth.shape)
    start = np.array(at, dtype=np.float32) * 8.0 + 4.0
    near = np.abs(pixels.astype(np.float32) - start).max(axis=1) < AS_START
    return np.median(pixels[near], axis=0).astype(np.float32) if near.any() else start


def _grain(values: Floats32, near: NDArray[np.bool_]) -> float:
    """Return how far cells side by side differ where water is, as one standard deviation."""
    both = near[:, 1:] & near[:, :-1]
    step = np.abs(values[:, 1:] - values[:, :-1]).max(axis=2)[both]
    return float(np.median(step)) / 1.35 + 0.4 if step.size else 6.0


def _joined(
    colour: NDArray[np.uint8], valid: NDArray[np.bool_], near: NDArray[np.bool_], start: Floats32, grain: float
) -> NDArray[np.bool_]:
    """Return what is joined to water without a step, of the picture's shape."""
    smooth = cv2.blur(colour, (5, 5))[::COARSE, ::COARSE].astype(np.int16)
    most = max(LEAST_STEP, GRAIN_STEP * grain)
    is_rough = np.zeros(smooth.shape[:2], np.bool_)
    across = np.abs(np.diff(smooth, axis=1)).max(axis=2) > most
    is_rough[:, 1:] |= across
    is_rough[:, :-1] |= across
    down = np.abs(smooth - np.roll(smooth, 1, axis=0)).max(axis=2) > most
    is_rough |= down | np.roll(down, -1, axis=0)
    light = smooth - start
    weakest, strongest = light.min(axis=2), light.max(axis=2)
    is_pale = (strongest < AS_START) | (weakest > PALE * strongest)
    ground = ~is_rough & is_pale & valid[::COARSE, ::COARSE]
    n_row = ground.shape[0]
    # Laid out twice, so that a piece goes on over the first row.
    label, many = ndimage.label(np.concatenate([ground, ground]))
    own = np.concatenate([near[::COARSE, ::COARSE]] * 2)
    places = np.bincount(label.ravel(), minlength=many + 1)
    water = np.bincount(label.ravel(), weights=own.ravel(), minlength=many + 1)
    is_water = (water >= LEAST_PLACES) & (water >= LEAST_SHARE * places)
    is_water[0] = False
    kept = is_water[label]
    joined = (kept[:n_row] | kept[n_row:]).astype(np.uint8)
    whole = cv2.resize(joined, (colour.shape[1], colour.shape[0]), interpolation=cv2.INTER_NEAREST)
    out: NDArray[np.bool_] = (whole > 0) & valid
    return out


def _spread(values: Floats32, close: NDArray[np.bool_], start: Floats32) -> Floats32:
    """Return the mean of the cells marked near each place: of those close by, else of farther ones, else of all."""
    rows = values.shape[0]
    pad = min(rows, 160)
    weight = np.concatenate([close[-pad:], close, close[:pad]]).astype(np.float32)
    full = np.concatenate([values[-pad:], values, values[:pad]]) * weight[:, :, None]
    quarter = (math.ceil(full.shape[1] / 4), math.ceil(full.shape[0] / 4))
    small = cv2.resize(full, quarter, interpolation=cv2.INTER_AREA)
    small_weight = cv2.resize(weight, quarter, interpolation=cv2.INTER_AREA)
    mean = np.broadcast_to(start, small.shape).astype(np.float32)
    for sigma, held in ((WIDE, 1e-3), (FINE, 0.05)):
        total = cv2.GaussianBlur(small, (0, 0), sigma / 4.0) + np.float32(held) * mean
        mean = total / (cv2.GaussianBlur(small_weight, (0, 0), sigma / 4.0) + np.float32(held))[:, :, None]
    whole = cv2.resize(mean, (full.shape[1], full.shape[0]), interpolation=cv2.INTER_LINEAR)
    out: Floats32 = whole[pad : pad + rows]
    return out
