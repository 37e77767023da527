"""The one danger engine, over a made chart: what refuses, what speaks against, what is only told."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pyogrio
import pytest
import shapely
from made_charts import ORIGIN, at, box, lonlat, make_index

from moonless.boat.file import default_boat
from moonless.chart.dangers.areas import AREAS
from moonless.chart.dangers.layout import ChartDangers
from moonless.chart.dangers.needs import Needs
from moonless.chart.dangers.strip import StripDangers
from moonless.chart.dangers.types import Danger, way_strip
from moonless.chart.library import Chart
from moonless.chart.s57.names import OBJECT_NAMES, RESTRICTION_NAMES, restriction_name

BOAT = default_boat()
# Half of her 3 m beam and one sigma of her receiver: 5.5 m either side.
SWEPT_M = 1.5 + 4.0
Row = tuple[str, Any, Mapping[str, Any]]
SEA: list[Row] = [
    ("M_COVR", box(-3000, -3000, 3000, 3000), {"CATCOV": 1}),
    ("M_QUAL", box(-3000, -3000, 3000, 3000), {"CATZOC": 1}),
    ("DEPARE", box(-3000, -3000, 3000, 3000), {"DRVAL1": 20.0, "DRVAL2": 50.0}),
]
ALONG = ((-1000.0, 0.0), (1000.0, 0.0))


def met(
    rows: Sequence[Row],
    along: Sequence[tuple[float, float]] = ALONG,
    keep_outs: Sequence[tuple[Any, str]] = (),
    scale: int = 12000,
) -> list[Danger]:
    """Return what a run along the made sea with some things put in it meets."""
    local = Chart([make_index("MADE", scale, [*SEA, *rows])], []).around(ORIGIN.lat_deg, ORIGIN.lon_deg, 4000.0)
    held = StripDangers(ChartDangers(local), way_strip(shapely.LineString(along), BOAT), keep_outs)
    return held.dangers(Needs.of(BOAT, 3.0))


def one(rows: Sequence[Row], kind: str) -> Danger | None:
    """Return the one danger of a kind, None for none."""
    told = [d for d in met(rows) if d.kind == kind]
    assert len(told) <= 1, told
    return told[0] if told else None


def test_open_water_has_none() -> None:
    assert met([]) == []


@pytest.mark.parametrize("object_class", ["BCNLAT", "BCNCAR", "BCNSPP", "LNDMRK", "PILPNT", "LIGHTS", "OFSPLF"])
@pytest.mark.parametrize("lit", [True, False])
@pytest.mark.parametrize(("off_m", "lit_weight", "unlit_weight"), [
    (0.05, "stops", "stops"), (5.4, "stops", "stops"), (5.6, "against", "against"), (24.9, "against", "against"),
    (25.1, "note", "against"), (149.0, "note", "against"), (151.0, None, None),
])  # fmt: skip
def test_what_stands_in_the_track_refuses(
    object_class: str, lit: bool, off_m: float, lit_weight: str | None, unlit_weight: str | None
) -> None:
    """Within her swept width a fixed mark refuses; unlit near the track it speaks against."""
    rows: list[Row] = [(object_class, at(0, off_m), {"OBJNAM": "Post"})]
    if lit or object_class == "LIGHTS":
        rows.append(("LIGHTS", at(0, off_m), {"COLOUR": "1", "LITCHR": 2, "SIGPER": 4.0}))
    told = met(rows)
    weight = lit_weight if lit or object_class == "LIGHTS" else unlit_weight
    assert [d.weight for d in told] == ([] if weight is None else [weight]), [d.say for d in told]
    if told:
        assert told[0].off_m == pytest.approx(off_m, abs=0.01) and told[0].side == "port"
        assert told[0].along_m == pytest.approx(1000.0, abs=0.1)
        assert ("unlit" in told[0].say) == (weight == unlit_weight and not lit and object_class != "LIGHTS")
        assert (told[0].east_m, told[0].north_m) == pytest.approx((0.0, off_m), abs=0.02)


@pytest.mark.parametrize(("off_m", "lit", "weight"), [
    # Within her width and the 12 m a buoy swings; beyond it only an unlit one.
    (0.0, True, "against"), (17.4, True, "against"), (17.6, True, "note"), (17.6, False, "against"),
    (149.0, False, "against"), (151.0, False, None),
])  # fmt: skip
def test_what_floats_speaks_against_within_its_swing(off_m: float, lit: bool, weight: str | None) -> None:
    rows: list[Row] = [("BOYLAT", at(0, -off_m), {"CATLAM": 1})]
    if lit:
        rows.append(("LIGHTS", at(0, -off_m), {"COLOUR": "3"}))
    told = met(rows)
    assert [d.weight for d in told] == ([] if weight is None else [weight])


def test_what_stands_on_land_is_the_lands() -> None:
    island: Row = ("LNDARE", box(-100, 10, 100, 200), {"OBJNAM": "Made Cay"})
    told = met([island, ("LNDMRK", at(0, 12), {"OBJNAM": "Tower"})])
    assert [(d.kind, d.weight) for d in told] == [("land", "stops")]


def test_a_mooring_buoy_floats_and_a_dolphin_stands() -> None:
    assert [d.weight for d in met([("MORFAC", at(0, 3), {"CATMOR": 7})])] == ["against"]
    assert [d.weight for d in met([("MORFAC", at(0, 3), {"CATMOR": 1})])] == ["stops"]
    assert met([("MORFAC", at(0, 3), {"CATMOR": 6})]) == []  # a chain on the bottom


@pytest.mark.parametrize("object_class", ["PILPNT", "SLCONS"])
def test_works_under_water_with_no_depth_charted_refuse(object_class: str) -> None:
    shape = at(0, 10) if object_class == "PILPNT" else lonlat(shapely.LineString([(0, 10), (0, 60)]))
    told = met([(object_class, shape, {"WATLEV": 3})])
    assert [(d.weight, d.depth_m) for d in told] == [("stops", None)]
    assert "under water, depth not charted" in told[0].say


@pytest.mark.parametrize("object_class", sorted(AREAS))
def test_areas_are_told_where_the_track_crosses_them(object_class: str) -> None:
    inside = [(object_class, box(-100, -100, 100, 100), {"OBJNAM": "Made", "INFORM": "Made words.", "TXTDSC": "A.TXT"})]
    (told,) = met(inside)
    assert told.weight in ("note", "against") and told.side == "on"
    assert told.along_m == pytest.approx(900.0, abs=0.1)
    assert told.say.startswith(f"{OBJECT_NAMES[object_class]} Made")
    assert "Made words" in told.say and "A.TXT" in told.say and told.text_file == "A.TXT"
    beside = [(object_class, box(-100, 10, 100, 100), {})]
    assert met(beside) == []


@pytest.mark.parametrize("object_class", ["MIPARE", "CTNARE", "PRCARE", "SPLARE", "RESARE"])
def test_areas_that_speak_against(object_class: str) -> None:
    (told,) = met([(object_class, box(-100, -100, 100, 100), {})])
    assert told.weight == "against"


@pytest.mark.parametrize(
    ("code", "weight"), [(7, "stops"), (8, "against"), (14, "against"), (13, "note"), (16, "note"), (27, "note")]
)
@pytest.mark.parametrize("object_class", ["RESARE", "MIPARE", "CBLARE"])
def test_restrictions_on_any_area(object_class: str, code: int, weight: str) -> None:
    (told,) = met([(object_class, box(-100, -100, 100, 100), {"RESTRN": [code]})])
    worse = object_class == "MIPARE" and weight == "note"
    assert told.weight == ("against" if worse else weight)
    assert restriction_name(code) in told.say and "not charted" not in told.say


def test_a_caution_area_drawn_as_a_point_is_met_near_the_track() -> None:
    assert [d.weight for d in met([("CTNARE", at(0, 24), {"INFORM": "Shoal reported"})])] == ["against"]
    assert met([("CTNARE", at(0, 26), {"INFORM": "Shoal reported"})]) == []


@pytest.mark.parametrize("object_class", ["MARCUL", "FSHFAC"])
@pytest.mark.parametrize(("north", "weight"), [(-50.0, "stops"), (30.0, "against"), (140.0, "against"), (151.0, None)])
def test_farms_and_fishing_stakes(object_class: str, north: float, weight: str | None) -> None:
    told = met([(object_class, box(-100, north, 100, north + 100), {})])
    assert [d.weight for d in told] == ([] if weight is None else [weight])


@pytest.mark.parametrize(
    ("object_class", "given", "weight"),
    [
        # She is 6 m high at the most (the default boat's air draught is read, not assumed): clearances about it.
        ("CBLOHD", {"VERCSA": -0.4}, "stops"), ("CBLOHD", {"VERCSA": 0.6}, "note"),
        ("CBLOHD", {"VERCLR": 4.9}, "stops"), ("CBLOHD", {"VERCLR": 5.1}, "note"), ("CBLOHD", {}, "stops"),
    ],
)  # fmt: skip
def test_an_overhead_cable(object_class: str, given: dict[str, float], weight: str) -> None:
    clear = {name: BOAT.air_draught_m + value for name, value in given.items()}
    line = lonlat(shapely.LineString([(0, -200), (0, 200)]))
    (told,) = met([(object_class, line, clear)])
    assert (told.kind, told.weight) == ("cable", weight)


def test_a_low_span_beside_the_high_one_passed_under_says_nothing() -> None:
    high, low = BOAT.air_draught_m + 10.0, BOAT.air_draught_m - 1.0
    spans: list[Row] = [
        ("BRIDGE", box(-5, -20, 5, 4), {"VERCLR": high, "CATBRG": "1"}),
        ("BRIDGE", box(-5, 4, 5, 40), {"VERCLR": low, "CATBRG": "1"}),
    ]
    assert [d.weight for d in met(spans)] == ["note"]
    # Along the low span, her mast within reach of it and no span passed under: it refuses.
    beside = met([("BRIDGE", box(-100, 3, 100, 10), {"VERCLR": low, "CATBRG": "1"})])
    assert [d.weight for d in beside] == ["stops"]


def test_a_bridge_too_narrow_refuses() -> None:
    wide = {"VERCLR": BOAT.air_draught_m + 10.0, "CATBRG": "1"}
    line = lonlat(shapely.LineString([(0, -200), (0, 200)]))
    assert [d.weight for d in met([("BRIDGE", line, {**wide, "HORCLR": 2.9})])] == ["stops"]
    assert [d.weight for d in met([("BRIDGE", line, {**wide, "HORCLR": 3.1})])] == ["note"]


def test_the_skippers_own_water_refuses() -> None:
    own = shapely.box(-50, -50, 50, 50)
    told = met([], keep_outs=[(own, "nets")])
    assert [(d.kind, d.weight, d.name) for d in told] == [("keep out", "stops", "nets")]
    assert met([], keep_outs=[(shapely.box(-50, 6, 50, 50), "nets")]) == []


def test_the_chart_ends() -> None:
    told = met([], along=((2000.0, 0.0), (4000.0, 0.0)))
    assert [(d.kind, d.weight) for d in told] == [("chart ends", "stops")]
    assert told[0].along_m == pytest.approx(1000.0, abs=1.0)


def test_a_gap_between_charted_areas_is_not_deep_water() -> None:
    sea = [row for row in SEA if row[0] != "DEPARE"]
    halves: list[Row] = [
        ("DEPARE", box(-3000, -3000, -20, 3000), {"DRVAL1": 20.0}),
        ("DEPARE", box(20, -3000, 3000, 3000), {"DRVAL1": 20.0}),
    ]
    local = Chart([make_index("MADE", 12000, [*sea, *halves])], []).around(ORIGIN.lat_deg, ORIGIN.lon_deg, 4000.0)
    held = StripDangers(ChartDangers(local), way_strip(shapely.LineString(ALONG), BOAT))
    (told,) = held.refusals(Needs.of(BOAT, 3.0))
    assert told.kind == "unsurveyed" and told.along_m == pytest.approx(980.0, abs=0.2)
    assert "40 m of the track" in told.say


def test_the_worst_zone_along_the_strip_counts() -> None:
    """A1 0.5 m + 1 %, C 2 m + 5 % (S-57, CATZOC): 1.2 m to spare is enough in the one and not in the other."""
    depth = BOAT.draught_m + BOAT.skipper.depth_margin_m + 1.3
    sea: list[Row] = [
        ("M_COVR", box(-3000, -3000, 3000, 3000), {"CATCOV": 1}),
        ("M_QUAL", box(-3000, -3000, 0, 3000), {"CATZOC": 1}),
        ("M_QUAL", box(0, -3000, 3000, 3000), {"CATZOC": 4}),
        ("DEPARE", box(-3000, -3000, 3000, 3000), {"DRVAL1": depth}),
    ]
    local = Chart([make_index("MADE", 12000, sea)], []).around(ORIGIN.lat_deg, ORIGIN.lon_deg, 4000.0)
    chart, needs = ChartDangers(local), Needs.of(BOAT, 1.0)

    def weights(west: float, east: float) -> list[str]:
        line = shapely.LineString([(west, 0.0), (east, 0.0)])
        return [d.weight for d in StripDangers(chart, way_strip(line, BOAT)).dangers(needs)]

    assert weights(-2000, -1000) == []
    assert weights(1000, 2000) == ["against"]
    assert weights(-1000, 1000) == ["against"]


@pytest.mark.parametrize(("quapos", "weight"), [(None, "against"), (1, "against"), (4, "stops"), (5, "stops")])
def test_an_approximate_place_is_kept_off_farther(quapos: int | None, weight: str) -> None:
    """QUAPOS 4 approximated, 5 position doubtful: 3 mm at the chart's scale, here 36 m, is added to the 25."""
    given = {"WATLEV": 3} if quapos is None else {"WATLEV": 3, "QUAPOS": quapos}
    (told,) = met([("WRECKS", at(0, 55), given)])
    assert told.weight == weight
    assert ("position approximate" in told.say) == (weight == "stops")


