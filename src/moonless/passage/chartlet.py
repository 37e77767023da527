"""The chart along a route as one small drawing: land, shallow water, lit and unlit marks, the track and its points."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from html import escape

import numpy as np
import shapely
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.frames import LocalFrame
from moonless.passage.plan import LegGround

Floats = NDArray[np.float64]

WIDTH, TALLEST, LOWEST = 720.0, 620.0, 240.0
MARGIN_SHARE, LEAST_MARGIN_M = 0.12, 400.0
MOST_LABELS = 40
# A letter of a label, and its height, pixels of the drawing, as large as on a telephone's narrow screen.
LABEL_EM, LABEL_TALL = 11.5, 15.0
# The foot of what stands at the top edge: as tall as the letters on the helm's narrow sheet.
TOP = 36.0
_SCALE_STEPS_NM = (0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)


def chartlet_svg(ground: Sequence[LegGround], boat: Boat) -> str:
    """Return the drawing as SVG, north up; classes ``sea land shoal hatch track point mark lit``."""
    places = [place.leg.start for place in ground] + [ground[-1].leg.end]
    middle = places[len(places) // 2]
    frame = LocalFrame(middle.lat_deg, middle.lon_deg)
    en = np.column_stack(frame.to_plane([w.lat_deg for w in places], [w.lon_deg for w in places]))
    extent = np.ptp(en, axis=0)
    margin = max(LEAST_MARGIN_M, MARGIN_SHARE * float(extent.max()))
    low, high = en.min(axis=0) - margin, en.max(axis=0) + margin
    wide, tall = (float(v) for v in high - low)
    height = min(max(WIDTH * tall / wide, LOWEST), TALLEST)
    px_m = max(wide / WIDTH, tall / height)
    centre = (low + high) / 2
    low, high = centre - px_m * np.array([WIDTH, height]) / 2, centre + px_m * np.array([WIDTH, height]) / 2

    def to_px(xy: Floats) -> Floats:
        return np.column_stack([(xy[:, 0] - low[0]) / px_m, (high[1] - xy[:, 1]) / px_m])

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {height:.0f}" width="100%" role="img" '
        'aria-label="chart of the route, north up">',
        # What no chart covers is hatched: it must not look like water.
        '<defs><pattern id="nochart" width="9" height="9" patternUnits="userSpaceOnUse">'
        '<path class="hatch" d="M0 9L9 0"/></pattern></defs>',
        f'<rect fill="url(#nochart)" width="{WIDTH:.0f}" height="{height:.0f}"/>',
    ]
    need = boat.draught_m + boat.skipper.depth_margin_m
    seen: set[int] = set()
    for place in ground:
        stretch = place.stretch
        if stretch is None or id(stretch) in seen:
            continue
        seen.add(id(stretch))
        local = stretch.local

        def turned(xy: Floats, own: LocalFrame = local.frame) -> Floats:
            return np.column_stack(frame.to_plane(*own.to_geographic(xy[:, 0], xy[:, 1])))

        window = shapely.transform(shapely.box(*low, *high), lambda xy, t=local.frame: _into(frame, t, xy))
        shoals = [f.shape for f in local.features("DEPARE", "DRGARE") if (f.number("DRVAL1") or 0.0) < need]
        for name, shapes in (("sea", [local.coverage]), ("shoal", shoals), ("land", [local.land])):
            cut = [shapely.clip_by_rect(s, *window.bounds) for s in shapes if shapely.get_dimensions(s) == 2]
            path = "".join(_path(shapely.simplify(s, 0.6 * px_m), turned, to_px) for s in cut)
            if path:
                parts.append(f'<path class="{name}" fill-rule="evenodd" d="{path}"/>')
        for mark in local.marks:
            x, y = to_px(turned(np.array([[mark.east_m, mark.north_m]])))[0]
            if mark.object != "LNDARE" and 0 <= x <= WIDTH and 0 <= y <= height:
                parts.append(f'<circle class="{"lit" if mark.lit else "mark"}" cx="{x:.1f}" cy="{y:.1f}" r="2"/>')
    track = to_px(en)
    parts.append(f'<polyline class="track" points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in track)}"/>')
    step = max(1, math.ceil(len(track) / MOST_LABELS))
    parts += [f'<circle class="point" cx="{x:.1f}" cy="{y:.1f}" r="3.5"/>' for x, y in track]
    # The number of the leg that ends there, as the table has it.
    named = [k for k in range(len(track)) if k % step == 0 or k == len(track) - 1]
    numbers = [str(ground[0].number + k - 1 or "start") for k in named]
    for number, (x, y, anchor) in zip(numbers, label_places(track, named, numbers), strict=True):
        parts.append(f'<text class="label" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{number}</text>')
    parts += _scale_bar(px_m, height)
    lat, lon = frame.to_geographic(*low)
    corner = escape(f"corner {lat:.3f}, {lon:.3f}")
    parts.append(f'<text class="label corner" x="8" y="{height - 8:.0f}">{corner}</text>')
    parts.append(f'<text class="label" x="{WIDTH - 8:.0f}" y="{TOP}" text-anchor="end">N ↑</text></svg>')
    return "".join(parts)


def label_places(track: Floats, named: Sequence[int], words: Sequence[str]) -> list[tuple[float, float, str]]:
    """Return where the words of some points of a track (n, 2) stand, and which end of them: beside the points, where
    they lie least over the track and each other.  All in the drawing's pixels."""
    steps = [np.linspace(a, b, max(2, int(math.dist(a, b) / 3.0))) for a, b in itertools.pairwise(track)]
    line = np.vstack(steps) if steps else track
    put: list[Floats] = []  # (left, top, right, bottom)
    out = []
    for k, word in zip(named, words, strict=True):
        x, y = (float(v) for v in track[k])
        wide = LABEL_EM * len(word)
        best, least = (x + 6.0, y - 5.0, "start"), math.inf
        stands, kept = ((x + 6.0, "start"), (x - 6.0, "end")), np.zeros(4)
        for (at, anchor), base in itertools.product(stands, (y - 5.0, y + 5.0 + LABEL_TALL)):
            left = at if anchor == "start" else at - wide
            box = np.array([left, base - LABEL_TALL, left + wide, base])
            over = sum(bool((box[:2] < one[2:]).all() and (one[:2] < box[2:]).all()) for one in put)
            on = ((line > box[:2]) & (line < box[2:])).all(axis=1).sum()
            out_of = bool(box[:2].min() < 0.0 or left + wide > WIDTH)
            bad = 1000.0 * over + float(on) + 500.0 * out_of
            if bad < least:
                best, least, kept = (at, base, anchor), bad, box
        put.append(kept)
        out.append(best)
    return out


