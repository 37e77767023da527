"""Pictures of a run as SVG: the track on the chart, a meeting from above, figures over time.  Ink is currentColor."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from html import escape

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from moonless.debrief.figures import OVER_KN
from moonless.debrief.ledger import Ledger
from moonless.debrief.meetings import MeetingTold
from moonless.debrief.types import Debrief

Floats = NDArray[np.float64]

# Pixels of the drawings, and seconds before and after a closest approach; own choices.
WIDE, MOST_HIGH, EDGE = 820.0, 640.0, 26.0
MEETING_SIZE = 300.0
BEFORE_S, AFTER_S, TICK_S = 120.0, 60.0, 30.0
STRIP_HIGH, STRIP_LEFT = 92.0, 64.0

Clock = Callable[[int], str]
"""Unix nanoseconds to the skipper's time of day."""


class Sheet:
    """Metres to a sheet of paper, north up."""

    def __init__(self, west: float, south: float, east: float, north: float, wide: float, most_high: float) -> None:
        span_e, span_n = max(east - west, 1.0), max(north - south, 1.0)
        self.scale = min(wide / span_e, most_high / span_n)
        self.wide, self.high = wide, min(most_high, span_n * self.scale)
        self._west = (west + east) / 2.0 - wide / self.scale / 2.0
        self._north = (south + north) / 2.0 + self.high / self.scale / 2.0

    def at(self, east_m: ArrayLike, north_m: ArrayLike) -> Floats:
        """Return (..., 2) places on the sheet."""
        x = (np.asarray(east_m) - self._west) * self.scale
        y = (self._north - np.asarray(north_m)) * self.scale
        return np.stack([x, y], axis=-1)

    def path(self, east_m: ArrayLike, north_m: ArrayLike) -> str:
        """Return a path's data; places that are not known break it."""
        out, pen_down = [], False
        for x, y in self.at(east_m, north_m).tolist():
            if not (math.isfinite(x) and math.isfinite(y)):
                pen_down = False
                continue
            out.append(f"{'L' if pen_down else 'M'}{x:.1f} {y:.1f}")
            pen_down = True
        return " ".join(out)

    def land(self, shape: shapely.Geometry | None) -> str:
        """Return charted land as a path."""
        if shape is None or shapely.is_empty(shape):
            return ""
        reach = 1.2 * max(self.wide, self.high) / self.scale
        middle = (self._west + 0.5 * self.wide / self.scale, self._north - 0.5 * self.high / self.scale)
        box = shapely.box(middle[0] - reach, middle[1] - reach, middle[0] + reach, middle[1] + reach)
        seen = shapely.simplify(shapely.intersection(shape, box), 0.7 / self.scale)
        rings = []
        for part in shapely.get_parts(seen):
            if part.geom_type == "Polygon":
                rings += [self.path(*shapely.get_coordinates(r).T) + " Z" for r in (part.exterior, *part.interiors)]
        return f'<path class="land" fill-rule="evenodd" d="{" ".join(rings)}"/>' if rings else ""

    def bar(self) -> str:
        """Return a bar of so many metres, and the north."""
        length = next(m for m in (2000, 1000, 500, 200, 100, 50, 20, 10) if m * self.scale < 0.3 * self.wide or m == 10)
        x, y = 10.0, self.high - 10.0
        end = x + length * self.scale
        return (
            f'<path class="line" d="M{x:.1f} {y - 4:.1f} V{y:.1f} H{end:.1f} V{y - 4:.1f}"/>'
            f'<text x="{end + 5:.1f}" y="{y:.1f}">{length} m</text>'
            f'<path class="line" d="M{self.wide - 14:.1f} 26 V8 l-4 7 m4 -7 l4 7"/>'
            f'<text x="{self.wide - 14:.1f}" y="38" text-anchor="middle">N</text>'
        )


# Numbers nearer than this on the sheet share one place; the steps of the clock under the strips, and how many at most.
APART = 20.0
TICKS_S, MOST_TICKS = (60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 14400.0), 9

STYLE = (
    "text{font:12px system-ui,sans-serif;fill:currentColor;stroke:none}.line{fill:none;stroke:currentColor}"
    ".land{fill:currentColor;fill-opacity:.18;stroke:currentColor;stroke-opacity:.5;stroke-width:.8}"
    ".own{fill:none;stroke:currentColor;stroke-width:1.8}.over{fill:none;stroke:var(--loud,#a00);stroke-width:4}"
    ".her{fill:none;stroke:currentColor;stroke-width:1.4;stroke-dasharray:5 4}"
    ".loud{fill:var(--loud,#a00);stroke:none}.ring{fill:none;stroke:currentColor;stroke-dasharray:2 4;opacity:.7}"
    ".near{stroke:var(--loud,#a00);stroke-width:1.4}.dot{fill:currentColor;stroke:none}"
)


