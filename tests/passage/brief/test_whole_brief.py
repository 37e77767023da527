"""A whole brief of a plan written down by hand: every line of page, float plan and plain data.

1852 m are a nautical mile; courses have three figures; times are UTC, half an hour a leg from 07:00.
"""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from datetime import UTC
from typing import Any

import pytest
from test_told_by_hand import BOAT, DARK, NIGHT, WATER, WHEN, _plan, _points, _shoal

from moonless.passage.brief.content import (
    Banner,
    Block,
    Drawing,
    Fold,
    Heading,
    PageSheet,
    Paragraph,
    Rows,
    Table,
    brief,
    float_plan,
)
from moonless.passage.brief.record import plan_dict
from moonless.passage.dark import glow_words, moon_words
from moonless.passage.departures import best_of
from moonless.passage.go_no_go import points_for_and_against
from moonless.passage.types import Departure, LegDanger, LightSeen, OpensAt, Plan, Refuge, UnlitMark, UnrangedLight
from moonless.passage.way.route import Waypoint
from moonless.passage.words import place_words, relative_words


def _whole() -> Plan:
    lights = (
        LightSeen(1, "Outer", "Fl R 5s 4M", "red", 926.0, 1800.0, 4000.0, 45.4, -30.2, 555.6, 10.01, -139.99),
        LightSeen(1, None, "Iso 2s", "white", 0.0, 1852.0, 9000.0, 101.6, 120.0, 1111.2, 10.02, -139.98, True),
    )
    unlit = (
        UnlitMark(1, "No 5", "BOYLAT", 400.0, 120.0, "port", "a", 250.0),
        UnlitMark(1, "No 3", "BOYLAT", 1500.0, 90.0, "starboard", "b", None),
        UnlitMark(1, "No 4", "BOYLAT", 1600.0, 180.0, "starboard", "c", 1500.0),
    )
    dangers = (
        _shoal(enough=((WHEN + 600.0, WHEN + 5400.0),)),
        LegDanger("rock", 1, 900.0, 25.0, "starboard", "Hog", "UWTROC", "T9", "77", 2.0, 0.25, "against", "rock 2.0 m"),
        LegDanger("anchorage", 1, 100.0, 0.0, "on", "Bight", "ACHARE", "T", "5", None, None, "note", "anchorage"),
    )
    dark = replace(
        DARK, word="half dark", lux=0.0123, moon_relative_deg=-100.0, moon_altitude_deg=12.3, moon_lit_percent=64.6,
        glow=("glow of town",),
    )  # fmt: skip
    plan = _plan(
        1852.0, 3704.0, lights=(lights, ()), unlit=(unlit, ()), dangers=(dangers, ()), dark=(dark, DARK),
        index=((), ()), opens=((OpensAt(926.0, 80.0, "port", 4.0, "the point opens"),), ()),
        unranged=((UnrangedLight(1, None, "Q G", 300.0, 1000.0, "port"),), ()), calls=(("Port, VHF 12",), ()),
        refuges=(
            (Refuge(False, "Bight", 0.0, "on", "5"),),
            (Refuge(True, "Haven", 700.4, "port", "9"), Refuge(False, "Bight", 40.0, "port", "5")),
        ),
        fuel_l=(12.4, 20.3), least_depth_m=(3.29, None), bailout=("back to W1", "on to W3"),
        water=(WATER, replace(WATER, tide_m=None, stream_drift_kn=None, stream_how="no station")),
    )  # fmt: skip
    departures = tuple(
        Departure(WHEN + 1800.0 * k, stops, against, 0.001, lux, 0.4, 0.6, WHEN + 1800.0 * k + 3600.0)
        for k, (stops, against, lux) in enumerate([(0, 3, 0.5), (0, 2, 0.04), (0, 2, 0.06), (1, 0, 0.9)])
    )
    boat = replace(BOAT, fuel_lph_at_kn=((6.0, 20.0), (8.0, 30.0)), mmsi=12345678)
    return replace(
        plan, boat=boat, departures=departures, assumptions=("as was said",), chart_cells=("T", "T9"),
        notes=("ends moved",), events=((WHEN - 60.0, "sunset"), (WHEN + 1200.0, "moonset")),
        points=points_for_and_against(plan, boat, replace(NIGHT, wanted_kn=7.4)),
    )  # fmt: skip


PLAN = _whole()


def _texts(blocks: tuple[Block, ...]) -> list[str]:
    """Return the words of paragraphs and rows in order."""
    out: list[str] = []
    for block in blocks:
        if isinstance(block, Paragraph):
            out.append(block.text)
        elif isinstance(block, Rows | Banner):
            out += [f"{block.title}: {row}" for row in block.rows]
    return out


