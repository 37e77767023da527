"""A picture of what was found: the rings, the bow and the echoes drawn over the screen, for a person to check."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from moonless.picture.geometry.edges import Picture
from moonless.picture.types import FoundScope, PictureScan

_RING, _BOW, _HIDDEN = (80, 220, 255), (255, 120, 255), (60, 60, 200)  # blue, green, red


def draw_found(picture: Picture, found: FoundScope, scan: PictureScan | None, side: int = 560) -> NDArray[np.uint8]:
    """Return (side, 2 side, 3): left the picture with rings and bow laid over it, right the scan it gives, bow up."""
    height, width = picture.shape[:2]
    factor = side / max(height, width)
    small = cv2.resize(picture, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    plane = found.plane.resized((small.shape[1], small.shape[0]))
    angle = np.linspace(0.0, 2.0 * math.pi, 181)
    for ring in range(1, found.rings + 1):
        u, v = plane.to_picture(ring * np.sin(angle), -ring * np.cos(angle))
        points = np.rint(np.stack([u, v], axis=1) * 16.0).astype(np.int32)
        cv2.polylines(small, [points], False, _RING, 1, cv2.LINE_AA, 4)
    if found.bow_rad is not None:
        reach = np.array([0.0, float(found.rings)])
        u, v = plane.to_picture(reach * math.sin(found.bow_rad), -reach * math.cos(found.bow_rad))
        ends = np.rint(np.stack([u, v], axis=1) * 16.0).astype(np.int32)
        cv2.polylines(small, [ends], False, _BOW, 2, cv2.LINE_AA, 4)
    out = np.full((side, 2 * side, 3), 24, np.uint8)
    top, left = (side - small.shape[0]) // 2, (side - small.shape[1]) // 2
    out[top : top + small.shape[0], left : left + small.shape[1]] = small
    if scan is not None:
        out[:, side:] = draw_scan(scan, side)
    return out


def draw_scan(scan: PictureScan, side: int) -> NDArray[np.uint8]:
    """Return (side, side, 3): the scan as a plain scope, first row up; what was not shown is red, not dark."""
    x, y = np.meshgrid(np.arange(side) - 0.5 * side, np.arange(side) - 0.5 * side)
    reach = np.hypot(x, y) / (0.47 * side)
    n_row, n_cell = scan.echo.shape
    row = np.rint(np.mod(np.arctan2(x, -y), 2.0 * math.pi) / (2.0 * math.pi) * n_row).astype(np.int64) % n_row
    column = np.clip(np.rint(reach * n_cell - 1.0), 0, n_cell - 1).astype(np.int64)
    grey = scan.echo[row, column]
    out = np.stack([grey, grey, grey], axis=2)
    out[~scan.shown[row, column]] = _HIDDEN
    out[reach > 1.0] = 24
    return out
