"""What is read from files, and the tracker, as functions of bytes."""

from __future__ import annotations

import atexit
import json
import shutil
import struct
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from moonless.boat.file import read_boat
from moonless.echo.types import Plots
from moonless.frames import LocalFrame
from moonless.helm.setup.settings import read_settings
from moonless.passage.way.route import read_gpx
from moonless.scan.types import ScanErrors
from moonless.sea.stations import read_stations
from moonless.sea.tide import TideHere
from moonless.tables import editable
from moonless.track.tracker import Tracker
from moonless.units import NS_PER_S
from moonless.wire.recording import RecordingReader, RecordingWriter

T0 = 1_930_000_000 * NS_PER_S
FRAME = LocalFrame(10.0, -30.0)
ERRORS = ScanErrors(beam_rad=0.07, pulse_m=12.0, azimuth_sigma_rad=0.002, range_sigma_m=2.0)


@contextmanager
def _written(data: bytes, ending: str) -> Iterator[Path]:
    """Bytes as a file, the same one each time."""
    path = Path(_kept_folder()) / f"made{ending}"
    path.write_bytes(data)
    yield path


@cache
def _kept_folder() -> str:
    # A folder of its own for each input takes longer than most inputs.
    folder = tempfile.mkdtemp()
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def gpx(data: bytes) -> None:
    """A route; what is read must be a route that can be used."""
    with _written(data, ".gpx") as path:
        route = read_gpx(path)
        assert len(route.waypoints) >= 2 and np.isfinite(route.length_m)


def toml(data: bytes) -> None:
    """The boat's file and the helm's, read and opened for change."""
    with _written(data, ".toml") as path:
        problems = []
        for read in (read_boat, read_settings, lambda file: editable(file, ())):
            try:
                read(path)
            except ValueError as problem:
                problems.append(problem)
        if len(problems) > 1:  # a file of the one kind is none of the other
            raise problems[0]


def mcap(data: bytes) -> None:
    """A recording."""
    with _written(data, ".mcap") as path:
        for message in RecordingReader(path):
            assert isinstance(message.data, bytes)


def tides(data: bytes) -> None:
    """Stations; what is read is asked for its tide."""
    with _written(data, ".json") as path:
        found = read_stations([path])
        for station in list(found.tides.values())[:3]:
            found.tides_near(station.lat_deg, station.lon_deg, 1000.0)
            height = TideHere(station, found).heights(T0 / NS_PER_S)
            assert np.all(np.isfinite(height)), "a tide that is no figure"


def tracker(data: bytes) -> None:
    """Turns of plots at any place, strength and time."""
    following = Tracker(FRAME)
    time_ns = T0
    lat, lon = FRAME.to_geographic(np.zeros(1), np.zeros(1))
    for at in range(0, len(data) - 17, 18):
        step, *places = struct.unpack_from("<h8H", data, at)
        time_ns += step * 10_000_000
        n = 4
        raw = np.array(places, dtype=np.float64).reshape(n, 2)
        heading = np.where(raw[:, 0] > 65_000, np.nan, 0.5)
        plots = Plots(
            np.full(n, time_ns), raw[:, 0] / 4.0, raw[:, 1] / 65536.0 * 2.0 * np.pi, heading,
            np.repeat(lat, n), np.repeat(lon, n), np.full(n, 2.0), np.full(n, 0.005), raw[:, 1] % 300.0,
            raw[:, 0] % 300.0, np.where(raw[:, 1] % 2 > 0, 0.3, np.nan), raw[:, 1] % 60.0, np.full(n, 100.0),
            np.full(n, 12), np.zeros(n, dtype=np.bool_), np.full(n, -1), (None,) * n,
        )  # fmt: skip
        for track in following.update(time_ns, plots, ERRORS):
            assert np.isfinite(track.east_m) and np.isfinite(track.north_m), "a track that is nowhere"


def _recording() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "run.mcap"
        writer = RecordingWriter(path, {"0": "udp://0.0.0.0:10110"})
        for second in range(3):
            writer.radar(b"\xf0\x00\x07\x80\x00\x00\x01", T0 + second * NS_PER_S, is_datagram=True)
            writer.nmea(b"$GPHDT,274.07,T*03\r\n", T0 + second * NS_PER_S)
        writer.close()
        return path.read_bytes()


def _station(kind: str, **more: Any) -> dict[str, Any]:
    constants = [{"name": "M2", "amplitude": 1.2, "phase": 30.0}, {"name": "S2", "amplitude": 0.4, "phase": 3.0}]
    base = {
        "kind": kind,
        "id": "A",
        "name": "made",
        "latitude": 10.0,
        "longitude": -30.0,
        "datums": {"MSL": 1.0, "MLLW": 0.0},
    }
    return {**base, "harmonic_constituents": constants, **more}


_BOAT = b"""[boat]
name = "made"
length_m = 9.0
beam_m = 3.0
draught_m = 0.9
air_draught_m = 3.5
eye_height_m = 2.2
[radar]
set = "small radome"
bow_offset_deg = 0.5
"""
_POINTS = b'<rtept lat="1" lon="2"><name>a</name></rtept><rtept lat="1.1" lon="2"/>'
_TRACK = b'<trkpt lat="1" lon="2"/><trkpt lat="1" lon="2.1"/>'
_HELM = b'nmea = ["udp://0.0.0.0:1"]\n[prefer]\nheading = {link = "udp://0.0.0.0:1", talker = "HE"}\n'
_OFFSETS = {"reference": "A", "time": {"high": 3, "low": 4}, "height": {"high": 1.1, "low": 0.9, "type": "ratio"}}
SEEDS: dict[str, list[bytes]] = {
    "gpx": [b'<?xml version="1.0" encoding="utf-8"?><gpx><rte>' + _POINTS + b"</rte></gpx>",
            b'<gpx xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>' + _TRACK + b"</trkseg></trk></gpx>"],
    "toml": [_BOAT, _HELM],
    "mcap": [_recording()],
    "tides": [json.dumps([_station("tide"), _station("tide", id="C", offsets=_OFFSETS)]).encode(),
              json.dumps([_station("current", current={"flood_direction": 10, "ebb_direction": 190})]).encode()],
    "tracker": [struct.pack("<h8H", 250, 4000, 1, 8000, 9000, 12000, 20000, 16000, 40000) * 20],
}  # fmt: skip
TARGETS = {one.__name__: one for one in (gpx, toml, mcap, tides, tracker)}
