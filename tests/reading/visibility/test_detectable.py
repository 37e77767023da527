"""Where an echo could be seen at all."""

from __future__ import annotations

import math

import numpy as np

from moonless.constants import TAU
from moonless.frames import LocalFrame
from moonless.reading.own import OwnPlane
from moonless.reading.polar import N_BEARINGS, N_CELLS
from moonless.reading.visibility.detectable import IN_VIEW_CLUTTER, IN_VIEW_HIDDEN, HiddenAnswers, detectability
from moonless.reading.visibility.raster import CAUSE_OF, VisibilityRaster
from moonless.scan.types import Scan, ScanErrors

FRAME = LocalFrame(10.0, 20.0)
N = 360


def _scan(received: np.ndarray, heading_rad: float) -> Scan:
    return Scan(
        np.zeros((N, 100), np.uint8), received, np.zeros(N, np.int64), np.full(N, 10.0), np.full(N, 20.0),
        np.full(N, heading_rad % TAU), np.zeros(N), 10.0, 10.0, 255, ScanErrors(0.07, 30.0, 0.005, 5.0),
    )  # fmt: skip


def _own(east_m: float, north_m: float) -> OwnPlane:
    return OwnPlane(FRAME, east_m, north_m, None, None, None)


def _raster(*hidden: tuple[float, float, str]) -> VisibilityRaster:
    """Return a raster round the middle in which all between two bearings (degrees) is hidden by a cause."""
    raster = VisibilityRaster.blank(_own(0.0, 0.0), 2000.0, np.zeros((N_BEARINGS, N_CELLS), dtype=np.bool_))
    for begin, end, by in hidden:
        rows = np.arange(round(begin / 360.0 * N_BEARINGS), round(end / 360.0 * N_BEARINGS)) % N_BEARINGS
        raster.cause[rows] = CAUSE_OF[by]  # type: ignore[index]
    return raster


def test_lost_rows_and_the_ends_of_the_picture_are_out_of_view() -> None:
    received = np.ones(N, dtype=np.bool_)
    received[80:101] = False  # about the starboard beam
    see = detectability(_scan(received, math.radians(90.0)), _own(100.0, 50.0))
    # Ahead is east; the starboard beam is south.
    east = np.array([100.0 + 500.0, 100.0, 100.0 + 5.0, 100.0 + 2000.0, 100.0 - 500.0])
    north = np.array([50.0, 50.0 - 500.0, 50.0, 50.0, 50.0])
    assert see(east, north).tolist() == [1.0, 0.0, 0.0, 0.0, 1.0]


def test_headings_about_north_are_not_averaged_to_south() -> None:
    scan = _scan(np.ones(N, dtype=np.bool_), 0.0)
    wavering = np.where(np.arange(N) % 2 == 0, 0.01, TAU - 0.01)
    received = np.ones(N, dtype=np.bool_)
    received[175:186] = False  # astern
    scan = Scan(
        scan.echo, received, scan.time_ns, scan.lat_deg, scan.lon_deg, wavering, scan.pose_age, 10.0, 10.0, 255,
        scan.errors,
    )  # fmt: skip
    see = detectability(scan, _own(0.0, 0.0))
    assert see(np.array([0.0, 0.0]), np.array([500.0, -500.0])).tolist() == [1.0, 0.0]


def test_hidden_water_is_hardly_seen_into() -> None:
    raster = _raster((85.0, 95.0, "land"), (355.0, 365.0, "clutter"), (265.0, 275.0, "vessel"))
    see = detectability(_scan(np.ones(N, dtype=np.bool_), 0.0), _own(0.0, 0.0), raster=raster)
    got = see(np.array([500.0, 0.0, -500.0, 0.0]), np.array([0.0, 500.0, 0.0, -500.0]))
    assert got.tolist() == [IN_VIEW_HIDDEN, IN_VIEW_CLUTTER, 1.0, 1.0]
    assert see(np.zeros(0), np.zeros(0)).shape == (0,)


def _hidden_half() -> VisibilityRaster:
    """Return all water west of the boat as hidden by land."""
    return _raster((180.0, 360.0, "land"))


def test_water_that_the_chart_hides_and_that_answers_is_seen_into() -> None:
    rng = np.random.default_rng(5)
    east, north = rng.uniform(-1500.0, 1500.0, (2, 200))
    over_all, open_only = HiddenAnswers(), HiddenAnswers()
    for _ in range(20):
        over_all.learn(_own(0.0, 0.0), _hidden_half(), east, north)
        open_only.learn(_own(0.0, 0.0), _hidden_half(), np.abs(east), north)
    # Plots as dense on the hidden side as on the other: the chart hides nothing.  None there: it hides all.
    assert over_all.answers > 0.85
    assert over_all.in_view > 0.7
    assert open_only.answers == 0.0
    assert open_only.in_view == IN_VIEW_HIDDEN


def test_nothing_is_learnt_of_hidden_water_without_hidden_water_or_plots() -> None:
    water = HiddenAnswers()
    water.learn(_own(0.0, 0.0), None, np.ones(3), np.ones(3))
    water.learn(_own(0.0, 0.0), _hidden_half(), np.full(3, np.nan), np.ones(3))
    assert water.in_view == IN_VIEW_HIDDEN


def test_the_bias_of_the_heading_is_taken_out_of_the_rows_that_were_lost() -> None:
    received = np.ones(N, dtype=np.bool_)
    received[85:96] = False  # ninety degrees from the bow as reported
    see = detectability(_scan(received, math.radians(20.0)), _own(0.0, 0.0), heading_bias=math.radians(20.0))
    # The bow lies north: the lost rows look east.
    assert see(np.array([500.0, 0.0]), np.array([0.0, -500.0])).tolist() == [0.0, 1.0]


def test_hidden_water_keeps_its_place_when_the_plane_is_laid_anew() -> None:
    other = LocalFrame(10.1, 20.05)
    raster = _raster((85.0, 95.0, "land")).in_frame(other)
    east, north = other.to_plane(*FRAME.to_geographic(np.array([700.0, 0.0]), np.array([0.0, 700.0])))
    assert raster.cause_at(east, north).tolist() == [CAUSE_OF["land"], 0]
