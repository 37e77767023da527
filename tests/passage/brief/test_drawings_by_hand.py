"""The brief's drawings read back: what stands where, by the rule of three, and what is told in words beside them."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from moonless.boat.file import default_boat
from moonless.frames import LocalFrame
from moonless.passage.brief.carried import _is_near
from moonless.passage.brief.content import Table
from moonless.passage.brief.paper import set_in
from moonless.passage.brief.picture import departure_svg
from moonless.passage.brief.steering import legs_words
from moonless.passage.chartlet import chartlet_svg, label_places
from moonless.passage.dark import glow_words, moon_words
from moonless.passage.types import DarkAt, Departure
from moonless.passage.way.route import Waypoint

T = datetime(2031, 3, 24, 18, tzinfo=UTC).timestamp()
FRAME = LocalFrame(10.0, -140.0)


def _departure(k: int, **of: Any) -> Departure:
    plain = Departure(T + 900.0 * k, 0, 0, 0.001, 0.1, 1.0, 0.5, T + 9000.0)
    return replace(plain, **of)


# Nine quarters of an hour; the light falls by a decade a quarter, the third tide is not known, the fifth is refused.
WINDOW = [
    _departure(k, mean_lux=10.0 ** (2 - k), tide_at_least_m=None if k == 2 else 0.1 * k, stops=int(k == 4),
               least_depth_margin_m=2.0 - 0.5 * abs(k - 4))
    for k in range(9)
]  # fmt: skip
# The plot is 780 wide; its scale begins at 200 and ends 12 short of the edge.
X = [200.0 + 568.0 * k / 8.0 for k in range(9)]


def _curve(path: str) -> list[list[tuple[float, float]]]:
    """Return the points of a path, a list for each stroke of the pen."""
    strokes: list[list[tuple[float, float]]] = []
    for letter, x, y in re.findall(r"([ML])([\d.-]+) ([\d.-]+)", path):
        if letter == "M":
            strokes.append([])
        strokes[-1].append((float(x), float(y)))
    return strokes


def test_the_window_of_departures_is_drawn_to_scale() -> None:
    svg = departure_svg(WINDOW, T + 1800.0, UTC)
    light, tide, depth = (_curve(d) for d in re.findall(r'<path d="([^"]+)" stroke-width="1.6"', svg))
    # Each strip is 80 high, its curve from 18 under its top to 6 over its foot; strips 8 apart, the first at 12.
    for strip, values, top in (
        # No darker than 1e-5 lux: the last one would be 1e-6.
        (light, [2.0, 1.0, 0.0, -1.0, -2.0, -3.0, -4.0, -5.0, -5.0], 12.0),
        (depth, [2.0 - 0.5 * abs(k - 4) for k in range(9)], 188.0),
    ):
        (stroke,) = strip
        high, low = max(values), min(values)
        want = [(x, top + 18.0 + 56.0 * (high - v) / (high - low)) for x, v in zip(X, values, strict=True)]
        assert np.array(stroke) == pytest.approx(np.array(want), abs=0.06)
    # What is not known breaks the line.
    assert [len(stroke) for stroke in tide] == [2, 6] and tide[1][0][0] == pytest.approx(X[3], abs=0.06)
    assert tide[0][0][1] == pytest.approx(100.0 + 74.0) and tide[1][-1][1] == pytest.approx(100.0 + 18.0)
    # The refused one has a cross under it, the chosen one a line.
    crosses = re.findall(r'<path d="M([\d.]+) ([\d.]+) l8 8 m0 -8 l-8 8"', svg)
    assert [(float(x) + 4.0, float(y) + 4.0) for x, y in crosses] == [pytest.approx((X[4], 276.0), abs=0.06)]
    assert re.search(rf'<line x1="{X[2]:.1f}" x2="{X[2]:.1f}" y1="8" y2="284"', svg)
    hours = re.findall(r'<text x="([\d.]+)" y="302" text-anchor="middle" stroke="none">([\d:]+)<', svg)
    assert [(float(x), said) for x, said in hours] == [
        (pytest.approx(x, abs=0.06), f"{18 + k // 4}:{15 * (k % 4):02d}") for k, x in enumerate(X)
    ]
    # The least and the most stand beside the curve, at their own heights.
    said = {
        (w, round(float(y) - 4.0)) for y, w in re.findall(r'y="([\d.]+)" text-anchor="end" stroke="none">([^<]+)', svg)
    }
    assert said == {("1e+02", 30), ("1e-05", 86), ("0.8", 118), ("0.0", 174), ("2.0", 206), ("0.0", 262)}


def test_a_window_of_one_departure_or_of_nothing_known_is_drawn_too() -> None:
    one = departure_svg([_departure(0, tide_at_least_m=None)], T - 60.0, UTC)
    assert "not known" in one and "<line" not in one
    assert _curve(one)[0] == [pytest.approx((200.0, 86.0))]
    long = departure_svg([_departure(k) for k in range(40)], T, UTC)
    assert len(re.findall(r'text-anchor="middle"', long)) == 8


def _drawn(*en: tuple[float, float], first: int = 1) -> str:
    points = [Waypoint(f"W{k}", *map(float, FRAME.to_geographic(*at))) for k, at in enumerate(en)]
    ground: Any = [
        SimpleNamespace(leg=SimpleNamespace(start=a, end=b), stretch=None, number=first + k)
        for k, (a, b) in enumerate(itertools.pairwise(points))
    ]
    return chartlet_svg(ground, default_boat())


def _track(svg: str) -> np.ndarray:
    (points,) = re.findall(r'<polyline class="track" points="([^"]+)"', svg)
    return np.array([[float(v) for v in pair.split(",")] for pair in points.split()])


@pytest.mark.parametrize(
    ("en", "height", "m_px"),
    [
        # 3000 m by 2000: 400 m of margin each side, 3800 by 2800 m on 720 by 530.5 pixels.
        ([(0.0, 0.0), (3000.0, 500.0), (1000.0, 2000.0)], 720.0 * 2800.0 / 3800.0, 3800.0 / 720.0),
        # 20 km to the north: margin of 0.12 of it, 24.8 km on 620 pixels, the tallest.
        ([(0.0, 0.0), (500.0, 20_000.0)], 620.0, 24_800.0 / 620.0),
        # 20 km to the east: 240 pixels at the least.
        ([(0.0, 0.0), (20_000.0, 100.0)], 240.0, 24_800.0 / 720.0),
    ],
)
def test_the_chartlet_is_to_scale_north_up_and_in_the_middle(
    en: list[tuple[float, float]], height: float, m_px: float
) -> None:
    svg = _drawn(*en)
    box = re.search(r'viewBox="0 0 720 (\d+)"', svg)
    assert box is not None and int(box[1]) == round(height)
    track, metres = _track(svg), np.array(en)
    middle = (metres.min(axis=0) + metres.max(axis=0)) / 2.0
    want = np.array([360.0, height / 2.0]) + (metres - middle) * np.array([1.0, -1.0]) / m_px
    assert track == pytest.approx(want, abs=0.5)
    # The bar is as long as its words say, no longer than a third, and the longest of the round ones that is not.
    bar = re.search(r'class="bar" d="M([\d.]+) ([\d.]+)v-5v5h([\d.]+)v-5"', svg)
    said = re.search(r'x="704.0" y="([\d.]+)" text-anchor="end">([\d.]+) NM<', svg)
    assert bar is not None and said is not None
    nm = max(s for s in (0.05, 0.1, 0.25, 0.5, 1, 2, 5, 10, 20) if s * 1852.0 / m_px < 240.0)
    assert float(said[2]) == nm and float(bar[3]) == pytest.approx(nm * 1852.0 / m_px, abs=0.1)
    assert float(bar[1]) + float(bar[3]) == pytest.approx(704.0, abs=0.1)
    assert float(bar[2]) == pytest.approx(height - 14.0, abs=0.1) and float(said[1]) == pytest.approx(
        height - 23.0, abs=0.1
    )
    # The south-west corner by its position.
    corner = re.search(r"corner ([\d.-]+), ([\d.-]+)<", svg)
    low = middle - np.array([360.0, height / 2.0]) * m_px
    assert corner is not None
    assert (float(corner[1]), float(corner[2])) == pytest.approx(FRAME.to_geographic(*low), abs=1.1e-3)


def test_points_bear_the_number_of_the_leg_that_ends_there() -> None:
    svg = _drawn((0.0, 0.0), (2000.0, 0.0), (2000.0, 2000.0))
    assert re.findall(r'text-anchor="(?:start|end)">(start|\d+)<', svg) == ["start", "1", "2"]
    later = _drawn((0.0, 0.0), (2000.0, 0.0), (2000.0, 2000.0), first=4)
    assert re.findall(r'text-anchor="(?:start|end)">(start|\d+)<', later) == ["3", "4", "5"]
    # Of more than forty every second is named, the first and the last always.
    many = _drawn(*[(400.0 * k, 300.0 * (k % 2)) for k in range(60)])
    assert re.findall(r'text-anchor="(?:start|end)">(start|\d+)<', many) == ["start", *map(str, range(2, 59, 2)), "59"]
    assert len(re.findall('class="point"', many)) == 60


def test_words_beside_a_point_stand_off_the_track_the_edge_and_each_other() -> None:
    # The track runs off to the right and up: the words go below it or to the left.
    track = np.array([[300.0, 200.0], [500.0, 100.0]])
    (x, y, anchor), _ = label_places(track, [0, 1], ["12", "13"])
    assert (x, y, anchor) == (306.0, 220.0, "start")
    # At the right edge they stand to the left of their point, at the top below it.
    edge = np.array([[715.0, 300.0], [715.0, 500.0]])
    assert label_places(edge, [0], ["12"])[0][2] == "end"
    top = np.array([[300.0, 4.0], [290.0, 4.0]])
    assert label_places(top, [0], ["12"])[0][1] == 24.0
    # Two at one place: the second takes another corner.
    same = np.array([[300.0, 300.0], [300.0, 301.0]])
    first, second = label_places(same, [0, 1], ["1", "2"])
    assert first[:2] != second[:2] and (first[2], first[1] < 300.0) != (second[2], second[1] < 300.0)


def test_rows_that_speak_against_are_red_on_paper_and_the_widest_column_has_the_room(tmp_path: Path) -> None:
    grid = Table(("leg", "what", "position"), (("1", "a shoal on the way", "x"), ("2", "clear", "y")), frozenset({1}))
    text = set_in(tmp_path, [grid]).read_text()
    assert "#table(columns: (auto, 1fr, 2.1cm)" in text
    assert "[#text(red)[clear]]" in text and "[a shoal on the way]" in text and "red)[a shoal" not in text


def test_legs_are_named_in_runs() -> None:
    assert legs_words([3]) == "leg 3"
    assert legs_words([1, 2, 3, 4, 6]) == "legs 1 to 4, 6"
    assert legs_words([2, 5, 6, 9, 10, 11]) == "legs 2, 5 to 6, 9 to 11"


@pytest.mark.parametrize(
    ("record", "is_near"),
    [
        ({"lat": 10.0, "lon": -140.0}, True), ({"latitude": 11.1, "longitude": -140.0}, False),
        ({"lat": 8.9, "lng": -140.0}, False), ({"lat": 10.0, "lon": -138.9}, False),
        ({"lat": 10.0, "lon": -141.1}, False),
        ({"lat": 9.1, "lon": -140.9}, True), ({"lat": 10.9, "lon": -139.1}, True), ({"id": "a reference"}, True),
        ({"lat": 50.0}, True),
    ],
)  # fmt: skip
def test_which_tide_stations_are_carried_along(record: dict[str, object], is_near: bool) -> None:
    """Those in the box of the route; what has no place of its own goes along."""
    assert _is_near(record, -141.0, 9.0, -139.0, 11.0) is is_near


def _moon(relative_deg: float | None, up_deg: float = 30.0) -> str:
    return moon_words(DarkAt(T, "moonlit night", 0.1, -30.0, up_deg, relative_deg, 80.0))


@pytest.mark.parametrize(
    ("relative", "says"),
    [
        (0.0, "ahead: ahead"), (9.0, "ahead: ahead"), (11.0, "ahead to starboard: ahead"),
        (-44.0, "ahead to port: ahead"), (46.0, "abeam to starboard"), (-134.0, "abeam to port"),
        (136.0, "behind to starboard: it lights what lies ahead"),
        (-169.0, "behind to port: it lights what lies ahead"), (171.0, "behind: it lights what lies ahead"),
        (-175.0, "behind: it lights what lies ahead"),
    ],
)  # fmt: skip
def test_where_the_moon_stands_from_the_wheel(relative: float, says: str) -> None:
    assert _moon(relative) == f"moon 80% lit, 30° up, {says}"
    assert _moon(None) == "moon down"


def test_a_low_moon_ahead_dazzles() -> None:
    assert "glare" in _moon(-20.0, 19.0) and "glare" not in _moon(-20.0, 21.0) and "glare" not in _moon(90.0, 19.0)


@pytest.mark.parametrize("course", [0.0, 130.0, 350.0])
@pytest.mark.parametrize(("relative", "nm", "is_told", "hides"), [
    (40.0, 5.0, True, True), (-44.0, 11.9, True, True), (46.0, 5.0, True, False), (-170.0, 5.0, True, False),
    (0.0, 12.1, False, False),
])  # fmt: skip
def test_a_towns_glow_within_a_dozen_miles(
    course: float, relative: float, nm: float, is_told: bool, hides: bool
) -> None:
    b = math.radians(course + relative)
    lat, lon = FRAME.to_geographic(nm * 1852.0 * math.sin(b), nm * 1852.0 * math.cos(b))
    said = glow_words(10.0, -140.0, course, [Waypoint("Town", float(lat), float(lon))])
    assert bool(said) is is_told
    if is_told:
        assert f"{nm:.1f} NM" in said[0] and ("are lost" in said[0]) is hides
        side = "starboard" if relative > 0.0 else "port"
        assert f"{abs(relative):.0f}° on the {side} {'quarter' if relative == -170.0 else 'bow'}" in said[0]
