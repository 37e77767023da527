"""Radar screens that nobody makes: layouts and palettes invented for the tests of the picture door.

Colours come from arithmetic on hue, not from any screen; places of text, scale and rings were thrown together so that
no two layouts agree.  Lengths are shares of the screen's height.
"""

from __future__ import annotations

import colorsys
from dataclasses import dataclass
from typing import Literal

Colour = tuple[int, int, int]  # red, green, blue
Up = Literal["head", "course", "north"]


def _hues(*stops: tuple[float, float, float]) -> tuple[Colour, ...]:
    """Return colours of (hue in turns, saturation, value)."""
    out = []
    for hue, saturation, value in stops:
        r, g, b = colorsys.hsv_to_rgb(hue % 1.0, saturation, value)
        out.append((round(255 * r), round(255 * g), round(255 * b)))
    return tuple(out)


@dataclass(frozen=True, slots=True)
class Layout:
    """How one invented screen looks."""

    name: str
    size: tuple[int, int] = (1280, 800)  # width, height, pixels
    centre: tuple[float, float] = (0.5, 0.5)  # of the rings, shares of width and height
    radius: float = 0.44  # of the outermost ring
    window: Literal["disc", "box"] = "disc"  # what the picture fills: up to the outermost ring, or a box
    box: tuple[float, float, float, float] = (0.0, 0.0, 1.0, 1.0)  # left, top, right, bottom, shares of the screen
    rings: int = 4
    ring: Colour = (70, 90, 80)
    ring_px: int = 1
    ring_dash: int = 0  # degrees of a dash; 0: solid
    water: Colour = (0, 0, 0)
    frame: Colour = (20, 20, 24)
    levels: tuple[Colour, ...] = ((0, 90, 0), (0, 160, 0), (90, 255, 60))  # weakest first
    heading_line: Colour = (200, 200, 200)
    line_px: int = 2
    line_dash: bool = False
    up: Up = "head"
    ticks: int = 30  # degrees between the long strokes of the bearing scale; 0: none
    text: Colour = (220, 220, 220)
    text_at: tuple[float, float] = (0.03, 0.04)  # of the range figure
    text_size: float = 0.05
    font: Literal["plain", "stroke"] = "plain"
    range_words: str = "{range} NM"
    ring_words: str = ""
    side: bool = False  # a panel of words beside the picture
    over: tuple[str, ...] = ()  # what lies over the picture: "cursor", "bearing line", "words", "symbols", "menu"
    trail: Colour | None = None  # of where echoes were


_STEEP = _hues((0.62, 0.9, 0.35), (0.55, 0.9, 0.6), (0.47, 0.8, 0.8), (0.36, 0.6, 1.0))
_RUST = _hues((0.08, 1.0, 0.30), (0.09, 1.0, 0.52), (0.10, 0.95, 0.75), (0.12, 0.7, 1.0))
_PLUM = _hues((0.80, 0.8, 0.38), (0.86, 0.8, 0.58), (0.93, 0.75, 0.8), (0.02, 0.6, 1.0))
_INK = _hues((0.58, 0.25, 0.72), (0.60, 0.5, 0.5), (0.63, 0.8, 0.28))  # on light water: darker is stronger
_LEAF = _hues((0.40, 0.95, 0.22), (0.38, 0.95, 0.36), (0.36, 0.95, 0.5), (0.33, 0.9, 0.64), (0.3, 0.85, 0.78),
              (0.26, 0.75, 0.9), (0.2, 0.6, 1.0))
_CROSS = _hues((0.66, 0.85, 0.75), (0.30, 0.8, 0.62), (0.14, 0.95, 0.9), (0.0, 0.95, 0.85))  # hue by hue, like a map
_BONE = _hues((0.1, 0.15, 0.35), (0.1, 0.15, 0.6), (0.1, 0.12, 0.95))

LAYOUTS: tuple[Layout, ...] = (
    Layout("steep", levels=_STEEP, centre=(0.42, 0.5), side=True, text_at=(0.8, 0.05), range_words="{range} NM"),
    Layout("rust", levels=_RUST, water=(14, 8, 0), ring=(96, 70, 20), rings=3, text_at=(0.02, 0.02),
           range_words="RANGE {range} NM", ring_words="RINGS {ring} NM", heading_line=(230, 180, 90), ticks=10,
           text=(240, 190, 100)),
    Layout("plum", levels=_PLUM, water=(6, 0, 20), frame=(36, 30, 52), ring=(80, 74, 120), rings=6, up="north",
           heading_line=(250, 240, 120), text_at=(0.78, 0.88), centre=(0.36, 0.5), over=("bearing line", "cursor")),
    Layout("ink", levels=_INK, water=(214, 222, 226), frame=(176, 184, 190), ring=(120, 132, 140), rings=4,
           heading_line=(40, 30, 30), text=(20, 20, 30), text_at=(0.02, 0.9), up="course", font="stroke"),
    Layout("leaf", levels=_LEAF, window="box", box=(0.0, 0.0, 1.0, 1.0), centre=(0.5, 0.62), radius=0.55, rings=5,
           ring=(30, 90, 60), ring_dash=4, ticks=0, text_at=(0.02, 0.03), over=("words",), size=(1024, 768)),
    Layout("cross", levels=_CROSS, water=(12, 22, 46), frame=(12, 22, 46), ring=(110, 120, 140), window="box",
           box=(0.0, 0.08, 0.74, 1.0), centre=(0.37, 0.54), radius=0.42, rings=4, side=True, text_at=(0.02, 0.015),
           text_size=0.045, over=("symbols",), up="north", heading_line=(240, 240, 240), line_px=1,
           size=(1280, 720)),
    Layout("bone", levels=_BONE, ring=(70, 70, 62), rings=2, size=(800, 480), radius=0.45, centre=(0.5, 0.5),
           text_at=(0.02, 0.05), text_size=0.07, heading_line=(150, 150, 140), line_px=1, ticks=30, font="stroke"),
    Layout("trail", levels=_STEEP[::-1][:3][::-1], water=(2, 6, 10), ring=(60, 66, 60), rings=4, trail=(58, 40, 70),
           centre=(0.6, 0.5), text_at=(0.03, 0.85), range_words="{range} nm", size=(1440, 900),
           over=("menu", "cursor")),
    Layout("small", levels=_RUST, water=(0, 0, 0), frame=(0, 0, 0), ring=(50, 80, 90), rings=3, size=(640, 480),
           radius=0.43, text_at=(0.02, 0.03), text_size=0.06, ticks=30, up="head"),
    Layout("portrait", levels=_CROSS, water=(0, 0, 0), frame=(30, 34, 40), ring=(84, 92, 84), rings=4,
           size=(768, 1024), centre=(0.5, 0.4), radius=0.34, text_at=(0.08, 0.83), text_size=0.055, side=False,
           range_words="{range} NM", ring_words="{ring} NM", up="course"),
)
