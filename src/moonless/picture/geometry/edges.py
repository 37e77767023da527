"""Points on edges and lines of a picture, each with the direction across it.  Colour counts, not brightness alone."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from moonless.picture.geometry.plane import Floats

Picture = NDArray[np.uint8]
"""(height, width, 3): blue, green, red."""

# A point stands out when its slope is this many times the picture's own grain.
STANDS_OUT = 2.0
NEIGHBOURHOOD = 25
# Rings run on in one direction, grain and ragged echoes do not: so alike must the directions of an edge be over so
# many pixels, of 1, and so many of its points there must be.
STRETCH, ALIKE, LEAST_POINTS = 11, 0.6, 6


@dataclass(frozen=True, slots=True, eq=False)
class EdgePoints:
    """All shape (n,): place in pixels, and the unit vector across the edge."""

    x: Floats
    y: Floats
    across_x: Floats
    across_y: Floats


def slopes(picture: Picture, blur: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the slope in x and y, (height, width), of whichever colour changes most at each pixel."""
    smooth = cv2.GaussianBlur(picture, (0, 0), blur).astype(np.float32)
    gx = cv2.Scharr(smooth, cv2.CV_32F, 1, 0) / 32.0
    gy = cv2.Scharr(smooth, cv2.CV_32F, 0, 1) / 32.0
    strongest = np.argmax(gx * gx + gy * gy, axis=2)[:, :, np.newaxis]
    return np.take_along_axis(gx, strongest, 2)[:, :, 0], np.take_along_axis(gy, strongest, 2)[:, :, 0]


def edge_points(picture: Picture, most: int, *, blur: float = 1.0) -> EdgePoints:
    """Return at most ``most`` points, those that stand out most from what is round them.

    A faint ring on dark water counts as much as the edge of a bright echo: slopes are taken against their own
    neighbourhood.
    """
    gx, gy = slopes(picture, blur)
    size = np.hypot(gx, gy)
    grain = float(np.median(size)) + 0.3
    ux = (gx / (size + 1e-6)).astype(np.float32)
    uy = (gy / (size + 1e-6)).astype(np.float32)
    height, width = size.shape
    rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
    ahead = cv2.remap(size, columns + ux, rows + uy, cv2.INTER_LINEAR)
    behind = cv2.remap(size, columns - ux, rows - uy, cv2.INTER_LINEAR)
    local = cv2.boxFilter(size, -1, (NEIGHBOURHOOD, NEIGHBOURHOOD)) + grain
    is_crest = (size >= ahead) & (size >= behind) & (size > STANDS_OUT * grain)
    is_crest[:2] = is_crest[-2:] = False
    is_crest[:, :2] = is_crest[:, -2:] = False
    at = np.flatnonzero(is_crest & _runs_on(is_crest, ux, uy))
    if at.size > most:
        told = (size / local).ravel()[at]
        at = at[np.argpartition(told, -most)[-most:]]
    # The crest's own place to a fraction of a pixel, along the slope.
    s, a, b = size.ravel()[at], ahead.ravel()[at], behind.ravel()[at]
    off = np.clip(0.5 * (a - b) / np.maximum(2.0 * s - a - b, 1e-6), -0.5, 0.5)
    vx, vy = ux.ravel()[at].astype(np.float64), uy.ravel()[at].astype(np.float64)
    return EdgePoints(at % width + off * vx, at // width + off * vy, vx, vy)


def _runs_on(is_crest: NDArray[np.bool_], ux: NDArray[np.float32], uy: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Say where an edge goes on in its own direction.  The two sides of a line count as one direction."""
    on = is_crest.astype(np.float32)
    window = (STRETCH, STRETCH)
    count = cv2.boxFilter(on, -1, window, normalize=False)
    double_c = cv2.boxFilter(on * (ux * ux - uy * uy), -1, window, normalize=False)
    double_s = cv2.boxFilter(on * (2.0 * ux * uy), -1, window, normalize=False)
    alike = np.hypot(double_c, double_s) / np.maximum(count, 1.0)
    runs_on: NDArray[np.bool_] = (alike > ALIKE) & (count >= LEAST_POINTS)
    return runs_on