def _svg(wide: float, high: float, label: str, *parts: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.0f} {high:.0f}" width="{wide:.0f}" '
        f'role="img" aria-label="{escape(label)}"><style>{STYLE}</style>{"".join(parts)}</svg>'
    )


def track_map(run: Ledger, found: Debrief, land: shapely.Geometry | None) -> str:
    """Return the track on the chart: thick and red where it was faster than advised, numbers where vessels were met."""
    known = np.isfinite(run.east_m)
    east, north = run.east_m[known], run.north_m[known]
    room = 0.12 * max(float(np.ptp(east)), float(np.ptp(north)), 200.0)
    sheet = Sheet(
        float(east.min()) - room, float(north.min()) - room, float(east.max()) + room, float(north.max()) + room, WIDE,
        MOST_HIGH,
    )  # fmt: skip
    parts = [sheet.land(land), f'<path class="own" d="{sheet.path(run.east_m, run.north_m)}"/>']
    is_over = run.sog_kn - run.advised_kn > OVER_KN
    over_east = np.where(is_over, run.east_m, np.nan)
    parts.append(f'<path class="over" d="{sheet.path(over_east, run.north_m)}"/>')
    for mark in found.marks:
        x, y = sheet.at(*run.frame.to_plane(mark.lat_deg, mark.lon_deg)).tolist()
        parts.append(f'<path class="near" fill="none" d="M{x - 5:.1f} {y - 5:.1f} l10 10 m0 -10 l-10 10"/>')
        parts.append(_beside(x, y + 4.0, f"{mark.name or mark.object} missing"))
    for at, words in ((0, "start"), (-1, "end")):
        x, y = sheet.at(east[at], north[at]).tolist()
        parts.append(f'<circle class="dot" cx="{x:.1f}" cy="{y:.1f}" r="4"/>')
        parts.append(_beside(x, y - 14.0, words))
    for x, y, words in _numbers(run, found, sheet):
        wide = 9.0 + 3.5 * (len(words) - 1)
        parts.append(
            f'<rect class="loud" x="{x - wide:.1f}" y="{y - 9.0:.1f}" width="{2.0 * wide:.1f}" height="18" rx="9"/>'
        )
        parts.append(
            f'<text x="{x:.1f}" y="{y + 4:.1f}" text-anchor="middle" style="fill:var(--sheet,#fff)">{words}</text>'
        )
    return _svg(sheet.wide, sheet.high, "the track on the chart", *parts, sheet.bar())


def _numbers(run: Ledger, found: Debrief, sheet: Sheet) -> list[tuple[float, float, str]]:
    """Return (x, y, words) of the numbers of the meetings; those that would cover each other share one place."""
    out: list[tuple[float, float, str]] = []
    for number, one in enumerate(found.meetings, start=1):
        k = int(np.argmin(np.abs(run.time_ns - one.closest_ns)))
        x, y = sheet.at(run.east_m[k], run.north_m[k]).tolist()
        near = next((i for i, (px, py, _) in enumerate(out) if math.hypot(px - x, py - y) < APART), None)
        if near is None:
            out.append((x, y, str(number)))
        else:
            px, py, words = out[near]
            out[near] = (px, py, f"{words}, {number}")
    return out


def _beside(x: float, y: float, words: str) -> str:
    """Return words beside a place, on the side where there is room."""
    side, anchor = (-8.0, "end") if x > 0.75 * WIDE else (8.0, "start")
    return f'<text x="{x + side:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def meeting_map(run: Ledger, one: MeetingTold, land: shapely.Geometry | None) -> str:
    """Return a meeting from above: both ways with dots each half minute, the closest approach, the keep-off."""
    at_s = (one.closest_ns - int(run.time_ns[0])) / 1e9
    rows = np.array(one.rows)
    her_s, hers_e, hers_n = run.time_s[rows], np.array(one.east_m), np.array(one.north_m)
    own_e, own_n = _at(run.time_s, run.east_m, at_s), _at(run.time_s, run.north_m, at_s)
    her_e, her_n = _at(her_s, hers_e, at_s), _at(her_s, hers_n, at_s)
    reach = max(1.25 * one.keep_off_m, 1.6 * one.closest_m, 150.0)
    sheet = Sheet(own_e - reach, own_n - reach, own_e + reach, own_n + reach, MEETING_SIZE, MEETING_SIZE)
    parts = [sheet.land(land)]
    x, y = sheet.at(own_e, own_n).tolist()
    parts.append(f'<circle class="ring" cx="{x:.1f}" cy="{y:.1f}" r="{one.keep_off_m * sheet.scale:.1f}"/>')
    span = (run.time_s >= at_s - BEFORE_S) & (run.time_s <= at_s + AFTER_S)
    parts.append(f'<path class="own" d="{sheet.path(run.east_m[span], run.north_m[span])}"/>')
    hers = (her_s >= at_s - BEFORE_S) & (her_s <= at_s + AFTER_S)
    her_path = sheet.path(hers_e[hers], hers_n[hers])
    parts.append(f'<path class="her" d="{her_path}"/>')
    for tick in np.arange(at_s - BEFORE_S, at_s + AFTER_S + 1.0, TICK_S).tolist():
        for time_s, e, n in (
            (run.time_s, run.east_m, run.north_m),
            (her_s, hers_e, hers_n),
        ):
            if time_s[0] <= tick <= time_s[-1]:
                px, py = sheet.at(_at(time_s, e, tick), _at(time_s, n, tick)).tolist()
                parts.append(f'<circle class="dot" cx="{px:.1f}" cy="{py:.1f}" r="2.2"/>')
    hx, hy = sheet.at(her_e, her_n).tolist()
    parts.append(f'<path class="near" d="M{x:.1f} {y:.1f} L{hx:.1f} {hy:.1f}"/>')
    parts.append(
        f'<circle class="dot" cx="{x:.1f}" cy="{y:.1f}" r="4"/><circle class="loud" cx="{hx:.1f}" cy="{hy:.1f}" r="4"/>'
    )
    parts.append(f'<text x="{(x + hx) / 2 + 6:.1f}" y="{(y + hy) / 2:.1f}">{one.closest_m:.0f} m</text>')
    return _svg(MEETING_SIZE, MEETING_SIZE, f"meeting with {one.who}", *parts, sheet.bar())


