"""An exercise as one image: the last look, what went before it, what is asked, and with the answer what was there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageChops, ImageDraw, ImageFont

from moonless.constants import NAUTICAL_MILE_M
from moonless.practice.overlay import Overlay
from moonless.practice.raw import levels
from moonless.practice.types import Exercise, Knobs, Marking, Pictures, Place
from moonless.radar.link.receiver import COUNTS_PER_DB, NOISE_COUNT
from moonless.radar.picture import GAIN_DB, render

_INK = {
    "asked": (255, 120, 60), "truth": (255, 60, 40), "charted": (150, 30, 20), "hidden": (120, 22, 16),
    "chance": (190, 90, 20),
}  # fmt: skip
_CHART, _TRAIL = (120, 34, 22), 0.35
_LIGHT = {
    "white": (255, 250, 235),
    "red": (255, 40, 30),
    "green": (40, 230, 90),
    "yellow": (255, 200, 40),
    "blue": (80, 120, 255),
}
_MARGIN = 26  # as `moonless.radar.picture.render` leaves it


def image(exercise: Exercise, overlay: Overlay | None, *, solved: bool, size: int = 900) -> Image.Image:
    """Return the picture of an exercise; ``solved`` lays the answer over it, and the chart where there is one."""
    if exercise.pictures is None:
        return _lights(exercise, size)
    pictures = exercise.pictures
    drawn = _scope(pictures, exercise.view, size)
    draw = ImageDraw.Draw(drawn)
    font = ImageFont.load_default(14)
    if overlay is not None and (solved or exercise.chart == "with the question"):
        heading = pictures.last.heading_rad if solved else pictures.last.shown_heading_rad
        for line in overlay.lines:
            draw.line([_pixel(pictures, heading, place, size) for place in line], fill=_CHART, width=2)
        for place, _ in overlay.marks:
            x, y = _pixel(pictures, heading, place, size)
            draw.line((x - 5, y, x + 5, y), fill=_CHART, width=2)
            draw.line((x, y - 5, x, y + 5), fill=_CHART, width=2)
    asked = tuple(replace(note, label="") for note in exercise.asked) if solved else exercise.asked
    for note in (*asked, *(exercise.notes if solved else ())):
        _note(draw, note, [_pixel(pictures, pictures.last.heading_rad, p, size) for p in note.places], font)
    return drawn


def _scope(pictures: Pictures, view: Knobs, size: int) -> Image.Image:
    """Return the last look, the earlier ones faint beneath where trails are shown."""
    scale = pictures.scale_nm
    seen = [_as_set(counts, pictures, view) for counts in pictures.counts]
    caption = "received on your own run: practice" if pictures.is_received else "made, not received: practice"
    newest = render(seen[-1], pictures.grid, scale, pictures.last.shown_heading_rad, caption, size)
    if pictures.trails == "none":
        return newest
    faint = np.zeros((size, size, 3), dtype=np.float32)
    for counts in seen[:-1]:
        one = np.asarray(render(counts, pictures.grid, scale, pictures.last.shown_heading_rad, "", size), np.float32)
        faint = np.maximum(faint, one * _TRAIL)
    return ImageChops.lighter(newest, Image.fromarray(faint.astype(np.uint8)))


def _as_set(counts: NDArray[np.uint8], pictures: Pictures, view: Knobs) -> NDArray[np.uint8]:
    """Return counts that the picture's own gain paints as these knobs do."""
    level = levels(counts, pictures.grid, view) + np.float32(GAIN_DB)
    return np.asarray(np.clip(np.rint(NOISE_COUNT + COUNTS_PER_DB * level), 0, 255), dtype=np.uint8)


def _pixel(pictures: Pictures, heading_rad: float, place: Place, size: int) -> tuple[float, float]:
    """Return where a place lies on the picture, bow up."""
    last = pictures.last
    east, north = place[0] - last.east_m, place[1] - last.north_m
    away, turn = math.hypot(east, north), math.atan2(east, north) - heading_rad
    radius = (size / 2.0 - _MARGIN) * away / (pictures.scale_nm * NAUTICAL_MILE_M)
    middle = (size - 1) / 2.0
    return middle + radius * math.sin(turn), middle - radius * math.cos(turn)


def _note(
    draw: ImageDraw.ImageDraw,
    note: Marking,
    at: Sequence[tuple[float, float]],
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
) -> None:
    ink = _INK[note.role]
    if note.form == "ring":
        x, y = at[0]
        draw.ellipse((x - 13, y - 13, x + 13, y + 13), outline=ink, width=2)
    elif note.form == "line":
        draw.line(list(at), fill=ink, width=2)
        x, y = at[-1]
    else:
        draw.line([*at, at[0]], fill=ink, width=2)
        x, y = at[0]
    if note.label:
        draw.text((x + 15, y - 8), note.label, fill=ink, font=font)


def _lights(exercise: Exercise, size: int) -> Image.Image:
    drawn = Image.new("RGB", (size, size // 2), (4, 4, 6))
    draw = ImageDraw.Draw(drawn)
    draw.line((0, size * 0.42, size, size * 0.42), fill=(24, 20, 20))
    for spot in exercise.lights:
        x, y = size / 2 + spot.across * size * 0.35, size * 0.42 - spot.up * size * 0.36
        draw.ellipse((x - 7, y - 7, x + 7, y + 7), fill=_LIGHT[spot.colour])
    return drawn
