"""Draws a polar scan on an invented screen, and knows the truth of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from bench.screens.layouts import Colour, Layout

Pixels = NDArray[np.uint8]  # (height, width, 3), red green blue
TAU = 2.0 * math.pi
# Half a level of a four-level picture: what echoes must reach to be drawn at all.
FIRST_LEVEL = 0.14


@dataclass(frozen=True, slots=True)
class Shown:
    """What the screen is asked to show."""

    echo: NDArray[np.uint8]  # (n_spoke, n_cell), of 255, row 0 at the bow, to the scale's end
    scale_nm: float
    heading_rad: float = 0.0
    course_rad: float = 0.0
    older: NDArray[np.uint8] | None = None  # what the sweep has not painted over yet
    sweep_rad: float | None = None  # from the bow; None: the whole picture is new
    trail: NDArray[np.bool_] | None = None


@dataclass(frozen=True, slots=True)
class Screen:
    """A drawn screen.  Truth in its own pixels; ``bow_rad``: where the bow points, clockwise from the screen's up."""

    pixels: Pixels
    centre: tuple[float, float]
    radius: float
    bow_rad: float
    strength: NDArray[np.int16]  # (height, width): level drawn, 0 none; -1: outside the picture or covered


def place_of(layout: Layout) -> tuple[float, float, float]:
    """Return (x, y, radius) of the rings, pixels."""
    width, height = layout.size
    return layout.centre[0] * width, layout.centre[1] * height, layout.radius * height


