"""What the radar should see from here: where land begins against drawn lines, and marks as the boat moves and turns."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from reading_fakes import FRAME, RADAR, FakeChart, make_boat, make_mark

from moonless.boat.types import Boat
from moonless.radar.types import Weather
from moonless.reading.chart_around import lay_out
from moonless.reading.expected import MARKS_AGAIN_M, Model, Outlook, near_edges
from moonless.reading.own import OwnPlane

ROWS, COLUMNS, CELL_M = 720, 400, 5.0
MARKS = [(0.0, 700.0), (500.0, 0.0), (-900.0, -300.0), (300.0, -1200.0)]


def _shown(reach_m: np.ndarray) -> np.ndarray:
    """A picture in which all is echo from a range on, on each bearing; the range by interpolation between cells."""
    at = (np.arange(COLUMNS) + 0.5) * CELL_M
    return np.clip(0.5 + (at[None, :] - reach_m[:, None]) / CELL_M, 0.0, 1.0)


@pytest.mark.parametrize("way_deg", [0.0, 37.0, 90.0, 200.0, 315.0])
def test_a_straight_coast_is_a_line_with_its_normal_across(way_deg: float) -> None:
    # A coast 900 m off, square to a bearing: on a bearing b from that its range is 900 / cos b.
    bearing = np.arange(ROWS) * math.tau / ROWS
    off = np.cos(bearing - math.radians(way_deg))
    reach = np.where(off > 0.5, 900.0 / np.maximum(off, 0.5), np.inf)
    points, normals = near_edges(_shown(reach), CELL_M, 250.0, -70.0)
    way = np.array([math.sin(math.radians(way_deg)), math.cos(math.radians(way_deg))])
    assert len(points) > 200
    # Half of the cell apart is the grain of it, and no bias of a cell.
    along = (points - [250.0, -70.0]) @ way
    assert np.abs(along - 900.0).max() < CELL_M and abs(float(along.mean()) - 900.0) < 0.6
    assert np.abs(normals @ way).min() > 0.99
    assert np.linalg.norm(normals, axis=1) == pytest.approx(1.0)


def test_single_echoes_make_no_line() -> None:
    reach = np.full(ROWS, np.inf)
    reach[::90] = 600.0
    points, normals = near_edges(_shown(reach), CELL_M, 0.0, 0.0)
    assert points.shape == normals.shape == (0, 2)


def test_echoes_that_lie_about_make_no_line() -> None:
    """Strewn as far to and fro as from bearing to bearing, 8 m at 900 m, they are a cloud: most are left out."""
    rng = np.random.default_rng(5)
    reach = np.full(ROWS, np.inf)
    reach[200:500] = 900.0 + rng.uniform(-12.0, 12.0, 300)
    strewn, _ = near_edges(_shown(reach), CELL_M, 0.0, 0.0)
    reach[200:500] = 900.0
    along, _ = near_edges(_shown(reach), CELL_M, 0.0, 0.0)
    assert len(along) >= 295 and len(strewn) < 150


def _boat(*sectors: tuple[float, float]) -> Boat:
    return make_boat(radar=replace(RADAR, blind_sectors_rad=sectors))


def _look(model: Model, place: object, east: float, north: float, heading: float = 0.0) -> Outlook:
    own = OwnPlane(FRAME, east, north, heading, heading, 5.0)
    return model.look(own, place, 1852.0, Weather())  # type: ignore[arg-type]


def test_marks_are_asked_anew_as_the_boat_moves() -> None:
    """What is told after a way is what a model tells that never stood elsewhere."""
    place = lay_out(FakeChart(marks=tuple(make_mark(*at, name=str(at)) for at in MARKS)), FRAME, 0.0, 0.0, 3000.0)
    model = Model(make_boat())
    for at in ((0.0, 0.0), (0.0, 300.0), (400.0, 300.0), (400.0, -250.0)):
        moved, fresh = _look(model, place, *at), _look(Model(make_boat()), place, *at)
        np.testing.assert_array_equal(moved.mark_snr, fresh.mark_snr)
        np.testing.assert_array_equal(moved.mark_p, fresh.mark_p)
        away = np.hypot(*(np.array(MARKS) - at).T)
        assert np.array_equal(np.isnan(fresh.mark_p), away >= 1852.0)
        # Far closer is far stronger: the fourth power of range, but for the lobes over the sea.
        near, far = np.argmin(away), np.argmax(np.where(away < 1852.0, away, 0.0))
        assert fresh.mark_snr[near] > (away[far] / away[near]) ** 2 * fresh.mark_snr[far]
    # Within a boat's length or two nothing is asked anew.
    again = _look(model, place, 400.0 + 0.5 * MARKS_AGAIN_M, -250.0)
    np.testing.assert_array_equal(again.mark_snr, moved.mark_snr)


@pytest.mark.parametrize("heading_deg", [0.0, 90.0, 225.0])
def test_a_mark_in_a_blind_sector_is_not_expected(heading_deg: float) -> None:
    # Blind from 150 to 210 degrees of the bow: what lies astern.
    astern = math.radians(heading_deg + 180.0)
    marks = [(600.0 * math.sin(astern + a), 600.0 * math.cos(astern + a)) for a in (0.0, math.pi / 2.0, math.pi)]
    place = lay_out(FakeChart(marks=tuple(make_mark(*at, name=str(at)) for at in marks)), FRAME, 0.0, 0.0, 3000.0)
    model = Model(_boat((math.radians(150.0), math.radians(210.0))))
    _look(model, place, 0.0, 0.0, math.radians(heading_deg + 120.0))  # she turns
    told = np.nan_to_num(_look(model, place, 0.0, 0.0, math.radians(heading_deg)).mark_p)
    assert told[0] < 0.01 and told[1] > 0.5 and told[2] > 0.5


def test_a_mark_on_land_is_not_asked_and_no_marks_are_no_fault() -> None:
    land = shapely.MultiPolygon([shapely.box(200.0, 500.0, 700.0, 900.0)])
    chart = FakeChart(land=land, marks=(make_mark(450.0, 700.0, "A"), make_mark(-400.0, 300.0, "B")))
    place = lay_out(chart, FRAME, 0.0, 0.0, 3000.0)
    told = _look(Model(make_boat()), place, 0.0, 0.0)
    assert math.isnan(told.mark_p[0]) and told.mark_p[1] > 0.5
    bare = _look(Model(make_boat()), lay_out(FakeChart(land=land), FRAME, 0.0, 0.0, 3000.0), 0.0, 0.0)
    assert bare.mark_p.shape == (0,)
    # No echo of land begins off the land by more than half of a beam of 4 degrees, 40 m at the far end of its side; and
    # on the near sides it begins everywhere.
    off = shapely.distance(shapely.points(bare.edge), land)
    assert off.max() < 70.0
    near = shapely.LineString([(200.0, 880.0), (200.0, 500.0), (680.0, 500.0)])
    assert shapely.distance(near, shapely.points(bare.edge)).min() < 10.0
    along = shapely.MultiPoint(bare.edge).intersection(near.buffer(70.0))
    assert shapely.hausdorff_distance(near, along) < 90.0
