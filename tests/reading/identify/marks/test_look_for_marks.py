"""Which marks are looked for and which are seen, by where they lie from the boat: on every course, plain geometry."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from reading_fakes import FRAME, RADAR, make_boat, make_mark

from moonless.reading.identify.mark_watch import Lookout
from moonless.reading.own import OwnPlane

BEAM, PULSE, MAX_M, N_SPOKE = math.radians(4.0), 20.0, 3000.0, 720
HEADINGS = [0.0, 1.0, 2.6, 4.0, 6.1]


class _Turn:
    """A boat at a place on a heading; marks, plots and shore told as (degrees from the bow, range)."""

    def __init__(self, heading: float, marks: list[tuple[float, float]], **change: Any) -> None:
        self.own = OwnPlane(FRAME, 250.0, -130.0, heading, heading, 5.0)
        self.place_en = np.array([self.at(*m) for m in marks]).reshape(-1, 2)
        n = len(marks)
        self.place: Any = SimpleNamespace(
            marks=tuple(make_mark(*p, str(k)) for k, p in enumerate(self.place_en)), mark_en=self.place_en,
            mark_sigma_m=np.full(n, 5.0), mark_swing_m=np.zeros(n), mark_shore_m=np.full(n, 1e4),
        )  # fmt: skip
        for name, value in change.items():
            setattr(self.place, name, value)
        self.outlook: Any = SimpleNamespace(mark_p=np.full(n, 0.95), mark_merged=np.zeros(n, dtype=bool))
        self.shores: list[Any] = []
        self.blind: tuple[float, float] | None = None  # degrees from the bow not received

    def at(self, from_bow_deg: float, range_m: float) -> tuple[float, float]:
        a = (self.own.heading_rad or 0.0) + math.radians(from_bow_deg)
        return self.own.east_m + range_m * math.sin(a), self.own.north_m + range_m * math.cos(a)

    def shows(self, spoke: Any, reach: Any) -> Any:
        deg = np.asarray(spoke) * 360.0 / N_SPOKE
        if self.blind is None:
            return np.ones(deg.shape, dtype=bool)
        return ~((deg >= self.blind[0]) & (deg <= self.blind[1]))

    def look(self, *plots: tuple[float, float], lookout: Lookout | None = None) -> Any:
        scan: Any = SimpleNamespace(
            errors=SimpleNamespace(beam_rad=BEAM, pulse_m=PULSE), echo=np.zeros((N_SPOKE, 8)), max_range_m=MAX_M,
            shows=self.shows,
        )  # fmt: skip
        places = np.array([self.at(*p) for p in plots]).reshape(-1, 2)
        sigma = np.tile([3.0, 6.0], (len(plots), 1))
        picture: Any = SimpleNamespace(shores=self.shores)
        return (lookout or Lookout(make_boat())).look(
            self.own, self.place, self.outlook, places, sigma, scan, picture, np.full(len(self.place.marks), 0.9), 4.0
        )


@pytest.mark.parametrize("heading", HEADINGS)
def test_a_mark_with_a_plot_on_it_is_seen_and_one_without_is_looked_for(heading: float) -> None:
    marks = [(0.0, 800.0), (60.0, 1200.0), (200.0, 500.0), (300.0, 2000.0)]
    turn = _Turn(heading, marks)
    found = turn.look(marks[1], (301.0, 1995.0))
    assert found.asked.tolist() == [0, 1, 2, 3]
    # A degree at 2000 m is 35 m aside: not on it, and near enough to cover it.
    assert found.seen.tolist() == [False, True, False, False]
    assert found.looked.tolist() == [True, False, True, False]
    assert found.p.tolist() == pytest.approx([0.9] * 4)  # the less of what the chart and what tonight lets it
    everything = turn.look(*marks)
    assert everything.seen.all() and not everything.looked.any()
    mirrored = turn.look(*((-b, r) for b, r in marks))
    assert mirrored.seen.tolist() == [True, False, False, False]


@pytest.mark.parametrize("heading", HEADINGS)
@pytest.mark.parametrize(
    ("along_m", "aside_m", "is_seen"),
    # Five metres of the chart, four of the pose: sigma 6.4; with the plot's 3 along 7.1, with its 6 across 8.8.
    [(0.0, 0.0, True), (14.0, 0.0, True), (-14.0, 0.0, True), (0.0, 17.0, True), (0.0, -17.0, True), (32.0, 0.0, False),
     (0.0, 38.0, False), (24.0, 30.0, False)],
)  # fmt: skip
def test_how_near_a_plot_must_lie(heading: float, along_m: float, aside_m: float, is_seen: bool) -> None:
    turn = _Turn(heading, [(40.0, 1500.0)])
    off = math.degrees(math.atan2(aside_m, 1500.0 + along_m))
    found = turn.look((40.0 + off, math.hypot(1500.0 + along_m, aside_m)))
    assert found.seen.tolist() == [is_seen]


@pytest.mark.parametrize("heading", HEADINGS)
def test_what_cannot_be_seen_is_not_looked_for(heading: float) -> None:
    near_m = 2.0 * RADAR.min_range_m if hasattr(RADAR, "min_range_m") else 60.0
    marks = [(10.0, 2900.0), (80.0, 2920.0), (150.0, near_m + 2.0), (220.0, max(near_m - 2.0, 1.0))]
    turn = _Turn(heading, marks)
    # To ninety-seven hundredths of the range, and from twice the nearest that the radar shows.
    assert turn.look().looked.tolist() == [True, False, True, False]
    # What was not received of the turn, half a beam to either side of the mark.
    for blind, is_looked in (((12.5, 20.0), True), ((11.5, 20.0), False), ((0.0, 7.5), True), ((0.0, 8.5), False)):
        turn.blind = blind
        assert turn.look().looked[0] == is_looked
    turn.blind = None
    none = _Turn(heading, marks)
    none.own = OwnPlane(FRAME, 0.0, 0.0, None, heading, 5.0)
    assert not none.look().looked.any()
    turn.outlook.mark_p[2] = np.nan  # ashore, or too far
    assert turn.look().asked.tolist() == [0, 1, 3]


@pytest.mark.parametrize("heading", HEADINGS)
def test_a_mark_in_the_shores_own_echo_is_not_looked_for(heading: float) -> None:
    turn = _Turn(heading, [(30.0, 1000.0), (100.0, 1000.0)])
    shore_deg = np.arange(20.0, 27.6, 0.5)
    for last, near, far, is_looked in (
        (27.5, 900.0, 1100.0, False), (26.5, 900.0, 1100.0, True), (30.0, 1025.0, 1100.0, False),
        (30.0, 1035.0, 1100.0, True), (30.0, 900.0, 975.0, False), (30.0, 900.0, 965.0, True),
    ):  # fmt: skip
        at = shore_deg - shore_deg[-1] + last
        turn.shores = [SimpleNamespace(azimuth_rel_rad=np.radians(at), near_range_m=np.full(at.size, near),
                                       far_range_m=np.full(at.size, far))]  # fmt: skip
        # Within three quarters of a beam, and a pulse and ten metres: three degrees, thirty metres.
        assert turn.look().looked.tolist() == [is_looked, True]
    # Over the bow it is the same shore.
    ahead = _Turn(heading, [(359.0, 1000.0)])
    ahead.shores = [
        SimpleNamespace(
            azimuth_rel_rad=np.radians([0.5]), near_range_m=np.array([900.0]), far_range_m=np.array([1100.0])
        )
    ]
    assert not ahead.look().looked.any()


@pytest.mark.parametrize("heading", HEADINGS)
def test_one_that_stands_near_the_shore_or_is_merged_with_land_is_not_looked_for(heading: float) -> None:
    # A beam at 1000 m is 70 m wide.
    far = _Turn(heading, [(30.0, 1000.0), (120.0, 1000.0)], mark_shore_m=np.array([40.0, 400.0]))
    assert far.look().looked.tolist() == [False, True]
    merged = _Turn(heading, [(30.0, 1000.0), (120.0, 1000.0)])
    merged.outlook.mark_merged[:] = [True, False]
    found = merged.look()
    assert found.looked.tolist() == [False, True] and found.alone.tolist() == [False, True]


@pytest.mark.parametrize("heading", HEADINGS)
def test_a_plot_beside_it_covers_its_place(heading: float) -> None:
    turn = _Turn(heading, [(30.0, 1500.0)])
    clear = turn.look((30.0, 1500.0 + 400.0))
    assert clear.looked.tolist() == [True] and clear.alone.tolist() == [True]
    beside = turn.look((31.5, 1500.0))
    assert beside.looked.tolist() == [False] and beside.seen.tolist() == [False]
    two = turn.look((30.0, 1500.0), (31.5, 1500.0))
    assert two.seen.tolist() == [True] and two.alone.tolist() == [False]


def test_what_was_looked_for_in_vain_is_gone_and_what_shows_is_not() -> None:
    turn, lookout = _Turn(1.0, [(10.0, 800.0), (90.0, 800.0)]), Lookout(make_boat())
    for _ in range(20):
        turn.look((90.0, 800.0), lookout=lookout)
    gone = lookout.gone(turn.place)
    assert gone[0] > 0.9 and gone[1] < 0.1


@pytest.mark.parametrize("heading", HEADINGS)
@pytest.mark.parametrize(
    ("along_m", "aside_m", "is_looked"), [(25.0, 0.0, False), (35.0, 0.0, True), (0.0, 90.0, False), (0.0, 100.0, True)]
)
@pytest.mark.parametrize("bow_deg", [0.0, 47.0, 130.0, 290.0])
def test_two_marks_that_the_beam_cannot_part(
    heading: float, along_m: float, aside_m: float, is_looked: bool, bow_deg: float
) -> None:
    """One and a half pulses along the bearing, thirty metres; nine tenths of a beam across, at 1500 m 94 m."""
    off = math.degrees(math.atan2(aside_m, 1500.0 + along_m))
    turn = _Turn(heading, [(bow_deg, 1500.0), (bow_deg + off, math.hypot(1500.0 + along_m, aside_m))])
    assert turn.look().looked.tolist() == [is_looked, is_looked]
