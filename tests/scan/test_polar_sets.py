"""Recorded polar sets: each format read back to what was put in, and what bad files get."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from moonless.constants import TAU
from moonless.errors import InputError
from moonless.scan.read import is_polar, open_polar, scans_of
from moonless.scan.read.png_columns import COLUMNS
from moonless.scan.read.run import PolarError
from moonless.scan.types import ScanErrors
from moonless.units import NS_PER_S

xarray = pytest.importorskip("xarray")
pytest.importorskip("h5netcdf")

ERRORS = ScanErrors(math.radians(1.2), 15.0, 0.005, 5.0)
BEGAN_NS = 1_900_000_000 * NS_PER_S
N_SPOKE, N_CELL = 360, 64


def _turn(seed: int, most: int) -> np.ndarray:
    echo = np.random.default_rng(seed).integers(0, most + 1, (N_SPOKE, N_CELL))
    echo[0, 0] = most
    return echo


# --- NumPy turns ------------------------------------------------------------------------------------------------------


def _write_npz(path: Path, **more: Any) -> None:
    values: dict[str, Any] = {
        "video": _turn(1, 4095).astype(np.uint16), "first_cell_m": 180.0, "cell_m": 3.75, "turn_s": 1.4,
        "start_s": 0.0, "bits": 12, "heading_deg": 230.0,
    }  # fmt: skip
    np.savez(path, **{k: v for k, v in (values | more).items() if v is not None})


def test_npz_turns_come_back(tmp_path: Path) -> None:
    for i in (2, 1, 10):  # by number, not by letter
        _write_npz(tmp_path / f"turn{i}.npz", video=_turn(i, 4095).astype(np.uint16), start_s=1.4 * i)
    run = open_polar(tmp_path)
    assert [p.name for p in run.sources] == ["turn1.npz", "turn2.npz", "turn10.npz"]
    turns = list(run.turns())
    for i, turn in zip((1, 2, 10), turns, strict=True):
        assert np.array_equal(turn.echo, _turn(i, 4095)) and turn.full_scale == 4095
        assert np.allclose(np.degrees(turn.azimuth_rad), np.arange(N_SPOKE))
    assert turns[1].time_ns[0] - turns[0].time_ns[0] == round(1.4 * NS_PER_S)
    assert turns[0].poses[0].heading_true_rad == pytest.approx(math.radians(230.0))
    scans = list(scans_of(run, ERRORS))
    assert len(scans) == 3 and np.array_equal(scans[1].echo, _turn(2, 4095))
    assert np.allclose(scans[0].heading_true_rad, math.radians(230.0)) and np.all(np.isnan(scans[0].lat_deg))


@pytest.mark.data
def test_the_open_sea_set(data_dir: Path) -> None:
    folder = data_dir / "real-radar" / "open-sea"
    run = open_polar(folder)
    rows = []
    for path, turn in zip(run.sources, run.turns(), strict=True):
        with np.load(path) as z:
            assert np.array_equal(turn.echo, z["video"])
        assert (turn.first_cell_m, turn.cell_m, turn.full_scale) == (180.0, 3.75, 4095)
        rows.append(turn.echo.shape[0])
    # By its README: six turns of 808 to 830 spokes and 752 cells.
    assert (len(rows), min(rows), max(rows)) == (6, 808, 830)
    scans = list(scans_of(run, ERRORS))
    assert len(scans) == 6
    assert all(scan.received_fraction > 0.97 and scan.n_cell == 752 for scan in scans)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"cell_m": None}, "has no 'cell_m'"),
        ({"cell_m": 0.0}, "cells of 0 m"),
        ({"cell_m": np.array([1.0, 2.0])}, "not one finite number"),
        ({"bits": 8}, "more than the 255"),
        ({"video": np.zeros((4, 8), np.float32)}, "unsigned"),
        ({"video": np.zeros(8, np.uint16)}, "unsigned"),
        ({"turn_s": math.nan}, "not one finite number"),
        ({"heading_deg": np.array(["north"], dtype=object)}, "cannot be read"),
    ],
)
def test_npz_that_cannot_be(tmp_path: Path, more: dict[str, Any], words: str) -> None:
    _write_npz(tmp_path / "turn1.npz", **more)
    with pytest.raises(PolarError, match=words) as told:
        list(open_polar(tmp_path).turns())
    assert "\n" not in str(told.value)


def test_a_cut_npz(tmp_path: Path) -> None:
    _write_npz(tmp_path / "turn1.npz")
    whole = (tmp_path / "turn1.npz").read_bytes()
    for keep in (0, 10, len(whole) // 2, len(whole) - 30):
        (tmp_path / "turn1.npz").write_bytes(whole[:keep])
        with pytest.raises(PolarError):
            list(open_polar(tmp_path).turns())


# --- CfRadial ---------------------------------------------------------------------------------------------------------


def _dataset(values: np.ndarray, name: str = "DBZ", **more: Any) -> Any:
    """Return a data set with the names of CfRadial 1.4."""
    n = values.shape[0]
    data = xarray.Dataset(
        {name: (("time", "range"), values, {"units": "dBZ"})},
        coords={
            "time": ("time", np.arange(n) * 0.005, {"units": "seconds since 2030-03-17T17:46:40Z"}),
            "range": ("range", (75.0 + 50.0 * np.arange(values.shape[1])).astype(np.float32), {"units": "meters"}),
        },
    )
    data["azimuth"] = ("time", (10.0 + np.arange(n) * (360.0 / N_SPOKE)) % 360.0, {"units": "degrees"})
    data["elevation"] = ("time", np.zeros(n))
    data["latitude"], data["longitude"] = 12.5, -30.25
    for key, value in more.items():
        data[key] = value
    data.attrs = {"Conventions": "CF/Radial", "version": "1.4", "platform_is_mobile": "false"}
    return data


@pytest.mark.parametrize("classic", [False, True])
def test_cfradial_in_decibels(tmp_path: Path, classic: bool) -> None:
    db = np.random.default_rng(3).uniform(-20.0, 60.0, (N_SPOKE, N_CELL)).astype(np.float32)
    db[5, 3], db[5, 4] = -20.0, 60.0
    db[7, :10] = np.nan
    db[9, :] = np.nan  # a spoke that never came
    path = tmp_path / "sweep.nc"
    form: dict[str, Any] = {"engine": "scipy", "format": "NETCDF3_64BIT"} if classic else {"engine": "h5netcdf"}
    _dataset(db).to_netcdf(path, encoding={"DBZ": {"_FillValue": np.float32(-9999.0)}}, **form)
    run = open_polar(path)
    (turn,) = run.turns()
    assert run.angle_from == "true" and (turn.first_cell_m, turn.cell_m, turn.full_scale) == (75.0, 50.0, 65_535)
    there = [i for i in range(N_SPOKE) if i != 9]
    back = -20.0 + (turn.echo.astype(np.float64) - 1.0) * 80.0 / 65_534
    finite = np.isfinite(db[there])
    assert np.allclose(back[finite], db[there][finite], atol=80.0 / 65_534)
    assert np.all(turn.echo[~finite] == 0) and np.all(turn.echo[finite] > 0)
    assert turn.time_ns[1] - turn.time_ns[0] == 5_000_000 and turn.time_ns[0] == 1_900_000_000 * NS_PER_S
    assert np.allclose(np.degrees(turn.azimuth_rad), (10.0 + np.array(there)) % 360.0)
    assert (turn.poses[0].lat_deg, turn.poses[0].lon_deg) == (12.5, -30.25)
    assert any("laid linearly" in note for note in run.notes)


def test_cfradial_in_counts_becomes_scans(tmp_path: Path) -> None:
    echo = np.vstack([_turn(1, 255), _turn(2, 255)]).astype(np.uint8)
    heading = ("time", np.full(2 * N_SPOKE, 90.0))
    _dataset(echo, "video", heading=heading).to_netcdf(tmp_path / "run.h5", engine="h5netcdf")
    run = open_polar(tmp_path / "run.h5")
    scans = list(scans_of(run, ERRORS))
    # A true azimuth of 90 is right ahead of a boat that heads east.
    assert len(scans) == 2 and scans[0].full_scale == 255
    ahead = scans[0].echo[np.argmin(np.abs(np.mod(np.arange(scans[0].n_spoke) * TAU / scans[0].n_spoke, TAU)))]
    assert np.array_equal(ahead, echo[80])
    assert np.allclose(np.degrees(scans[0].heading_true_rad), 90.0) and np.allclose(scans[0].lat_deg, 12.5)


def test_cfradial_that_cannot_be(tmp_path: Path) -> None:
    path = tmp_path / "x.nc"
    good = _dataset(_turn(1, 255).astype(np.uint8))
    uneven = good.assign_coords(range=("range", np.geomspace(50.0, 5000.0, N_CELL)))
    two = good.rename(DBZ="one").assign(other=(("time", "range"), _turn(2, 255).astype(np.uint8)))
    for bad, words in (
        (good.drop_vars("azimuth"), "has no 'azimuth'"),
        (uneven, "not evenly spaced"),
        (two, "which variable"),
        (good.assign_coords(time=np.arange(N_SPOKE)), "no date"),
        (_dataset(np.full((N_SPOKE, N_CELL), np.nan)), "holds no echo"),
    ):
        bad.to_netcdf(path, engine="h5netcdf")
        with pytest.raises(PolarError, match=words):
            list(open_polar(path).turns())
        path.unlink()
    for junk in (b"", b"not a file of any kind", b"\x89HDF\r\n\x1a\n" + bytes(100), b"CDF\x01" + bytes(20)):
        path.write_bytes(junk)
        with pytest.raises(PolarError) as told:
            list(open_polar(path).turns())
        assert "\n" not in str(told.value)


def test_a_chosen_reference(tmp_path: Path) -> None:
    data = _dataset(_turn(1, 255).astype(np.uint8))
    data["azimuth"].attrs["azimuth_reference"] = "bow"
    data.to_netcdf(tmp_path / "x.nc", engine="h5netcdf")
    assert open_polar(tmp_path / "x.nc").angle_from == "bow"


# --- PNG --------------------------------------------------------------------------------------------------------------


def _write_png(path: Path, echo: np.ndarray, *, nanoseconds: bool = False, valid: np.ndarray | None = None) -> None:
    n = echo.shape[0]
    time = BEGAN_NS + np.arange(n) * 1_000_000 if nanoseconds else BEGAN_NS // 1000 + np.arange(n) * 1000
    raw = np.zeros((n, COLUMNS + echo.shape[1]), np.uint8)
    raw[:, :8] = time.astype("<i8").view(np.uint8).reshape(n, 8)
    raw[:, 8:10] = (np.arange(n) * 5600 // n).astype("<u2").view(np.uint8).reshape(n, 2)
    raw[:, 10] = 255 if valid is None else valid
    raw[:, COLUMNS:] = echo
    Image.fromarray(raw).save(path)


@pytest.mark.parametrize("nanoseconds", [False, True])
def test_png_with_angle_columns(tmp_path: Path, nanoseconds: bool) -> None:
    (tmp_path / "polar.toml").write_text("cell_m = 0.0596\nbow_offset_deg = 90.0\n")
    valid = np.full(400, 255, np.uint8)
    valid[17] = 0
    echo = np.random.default_rng(0).integers(0, 256, (400, N_CELL))
    _write_png(tmp_path / "0001.png", echo, nanoseconds=nanoseconds, valid=valid)
    run = open_polar(tmp_path)
    (turn,) = run.turns()
    assert np.array_equal(turn.echo, np.delete(echo, 17, axis=0))
    assert turn.cell_m == 0.0596 and turn.first_cell_m == pytest.approx(0.0298)
    assert np.degrees(turn.azimuth_rad[1]) == pytest.approx(90.0 + 0.9)
    assert turn.time_ns[0] == BEGAN_NS and turn.time_ns[1] - turn.time_ns[0] == 1_000_000
    assert open_polar(tmp_path / "0001.png").sources == run.sources


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ("", "cell_m: is missing"),
        ("cell_m = 'far'", "not a number"),
        ("cell_m = 1.0\nrange = 3", "range: is not a key of polar.toml"),
        ("cell_m = 1.0\nangle_from = 'left'", 'angle_from: .left. is not one of "bow", "true"'),
        ("cell_m = 1.0\ncounts = 0", "counts: 0 is out of range"),
        ("cell_m = ", "is not TOML"),
        ("cell_m = -1.0", "cell_m: -1.0 is out of range"),
    ],
)
def test_png_settings_that_cannot_be(tmp_path: Path, settings: str, words: str) -> None:
    (tmp_path / "polar.toml").write_text(settings)
    _write_png(tmp_path / "1.png", _turn(0, 255))
    with pytest.raises(PolarError, match=words):
        list(open_polar(tmp_path).turns())


def test_png_that_cannot_be(tmp_path: Path) -> None:
    (tmp_path / "polar.toml").write_text("cell_m = 1.0\n")
    path = tmp_path / "1.png"
    for make, words in (
        (lambda: path.write_bytes(b"no image"), "cannot be read as an image"),
        (lambda: Image.new("RGB", (100, 100)).save(path), "mode RGB"),
        (lambda: Image.new("L", (8, 100)).save(path), "not angle columns"),
        (lambda: Image.new("L", (100, 100)).save(path), "not one of its spokes"),
        (lambda: Image.new("L", (100, 100), 255).save(path), "not a Unix time"),
    ):
        make()
        with pytest.raises(PolarError, match=words):
            list(open_polar(tmp_path).turns())


def test_what_is_none_of_them(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("x")
    assert not is_polar(tmp_path / "a.txt") and not is_polar(tmp_path)
    with pytest.raises(InputError, match="no polar set that is known"):
        open_polar(tmp_path)
