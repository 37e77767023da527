"""Beacons, buoys and their lights; wrecks; areas with rules.  Buoyage region B: red to starboard coming in."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from waters import ground as g
from waters.areas import LIMITS, Ground
from waters.layers import WARNING, Waters, point

GREEN, RED, WHITE, BLACK, YELLOW = "4", "3", "1", "2", "6"
# Metres along the channel from its seaward end, and which of the pair are lit.
PAIRS: tuple[tuple[float, bool, bool], ...] = (
    (30.0, True, True),
    (560.0, False, True),
    (1_060.0, True, False),
    (1_560.0, False, False),
    (2_080.0, True, True),
    (2_900.0, True, True),
)


def _along_channel(distance_m: float) -> tuple[np.ndarray, np.ndarray]:
    line = shapely.LineString(np.asarray(g.CHANNEL_KM) * 1000.0)
    here = np.array(line.interpolate(distance_m).coords[0])
    ahead = np.array(line.interpolate(min(distance_m + 5.0, line.length)).coords[0])
    behind = np.array(line.interpolate(max(distance_m - 5.0, 0.0)).coords[0])
    direction = (ahead - behind) / np.hypot(*(ahead - behind))
    return here, direction


def _light(waters: Waters, at: shapely.Geometry, **attributes: Any) -> None:
    waters.add("LIGHTS", at, STATUS="1", **attributes)


def add_channel(waters: Waters) -> None:
    """Pile beacons in pairs: odd and green to port, even and red to starboard."""
    for pair, (distance, port_lit, starboard_lit) in enumerate(PAIRS):
        here, direction = _along_channel(distance)
        left = np.array([-direction[1], direction[0]])
        for side, number, lit in ((1.0, 2 * pair + 1, port_lit), (-1.0, 2 * pair + 2, starboard_lit)):
            port = side > 0
            e, n = here + left * side * (g.CHANNEL_HALF_M + 7.0)
            at = point(round(e, 1), round(n, 1))
            waters.add(
                "BCNLAT",
                at,
                BCNSHP=5,
                CATLAM=1 if port else 2,
                COLOUR=GREEN if port else RED,
                HEIGHT=4.0,
                OBJNAM=f"Lampwick Reach {number}",
                STATUS="1",
                CONRAD=3 if number in (1, 2) else None,
            )
            waters.add("TOPMAR", at, TOPSHP=5 if port else 1, COLOUR=GREEN if port else RED)
            if lit:
                _light(
                    waters, at, COLOUR=GREEN if port else RED, LITCHR=2, SIGGRP="(1)" if pair % 2 == 0 else "(2)",
                    SIGPER=4.0 if pair % 2 == 0 else 6.0, HEIGHT=4.0, VALNMR=3.0,
                )  # fmt: skip
        if pair == 0:
            e, n = here - left * (g.CHANNEL_HALF_M + 7.0)
            waters.add("RADRFL", point(round(e, 1), round(n, 1)), STATUS="1")


def add_buoys(waters: Waters) -> None:
    """Buoys of the sound: safe water with a racon, cardinals, an isolated danger, a mooring, a special mark."""
    fairway = point(420.0, -390.0)
    waters.add(
        "BOYSAW",
        fairway,
        BOYSHP=4,
        COLOUR="3,1",
        COLPAT="2",
        OBJNAM="Lampwick Fairway",
        CONRAD=3,
        VERLEN=4.5,
        STATUS="1",
    )
    waters.add("TOPMAR", fairway, TOPSHP=3, COLOUR=RED)
    waters.add("RADRFL", fairway, STATUS="1")
    waters.add("RTPBCN", fairway, CATRTB=2, RADWAL="0.03-X", SIGGRP="(L)", VALMXR=6.0)
    _light(waters, fairway, COLOUR=WHITE, LITCHR=7, SIGGRP="()", SIGPER=4.0, HEIGHT=4.5, VALNMR=5.0)
    cardinals = (
        ("Thread North", -450.0, -420.0, 1, "2,6", 13, True),
        ("Hem South", 440.0, 430.0, 3, "6,2", 14, False),
        ("Bobbin South", -700.0, 460.0, 3, "6,2", 14, True),
        ("Tassel East", -4_350.0, -900.0, 2, "2,6,2", 11, False),
    )
    for name, e, n, quadrant, colour, top, lit in cardinals:
        at = point(e, n)
        waters.add(
            "BOYCAR", at, BOYSHP=4, CATCAM=quadrant, COLOUR=colour, COLPAT="1", OBJNAM=name, VERLEN=3.5, STATUS="1"
        )
        waters.add("TOPMAR", at, TOPSHP=top, COLOUR=BLACK)
        if lit:
            group = {1: "()", 2: "(3)", 3: "(6)"}[quadrant]
            period = {1: 1.0, 2: 10.0, 3: 15.0}[quadrant]
            # South: quick or very quick six and one long.
            south = quadrant == 3
            _light(
                waters, at, COLOUR=WHITE, LITCHR=25 if south else 4, SIGGRP=group + ("(1)" if south else ""),
                SIGPER=period, HEIGHT=3.5, VALNMR=4.0,
            )  # fmt: skip
    danger = point(-2_540.0, 760.0)
    waters.add("BOYISD", danger, BOYSHP=5, COLOUR="2,3,2", COLPAT="1", OBJNAM="Bodkin", VERLEN=3.0, STATUS="1")
    waters.add("TOPMAR", danger, TOPSHP=4, COLOUR=BLACK)
    for e, n, name in ((-3_050.0, 2_260.0, "Plank mooring"), (4_320.0, -1_760.0, "Basin mooring")):
        waters.add("MORFAC", point(e, n), CATMOR=7, BOYSHP=3, COLOUR=WHITE, OBJNAM=name)
    waters.add(
        "BOYSPP", point(-3_250.0, 2_060.0), BOYSHP=3, CATSPM="27", COLOUR=YELLOW, OBJNAM="Rookery limit", STATUS="1"
    )


def add_lights(waters: Waters, ground: Ground) -> None:
    """Shore lights: a sector light on Snuffer Island, a lighthouse on Bellows Cay, a light at the survey landing."""
    e, n = 1_700.0, -100.0
    tower = point(e, n)
    base = round(ground.height(e, n), 1)
    waters.add(
        "LNDMRK", tower, CATLMK="17", FUNCTN="33", COLOUR=WHITE, HEIGHT=base + 11.0, OBJNAM="Snuffer Light", CONVIS=1
    )
    # Bearings from seaward: red over Thread Bank, white along the way in, green over Hem Patch.
    for colour, start, stop, miles in ((RED, 20.0, 74.0, 7.0), (WHITE, 74.0, 112.0, 9.0), (GREEN, 112.0, 165.0, 7.0)):
        _light(
            waters, tower, COLOUR=colour, LITCHR=8, SIGGRP="()", SIGPER=6.0, SECTR1=start, SECTR2=stop,
            HEIGHT=base + 10.0, VALNMR=miles, OBJNAM="Snuffer Light",
        )  # fmt: skip
    e, n = 6_080.0, 2_150.0
    base = round(ground.height(e, n), 1)
    lighthouse = point(e, n)
    waters.add(
        "LNDMRK", lighthouse, CATLMK="17", FUNCTN="33", COLOUR="1,3", COLPAT="1", HEIGHT=base + 18.0, CONRAD=1,
        CONVIS=1, OBJNAM="Bellows Light",
    )  # fmt: skip
    _light(
        waters, lighthouse, COLOUR=WHITE, LITCHR=2, SIGGRP="(3)", SIGPER=15.0, HEIGHT=base + 17.0, VALNMR=14.0,
        OBJNAM="Bellows Light",
    )  # fmt: skip
    landing = waters.features["SLCONS"][-1][0]
    end = shapely.get_point(landing, -1)
    pile = point(round(end.x, 1), round(end.y, 1))
    waters.add("BCNSPP", pile, BCNSHP=5, CATSPM="18", COLOUR=WHITE, HEIGHT=3.0, OBJNAM="Survey landing")
    _light(waters, pile, COLOUR=WHITE, LITCHR=1, HEIGHT=3.0, VALNMR=2.0)
    head = point(4_592.0, -1_983.0)
    _light(waters, head, COLOUR=GREEN, LITCHR=1, HEIGHT=4.0, VALNMR=2.0, OBJNAM="Wick Jetty")
    waters.add("FOGSIG", head, CATFOG=10, SIGGRP="(1)", SIGPER=20.0)


def add_dangers(waters: Waters, ground: Ground) -> None:
    """WRECKS and OBSTRN, each no deeper than the water it lies in."""
    e, n = ground.first_below(-700.0, 1_700.0, 262.0, -0.7)
    waters.add("WRECKS", point(round(e, 1), round(n, 1)), CATWRK=5, WATLEV=2, HEIGHT=2.2, OBJNAM="Wreck of a lighter")
    e, n = 1_150.0, 380.0
    waters.add(
        "WRECKS", point(e, n), CATWRK=2, WATLEV=3, VALSOU=round(0.45 * -ground.height(e, n), 1), QUASOU="6", TECSOU="3"
    )
    e, n = -1_450.0, -2_000.0
    waters.add("OBSTRN", point(e, n), CATOBS=6, WATLEV=3, VALSOU=round(0.6 * -ground.height(e, n), 1), QUASOU="6")
    waters.add("OBSTRN", point(2_250.0, -1_020.0), CATOBS=1, WATLEV=3, VALSOU=1.1, QUASOU="6")


def add_rules(waters: Waters, ground: Ground) -> None:
    """RESARE, ACHARE, FAIRWY, CTNARE, and what every chart must say of itself."""
    cay = shapely.box(-4_700.0, 2_250.0, -2_650.0, 3_400.0)
    waters.add(
        "RESARE", cay.difference(ground.land), CATREA="5", RESTRN="8,14", OBJNAM="Wrackline rookery",
        INFORM="Entry only for the bird survey; keep clear of the beaches",
    )  # fmt: skip
    basin = shapely.Polygon(np.asarray(g.BASIN_KM) * 1000.0).buffer(40.0).difference(ground.land)
    for part in sorted(shapely.get_parts(basin), key=lambda p: -p.area)[:1]:
        waters.add("RESARE", part, CATREA="24", RESTRN="13", OBJNAM="Lampwick Harbour")
    anchorage = shapely.Polygon([(4_050, -1_080), (4_750, -1_060), (4_760, -1_400), (4_080, -1_380)])
    waters.add("ACHARE", anchorage, CATACH="7", OBJNAM="Sootmarsh anchorage")
    fairway = shapely.LineString([(420, -390), (950, -700)]).buffer(60.0, cap_style="flat")
    waters.add("FAIRWY", fairway, ORIENT=120.3, TRAFIC=4, OBJNAM="Lampwick approach")
    waters.add("CTNARE", LIMITS, INFORM=WARNING)
    waters.add("M_COVR", LIMITS, CATCOV=1, INFORM=WARNING)
    waters.add("M_NSYS", LIMITS, MARSYS=2, INFORM=WARNING)
    inner = shapely.box(900.0, -2_700.0, 5_200.0, -300.0)
    bank = shapely.box(-5_000.0, -3_000.0, 6_500.0, 4_300.0)
    for shape, zone, accuracy in (
        (inner, 1, 5.0),
        (bank.difference(inner), 2, 20.0),
        (LIMITS.difference(bank), 4, 500.0),
    ):
        waters.add("M_QUAL", shape, CATZOC=zone, POSACC=accuracy, SURSTA="20270401", SUREND="20270531", INFORM=WARNING)
    waters.add(
        "DSID", None, DSID_DSNM="waters", DSID_EDTN="1", DSID_UPDN="0", DSID_ISDT="20270601", DSID_UADT="20270601",
        DSID_COMT=WARNING, DSPM_CSCL=12_000, DSPM_HDAT=2, DSPM_VDAT=16, DSPM_SDAT=12, DSPM_DUNI=1, DSPM_HUNI=1,
    )  # fmt: skip