def _fold(begins: str, plan: Plan = PLAN) -> list[str]:
    (found,) = [b for b in brief(plan, UTC, "nm") if isinstance(b, Fold) and b.title.startswith(begins)]
    return _texts(found.blocks)


def test_a_leg_in_full() -> None:
    assert _fold("Leg 1: W1 to W2") == [
        "090°T, 1.00 NM, 07:00 to 07:30 at 7.4 kn. as asked 13 l of fuel.",
        "Half dark, 0.012 lux; moon 65% lit, 12° up, abeam to port; glow of town. Least depth 3.2 m. Tide 1.4 m: "
        "predicted. Stream: 1.0 kn setting 210°T, predicted. Back to W1.",
        "Dangers and areas: anchorage (ACHARE 5, T)",
        "Dangers and areas: charted 1.0 m; enough 07:10 to 08:30 (DEPARE 1, T)",
        "Dangers and areas: rock 2.0 m (UWTROC 77, T9)",
        "Points that open: 0.50 NM along, the point opens",
        # As they come up: the one seen from the leg's start first.
        "Lights, as they come up: light without a name, Iso 2s: white from 0.00 NM along, bearing 102°T, 120° on the "
        "starboard quarter; nearest 0.60 NM. Leading light for this leg.",
        "Lights, as they come up: Outer, Fl R 5s 4M: red from 0.50 NM along, bearing 045°T, 30° on the port bow; "
        "nearest 0.30 NM.",
        "Lights whose range is not charted: do not count on them: light without a name, Q G: 0.16 NM to port",
        "Unlit, for the radar: No 5, 0.06 NM to port, 0.22 NM along: on radar from 0.13 NM along",
        "Unlit, for the radar: No 3, 0.04 NM to starboard, 0.81 NM along: the radar is not expected to hold it",
        "Unlit, for the radar: No 4, 0.09 NM to starboard, 0.86 NM along: on radar from 0.81 NM along",
        "Radio, as charted: Port, VHF 12",
    ]  # fmt: skip
    assert _fold("Leg 2") == [
        "090°T, 2.00 NM, 07:30 to 08:00 at 7.4 kn. as asked 21 l of fuel.",
        "Moonlit night, 0.1 lux; moon 80% lit, 20° up, ahead to starboard: ahead. Least depth not charted. Tide not "
        "known: predicted. Stream: no station. On to W3.",
    ]  # fmt: skip
    assert _fold("What was assumed") == [": as was said", ": Charts: T; T9"]


def test_what_is_steered_by_in_full() -> None:
    sheet = next(b for b in brief(PLAN, UTC, "nm") if isinstance(b, PageSheet))
    (grid,) = [b for b in sheet.blocks if isinstance(b, Table)]
    rows = [[cell.replace("\u00a0", " ") for cell in row] for row in grid.rows]
    # Variation there is 8.9 E by the World Magnetic Model (below): 102.6 true is 93.7 magnetic.
    assert rows == [
        ["1", "W2", "10°00.000'N 139°58.986'W", "090°T", "103°T", "094°M", "1.00 NM", "7.4", "07:00", "07:30", "2.9 m",
         "1.4 m", "light Iso 2s, leading; radar: No 5, 120 m to port"],
        ["2", "W3", "10°00.000'N 139°56.959'W", "090°T", "103°T", "094°M", "2.00 NM", "7.4", "07:30", "08:00",
         "not charted", "not known", "none charted"],
    ]  # fmt: skip
    assert grid.loud == {0}  # the leg that is refused
    said = _texts(sheet.blocks)
    assert said[0].startswith("Test. Leave Mon 24 Mar 2031 07:00 UTC, arrive 08:00, 3.00 NM. ")
    assert said[1:3] == [
        "Of this route: ends moved.",
        "This route as drawn is refused.: Leg 1: charted 1.0 m; enough 07:10 to 08:30 (DEPARE 1, T)",
    ]
    assert (
        "To break off: back to W1 on leg 1; on to W3 on leg 2; refuges, the way into them not planned: anchorage "
        "Bight, on the track of leg 1, harbour Haven, 700 m to port of leg 2."
    ) in said
    assert "From W1, 10°00.000'N 140°00.000'W." in said and "Radio: Port, VHF 12." in said
    assert any(words.startswith("Track and steer are true. Variation 8.9° E by the World") for words in said)
    # Past midnight the day of arrival is told as well.
    late = replace(PLAN, depart_s=WHEN + 16.75 * 3600.0, legs=tuple(
        replace(leg, start_s=leg.start_s + 16.75 * 3600.0, end_s=leg.end_s + 16.75 * 3600.0) for leg in PLAN.legs
    ))  # fmt: skip
    (head, *_) = _texts(next(b for b in brief(late, UTC, "nm") if isinstance(b, PageSheet)).blocks)
    assert "Leave Mon 24 Mar 2031 23:45 UTC, arrive Tue 25 Mar 2031 00:45 UTC" in head
    # An index line names the mark to steer by before any unlit one.
    legs = (replace(PLAN.legs[0], index=("No 9 to port, abeam 0.1 NM at 07:10",), lights=()), PLAN.legs[1])
    table = next(b for b in next(iter(brief(replace(PLAN, legs=legs), UTC, "nm"))).blocks if isinstance(b, Table))
    assert table.rows[0][-1] == "radar: No 9 to port"