def _into(frame: LocalFrame, other: LocalFrame, xy: Floats) -> Floats:
    return np.column_stack(other.to_plane(*frame.to_geographic(xy[:, 0], xy[:, 1])))


def _path(shape: shapely.Geometry, turned: object, to_px: object) -> str:
    out = ""
    for part in shapely.get_parts(shape):
        if part.geom_type != "Polygon" or shapely.is_empty(part):
            continue
        for ring in (part.exterior, *part.interiors):
            xy = to_px(turned(shapely.get_coordinates(ring)))  # type: ignore[operator]
            out += "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in xy) + "Z"
    return out


def _scale_bar(px_m: float, height: float) -> list[str]:
    length = max((s for s in _SCALE_STEPS_NM if s * 1852.0 / px_m < WIDTH / 3), default=_SCALE_STEPS_NM[0])
    px = length * 1852.0 / px_m
    left, base = WIDTH - px - 16.0, height - 14.0
    return [
        f'<path class="bar" d="M{left:.1f} {base:.1f}v-5v5h{px:.1f}v-5"/>',
        # From its right end: a short bar's words would run off the edge.
        f'<text class="label" x="{WIDTH - 16.0:.1f}" y="{base - 9:.1f}" text-anchor="end">{length:g} NM</text>',
    ]
