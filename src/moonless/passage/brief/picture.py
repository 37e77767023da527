"""The departure window as one plot: dark, depth margin and what speaks against, over the time of leaving."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import tzinfo

from moonless.passage.types import Departure
from moonless.passage.words import clock_words

_WIDTH, _HEIGHT, _LEFT, _STRIP = 780.0, 330.0, 200.0, 80.0


def departure_svg(departures: Sequence[Departure], chosen_s: float, zone: tzinfo) -> str:
    """Return the plot as SVG; a figure that is not known breaks its line and is never drawn as nought."""
    times = [d.time_s for d in departures]
    first, last = times[0], max(times[-1], times[0] + 1.0)

    def x(time_s: float) -> float:
        return _LEFT + (_WIDTH - _LEFT - 12.0) * (time_s - first) / (last - first)

    strips: list[tuple[str, list[float | None]]] = [
        ("light, lux (log)", [math.log10(max(d.mean_lux, 1e-5)) for d in departures]),
        ("tide on the way, m", [d.tide_at_least_m for d in departures]),
        ("least water over need, m", [d.least_depth_margin_m for d in departures]),
    ]
    parts = [
        f'<svg viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" width="100%" font-size="12" fill="none" stroke="currentColor" '
        'role="img" aria-label="light, tide and depth margin against the time of departure">'
    ]
    for number, (title, values) in enumerate(strips):
        parts += _strip(12.0 + number * (_STRIP + 8.0), title, [x(t) for t in times], values)
    base = 12.0 + 3 * (_STRIP + 8.0)
    for departure in departures:
        if departure.stops:
            left = x(departure.time_s)
            parts.append(f'<path d="M{left - 4:.1f} {base - 4:.1f} l8 8 m0 -8 l-8 8" stroke-width="1.5"/>')
    parts.append(f'<text x="4" y="{base + 4:.0f}" stroke="none">refused: cross</text>')
    for k in range(0, len(times), max(1, len(times) // 8)):
        left, words = x(times[k]), clock_words(times[k], zone)
        parts.append(f'<text x="{left:.1f}" y="{base + 26:.0f}" text-anchor="middle" stroke="none">{words}</text>')
    if first <= chosen_s <= last:
        left = x(chosen_s)
        parts.append(f'<line x1="{left:.1f}" x2="{left:.1f}" y1="8" y2="{base + 8:.0f}" stroke-dasharray="4 3"/>')
    return "".join(parts) + "</svg>"


def _strip(top: float, title: str, xs: list[float], values: Sequence[float | None]) -> list[str]:
    known = [v for v in values if v is not None]
    out = [f'<text x="4" y="{top + 14:.0f}" stroke="none">{title}</text>']
    if not known:
        return [*out, f'<text x="{_LEFT:.0f}" y="{top + 40:.0f}" stroke="none">not known</text>']
    low, high = min(known), max(known)
    span = high - low or 1.0

    def y(value: float) -> float:
        return top + _STRIP - 6.0 - (_STRIP - 24.0) * (value - low) / span

    path, pen_down = "", False
    for left, value in zip(xs, values, strict=True):
        if value is None:
            pen_down = False
            continue
        path += f"{'L' if pen_down else 'M'}{left:.1f} {y(value):.1f} "
        pen_down = True
    out.append(f'<path d="{path.strip()}" stroke-width="1.6"/>')
    for value in {low, high}:
        words = f"{10**value:.2g}" if title.startswith("light") else f"{value:.1f}"
        out.append(f'<text x="{_LEFT - 6:.0f}" y="{y(value) + 4:.0f}" text-anchor="end" stroke="none">{words}</text>')
    return out
