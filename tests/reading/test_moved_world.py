"""The same meeting anywhere and on any heading is told the same: moved, turned and mirrored worlds."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, T0, FakeChart, S, make_boat, make_mark, make_situation, make_track

from moonless.chart.types import Feature
from moonless.reading.judge import Judge
from moonless.reading.situation import OwnState
from moonless.reading.types import Reading

# East, north from the boat; her bow to the north.
MARKS = {"1": (380.0, 120.0), "2": (440.0, 125.0), "3": (-500.0, 900.0), "4": (-520.0, 930.0), "5": (60.0, 1400.0)}
TRACKS: tuple[tuple[int, float, float, float, float], ...] = (
    (1, 382.0, 118.0, 0.0, 0.0), (2, 411.0, 122.0, 0.0, 0.0), (3, -508.0, 912.0, 0.0, 0.0),
    (4, 300.0, 900.0, -3.0, -4.0), (5, -700.0, -300.0, 5.0, 6.0), (6, 30.0, 320.0, 0.0, 0.0),
    (7, 905.0, 500.0, 0.0, 0.0), (8, 640.0, -420.0, 0.3, 0.0),
)  # fmt: skip
LAND = [(900.0, 200.0), (1500.0, 300.0), (1400.0, 900.0), (930.0, 800.0)]
SHOAL = [(-60.0, 420.0), (40.0, 420.0), (40.0, 700.0), (-60.0, 700.0)]


def _shoal(shape: Any) -> Feature:
    return Feature("DEPARE", "TEST", "shoal", shape, {"DRVAL1": 0.6, "DRVAL2": 2.0}, 10_000)


def _told(shift: tuple[float, float] = (0.0, 0.0), turn_deg: float = 0.0, mirror: bool = False) -> list[Reading]:
    a = math.radians(turn_deg)
    # Clockwise, as bearings are.
    turn = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
    side = np.array([-1.0 if mirror else 1.0, 1.0])

    def put(points: Any) -> np.ndarray:
        return (np.asarray(points, dtype=float) * side) @ turn + np.array(shift)

    def go(v: tuple[float, float]) -> np.ndarray:
        return (np.array(v) * side) @ turn

    marks = tuple(make_mark(*map(float, put(at)), name) for name, at in MARKS.items())
    chart = FakeChart(
        land=shapely.MultiPolygon([shapely.Polygon(put(LAND))]),
        marks=marks,
        depths=(_shoal(shapely.Polygon(put(SHOAL))),),
    )
    lat, lon = FRAME.to_geographic(*shift)
    judge, out = Judge(make_boat(), chart), []
    for k in range(3):
        # Each turn on its own: the boat and all stand where they stood, but the past is remembered.
        own = OwnState(float(lat), float(lon), a, a + (-1 if mirror else 1) * math.radians(4.0), 5.0)
        tracks = [
            make_track(n, *map(float, put((e, north))), *map(float, go((ve, vn))), time_ns=T0 + k * S)
            for n, e, north, ve, vn in TRACKS
        ]
        out.append(judge.read(make_situation(tracks, own=own, time_ns=T0 + k * S, tide_m=0.2)))
    return out


PLAIN = _told()


def _same(a: Reading, b: Reading, turn_deg: float, side: float = 1.0) -> None:
    assert [(e.id, e.kind) for e in a.echoes] == [(e.id, e.kind) for e in b.echoes]
    for x, y in zip(a.echoes, b.echoes, strict=True):
        assert y.confidence == pytest.approx(x.confidence, abs=1e-3)
        assert y.range_m == pytest.approx(x.range_m, abs=0.05)
        assert abs(math.remainder(y.bearing_deg - (side * x.bearing_deg + turn_deg), 360.0)) < 0.01
        assert x.relative_bearing_deg is not None and y.relative_bearing_deg is not None
        assert abs(math.remainder(y.relative_bearing_deg - side * x.relative_bearing_deg, 360.0)) < 0.01
        assert (y.cpa_m, y.tcpa_s, y.cpa_sigma_m) == pytest.approx((x.cpa_m, x.tcpa_s, x.cpa_sigma_m), abs=0.1)
        assert (x.charted_as is None) == (y.charted_as is None)
        assert x.charted_as is None or (x.charted_as.name == y.charted_as.name)  # type: ignore[union-attr]
    assert a.stopping_m == b.stopping_m and a.speed.advised_kn == b.speed.advised_kn


@pytest.mark.parametrize("shift", [(6000.0, -4000.0), (-2500.0, 7300.0)])
def test_moved(shift: tuple[float, float]) -> None:
    for plain, moved in zip(PLAIN, _told(shift), strict=True):
        _same(plain, moved, 0.0)
        assert [(c.urgency, c.say) for c in plain.calls] == [(c.urgency, c.say) for c in moved.calls]


_FIGURE = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def _turned(say: str, turn_deg: float) -> str:
    """A sentence with the course it orders, three figures in words, turned by so much and rounded to ten degrees."""
    found = re.search(rf"to ((?:{'|'.join(_FIGURE)})(?: (?:{'|'.join(_FIGURE)})){{2}})", say)
    if found is None:
        return say
    course = int("".join(str(_FIGURE.index(word)) for word in found[1].split()))
    return say.replace(found[1], str(math.floor((course + turn_deg + 2.0) % 360.0 / 10.0)))


@pytest.mark.parametrize("turn_deg", [90.0, 180.0, 270.0, 36.5])
def test_turned(turn_deg: float) -> None:
    for plain, turned in zip(PLAIN, _told((800.0, 500.0), turn_deg), strict=True):
        _same(plain, turned, turn_deg)
        assert [(c.urgency, _turned(c.say, turn_deg)) for c in plain.calls] == [
            (c.urgency, _turned(c.say, 0.0)) for c in turned.calls
        ]


def test_mirrored() -> None:
    """Port is starboard; what the rules say of a side is not mirrored, so an order is left out: who and where stays."""
    swap = {"port": "starboard", "starboard": "port"}
    for plain, other in zip(PLAIN, _told(mirror=True), strict=True):
        _same(plain, other, 0.0, side=-1.0)
        said = [(c.urgency, c.say.rstrip(".").split(". ")[-1]) for c in plain.calls]
        mirrored = [
            (
                c.urgency,
                " ".join(swap.get(w.strip(",."), w.strip(",.")) for w in c.say.rstrip(".").split(". ")[-1].split()),
            )
            for c in other.calls
        ]
        bare = [(u, " ".join(w.strip(",.") for w in s.split())) for u, s in said]
        assert [u for u, _ in bare] == [u for u, _ in mirrored]
        # The longer order may leave no room for how far off.
        assert all(a.startswith(b) or b.startswith(a) for (_, a), (_, b) in zip(bare, mirrored, strict=True))


def test_what_it_is_about() -> None:
    """So that the worlds compared hold something: marks parted and not, vessels that are met, a shoal."""
    kinds = {e.id: e.kind for e in PLAIN[-1].echoes}
    assert kinds[1] == "charted" and kinds[4] == "vessel" and kinds[5] == "vessel" and kinds[6] == "uncharted"
    assert kinds[7] == "shore"
    said = " ".join(c.say for r in PLAIN for c in r.calls)
    assert "uncharted" in said and "starboard" in said