def test_go_or_not_in_full() -> None:
    sheet = [b for b in brief(PLAN, UTC, "nm") if isinstance(b, PageSheet)][1]
    (grid,) = [b for b in sheet.blocks if isinstance(b, Table)]
    assert [row[:3] for row in grid.rows] == [
        ("stops it", "Leg 1: charted 1.0 m", "0.4 m too little"),
        ("against", "Leg 1: rock 2.0 m", "0.2 m left"),
        ("note", "Darkest on leg 1: half dark", "0.012 lux"),
        ("note", "From here on it is sooner to go on than back", "30 min out"),
        ("note", "Fuel for the run, one way", "33 l"),  # 12.4 and 20.3
        ("for", "Lights seen from the track", "2"),
        ("for", "Unlit marks the radar should hold near the track", "2"),
    ]
    assert grid.loud == {0}
    said = _texts(sheet.blocks)
    # The fewest things against, then the most light; never one that is refused.
    assert said[1] == (
        "Best of 4 departures from 07:00 to 08:30: leave Mon 24 Mar 2031 08:00 UTC, arrive 09:00; 2 against it, mean "
        "light 0.06 lux; 1 of them are refused."
    )
    assert said[2:4] == ["Sun, moon and tide: Mon 24 Mar 2031 06:59 UTC: sunset",
                         "Sun, moon and tide: Mon 24 Mar 2031 07:20 UTC: moonset"]  # fmt: skip
    refused = tuple(replace(d, stops=1) for d in PLAN.departures)
    assert best_of(refused) is None and best_of(()) is None
    (words, *_) = _fold("Which departure", replace(PLAN, departures=refused))
    assert words == "No departure can be named best: every one of 4 departures from 07:00 to 08:30 is refused."
    (words, *_) = _fold("Which departure", replace(PLAN, departures=PLAN.departures[:3]))
    assert words.endswith("mean light 0.06 lux.")


def test_only_what_there_are_more_than_two_dozen_of_is_cut() -> None:
    some = tuple(replace(PLAN.points[1], what=f"thing {k}") for k in range(26))
    for n, last in ((24, "thing 23"), (25, "and 1 more, leg by leg behind"), (26, "and 2 more, leg by leg behind")):
        sheet = [b for b in brief(replace(PLAN, points=some[:n]), UTC, "nm") if isinstance(b, PageSheet)][1]
        (grid,) = [b for b in sheet.blocks if isinstance(b, Table)]
        assert grid.rows[-1][1] == last and grid.loud == frozenset()


def test_the_float_plan_in_full() -> None:
    assert float_plan(PLAN, UTC, "nm").splitlines()[:9] == [
        "Boat: Test, 9 m long, 0.9 m draught",
        "MMSI: 012345678   Call sign: ______________________",  # nine digits, ITU-R M.585
        "Route: W1 - W2 - W3, 3.00 NM",
        "  W1: 10°00.000'N 140°00.000'W, 07:00",
        "  W2: 10°00.000'N 139°58.986'W, 07:30",
        "  W3: 10°00.000'N 139°56.959'W, 08:00",
        "Leaves: Mon 24 Mar 2031 07:00 UTC",
        "Due: Mon 24 Mar 2031 08:00 UTC",
        "Overdue, call for help: Mon 24 Mar 2031 09:00 UTC",
    ]


