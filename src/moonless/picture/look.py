"""One picture looked at from beginning to end: scope, bow, range, colours, and what has to be asked."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.constants import NAUTICAL_MILE_M, TAU
from moonless.picture.bearing import RadialLine, heading_line, radial_lines
from moonless.picture.colours.palette import Palette, learn_palette
from moonless.picture.colours.water import water_of
from moonless.picture.digits import FigureRead, read_figures
from moonless.picture.geometry.edges import Picture
from moonless.picture.geometry.find import NoScope, find_scope
from moonless.picture.geometry.plane import Floats, ScopePlane
from moonless.picture.geometry.scope import Unrolled, Unroller, px_per_ring
from moonless.picture.geometry.square import Followed
from moonless.picture.geometry.upright import Flat, find_roll, flatten
from moonless.picture.lay import N_SPOKE, n_cell_of, ring_columns
from moonless.picture.over.cover import covered
from moonless.picture.over.under import LINE_PX
from moonless.picture.told import Told
from moonless.picture.types import FoundScope, RangeFrom

# A scope of which less is in the picture is not worth reading.
LEAST_INSIDE = 0.6
MOST_TILT_DEG = 42.0
# One ring alone does not tell how the screen leans; seen nearly squarely it need not.
ONE_RING_TILT_DEG = 6.0
# A heading line so near the screen's own up is one that always points up.
UP_DEG = 3.0
# A range and a spacing that screens write: to three figures.
ROUND_FIGURES = 3
# The edge of a round scope is seen all round, but for a menu here and there.
WHOLE_RING, ALL_ROUND = 0.76, 0.85


def look(picture: Picture, told: Told | None = None) -> FoundScope:
    """Return what a picture, (height, width, 3) blue green red, shows.

    Raises NoScope where no scope can be read, saying why.  What must be told first stands in ``asks``.
    """
    told = told or Told()
    scope = find_scope(picture)
    plane, rings = scope.plane, scope.numbers[-1]
    notes: list[str] = []
    _refuse(scope, plane)
    unroller = Unroller.make(plane, N_SPOKE, n_cell_of(rings * px_per_ring(plane)), float(rings))
    unrolled = unroller.unroll(picture)
    share = float(unrolled.inside.mean())
    if share < LEAST_INSIDE:
        raise NoScope(f"only {share:.0%} of the scope is in the picture: show all of it, or nearly all")
    if share < 0.98:
        notes.append(f"{1.0 - share:.0%} of the scope lies outside the picture: not received")
    under = covered(unrolled, rings, px_per_ring(plane))
    over = float(under.mean())
    if share - over < LEAST_INSIDE:
        raise NoScope(f"something lies over {over:.0%} of the scope: close it")
    if over > 0.005:
        notes.append(f"something lies over {over:.0%} of the scope: not received")
    lines = radial_lines(picture, plane, float(rings))
    line = heading_line(lines)
    roll = find_roll(picture, plane)
    asks: list[str] = []
    bow, sigma, north_up = _bow(line, roll, told, notes, asks)
    flat, figures, unread = _figures(picture, plane, line, roll)
    is_filled = float(scope.coverage[-1]) > WHOLE_RING and _is_filled(picture, plane, rings)
    range_m, range_from = _range(figures, unread, rings, is_filled, told, notes, asks)
    water, palette = _colours(unrolled, unrolled.inside & ~under, rings, plane, line, flat, figures, told, picture)
    if palette.n_level == 0:
        notes.append("no echo is on the screen now: its colours are learnt when there is one")
    elif not palette.is_sure:
        notes.append("the order of the colours is not sure: point at the strongest echo")
    return FoundScope(
        plane, rings, scope.quality, scope.residual_px, bow, sigma, north_up, range_m, range_from, tuple(figures),
        is_filled, palette, water, tuple(notes), tuple(asks),
    )  # fmt: skip


def _refuse(scope: Followed, plane: ScopePlane) -> None:
    tilt = plane.tilt_deg
    if tilt > MOST_TILT_DEG:
        raise NoScope(f"the screen leans {tilt:.0f} degrees from the camera; {MOST_TILT_DEG:.0f} is the most")
    if len(scope.numbers) < 2 and tilt > ONE_RING_TILT_DEG:
        raise NoScope(
            "one ring alone does not tell how the screen leans: show two range rings, or hold the camera square"
        )


def _bow(
    line: RadialLine | None, roll: float | None, told: Told, notes: list[str], asks: list[str]
) -> tuple[float | None, float, bool]:
    """Return (bow, its sigma, whether the plane's up is north)."""
    up = roll if roll is not None else 0.0
    up_sigma = math.radians(0.5 if roll is not None else 3.0)
    if line is not None:
        off = math.degrees(math.remainder(line.angle - up, TAU))
        notes.append(
            "head-up, by the heading line" if abs(off) < UP_DEG else f"the heading line is {off:+.1f} degrees from up"
        )
        return line.angle, line.sigma, False
    if told.up == "bow":
        return up, up_sigma, False
    if told.up == "north":
        return None, up_sigma, True
    asks.append("which way is up: no heading line was found, or more than one; say --up bow or --up north")
    return None, up_sigma, False


def _figures(
    picture: Picture, plane: ScopePlane, line: RadialLine | None, roll: float | None
) -> tuple[Flat, list[FigureRead], int]:
    """Return the flat picture in which most was read, the distances read there, and how many could not be read."""
    rolls = [roll] if roll is not None else [0.0]
    if line is not None and abs(math.remainder(line.angle, TAU)) < math.radians(25.0):
        rolls.append(math.remainder(line.angle, TAU))
    best: tuple[Flat, list[FigureRead], int] | None = None
    for angle in rolls:
        flat = flatten(picture, plane, -angle)
        figures, unread = read_figures(flat.pixels)
        if best is None or len(figures) > len(best[1]):
            best = (flat, figures, unread)
        if figures and len(rolls) > 1 and abs(rolls[0] - rolls[-1]) < math.radians(1.0):
            break
    assert best is not None
    return best


def _is_filled(picture: Picture, plane: ScopePlane, rings: int) -> bool:
    """Say whether the picture of the radar ends at the outermost ring: beyond lies other ground, or a bearing scale."""
    inner, outer = 0.985, 1.02
    n = 720
    beyond = Unroller.make(plane, n, 200, rings * 1.25).unroll(picture)
    at = beyond.radii / rings
    colour = beyond.colour.astype(np.float32)
    ok = beyond.inside
    inside = colour[:, (at > 0.9) & (at < inner)]
    outside = colour[:, (at > outer) & (at < 1.1)]
    seen = ok[:, (at > outer) & (at < 1.1)].all(axis=1)
    if np.count_nonzero(seen) < 0.5 * n:
        return False
    step = np.abs(np.median(inside[seen], axis=1) - np.median(outside[seen], axis=1)).max(axis=1)
    # All round: a picture that fills a box is cut by the screen's edge on two sides or three, and a ring beyond its own
    # range may lie there.
    if float(np.mean(step > 8.0)) > ALL_ROUND:
        return True
    # Strokes of a bearing scale: light marks at even steps all round, on a ground of one colour.
    ring = np.abs(outside[:, :6] - np.median(outside, axis=(0, 1))).max(axis=2).max(axis=1)
    spectrum = np.abs(np.fft.rfft(ring - ring.mean()))
    # Every ten degrees, or every five, and hardly anything else.
    return bool(spectrum[[36, 72]].max() > 0.7 * float(spectrum[5:300].max()))


def _range(
    figures: list[FigureRead], unread: int, rings: int, is_filled: bool, told: Told, notes: list[str], asks: list[str]
) -> tuple[float | None, RangeFrom]:
    """Return the range of the outermost ring, metres, and what it rests on."""
    if told.range_nm is not None:
        metres = told.range_nm * NAUTICAL_MILE_M
        others = {
            f.text for f in figures if not _is_near(_metres(f), metres) and not _is_near(_metres(f) * rings, metres)
        }
        if others:
            notes.append(f"the screen says {', '.join(sorted(others))}; {told.range_nm:g} NM was told")
        return metres, "told"
    values = sorted({round(_metres(f), 2) for f in figures}, reverse=True)
    pairs = [v for v in values if any(_is_near(w * rings, v) for w in values) and rings > 1]
    if len(pairs) == 1:
        notes.append(
            f"range {_nm(pairs[0])} NM, checked by the spacing of its {rings} rings, {_nm(pairs[0] / rings)} NM"
        )
        return pairs[0], "read and checked"
    if len(values) == 1 and not unread and is_filled and _is_round(values[0] / rings):
        notes.append(
            f"range {_nm(values[0])} NM as it stands on the screen; {rings} rings of {_nm(values[0] / rings)} NM"
        )
        return values[0], "read"
    if not values:
        asks.append("the range of the outermost ring: no figure could be read; say --range NM")
    elif len(values) == 1:
        why = (
            "there is another figure that could not be read" if unread
            else "the picture goes on beyond the rings" if not is_filled
            else f"{rings} rings do not divide it evenly"
        )  # fmt: skip
        asks.append(
            f"the range of the outermost ring: {_nm(values[0])} NM stands on the screen, but {why}; say --range NM"
        )
    else:
        listed = ", ".join(_nm(v) for v in values)
        asks.append(f"the range of the outermost ring: {listed} NM stand on the screen; say --range NM")
    return None, "unknown"


def _metres(figure: FigureRead) -> float:
    return figure.value * (NAUTICAL_MILE_M if figure.unit == "nm" else 1000.0)


def _is_near(a: float, b: float) -> bool:
    return abs(a - b) < 0.006 * b


def _is_round(spacing_m: float) -> bool:
    """Say whether a ring spacing is one to expect: whole eighths of a mile or kilometre, a sixteenth, or 0.1 and 0.2.

    Common practice, no source.
    """
    for unit in (NAUTICAL_MILE_M, 1000.0):
        eighths = spacing_m / unit * 8.0
        if round(eighths) >= 1 and abs(eighths - round(eighths)) < 0.006 * eighths:
            return True
        if any(_is_near(spacing_m / unit, other) for other in (0.0625, 0.1, 0.2)):
            return True
    return False


def _nm(metres: float) -> str:
    return f"{metres / NAUTICAL_MILE_M:.{ROUND_FIGURES}g}"


def _colours(
    unrolled: Unrolled, seen: NDArray[np.bool_], rings: int, plane: ScopePlane, line: RadialLine | None, flat: Flat,
    figures: list[FigureRead], told: Told, picture: Picture,
) -> tuple[NDArray[np.uint8], Palette]:  # fmt: skip
    """Return water's colour everywhere and what the other colours mean."""
    n_cell = unrolled.colour.shape[1]
    px = px_per_ring(plane) * unrolled.step
    valid = seen.copy()
    valid[:, ring_columns(n_cell, unrolled.step, px)] = False
    valid[:, : max(1, round(6.0 / px))] = False
    if line is not None:
        rows = np.arange(N_SPOKE)[:, None] * (TAU / N_SPOKE)
        off = np.abs(np.mod(rows - line.angle + math.pi, TAU) - math.pi)
        valid &= off * (np.arange(n_cell) + 1.0)[None, :] * px > LINE_PX + 1.0
    water, grain = water_of(unrolled.colour, valid)
    mean = water.mean(axis=(0, 1))
    beside = _writing_colours(flat, figures)
    palette = learn_palette(
        unrolled.colour, water, grain, valid,
        beside=None if beside is None else beside - mean,
        not_echo=_pointed(picture, told.not_echo_at, mean), strongest=_pointed(picture, told.echo_at, mean),
    )  # fmt: skip
    return np.clip(np.rint(water), 0, 255).astype(np.uint8), palette


def _writing_colours(flat: Flat, figures: list[FigureRead]) -> Floats | None:
    """Return the colours of the figures read: in each, what differs most from its own ground."""
    found = []
    for figure in figures:
        x, y, width, height = figure.at
        box = (
            flat.pixels[max(y - 1, 0) : y + height + 1, max(x - 1, 0) : x + width + 1].reshape(-1, 3).astype(np.float64)
        )
        if box.shape[0] < 12:
            continue
        away = np.abs(box - np.median(box, axis=0)).max(axis=1)
        found.append(box[away >= np.percentile(away, 92.0)].mean(axis=0))
    return np.array(found) if found else None


def _pointed(picture: Picture, places: tuple[tuple[float, float], ...], water: Floats) -> Floats | None:
    """Return the colours at places that the skipper has pointed at, as differences from water."""
    found = []
    height, width = picture.shape[:2]
    for x, y in places:
        column, row = round(x), round(y)
        if 0 <= column < width and 0 <= row < height:
            near = picture[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2].reshape(-1, 3)
            found.append(np.median(near, axis=0) - water)
    return np.array(found) if found else None
