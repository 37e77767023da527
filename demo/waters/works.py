"""What people built: quay, jetties, pontoon, breakwater, bridge, piles, stakes, buildings, cable."""

from __future__ import annotations

import numpy as np
import shapely

from waters.areas import Ground
from waters.layers import Waters, point

# Metres.  The quay is reclaimed land; it is cut into the ground before the lines are drawn.
QUAY = shapely.Polygon([(4_300, -2_480), (4_300, -2_140), (4_720, -2_130), (4_720, -2_620)])
QUAY_FACE = shapely.LineString([(4_300, -2_300), (4_300, -2_140), (4_720, -2_130), (4_720, -2_300)])
JETTY = shapely.Polygon(
    [(4_560, -2_134), (4_560, -1_990), (4_535, -1_990), (4_535, -1_983), (4_592, -1_983), (4_592, -1_990),
     (4_566, -1_990), (4_566, -2_134)]
)  # fmt: skip
PONTON = shapely.Polygon([(4_398, -2_138), (4_398, -2_062), (4_402, -2_062), (4_402, -2_138)])
BREAKWATER_KM = ((3.66, -2.02), (3.80, -2.06), (3.93, -2.04))
BRIDGE_NORTH = (3_396.0, -1_190.0)
BRIDGE_SOUTH = (3_440.0, -1_770.0)
BRIDGE_WIDTH_M = 9.0
OPENING_M = 34.0


def add_harbour(waters: Waters, ground: Ground) -> None:
    """SLCONS, PONTON, MORFAC, PILPNT, BUISGL, LNDMRK, SMCFAC, HRBFAC, BERTHS, BUAARE."""
    waters.add("SLCONS", QUAY_FACE, CATSLC=15, WATLEV=2, HEIGHT=2.2, OBJNAM="Lampwick Quay", CONRAD=1)
    waters.add("SLCONS", JETTY, CATSLC=4, WATLEV=2, HEIGHT=2.0, OBJNAM="Wick Jetty", NATCON="7")
    breakwater = shapely.LineString(np.asarray(BREAKWATER_KM) * 1000.0).buffer(7.0, quad_segs=4)
    waters.add("SLCONS", breakwater, CATSLC=1, WATLEV=2, HEIGHT=2.4, NATCON="8", OBJNAM="Ember Mole")
    waters.add("PONTON", PONTON, OBJNAM="Launch Pontoon")
    waters.add("HRBFAC", point(4_420, -2_190), CATHAF="4,5", OBJNAM="Lampwick Harbour")
    waters.add("SMCFAC", point(4_400, -2_160), CATSCF="1,12,13", OBJNAM="Lampwick Quay")
    waters.add("BERTHS", point(4_396, -2_095), OBJNAM="1", DRVAL1=3.6)
    waters.add("BUAARE", QUAY.buffer(60.0, join_style="mitre").intersection(ground.land), OBJNAM="Lampwick")
    for e, n, height, code in ((4_360, -2_220, 6.5, "15"), (4_470, -2_210, 5.5, "2"), (4_640, -2_240, 8.0, "39")):
        shape = shapely.box(e - 14.0, n - 7.0, e + 14.0, n + 7.0)
        waters.add("BUISGL", shape, FUNCTN=code, HEIGHT=height, BUISHP=9)
    waters.add("LNDMRK", point(4_640, -2_330), CATLMK="17", FUNCTN="33", HEIGHT=16.0, CONVIS=1, OBJNAM="Water tower")
    waters.add("LNDMRK", point(4_950, -3_150), CATLMK="7", HEIGHT=34.0, CONVIS=1, CONRAD=1, OBJNAM="Thimble Hill mast")
    for e, n in ((4_180, -1_900), (4_180, -1_860), (4_520, -1_960), (4_606, -1_960)):
        waters.add("MORFAC", point(e, n), CATMOR=1, HEIGHT=2.5, WATLEV=2)
    # Piles along the jetty's edges, and a row of small-boat moorings on posts east of it.
    for n in range(-2_120, -1_990, 26):
        waters.add("PILPNT", point(4_568.5, n), CATPLE=3, HEIGHT=2.6)
    for k in range(6):
        waters.add("PILPNT", point(4_660 + 18 * k, -2_040 + 6 * k), CATPLE=3, HEIGHT=2.2)
    # The survey crew's landing on the outer cay.
    start = ground.first_below(-3_300.0, 2_790.0, 150.0, 0.8)
    end = ground.first_below(start[0], start[1], 150.0, -1.9)
    waters.add(
        "SLCONS", shapely.LineString([start, end]), CATSLC=4, WATLEV=2, HEIGHT=1.6, NATCON="6", OBJNAM="Survey landing"
    )