def _gdal_table(name: str) -> list[list[str]]:
    path = Path(pyogrio.__file__).parent / "gdal_data" / name
    if not path.exists():
        pytest.skip(f"this pyogrio brings no {name}")
    with path.open(encoding="latin-1", newline="") as file:
        return list(csv.reader(file))


def test_class_names_are_of_real_classes() -> None:
    """Every acronym named is one of the object catalogue, by the table that GDAL carries."""
    known = {row[2] for row in _gdal_table("s57objectclasses.csv")[1:]}
    assert set(OBJECT_NAMES) <= known
    assert set(AREAS) <= set(OBJECT_NAMES)


def test_restrictions_bear_their_published_names() -> None:
    """The first fifteen by GDAL's copy of the attribute catalogue; it has not the later ones."""
    published = {int(row[1]): row[2] for row in _gdal_table("s57expectedinput.csv")[1:] if row[0] == "131"}
    assert len(published) >= 15
    assert all(RESTRICTION_NAMES[code] == words for code, words in published.items())
    assert restriction_name(16) == "discharging prohibited" and restriction_name(99) == "restriction 99"


def test_the_helms_screen_uses_the_same_words() -> None:
    said = Path(__file__).parents[2] / "web" / "src" / "state" / "say.ts"
    table = said.read_text(encoding="utf-8").split("const OBJECT:", 1)[1].split("};", 1)[0]
    words = dict(re.findall(r'(\w{6}): "([^"]+)"', table))
    assert len(words) > 20
    assert words == {name: OBJECT_NAMES[name] for name in words}
