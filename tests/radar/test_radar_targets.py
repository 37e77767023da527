"""Charted things as targets, and built things as faces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from moonless.chart.types import Feature, Mark
from moonless.constants import SPEED_OF_LIGHT_MPS
from moonless.radar.environment.multipath import Path, two_way_factor
from moonless.radar.targets import KINDS, target_of_mark
from moonless.radar.walls import walls_of

BUOY = Mark("BOYLAT", "No. 3", "made", "1", 10.0, 20.0, None, True, None, False, False, True, {})


def test_a_buoy_is_a_buoy() -> None:
    plain = target_of_mark(BUOY)
    kind = KINDS["navigation buoy"]
    assert (plain.name, plain.east_m, plain.north_m) == ("No. 3", 10.0, 20.0)
    assert (plain.rcs_m2, plain.height_m) == (kind.rcs_m2, kind.height_m)
    assert target_of_mark(replace(BUOY, has_reflector=True)).rcs_m2 == KINDS["buoy with corner reflector"].rcs_m2


def test_small_things_are_small() -> None:
    """Orders of magnitude, from memory and so no more than that; who is small for whom is no matter of memory.

    A 4.8 m RIB with a man aboard 2.5 m2 (G. King, Southampton 1995); a reflector of MSC.164(78) 7.5 m2.
    """
    low_high = {
        "kayak": (0.1, 1.0), "pot float": (0.01, 0.1), "person in the water": (0.03, 1.0), "bird": (0.003, 0.03),
        "small open boat": (0.02, 2.0), "RIB": (2.5, 2.5), "GRP boat": (1.0, 5.0), "sailing yacht": (1.0, 5.0),
        "cabin cruiser": (3.0, 30.0), "small vessel with reflector": (7.5, 7.5),
    }  # fmt: skip
    for name, (low, high) in low_high.items():
        assert low <= KINDS[name].rcs_m2 <= high, name
    by_size = ("bird", "pot float", "kayak", "small open boat", "RIB", "cabin cruiser", "ship over 500 gt")
    sizes = [KINDS[name].rcs_m2 for name in by_size]
    assert sizes == sorted(sizes) and len(set(sizes)) == len(sizes)


def test_conspicuous_is_believed() -> None:
    plain = target_of_mark(BUOY).rcs_m2
    assert target_of_mark(replace(BUOY, radar_conspicuous=True)).rcs_m2 == 2.0 * plain
    assert target_of_mark(replace(BUOY, radar_conspicuous=False)).rcs_m2 == 0.25 * plain


def test_charted_heights_are_used() -> None:
    assert target_of_mark(replace(BUOY, height_m=6.0)).height_m == 6.0
    tower = replace(BUOY, object="LNDMRK", floating=False)
    assert target_of_mark(replace(tower, height_m=80.0)).rcs_m2 == 2.0 * target_of_mark(tower).rcs_m2


def test_a_stake_is_less_than_a_beacon() -> None:
    beacon = replace(BUOY, object="BCNLAT", floating=False)
    assert target_of_mark(replace(beacon, attributes={"BCNSHP": 1})).rcs_m2 < target_of_mark(beacon).rcs_m2


@pytest.mark.parametrize(
    ("attributes", "top"),
    [({}, 2.5), ({"HEIGHT": 6.0}, 6.0), ({"VERLEN": 4.0}, 4.0), ({"WATLEV": 4, "VERLEN": 4.0}, 0.8)],
)
def test_a_quay_stands_as_charted(attributes: dict[str, float], top: float) -> None:
    quay = Feature("SLCONS", "made", "1", shapely.LineString([(0, 0), (50, 0), (50, 30)]), attributes, 10_000)
    walls = walls_of((quay,), (), 4.0)
    assert len(walls.top_m) == 2 and np.all(walls.top_m == top) and np.all(walls.blocks)


def test_near_finds_the_ring_one_stands_in() -> None:
    far = Feature("PONTON", "made", "1", shapely.box(5000, 5000, 5100, 5100), {}, 10_000)
    around = Feature("PONTON", "made", "2", shapely.box(-9000, -9000, 9000, 9000), {}, 10_000)
    near = walls_of((far, around), (), 4.0).edges.near(0.0, 0.0, 100.0)
    assert list(near) == [False] * 4 + [True] * 4


def test_vertical_polarisation_loses_its_mirror_near_the_brewster_angle() -> None:
    # Sea water's pseudo-Brewster angle at X band is some 6 to 8 degrees: there a V radar has hardly any lobes, while an
    # H radar has them in full (textbook).
    wavelength = SPEED_OF_LIGHT_MPS / 9.4e9
    ranges = np.linspace(75.0, 95.0, 400)  # 10 m over 85 m: 7 degrees
    lobes = [
        np.ptp(np.sqrt(two_way_factor(Path(8.0, wavelength, polarisation, 0.0), ranges, np.full(400, 2.0))))
        for polarisation in ("H", "V")
    ]
    assert lobes[1] < 0.3 * lobes[0]