def _at(time_s: Floats, values: Floats, at_s: float) -> float:
    known = np.isfinite(values)
    return float(np.interp(at_s, time_s[known], values[known]))


def strips(run: Ledger, rows: Sequence[tuple[str, Sequence[tuple[Floats, str]]]], clock: Clock) -> str:
    """Return figures over time, one strip each; ``rows``: (title, [(values, class of the line)])."""
    high = STRIP_HIGH * len(rows) + 26.0
    time_s = run.time_s
    span = max(float(time_s[-1]), 1.0)

    def x(t: Floats | float) -> Floats:
        return STRIP_LEFT + np.asarray(t) / span * (WIDE - STRIP_LEFT - 8.0)

    parts = []
    for number, (title, lines) in enumerate(rows):
        top = STRIP_HIGH * number
        parts.append(f'<text x="4" y="{top + 14:.0f}">{escape(title)}</text>')
        known = np.concatenate([v[np.isfinite(v)] for v, _ in lines])
        if not len(known):
            parts.append(f'<text x="{STRIP_LEFT:.0f}" y="{top + 46:.0f}">not known on this run</text>')
            continue
        low, most = min(float(known.min()), 0.0), max(float(known.max()), 0.0)
        room = max(most - low, 1e-6)
        base = top + STRIP_HIGH - 10.0

        def y(value: Floats | float, low: float = low, room: float = room, base: float = base) -> Floats:
            return base - (np.asarray(value) - low) / room * (STRIP_HIGH - 34.0)

        zero = float(y(0.0))
        parts.append(f'<path class="ring" d="M{STRIP_LEFT:.1f} {zero:.1f} H{WIDE - 8:.1f}"/>')
        for value in sorted({low, most}):
            words = f"{value:.0f}" if abs(value) >= 10 or value == 0 else f"{value:.1f}"
            parts.append(
                f'<text x="{STRIP_LEFT - 6:.0f}" y="{float(y(value)) + 4:.1f}" text-anchor="end">{words}</text>'
            )
        for values, style in lines:
            parts.append(f'<path class="{style}" style="stroke-width:1.5" d="{_polyline(x(time_s), y(values))}"/>')
    for part in _whole_minutes(int(run.time_ns[0]), span):
        words = clock(int(run.time_ns[0] + part * 1e9))
        at = float(x(part))
        parts.append(f'<path class="line" d="M{at:.1f} {high - 24:.0f} v4"/>')
        parts.append(f'<text x="{min(at, WIDE - 18.0):.1f}" y="{high - 8:.0f}" text-anchor="middle">{words}</text>')
    return _svg(WIDE, high, "figures over time", *parts)


def _whole_minutes(begins_ns: int, span_s: float) -> list[float]:
    """Return where whole minutes stand, seconds from the beginning: as many as can be read, in steps a clock has."""
    step_s = next((s for s in TICKS_S if span_s / s <= MOST_TICKS), TICKS_S[-1])
    first_s = -(begins_ns / 1e9) % step_s
    return np.arange(first_s, span_s, step_s).tolist() if first_s < span_s else [0.0]


def _polyline(x: Floats, y: Floats) -> str:
    out, pen_down = [], False
    for a, b in zip(x.tolist(), y.tolist(), strict=True):
        if not (math.isfinite(a) and math.isfinite(b)):
            pen_down = False
            continue
        out.append(f"{'L' if pen_down else 'M'}{a:.1f} {b:.1f}")
        pen_down = True
    return " ".join(out)
