"""The brief as a skipper uses it: one page to steer by, one go or not, the same on paper as on the screen."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import shapely

from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.cli import main
from moonless.errors import InputError
from moonless.frames import LocalFrame
from moonless.passage.brief.content import Block, Fold, PageSheet, Table, brief, departure_words, float_plan
from moonless.passage.brief.page import page
from moonless.passage.brief.selection import and_more
from moonless.passage.chartlet import LABEL_EM, LABEL_TALL, chartlet_svg, label_places
from moonless.passage.departures import best_of, search
from moonless.passage.night import Night
from moonless.passage.plan import make_plan, survey
from moonless.passage.types import Departure, Plan
from moonless.passage.way.route import Route, Waypoint, to_gpx
from moonless.passage.words import clock_words, date_words, magnetic_words, parse_time, place_words
from moonless.scene.file import demo_folder
from moonless.scene.story import demo_chart

FRAME = LocalFrame(10.0, -140.0)
WHEN = datetime(2031, 3, 24, 7, tzinfo=UTC).timestamp()
NIGHT = Night(wanted_kn=8.0)
BOAT_FILE = """
[boat]
name = "Test"
length_m = 9.0
beam_m = 3.0
draught_m = 0.9
air_draught_m = 3.5
eye_height_m = 2.2
"""


def _route(*plane: tuple[float, float]) -> Route:
    return Route("run", tuple(Waypoint(f"W{k}", *FRAME.to_geographic(*p)) for k, p in enumerate(plane, 1)))


def _plan(chart: Chart, boat: Boat, *plane: tuple[float, float]) -> Plan:
    ground = survey(chart, _route(*plane), boat, NIGHT)
    plan = make_plan(chart, _route(*plane), boat, WHEN, NIGHT, ground=ground)
    return replace(plan, chartlet_svg=chartlet_svg(ground, boat))


def _texts(blocks: tuple[Block, ...]) -> list[str]:
    """Every string in some blocks."""
    out: list[str] = []
    for block in blocks:
        if isinstance(block, PageSheet | Fold):
            out += _texts(block.blocks)
            continue
        for value in (getattr(block, name) for name in block.__slots__):
            flat = [value]
            while flat:
                one = flat.pop(0)
                if isinstance(one, str):
                    out.append(one)
                elif isinstance(one, tuple):
                    flat = [*one, *flat]
    return out


def test_two_sheets_stand_first_and_each_matter_once(chart_with: Callable[[Any], Chart], boat: Boat) -> None:
    # Twenty unlit beacons along two legs, 60 m off the track.
    points = [shapely.Point(-4000.0 + 250.0 * k, -4060.0) for k in range(20)]
    chart = chart_with({"BCNLAT": (points, {"OBJNAM": [f"B{k}" for k in range(20)]})})
    plan = _plan(chart, boat, (-4500, -4000), (-1000, -4000), (2500, -4000))
    whole = brief(plan, UTC, "nm")
    assert [type(block) for block in whole[:2]] == [PageSheet, PageSheet] and all(
        isinstance(b, Fold) for b in whole[2:]
    )
    marks = [p for p in plan.points if p.weight == "against" and "marks" in p.what]
    assert len(marks) == 1 and marks[0].what.startswith("20 marks on legs 1, 2; worst: ")
    assert len([p.what for p in plan.points]) == len({p.what for p in plan.points})
    # All twenty stand in the details.
    assert sum(d.kind == "mark" and d.weight == "against" for leg in plan.legs for d in leg.dangers) >= 20


def test_paper_is_set_from_the_blocks_of_the_page(made_chart: Chart, boat: Boat, tmp_path: Path) -> None:
    pytest.importorskip("typst")
    from moonless.passage.brief.paper import _Setting, pdf_bytes

    plan = _plan(made_chart, boat, (-3000, 500), (3000, 500))
    sheet = page(plan, UTC, "nm")
    setting = _Setting(tmp_path)
    paper = "".join(setting.set(block) for block in brief(plan, UTC, "nm"))
    bare = re.sub(r"[^a-z0-9]", "", paper.lower())
    screen = re.sub(r"[^a-z0-9]", "", re.sub(r"&[a-z#0-9]+;", "", sheet.lower()))
    texts = [t for t in _texts(brief(plan, UTC, "nm")) if not t.startswith("<svg")]
    assert len(texts) > 60
    for text in texts:
        words = re.sub(r"[^a-z0-9]", "", text.lower().replace("'", ""))
        assert words in bare, text
        assert words in screen or "&" in text or "'" in text, text
    assert pdf_bytes(plan, UTC, "nm").startswith(b"%PDF")


def test_nothing_is_cut_without_saying_how_many(made_chart: Chart, boat: Boat) -> None:
    assert and_more(["a", "b", "c"], 2, "behind") == ("a", "b", "and 1 more, behind")
    assert and_more(["a", "b"], 2, "behind") == ("a", "b")


def test_float_plan_has_positions_mmsi_and_when_to_call(made_chart: Chart, boat: Boat) -> None:
    plan = _plan(made_chart, replace(boat, mmsi=2_320_001), (-5000, -500), (1500, -500))
    text = float_plan(plan, UTC, "nm")
    assert "MMSI: 002320001" in text
    assert text.count("°") >= 4 and "W1: 09°59.7" in text
    due = plan.legs[-1].end_s
    assert f"Due: {date_words(due, UTC)}" in text and f"Overdue, call for help: {date_words(due + 3600.0, UTC)}" in text


def test_least_water_under_the_keel(made_chart: Chart, boat: Boat) -> None:
    # Charted 20 m all along; she draws 0.9 m: 19.1 m, and no tide station says more.
    assert boat.draught_m == 0.9
    plan = _plan(made_chart, boat, (-5000, -500), (1500, -500))
    assert "19.1 m, no tide" in page(plan, UTC, "nm")


def test_positions_are_rounded_not_cut() -> None:
    assert place_words(42.335, -70.985) == "42°20.100'N 070°59.100'W"
    assert place_words(-0.99999999, 179.99999999) == "01°00.000'S 180°00.000'E"


def test_times_are_rounded_not_cut() -> None:
    at = datetime(2031, 3, 24, 7, 29, 45, tzinfo=UTC).timestamp()
    assert clock_words(at, UTC) == "07:30" and clock_words(at - 20.0, UTC) == "07:29"
    assert date_words(datetime(2031, 3, 24, 23, 59, 40, tzinfo=UTC).timestamp(), UTC).startswith(
        "Tue 25 Mar 2031 00:00"
    )


def test_magnetic_course() -> None:
    # World Magnetic Model 2025 test values (NOAA): 2025.0, 80 N, 0 E, sea level: declination 1.28 degrees east.
    when = datetime(2025, 1, 1, tzinfo=UTC).timestamp()
    assert magnetic_words(100.6, 80.0, 0.0, when) == "099°M"
    assert magnetic_words(0.5, 80.0, 0.0, when) == "359°M"


def test_courses_are_true_magnetic_and_by_compass_where_the_boat_has_a_card(made_chart: Chart, boat: Boat) -> None:
    # 9 degrees west on every heading: by compass 9 more than magnetic ("error west, compass best").
    card = tuple((heading, -9.0) for heading in (0.0, 90.0, 180.0, 270.0))
    for deviation, columns in (((), ["magnetic"]), (card, ["magnetic", "compass"])):
        plan = _plan(made_chart, replace(boat, deviation=deviation), (-3000, 500), (0, 600), (3000, 500))
        sheet = brief(plan, UTC, "nm")[0]
        assert isinstance(sheet, PageSheet)
        table = next(block for block in sheet.blocks if isinstance(block, Table))
        assert [h for h in table.heads if h in ("magnetic", "compass")] == columns
        said = " ".join(_texts((sheet,)))
        assert ("no deviation card is in the boat file" in said) == (not deviation)
        at = table.heads.index("magnetic")
        for row in table.rows:
            assert len(row) == len(table.heads)
            if deviation:
                magnetic, compass = int(row[at].removesuffix("°M")), int(row[at + 1].removesuffix("°C"))
                assert (compass - magnetic) % 360 in (8, 9, 10)  # each is rounded by itself


def test_the_hour_that_is_not_there_and_the_one_that_is_twice() -> None:
    # IANA: Europe/London goes forward at 01:00 UTC on the last Sunday of March, back on the last of October.
    zone = ZoneInfo("Europe/London")
    with pytest.raises(InputError, match="is not there: clocks go forward"):
        parse_time("2031-03-30T01:30", zone)
    with pytest.raises(InputError, match="is there twice: clocks go back"):
        parse_time("2031-10-26T01:30", zone)
    assert parse_time("2031-10-26T01:30+00:00", zone) == datetime(2031, 10, 26, 1, 30, tzinfo=UTC).timestamp()
    assert parse_time("2031-10-26T03:30", zone) == datetime(2031, 10, 26, 3, 30, tzinfo=UTC).timestamp()


def test_a_change_of_clocks_under_way_is_said(made_chart: Chart, boat: Boat) -> None:
    night = Night(wanted_kn=8.0, zone="Europe/London")
    depart = datetime(2031, 10, 26, 0, 50, tzinfo=UTC).timestamp()
    plan = make_plan(made_chart, _route((-5000, -500), (1500, -500)), boat, depart, night)
    (said,) = [(t, w) for t, w in plan.events if "clocks go" in w]
    assert said[0] == datetime(2031, 10, 26, 1, 0, tzinfo=UTC).timestamp()
    assert "back" in said[1] and "GMT" in said[1] and "BST" in said[1]


def _departure(hour: int, stops: int, against: int, lux: float) -> Departure:
    return Departure(WHEN + hour * 3600.0, stops, against, lux, lux, None, None, WHEN + hour * 3600.0 + 900.0)


def test_the_best_departure_is_never_a_refused_one(made_chart: Chart, boat: Boat) -> None:
    mixed = (_departure(0, 1, 0, 9.0), _departure(1, 0, 4, 0.1), _departure(2, 0, 3, 0.01))
    best = best_of(mixed)
    assert best is not None and best.time_s == mixed[2].time_s
    plan = _plan(made_chart, boat, (-5000, -500), (1500, -500))
    words = departure_words(replace(plan, departures=mixed), UTC)
    assert words.startswith("Best of 3 departures from 07:00 to 09:00: leave Mon 24 Mar 2031 09:00 UTC")
    assert words.endswith("1 of them are refused.")
    none = (_departure(0, 1, 0, 9.0), _departure(1, 2, 0, 9.0))
    assert best_of(none) is None
    assert "every one of 2 departures" in departure_words(replace(plan, departures=none), UTC)
    found = search(made_chart, _route((-3000, 500), (3000, 500)), boat, WHEN, 0.6, NIGHT)
    assert best_of(found) is None


def test_a_refused_plan_ends_with_a_code_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "boat.toml").write_text(BOAT_FILE)
    common = ["--chart", str(demo_chart()), "--boat", "boat.toml", "--depart", "2031-03-03T05:00Z", "--no-pictures"]
    with pytest.raises(SystemExit) as leaving:
        main(["plan", str(demo_folder() / "route.gpx"), *common])
    # The demo's last leg ends alongside her own pontoon.
    assert leaving.value.code == 0
    # Straight from the rookery to the basin, over the cays.
    over = Route("over", (Waypoint("a", -12.388, -118.3195), Waypoint("b", -12.4148, -118.2639)))
    (tmp_path / "over.gpx").write_text(to_gpx(over, [0, 1]))
    with pytest.raises(SystemExit) as leaving:
        main(["plan", "over.gpx", *common, "--out", "b.html", "--json", "b.json"])
    assert leaving.value.code == 3
    assert "refused" in (tmp_path / "b.html").read_text() and (tmp_path / "b.json").exists()


def test_outputs_of_one_name_and_one_that_cannot_be_leave_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "boat.toml").write_text(BOAT_FILE)
    route = str(demo_folder() / "route.gpx")
    common = ["--chart", str(demo_chart()), "--boat", "boat.toml", "--depart", "2031-03-03T05:00Z", "--no-pictures"]
    for outputs in (
        ["--out", "a", "--json", "./a"],
        ["--out", "a", "--json", "no/b"],
        ["--out", "a", "--gpx", "/proc/x"],
    ):
        with pytest.raises(SystemExit) as leaving:
            main(["plan", route, *common, *outputs])
        assert leaving.value.code == 2 and len(capsys.readouterr().err.strip().splitlines()) == 1
        assert not (tmp_path / "a").exists()


def test_what_no_chart_covers_is_hatched_and_no_sea(made_chart: Chart, boat: Boat) -> None:
    # The chart ends at 6000 m east; the drawing goes 400 m past the leg's end.
    svg = chartlet_svg(survey(made_chart, _route((5000, -4000), (5900, -4000)), boat, NIGHT), boat)
    assert '<rect fill="url(#nochart)"' in svg and '<rect class="sea"' not in svg
    (sea,) = re.findall(r'<path class="sea"[^>]* d="([^"]+)"', svg)
    width = float(re.search(r'viewBox="0 0 (\d+)', svg)[1])  # type: ignore[index]
    xs = [float(x) for x in re.findall(r"[ML]([\d.-]+) ", sea)]
    assert max(xs) < 0.85 * width  # 1700 m are drawn, the last 300 of them past the chart


def test_notes_of_the_route_stand_in_the_brief(made_chart: Chart, boat: Boat) -> None:
    plan = replace(_plan(made_chart, boat, (-3000, 500), (3000, 500)), notes=("the start was moved 200 m",))
    assert "Of this route: the start was moved 200 m." in _texts(brief(plan, UTC, "nm"))


def test_numbers_of_near_points_do_not_lie_over_each_other() -> None:
    # Two points a hull's length apart at the start, and three at a pontoon, 8 pixels from one to the next.
    track = np.array([[100.0, 300.0], [108.0, 302.0], [400.0, 320.0], [404.0, 328.0], [406.0, 336.0]])
    words = ["start", "1", "2", "3", "4"]
    put = label_places(track, range(5), words)
    wide = [LABEL_EM * len(word) for word in words]
    left = [x if anchor == "start" else x - w for (x, _, anchor), w in zip(put, wide, strict=True)]
    boxes = [shapely.box(x, y - LABEL_TALL, x + w, y) for x, (_, y, _), w in zip(left, put, wide, strict=True)]
    assert not any(a.overlaps(b) or a.contains(b) for a, b in itertools.combinations(boxes, 2))
    for box, point in zip(boxes, track, strict=True):
        assert not box.contains(shapely.Point(point)) and box.distance(shapely.Point(point)) < 10.0


@pytest.mark.parametrize("legs", [1, 8, 27])
def test_to_steer_by_and_go_or_not_have_a_page_each(made_chart: Chart, boat: Boat, tmp_path: Path, legs: int) -> None:
    typst = pytest.importorskip("typst")
    from moonless.passage.brief.paper import set_in

    # Up and down over open water, with the drawing of it.
    route = _route(*[(-5000.0 + 7000.0 * k / legs, -4000.0 - 300.0 * (k % 2)) for k in range(legs + 1)])
    ground = survey(made_chart, route, boat, NIGHT)
    plan = make_plan(made_chart, route, boat, WHEN, NIGHT, ground=ground)
    plan = replace(plan, chartlet_svg=chartlet_svg(ground, boat))
    sheets = brief(plan, UTC, "nm")[:2]
    assert [type(sheet) for sheet in sheets] == [PageSheet, PageSheet]
    pages = typst.compile(str(set_in(tmp_path, sheets)), root=str(tmp_path), format="svg")
    assert len(pages) == 2
