"""CfRadial files: NetCDF (classic or HDF5), read through xarray (``pip install 'moonless[polar]'``).

    dimensions   time (spokes), range (cells)
    time         seconds since a moment, with CF units
    range        metres to the centre of each cell, evenly spaced
    azimuth      degrees, clockwise from true north; with ``azimuth_reference = "bow"`` (ours) from the bow
    one video variable of (time, range)
    latitude, longitude, heading   optional, scalar or along time (a moving platform)

The video is the first of `FIELDS` that is there, else the only variable of that shape.  Unsigned counts stay as they
are; scaled or floating values (dB as a rule) are laid linearly over 16 bits between the least and the greatest of the
file, which is noted.  A cell without a value is 0; a spoke without any is left out: not received.

Source: CfRadial 1.4 (NCAR), sections on dimensions, coordinate and location variables.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from moonless.constants import TAU
from moonless.errors import InputError
from moonless.scan.pose import PoseSample
from moonless.scan.read.run import PolarError, PolarRun, PolarTurn

if TYPE_CHECKING:
    from xarray import DataArray, Dataset

Counts = NDArray[np.uint8] | NDArray[np.uint16]

SUFFIXES = (".nc", ".nc4", ".cdf", ".h5", ".hdf5", ".cfrad")
# Names of echo strength in use; of the quantity itself, not of what is derived from it.
FIELDS = ("video", "intensity", "echo", "power", "DBM", "DBZ", "DBZH", "DBT", "DBTH", "TH", "reflectivity")
# Spokes handed on at a time.
BLOCK = 1024
# Spacing of cells is even to this part of itself.
EVEN = 1e-3


def is_cfradial(path: Path) -> bool:
    """Return whether a file or folder is of this format."""
    return bool(_files(path))


def open_cfradial(path: Path) -> PolarRun:
    """Open a set.  Raises InputError where xarray is not installed, PolarError where a file is none."""
    files = _files(path)
    with _opened(files[0]) as data:
        reference = str(data["azimuth"].attrs.get("azimuth_reference", "true")) if "azimuth" in data else "true"
    return PolarRun(path, "CfRadial", "bow" if reference == "bow" else "true", files, _read=_turns)


def _files(path: Path) -> tuple[Path, ...]:
    if path.is_dir():
        return tuple(sorted(p for p in path.iterdir() if p.suffix.lower() in SUFFIXES))
    return (path,) if path.suffix.lower() in SUFFIXES and path.is_file() else ()


def _opened(path: Path) -> Dataset:
    try:
        xarray = import_module("xarray")
        import_module("h5netcdf")
    except ImportError as problem:
        raise InputError(f"{path}: NetCDF files need xarray; pip install 'moonless[polar]'") from problem
    with path.open("rb") as file:
        head = file.read(8)
    # NetCDF-4 and HDF5 begin alike; the classic format is read by SciPy.
    engine = "scipy" if head[:3] == b"CDF" else "h5netcdf"
    try:
        opened: Dataset = xarray.open_dataset(path, engine=engine, decode_timedelta=False)
        return opened
    except Exception as problem:
        raise PolarError(path, f"is no NetCDF file that can be read: {problem}") from problem


def _turns(run: PolarRun) -> Iterator[PolarTurn]:
    for path in run.sources:
        with _opened(path) as data:
            yield from _turns_of(path, data, run.notes)


def _turns_of(path: Path, data: Dataset, notes: list[str]) -> Iterator[PolarTurn]:
    for name in ("time", "range", "azimuth"):
        if name not in data.variables:
            raise PolarError(path, f"has no {name!r}: it is no CfRadial file")
    if data["time"].dtype.kind != "M":
        raise PolarError(path, "its times carry no date (CF units: seconds since ...)")
    range_m = np.asarray(data["range"].values, dtype=np.float64)
    if range_m.ndim != 1 or range_m.size < 2 or not np.all(np.isfinite(range_m)):
        raise PolarError(path, "range is not one row of metres")
    cell_m = float(range_m[-1] - range_m[0]) / (range_m.size - 1)
    if cell_m <= 0.0 or float(np.max(np.abs(np.diff(range_m) - cell_m))) > EVEN * cell_m + 1e-3:
        raise PolarError(path, "its cells are not evenly spaced")
    field = _field(path, data)
    time_ns = data["time"].values.astype("datetime64[ns]").astype(np.int64)
    azimuth = np.radians(np.asarray(data["azimuth"].values, dtype=np.float64)) % TAU
    least, most, full_scale = _scale(path, field, notes)
    for at in range(0, field.sizes["time"], BLOCK):
        part = slice(at, at + BLOCK)
        values: Counts = np.asarray(field.isel(time=part).transpose("time", "range").values)
        echo, is_there = _counts(values, least, most, full_scale)
        if not np.any(is_there):
            continue
        poses = _poses(data, time_ns, part)
        yield PolarTurn(
            echo[is_there],
            azimuth[part][is_there],
            time_ns[part][is_there],
            float(range_m[0]),
            cell_m,
            full_scale,
            poses,
        )


def _field(path: Path, data: Dataset) -> DataArray:
    shaped = [name for name in data.data_vars if set(data[name].dims) == {"time", "range"}]
    for name in FIELDS:
        found = next((s for s in shaped if str(s).lower() == name.lower()), None)
        if found is not None:
            return data[found]
    if len(shaped) != 1:
        held = ", ".join(str(s) for s in shaped) or "none"
        raise PolarError(path, f"which variable is the video?  Of (time, range) it holds: {held}")
    return data[shaped[0]]


def _scale(path: Path, field: DataArray, notes: list[str]) -> tuple[float, float, int]:
    """Return (least, most, full scale); least equal to most: counts, as they are."""
    if field.dtype == np.uint8:
        return 0.0, 0.0, 255
    if field.dtype == np.uint16:
        return 0.0, 0.0, 65_535
    if field.dtype.kind not in "fiu":
        raise PolarError(path, f"{field.name} is of type {field.dtype}, no echo strength")
    least = most = math.nan
    for at in range(0, field.sizes["time"], BLOCK):
        values = np.asarray(field.isel(time=slice(at, at + BLOCK)).values, dtype=np.float64)
        values = values[np.isfinite(values)]
        if values.size:
            least, most = float(np.fmin(least, values.min())), float(np.fmax(most, values.max()))
    if not most > least:
        raise PolarError(path, f"{field.name} holds no echo: all its values are the same or missing")
    unit = str(field.attrs.get("units", "")).strip() or "no unit said"
    notes.append(f"{path}: {field.name} from {least:g} to {most:g} ({unit}) laid linearly over 16 bits")
    return least, most, 65_535


def _counts(values: Counts, least: float, most: float, full_scale: int) -> tuple[Counts, NDArray[np.bool_]]:
    """Return counts, and which spokes hold any value."""
    if least == most:
        return values, np.ones(values.shape[0], np.bool_)
    value = values.astype(np.float64)
    is_finite = np.isfinite(value)
    scaled = np.where(
        is_finite, 1.0 + (np.where(is_finite, value, least) - least) * ((full_scale - 1) / (most - least)), 0.0
    )
    return np.round(scaled).astype(np.uint16), np.any(is_finite, axis=1)


def _poses(data: Dataset, time_ns: NDArray[np.int64], part: slice) -> tuple[PoseSample, ...]:
    """Return the platform's place and heading at each spoke, or at the first and last where they do not move."""
    names = [name for name in ("latitude", "longitude", "heading") if name in data.variables]
    if not names:
        return ()
    moves = any("time" in data[name].dims for name in names)
    stop = min(part.stop, time_ns.size)
    out = []
    for i in range(part.start, stop) if moves else (part.start, stop - 1):
        at = {}
        for name in names:
            variable = data[name]
            value = np.asarray(variable.values).reshape(-1)
            if value.size in (1, time_ns.size):
                number = float(value[i if value.size == time_ns.size and value.size > 1 else 0])
                at[name] = number if math.isfinite(number) else None
        lat, lon, heading = at.get("latitude"), at.get("longitude"), at.get("heading")
        is_placed = lat is not None and lon is not None and abs(lat) <= 90.0 and abs(lon) <= 180.0
        out.append(
            PoseSample(
                int(time_ns[i]),
                lat if is_placed else None,
                lon if is_placed else None,
                None if heading is None else math.radians(heading) % TAU,
            )
        )
    return tuple(out)
