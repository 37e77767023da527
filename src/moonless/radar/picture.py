"""A picture of a scan: red on black, bow up, with rings, heading line and north mark."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from moonless.constants import NAUTICAL_MILE_M, TAU
from moonless.radar.link.receiver import COUNTS_PER_DB, NOISE_COUNT
from moonless.radar.types import ScanGrid

# Nothing is drawn until this far above the noise: an operator's gain, set so that noise just shows.
GAIN_DB = 9.0
FULL_DB = 55.0
_RINGS = {0.25: 2, 0.5: 2, 0.75: 3}


def render(
    counts: NDArray[np.uint8],
    grid: ScanGrid,
    scale_nm: float,
    heading_rad: float,
    caption: str,
    size: int = 900,
) -> Image.Image:
    """Return the picture of one scan out to ``scale_nm``; ``caption`` stands below it and says it is predicted."""
    margin = 26
    middle = (size - 1) / 2.0
    radius = size / 2.0 - margin
    image = Image.fromarray(_paint(counts, grid, scale_nm, size, radius))
    draw = ImageDraw.Draw(image)
    ink, faint = (150, 24, 16), (66, 10, 8)
    rings = _RINGS.get(scale_nm, 6 if scale_nm > 3.0 else 3)
    font = ImageFont.load_default(13)
    for ring in range(1, rings + 1):
        r = radius * ring / rings
        draw.ellipse((middle - r, middle - r, middle + r, middle + r), outline=faint)
        draw.text((middle + 4, middle - r + 2), f"{scale_nm * ring / rings:.3g}", fill=ink, font=font)
    for degrees in range(0, 360, 10):
        angle = math.radians(degrees)
        long = 8 if degrees % 30 == 0 else 4
        s, c = math.sin(angle), math.cos(angle)
        draw.line(
            (middle + radius * s, middle - radius * c, middle + (radius + long) * s, middle - (radius + long) * c),
            fill=ink,
        )
    draw.line((middle, middle, middle, middle - radius), fill=ink)
    north = -heading_rad
    s, c = math.sin(north), math.cos(north)
    x, y = middle + (radius + 16) * s, middle - (radius + 16) * c
    draw.text((x, y), "N", fill=(210, 40, 28), font=font, anchor="mm")
    draw.text((8, size - 20), caption, fill=(190, 34, 24), font=font)
    return image


def _paint(counts: NDArray[np.uint8], grid: ScanGrid, scale_nm: float, size: int, radius: float) -> NDArray[np.uint8]:
    middle = (size - 1) / 2.0
    y, x = np.mgrid[0:size, 0:size]
    right, up = x - middle, middle - y
    reach = np.hypot(right, up)
    metres = reach / radius * scale_nm * NAUTICAL_MILE_M
    n_spoke, n_cell = counts.shape
    level = (counts.astype(np.float32) - NOISE_COUNT) / COUNTS_PER_DB
    # A pixel that covers many cells shows their peak, as a screen does; thin echoes would be lost else.
    out_step = max(1, int(scale_nm * NAUTICAL_MILE_M / radius / grid.cell_m))
    if out_step > 1:
        keep = n_cell - n_cell % out_step
        peak = level[:, :keep].reshape(n_spoke, -1, out_step).max(axis=2)
        level = np.repeat(peak, out_step, axis=1)
    spoke = np.rint(np.mod(np.arctan2(right, up), TAU) * (n_spoke / TAU)).astype(np.int64) % n_spoke
    cell = np.rint((metres - grid.first_cell_m) / grid.cell_m).astype(np.int64)
    inside = (reach <= radius) & (cell >= 0) & (cell < level.shape[1])
    bright = np.zeros((size, size), dtype=np.float32)
    bright[inside] = level[spoke[inside], cell[inside]]
    strength = np.clip((bright - GAIN_DB) / (FULL_DB - GAIN_DB), 0.0, 1.0)
    # Lifted, so that a faint echo is a dim red and not black.
    strength = np.where(strength > 0.0, 0.24 + 0.76 * strength, 0.0)
    image = np.zeros((size, size, 3), dtype=np.uint8)
    image[..., 0] = np.where(inside, 10 + 235 * strength, 0).astype(np.uint8)
    image[..., 1] = np.where(inside, 90 * strength**2.5, 0).astype(np.uint8)
    image[..., 2] = np.where(inside, 40 * strength**3, 0).astype(np.uint8)
    return image
