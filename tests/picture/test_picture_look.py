"""Made screens through a made camera: what is found is held against where it was drawn."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

pytest.importorskip("cv2")

from bench.screens.camera import hand_held, take
from bench.screens.echoes import made_echo, place_errors
from bench.screens.layouts import Layout
from bench.screens.screen import Screen, Shown, draw_screen

from moonless.constants import TAU
from moonless.picture.geometry.find import NoScope, find_scope
from moonless.picture.lay import Layer
from moonless.picture.look import look
from moonless.picture.told import Told


def bgr(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.ascontiguousarray(pixels[:, :, ::-1])


def test_a_photo_at_a_slant_is_squared(steep: Screen, layout: dict[str, Layout]) -> None:
    taken = take(steep.pixels, hand_held(3, (1280, 720), 35.0))
    found = look(bgr(taken.pixels), Told(range_nm=3.0))
    errors, bow = place_errors(found.plane, found.rings, found.bow_rad, steep, layout["steep"], taken)
    # The limits that were asked for: 2 cells of the screen at the median, 4 at 95 %, 0.7 degrees.
    assert np.median(errors) < 2.0 and np.percentile(errors, 95) < 4.0
    assert abs(bow) < 0.7


def test_a_still_gives_its_echoes_where_they_are(
    steep: Screen, layout: dict[str, Layout], echo: NDArray[np.uint8]
) -> None:
    picture = bgr(steep.pixels)
    found = look(picture, Told())
    assert found.range_m == pytest.approx(3.0 * 1852.0) and found.asks == ()
    scan = Layer.make(found).lay(picture)
    n = scan.echo.shape[1]
    true = echo[:, np.arange(n) * echo.shape[1] // n]
    strong = true > 200
    # What is strong shows strong, and open water far out stays empty.
    assert np.mean(scan.echo[strong] > 0) > 0.9
    quiet = np.ones_like(strong)
    quiet[100:500] = False
    quiet[:, : n // 2] = False
    grown = np.zeros_like(strong)
    for shift in range(-6, 7):
        grown |= np.roll(np.roll(true > 30, shift, 0), np.sign(shift) * min(abs(shift), 3), 1)
    assert np.mean(scan.echo[quiet & ~grown] > 60) < 0.02


@pytest.mark.parametrize("name", ["plum", "ink", "portrait"])
def test_the_bow_is_the_heading_line_whatever_is_up(
    name: str, layout: dict[str, Layout], echo: NDArray[np.uint8]
) -> None:
    screen = draw_screen(layout[name], Shown(echo, 3.0, math.radians(70.0), math.radians(61.0)))
    found = look(bgr(screen.pixels), Told(range_nm=3.0))
    assert found.bow_rad is not None
    off = math.degrees(math.remainder(found.bow_rad - screen.bow_rad, 2 * math.pi))
    assert abs(off) < 0.3


def test_a_range_that_could_be_the_spacing_is_asked_for(layout: dict[str, Layout], echo: NDArray[np.uint8]) -> None:
    open_box = layout["cross"]  # its picture goes on beyond its rings
    screen = draw_screen(open_box, Shown(echo, 3.0))
    found = look(bgr(screen.pixels))
    assert found.range_m is None
    assert any("range of the outermost ring" in ask for ask in found.asks)


def test_a_picture_cut_by_the_edge_of_its_screen_does_not_end_at_its_rings(layout: dict[str, Layout]) -> None:
    # Five rings of 0.6 NM, and a sixth in the corners: three miles over six rings would be read, a fifth too near.
    screen = draw_screen(layout["leaf"], Shown(made_echo(27), 3.0, 0.7 * 27 % TAU, 0.7 * 27 % TAU - 0.1))
    found = look(bgr(take(screen.pixels, hand_held(27, (1600, 900), 20.0)).pixels))
    assert found.range_m is None or found.range_m == pytest.approx(3.0 * 1852.0 * found.rings / 5.0, rel=0.01)


def test_a_figure_that_lost_its_beginning_is_not_read(layout: dict[str, Layout]) -> None:
    # The writing leans, and "0." falls into a line of its own: 0.75 NM was read as 75.
    screen = draw_screen(layout["trail"], Shown(made_echo(43), 0.75, 0.7 * 43 % TAU, 0.7 * 43 % TAU - 0.1))
    found = look(bgr(take(screen.pixels, hand_held(43, (960, 540), 30.0)).pixels))
    assert found.range_m is None or found.range_m == pytest.approx(0.75 * 1852.0, rel=0.01)


def test_without_a_heading_line_the_bow_is_asked_for(layout: dict[str, Layout], echo: NDArray[np.uint8]) -> None:
    bare = replace(layout["steep"], heading_line=layout["steep"].water, side=False)
    screen = draw_screen(bare, Shown(echo, 3.0))
    found = look(bgr(screen.pixels))
    assert found.bow_rad is None and any("which way is up" in ask for ask in found.asks)
    told = look(bgr(screen.pixels), Told(up="bow"))
    assert told.bow_rad is not None and abs(math.degrees(told.bow_rad)) < 1.0


def test_what_a_menu_lies_over_is_not_received(
    steep: Screen, layout: dict[str, Layout], echo: NDArray[np.uint8]
) -> None:
    found = look(bgr(steep.pixels), Told(range_nm=3.0))
    open_menu = draw_screen(replace(layout["steep"], over=("menu",)), Shown(echo, 3.0, math.radians(40.0), 0.6))
    layer = Layer.make(found)
    # Echoes that lie over the rings were judged to be no box before it is opened over them.
    without = draw_screen(layout["steep"], Shown(echo, 3.0, math.radians(40.0), 0.6))
    assert layer.lay(bgr(without.pixels)).shown.mean() > 0.9
    scan = layer.lay(bgr(open_menu.pixels))
    # The menu as the screen draws it, in shares of the radius: right 0.35 to 1.05, up 0.25 to 0.9.
    n, m = scan.shown.shape
    angle, reach = np.arange(n)[:, None] * TAU / n, (np.arange(m)[None, :] + 1.0) / m
    right, up = reach * np.sin(angle), reach * np.cos(angle)
    under = (right > 0.36) & (up > 0.26) & (up < 0.89)
    # A few cells of its corners apart.
    assert scan.shown[under].mean() < 0.001
    near = (right > 0.33) & (up > 0.23) & (up < 0.92)
    assert scan.shown[~near].mean() > 0.99


def test_a_scope_half_covered_is_refused(steep: Screen) -> None:
    covered = steep.pixels.copy()
    x, y, reach = (round(v) for v in (*steep.centre, steep.radius))
    covered[y - reach : y + reach, x - reach : x] = (60, 60, 70)
    with pytest.raises(NoScope, match=r"lies over (4[5-9]|5[0-5])% of the scope: close it"):
        look(bgr(covered))


def test_no_scope_in_a_picture_of_something_else() -> None:
    rng = np.random.default_rng(1)
    noise = rng.integers(0, 255, (480, 640, 3)).astype(np.uint8)
    with pytest.raises(NoScope, match="no range rings"):
        find_scope(noise)


def test_a_black_frame_says_so() -> None:
    with pytest.raises(NoScope, match="one brightness"):
        find_scope(np.zeros((480, 640, 3), np.uint8))


def test_a_thumbnail_is_too_small() -> None:
    with pytest.raises(NoScope, match="are needed"):
        find_scope(np.zeros((90, 120, 3), np.uint8))


def test_two_scopes_are_refused(layout: dict[str, Layout], echo: NDArray[np.uint8]) -> None:
    one = draw_screen(replace(layout["small"], ticks=0), Shown(echo, 3.0)).pixels
    with pytest.raises(NoScope, match="two scopes"):
        find_scope(bgr(np.concatenate([one, one], axis=1)))


def test_a_scope_that_is_mostly_cut_off_is_refused(steep: Screen) -> None:
    # What is left shows a third of it; either no rings are found or too little of the scope is.
    with pytest.raises(NoScope):
        look(bgr(steep.pixels[:, : int(steep.centre[0] - 0.25 * steep.radius)]))


@pytest.mark.parametrize("turns", [1, 2])
def test_a_phone_held_turned_finds_the_bow_and_no_wrong_range(
    turns: int, steep: Screen, layout: dict[str, Layout]
) -> None:
    # A quarter turn anticlockwise of the picture turns the bow so too.
    found = look(np.ascontiguousarray(np.rot90(bgr(steep.pixels), turns)))
    assert found.bow_rad is not None
    assert abs(math.degrees(math.remainder(found.bow_rad + turns * math.pi / 2.0, TAU))) < 0.3
    assert found.range_m is None or found.range_m == pytest.approx(3.0 * 1852.0)
    assert found.range_m is not None or found.asks


def test_glare_is_no_echo(steep: Screen, echo: NDArray[np.uint8]) -> None:
    picture = bgr(steep.pixels).astype(np.float64)
    height, width = picture.shape[:2]
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    # A lamp's reflection on open water to the north-west, 60 counts in its middle.
    at = (steep.centre[0] - 0.5 * steep.radius, steep.centre[1] - 0.4 * steep.radius)
    spot = 60.0 * np.exp(-0.5 * (((x - at[0]) / 90.0) ** 2 + ((y - at[1]) / 60.0) ** 2))
    lit = np.clip(picture + spot[:, :, None], 0, 255).astype(np.uint8)
    plain = Layer.make(look(bgr(steep.pixels), Told(range_nm=3.0))).lay(bgr(steep.pixels))
    scan = Layer.make(look(lit, Told(range_nm=3.0))).lay(lit)
    assert np.mean((scan.echo > 0) & (plain.echo == 0)) < 0.02
    strong = plain.echo > 150
    assert np.mean(scan.echo[strong] > 0) > 0.9


@pytest.mark.parametrize("name", ["rust", "bone"])
def test_echoes_over_a_ring_and_ahead_are_seen_and_the_lines_are_not(name: str, layout: dict[str, Layout]) -> None:
    row, reach = np.arange(1024)[:, None], (np.arange(512)[None, :] + 0.5) / 512
    ahead = (np.abs((row + 512) % 1024 - 512) < 10) & (np.abs(reach - 0.75) < 0.012)
    # As deep as ten pixels of the screen: the ring lies across its middle.
    over = (np.abs(row - 300) < 12) & (np.abs(reach - 1.0 / layout[name].rings) < 0.014)
    screen = draw_screen(layout[name], Shown(np.where(ahead | over, 150, 3).astype(np.uint8), 3.0))
    # Echoes elsewhere teach the colours.
    taught = draw_screen(layout[name], Shown(made_echo(5), 3.0))
    scan = Layer.make(look(bgr(taught.pixels), Told(range_nm=3.0))).lay(bgr(screen.pixels))
    m = scan.echo.shape[1]
    ring, there = round(m / layout[name].rings) - 1, round(0.75 * m) - 1
    assert (scan.echo[np.r_[1018:1024, 0:6], there] > 0).all()
    assert (scan.echo[292:308, ring - 1 : ring + 2] > 0).all()
    elsewhere = np.r_[12:280, 320:1012]
    assert (scan.echo[elsewhere, 20:] > 0).mean() < 0.005
    assert (scan.echo[np.r_[1018:1024, 0:6], 40 : there - 12] > 0).mean() < 0.01