def bridge_parts() -> tuple[shapely.Geometry, shapely.Geometry, shapely.Geometry, list[tuple[float, float]]]:
    """Return (north span, opening span, south span, piers); the opening stands over the channel."""
    line = shapely.LineString([BRIDGE_NORTH, BRIDGE_SOUTH])
    channel = shapely.LineString([(2_950.0, -1_330.0), (3_450.0, -1_490.0)])
    middle = line.project(line.intersection(channel))
    ends = (middle - OPENING_M / 2.0, middle + OPENING_M / 2.0)

    def span(start: float, stop: float) -> shapely.Geometry:
        return shapely.LineString([line.interpolate(start), line.interpolate(stop)]).buffer(
            BRIDGE_WIDTH_M / 2.0, cap_style="flat"
        )

    stations = [ends[0] - 2.0, ends[1] + 2.0]
    stations += list(np.arange(ends[0] - 44.0, 30.0, -42.0)) + list(np.arange(ends[1] + 44.0, line.length - 30.0, 42.0))
    piers = [line.interpolate(float(s)) for s in sorted(stations)]
    return (
        span(0.0, ends[0]),
        span(*ends),
        span(ends[1], line.length),
        [(round(p.x, 1), round(p.y, 1)) for p in piers],
    )


def add_bridge(waters: Waters, ground: Ground) -> None:
    """BRIDGE in three spans, PYLONS, the dolphins that guard the opening, and its lights."""
    north, opening, south, piers = bridge_parts()
    fixed = {"CATBRG": "1", "VERCLR": 5.2, "HORCLR": 38.0, "OBJNAM": "Snuffer Bridge", "NATCON": "7"}
    waters.add("BRIDGE", north, **fixed)
    waters.add("BRIDGE", opening, CATBRG="5", VERCCL=6.4, VERCOP=40.0, HORCLR=30.0, OBJNAM="Snuffer Bridge", NATCON="7")
    waters.add("BRIDGE", south, **fixed)
    for e, n in piers:
        if not ground.land.contains(point(e, n)):
            waters.add("PYLONS", point(e, n), CATPYL=5, HEIGHT=5.0, WATLEV=2)
    along = np.subtract(BRIDGE_SOUTH, BRIDGE_NORTH) / np.hypot(*np.subtract(BRIDGE_SOUTH, BRIDGE_NORTH))
    across = np.array([-along[1], along[0]])
    centre = np.array(opening.centroid.coords[0])
    for side in (-1.0, 1.0):
        for ahead in (-1.0, 1.0):
            e, n = centre + along * side * 17.0 + across * ahead * 24.0
            waters.add("MORFAC", point(round(e, 1), round(n, 1)), CATMOR=1, HEIGHT=2.8, WATLEV=2)
    for side, colour in ((-1.0, "3"), (1.0, "3")):
        e, n = centre + along * side * 18.0
        waters.add(
            "LIGHTS", point(round(e, 1), round(n, 1)), COLOUR=colour, LITCHR=1, HEIGHT=6.0, VALNMR=3.0, STATUS="1"
        )


def add_oysters(waters: Waters, ground: Ground) -> None:
    """MARCUL with its stakes, in rows across the flats."""
    corner = np.array([2_500.0, -1_640.0])
    east, north = np.array([0.956, -0.292]), np.array([0.292, 0.956])
    ring = [corner + east * a + north * b for a, b in ((-20, -130), (330, -130), (330, 20), (-20, 20))]
    waters.add("MARCUL", shapely.Polygon(ring), CATMFA=2, WATLEV=3, OBJNAM="Ashpan oyster ground", RESTRN="1,4")
    for row in range(3):
        for stake in range(5):
            e, n = corner + east * stake * 74.0 - north * row * 55.0
            if ground.height(e, n) < -0.2 and not ground.dredged.buffer(20.0).contains(point(e, n)):
                waters.add("PILPNT", point(round(e, 1), round(n, 1)), CATPLE=1, HEIGHT=1.4)


def add_cable(waters: Waters) -> None:
    """A submarine cable from Great Tallow to Wicker Cay, and the area where none may anchor."""
    line = shapely.LineString([(2_650, -2_560), (1_200, -2_450), (-1_000, -2_400), (-2_800, -2_650)])
    waters.add("CBLSUB", line, CATCBL=1, OBJNAM="Wicker cable")
    waters.add("CBLARE", line.buffer(120.0, quad_segs=3), CATCBL=1, RESTRN="1,5")
