"""Variants of real runs: what is changed is what is said to be, on a small made run."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely
from bench.at_sea import variant_run
from bench.at_sea.variants import VARIANTS

N_SPOKE, TURN_S, CELL_M = 72, 2.5, 10.0


@pytest.fixture
def run(tmp_path: Path) -> variant_run.RealRun:
    """Return four turns with one echo, 4 spokes wide and 3 cells deep, and a boat going east."""
    chart = tmp_path / "chart.gpkg"
    land = shapely.to_wkb(np.array([shapely.box(5.0, 50.0, 5.1, 50.1)]))
    pyogrio.raw.write(
        chart, land, [np.array([1], np.int32)], ["FIDN"], layer="LNDARE", driver="GPKG", geometry_type="Polygon",
        crs="EPSG:4326",
    )  # fmt: skip
    n = 4 * N_SPOKE
    video = np.zeros((n, 40), dtype=np.uint8)
    for turn in range(4):
        video[turn * N_SPOKE + 10 : turn * N_SPOKE + 14, 20:23] = 255
    times = 40000.0 + np.arange(n) * TURN_S / N_SPOKE
    seconds = np.arange(39999.0, 40012.0)
    sentences = []
    for second in seconds:
        clock = f"{int(second // 3600):02d}{int(second % 3600 // 60):02d}{second % 60:05.2f}"
        sentences += [
            variant_run.said(f"$GPRMC,{clock},A,5030.00000,N,00501.00000,E,5.0,90.0,121016,,,A"),
            variant_run.said("$HEHDT,80.0,T"),
        ]
    own = {"t": list(seconds), "x": list(2.5 * (seconds - 40000.0)), "y": [0.0] * 13, "heading_deg": [80.0] * 13}
    truth = {
        "origin": {"lat": 50.5, "lon": 5.0}, "day_unix": 1476230400, "own": own, "vessels": [], "n_turn": 4,
        "bearing_bias_deg": -3.0, "bow_offset_deg": 3.0, "max_range_m": 400.0,
    }  # fmt: skip
    made = variant_run.RealRun(
        time_s=times, azimuth_deg=np.arange(n) % N_SPOKE * 5.0, width_deg=5.0, video=video, bits=8, cell_m=CELL_M,
        marked=170, nmea=tuple(sentences), boat="bow_offset_deg = 3.0\nrotation_rpm = 24\n", truth=truth, blobs=(),
        chart=chart, shore=chart,
    )  # fmt: skip
    return replace(made, blobs=variant_run.found_blobs(made))


def test_blobs_lie_where_the_echo_was_put(run: variant_run.RealRun) -> None:
    assert len(run.blobs) == 4
    for _, blobs in run.blobs:
        # Spokes 10 to 13 of 5 degrees each; cells 20 to 22 of 10 m: by hand.
        np.testing.assert_allclose(blobs[:, 1:], [[215.0, 60.0, 30.0, 20.0, 12.0]])


def test_what_is_written_is_read_again(run: variant_run.RealRun, tmp_path: Path) -> None:
    variant_run.written(run, tmp_path / "reader", tmp_path / "plain")
    again = variant_run.read(tmp_path / "reader")
    np.testing.assert_array_equal(again.video, run.video)
    # Category 240 counts time in 1/128 s, angles in 1/65536 of a turn.
    np.testing.assert_allclose(again.time_s, run.time_s, atol=1.0 / 128.0)
    np.testing.assert_allclose(again.azimuth_deg, run.azimuth_deg, atol=360.0 / 65536.0)
    assert again.nmea == run.nmea


def test_mirrored_twice_is_as_it_was(run: variant_run.RealRun) -> None:
    once = VARIANTS["mirrored"](run)
    # East is west and she comes back the way she went, bow first: 10 degrees left of east becomes right of east.
    assert once.nmea[1].startswith("$HEHDT,100.0")
    np.testing.assert_allclose(once.blobs[0][1][:, 2], -60.0)
    np.testing.assert_allclose(variant_run.found_blobs(once)[0][1][:, 2], 300.0)
    twice = VARIANTS["mirrored"](once)
    np.testing.assert_allclose(twice.time_s, run.time_s)
    np.testing.assert_allclose(twice.azimuth_deg, run.azimuth_deg)
    np.testing.assert_array_equal(twice.video, run.video)
    assert twice.truth == run.truth
    assert twice.nmea == run.nmea


def test_a_slow_antenna_turns_evenly(run: variant_run.RealRun) -> None:
    slow = VARIANTS["half_as_fast"](run)
    np.testing.assert_allclose(np.mod(np.diff(slow.azimuth_deg), 360.0), 5.0)
    np.testing.assert_allclose(np.diff(slow.time_s), 2.0 * TURN_S / N_SPOKE, rtol=0.02)
    assert "rotation_rpm = 12.0" in slow.boat