def test_the_plain_data_hold_the_plan_and_nothing_else() -> None:
    told = json.loads(json.dumps(plan_dict(PLAN), allow_nan=False))
    assert (told["depart"], told["arrive"]) == ("2031-03-24T07:00:00.000Z", "2031-03-24T08:00:00.000Z")
    assert told["length_m"] == pytest.approx(5556.0, abs=0.01)
    for leg, said in zip(PLAN.legs, told["legs"], strict=True):
        same = ("number", "speed_kn", "because", "steer_deg", "fuel_l", "least_depth_m", "bailout")
        assert {k: said[k] for k in same} == {k: getattr(leg, k) for k in same}
        assert (said["from"], said["to"]) == (leg.leg.start.name, leg.leg.end.name)
        assert said["course_deg"] == pytest.approx(90.0, abs=0.01)
        for name in ("lights", "unlit", "opens", "unranged"):
            assert said[name] == [asdict(one) for one in getattr(leg, name)]
        assert (said["index"], said["calls"]) == (list(leg.index), list(leg.calls))
    assert [leg["start"][11:16] + leg["end"][11:16] for leg in told["legs"]] == ["07:0007:30", "07:3008:00"]
    spans = [danger["enough"] for danger in told["legs"][0]["dangers"]]
    assert spans == [[["2031-03-24T07:10:00.000Z", "2031-03-24T08:30:00.000Z"]], None, None]
    assert told["refused"] == [told["legs"][0]["dangers"][0]]
    assert [(w["name"], round(w["lon"], 3)) for w in told["waypoints"]] == [("W1", -140.0), ("W2", -139.983),
                                                                            ("W3", -139.949)]  # fmt: skip
    assert [d["time_s"][11:16] + d["arrival_s"][11:16] for d in told["departures"]] == [
        "07:0008:00", "07:3008:30", "08:0009:00", "08:3009:30",
    ]  # fmt: skip
    assert told["events"][1] == {"time": "2031-03-24T07:20:00.000Z", "what": "moonset"}
    assert told["pictures"] == [] and "pictures" not in plan_dict(PLAN, pictures=False)


@pytest.mark.parametrize(
    ("relative", "altitude", "words"),
    [
        (5.0, 10.0, ", ahead: glare on the water"), (-9.0, 25.0, ", ahead: ahead"),
        (20.0, 10.0, ", ahead to starboard: glare"),
        (-40.0, 10.0, ", ahead to port: glare"), (46.0, 10.0, ", abeam to starboard"), (-90.0, 30.0, ", abeam to port"),
        (134.0, 30.0, ", abeam to starboard"), (136.0, 30.0, ", behind to starboard: it lights"),
        (-150.0, 30.0, ", behind to port: it lights"), (175.0, 30.0, ", behind: it lights"),
    ],
)  # fmt: skip
def test_on_which_side_the_moon_is_told(relative: float, altitude: float, words: str) -> None:
    told = moon_words(replace(DARK, moon_relative_deg=relative, moon_altitude_deg=altitude, moon_lit_percent=50.0))
    assert told.startswith(f"moon 50% lit, {altitude:.0f}° up{words}")


def test_shore_glow_is_told_by_side_and_distance() -> None:
    """At the equator a minute of longitude is 1855 m (WGS 84), and one of latitude 1843 m."""
    east, north, far = Waypoint("E", 0.0, 5.0 / 60.0), Waypoint("N", 5.0 / 60.0, 0.0), Waypoint("F", 0.0, 12.2 / 60.0)
    told = glow_words(0.0, 0.0, 10.0, (east, north, far))
    assert told == (
        "glow of E on the starboard beam, 5.0 NM",
        "glow of N 10° on the port bow, 5.0 NM: small lights before it are lost, hulls stand dark against it",
    )
    assert len(glow_words(0.0, 0.0, 10.0, (Waypoint("F", 0.0, 11.9 / 60.0),))) == 1


@pytest.mark.parametrize(
    ("degrees", "words"),
    [
        (4.0, "right ahead"), (-4.9, "right ahead"), (6.0, "6° on the starboard bow"), (-66.0, "66° on the port bow"),
        (68.0, "on the starboard beam"), (-112.0, "on the port beam"), (113.0, "113° on the starboard quarter"),
        (-174.0, "174° on the port quarter"), (176.0, "right astern"), (-180.0, "right astern"),
    ],
)  # fmt: skip
def test_where_a_look_out_says_it_is(degrees: float, words: str) -> None:
    assert relative_words(degrees) == words


def test_places_are_rounded_and_have_their_hands() -> None:
    # 0.5 degrees are 30 minutes; 59.9996 minutes are the next degree.
    assert place_words(-33.5, 151.25) == "33°30.000'S 151°15.000'E"
    assert place_words(0.0, -0.001) == "00°00.000'N 000°00.060'W"
    assert place_words(41.9999999, 9.9999999) == "42°00.000'N 010°00.000'E"


