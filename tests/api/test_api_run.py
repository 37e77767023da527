"""A made run through the door: scans, echoes, tracks and readings against the truth that the scene wrote."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import moonless as ml
from moonless.errors import NoCoverage
from moonless.frames import LocalFrame, geodesic

SCENE = """
[scene]
name = "one launch"
start = 2028-03-01T05:00:00Z
duration_s = 40
origin = [-12.4, -118.3]
[radar]
scale_nm = 1.5
spokes = 512
cells = 256
[own]
start_m = [0, 0]
heading_deg = 0
speed_kn = 8
[[object]]
name = "the launch"
kind = "fishing boat"
start_m = [-700, 900]
heading_deg = 90
speed_kn = 12
"""


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("run")
    (folder / "scene.toml").write_text(SCENE)
    return ml.make_run(folder / "scene.toml", folder / "made")


def test_scans_echoes_and_tracks_lie_where_the_truth_has_them(run: Path) -> None:
    truth = json.loads((run / "truth.json").read_text())
    frame = LocalFrame(truth["origin"]["lat"], truth["origin"]["lon"])
    scans = list(ml.read_scans(run))
    assert len(scans) >= len(truth["turns"]) - 2 and len(scans) > 10
    assert all(scan.echo.shape == (512, 256) and scan.is_whole for scan in scans[1:])
    assert scans[0].max_range_m == pytest.approx(1.5 * 1852, rel=0.01)
    assert repr(scans[1]).startswith("Scan(2028-03-01T05:00:0")
    tracker = ml.Tracker()
    for scan in scans:
        tracks = tracker.update(scan)
    seconds = (scans[-1].end_ns - truth["start_ns"]) / 1e9
    # By plain geometry: 12 knots due east from where the scene began.
    lat, lon = frame.to_geographic(-700.0 + 12 * 1852 / 3600 * seconds, 900.0)
    near = min(tracks, key=lambda one: geodesic(lat, lon, one.lat_deg, one.lon_deg)[0])
    assert geodesic(lat, lon, near.lat_deg, near.lon_deg)[0] < 25.0
    assert near.state == "confirmed" and near in tracks.confirmed
    assert near.sog_kn == pytest.approx(12.0, abs=1.5) and near.cog_deg == pytest.approx(90.0, abs=8.0)
    found = ml.detect(scans[-1])
    distance = geodesic(np.full(len(found), lat), np.full(len(found), lon), found.lat_deg, found.lon_deg)[0]
    assert distance.min() < 40.0
    best = int(np.argmin(distance))
    assert found.relative_bearing_deg[best] == pytest.approx(found.bearing_deg[best], abs=2.0)  # she heads north
    assert repr(found) == f"Detections({len(found)} echoes, {len(found.shores)} shores)"


def test_readings_come_with_every_scan(run: Path) -> None:
    readings = list(ml.read_run(run, tide_m=0.5))
    assert len(readings) > 10
    said = readings[-1].as_dict()
    assert any(echo["is"] == "vessel" for echo in said["echoes"])
    assert repr(readings[-1]).startswith("Reading(2028-03-01T05:00:") and len(repr(readings[-1])) < 300


def test_a_scan_without_instruments_is_not_placed(run: Path) -> None:
    scan = next(ml.read_scans(run / "radar.cat240"))
    assert np.isnan(scan.lat_deg).all()
    found = ml.detect(scan)
    assert np.isnan(found.lat_deg).all() and np.isnan(found.bearing_deg).all() and np.isfinite(found.range_m).all()
    assert len(ml.Tracker().update(scan)) == 0


def test_what_the_radar_should_show_off_the_invented_waters() -> None:
    chart = ml.open_chart(ml.demo_chart())
    ahead = ml.predict(chart, at=(-12.4, -118.3), heading_deg=30.0, range_nm=1.5, seed=None)
    assert ahead.counts.shape == (len(ahead.bearing_deg), len(ahead.range_m))
    assert ahead.bearing_deg[0] == 30.0 and ahead.range_m[-1] == pytest.approx(1.5 * 1852, rel=2e-3)
    assert ahead.marks and all(mark.range_m <= 1.5 * 1852 for mark in ahead.marks)
    assert ahead.image(200).size == (200, 200)
    assert "marks likely" in repr(ahead) and repr(chart).startswith("Chart(1 cells:")
    with pytest.raises(NoCoverage):
        ml.predict(chart, at=(50.0, 0.0))