def levels_of(echo: NDArray[np.uint8], n: int) -> NDArray[np.uint8]:
    """Return the level, 0 to n, that a screen of n colours gives each count."""
    first = FIRST_LEVEL * 255.0
    step = (255.0 - first) / n
    return np.where(echo < first, 0, 1 + np.minimum((echo - first) // step, n - 1)).astype(np.uint8)


def bow_of(layout: Layout, shown: Shown) -> float:
    """Return where the bow points, clockwise from the screen's up."""
    if layout.up == "north":
        return shown.heading_rad % TAU
    if layout.up == "course":
        return (shown.heading_rad - shown.course_rad) % TAU
    return 0.0


def draw_screen(layout: Layout, shown: Shown) -> Screen:
    """Return the screen."""
    width, height = layout.size
    cx, cy, radius = place_of(layout)
    bow = bow_of(layout, shown)
    x, y = np.meshgrid(np.arange(width, dtype=np.float32) - cx, np.arange(height, dtype=np.float32) - cy)
    reach = np.hypot(x, y)
    azimuth = np.mod(np.arctan2(x, -y) - bow, TAU)
    n_spoke, n_cell = shown.echo.shape
    # A box shows what lies past the outermost ring too, where the scan reaches.
    inside = (reach <= radius) if layout.window == "disc" else _box(layout, x, y, cx, cy)
    row = np.minimum((azimuth / TAU * n_spoke + 0.5).astype(np.int32) % n_spoke, n_spoke - 1)
    counts = _to_screen(shown.echo, row, reach, radius)
    old = np.zeros_like(inside)
    if shown.older is not None and shown.sweep_rad is not None:
        old = azimuth > shown.sweep_rad
        counts = np.where(old, _to_screen(shown.older, row, reach, radius), counts)
    level = levels_of(counts, len(layout.levels))
    level[~inside | (reach > radius * 1.0001 * max(1.0, 1.0))] = 0
    pixels = np.empty((height, width, 3), np.uint8)
    pixels[:] = layout.frame
    pixels[inside] = layout.water
    if shown.trail is not None and layout.trail is not None:
        column = np.minimum((reach / radius * n_cell).astype(np.int32), n_cell - 1)
        pixels[inside & (reach < radius) & shown.trail[row, column]] = layout.trail
    table = np.array([layout.water, *layout.levels], np.uint8)
    lit = level > 0
    pixels[lit] = table[level[lit]]
    strength = level.astype(np.int16)
    strength[~inside] = -1
    before = pixels.copy()
    _rings(pixels, layout, inside, reach, azimuth, bow)
    _heading_line(pixels, layout, inside, bow)
    image = Image.fromarray(pixels)
    _scale(ImageDraw.Draw(image), layout, bow)
    _words(image, layout, shown)
    pixels = np.asarray(image).copy()
    covered = (pixels != before).any(axis=2)
    # Thin lines hide nothing that matters; what lies over the picture in one piece does.
    over = cv2.morphologyEx(covered.astype(np.uint8), cv2.MORPH_OPEN, np.ones((4, 4), np.uint8)) > 0
    strength[over] = -1
    return Screen(pixels, (cx, cy), radius, bow, strength)


def _box(layout: Layout, x: NDArray[np.float32], y: NDArray[np.float32], cx: float, cy: float) -> NDArray[np.bool_]:
    width, height = layout.size
    left, top, right, bottom = layout.box
    inside: NDArray[np.bool_] = (
        (x + cx >= left * width) & (x + cx < right * width) & (y + cy >= top * height) & (y + cy < bottom * height)
    )
    return inside


def _to_screen(
    echo: NDArray[np.uint8], row: NDArray[np.int32], reach: NDArray[np.float32], radius: float
) -> NDArray[np.uint8]:
    """Return each pixel's count: the strongest of the cells that fall on it in range, as scan converters do."""
    n_cell = echo.shape[1]
    n_px = math.ceil(radius)
    edge = np.minimum((np.arange(n_px) * (n_cell / radius)).astype(np.int64), n_cell - 1)
    pooled = np.maximum.reduceat(echo, edge, axis=1) if n_cell > n_px else echo[:, edge]
    column = np.minimum(reach.astype(np.int32), n_px - 1)
    return np.where(reach < radius, pooled[row, column], 0).astype(np.uint8)


def _rings(
    pixels: Pixels, layout: Layout, inside: NDArray[np.bool_], reach: NDArray[np.float32],
    azimuth: NDArray[np.float32], bow: float,
) -> None:  # fmt: skip
    _, _, radius = place_of(layout)
    half = 0.5 * layout.ring_px
    for number in range(1, layout.rings + (2 if layout.window == "box" else 1)):
        on = np.abs(reach - radius * number / layout.rings) <= half
        if layout.ring_dash:
            on &= np.mod(np.degrees(azimuth + bow), 2.0 * layout.ring_dash) < layout.ring_dash
        # Half a pixel outside the water the outermost ring still shows.
        pixels[on & (inside | (layout.window == "disc"))] = layout.ring


def _heading_line(pixels: Pixels, layout: Layout, inside: NDArray[np.bool_], bow: float) -> None:
    cx, cy, radius = place_of(layout)
    far = radius * (1.0 if layout.window == "disc" else 1.6)
    line = np.zeros(inside.shape, np.uint8)
    for begin in np.arange(0.0, far, 24.0):
        end = min(begin + (12.0 if layout.line_dash else 24.5), far)
        ends = [(cx + d * math.sin(bow), cy - d * math.cos(bow)) for d in (begin, end)]
        cv2.line(line, _fixed(ends[0]), _fixed(ends[1]), 255, layout.line_px, cv2.LINE_AA, shift=4)
    share = (line / 255.0 * inside)[:, :, np.newaxis]
    pixels[:] = np.round(pixels * (1.0 - share) + np.array(layout.heading_line) * share).astype(np.uint8)


def _fixed(point: tuple[float, float]) -> tuple[int, int]:
    return round(point[0] * 16), round(point[1] * 16)


def _scale(draw: ImageDraw.ImageDraw, layout: Layout, bow: float) -> None:
    """The bearing scale: strokes outside the outermost ring, and figures at the long ones."""
    if not layout.ticks or layout.window == "box":
        return
    cx, cy, radius = place_of(layout)
    zero = bow if layout.up != "north" else 0.0
    height = layout.size[1]
    for degrees in range(0, 360, 5):
        angle = math.radians(degrees) + zero
        length = 0.022 if degrees % layout.ticks == 0 else 0.011
        ends = [
            (cx + d * math.sin(angle), cy - d * math.cos(angle)) for d in (radius + 3, radius + 3 + length * height)
        ]
        draw.line(ends, fill=layout.text, width=1)
        if degrees % 30 == 0:
            far = radius + 0.042 * height
            at = (cx + far * math.sin(angle), cy - far * math.cos(angle))
            draw.text(at, f"{degrees:03d}", fill=layout.text, font=_font(0.02 * height), anchor="mm")


def _font(size: float) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(max(size, 8.0))


def write(image: Image.Image, layout: Layout, at: tuple[float, float], words: str, size: float, colour: Colour) -> None:
    """Write words with their upper left corner at a place, shares of the screen."""
    width, height = layout.size
    x, y = at[0] * width, at[1] * height
    if layout.font == "plain":
        ImageDraw.Draw(image).text((x, y), words, fill=colour, font=_font(size * height))
        return
    pixels = np.asarray(image).copy()
    scale = size * height / 30.0
    cv2.putText(pixels, words, (round(x), round(y + size * height * 0.8)), cv2.FONT_HERSHEY_SIMPLEX, scale, colour,
                max(1, round(1.6 * scale)), cv2.LINE_AA)  # fmt: skip
    image.paste(Image.fromarray(pixels))


def range_text(value: float) -> str:
    """Return a range as screens write it: 0.75, 1.5, 3."""
    return f"{value:g}"


def _words(image: Image.Image, layout: Layout, shown: Shown) -> None:
    height = layout.size[1]
    cx, cy, radius = place_of(layout)
    draw = ImageDraw.Draw(image)
    given = {"range": range_text(shown.scale_nm), "ring": range_text(shown.scale_nm / layout.rings)}
    write(image, layout, layout.text_at, layout.range_words.format(**given), layout.text_size, layout.text)
    if layout.ring_words:
        at = (layout.text_at[0], layout.text_at[1] + 1.5 * layout.text_size)
        write(image, layout, at, layout.ring_words.format(**given), 0.7 * layout.text_size, layout.text)
    if layout.side:
        heading = math.degrees(shown.heading_rad) % 360.0
        for line, words in enumerate((f"HDG {heading:05.1f}", "SOG 5.8 KN", "WIND 11 KN", "GAIN 62", "SEA 20")):
            write(image, layout, (0.8, 0.3 + 0.08 * line), words, 0.035, layout.text)
    if "cursor" in layout.over:
        x, y = cx + 0.4 * radius, cy + 0.3 * radius
        draw.line([(x - 9, y), (x + 9, y)], fill=layout.text)
        draw.line([(x, y - 9), (x, y + 9)], fill=layout.text)
    if "bearing line" in layout.over:
        for k in range(0, 40, 2):
            a, b = radius * k / 40, radius * (k + 1) / 40
            draw.line(
                [(cx + d * math.sin(2.1), cy - d * math.cos(2.1)) for d in (a, b)], fill=(90, 200, 220), width=1
            )
    if "words" in layout.over:
        draw.rectangle((cx - 0.62 * radius, cy + 0.30 * radius, cx - 0.22 * radius, cy + 0.42 * radius), fill=(0, 0, 0))
        draw.text((cx - 0.6 * radius, cy + 0.31 * radius), "GUARD 1 OFF", fill=layout.text, font=_font(0.035 * height))
    if "symbols" in layout.over:
        for k, angle in enumerate((0.7, 2.2, 4.0)):
            d = radius * (0.4 + 0.15 * k)
            x, y = cx + d * math.sin(angle), cy - d * math.cos(angle)
            draw.polygon([(x, y - 9), (x + 6, y + 7), (x - 6, y + 7)], outline=(70, 240, 240))
    if "menu" in layout.over:
        corners = (cx + 0.35 * radius, cy - 0.9 * radius, cx + 1.05 * radius, cy - 0.25 * radius)
        draw.rectangle(corners, fill=(50, 54, 60))
        for line, words in enumerate(("MODE", "GAIN 55", "SEA AUTO", "RAIN 10")):
            at = (cx + 0.4 * radius, cy - 0.87 * radius + line * 0.15 * radius)
            draw.text(at, words, fill=layout.text, font=_font(0.04 * height))