def _many(n: int, **change: Any) -> tuple[LegDanger, ...]:
    rocks = (LegDanger("rock", 1, 100.0 * k, 10.0 + k, "port", None, "UWTROC", "T", f"{k}", None, None, "against",
                       f"rock {k}") for k in range(n))  # fmt: skip
    return tuple(replace(rock, **change) for rock in rocks)


def test_many_of_a_kind_are_one_matter_with_the_worst_named() -> None:
    plan = _plan(1852.0, 1852.0, dangers=(_many(2), ()))
    assert {p.figure for p in _points(plan).values() if "rock" in p.what} == {"10 m off", "11 m off"}
    three = _many(3)
    deep = (*three[:2], replace(three[2], margin_m=0.3), replace(three[0], leg=2))
    told = [p for p in _points(_plan(1852.0, 1852.0, dangers=(deep[:3], deep[3:]))).values() if "rock" in p.what]
    assert [(p.what, p.figure) for p in told] == [("3 rocks on legs 1, 2; worst: rock 2", "0.3 m left")]
    # One thing met on two legs is one, named where it is nearest.
    twice = _plan(1852.0, 1852.0, dangers=((three[1],), (replace(three[1], leg=2, off_m=5.0),)))
    told = [p for p in _points(twice).values() if "rock" in p.what]
    assert [(p.what, p.figure) for p in told] == [("Leg 2: rock 1; met on legs 1, 2", "5 m off")]
    (on,) = [p for p in _points(_plan(1852.0, dangers=(_many(1, side="on"),))).values() if "rock" in p.what]
    assert on.figure == "on the track" and on.what == "Leg 1: rock 0"


def test_the_order_of_a_brief() -> None:
    """To steer by first, then go or not, then what stands behind; the plan as a drawing only where there is one."""
    blocks = brief(PLAN, UTC, "nm", "<svg/>")
    assert [type(b) for b in blocks[:2]] == [PageSheet, PageSheet]
    folds = [b for b in blocks if isinstance(b, Fold)]
    assert [f.title for f in folds] == [
        "Which departure", "Leg 1: W1 to W2", "Leg 2: W2 to W3", "Leave this ashore", "What was assumed",
    ]  # fmt: skip
    assert folds[0].blocks[1] == Drawing("<svg/>")
    alone = next(f for f in brief(replace(PLAN, departures=()), UTC, "nm") if isinstance(f, Fold))
    assert alone.title == folds[1].title
    steer, go = (b.blocks for b in blocks[:2] if isinstance(b, PageSheet))
    assert [(h.text, h.level) for h in (*steer, *go) if isinstance(h, Heading)] == [
        ("run", 1), ("To steer by", 2), ("Go or not", 2),
    ]  # fmt: skip
    assert [p.is_quiet for p in steer if isinstance(p, Paragraph)][:2] == [True, False]
    assert not any(isinstance(b, Drawing) for b in steer)
    drawn = next(b for b in brief(replace(PLAN, chartlet_svg="<svg>x</svg>"), UTC, "nm") if isinstance(b, PageSheet))
    assert Drawing("<svg>x</svg>") in drawn.blocks
    assert any("has the number of the leg" in words for words in _texts(drawn.blocks))


def test_the_first_eight_refusals_are_said_and_the_rest_counted() -> None:
    for n, last in ((8, "rock 7"), (9, "and 1 more, leg by leg behind"), (12, "and 4 more, leg by leg behind")):
        plan = _plan(1852.0, dangers=(_many(n, weight="stops"),))
        banner = next(b for b in next(iter(brief(plan, UTC, "nm"))).blocks if isinstance(b, Banner))
        assert len(banner.rows) == min(n, 9) and last in banner.rows[-1]


def test_courses_by_the_boats_own_card() -> None:
    """Deviation is what the compass shows less: 4 east at 090 and 2 west at 270, so 94 magnetic is about 90 compass."""
    boat = replace(BOAT, deviation=((0.0, 0.0), (90.0, 4.0), (180.0, 0.0), (270.0, -2.0)))
    sheet = next(b for b in brief(replace(_plan(1852.0), boat=boat), UTC, "nm") if isinstance(b, PageSheet))
    (grid,) = [b for b in sheet.blocks if isinstance(b, Table)]
    row = dict(zip(grid.heads, grid.rows[0], strict=True))
    assert (row["steer"], row["magnetic"], row["compass"]) == ("103°T", "094°M", "090°C")
    assert any("compass is by the deviation card" in words for words in _texts(sheet.blocks))
    assert "compass" not in next(b for b in next(iter(brief(PLAN, UTC, "nm"))).blocks if isinstance(b, Table)).heads
