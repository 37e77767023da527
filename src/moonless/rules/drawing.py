"""A plan of a boat's lights, and how they look from a side, as SVG text."""

from __future__ import annotations

import math
from collections.abc import Sequence

from moonless.rules.lights import ALL_ROUND, Light

_INK = {"white": "#f4f1e6", "red": "#d8403a", "green": "#3fa34d", "yellow": "#e0b13a"}
_SIZE = 420.0  # pixels
_MARGIN = 90.0  # each side of the plan, so that the words below it fit
_PAPER, _LINE = "#101010", "#777777"


def _point(bearing_deg: float, radius: float) -> tuple[float, float]:
    angle = math.radians(bearing_deg)
    return _SIZE / 2 + radius * math.sin(angle), _SIZE / 2 - radius * math.cos(angle)


def _sector(light: Light, inner: float, outer: float) -> str:
    colour = _INK[light.colour]
    if light.arc_deg == ALL_ROUND:
        middle, width = (inner + outer) / 2, outer - inner
        return (
            f'<circle cx="{_SIZE / 2}" cy="{_SIZE / 2}" r="{middle:.1f}" fill="none" stroke="{colour}" '
            f'stroke-width="{width:.1f}" stroke-opacity="0.75"/>'
        )
    start, end = light.arc_deg
    large = 1 if (end - start) % 360.0 > 180.0 else 0
    (x1, y1), (x2, y2) = _point(start, outer), _point(end, outer)
    (x3, y3), (x4, y4) = _point(end, inner), _point(start, inner)
    return (
        f'<path d="M{x1:.1f} {y1:.1f} A{outer:.1f} {outer:.1f} 0 {large} 1 {x2:.1f} {y2:.1f} L{x3:.1f} {y3:.1f} '
        f'A{inner:.1f} {inner:.1f} 0 {large} 0 {x4:.1f} {y4:.1f} Z" fill="{colour}" fill-opacity="0.75"/>'
    )


def plan_svg(lights: Sequence[Light], title: str) -> str:
    """Return a plan from above, bow up: one ring for each light, its arc filled in its colour, its range beside it."""
    box = f"{-_MARGIN:.0f} 0 {_SIZE + 2 * _MARGIN:.0f} {_SIZE + 24 * (len(lights) + 2):.0f}"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" font-family="sans-serif" font-size="13" role="img" '
        f'aria-label="{_escape(title)}">',
        f'<rect x="{-_MARGIN:.0f}" width="100%" height="100%" fill="{_PAPER}"/>',
    ]
    ring = min(22.0, 140.0 / max(len(lights), 1))
    for number, light in enumerate(lights):
        inner = 48.0 + number * ring
        parts.append(_sector(light, inner, inner + ring - 4.0))
    middle = _SIZE / 2
    hull = "M0 -40 Q15 -14 13 34 L-13 34 Q-15 -14 0 -40 Z"
    parts.append(f'<path d="{hull}" transform="translate({middle} {middle})" fill="none" stroke="{_LINE}"/>')
    for bearing in (0.0, 112.5, 180.0, 247.5):
        x, y = _point(bearing, 203.0)
        parts.append(f'<text x="{x:.0f}" y="{y + 4:.0f}" fill="{_LINE}" text-anchor="middle">{bearing:05.1f}°</text>')
    for number, light in enumerate(lights):
        y = _SIZE + 22 * (number + 1)
        parts.append(f'<rect x="{14 - _MARGIN:.0f}" y="{y - 11}" width="14" height="12" fill="{_INK[light.colour]}"/>')
        words = f"{light.colour} {light.role}, {light.range_nm:g} NM, {light.where} (Rule {light.rule})"
        parts.append(f'<text x="{36 - _MARGIN:.0f}" y="{y}" fill="#cccccc">{_escape(words)}</text>')
    parts.append("</svg>\n")
    return "\n".join(parts)


def seen_from(lights: Sequence[Light], bearing_deg: float) -> list[Light]:
    """Return the lights an observer at this bearing from the bow sees, vertical lines in order, top first."""
    shown = [light for light in lights if light.shows_to(bearing_deg)]
    return sorted(shown, key=lambda x: (x.group == "", x.group, x.level or 0))


def _escape(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
